"""A department's rules, changed by a chief."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from django.db import transaction
from django.db.models import Q

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Refused
from readiness.actions.judging import judge_soon
from readiness.actions.keeping import EDIT, EVERY_UNIT, Desk, Fault, Noun
from readiness.actions.permissions import require
from readiness.engineering.percentages import percent_text
from readiness.engineering.sample_limits import L1, Limits
from readiness.models import Department, Duty, Policy
from readiness.models.duties import RegionRule
from readiness.models.policy import RegionPack

BOUNDS: Final = {  # of each number, in its own unit; what lies beyond was typed wrongly ("common practice, no source")
    "back_pressure_share": (100, 10_000),
    "unit_hold_back": (0, 10_000),
    "hazard_hold_back": (0, 10_000),
    "check_interval_h": (1, 8_760),
    "reserve_check_interval_h": (1, 8_760),
    "sample_interval_d": (1, 3_660),
    "test_interval_d": (1, 3_660),
    "foam_test_interval_d": (0, 3_660),
    "vehicle_3_least": (100, 1_000),
    "vehicle_3_most": (100, 1_000),
    "vehicle_6_least": (100, 1_000),
    "vehicle_6_most": (100, 1_000),
    "opened_limit_d": (1, 3_660),
    "expiry_warn_d": (0, 3_660),
    "dead_band_ml": (0, 1_000_000),
    "inventory_interval_d": (1, 3_660),
    "inventory_confirm_share": (0, 10_000),
    "inventory_limit_share": (0, 10_000),
    "inventory_limit_ml": (0, 1_000_000),
    "inventory_total_share": (0, 10_000),
    "use_window_d": (30, 3_660),
    "lead_time_d": (1, 1_830),
    "budget_month": (1, 12),
}

CHOICES: Final = {
    "rich_end": ("caution", "short"),
    "plain_on_e10": ("no", "limited"),
    "order_counts": ("stores", "all"),
}


class PolicyFacts(NamedTuple):
    """Every rule, under the names and in the units of models.policy.RULES."""

    back_pressure_share: int
    unit_hold_back: int
    hazard_hold_back: int
    check_interval_h: int
    reserve_check_interval_h: int
    sample_interval_d: int
    test_interval_d: int
    foam_test_interval_d: int
    vehicle_3_least: int
    vehicle_3_most: int
    vehicle_6_least: int
    vehicle_6_most: int
    opened_limit_d: int
    expiry_warn_d: int
    rich_end: str
    add_concentrates: bool
    plain_on_e10: str
    dead_band_ml: int
    inventory_interval_d: int
    inventory_confirm_share: int
    inventory_limit_share: int
    inventory_limit_ml: int
    inventory_total_share: int
    drill_with_pfas: bool
    order_counts: str
    use_window_d: int
    lead_time_d: int
    budget_month: int


class Policies(Noun[Policy, PolicyFacts]):
    """One policy a department; every unit is judged by it."""

    name = "policy"
    retired = ""
    model, facts = Policy, PolicyFacts

    def faults(self, desk: Desk, facts: PolicyFacts, row: Policy | None) -> Iterator[Fault]:
        """Numbers within reason, and one of the words where a rule has words."""
        if row is None:
            yield Fault("", f"{desk.department} has no policy to change.")
        for name, (least, most) in BOUNDS.items():
            value = getattr(facts, name)
            if not least <= value <= most:
                yield Fault(name, f"“{value}” was read: from {least:,} to {most:,} belongs here.")
        for name, setting in (("vehicle_3", 300), ("vehicle_6", 600)):
            least, most = getattr(facts, f"{name}_least"), getattr(facts, f"{name}_most")
            if not least <= setting <= most:
                read = f"{percent_text(least)} to {percent_text(most)}"
                right = f"a band holds {percent_text(setting)} and begins with the lower end"
                yield Fault(f"{name}_least", f"“{read}” was read: {right}.")
        for name, words in CHOICES.items():
            if getattr(facts, name) not in words:
                yield Fault(name, f"“{getattr(facts, name)}” was read: {' or '.join(words)} belongs here.")

    def touched(self, row: Policy) -> Any:
        """Everybody."""
        return EVERY_UNIT


POLICIES = Policies()


def change_policy(desk: Desk, facts: PolicyFacts, *, seen: str = "") -> Policy:
    """Change the department's rules and judge everything by them. Raises NotAllowed and NotKept."""
    return POLICIES.save(desk, facts, Policy.objects.get(department=desk.department), seen=seen)


def turn_pack(desk: Desk, pack: str, *, on: bool) -> Policy:
    """Turn a region pack on or off, and judge what is planned by its rule anew. Raises Refused, NotAllowed."""
    require(desk.acting, desk.department, EDIT)
    if pack not in RegionPack.values:
        raise Refused(f"“{pack}” was read: {', '.join(RegionPack.values)} are the region packs.")
    with transaction.atomic():
        row = Policy.objects.select_for_update().get(department=desk.department)
        old = sorted(row.region_packs)
        row.region_packs = sorted({*old, pack} if on else {*old} - {pack})
        row.save(update_fields=["region_packs"])
        if row.region_packs != old:
            changed = Changed("change policy", row, {"region_packs": old}, {"region_packs": row.region_packs})
            record_changes(desk.department, desk.acting, desk.clock.now(), [changed])
            units = _planned_by(desk.department, RegionPack(pack))
            judge_soon(desk.department, units, because="region pack", clock=desk.clock)
    return row


# How a duty says that it is planned by a pack's rule; nothing is judged by the calendars of fluorine.
_BY_PACK: Final = {
    RegionPack.AIRPORT: Q(category__isnull=False),
    RegionPack.MARINE: Q(rule=RegionRule.DECK),
    RegionPack.STORAGE: Q(rule=RegionRule.TANK),
}


def _planned_by(department: Department, pack: RegionPack) -> set[int]:
    """The units with a duty that is planned by a pack's rule."""
    if pack not in _BY_PACK:
        return set()
    return set(Duty.objects.filter(_BY_PACK[pack], department=department).values_list("unit", flat=True))


def set_sample_limits(desk: Desk, limits: Limits) -> Policy:
    """Change the limits for a laboratory's values; only what differs from the shipped ones is kept.

    Samples recorded before keep their result. Raises Refused, NotAllowed.
    """
    require(desk.acting, desk.department, EDIT)
    if not 0 <= limits.ph_low < limits.ph_high <= 14:
        raise Refused(f"pH {limits.ph_low:g} to {limits.ph_high:g} was read: the lower comes first, both up to 14.")
    asked, shipped = limits._asdict(), L1._asdict()
    new = {name: value for name, value in asked.items() if name != "source" and value != shipped[name]}
    with transaction.atomic():
        row = Policy.objects.select_for_update().get(department=desk.department)
        old, row.sample_limits = row.sample_limits, new
        row.save(update_fields=["sample_limits"])
        if new != old:
            changed = Changed("change policy", row, {"sample_limits": old}, {"sample_limits": new})
            record_changes(desk.department, desk.acting, desk.clock.now(), [changed])
    return row
