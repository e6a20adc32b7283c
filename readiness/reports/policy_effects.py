"""What a change of policy would do to tonight's statuses: everything judged twice in memory, nothing written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from typing import Any, Final, Literal, NamedTuple

from readiness.engineering import records as r
from readiness.engineering.deficiencies import System, sentence
from readiness.engineering.judging import judge
from readiness.models import Department
from readiness.reports.fleet import load_rigs
from readiness.reports.verdicts import digest

NOT_JUDGED: Final = "not_judged"
ORDER: Final = ("not_ready", NOT_JUDGED, "unverified", "limited", "ready", "no_foam_duty")  # worst first
MOST_REASONS: Final = 4

Way = Literal["worse", "better", "same"]


class Effect(NamedTuple):
    """One unit that would be judged otherwise, and why. way: of its status."""

    unit_id: int
    unit: str
    before: str
    after: str
    way: Way
    new: tuple[str, ...]  # what would be wrong
    gone: tuple[str, ...]  # what would be wrong no longer
    holds_before: str
    holds_after: str


class Count(NamedTuple):
    """How many units have a status by the policy as it is, and by the policy as it would be."""

    status: str
    before: int
    after: int


class Effects(NamedTuple):
    """Every status counted twice; units whose status changes; units of the same status with other figures."""

    counts: tuple[Count, ...]
    changed: tuple[Effect, ...]
    shifted: tuple[Effect, ...]


def judged_with(rules: Mapping[str, Any], region_packs: Collection[str]) -> r.Policy:
    """A policy as the judge wants it, from the department's rules by name and the region packs that are on."""
    known = {name: value for name, value in rules.items() if name in r.Policy._fields}
    return r.Policy(**known, region_packs=frozenset(region_packs))


def policy_effects(department: Department, new: r.Policy, moment: r.Moment, units: System) -> Effects:
    """Judge every unit by the stored policy and by `new`, at one moment, from one reading of the database."""
    fleet = load_rigs(day=moment.day, departments=[department.pk])
    old = fleet.policies[department.pk]
    before: Counter[str] = Counter({NOT_JUDGED: len(fleet.broken)})
    after: Counter[str] = Counter({NOT_JUDGED: len(fleet.broken)})
    effects: list[Effect] = []
    for rig in fleet.rigs:
        pair = _judged(rig, old, moment), _judged(rig, new, moment)
        before[_status(pair[0])] += 1
        after[_status(pair[1])] += 1
        if None not in pair and digest(pair[0]) == digest(pair[1]):  # type: ignore[arg-type] # neither is None
            continue
        effects.append(_effect(rig, *pair, units))
    effects.sort(key=lambda each: (ORDER.index(each.after), each.unit))
    return Effects(
        tuple(Count(status, before[status], after[status]) for status in ORDER),
        tuple(each for each in effects if each.way != "same"),
        tuple(each for each in effects if each.way == "same" and (each.new or each.gone or _holds(each))),
    )


def _judged(rig: r.Rig, policy: r.Policy, moment: r.Moment) -> r.Verdict | None:
    """The verdict; None where the judge fails, as the night would report it."""
    try:
        return judge(rig, policy, moment)
    except Exception:
        return None


def _status(verdict: r.Verdict | None) -> str:
    return verdict.status if verdict else NOT_JUDGED


def _holds(effect: Effect) -> bool:
    return effect.holds_before != effect.holds_after


def _effect(rig: r.Rig, old: r.Verdict | None, new: r.Verdict | None, units: System) -> Effect:
    before, after = _status(old), _status(new)
    ranks = ORDER.index(before), ORDER.index(after)
    way: Way = "same" if ranks[0] == ranks[1] else "worse" if ranks[1] < ranks[0] else "better"
    return Effect(
        rig.unit_id,
        rig.name,
        before,
        after,
        way,
        tuple(_reasons(new, old, units)),
        tuple(_reasons(old, new, units)),
        _day(old),
        _day(new),
    )


def _day(verdict: r.Verdict | None) -> str:
    """Until when a ready or limited answer holds; of the others nothing is held."""
    if verdict is None or verdict.status not in ("ready", "limited") or verdict.holds_until is None:
        return ""
    return verdict.holds_until.isoformat()


def _reasons(of: r.Verdict | None, other: r.Verdict | None, units: System) -> Iterator[str]:
    """What is wrong by one verdict and not by the other, the gravest first."""
    if of is None:
        yield "It could not be judged."
        return
    known = {sentence(each, units) for each in other.deficiencies} if other else set()
    graver_first = sorted(of.deficiencies, key=lambda each: -r.RANK[each.severity])
    fresh = list(dict.fromkeys(said for each in graver_first if (said := sentence(each, units)) not in known))
    yield from fresh[:MOST_REASONS]
    if len(fresh) > MOST_REASONS:
        yield f"and {len(fresh) - MOST_REASONS} more"
