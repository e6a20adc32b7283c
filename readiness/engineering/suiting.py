"""Whether a concentrate counts on a fuel: by its listing, its kind, and the department's policy for E10."""

from typing import Final, NamedTuple

from readiness.engineering.fuels import needs_alcohol_resistant, plain_foam_only_by_policy
from readiness.engineering.records import Concentrate, Fuel, Listing, Policy, Use

ALCOHOL_RESISTANT: Final = frozenset({"ar_afff", "ar_fffp", "ar_f3"})
PLAIN_FILM_FORMING: Final = frozenset({"afff", "fffp"})
NO_CLASS_B_CREDIT: Final = frozenset({"class_a", "high_expansion", "wetting", "training"})


class Fit(NamedTuple):
    """How a concentrate suits a fuel and use. ``refused`` is a deficiency code, empty where it counts."""

    listing: Listing | None
    refused: str = ""
    by_group: bool = False
    plain_on_e10: bool = False


def _refused_by_kind(concentrate: Concentrate, fuel: Fuel, use: Use, policy: Policy) -> bool:
    if concentrate.kind in NO_CLASS_B_CREDIT:
        return True
    if concentrate.kind in ALCOHOL_RESISTANT:
        return False
    if needs_alcohol_resistant(fuel.group, fuel.oxygenate):
        return True
    if not plain_foam_only_by_policy(fuel.group, fuel.oxygenate):
        return False
    by_policy = policy.plain_on_e10 == "limited" and use == "spill"
    return not (by_policy and concentrate.kind in PLAIN_FILM_FORMING)


def _fallback_group(fuel: Fuel) -> str:
    """The group to look under: an unknown liquid as polar, a blend as what it must be treated as."""
    if fuel.group in ("unknown", "blend"):
        return "polar" if needs_alcohol_resistant(fuel.group, fuel.oxygenate) else "hydrocarbon"
    return fuel.group


def _listing(concentrate: Concentrate, fuel: Fuel, use: Use) -> tuple[Listing | None, bool]:
    """The listing and whether it was found by group only."""
    found = concentrate.listings.get((fuel.id, use))
    if found is not None:
        return found, found.by_group
    found = concentrate.listings.get((fuel.group, use))
    return found or concentrate.listings.get((_fallback_group(fuel), use)), True


def fit(concentrate: Concentrate, fuel: Fuel, use: Use, policy: Policy) -> Fit:
    """How ``concentrate`` suits ``fuel`` for ``use``.

    1. Class A, wetting, high-expansion and training foam have no Class B credit; a fuel that needs alcohol-resistant
       foam refuses the others; E10 takes plain film-forming foam only by policy, on a spill, never in depth.
    2. No listing: does not count; in depth or on a tank the words are "no listed rate".
    3. A listing by the fuel's group only counts, unverified.
    """
    if _refused_by_kind(concentrate, fuel, use, policy):
        return Fit(None, "wrong_foam")
    listing, by_group = _listing(concentrate, fuel, use)
    if listing is None:
        return Fit(None, "not_listed" if use == "spill" else "no_listed_rate")
    plain = plain_foam_only_by_policy(fuel.group, fuel.oxygenate) and concentrate.kind not in ALCOHOL_RESISTANT
    return Fit(listing, by_group=by_group, plain_on_e10=plain)
