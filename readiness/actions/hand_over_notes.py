"""Notes to the next shift: written, read, ended when done. None is altered or deleted."""

from __future__ import annotations

from typing import Final

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.models import Department, HandOverNote, NoteRead, Unit

HAND_OVER: Final = "hand over"
MOST_LETTERS: Final = 600


def write_note(
    department: Department,
    *,
    unit: Unit,
    of_station: bool,
    words: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> HandOverNote:
    """Leave a note of a unit, or of its whole station. Raises Refused without words."""
    require(acting, department, HAND_OVER)
    said = words.strip()
    if not said:
        raise Refused("No words were read: say what the next shift has to know.")
    if unit.department_id != department.pk:
        raise Refused(f"There is no such unit in {department}.")
    with transaction.atomic():
        note = HandOverNote.objects.create(
            department=department,
            station_id=unit.station_id,
            unit=None if of_station else unit,
            words=said[:MOST_LETTERS],
            written_at=clock.now(),
            written_by=acting.user,
            identity=acting.identity,
            device=acting.device,
        )
        new = {"unit": note.unit_id, "station": note.station_id, "words": note.words}
        record_changes(department, acting, clock.now(), [Changed("write a hand-over note", note, None, new)])
    return note


def read_note(note: HandOverNote, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> NoteRead:
    """Somebody has read it; a second time changes nothing."""
    require(acting, note.department, HAND_OVER)
    if acting.user is None:
        raise Refused("A note is read by a person.")
    with transaction.atomic():
        read, is_new = NoteRead.objects.get_or_create(note=note, user=acting.user, defaults={"at": clock.now()})
        if is_new:
            record_changes(
                note.department, acting, clock.now(), [Changed("read a hand-over note", note, None, {"read": True})]
            )
    return read


def end_note(note: HandOverNote, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> HandOverNote:
    """It is done: it goes to the history. A second time changes nothing."""
    require(acting, note.department, HAND_OVER)
    with transaction.atomic():
        row = HandOverNote.objects.select_for_update().select_related("department").get(pk=note.pk)
        if row.done_at is None:
            row.done_at, row.done_by = clock.now(), acting.user
            row.save(update_fields=["done_at", "done_by"])
            old, new = {"done_at": None}, {"done_at": row.done_at.isoformat()}
            record_changes(row.department, acting, clock.now(), [Changed("end a hand-over note", row, old, new)])
    return row
