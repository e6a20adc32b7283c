"""Listings keep the unit of their published rate; shipped fuels stay as they are, own ones are added beside them."""

from __future__ import annotations

from decimal import Decimal

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.keeping import NotKept
from readiness.actions.listings import FUELS, LISTINGS, FuelFacts, ListingFacts
from readiness.models import Fuel, Listing
from readiness.workbooks.rows import Rate
from tests.cast import D0, ConcentrateFactory
from tests.judged import Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db
RATE = Rate(Decimal("4.1"), "lpm_m2")


@pytest.fixture
def fuel(db):
    return Fuel.objects.create(name="ethanol", un="UN1170", group="polar", source="invented")


def listing(cast, fuel, **values):
    facts = {
        "concentrate": cast.ar,
        "use": "spill",
        "pct": 600,
        "source": "listing, sheet 2",
        "fuel": fuel,
        "rate": RATE,
    }
    return ListingFacts(**{**facts, **values})


def test_a_listing_keeps_its_published_unit(cast, fuel):
    made = LISTINGS.save(desk(cast), listing(cast, fuel, minutes=15.0, aspirating=True))
    made.refresh_from_db()
    assert (made.rate, made.rate_unit, made.pct) == (Decimal("4.1000"), "lpm_m2", 600)
    assert LISTINGS.read(made).rate == RATE
    action, _, new = last_change()
    assert (action, new["rate"], new["rate_unit"]) == ("add listing", "4.1", "lpm_m2")
    LISTINGS.save(desk(cast), LISTINGS.read(made), made)
    assert last_change()[0] == "add listing", "the same again is no change"


def test_a_changed_percentage_judges_who_carries_the_concentrate(cast, django_capture_on_commit_callbacks):
    rigged = Rigged(cast)
    all_judged()
    row = Listing.objects.get()
    with django_capture_on_commit_callbacks(execute=True):
        LISTINGS.save(desk(cast), LISTINGS.read(row)._replace(pct=600), row)
    assert rigged.current().because == "change of listing"
    assert rigged.current().status == "not_ready"  # 95 gpm × 6 % × 15 min = 85.5 gal of 45 gal


def test_a_listing_is_refused(cast, fuel):
    good = listing(cast, fuel)
    assert set(faults(LISTINGS, cast, good._replace(fuel=None))) == {"fuel"}
    assert set(faults(LISTINGS, cast, good._replace(fuel_group="polar"))) == {"fuel_group"}
    assert set(faults(LISTINGS, cast, good._replace(source=" "))) == {"source"}
    assert set(faults(LISTINGS, cast, good._replace(pct=1_001))) == {"pct"}
    assert set(faults(LISTINGS, cast, good._replace(pct_high=300))) == {"pct_high"}
    assert "states an application rate" in faults(LISTINGS, cast, good._replace(rate=None))["rate"]
    too_fine = Rate(Decimal("0.10061"), "gpm_ft2")
    assert "at most 4 decimals" in faults(LISTINGS, cast, good._replace(rate=too_fine))["rate"]
    assert set(faults(LISTINGS, cast, good._replace(minutes=0.0))) == {"minutes"}
    assert set(faults(LISTINGS, cast, good._replace(use="class a"))) == {"use"}
    assert set(faults(LISTINGS, cast, good._replace(fuel=None, fuel_group="petrol"))) == {"fuel_group"}


def test_a_fuel_is_listed_once_for_each_use(cast, fuel):
    made = LISTINGS.save(desk(cast), listing(cast, fuel))
    assert "which is listed already" in faults(LISTINGS, cast, listing(cast, fuel, pct=300))["use"]
    assert LISTINGS.save(desk(cast), listing(cast, fuel, use="in depth")).pk != made.pk
    group = listing(cast, None, fuel_group="polar")
    LISTINGS.save(desk(cast), group)
    assert "which is listed already" in faults(LISTINGS, cast, group)["use"]


def test_a_listing_stays_with_its_concentrate(cast, fuel):
    made = LISTINGS.save(desk(cast), listing(cast, fuel))
    found = faults(LISTINGS, cast, LISTINGS.read(made)._replace(concentrate=cast.class_a), made)
    assert set(found) == {"concentrate"}


def test_concentrates_and_fuels_of_another_department_are_refused(cast, fuel):
    theirs = ConcentrateFactory(department=cast.other_department)
    own = Fuel.objects.create(department=cast.other_department, name="mix", group="polar", source="x")
    assert set(faults(LISTINGS, cast, listing(cast, own, concentrate=theirs))) == {"concentrate", "fuel"}
    row = Listing.objects.create(concentrate=theirs, fuel=fuel, use="spill", pct=300, source="x")
    with pytest.raises(Refused, match="no such listing"):
        LISTINGS.save(desk(cast), listing(cast, fuel), row)


# Fuels


def test_a_fuel_of_the_departments_own(cast):
    made = FUELS.save(desk(cast), FuelFacts("plant mix 7", "blend", "plant's data sheet", "1993", 1500, -12.0))
    assert (made.department, made.un, made.oxygenate_pct, made.flash_c) == (cast.department, "UN1993", 1500, -12.0)
    assert last_change()[0] == "add fuel"


def test_a_fuel_is_refused(cast, fuel):
    good = FuelFacts("plant mix 7", "blend", "data sheet")
    assert "the list of fuels has one of that name" in faults(FUELS, cast, good._replace(name="Ethanol"))["name"]
    assert set(faults(FUELS, cast, good._replace(un="UN 19"))) == {"un"}
    assert set(faults(FUELS, cast, good._replace(oxygenate_pct=10_001))) == {"oxygenate_pct"}
    assert "choose blend" in faults(FUELS, cast, good._replace(group="hydrocarbon", oxygenate_pct=1000))["group"]
    assert set(faults(FUELS, cast, good._replace(source="", group="liquid"))) == {"source", "group"}


def test_a_shipped_fuel_is_nobodys_to_change(cast, fuel):
    for act in (lambda: FUELS.save(desk(cast), FUELS.read(fuel), fuel), lambda: FUELS.retire(desk(cast), fuel)):
        with pytest.raises(Refused, match="no such fuel"):
            act()


def test_a_fuel_that_a_plan_names_is_not_retired(cast):
    rigged = Rigged(cast)
    own = FUELS.save(desk(cast), FuelFacts("plant mix 7", "hydrocarbon", "data sheet"))
    rigged.duty.fuel = own
    rigged.duty.save()
    with pytest.raises(NotKept, match=r"Planned for it: gasoline spill of Engine 1\. Change the plan first"):
        FUELS.retire(desk(cast), own)
    all_judged()
    FUELS.save(desk(cast), FUELS.read(own)._replace(group="polar"), own)
    assert due() == {"Engine 1"}
    rigged.duty.retired_on = D0
    rigged.duty.save()
    assert FUELS.retire(desk(cast), own).retired_on == D0


def test_a_listing_that_was_withdrawn_counts_no_more(cast):
    rig = Rigged(cast)
    assert rig.status() == "ready"
    withdrawn = LISTINGS.retire(desk(cast), Listing.objects.get(concentrate=cast.ar))
    assert rig.status() == "not_ready"
    assert rig.open_codes() == {"not_listed"}
    LISTINGS.bring_back(desk(cast), withdrawn)
    assert rig.status() == "ready"
