"""All that is wrong and open in a department, found by judging or raised by hand, the oldest first; and one of them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from readiness.engineering.deficiencies import System, sentence
from readiness.models import Assignment, Container, Deficiency, Department, FoamLine, RaisedDeficiency, Unit, WorkEntry
from readiness.reports.unit_today import name_of, recorded_deficiency

FOUND, BY_HAND, ORDER = "found by judging", "raised by hand", "to be ordered"
OVERDUE, OPEN, ACCEPTED = "overdue", "open", "accepted"
TO_OFFICER_D: Final = 1  # days past due when it is the company officer's; common practice, no source
TO_CHIEF_D: Final = 7  # and when it is the chief's
RAISED: Final = "raised"  # the judge's kind of subject for what somebody raised by hand


class Listed(NamedTuple):
    """One deficiency of the list. `raised`: whether `pk` is of one that was raised by hand."""

    pk: int
    raised: bool
    unit_id: int | None
    unit: str
    station: str
    severity: str
    sentence: str
    source: str
    since_on: date
    age_d: int
    owner: str
    due_on: date | None
    overdue_d: int
    answers: str
    state: str
    shop_ticket: str
    loaner: str


class Worked(NamedTuple):
    """A line of the work log."""

    at: datetime
    by: str
    what: str
    words: str
    photo_id: int | None


def escalated(due_on: date | None, owner: str, day: date) -> str:
    """Who answers for it on a day: its owner, and once overdue somebody above."""
    days = overdue_d(due_on, day)
    if days >= TO_CHIEF_D:
        return "chief"
    if days >= TO_OFFICER_D:
        return "company officer"
    return owner or "nobody named"


def overdue_d(due_on: date | None, day: date) -> int:
    """Days past due; 0 in time or without a day."""
    return max(0, (day - due_on).days) if due_on else 0


def open_deficiencies(department: Department, day: date, system: System) -> list[Listed]:
    """Every open one but notes of the judge, the oldest first; in four queries."""
    accepted = _accepted(department, day)
    found = [*_found(department, day, system), *_raised(department, day, accepted)]
    return sorted(found, key=lambda each: (each.since_on, each.unit, each.sentence))


def _accepted(department: Department, day: date) -> frozenset[int]:
    """Those raised by hand that a chief has accepted."""
    rows = Deficiency.objects.filter(department=department, subject_kind=RAISED, closed_on__isnull=True)
    return frozenset(rows.filter(accepted_until__gte=day).values_list("subject_id", flat=True))


def _found(department: Department, day: date, system: System) -> Iterable[Listed]:
    rows = Deficiency.objects.filter(department=department, closed_on__isnull=True, unit__retired_on__isnull=True)
    rows = rows.exclude(severity="note").exclude(subject_kind=RAISED)
    for row in rows.select_related("unit__station", "owner").order_by():
        since = row.since_on or row.opened_at.astimezone(ZoneInfo(department.time_zone)).date()
        said = sentence(recorded_deficiency(row), system)
        state = ACCEPTED if row.accepted_until and row.accepted_until >= day else ""
        where = (row.unit_id, row.unit.designation, row.unit.station.name)
        yield _listed(row, False, where, row.severity, said, FOUND, since, day, state)


def _raised(department: Department, day: date, accepted: frozenset[int]) -> Iterable[Listed]:
    running = Assignment.objects.filter(department=department, to_at__isnull=True).select_related("unit__station")
    on = {each.vehicle_id: each.unit for each in running}
    for row in raised_of(department).filter(closed_at__isnull=True).order_by():
        since = row.raised_at.astimezone(ZoneInfo(department.time_zone)).date()
        source = ORDER if row.kind == "order" else BY_HAND
        state = ACCEPTED if row.pk in accepted else ""
        yield _listed(row, True, _stands(row, on), row.effect, f"{row}", source, since, day, state)


def _listed(
    row: Any,
    raised: bool,
    where: tuple[int | None, str, str],
    severity: str,
    said: str,
    source: str,
    since: date,
    day: date,
    state: str,
) -> Listed:
    owner, days = name_of(row.owner), overdue_d(row.due_on, day)
    return Listed(
        row.pk,
        raised,
        *where,
        severity=severity,
        sentence=said,
        source=source,
        since_on=since,
        age_d=max(0, (day - since).days),
        owner=owner,
        due_on=row.due_on,
        overdue_d=days,
        answers=escalated(row.due_on, owner, day),
        state=state or (OVERDUE if days else OPEN),
        shop_ticket=getattr(row, "shop_ticket", ""),
        loaner=getattr(row, "loaner", ""),
    )


def raised_of(department: Department) -> QuerySet[RaisedDeficiency, RaisedDeficiency]:
    """A department's raised ones with what they are about."""
    places = ("station", "unit__station", "vehicle__station")
    known = (
        *("department", "owner", "raised_by", "closed_by"),
        *("unit__station", "vehicle__station", "line__unit__station", "line__vehicle__station"),
        *(f"container__place__{place}" for place in places),
    )
    return RaisedDeficiency.objects.filter(department=department).select_related(*known)


def _stands(row: RaisedDeficiency, on: dict[int, Unit]) -> tuple[int | None, str, str]:
    """(unit, its name, station) of what it is about tonight."""
    thing: Any = row.line or (row.container.place if row.container else None) or row
    unit = thing.unit or on.get(thing.vehicle_id or 0)
    if unit is not None:
        return unit.pk, unit.designation, unit.station.name
    house = getattr(thing, "station", None) or (thing.vehicle.station if thing.vehicle else None)
    return None, str(thing.vehicle or (f"{house} store" if house else "outside the book")), str(house or "")


def unit_of(row: RaisedDeficiency) -> Unit | None:
    """The unit whose status it touches tonight."""
    thing: Any = row.line or (row.container.place if row.container else None) or row
    run = Assignment.objects.filter(vehicle=thing.vehicle_id or 0, to_at__isnull=True).select_related("unit").first()
    unit: Unit | None = thing.unit
    return unit or (run.unit if run else None)


def work_log(row: RaisedDeficiency) -> list[Worked]:
    """What people saw and did, oldest first."""
    entries = WorkEntry.objects.filter(deficiency=row).select_related("by").order_by("id")
    return [Worked(each.at, name_of(each.by), each.what, each.words, each.photo_id) for each in entries]


def judged_row(row: RaisedDeficiency) -> Deficiency | None:
    """The judge's own record of it, which a chief accepts."""
    rows = Deficiency.objects.filter(subject_kind=RAISED, subject_id=row.pk, closed_on__isnull=True)
    return rows.filter(department=row.department_id).first()


class Aboard(NamedTuple):
    """Something of a unit that can have a deficiency."""

    key: str
    name: str


def things_of(unit: Unit) -> list[Aboard]:
    """The unit itself, its vehicle, its lines and containers."""
    run = Assignment.objects.filter(unit=unit, to_at__isnull=True).select_related("vehicle").first()
    owners: list[dict[str, Any]] = [{"unit": unit}] + ([{"vehicle": run.vehicle}] if run else [])
    found = [Aboard(f"unit-{unit.pk}", f"{unit} as a whole")]
    found += [Aboard(f"vehicle-{run.vehicle_id}", str(run.vehicle))] if run else []
    for owner in owners:
        lines = FoamLine.objects.filter(retired_on__isnull=True, **owner).order_by("name")
        found += [Aboard(f"line-{row.pk}", f"line {row}") for row in lines]
    for owner in owners:
        place = {f"place__{side}": row for side, row in owner.items()}
        containers = Container.objects.filter(retired_on__isnull=True, **place).order_by("code")
        found += [Aboard(f"container-{row.pk}", f"{row.kind} {row.code}") for row in containers]
    return found
