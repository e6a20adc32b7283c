"""Judging, by day and by night: load, judge in memory, and write what changed in short transactions.

Nothing here stands between a movement and the book: it is called after the movement has been committed, and a unit that
cannot be judged keeps its last assessment and gets the deficiency `not_judged`.
"""

from __future__ import annotations

import logging
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import partial
from hashlib import md5
from typing import Any, NamedTuple

from django.db import connection, transaction
from django.db.models import Max, OuterRef, Q, Subquery

from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of
from readiness.actions.inserting import insert_values
from readiness.engineering import records as r
from readiness.engineering.deficiencies import found
from readiness.engineering.freezing import Scribe, plain
from readiness.engineering.judging import judge
from readiness.models import Assessment, Assignment, Deficiency, Department, Inputs, Unit
from readiness.reports.fleet import Fleet, collector_off, load_rigs
from readiness.reports.verdicts import AGES, ENGINE, Kept, digest, kept

log = logging.getLogger(__name__)
BATCH = 500
LATER = 2_500  # assessments of a large first night in one transaction: made ready before it, written in a moment

Subject = tuple[int, str, str, int]  # unit, code, kind and id of the subject: what an open deficiency is known by


class Judged(NamedTuple):
    """What judging came to: every verdict, how many answers changed, and the units that could not be judged."""

    department: Department
    moment: r.Moment
    units: tuple[Kept, ...]
    changed: int
    failed: tuple[tuple[str, str], ...]


def judge_units(
    department: Department,
    units: Collection[int] | None,
    *,
    because: str,
    clock: Clock = SYSTEM_CLOCK,
    moment: r.Moment | None = None,
) -> Judged:
    """Judge some units of a department, or all of it (None), and write what changed."""
    at = clock.now()
    moment = moment or r.Moment(at, day_of(department, at))
    scope = Q(department=department) & (Q() if units is None else Q(pk__in=units))
    seen = _standing(scope)
    with collector_off():
        fleet = load_rigs(day=moment.day, departments=[department.pk], units=units)
        verdicts, failed = judge_fleet(fleet, moment)
        changed = _Writer(department, moment, because, at, scope, seen).write(fleet, verdicts, failed)
    names = dict(Unit.objects.filter(pk__in=failed).values_list("id", "designation")) if failed else {}
    return Judged(
        department,
        moment,
        tuple(one for _, one in verdicts),
        changed,
        tuple((names.get(unit, str(unit)), why) for unit, why in failed.items()),
    )


@collector_off()
def judge_fleet(fleet: Fleet, moment: r.Moment) -> tuple[list[tuple[r.Rig, Kept]], dict[int, str]]:
    """Every rig's verdict; a rig whose judging fails stands among the failed, with the reason, and the rest go on."""
    verdicts: list[tuple[r.Rig, Kept]] = []
    failed = dict(fleet.broken)
    for rig in fleet.rigs:
        policy = fleet.policies[fleet.department_of[rig.unit_id]]
        try:
            verdicts.append((rig, kept(rig, judge(rig, policy, moment))))
        except Exception as wrong:
            log.exception("unit %s could not be judged", rig.unit_id)
            failed[rig.unit_id] = f"{type(wrong).__name__}: {wrong}"
    return verdicts, failed


class Standing(NamedTuple):
    """How a unit stands: whether it is due, and which assessment is its current one."""

    due: bool
    assessment: int | None


class Current(NamedTuple):
    """How a unit stands under lock, with its current answer and the last day on which that was confirmed."""

    standing: Standing
    digest: str
    confirmed_on: date | None


def _standing(scope: Q) -> dict[int, Standing]:
    """How the units of a scope stand now."""
    current = Assessment.objects.filter(unit=OuterRef("pk"), superseded_at__isnull=True).order_by()
    rows = Unit.objects.filter(scope).annotate(current=Subquery(current.values("id"))).order_by("id")
    return {unit: Standing(due, pk) for unit, due, pk in rows.values_list("id", "judge_due", "current")}


def _locked(scope: Q) -> dict[int, Current]:
    """The units of a scope; nobody else writes their assessments until the transaction ends.

    Two queries: in one, PostgreSQL would show the assessments as they were before it waited for the lock.
    """
    due = dict(Unit.objects.select_for_update().filter(scope).order_by("id").values_list("id", "judge_due"))
    rows = Assessment.objects.filter(superseded_at__isnull=True, unit__in=Unit.objects.filter(scope)).order_by()
    locked = {unit: Current(Standing(is_due, None), "", None) for unit, is_due in due.items()}
    for unit, pk, answer, confirmed_on in rows.values_list("unit", "id", "digest", "confirmed_on"):
        if unit in due:
            locked[unit] = Current(Standing(due[unit], pk), answer, confirmed_on)
    return locked


class Open(NamedTuple):
    """What is kept of an open deficiency and may have changed."""

    id: int
    severity: str
    measured: float | None
    required: float | None
    words: str
    quantity: str
    since_on: date | None


class Ready(NamedTuple):
    """A changed answer, ready to be written: the facts it was made from, and the assessment, in the columns' order."""

    unit: int
    inputs: tuple[str, bytes]
    assessment: tuple[Any, ...]


_INPUTS = ("digest", "body")
_ASSESSMENT = (
    "department_id",
    "unit_id",
    "day",
    "at",
    "because",
    "status",
    "holds_until",
    "next_change_on",
    "check_good_until",
    "answers",
    "digest",
    "inputs_id",
    "engine",
    "confirmed_on",
)
_DEFICIENCY = (
    "department_id",
    "unit_id",
    "code",
    "subject_kind",
    "subject_id",
    "quantity",
    "since_on",
    "opened_at",
    "seen_on",
    "note",
    "reopens_id",
    "severity",
    "measured",
    "required",
    "words",
)


def _day(value: date | None) -> Any:
    """A date as the database takes it."""
    return connection.ops.adapt_datefield_value(value)


def _instant(value: datetime | None) -> Any:
    """The same of a moment."""
    return connection.ops.adapt_datetimefield_value(value)


class _Writer:
    """Compares verdicts with what is kept and writes the difference.

    A unit that somebody else judged or changed since its facts were read is left alone: theirs are the newer facts,
    and whoever changed it judges it after the commit.
    """

    def __init__(
        self,
        department: Department,
        moment: r.Moment,
        because: str,
        at: datetime,
        scope: Q,
        seen: Mapping[int, Standing],
    ) -> None:
        self.department = department
        self.moment = moment
        self.because = because
        self.at = at
        self.scope = scope
        self.seen = seen
        self.scribe = Scribe()

    def write(self, fleet: Fleet, verdicts: Sequence[tuple[r.Rig, Kept]], failed: Mapping[int, str]) -> int:
        """Deficiencies and what stands unchanged in one transaction, the changed assessments in batches."""
        with transaction.atomic():
            current = _locked(self.scope)
            mine = {unit for unit, now in current.items() if self.seen.get(unit) == now.standing}
            judged = {rig.unit_id: (rig, one) for rig, one in verdicts if rig.unit_id in mine}
            answers = {unit: digest(one.verdict) for unit, (_, one) in judged.items()}
            changed = [unit for unit, answer in answers.items() if current[unit].digest != answer]
            self._write_deficiencies(mine, judged.values(), {unit: failed[unit] for unit in mine & failed.keys()})
            self._confirm(judged.keys() - set(changed), current)
            first, rest = changed[:BATCH], changed[BATCH:]
            self._write_assessments([self._ready(fleet, *judged[unit], answers[unit]) for unit in first])
            self._not_due(judged.keys() - set(rest))
        for start in range(0, len(rest), LATER):
            part = rest[start : start + LATER]
            self._write_later([self._ready(fleet, *judged[unit], answers[unit]) for unit in part], current)
        return len(changed)

    def _write_later(self, changed: Sequence[Ready], before: Mapping[int, Current]) -> None:
        """A further batch of a large first night, in a transaction of its own."""
        with transaction.atomic():
            current = _locked(Q(pk__in=[each.unit for each in changed]))
            mine = {unit for unit, now in current.items() if now.standing == before[unit].standing}
            self._write_assessments([each for each in changed if each.unit in mine])
            self._not_due(mine)

    def _not_due(self, units: Iterable[int]) -> None:
        """What was judged is not due any more; what failed stays due."""
        due = sorted(unit for unit in units if self.seen[unit].due)
        for start in range(0, len(due), BATCH):
            Unit.objects.filter(pk__in=due[start : start + BATCH]).update(judge_due=False)

    # -- deficiencies -----------------------------------------------------------------------------------------------

    def _wanted(
        self,
        verdicts: Iterable[tuple[r.Rig, Kept]],
        failed: Mapping[int, str],
        open_now: Mapping[Subject, Open],
    ) -> dict[Subject, r.Deficiency]:
        """What should be open: of judged units what was found, of the others what was open and that they failed."""
        wanted = {
            (one.verdict.unit_id, each.code, *each.subject): each
            for _, one in verdicts
            for each in one.verdict.deficiencies
        }
        for unit, why in failed.items():
            wanted[unit, "not_judged", "unit", unit] = found("not_judged", ("unit", unit), why[:160])
        for key, row in open_now.items():
            if key[0] in failed and key not in wanted:
                wanted[key] = _as_open(key, row)
        return wanted

    def _open_now(self, mine: Collection[int]) -> dict[Subject, Open]:
        rows = Deficiency.objects.filter(closed_on__isnull=True, unit__in=Unit.objects.filter(self.scope)).order_by()
        columns = ("unit", "code", "subject_kind", "subject_id", *Open._fields)
        return {
            (unit, code, kind, pk): Open(*rest)
            for unit, code, kind, pk, *rest in rows.values_list(*columns)
            if unit in mine
        }

    def _write_deficiencies(
        self, mine: Collection[int], judged: Iterable[tuple[r.Rig, Kept]], failed: Mapping[int, str]
    ) -> None:
        open_now = self._open_now(mine)
        wanted = self._wanted(judged, failed, open_now)
        gone = [row.id for key, row in open_now.items() if key not in wanted]
        for start in range(0, len(gone), BATCH):
            Deficiency.objects.filter(pk__in=gone[start : start + BATCH]).update(closed_on=self.moment.day)
        altered = [
            Deficiency(pk=row.id, **_numbers(wanted[key])._asdict())
            for key, row in open_now.items()
            if key in wanted and _differs(row, wanted[key])
        ]
        Deficiency.objects.bulk_update(altered, Numbers._fields, batch_size=BATCH)
        new = {key: each for key, each in wanted.items() if key not in open_now}
        if new:
            before = self._closed_before({key[0] for key in new})
            insert_values(
                Deficiency, _DEFICIENCY, [self._opened(key, each, before.get(key)) for key, each in new.items()]
            )

    def _opened(self, key: Subject, each: r.Deficiency, before: int | None) -> tuple[Any, ...]:
        today = self.moment.day
        since = each.since if each.since and each.since <= today else today
        seen = (each.quantity, _day(since), _instant(self.at), _day(today))
        return self.department.pk, *key, *seen, "", before, *_numbers(each)

    def _closed_before(self, units: Collection[int]) -> dict[Subject, int]:
        """The last closed row of each deficiency that opens now: it opens again."""
        of = units if len(units) <= BATCH else Unit.objects.filter(self.scope)
        rows = Deficiency.objects.filter(unit__in=of, closed_on__isnull=False).order_by()
        last = rows.values_list("unit", "code", "subject_kind", "subject_id").annotate(last=Max("id"))
        return {(unit, code, kind, pk): row for unit, code, kind, pk, row in last}

    # -- assessments ------------------------------------------------------------------------------------------------

    def _confirm(self, units: Iterable[int], current: Mapping[int, Current]) -> None:
        """Say of all the rest that were judged that their answer stood on this day too."""
        day = self.moment.day
        stood = sorted(unit for unit in units if (current[unit].confirmed_on or day) < day)
        for start in range(0, len(stood), BATCH):
            rows = Assessment.objects.filter(unit__in=stood[start : start + BATCH], superseded_at__isnull=True)
            rows.update(confirmed_on=day)

    def _write_assessments(self, changed: Sequence[Ready]) -> None:
        if not changed:
            return
        units = [each.unit for each in changed]
        Assessment.objects.filter(unit__in=units, superseded_at__isnull=True).update(superseded_at=self.at)
        insert_values(Inputs, _INPUTS, [each.inputs for each in changed], end="ON CONFLICT DO NOTHING")
        insert_values(Assessment, _ASSESSMENT, [each.assessment for each in changed])

    def _ready(self, fleet: Fleet, rig: r.Rig, one: Kept, answer: str) -> Ready:
        inputs = self._inputs(rig, fleet.policies[self.department.pk])
        return Ready(rig.unit_id, inputs, self._assessment(one, answer, inputs[0]))

    def _inputs(self, rig: r.Rig, policy: r.Policy) -> tuple[str, bytes]:
        text = self.scribe.text
        body = f'{{"rig":{text(rig)},"policy":{text(policy)},"moment":{text(self.moment)}}}'.encode()
        return md5(body, usedforsecurity=False).hexdigest(), zlib.compress(body, 3)

    def _assessment(self, one: Kept, answer: str, inputs: str) -> tuple[Any, ...]:
        verdict, today = one.verdict, _day(self.moment.day)
        days = (_day(verdict.holds_until), _day(verdict.next_change_on), _instant(verdict.check_good_until))
        made = (self.department.pk, verdict.unit_id, today, _instant(self.at), self.because, verdict.status)
        return *made, *days, self.scribe.text(one), answer, inputs, ENGINE, today


class Numbers(NamedTuple):
    """What a deficiency says, as it is kept."""

    severity: str
    measured: float | None
    required: float | None
    words: str


def _numbers(each: r.Deficiency) -> Numbers:
    return Numbers(each.severity, plain(each.measured), plain(each.required), each.words[:160])


def _differs(row: Open, each: r.Deficiency) -> bool:
    """Whether an open deficiency says other numbers now; an age grows by itself and is told from since-when."""
    now = _numbers(each)
    if each.quantity in AGES:
        now = now._replace(measured=row.measured)
    return (row.severity, row.measured, row.required, row.words) != now


def _as_open(key: Subject, row: Open) -> r.Deficiency:
    _, code, kind, pk = key
    severity: Any = row.severity
    return r.Deficiency(code, (kind, pk), severity, row.measured, row.required, row.quantity, row.since_on, row.words)


# -- by day ------------------------------------------------------------------------------------------------------------


def judge_soon(department: Department, units: Collection[int], *, because: str, clock: Clock = SYSTEM_CLOCK) -> None:
    """Mark units as due in the caller's transaction, and judge them once it is committed.

    A failure of judging is logged and leaves them due: what happened in the world is in the book whatever comes of it.
    """
    if not units:
        return
    Unit.objects.filter(department=department, pk__in=units, judge_due=False).update(judge_due=True)
    transaction.on_commit(partial(_judge_quietly, department, list(units), because, clock))


def _judge_quietly(department: Department, units: Collection[int] | None, because: str, clock: Clock) -> None:
    """Judge after the commit. Whatever goes wrong is logged and not raised: the person's entry is in the book."""
    try:
        judge_units(department, units, because=because, clock=clock)
    except Exception:
        log.exception("judging %s after %r failed; its units stay due", department, because)


def units_at(places: Iterable[tuple[int | None, int | None]]) -> set[int]:
    """The units that stand to change when something changes at these places (unit, vehicle)."""
    units, vehicles = set(), set()
    for unit, vehicle in places:
        if unit is not None:
            units.add(unit)
        if vehicle is not None:
            vehicles.add(vehicle)
    if vehicles:
        running = Assignment.objects.filter(vehicle__in=vehicles, to_at__isnull=True)
        units.update(running.values_list("unit", flat=True))
    return units


def judge_all_soon(department: Department, *, because: str, clock: Clock = SYSTEM_CLOCK) -> None:
    """The same for a whole department: after a workbook, or a change of policy."""
    Unit.objects.filter(department=department, judge_due=False).update(judge_due=True)
    transaction.on_commit(partial(_judge_quietly, department, None, because, clock))
