"""A crew's unit today: how it stands and why, what to turn, what it carries where, what was left to do."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from readiness.engineering.deficiencies import System, cure, sentence
from readiness.models import Assessment, Assignment, Check, Container, Deficiency, Department, Reading, Unit
from readiness.models.checks import Answer
from readiness.reports.check_sheets import (
    NOT_CARRIED,
    aboard,
    checks_of,
    fault_text,
    parts_text,
    person,
    place_words,
)
from readiness.reports.code_runs import code_runs
from readiness.reports.duty_figures import settings_to_turn
from readiness.reports.fleet_tonight import HOPEFUL, NOT_JUDGED, FleetRows, UnitTonight, units_tonight
from readiness.reports.verdicts import Kept, read_kept

CLEANING: Final = {"empty": "emptied", "flush": "flushed", "inspect": "inspected"}  # each its own entry, in this order
_TURNS: Final = frozenset({"ring_to_turn", "setting_not_parked"})  # cured by a hand on the rig


class Offered(NamedTuple):
    """A unit to choose from."""

    id: int
    name: str
    station: str
    status: str
    own: bool


class Stowed(NamedTuple):
    """What stands in one place: a container, or several sealed ones alike."""

    codes: str
    things: int
    kind: str
    concentrate: str
    size_ml: int
    ml: int
    sealed: bool
    marks: tuple[str, ...]


class Compartment(NamedTuple):
    """A place aboard with what it holds."""

    name: str
    stowed: tuple[Stowed, ...]


class ToDo(NamedTuple):
    """An open deficiency in words, with what cures it."""

    severity: str
    sentence: str
    cure: str
    since: date | None
    accepted: bool


class Fault(NamedTuple):
    """What a check found wrong or missing, and no later check found good."""

    subject: str
    missing: bool
    words: str
    at: datetime


class ToClean(NamedTuple):
    """A container out of the count until it was emptied, flushed and inspected; `step` is the next one to be logged."""

    code: str
    why: str
    step: str

    @property
    def steps(self) -> list[tuple[str, str]]:
        """Every step in words, and whether it is logged or next."""
        done = list(CLEANING).index(self.step)
        states = ("logged",) * done + ("next",) + ("",) * (len(CLEANING) - done - 1)
        return list(zip(CLEANING.values(), states, strict=True))


class LastCheck(NamedTuple):
    """The last check of the unit, whole or not."""

    id: UUID
    at: datetime
    by: str
    complete: bool
    looked: int
    things: int


class CrewToday(NamedTuple):
    """Everything the page shows."""

    tonight: UnitTonight
    vehicle: str
    turn: tuple[str, ...]
    compartments: tuple[Compartment, ...]
    to_do: tuple[ToDo, ...]
    notes: tuple[ToDo, ...]
    faults: tuple[Fault, ...]
    to_clean: tuple[ToClean, ...]
    to_flush: bool
    last: LastCheck | None


def units_offered(
    department: Department, station: int | None, now: datetime, day: date
) -> tuple[tuple[Offered, ...], tuple[Offered, ...]]:
    """(units of one's own station, all others), each with its status at this moment."""
    columns = ("pk", "designation", "station__name", "effective", "station_id")
    rows = units_tonight(department, now, day).order_by("station__name", "designation").values_list(*columns)
    every = [
        Offered(pk, name, house, status, station is not None and house_id == station)
        for pk, name, house, status, house_id in rows
    ]
    return tuple(each for each in every if each.own), tuple(each for each in every if not each.own)


def crew_today(unit: Unit, now: datetime, day: date, system: System) -> CrewToday:
    """A unit as its crew needs it, in a number of queries that does not grow with what it carries."""
    department = unit.department
    only = units_tonight(department, now, day).filter(pk=unit.pk)
    tonight: UnitTonight = FleetRows(only, department, now, day, system)[0]
    run = Assignment.objects.filter(unit=unit, to_at__isnull=True).select_related("vehicle").first()
    containers = aboard(unit, run.vehicle_id if run else None)
    every = _to_do(unit, day, system)
    return CrewToday(
        tonight=tonight,
        vehicle=str(run.vehicle) if run else "",
        turn=_turn(tonight, every),
        compartments=tuple(_compartments(containers)),
        to_do=tuple(each for _, each in every if each.severity != "note"),
        notes=tuple(each for _, each in every if each.severity == "note"),
        faults=tuple(_faults(unit, {row.pk for row in containers})),
        to_clean=tuple(_to_clean(containers)),
        to_flush=any(code == "flush_of_spare" for code, _ in every),
        last=_last(unit),
    )


def _turn(tonight: UnitTonight, every: Iterable[tuple[str, ToDo]]) -> tuple[str, ...]:
    """What to turn: for each duty whose setting stands otherwise, else what is not as it is parked."""
    by_duty = settings_to_turn(tonight.duties)
    wanted = _TURNS - {"setting_not_parked"} if by_duty else _TURNS
    by_line = tuple(each.sentence for code, each in every if code in wanted)
    return by_duty + by_line


# -- what was left to do -----------------------------------------------------------------------------------------------


def _current(unit: Unit) -> Assessment | None:
    return Assessment.objects.filter(unit=unit, superseded_at__isnull=True).first()


def _thawed(assessment: Assessment | None) -> Kept | None:
    """What an assessment holds; None where there is none, or another version wrote it."""
    try:
        return read_kept(assessment.answers) if assessment else None
    except (KeyError, TypeError, ValueError):
        return None


def _to_do(unit: Unit, day: date, system: System) -> list[tuple[str, ToDo]]:
    """What is wrong by the current answer, worst first, each with its code; since and accepted as recorded today."""
    kept = _thawed(_current(unit))
    if kept is None:
        return []
    rows = Deficiency.objects.filter(unit=unit, closed_on__isnull=True)
    columns = ("code", "subject_kind", "subject_id", "since_on", "accepted_until")
    stored = {(code, kind, pk): (since, until) for code, kind, pk, since, until in rows.values_list(*columns)}
    found = []
    for each in kept.verdict.deficiencies:
        since, until = stored.get((each.code, *each.subject), (each.since, None))
        accepted = until is not None and until >= day
        found.append((each.code, ToDo(each.severity, sentence(each, system), cure(each), since, accepted)))
    return found


def _faults(unit: Unit, containers: set[int]) -> Iterable[Fault]:
    """Of each thing aboard the last time that somebody looked at it, where that found a fault or nothing there.

    It does not go away by waiting.
    """
    looked = Reading.objects.filter(check_of__unit=unit).exclude(answer=Answer.NOT_LOOKED)
    latest = Window(
        RowNumber(),
        partition_by=[F("container"), F("line"), F("item")],
        order_by=[F("check_of__finished_at").desc(), F("id").desc()],
    )
    rows = looked.annotate(turn=latest).filter(turn=1)  # a filter by answer here would be applied before the numbering
    for row in rows.select_related("container", "line", "check_of").order_by("id"):
        still_aboard = row.container_id is None or row.container_id in containers
        if still_aboard and row.answer != Answer.GOOD:
            name, missing = str(row.container or row.line or row.item), row.answer == Answer.NOT_CARRIED
            gone = parts_text(row.parts, NOT_CARRIED)
            words = row.words if missing else fault_text(row)
            yield Fault(f"{name}, {gone}" if gone else name, missing, words, row.check_of.finished_at)


def _to_clean(rows: Iterable[Container]) -> Iterable[ToClean]:
    """What must not be filled again as it is, with its next step."""
    for row in rows:
        if row.mixed or row.diluted or row.flushed:
            step = "inspect" if row.flushed else "empty" if row.contents_ml else "flush"
            yield ToClean(row.code, " and ".join(_marks(row)) or "flushed", step)


def _last(unit: Unit) -> LastCheck | None:
    made = checks_of(unit).first()
    if made is None:
        return None
    looked, things = made.looked, made.things  # type: ignore[attr-defined] # counted by checks_of
    return LastCheck(made.pk, made.finished_at, person(made.by), made.complete, looked, things)


# -- what it carries ---------------------------------------------------------------------------------------------------


def _compartments(rows: Iterable[Container]) -> Iterable[Compartment]:
    places: dict[str, dict[tuple[object, ...], list[Container]]] = {}
    for row in rows:
        groups = places.setdefault(place_words(row), {})
        alike = (row.kind, row.capacity_ml, row.concentrate_id, _marks(row)) if row.sealed else (row.pk,)
        groups.setdefault(alike, []).append(row)
    for name, groups in places.items():
        yield Compartment(name, tuple(_stowed(members) for members in groups.values()))


def _stowed(members: list[Container]) -> Stowed:
    one = members[0]
    return Stowed(
        codes=code_runs(row.code for row in members),
        things=len(members),
        kind=one.kind,
        concentrate=one.concentrate.name if one.concentrate else "",
        size_ml=one.capacity_ml,
        ml=sum(row.contents_ml for row in members),
        sealed=one.sealed,
        marks=_marks(one),
    )


def _marks(row: Container) -> tuple[str, ...]:
    """What keeps it out of the count by its own marks."""
    every = (("mixed", row.mixed), ("diluted", row.diluted), ("quarantined", row.quarantined))
    return tuple(word for word, is_so in every if is_so)


# -- what a check changed ----------------------------------------------------------------------------------------------


class Change(NamedTuple):
    """How the unit stood before a check and how it stands now, what that cured, and what is open or new."""

    was: str
    now: str
    judged_at: datetime | None
    due: bool
    cured: tuple[str, ...]
    open: tuple[tuple[ToDo, bool], ...]  # with whether it is new; notes only where they are new


def changed_by(check: Check, now: datetime, day: date, system: System) -> Change:
    """Compare the answer that stood just before a check was recorded with the one that stands now."""
    unit, at = check.unit, check.recorded_at
    before = _before(unit, at)
    only = units_tonight(unit.department, now, day).filter(pk=unit.pk)
    effective, due = only.values_list("effective", "judge_due")[0]
    current = _current(unit)
    old, new = _sentences(_thawed(before), system), _sentences(_thawed(current), system)
    known, every = set(old.values()), _to_do(unit, day, system)
    return Change(
        was=_status_at(before, at, day),
        now=effective,
        judged_at=current.at if current else None,
        due=due,
        cured=tuple(said for key, said in old.items() if key not in new),
        open=tuple((each, each.sentence not in known) for _, each in every if _is_told(each, known)),
    )


def _is_told(each: ToDo, known: set[str]) -> bool:
    return each.severity != "note" or each.sentence not in known


def _before(unit: Unit, at: datetime) -> Assessment | None:
    """The assessment that was current when a check came: the oldest that was not superseded before it."""
    rows = Assessment.objects.filter(unit=unit, at__lte=at).exclude(superseded_at__lt=at)
    return rows.order_by("at", "id").first()


def _status_at(assessment: Assessment | None, at: datetime, day: date) -> str:
    """Its status at a moment: nothing gets better by waiting, as in the list of the fleet."""
    if assessment is None:
        return NOT_JUDGED
    checked, holds = assessment.check_good_until, assessment.holds_until
    ran_out = (checked is not None and checked < at) or (holds is not None and holds < day)
    return "unverified" if ran_out and assessment.status in HOPEFUL else assessment.status


def _sentences(kept: Kept | None, system: System) -> dict[tuple[str, tuple[str, int]], str]:
    every = kept.verdict.deficiencies if kept else ()
    return {(each.code, each.subject): sentence(each, system) for each in every}
