"""When a unit falls short in the coming years if nothing is done, and what would prevent it."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final

from readiness.engineering.grading import Grade, best_on
from readiness.engineering.judging import Plan, ends_of, make_plan
from readiness.engineering.options import Option, Options
from readiness.engineering.records import RANK, STATUSES, Moment, Policy, Remedy, Rig, Turn

_DAY: Final = timedelta(days=1)
_DAYS_A_YEAR: Final = 365.25
_NOT_READY: Final = RANK["not_ready"]


def _container_remedies(option: Option, end: date) -> Iterable[Remedy]:
    for held in option.pools[0].pile.held:
        if end in (held.firm_through, held.soft_through):
            batches = ", ".join(part.lot.batch for part in held.container.parts)
            words = f"{held.container.code}, lot {batches}"
            yield Remedy("container", held.container.id, words, end, "Take a sample or replace it.")


def _test_remedies(option: Option, end: date) -> Iterable[Remedy]:
    for run in option.runs:
        if run.test_through == end:
            yield Remedy("test", run.line.id, run.line.name, end, "Test the line.")
        if run.foam_through == end:
            yield Remedy("test", run.line.id, f"foam of {run.line.name}", end, "Test the foam.")


def _remedies(grade: Grade, end: date) -> tuple[Remedy, ...]:
    """What the best option counted on and what ran out on ``end``."""
    remedies: list[Remedy] = []
    for option in (grade.option, grade.other):
        if option is not None:
            remedies += [*_container_remedies(option, end), *_test_remedies(option, end)]
    return tuple(remedies)


def _rank(options: Options, grade: Grade | None) -> int:
    return _NOT_READY if grade is None else max(grade.rank, options.rank)


def _turns(plan: Plan, options: Options, day: date, ends: list[date]) -> Iterable[Turn]:
    """The days on which one duty's answer gets worse, in order."""
    policy = plan.bench.policy
    before = best_on(options, day, policy)
    for end in ends:
        after = best_on(options, end + _DAY, policy)
        was, becomes = _rank(options, before), _rank(options, after)
        if before is not None and after is not None and becomes > was:
            short = max(0.0, (1 + after.unmet) * after.need_l)
            prevents = _remedies(before, end)
            yield Turn(end + _DAY, options.duty.id, STATUSES[was], STATUSES[becomes], short, prevents)
        before = after


def _review(rig: Rig, moment: Moment, last: date) -> tuple[Turn, ...]:
    """The day after a decision of no foam duty is due for review."""
    review = rig.no_duty.review_on if rig.no_duty is not None else None
    if rig.no_duty is None or review is None or not moment.day <= review < last:
        return ()
    remedy = Remedy("review", rig.unit_id, f"decision of {rig.no_duty.by}", review, "Review the decision.")
    return (Turn(review + _DAY, 0, "no_foam_duty", "unverified", 0.0, (remedy,)),)


def forecast(rig: Rig, policy: Policy, moment: Moment, years: float = 2) -> tuple[Turn, ...]:
    """The days in the coming years on which a duty's status gets worse if nothing is done, earliest first.

    Each with the shortage from that day [L] and what would prevent it: the container and lot to sample or replace,
    the line to test. The morning check's rhythm is left out. A decision of no foam duty turns on its review (duty 0).
    """
    last = moment.day + timedelta(days=round(years * _DAYS_A_YEAR))
    if rig.no_duty is not None:
        return _review(rig, moment, last)
    plan = make_plan(rig, policy)
    ends = [end for end in ends_of(plan, moment.day) if end < last]
    turns = [turn for options in plan.duties for turn in _turns(plan, options, moment.day, ends)]
    return tuple(sorted(turns, key=lambda turn: (turn.day, turn.duty_id)))
