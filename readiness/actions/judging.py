"""Judging, by day and by night: load, judge in memory, and write what changed in short transactions.

Nothing here stands between a movement and the book: it is called after the movement has been committed, and a unit that
cannot be judged keeps its last assessment and gets the deficiency `not_judged`.
"""

from __future__ import annotations

import json
import logging
import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from functools import partial
from hashlib import md5
from typing import Any, NamedTuple

from django.db import transaction
from django.db.models import OuterRef, Q, Subquery

from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of
from readiness.engineering import records as r
from readiness.engineering.deficiencies import found
from readiness.engineering.freezing import plain
from readiness.engineering.judging import judge
from readiness.models import Assessment, Assignment, Deficiency, Department, Inputs, Unit
from readiness.reports.fleet import Fleet, load_rigs
from readiness.reports.verdicts import AGES, ENGINE, Kept, digest, kept

log = logging.getLogger(__name__)
BATCH = 500

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

    def write(self, fleet: Fleet, verdicts: Sequence[tuple[r.Rig, Kept]], failed: Mapping[int, str]) -> int:
        """Deficiencies and what stands unchanged in one transaction, the changed assessments in batches."""
        with transaction.atomic():
            current = _locked(self.scope)
            mine = {unit for unit, now in current.items() if self.seen.get(unit) == now.standing}
            judged = {rig.unit_id: (rig, one) for rig, one in verdicts if rig.unit_id in mine}
            changed = [unit for unit, (_, one) in judged.items() if current[unit].digest != digest(one.verdict)]
            self._write_deficiencies(mine, judged.values(), {unit: failed[unit] for unit in mine & failed.keys()})
            self._confirm(judged.keys() - set(changed), current)
            first, rest = changed[:BATCH], changed[BATCH:]
            self._write_assessments(fleet, [judged[unit] for unit in first])
            self._not_due(judged.keys() - set(rest))
        for start in range(0, len(rest), BATCH):
            self._write_later(fleet, {unit: judged[unit] for unit in rest[start : start + BATCH]}, current)
        return len(changed)

    def _write_later(
        self, fleet: Fleet, changed: Mapping[int, tuple[r.Rig, Kept]], before: Mapping[int, Current]
    ) -> None:
        """A further batch of a large first night, in a transaction of its own."""
        with transaction.atomic():
            current = _locked(Q(pk__in=changed))
            mine = [unit for unit, now in current.items() if now.standing == before[unit].standing]
            self._write_assessments(fleet, [changed[unit] for unit in mine])
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
        open_now: Mapping[Subject, Mapping[str, Any]],
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
                wanted[key] = _as_open(row)
        return wanted

    def _open_now(self, mine: Collection[int]) -> dict[Subject, Mapping[str, Any]]:
        rows = Deficiency.objects.filter(closed_on__isnull=True, unit__in=Unit.objects.filter(self.scope)).order_by()
        return {
            (row["unit_id"], row["code"], row["subject_kind"], row["subject_id"]): row
            for row in rows.values()
            if row["unit_id"] in mine
        }

    def _write_deficiencies(
        self, mine: Collection[int], judged: Iterable[tuple[r.Rig, Kept]], failed: Mapping[int, str]
    ) -> None:
        open_now = self._open_now(mine)
        wanted = self._wanted(judged, failed, open_now)
        gone = [row["id"] for key, row in open_now.items() if key not in wanted]
        for start in range(0, len(gone), BATCH):
            Deficiency.objects.filter(pk__in=gone[start : start + BATCH]).update(closed_on=self.moment.day)
        altered = [
            Deficiency(pk=row["id"], **_numbers(wanted[key]))
            for key, row in open_now.items()
            if key in wanted and _differs(row, wanted[key])
        ]
        Deficiency.objects.bulk_update(altered, ["severity", "measured", "required", "words"], batch_size=BATCH)
        new = {key: each for key, each in wanted.items() if key not in open_now}
        before = _closed_before(new)
        Deficiency.objects.bulk_create(
            (self._opened(key, each, before.get(key)) for key, each in new.items()), batch_size=BATCH
        )

    def _opened(self, key: Subject, each: r.Deficiency, before: int | None) -> Deficiency:
        return Deficiency(
            department=self.department,
            unit_id=key[0],
            code=each.code,
            subject_kind=each.subject[0],
            subject_id=each.subject[1],
            quantity=each.quantity,
            since_on=each.since if each.since and each.since <= self.moment.day else self.moment.day,
            opened_at=self.at,
            seen_on=self.moment.day,
            reopens_id=before,
            **_numbers(each),
        )

    # -- assessments ------------------------------------------------------------------------------------------------

    def _confirm(self, units: Iterable[int], current: Mapping[int, Current]) -> None:
        """Say of all the rest that were judged that their answer stood on this day too."""
        day = self.moment.day
        stood = sorted(unit for unit in units if (current[unit].confirmed_on or day) < day)
        for start in range(0, len(stood), BATCH):
            rows = Assessment.objects.filter(unit__in=stood[start : start + BATCH], superseded_at__isnull=True)
            rows.update(confirmed_on=day)

    def _write_assessments(self, fleet: Fleet, changed: Sequence[tuple[r.Rig, Kept]]) -> None:
        if not changed:
            return
        units = [one.verdict.unit_id for _, one in changed]
        Assessment.objects.filter(unit__in=units, superseded_at__isnull=True).update(superseded_at=self.at)
        inputs = [self._inputs(rig, fleet.policies[self.department.pk]) for rig, _ in changed]
        Inputs.objects.bulk_create(inputs, ignore_conflicts=True)
        Assessment.objects.bulk_create(
            self._assessment(one, facts.digest) for (_, one), facts in zip(changed, inputs, strict=True)
        )

    def _inputs(self, rig: r.Rig, policy: r.Policy) -> Inputs:
        facts = {"rig": plain(rig), "policy": plain(policy), "moment": plain(self.moment)}
        body = json.dumps(facts, separators=(",", ":")).encode()
        return Inputs(digest=md5(body, usedforsecurity=False).hexdigest(), body=zlib.compress(body, 6))

    def _assessment(self, one: Kept, inputs: str) -> Assessment:
        verdict = one.verdict
        return Assessment(
            department=self.department,
            unit_id=verdict.unit_id,
            day=self.moment.day,
            at=self.at,
            because=self.because,
            status=verdict.status,
            holds_until=verdict.holds_until,
            next_change_on=verdict.next_change_on,
            check_good_until=verdict.check_good_until,
            answers=plain(one),
            digest=digest(verdict),
            inputs_id=inputs,
            engine=ENGINE,
            confirmed_on=self.moment.day,
        )


def _numbers(each: r.Deficiency) -> dict[str, Any]:
    return {
        "severity": each.severity,
        "measured": plain(each.measured),
        "required": plain(each.required),
        "words": each.words[:160],
    }


def _differs(row: Mapping[str, Any], each: r.Deficiency) -> bool:
    """Whether an open deficiency says other numbers now; an age grows by itself and is told from since-when."""
    numbers = _numbers(each)
    if each.quantity in AGES:
        del numbers["measured"]
    return any(row[name] != value for name, value in numbers.items())


def _as_open(row: Mapping[str, Any]) -> r.Deficiency:
    return r.Deficiency(
        row["code"],
        (row["subject_kind"], row["subject_id"]),
        row["severity"],
        row["measured"],
        row["required"],
        row["quantity"],
        row["since_on"],
        row["words"],
    )


def _closed_before(new: Mapping[Subject, r.Deficiency]) -> dict[Subject, int]:
    """The last closed row of each deficiency that opens now: it opens again."""
    units = sorted({key[0] for key in new})
    found_before: dict[Subject, int] = {}
    for start in range(0, len(units), BATCH):
        rows = Deficiency.objects.filter(unit__in=units[start : start + BATCH], closed_on__isnull=False)
        columns = rows.order_by("id").values_list("unit", "code", "subject_kind", "subject_id", "id")
        found_before.update({(unit, code, kind, pk): row for unit, code, kind, pk, row in columns})
    return found_before


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
