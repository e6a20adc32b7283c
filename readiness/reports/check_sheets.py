"""Morning checks: the sheet to fill in, which knows nothing of the book's volumes, and checks as they were made.

The sheet holds no contents and no last reading, so a form that is made from it cannot show them: the crew reads the
gauge and not the form.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import Count, F, Max, Q, QuerySet, Window
from django.db.models.functions import RowNumber

from readiness.engineering.deficiencies import System
from readiness.engineering.percentages import percent_text
from readiness.engineering.wording import volume_text
from readiness.models import Assignment, Check, Container, FoamLine, MovementLine, ParLine, Reading, Unit, User
from readiness.models.checks import Answer
from readiness.reports.code_runs import code_runs
from readiness.reports.histories import LATE_S

FAULT, NOT_CARRIED = Answer.FAULT.value, Answer.NOT_CARRIED.value
NO_PLACE: Final = "no compartment named"
_EDUCTORS: Final = frozenset({"in-line eductor", "by-pass eductor", "portable kit"})  # they draw through a pick-up tube
_FIXED: Final = frozenset({"fixed tank", "kit reservoir"})  # they have a lid and no seal
_CLASS_A: Final = "Class A"
FACES: Final = ("Class A", "Class B")  # of a portable kit's dial: one knob, two scales
STICK_EVERY: Final = timedelta(days=7)  # and on change: opening the lid lets air in; common practice, no source
_LID: Final = {"fixed tank": "lid and vent"}  # all else has a cap
LABEL, NO_LEAK, TUBE, VALVES, ASPIRATING = "label", "no leak", "pick-up tube", "valves", "aspirating tube"
_LIGHTS: Final = (4, 8)  # a gauge of so many lights tells a quarter, or an eighth, of its tank
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
    stick_due: bool = False

    @property
    def parts(self) -> tuple[str, ...]:
        """What of it is looked at beside how much is in it."""
        return (_LID.get(self.kind, "cap"), LABEL, NO_LEAK)

    @property
    def lights(self) -> int:
        """How many lights its gauge has, where it tells no more than a quarter or an eighth; else 0."""
        return next((n for n in _LIGHTS if abs(self.resolution_ml * n - self.size_ml) <= n), 0)


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
        return code_runs(each.code for each in self.vessels)


class LineToRead(NamedTuple):
    """A foam line to look at; with one setting, or one ring, there is nothing to turn and nothing to read."""

    id: int
    name: str
    proportioner: str
    nozzle: str
    draws_by_tube: bool
    settings_pct: tuple[int, ...]
    rings_lpm: tuple[float, ...]
    nozzle_parts: tuple[str, ...] = ("nozzle",)
    kit: bool = False

    @property
    def looked_at(self) -> tuple[str, ...]:
        """What of it is looked at, part by part."""
        return ("strainer", TUBE if self.draws_by_tube else VALVES, *self.nozzle_parts)

    @property
    def parts(self) -> str:
        """The same in one line."""
        return ", ".join(self.looked_at)


class GearToLook(NamedTuple):
    """Loose gear that the par list asks for and no line names."""

    id: int
    name: str
    pieces: int
    compartment: str


class Sheet(NamedTuple):
    """What a unit has aboard its vehicle of now, to be looked at: tanks and opened pails, sealed pails, lines."""

    unit_id: int
    unit: str
    vehicle: str
    measured: tuple[Vessel, ...]
    sealed: tuple[Alike, ...]
    lines: tuple[LineToRead, ...]
    gear: tuple[GearToLook, ...] = ()

    @property
    def things(self) -> int:
        """How many containers, lines and kinds of gear there are to look at."""
        pails = sum(len(each.vessels) for each in self.sealed)
        return len(self.measured) + pails + len(self.lines) + len(self.gear)

    def only(self, container: int) -> Sheet:
        """The sheet of one container alone, to look at it again."""
        left = [each._replace(vessels=tuple(v for v in each.vessels if v.id == container)) for each in self.sealed]
        return self._replace(
            measured=tuple(each for each in self.measured if each.id == container),
            sealed=tuple(each for each in left if each.vessels),
            lines=(),
            gear=(),
        )


def sheet_for(unit: Unit, now: datetime | None = None) -> Sheet:
    """The sheet of a unit on the vehicle that it runs on now, in a number of queries that does not grow with it."""
    run = Assignment.objects.filter(unit=unit, to_at__isnull=True).select_related("vehicle").first()
    vehicle = run.vehicle if run else None
    rows = aboard(unit, vehicle.pk if vehicle else None)
    lines = FoamLine.objects.filter(
        Q(unit=unit) | (Q(vehicle=vehicle) if vehicle else Q(pk__in=[])), retired_on__isnull=True
    )
    to_read = [_line(row) for row in lines.select_related("proportioner", "nozzle").order_by("name", "id")]
    loose = [_vessel(row) for row in rows if row.sealed]
    open_ones = [row for row in rows if not row.sealed]
    due = _stick_due(open_ones, now) if now else set()
    return Sheet(
        unit_id=unit.pk,
        unit=unit.designation,
        vehicle=str(vehicle or ""),
        measured=tuple(_vessel(row)._replace(stick_due=row.pk in due) for row in open_ones),
        sealed=tuple(_alike(loose)),
        lines=tuple(to_read),
        gear=gear_of(unit, to_read),
    )


def gear_of(unit: Unit, lines: Iterable[LineToRead]) -> tuple[GearToLook, ...]:
    """The gear of its par list but for what is looked at with a line: its proportioner, nozzle and tube."""
    tube = any(line.draws_by_tube for line in lines)
    rows = ParLine.objects.filter(unit=unit, retired_on__isnull=True, appliance_kind="").exclude(gear="")
    found = {row.gear: GearToLook(row.pk, row.gear, row.pieces or 1, row.compartment) for row in rows}
    return tuple(each for name, each in found.items() if not (tube and name.casefold() == TUBE))


def _stick_due(rows: Sequence[Container], now: datetime) -> set[int]:
    """The fixed tanks whose stick reading is older than a week, or than what was last poured in or out."""
    tanks = [row.pk for row in rows if row.kind in _FIXED]
    if not tanks:
        return set()
    read = Reading.objects.filter(container__in=tanks, stick_ml__isnull=False).order_by().values("container")
    last = dict(read.annotate(at=Max("check_of__finished_at")).values_list("container", "at"))
    lines = MovementLine.objects.filter(container__in=tanks).order_by().values("container")
    changed = dict(lines.annotate(at=Max("movement__happened_at")).values_list("container", "at"))
    return {pk for pk in tanks if pk not in last or last[pk] < max(now - STICK_EVERY, changed.get(pk, last[pk]))}


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
        nozzle_parts=_nozzle_parts(row),
        kit=row.proportioner.kind == "portable kit",
    )


def _nozzle_parts(row: FoamLine) -> tuple[str, ...]:
    """A nozzle, and its aspirating tube where it is one of two pieces."""
    with_tube = row.nozzle is not None and row.nozzle.aspirating and row.nozzle.kind != ASPIRATING
    return ("nozzle", ASPIRATING) if with_tube else ("nozzle",)


# -- what differs from the book ----------------------------------------------------------------------------------------


class Difference(NamedTuple):
    """A container whose reading and book differ by more than its gauge can tell apart [mL]."""

    container: str
    book_ml: int
    read_ml: int
    words: str


class Find(NamedTuple):
    """Something of a check that somebody has to do something about: what was seen, and what it may mean.

    `off_ml`: how far above (below: negative) the book a container was read; 0 where the book has been settled since,
    and where gauge and stick disagree: then nobody knows yet what to book.
    """

    subject: str
    seen: str
    meaning: str
    container: int | None = None
    line: int | None = None
    off_ml: int = 0
    settled: str = ""
    look_again: bool = False


def read_ml(ml: int | None, stick_ml: int | None) -> int | None:
    """What a look counts for [mL]: the lesser of gauge and stick, until somebody has settled which is right."""
    both = [each for each in (ml, stick_ml) if each is not None]
    return min(both, default=None)


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
    ml = read_ml(row.ml, row.stick_ml)
    if row.container is None or ml is None or row.book_ml is None:
        return None
    if not beyond_the_gauge(ml, row.book_ml, row.container.resolution_ml):
        return None
    off = ml - row.book_ml
    way = "more" if off > 0 else "less"
    guess = "water may be getting in: look again" if off > 0 else "a leak, evaporation or an unbooked use: look again"
    words = f"{volume_text(abs(off), units)} {way} than the book; {guess}."
    return Difference(row.container.code, row.book_ml, ml, words)


def parts_text(parts: dict[str, str], answer: str) -> str:
    """The parts that had an answer: "strainer, pick-up tube"."""
    return ", ".join(part for part, said in parts.items() if said == answer)


def fault_text(row: Reading) -> str:
    """What was found at fault: the parts by name, and the words."""
    parts = [f"{part} at fault" if part != NO_LEAK else "leaks" for part, said in row.parts.items() if said == FAULT]
    return ": ".join(each for each in (", ".join(parts), row.words.strip()) if each) or "not described"


def _finds(row: Reading, units: str) -> Iterable[Find]:
    """What one reading gives to do."""
    name, ids = _name(row), (row.container_id, row.line_id)
    if row.answer == Answer.FAULT or FAULT in row.parts.values():
        yield Find(name, f"Fault: {fault_text(row)}.", "Have it seen to, and look again afterwards.", *ids)
    if row.answer == Answer.NOT_CARRIED:
        gone = parts_text(row.parts, NOT_CARRIED)
        seen = f"Not found aboard: {gone}." if gone else "Not found aboard."
        where = "The book has it here: report where it went, or what it was used for."
        yield Find(name, seen, where if row.container_id else "Bring it back, and look again.", *ids)
    if row.container is not None:
        yield from _container_finds(row, row.container, units)
    if row.line is not None:
        yield from _line_finds(row, row.line)


def two_disagree(row: Reading) -> bool:
    """Whether gauge and stick were read at one look and lie further apart than the gauge tells."""
    return row.container is not None and beyond_the_gauge(row.ml, row.stick_ml, row.container.resolution_ml)


def _container_finds(row: Reading, container: Container, units: str) -> Iterable[Find]:
    found = _difference(row, units)
    if found is not None:
        both = f"{volume_text(found.read_ml, units)} was read; the book says {volume_text(found.book_ml, units)}."
        off, now = found.read_ml - found.book_ml, container.contents_ml
        settled = "" if now == found.book_ml else _settled(found, container, units)
        off = 0 if settled or two_disagree(row) else off
        again = not _agrees(found, container)
        yield Find(container.code, both, found.words, container.pk, None, off, settled, again)
    if two_disagree(row):
        two = [volume_text(each or 0, units) for each in (row.ml, row.stick_ml)]
        said = "They disagree; the lesser counts, and the company officer is asked."
        seen = f"The gauge says {two[0]}, the stick {two[1]}."
        yield Find(container.code, seen, said, container.pk, look_again=found is None)
    if row.sealed is False and container.sealed:
        yield Find(
            container.code,
            "Found opened; the book has it sealed.",
            "Report its use, or that it was opened.",
            container.pk,
        )


def _settled(found: Difference, container: Container, units: str) -> str:
    """What became of a difference where the book was changed since: only what agrees with the reading settles it."""
    now = f"the book says {volume_text(container.contents_ml, units)} by now"
    return f"Settled: {now}." if _agrees(found, container) else f"The book was changed since: {now}. Look again."


def _agrees(found: Difference, container: Container) -> bool:
    """Whether the book says by now what was read."""
    return not beyond_the_gauge(found.read_ml, container.contents_ml, container.resolution_ml)


def _line_finds(row: Reading, line: FoamLine) -> Iterable[Find]:
    if row.setting_pct is not None and line.parked_pct is not None and row.setting_pct != line.parked_pct:
        stands, parked = percent_text(row.setting_pct), percent_text(line.parked_pct)
        yield Find(
            line.name,
            f"Stands at {stands}; parked at {parked} by rule.",
            f"Turn it to {parked}, then check again.",
            None,
            line.pk,
        )
    if row.face and row.face != right_face(line):
        right = right_face(line)
        seen = f"The dial shows its {row.face} face; {right} is what its reservoir holds."
        yield Find(line.name, seen, f"Turn the {right} face up, then check again.", None, line.pk)
    if row.flushed is False:
        yield Find(
            line.name,
            "Used and not flushed.",
            "Flush with clear water until it runs clear; then check again.",
            None,
            line.pk,
        )


def right_face(line: FoamLine) -> str:
    """The face of a kit's dial that goes with what its reservoir holds."""
    held = [source.container.concentrate for source in line.sources.select_related("container__concentrate")]
    return FACES[0] if any(each is not None and each.kind == _CLASS_A for each in held) else FACES[1]


# -- checks as they were made ------------------------------------------------------------------------------------------


class Seen(NamedTuple):
    """What a check says of one thing, or in one line of several sealed containers that had the same answer."""

    name: str
    kind: str
    answer: str
    sealed: bool | None
    ml: int | None
    stick_ml: int | None
    book_ml: int | None
    last_ml: int | None
    beyond: bool
    setting_pct: int | None
    ring_lpm: float | None
    face: str
    flushed: bool | None
    words: str
    things: int
    parts: tuple[tuple[str, str], ...] = ()  # those that were not simply good

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
    photo: int | None
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
        photo=check.photo_id,
        looked=len(rows) - len(missed),
        things=len(rows),
        missed=tuple(missed),
        seen=tuple(_seen(rows, _last_read(check))),
        finds=tuple(find for row in rows for find in _finds(row, units)),
    )


def _last_read(check: Check) -> dict[int, int]:
    """What each container was read at by the look before this check, in one query."""
    before = Reading.objects.filter(check_of__unit=check.unit_id, check_of__finished_at__lt=check.finished_at)
    here = Reading.objects.filter(check_of=check, ml__isnull=False, container__isnull=False).values("container")
    order = [F("check_of__finished_at").desc(), F("id").desc()]
    turn = Window(RowNumber(), partition_by=[F("container")], order_by=order)
    rows = before.filter(ml__isnull=False, container__in=here).annotate(turn=turn).filter(turn=1)
    return {pk: read_ml(ml, stick) or 0 for pk, ml, stick in rows.values_list("container", "ml", "stick_ml") if pk}


_MISSED: Final = Q(readings__answer=Answer.NOT_LOOKED) | Q(  # the same as `_missed`, in SQL
    readings__container__isnull=False,
    readings__ml__isnull=True,
    readings__sealed__isnull=True,
    readings__answer__in=[Answer.GOOD, Answer.FAULT],
)


def checks_of(unit: Unit) -> QuerySet[Check]:
    """A unit's checks, the latest first, with how many things each looked at and what it found, counted in SQL."""
    book, gauge = F("readings__book_ml"), F("readings__container__resolution_ml") + _GAUGE_ML
    beyond = Q()
    for name in ("readings__ml", "readings__stick_ml"):
        beyond |= Q(**{f"{name}__gt": book + gauge}) | Q(**{f"{name}__lt": book - gauge})
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
    """A thing that nobody looked at, a part of it, or a tank of which nobody read how much is in it; else empty."""
    if row.answer == Answer.NOT_LOOKED:
        unseen = parts_text(row.parts, Answer.NOT_LOOKED.value)
        return f"{_name(row)} ({unseen})" if unseen and len(unseen.split(", ")) < len(row.parts) else _name(row)
    looked = row.container is None or row.ml is not None or row.sealed is not None
    return "" if looked or row.answer == Answer.NOT_CARRIED else f"{_name(row)} (no volume)"


def _name(row: Reading) -> str:
    return str(row.container or row.line or row.item)


def _seen(rows: Iterable[Reading], last_ml: dict[int, int]) -> Iterable[Seen]:
    """Neighbors that are sealed, without a number and of one answer stand in one line."""
    for _, group in groupby(rows, key=_alike_key):
        members = list(group)
        one = members[0]
        yield Seen(
            name=code_runs(_name(row) for row in members),
            kind=one.container.kind if one.container else "line" if one.line else "",
            answer=one.answer,
            sealed=one.sealed,
            ml=one.ml,
            stick_ml=one.stick_ml,
            book_ml=one.book_ml if one.ml is not None else None,
            last_ml=last_ml.get(one.container_id or 0) if one.ml is not None else None,
            beyond=one.container is not None
            and beyond_the_gauge(read_ml(one.ml, one.stick_ml), one.book_ml, one.container.resolution_ml),
            setting_pct=one.setting_pct,
            ring_lpm=one.ring_lpm,
            face=one.face,
            flushed=one.flushed,
            words=one.words,
            things=len(members),
            parts=_told_parts(one),
        )


def _told_parts(row: Reading) -> tuple[tuple[str, str], ...]:
    """The parts that are not simply good; none where all of them are as the whole."""
    if set(row.parts.values()) == {row.answer}:
        return ()
    return tuple((part, said) for part, said in row.parts.items() if said != Answer.GOOD)


def _alike_key(row: Reading) -> tuple[object, ...]:
    bad = any(said != Answer.GOOD for said in row.parts.values())
    alone = row.container is None or row.ml is not None or row.words or bad
    return (row.pk,) if alone else (row.container and row.container.kind, row.answer, row.sealed)
