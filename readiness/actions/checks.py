"""Morning checks: recorded as measured, then compared with the book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Refused, SameIdOtherBody, digest
from readiness.actions.judging import judge_soon
from readiness.actions.permissions import Acting, require
from readiness.engineering.wording import flow_text, volumes_text
from readiness.models import Assignment, Check, Container, Department, FoamLine, MovementLine, Photo, Reading, Unit
from readiness.models.checks import Answer
from readiness.reports.book_then import BookThen
from readiness.reports.check_sheets import (
    NOT_CARRIED,
    Difference,
    differences,
    fault_text,
    parts_text,
    read_ml,
    right_face,
    sheet_for,
)

ALL_OF_IT = "the whole line"


class Read(NamedTuple):
    """What was seen of one thing: a container, a line, or another thing by name. None: not stated.

    `ml` is what the gauge says (or the stick, where there is no gauge), `stick_ml` the stick; `parts` has the answer of
    each part that was asked for; `face` is the one of a kit's dial that is up.
    """

    answer: Answer
    container: int | None = None
    line: int | None = None
    item: str = ""
    ml: int | None = None
    sealed: bool | None = None
    setting_pct: int | None = None
    ring_lpm: float | None = None
    flushed: bool | None = None
    words: str = ""
    stick_ml: int | None = None
    parts: tuple[tuple[str, str], ...] = ()
    face: str = ""


class CheckDraft(NamedTuple):
    """A check as it was made, under the id that the form or phone minted."""

    id: UUID
    unit: int
    readings: tuple[Read, ...]
    finished_at: datetime
    started_at: datetime | None = None
    notes: str = ""
    photo: int | None = None


class Recorded(NamedTuple):
    """The check in the book, whether it had been there before, and what differs from the book."""

    check: Check
    again: bool
    differences: tuple[Difference, ...]


def record_check(department: Department, draft: CheckDraft, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Recorded:
    """Record a check once. Raises Refused with a sentence; then nothing has changed.

    Readings go to the containers (with their time) and lines (present setting, flushed); a reading older than the one
    that is kept changes nothing there. The check is complete when everything that the unit carries was looked at.
    """
    require(acting, department, "check")
    with transaction.atomic():
        unit = _unit(department, draft.unit)
        known = Check.objects.filter(pk=draft.id).first()
        if known:
            return _again(known, draft)
        now = clock.now()
        if draft.finished_at > now + CLOCK_SKEW:
            raise Refused(
                f"{draft.finished_at:%Y-%m-%d %H:%M} UTC was read, which lies in the future: "
                f"it is {now:%Y-%m-%d %H:%M} UTC. Enter when the check was made."
            )
        vehicle = _vehicle_at(unit, draft.finished_at)
        carried = _Carried(department, unit, vehicle)
        # Containers first and the unit afterwards, as movements do: the other way round the two wait for each other.
        Unit.objects.select_for_update().get(pk=unit.pk)  # a second tap waits for the first, and finds it recorded
        known = Check.objects.filter(pk=draft.id).first()
        if known:
            return _again(known, draft)
        carried.accept(draft.readings)
        check = Check.objects.create(
            id=draft.id,
            department=department,
            unit=unit,
            vehicle_id=vehicle,
            by=acting.user,
            identity=acting.identity,
            device=acting.device,
            started_at=draft.started_at,
            finished_at=draft.finished_at,
            recorded_at=now,
            complete=carried.complete(draft.readings),
            notes=draft.notes.strip(),
            photo=_photo(department, draft.photo),
            body_sha256=digest(draft),
        )
        book = carried.book_ml(draft.finished_at, now)
        Reading.objects.bulk_create(carried.row(check, read, book) for read in draft.readings)
        carried.keep(draft)
        _keep_gear(unit, draft)
        judge_soon(department, [unit.pk], because="morning check", clock=clock)
    return Recorded(check, again=False, differences=differences(check, department.units))


def _photo(department: Department, pk: int | None) -> Photo | None:
    if pk is None:
        return None
    found = Photo.objects.filter(department=department, pk=pk).first()
    if found is None:
        raise Refused(f"There is no such photo in {department}.")
    return found


def _unit(department: Department, pk: int) -> Unit:
    unit = Unit.objects.filter(department=department, pk=pk, retired_on__isnull=True).first()
    if unit is None:
        raise Refused(f"There is no unit number {pk} in {department}.")
    return unit


def _vehicle_at(unit: Unit, at: datetime) -> int | None:
    """What it ran on when the check was made: one that comes in after a change-over proves nothing of the new vehicle.

    A check from before the first vehicle is known counts for that one.
    """
    runs = Assignment.objects.filter(unit=unit).order_by("from_at", "id")
    begun = runs.filter(from_at__lte=at).last() or runs.first()
    return None if begun is None or (begun.to_at is not None and begun.to_at <= at) else begun.vehicle_id


def _again(known: Check, draft: CheckDraft) -> Recorded:
    if known.body_sha256 != digest(draft):
        raise SameIdOtherBody(f"A check with the id {draft.id} is recorded already, with another content.")
    return Recorded(known, again=True, differences=differences(known, known.department.units))


class _Carried:
    """What the unit carries on the vehicle of that moment, locked while the check is recorded."""

    def __init__(self, department: Department, unit: Unit, vehicle: int | None) -> None:
        aboard = Q(place__unit=unit) | (Q(place__vehicle=vehicle) if vehicle else Q(pk__in=[]))
        of_rig = Q(unit=unit) | (Q(vehicle=vehicle) if vehicle else Q(pk__in=[]))
        containers = (
            Container.objects.select_for_update(of=("self",))
            .select_related("department")
            .filter(aboard, department=department, retired_on__isnull=True)
        )
        self.unit = unit
        self.containers = {row.pk: row for row in containers.order_by("id")}
        lines = FoamLine.objects.filter(of_rig, department=department, retired_on__isnull=True)
        self.lines = {row.pk: row for row in lines.select_related("proportioner", "nozzle", "department")}
        self.gear = {each.name for each in sheet_for(unit).gear}

    def accept(self, readings: Sequence[Read]) -> None:
        """Raise Refused for a reading of something that is not aboard, or that cannot be."""
        seen = [(read.container, read.line, read.item) for read in readings]
        if len(set(seen)) < len(seen):
            raise Refused("The same thing was read twice in one check: give each container and line one reading.")
        for read in readings:
            if read.container is not None:
                self._accept_container(read)
            elif read.line is not None:
                self._accept_line(read)
            elif not read.item.strip():
                raise Refused("A reading of nothing was read: name a container, a line or a thing.")

    def _accept_container(self, read: Read) -> None:
        row = self.containers.get(read.container or 0)
        if row is None:
            raise Refused(f"Container number {read.container} is not aboard {self.unit} by the book.")
        for ml, how in ((read.ml, "read the gauge again"), (read.stick_ml, "dip it again")):
            if ml is not None and not 0 <= ml <= row.capacity_ml + row.resolution_ml + 2:
                read_text, full = volumes_text(ml, row.capacity_ml, row.department.units)
                raise Refused(f"{read_text} was read in {row}, which holds {full} when full: {how}.")

    def _accept_line(self, read: Read) -> None:
        row = self.lines.get(read.line or 0)
        if row is None:
            raise Refused(f"Line number {read.line} does not belong to {self.unit} or its vehicle.")
        offered = row.proportioner.settings_pct
        if read.setting_pct is not None and offered and read.setting_pct not in offered:
            said = ", ".join(f"{each / 100:g} %" for each in offered)
            raise Refused(f"{read.setting_pct / 100:g} % was read on {row}, which offers {said}.")
        self._accept_ring(row, read.ring_lpm)

    def _accept_ring(self, row: FoamLine, ring_lpm: float | None) -> None:
        rings = row.nozzle.rings_lpm if row.nozzle else []
        if ring_lpm is None or not rings or any(abs(ring_lpm - each) < 0.01 * each for each in rings):
            return
        units = row.department.units
        offered = ", ".join(flow_text(each, units) for each in rings)
        raise Refused(f"{flow_text(ring_lpm, units)} was read on the ring of {row}, which offers {offered}.")

    def complete(self, readings: Sequence[Read]) -> bool:
        """Whether everything aboard was looked at with every part of it, each tank with a number."""
        looked = [read for read in readings if read.answer != Answer.NOT_LOOKED and not _unseen(read)]
        containers = {read.container for read in looked if read.container is not None and self._enough(read)}
        lines = {read.line for read in looked if read.line is not None}
        gear = {read.item for read in looked}
        return containers >= self.containers.keys() and lines >= self.lines.keys() and gear >= self.gear

    def _enough(self, read: Read) -> bool:
        """A sealed pail needs no number: its seal is the number. A tank, kit or opened pail needs one."""
        row = self.containers.get(read.container or 0)
        if row is None or read.answer == Answer.NOT_CARRIED:
            return True
        return read.ml is not None or bool(read.sealed)

    def book_ml(self, at: datetime, now: datetime) -> dict[int, int]:
        """What the book has of each container as of the check [mL], which may come in hours after it was made.

        A container that the book did not have yet is compared with what it began with, as judging does.
        """
        ml = {pk: row.contents_ml for pk, row in self.containers.items()}
        if at >= now:
            return ml
        book = BookThen(self.containers, at)
        then = {pk: book.at(pk, at).ml for pk in self.containers}
        empty = [pk for pk, was in then.items() if was <= 0]
        begun = MovementLine.objects.filter(container__in=empty, movement__happened_at__lte=at)
        known = {pk for pk, was in then.items() if was > 0}.union(begun.values_list("container", flat=True))
        return ml | {pk: then[pk] for pk in known}

    def row(self, check: Check, read: Read, book_ml: Mapping[int, int]) -> Reading:
        """The reading as it is kept, with what the book said at that moment."""
        container = self.containers.get(read.container or 0)
        return Reading(
            check_of=check,
            container=container,
            line_id=read.line,
            item=read.item.strip() if read.container is None and read.line is None else "",
            answer=read.answer,
            parts=dict(read.parts),
            ml=read.ml,
            stick_ml=read.stick_ml,
            book_ml=book_ml[container.pk] if container else None,
            sealed=read.sealed,
            setting_pct=read.setting_pct,
            ring_lpm=read.ring_lpm,
            face=read.face,
            flushed=read.flushed,
            words=read.words.strip(),
        )

    def keep(self, draft: CheckDraft) -> None:
        """What was measured last stands at the container and the line, unless something later stands there."""
        at = draft.finished_at
        later = set(
            Reading.objects.filter(line__in=self.lines, check_of__finished_at__gt=at).values_list("line", flat=True)
        )
        for read in draft.readings:
            if read.container is not None:
                _keep_container(self.containers[read.container], read, at)
            if read.line is not None:
                _keep_line(self.lines[read.line], read, at, late=read.line in later)


def _keep_container(row: Container, read: Read, at: datetime) -> None:
    """What is not carried reads nothing; a whole seal answers for the volume; a fault stands until found good."""
    if read.answer == Answer.NOT_LOOKED or (row.reading_at is not None and row.reading_at > at):
        return
    seen = 0 if read.answer == Answer.NOT_CARRIED else read_ml(read.ml, read.stick_ml)
    fault, since = _fault(row, read, at)
    if seen is None and row.reading_ml is None and fault == row.fault:
        return  # nothing was read and nothing stands there
    row.reading_ml, row.reading_at, row.fault, row.fault_on = seen, at, fault, since
    row.save(update_fields=["reading_ml", "reading_at", "fault", "fault_on"])


def _fault(row: Container | FoamLine, read: Read, at: datetime) -> tuple[str, date | None]:
    """(what is wrong, since when) after a reading; a fault seen again keeps its first day."""
    wrong = _wrong(row, read)
    if not wrong:
        return "", None
    day = calendar_day_of(row.department, at)
    return wrong[:160], row.fault_on if row.fault and row.fault_on else day


def _wrong(row: Container | FoamLine, read: Read) -> str:
    """What is at fault, in words; a kit's dial that shows the other face is."""
    parts = dict(read.parts)
    seen = Reading(words=read.words, parts=parts)
    if read.answer == Answer.FAULT or Answer.FAULT.value in parts.values():
        return fault_text(seen) if read.words.strip() or parts else "a fault was seen"
    if isinstance(row, FoamLine) and read.face and read.face != right_face(row):
        return f"the dial shows its {read.face} face"
    return ""


def _unseen(read: Read) -> bool:
    """Whether a part of it was not looked at."""
    return any(said == Answer.NOT_LOOKED for _, said in read.parts)


def _keep_line(row: FoamLine, read: Read, at: datetime, *, late: bool) -> None:
    changed = []
    if read.answer != Answer.NOT_LOOKED and not late:
        fault, since = _fault(row, read, at)
        if fault != row.fault:
            row.fault, row.fault_on = fault, since
            changed += ["fault", "fault_on"]
        missing = _missing(row, read)
        if missing != row.missing:
            day = calendar_day_of(row.department, at)
            row.missing, row.missing_on = missing, (row.missing_on or day) if missing else None
            changed += ["missing", "missing_on"]
    if read.setting_pct is not None and (row.present_seen_at is None or row.present_seen_at <= at):
        row.present_pct, row.present_seen_at = read.setting_pct, at
        changed += ["present_pct", "present_seen_at"]
    if read.ring_lpm is not None and not late:
        row.flow_lpm = read.ring_lpm
        changed.append("flow_lpm")
    if read.flushed is True and row.unflushed_since is not None and row.unflushed_since <= at:
        row.unflushed_since = None
        changed.append("unflushed_since")
    if read.flushed is False and row.unflushed_since is None and not late:
        row.unflushed_since = at
        changed.append("unflushed_since")
    if changed:
        row.save(update_fields=changed)


def _missing(row: FoamLine, read: Read) -> str:
    """The parts of a line that are not aboard: one that nobody looked at is missing as long as it was."""
    if read.answer == Answer.NOT_CARRIED and not parts_text(dict(read.parts), NOT_CARRIED):
        return ALL_OF_IT
    said = dict(read.parts)
    before = [part for part in row.missing.split(", ") if said.get(part) == Answer.NOT_LOOKED]
    return ", ".join(dict.fromkeys([*before, *(part for part, each in read.parts if each == NOT_CARRIED)]))[:160]


def _keep_gear(unit: Unit, draft: CheckDraft) -> None:
    """Gear that is missing or at fault stands at its unit until a later look finds it good."""
    at, known = draft.finished_at, dict(unit.gear_seen)
    of = Reading.objects.filter(check_of__unit=unit, check_of__finished_at__gt=at).exclude(item="")
    later = set(of.values_list("item", flat=True))
    for read in draft.readings:
        if read.item and read.item not in later and read.answer != Answer.NOT_LOOKED:
            known.pop(read.item, None)
            if read.answer != Answer.GOOD:
                known[read.item] = _gear_found(unit, read, at)
    if known != unit.gear_seen:
        unit.gear_seen = known
        unit.save(update_fields=["gear_seen"])


def _gear_found(unit: Unit, read: Read, at: datetime) -> dict[str, Any]:
    before = unit.gear_seen.get(read.item, {})
    since = before["on"] if before.get("answer") == read.answer else calendar_day_of(unit.department, at).isoformat()
    return {"answer": str(read.answer.value), "on": since, "words": read.words.strip()[:100]}
