"""What the last shift left for this one: open notes of a unit and its station, and those that are done."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from django.db.models import Prefetch, Q, QuerySet

from readiness.models import HandOverNote, NoteRead, Unit, User
from readiness.reports.check_sheets import person


class Note(NamedTuple):
    """A note as the next shift reads it."""

    pk: int
    of: str  # the unit or station that it is about
    words: str
    by: str
    at: datetime
    read_by: str  # names, empty where nobody has
    is_read: bool  # by who asks


def notes_of(unit: Unit) -> QuerySet[HandOverNote, HandOverNote]:
    """Every note of the unit and of its station, the latest first."""
    reads = Prefetch("reads", NoteRead.objects.select_related("user"))
    rows = HandOverNote.objects.filter(Q(unit=unit) | Q(unit__isnull=True, station=unit.station_id))
    return rows.select_related("unit", "station", "written_by", "done_by").prefetch_related(reads)


def open_notes(unit: Unit, reader: User | None) -> list[Note]:
    """Those that are not done, the oldest first, in two queries."""
    found = notes_of(unit).filter(done_at__isnull=True).order_by("written_at", "id")
    return [_note(row, reader) for row in found]


def _note(row: HandOverNote, reader: User | None) -> Note:
    reads = row.reads.all()
    return Note(
        pk=row.pk,
        of=str(row.unit or row.station),
        words=row.words,
        by=person(row.written_by),
        at=row.written_at,
        read_by=read_by(row),
        is_read=reader is not None and any(read.user_id == reader.pk for read in reads),
    )


def read_by(row: HandOverNote) -> str:
    """Who has said to have read it."""
    return ", ".join(person(read.user) for read in row.reads.all())
