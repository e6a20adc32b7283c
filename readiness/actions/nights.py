"""The night: every unit of every department as of its shift change.

Today's night writes. A future day is a forecast and writes nothing. A past day is told from what was stored, or folded
again from the ledger when asked (reports/folds.py), and writes nothing either.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import nullcontext
from datetime import date
from typing import NamedTuple

from django.db import connection

from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of, shift_change
from readiness.actions.judging import Judged, judge_fleet, judge_units
from readiness.actions.night_lock import one_night_at_a_time
from readiness.engineering.records import Moment
from readiness.models import Department, Night, Unit
from readiness.reports.fleet import load_rigs
from readiness.reports.folds import fold_at
from readiness.reports.nights import stored_night
from readiness.reports.verdicts import ENGINE, Kept


class NightOf(NamedTuple):
    """What a night came to for one department. `how`: judged, forecast, stored or rebuilt."""

    department: Department
    day: date
    how: str
    units: tuple[Kept, ...]
    changed: int
    failed: tuple[tuple[str, str], ...]


def run_night(
    *,
    day: date | None = None,
    departments: Iterable[Department] | None = None,
    rebuild: bool = False,
    clock: Clock = SYSTEM_CLOCK,
) -> list[NightOf]:
    """Judge as of a day (today when None). Raises AnotherNight when another run holds the lock."""
    every = list(Department.objects.filter(closed_on__isnull=True) if departments is None else departments)
    now = clock.now()
    writes = day is None or any(day == day_of(department, now) for department in every)
    with one_night_at_a_time() if writes else nullcontext():
        nights = [_night_of(department, day, rebuild, clock) for department in every]
        if writes:
            _count_tables()
    return nights


def _count_tables() -> None:
    """Let SQLite see how large its tables have become, for its choice of indexes; PostgreSQL does so by itself."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def _night_of(department: Department, day: date | None, rebuild: bool, clock: Clock) -> NightOf:
    today = day_of(department, clock.now())
    asked = day or today
    if asked > today:
        return _forecast(department, asked)
    if asked < today:
        return _rebuilt(department, asked) if rebuild else _stored(department, asked)
    return _judged(department, asked, clock)


def _judged(department: Department, day: date, clock: Clock) -> NightOf:
    """Begin the night's row, judge, and complete it; the second run of a day that changes nothing leaves it alone."""
    begun = clock.now()
    night, _ = Night.objects.get_or_create(
        department=department, day=day, defaults={"started_at": begun, "engine": ENGINE}
    )
    moment = Moment(shift_change(department, day), day)
    judged = judge_units(department, None, because="night", clock=clock, moment=moment)
    failed = [{"unit": name, "why": why} for name, why in judged.failed]
    if night.finished_at is None or judged.changed or night.failed != failed or night.engine != ENGINE:
        night.finished_at = clock.now()
        night.engine = ENGINE
        night.judged = len(judged.units)
        night.changed += judged.changed
        night.failed = failed
        night.save()
    return _told(judged, "judged")


def _told(judged: Judged, how: str) -> NightOf:
    return NightOf(judged.department, judged.moment.day, how, judged.units, judged.changed, judged.failed)


def _forecast(department: Department, day: date) -> NightOf:
    """As the records stand today, on a day to come: what will have run out, if nothing is done. Checks are left out."""
    moment = Moment(shift_change(department, day), day)
    fleet = load_rigs(day=day, departments=[department.pk])
    checked = tuple(rig._replace(checked_at=moment.at, check_good_until=None) for rig in fleet.rigs)
    verdicts, failed = judge_fleet(fleet._replace(rigs=checked), moment)
    return NightOf(department, day, "forecast", tuple(one for _, one in verdicts), 0, _named(failed))


def _rebuilt(department: Department, day: date) -> NightOf:
    """What ledger and evidence of that moment come to; duties, lines and policy have no history and are today's."""
    moment = Moment(shift_change(department, day), day)
    fleet = load_rigs(day=day, departments=[department.pk], past=fold_at(department, moment.at))
    verdicts, failed = judge_fleet(fleet, moment)
    return NightOf(department, day, "rebuilt", tuple(one for _, one in verdicts), 0, _named(failed))


def _stored(department: Department, day: date) -> NightOf:
    units, failed = stored_night(department, day)
    return NightOf(department, day, "stored", units, 0, failed)


def _named(failed: dict[int, str]) -> tuple[tuple[str, str], ...]:
    names = dict(Unit.objects.filter(pk__in=failed).values_list("id", "designation")) if failed else {}
    return tuple((names.get(unit, str(unit)), why) for unit, why in failed.items())
