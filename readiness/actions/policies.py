"""A department's rules, changed by a chief."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple

from readiness.actions.keeping import EVERY_UNIT, Desk, Fault, Noun
from readiness.models import Policy

BOUNDS: Final = {  # of each number, in its own unit; what lies beyond was typed wrongly ("common practice, no source")
    "back_pressure_share": (100, 10_000),
    "unit_hold_back": (0, 10_000),
    "hazard_hold_back": (0, 10_000),
    "check_interval_h": (1, 8_760),
    "reserve_check_interval_h": (1, 8_760),
    "sample_interval_d": (1, 3_660),
    "test_interval_d": (1, 3_660),
    "opened_limit_d": (1, 3_660),
    "expiry_warn_d": (0, 3_660),
    "dead_band_ml": (0, 1_000_000),
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
    opened_limit_d: int
    expiry_warn_d: int
    rich_end: str
    add_concentrates: bool
    plain_on_e10: str
    dead_band_ml: int


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
        for name, words in (("rich_end", ("caution", "short")), ("plain_on_e10", ("no", "limited"))):
            if getattr(facts, name) not in words:
                yield Fault(name, f"“{getattr(facts, name)}” was read: {' or '.join(words)} belongs here.")

    def touched(self, row: Policy) -> Any:
        """Everybody."""
        return EVERY_UNIT


POLICIES = Policies()


def change_policy(desk: Desk, facts: PolicyFacts, *, seen: str = "") -> Policy:
    """Change the department's rules and judge everything by them. Raises NotAllowed and NotKept."""
    return POLICIES.save(desk, facts, Policy.objects.get(department=desk.department), seen=seen)
