"""The note to the next shift: written, read once by each, ended once, kept."""

from __future__ import annotations

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.hand_over_notes import end_note, read_note, write_note
from readiness.actions.permissions import NotAllowed
from readiness.models import Change, HandOverNote, NoteRead, Role
from readiness.reports.hand_over_notes import notes_of, open_notes
from tests.cast import CLOCK, SIX, StationFactory, UnitFactory

pytestmark = pytest.mark.django_db


def leave(cast, words: str = "tank two reads low", *, unit=None, of_station: bool = False) -> HandOverNote:
    by = {"acting": cast.acting(Role.CREW), "clock": CLOCK}
    return write_note(cast.department, unit=unit or cast.unit, of_station=of_station, words=words, **by)


def test_a_note_is_of_a_unit_or_of_its_station(cast) -> None:
    second = UnitFactory(station=cast.station, designation="Engine 2")
    elsewhere = UnitFactory(station=StationFactory(department=cast.department))
    leave(cast, "of the engine")
    leave(cast, "of the house", of_station=True)
    leave(cast, "of another", unit=elsewhere, of_station=True)
    crew = cast.people[Role.CREW]
    assert [(each.words, each.of) for each in open_notes(cast.unit, crew)] == [
        ("of the engine", "Engine 1"),
        ("of the house", "Quayside"),
    ]
    assert [each.words for each in open_notes(second, crew)] == ["of the house"]


def test_who_has_read_it_is_told_and_once(cast) -> None:
    note = leave(cast)
    officer = cast.acting(Role.OFFICER)
    assert not open_notes(cast.unit, officer.user)[0].is_read
    for _ in range(2):
        read_note(note, acting=officer, clock=CLOCK)
    assert NoteRead.objects.get().at == SIX
    (shown,) = open_notes(cast.unit, officer.user)
    assert shown.is_read
    assert not open_notes(cast.unit, cast.people[Role.CREW])[0].is_read
    assert Change.objects.filter(action="read a hand-over note").count() == 1


def test_a_note_that_is_done_goes_to_the_history(cast) -> None:
    note = leave(cast)
    for _ in range(2):
        end_note(note, acting=cast.acting(Role.CREW), clock=CLOCK)
    assert open_notes(cast.unit, None) == []
    assert list(notes_of(cast.unit)) == [note]
    note.refresh_from_db()
    assert (note.done_at, note.done_by) == (SIX, cast.people[Role.CREW])
    assert Change.objects.filter(action="end a hand-over note").count() == 1


def test_what_is_refused(cast) -> None:
    with pytest.raises(Refused, match="No words were read"):
        leave(cast, "  ")
    with pytest.raises(NotAllowed):
        write_note(
            cast.department, unit=cast.unit, of_station=False, words="x", acting=cast.acting(Role.OBSERVER), clock=CLOCK
        )
    assert not HandOverNote.objects.exists()


def test_the_number_of_queries_does_not_grow(cast, django_assert_num_queries) -> None:
    for n in range(3):
        read_note(leave(cast, f"note {n}"), acting=cast.acting(Role.OFFICER), clock=CLOCK)
    with django_assert_num_queries(2):
        open_notes(cast.unit, None)
    for n in range(20):
        read_note(leave(cast, f"further {n}"), acting=cast.acting(Role.OFFICER), clock=CLOCK)
    with django_assert_num_queries(2):
        open_notes(cast.unit, None)
