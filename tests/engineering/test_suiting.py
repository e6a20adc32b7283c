"""Whether a concentrate counts on a fuel."""

import pytest

from readiness.engineering.records import Concentrate, Fuel, Listing, Policy, Rate
from readiness.engineering.suiting import fit

POLICY = Policy()
BY_POLICY = Policy(plain_on_e10="limited")
E10 = Fuel(1, "gasoline E10", "UN1203", "blend", 1000, -43)
E11 = E10._replace(oxygenate=1001)
ETHANOL = Fuel(2, "ethanol", "UN1170", "polar", None, 13)
DIESEL = Fuel(3, "diesel", "UN1202", "hydrocarbon", None, 55)
UNKNOWN = Fuel(4, "flammable liquid, n.o.s.", "UN1993", "unknown", None, None)
LISTED = Listing(300, Rate(0.1, "gpm_ft2"), 15, False, False, "invented")


def concentrate(kind, *keys):
    return Concentrate(1, kind, kind, "no", None, False, dict.fromkeys(keys, LISTED))


def everywhere(kind, use="spill"):
    return concentrate(kind, *((fuel.id, use) for fuel in (E10, ETHANOL, DIESEL, UNKNOWN)))


@pytest.mark.parametrize("kind", ["class_a", "wetting", "high_expansion", "training"])
def test_no_class_b_credit_whatever_is_listed(kind):
    assert fit(everywhere(kind), DIESEL, "spill", POLICY).refused == "wrong_foam"


@pytest.mark.parametrize("fuel", [ETHANOL, UNKNOWN, E11])
@pytest.mark.parametrize("kind", ["afff", "fffp", "fp", "p", "f3"])
def test_what_needs_alcohol_resistant_refuses_the_rest(kind, fuel):
    assert fit(everywhere(kind), fuel, "spill", BY_POLICY).refused == "wrong_foam"


@pytest.mark.parametrize("kind", ["ar_afff", "ar_fffp", "ar_f3"])
@pytest.mark.parametrize("fuel", [E10, ETHANOL, DIESEL, UNKNOWN])
def test_alcohol_resistant_counts_where_listed(kind, fuel):
    assert fit(everywhere(kind), fuel, "spill", POLICY) == (LISTED, "", False, False)


def test_plain_film_forming_on_e10_only_by_policy():
    assert fit(everywhere("afff"), E10, "spill", POLICY).refused == "wrong_foam"
    assert fit(everywhere("afff"), E10, "spill", BY_POLICY).plain_on_e10
    assert fit(everywhere("fp"), E10, "spill", BY_POLICY).refused == "wrong_foam"  # not film-forming


def test_plain_film_forming_on_e10_never_in_depth():
    assert fit(everywhere("afff", "depth"), E10, "depth", BY_POLICY).refused == "wrong_foam"


def test_no_listing_does_not_count():
    assert fit(concentrate("ar_afff"), DIESEL, "spill", POLICY).refused == "not_listed"


@pytest.mark.parametrize("use", ["depth", "gentle", "direct"])
def test_in_depth_without_a_listing_is_no_listed_rate(use):
    """County S5: polar in depth, only a spill listing: a spill's rate would say covered."""
    assert fit(everywhere("ar_afff"), ETHANOL, use, POLICY).refused == "no_listed_rate"


@pytest.mark.parametrize(
    ("fuel", "group"),
    [(ETHANOL, "polar"), (DIESEL, "hydrocarbon"), (UNKNOWN, "polar"), (E11, "polar"), (E10, "hydrocarbon")],
)
def test_a_listing_by_group_counts_unverified(fuel, group):
    found = fit(concentrate("ar_afff", (group, "spill")), fuel, "spill", POLICY)
    assert (found.listing, found.by_group) == (LISTED, True)


def test_an_unknown_liquid_is_never_looked_up_as_a_hydrocarbon():
    assert fit(concentrate("ar_afff", ("hydrocarbon", "spill")), UNKNOWN, "spill", POLICY).refused == "not_listed"


def test_the_fuels_own_listing_goes_before_its_group():
    both = Concentrate(
        1,
        "x",
        "ar_afff",
        "no",
        None,
        False,
        {(DIESEL.id, "spill"): LISTED, ("hydrocarbon", "spill"): LISTED._replace(pct=600)},
    )
    assert fit(both, DIESEL, "spill", POLICY) == (LISTED, "", False, False)
