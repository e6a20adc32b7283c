"""The judge: a unit on its vehicle against its duties, on a day, and until when the answer holds.

1. Undated: every option of every duty is worked once (``options``).
2. Dated: each option is graded by the stock and tests that are good on the day, and the best is taken (``grading``).
3. The worst duty and the worst of what is wrong with the unit itself decide its status.
4. The last good day is found by halving over the days on which something runs out: nothing gets better by waiting.

No clock, no database: the same rig, policy and moment give the same verdict.
"""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Final, NamedTuple

from readiness.engineering.answers import answer_for, refused_answer
from readiness.engineering.bench import Bench
from readiness.engineering.deficiencies import found
from readiness.engineering.grading import Grade, best_on, is_worse_on
from readiness.engineering.holding import Held, excluded_on
from readiness.engineering.options import Options, make_option, options_for
from readiness.engineering.records import (
    LOOSE,
    RANK,
    STATUSES,
    Answer,
    Deficiency,
    Duty,
    Exclusion,
    Moment,
    Policy,
    Rig,
    Status,
    Step,
    Verdict,
)
from readiness.engineering.steps import Recorder
from readiness.engineering.tasks import fit_for, task_for

_DAY: Final = timedelta(days=1)
_NOT_READY: Final = RANK["not_ready"]
_HOURS_SHOWN_AS_DAYS: Final = 48
_TO_FIND_OUT: Final = frozenset({"reading_above_book"})
_SHORT: Final = frozenset({"short_of_textbook", "runs_dry", "fire_cover_short", "hold_back_short", "no_reach"})


class Plan(NamedTuple):
    """A rig worked without a date."""

    bench: Bench
    duties: tuple[Options, ...]


def make_plan(rig: Rig, policy: Policy) -> Plan:
    """Work every option of every duty of a rig, once."""
    bench = Bench(rig, policy)
    return Plan(bench, tuple(options_for(bench, duty) for duty in rig.duties))


def ends_of(plan: Plan, day: date) -> list[date]:
    """The last good days from ``day`` on of all the stock and tests that some option counts on, in order."""
    ends = {end for run in plan.bench.runs.values() for end in (run.test_through, run.foam_through)}
    for pile in plan.bench.piles.values():
        for held in pile.held:
            ends.add(held.firm_through)
            ends.add(held.soft_through)
    return sorted([end for end in ends if day <= end < date.max])


def _worse_on(plan: Plan, ranks: tuple[int, ...], day: date) -> bool:
    """Whether any duty's answer on a day is worse than its rank among ``ranks``."""
    policy = plan.bench.policy
    for options, before in zip(plan.duties, ranks, strict=True):
        if options.rank <= before < _NOT_READY and is_worse_on(options, before, day, policy):
            return True
    return False


def holds_until(plan: Plan, ranks: tuple[int, ...], ends: list[date]) -> date | None:
    """The last day on which no duty is yet worse than its rank now; None where no known date makes one worse.

    By halving over ``ends``, the days on which something runs out, which is the same as day by day since nothing gets
    better by waiting.
    """
    if not ends or min(ranks, default=_NOT_READY) == _NOT_READY or not _worse_on(plan, ranks, ends[-1] + _DAY):
        return None
    low, high = 0, len(ends) - 1
    while low < high:
        middle = (low + high) // 2
        if _worse_on(plan, ranks, ends[middle] + _DAY):
            high = middle
        else:
            low = middle + 1
    return ends[low]


def _warnings_from(plan: Plan) -> list[tuple[Held, date]]:
    """Each container with a date, and the first day on which it is within the warning before that date."""
    before = timedelta(days=plan.bench.policy.expiry_warn_d - 1)
    return [
        (held, held.firm_through - before)
        for held in plan.bench.held
        if date.min + before <= held.firm_through < date.max
    ]


def next_change_on(plan: Plan, day: date, ends: list[date], warnings: list[tuple[Held, date]]) -> date | None:
    """The first day after ``day`` on which stock or a test runs out or a warning begins; None where none is known to.

    Until the day before, the verdict is the same in everything.
    """
    last_good = [held.firm_through for held, _ in warnings] + [held.soft_through for held in plan.bench.held]
    changes = [end + _DAY for end in last_good if day <= end < date.max]
    changes += [start for _, start in warnings if start > day]
    changes += [end + _DAY for end in ends[:1]]
    return min(changes, default=None)


def check_good_until(rig: Rig, policy: Policy) -> datetime | None:
    """The instant the last morning check is good until; None where none was ever made."""
    if rig.check_good_until is not None or rig.checked_at is None:
        return rig.check_good_until
    hours = policy.reserve_check_interval_h if rig.state == "reserve" else policy.check_interval_h
    return rig.checked_at + timedelta(hours=hours)


def _check_faults(rig: Rig, policy: Policy, at: datetime) -> list[Deficiency]:
    until, subject = check_good_until(rig, policy), ("unit", rig.unit_id)
    if until is None:
        return [found("check_never", subject, rig.name)]
    if at <= until:
        return []
    checked = rig.checked_at or until
    age_h, limit_h = (at - checked) / timedelta(hours=1), (until - checked) / timedelta(hours=1)
    if max(age_h, limit_h) >= _HOURS_SHOWN_AS_DAYS:
        return [found("check_overdue", subject, rig.name, "days", age_h // 24, limit_h // 24, until.date())]
    return [found("check_overdue", subject, rig.name, "hours", age_h // 1, limit_h // 1, until.date())]


def _vehicle_faults(rig: Rig) -> Iterable[Deficiency]:
    """Out of service, and a trailer without a tow unit or a driver."""
    vehicle = rig.vehicle
    if rig.state == "out":
        yield found("out_of_service", ("unit", rig.unit_id), rig.name)
    if vehicle is None:
        yield found("no_vehicle", ("unit", rig.unit_id), rig.name)
        return
    subject = ("vehicle", vehicle.id)
    if not vehicle.in_service:
        yield found("vehicle_out_of_service", subject, vehicle.name)
    if vehicle.needs_tow and not vehicle.tow_ready:
        yield found("no_tow", subject, rig.name)
    if vehicle.needs_tow and vehicle.driver_ready is False:
        yield found("no_driver", subject, rig.name)


def _equipment_faults(rig: Rig) -> Iterable[Deficiency]:
    """Without a design spill, a line or stock nothing is ever ready."""
    subject = ("unit", rig.unit_id)
    if not rig.duties:
        yield found("no_design_spill", subject, rig.name)
    if not rig.lines:
        yield found("no_line", subject, rig.name)
    if not any(container.book_ml for container in rig.containers):
        yield found("no_stock", subject, rig.name)


def _seen_faults(rig: Rig) -> Iterable[Deficiency]:
    """What a crew saw to be wrong; it stands until a later look finds it good."""
    for container in rig.containers:
        if container.fault:
            words = f"{container.code}: {container.fault}"
            yield found("fault_seen", ("container", container.id), words, since=container.fault_on)
    for line in rig.lines:
        if line.fault:
            yield found("fault_seen", ("line", line.id), f"{line.name}: {line.fault}", since=line.fault_on)
        if line.missing:
            yield found("not_carried", ("line", line.id), f"{line.name}: {line.missing}", since=line.missing_on)
    yield from _gear_faults(rig)


def _gear_faults(rig: Rig) -> Iterable[Deficiency]:
    """Gear that is asked for and was not found, and gear at fault: one deficiency of each kind, naming all of it."""
    gone = [each for each in rig.gear if each.missing]
    bad = [each for each in rig.gear if not each.missing]
    subject = ("unit", rig.unit_id)
    for code, found_so in (("not_carried", gone), ("fault_seen", bad)):
        if found_so:
            named = ", ".join(f"{each.name} ({each.words})" if each.words else each.name for each in found_so)
            since = min((each.since for each in found_so if each.since), default=None)
            yield found(code, subject, f"{rig.name}: {named}", since=since)


def _raised_faults(rig: Rig) -> Iterable[Deficiency]:
    """What somebody raised by hand stands until somebody closes it."""
    for each in rig.raised:
        yield found(f"raised_{each.severity}", ("raised", each.id), each.words, since=each.since)


def _inspection_faults(rig: Rig, day: date) -> Iterable[Deficiency]:
    """Evidence that is missing by the department's own rules."""
    for each in rig.inspections:
        if day > each.due_on:
            yield found("inspection_overdue", each.subject, each.words, since=each.due_on)


def _held_by_inspections(rig: Rig, status: Status, day: date, until: date | None) -> date | None:
    """Until when an answer holds, no inspection falling overdue before; those of every shift left out."""
    if RANK[status] >= RANK["unverified"]:
        return until
    dues = [each.due_on for each in rig.inspections if each.due_on >= day and not each.every_shift]
    return min([*dues, *([until] if until else [])], default=None)


def _excluded_faults(excluded: Iterable[Exclusion]) -> list[Deficiency]:
    return [
        found(each.code, ("container", each.container_id), each.container, "volume", each.ml / 1000, None, each.since)
        for each in excluded
        if each.code != "heel"
    ]


def _causes(plan: Plan, answers: Iterable[Answer], out: Iterable[Deficiency]) -> Iterator[Deficiency]:
    """What is out of the count because it reads above the book, as severe as the shortage that comes of it.

    To find out about it goes before loading more: what is in it may be good, and the book wrong.
    """
    for fault in out:
        if fault.code in _TO_FIND_OUT:
            short = {
                each.severity
                for answer, options in zip(answers, plan.duties, strict=True)
                for each in answer.deficiencies
                if each.code in _SHORT and _would_feed(plan.bench, answer, options.duty, fault.subject[1])
            }
            if short:
                yield fault._replace(severity=max(short, key=lambda severity: RANK[severity]))


def _would_feed(bench: Bench, answer: Answer, duty: Duty, container_id: int) -> bool:
    """Whether a line that meets the duty, or any where none does, draws from a container whose foam suits it."""
    concentrate = bench.holdings[container_id].concentrate
    if concentrate is None or fit_for(duty, concentrate, bench.policy).refused:
        return False
    loose = any(each.id == container_id and each.kind in LOOSE for each in bench.rig.containers)
    lines = [line for line in bench.rig.lines if not answer.setup or line.id in answer.setup]
    return any(container_id in line.sources or (loose and line.pails) for line in lines)


def _unflushed_spares(rig: Rig, every: Iterable[Deficiency]) -> list[Deficiency]:
    """Lines that were used and not flushed, and that no answer counts on: they are told all the same."""
    told = {each.subject for each in every if each.code == "flush_not_logged"}
    left = [line for line in rig.lines if not line.flushed and ("line", line.id) not in told]
    return [found("flush_of_spare", ("line", line.id), line.name) for line in left]


def _warnings(warnings: list[tuple[Held, date]], day: date) -> list[Deficiency]:
    """Stock that is in date and within the warning before it runs out."""
    return [
        found("expires_soon", ("container", held.container.id), held.container.code, since=held.firm_through)
        for held, start in warnings
        if start <= day <= held.firm_through
    ]


def _answer(plan: Plan, options: Options, day: date) -> Answer:
    grade = best_on(options, day, plan.bench.policy)
    return refused_answer(plan.bench, options) if grade is None else answer_for(plan.bench, options, grade, day)


def _accepted(each: Deficiency, accepted: frozenset[tuple[str, str, int]]) -> Deficiency:
    return each._replace(accepted=True) if (each.code, *each.subject) in accepted else each


def _distinct(rig: Rig, deficiencies: Iterable[Deficiency]) -> tuple[Deficiency, ...]:
    """Each (code, subject) once, the first kept, accepted ones marked; worst first."""
    once: dict[tuple[str, tuple[str, int]], Deficiency] = {}
    for each in deficiencies:
        once.setdefault((each.code, each.subject), each)
    every = list(once.values())
    if rig.accepted:
        every = [_accepted(each, rig.accepted) for each in every]
    every.sort(key=lambda each: -RANK[each.severity])
    return tuple(every)


def _judge_no_duty(rig: Rig, moment: Moment) -> Verdict:
    """A unit without a foam duty by a named decision: counted apart until its review is due."""
    review = rig.no_duty.review_on if rig.no_duty is not None else None
    if review is not None and moment.day <= review:
        return Verdict(rig.unit_id, "no_foam_duty", (), (), (), review, review + _DAY)
    fault = found("no_duty_review", ("unit", rig.unit_id), rig.name, since=review)
    return Verdict(rig.unit_id, "unverified", (), (), _distinct(rig, [fault]), None, None)


def _status(own: Iterable[Deficiency], answers: Iterable[Answer]) -> Status:
    """The worst of what is wrong with the unit itself and of its duties."""
    ranks = [RANK[each.severity] for each in own] + [RANK[answer.status] for answer in answers]
    return STATUSES[max(ranks, default=0)]


def judge(rig: Rig, policy: Policy, moment: Moment) -> Verdict:
    """The status of a unit on its vehicle at a moment, with its answers, deficiencies and until when it holds."""
    if rig.no_duty is not None:
        return _judge_no_duty(rig, moment)
    plan = make_plan(rig, policy)
    day = moment.day
    answers = tuple(_answer(plan, options, day) for options in plan.duties)
    excluded = tuple(excluded_on(plan.bench.holdings.values(), day))
    own = [
        *_vehicle_faults(rig),
        *_equipment_faults(rig),
        *_check_faults(rig, policy, moment.at),
        *_seen_faults(rig),
        *_raised_faults(rig),
        *_inspection_faults(rig, day),
    ]
    out = _excluded_faults(excluded)
    every = [*own, *_causes(plan, answers, out), *(fault for answer in answers for fault in answer.deficiencies)]
    warnings, ends = _warnings_from(plan), ends_of(plan, day)
    every += [*out, *_warnings(warnings, day), *_unflushed_spares(rig, every)]
    status = _status(own, answers)
    until = holds_until(plan, tuple([RANK[answer.status] for answer in answers]), ends)
    coming = [each.due_on + _DAY for each in rig.inspections if each.due_on >= day]
    change = next_change_on(plan, day, ends, warnings)
    return Verdict(
        rig.unit_id,
        status,
        answers,
        excluded,
        _distinct(rig, every),
        _held_by_inspections(rig, status, day, until),
        min([*coming, *([change] if change else [])], default=None),
        check_good_until(rig, policy),
    )


def _worked_again(plan: Plan, options: Options, grade: Grade, say: Recorder) -> None:
    """Work the best option once more by the same functions, with the recorder listening."""
    for option in (grade.option, grade.other):
        if option is None:
            continue
        lines = [run.line for run in option.runs]
        nozzles = tuple(run.nozzle_lpm for run in option.runs)
        wind_loss = max(line.wind_loss for line in lines)
        task = task_for(option.duty, option.concentrate, option.fit, wind_loss, plan.bench.policy, say)
        if task is not None:
            make_option(plan.bench, option.duty, task, option.fit, option.concentrate, lines, nozzles, say)


def working(rig: Rig, policy: Policy, moment: Moment, duty_id: int) -> tuple[Step, ...]:
    """The working of one duty's answer, step by step; empty where no concentrate counts.

    Made by the functions that make the answer, with a recorder. Raises ``KeyError`` for a duty the rig does not have.
    """
    plan = make_plan(rig, policy)
    options = {each.duty.id: each for each in plan.duties}[duty_id]
    grade = best_on(options, moment.day, policy)
    if grade is None:
        return ()
    say = Recorder()
    _worked_again(plan, options, grade, say)
    answer_for(plan.bench, options, grade, moment.day, say)
    return tuple(say.steps)
