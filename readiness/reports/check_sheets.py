"""Morning checks: the sheet to fill in, which knows nothing of the book's volumes, and checks as they were made.

The sheet holds no contents and no last reading, so a form that is made from it cannot show them: the crew reads the
gauge and not the form.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import groupby
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import Count, F, Q, QuerySet

from readiness.engineering.deficiencies import System
from readiness.engineering.percentages import percent_text
from readiness.engineering.wording import volume_text
from readiness.models import Assignment, Check, Container, FoamLine, Reading, Unit, User
from readiness.models.checks import Answer
from readiness.reports.histories import LATE_S

NO_PLACE: Final = "no compartment named"
_EDUCTORS: Final = frozenset({"in-line eductor", "by-pass eductor", "portable kit"})  # they draw through a pick-up tube
_FIXED: Final = frozenset({"fixed tank", "kit reservoir"})  # they have a lid and no seal
_FEW: Final = 3  # label codes that are listed one by one; more are shown as first to last
_GAUGE_ML: Final = 1  # whole millilitres: what two readings of the same volume may differ by in any case

# -- the sheet ---------------------------------------------------------------------------------------------------------


class Vessel(NamedTuple):
    """A container to look at. `size_ml` is printed on a pail; what is in it the crew finds out."""

    id: int
    code: str
    kind: str
    place: str
    concentrate: str
    size_ml: int
    resolution_ml: int


class Alike(NamedTuple):
    """Sealed containers that take one answer: same place, kind, size and concentrate."""

    place: str
    kind: str
    concentrate: str
    size_ml: int
    vessels: tuple[Vessel, ...]

    @property
    def codes(self) -> str:
        """Their label codes."""
        return codes_text([each.code for each in self.vessels])


class LineToRead(NamedTuple):
    """A foam line to look at; with one setting, or one ring, there is nothing to turn and nothing to read."""

    id: int
    name: str
    proportioner: str
    nozzle: str
    draws_by_tube: bool
    settings_pct: tuple[int, ...]
    rings_lpm: tuple[float, ...]

    @property
    def parts(self) -> str:
        """What of it is looked at."""
        return "strainer, pick-up tube, nozzle" if self.draws_by_tube else "strainer, valves, nozzle"


class Sheet(NamedTuple):
    """What a unit has aboard its vehicle of now, to be looked at: tanks and opened pails, sealed pails, lines."""

    unit_id: int
    unit: str
    vehicle: str
    measured: tuple[Vessel, ...]
    sealed: tuple[Alike, ...]
    lines: tuple[LineToRead, ...]

    @property
    def things(self) -> int:
        """How many containers and lines there are to look at."""
        return len(self.measured) + sum(len(each.vessels) for each in self.sealed) + len(self.lines)


def sheet_for(unit: Unit) -> Sheet:
    """The sheet of a unit on the vehicle that it runs on now, in three queries."""
    run = Assignment.objects.filter(unit=unit, to_at__isnull=True).select_related("vehicle").first()
    vehicle = run.vehicle if run else None
    rows = aboard(unit, vehicle.pk if vehicle else None)
    lines = FoamLine.objects.filter(
        Q(unit=unit) | (Q(vehicle=vehicle) if vehicle else Q(pk__in=[])), retired_on__isnull=True
    )
    loose = [_vessel(row) for row in rows if row.sealed]
    return Sheet(
        unit_id=unit.pk,
        unit=unit.designation,
        vehicle=str(vehicle or ""),
        measured=tuple(_vessel(row) for row in rows if not row.sealed),
        sealed=tuple(_alike(loose)),
        lines=tuple(_line(row) for row in lines.select_related("proportioner", "nozzle").order_by("name", "id")),
    )


def aboard(unit: Unit, vehicle: int | None) -> list[Container]:
    """The containers on a unit and on its vehicle: fixed tanks first, then by label code."""
    here = Q(place__unit=unit) | (Q(place__vehicle=vehicle) if vehicle else Q(pk__in=[]))
    rows = Container.objects.filter(here, department=unit.department_id, retired_on__isnull=True)
    found = rows.select_related("place__vehicle", "concentrate").order_by("code")
    return sorted(found, key=lambda row: row.kind != "fixed tank")


def place_words(row: Container) -> str:
    """Where aboard it is: the compartment, or the vehicle that a tank is fixed to."""
    if row.place is None:
        return ""
    return row.place.compartment or (str(row.place.vehicle) if row.place.vehicle else NO_PLACE)


def codes_text(codes: Sequence[str]) -> str:
    """Label codes: a few one by one, many as first to last.

    >>> codes_text(["P-1", "P-2", "P-3", "P-4"])
    'P-1 to P-4'
    """
    return ", ".join(codes) if len(codes) <= _FEW else f"{codes[0]} to {codes[-1]}"


def _vessel(row: Container) -> Vessel:
    concentrate = row.concentrate.name if row.concentrate else ""
    return Vessel(row.pk, row.code, row.kind, place_words(row), concentrate, row.capacity_ml, row.resolution_ml)


def _alike(vessels: Iterable[Vessel]) -> Iterable[Alike]:
    found: dict[tuple[str, str, str, int], list[Vessel]] = defaultdict(list)
    for each in vessels:
        found[each.place, each.kind, each.concentrate, each.size_ml].append(each)
    for (place, kind, concentrate, size_ml), members in sorted(found.items()):
        yield Alike(place, kind, concentrate, size_ml, tuple(members))


def _line(row: FoamLine) -> LineToRead:
    return LineToRead(
        id=row.pk,
        name=row.name,
        proportioner=row.proportioner.name,
        nozzle=row.nozzle.name if row.nozzle else "",
        draws_by_tube=row.pails or row.proportioner.kind in _EDUCTORS,
        settings_pct=tuple(sorted(row.proportioner.settings_pct)),
        rings_lpm=tuple(sorted(float(ring) for ring in row.nozzle.rings_lpm)) if row.nozzle else (),
    )


# -- what differs from the book ----------------------------------------------------------------------------------------


class Difference(NamedTuple):
    """A container whose reading and book differ by more than its gauge can tell apart [mL]."""

    container: str
    book_ml: int
    read_ml: int
    words: str


class Find(NamedTuple):
    """Something of a check that somebody has to do something about: what was seen, and what it may mean."""

    subject: str
    seen: str
    meaning: str


def beyond_the_gauge(ml: int | None, book_ml: int | None, resolution_ml: int) -> bool:
    """Whether a reading and the book [mL] differ by more than the gauge tells apart."""
    if ml is None or book_ml is None:
        return False
    return abs(ml - book_ml) > resolution_ml + _GAUGE_ML


def differences(check: Check, units: str) -> tuple[Difference, ...]:
    """The readings of a check that differ from what the book said at that moment; words in the reader's units."""
    rows = check.readings.filter(container__isnull=False, ml__isnull=False).select_related("container")
    found = (_difference(row, units) for row in rows)
    return tuple(each for each in found if each is not None)


def _difference(row: Reading, units: str) -> Difference | None:
    if row.container is None or row.ml is None or row.book_ml is None:
        return None
    if not beyond_the_gauge(row.ml, row.book_ml, row.container.resolution_ml):
        return None
    off = row.ml - row.book_ml
    way = "more" if off > 0 else "less"
    guess = "water may be getting in: look again" if off > 0 else "a leak, evaporation or an unbooked use: look again"
    words = f"{volume_text(abs(off), units)} {way} than the book; {guess}."
    return Difference(row.container.code, row.book_ml, row.ml, words)


def _finds(row: Reading, units: str) -> Iterable[Find]:
    """What one reading gives to do."""
    name = _name(row)
    if row.answer == Answer.FAULT:
        yield Find(name, f"Fault: {row.words or 'not described'}.", "Have it seen to, and look again afterwards.")
    if row.answer == Answer.NOT_CARRIED:
        yield Find(name, "Not found aboard.", "The book has it here: report where it went, or what it was used for.")
    if row.container is not None:
        yield from _container_finds(row, row.container, units)
    if row.line is not None:
        yield from _line_finds(row, row.line)


def _container_finds(row: Reading, container: Container, units: str) -> Iterable[Find]:
    found = _difference(row, units)
    if found is not None:
        both = f"{volume_text(found.read_ml, units)} was read; the book says {volume_text(found.book_ml, units)}."
        yield Find(container.code, both, found.words)
    if row.sealed is False and container.sealed:
        yield Find(container.code, "Found opened; the book has it sealed.", "Report its use, or that it was opened.")


def _line_finds(row: Reading, line: FoamLine) -> Iterable[Find]:
    if row.setting_pct is not None and line.parked_pct is not None and row.setting_pct != line.parked_pct:
        stands, parked = percent_text(row.setting_pct), percent_text(line.parked_pct)
        yield Find(
            line.name, f"Stands at {stands}; parked at {parked} by rule.", f"Turn it to {parked}, then check again."
        )
    if row.flushed is False:
        yield Find(line.name, "Used and not flushed.", "Flush with clear water until it runs clear; then check again.")


# -- checks as they were made ------------------------------------------------------------------------------------------


class Seen(NamedTuple):
    """What a check says of one thing, or in one line of several sealed containers that had the same answer."""

    name: str
    kind: str
    answer: str
    sealed: bool | None
    ml: int | None
    book_ml: int | None
    beyond: bool
    setting_pct: int | None
    ring_lpm: float | None
    flushed: bool | None
    words: str
    things: int

    @property
    def said(self) -> str:
        """The answer in words."""
        if self.answer == Answer.GOOD and self.sealed is not None and self.kind not in _FIXED:
            return "sealed, good" if self.sealed else "opened"
        return self.answer


class CheckMade(NamedTuple):
    """One check: who, when, on which vehicle, what it covered, what it read, and what came of it."""

    id: UUID
    unit: str
    vehicle: str
    by: str
    started_at: datetime | None
    finished_at: datetime
    recorded_at: datetime
    took_s: int | None
    late: bool
    complete: bool
    notes: str
    looked: int
    things: int
    missed: tuple[str, ...]
    seen: tuple[Seen, ...]
    finds: tuple[Find, ...]


def check_made(check: Check, units: System) -> CheckMade:
    """A check with its readings, in two queries; volumes in words are in the reader's units."""
    rows = list(check.readings.select_related("container", "line").order_by("id"))
    missed = [said for said in map(_missed, rows) if said]
    return CheckMade(
        id=check.pk,
        unit=check.unit.designation,
        vehicle=str(check.vehicle or ""),
        by=person(check.by),
        started_at=check.started_at,
        finished_at=check.finished_at,
        recorded_at=check.recorded_at,
        took_s=took_s(check),
        late=is_late(check),
        complete=check.complete,
        notes=check.notes,
        looked=len(rows) - len(missed),
        things=len(rows),
        missed=tuple(missed),
        seen=tuple(_seen(rows)),
        finds=tuple(find for row in rows for find in _finds(row, units)),
    )


_MISSED: Final = Q(readings__answer=Answer.NOT_LOOKED) | Q(  # the same as `_missed`, in SQL
    readings__container__isnull=False,
    readings__ml__isnull=True,
    readings__sealed__isnull=True,
    readings__answer__in=[Answer.GOOD, Answer.FAULT],
)


def checks_of(unit: Unit) -> QuerySet[Check]:
    """A unit's checks, the latest first, with how many things each looked at and what it found, counted in SQL."""
    beyond = Q(readings__ml__gt=F("readings__book_ml") + F("readings__container__resolution_ml") + _GAUGE_ML) | Q(
        readings__ml__lt=F("readings__book_ml") - F("readings__container__resolution_ml") - _GAUGE_ML
    )
    rows = Check.objects.filter(unit=unit).select_related("by", "vehicle", "unit")
    return rows.annotate(
        things=Count("readings"),
        looked=Count("readings", filter=~_MISSED),
        faults=Count("readings", filter=Q(readings__answer=Answer.FAULT)),
        missing=Count("readings", filter=Q(readings__answer=Answer.NOT_CARRIED)),
        differ=Count("readings", filter=beyond),
    ).order_by("-finished_at", "-id")


def took_s(check: Check) -> int | None:
    """How long a check took [s]; None where nobody knows when it was begun."""
    return None if check.started_at is None else int((check.finished_at - check.started_at).total_seconds())


def is_late(check: Check) -> bool:
    """Whether it was recorded long after it was made."""
    return (check.recorded_at - check.finished_at).total_seconds() > LATE_S


def person(user: User | None) -> str:
    """Who made a check."""
    return "not named" if user is None else user.get_full_name() or user.username


def _missed(row: Reading) -> str:
    """A thing that nobody looked at, or a tank of which nobody read how much is in it; else empty."""
    if row.answer == Answer.NOT_LOOKED:
        return _name(row)
    looked = row.container is None or row.ml is not None or row.sealed is not None
    return "" if looked or row.answer == Answer.NOT_CARRIED else f"{_name(row)} (no volume)"


def _name(row: Reading) -> str:
    return str(row.container or row.line or row.item)


def _seen(rows: Iterable[Reading]) -> Iterable[Seen]:
    """Neighbors that are sealed, without a number and of one answer stand in one line."""
    for _, group in groupby(rows, key=_alike_key):
        members = list(group)
        one = members[0]
        yield Seen(
            name=codes_text([_name(row) for row in members]),
            kind=one.container.kind if one.container else "line" if one.line else "",
            answer=one.answer,
            sealed=one.sealed,
            ml=one.ml,
            book_ml=one.book_ml if one.ml is not None else None,
            beyond=one.container is not None and beyond_the_gauge(one.ml, one.book_ml, one.container.resolution_ml),
            setting_pct=one.setting_pct,
            ring_lpm=one.ring_lpm,
            flushed=one.flushed,
            words=one.words,
            things=len(members),
        )


def _alike_key(row: Reading) -> tuple[object, ...]:
    alone = row.container is None or row.ml is not None or row.words
    return (row.pk,) if alone else (row.container and row.container.kind, row.answer, row.sealed)
