"""The note to the next shift: written and ended on the crew's page, where the next shift sees it first."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions import hand_over_notes as actions
from readiness.actions.drafts import Refused
from readiness.actions.hand_over_notes import HAND_OVER, MOST_LETTERS
from readiness.actions.once import Asked, once
from readiness.models import HandOverNote, Unit
from readiness.reports.check_sheets import person
from readiness.reports.hand_over_notes import notes_of, read_by
from readiness.web import access
from readiness.web.access import Here, get, may, signed_in
from readiness.web.crew import unit_here
from readiness.web.forms import EntryForm
from readiness.web.tables import Column, MomentColumn, Table, list_page


class NoteForm(EntryForm):
    """What the next shift has to know."""

    about = forms.ChoiceField(
        label="About",
        widget=forms.RadioSelect,
        error_messages={
            "invalid_choice": "Choose from the list.",
            "required": "Nothing was read: say what it is about.",
        },
    )
    words = forms.CharField(
        label="What the next shift has to know",
        max_length=MOST_LETTERS,
        widget=forms.Textarea({"rows": 4}),
        error_messages={"required": "No words were read: say what the next shift has to know."},
    )

    def __init__(self, *args: Any, here: Here, unit: Unit, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        about = self.fields["about"]
        assert isinstance(about, forms.ChoiceField)
        about.choices = [("unit", str(unit)), ("station", f"all of {unit.station}")]
        about.initial = "unit"


@require_http_methods(["GET", "POST"])
@may(HAND_OVER)
def write(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The form; sent twice it is one note."""
    unit = unit_here(here, pk)
    form = NoteForm(request.POST or None, here=here, unit=unit)
    if request.method == "POST" and form.is_valid():
        try:
            _written(here, form, unit)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The note is left for the next shift.")
            return redirect("crew_unit", unit.pk)
    return render(request, "hand_over_notes/write.html", {"form": form, "unit": unit})


def _written(here: Here, form: NoteForm, unit: Unit) -> None:
    asked = form.cleaned_data
    by: dict[str, Any] = {"acting": here.acting, "clock": access.CLOCK}

    def act() -> list[Any]:
        of_station = asked["about"] == "station"
        actions.write_note(here.department, unit=unit, of_station=of_station, words=asked["words"], **by)
        return []

    body = {"unit": unit.pk, "about": asked["about"], "words": asked["words"]}
    once(here.department, Asked(asked["entry_id"], "hand-over note", body), act, **by)


def _note_here(here: Here, unit: Unit, note: int) -> HandOverNote:
    return get(notes_of(unit).select_related("department"), here, pk=note)


@require_POST
@may(HAND_OVER)
def read(request: HttpRequest, here: Here, pk: int, note: int) -> HttpResponseBase:
    """Somebody has read it."""
    unit = unit_here(here, pk)
    actions.read_note(_note_here(here, unit, note), acting=here.acting, clock=access.CLOCK)
    messages.success(request, "Kept: you have read the note.")
    return redirect("crew_unit", unit.pk)


@require_POST
@may(HAND_OVER)
def end(request: HttpRequest, here: Here, pk: int, note: int) -> HttpResponseBase:
    """It is done."""
    unit = unit_here(here, pk)
    actions.end_note(_note_here(here, unit, note), acting=here.acting, clock=access.CLOCK)
    messages.success(request, "The note is done; it stays in the history.")
    return redirect("crew_unit", unit.pk)


class NoteTable(Table):
    """Every note, the latest first."""

    caption = "Hand-over notes"
    written_at = MomentColumn(verbose_name="Written")
    of = Column(accessor="pk", verbose_name="About", orderable=False)
    words = Column(verbose_name="Note", orderable=False)
    by = Column(accessor="pk", verbose_name="By", orderable=False)
    read_by = Column(accessor="pk", verbose_name="Read by", orderable=False)
    done_at = MomentColumn(verbose_name="Done", default="open")

    def value_of(self, record: HandOverNote) -> str:
        """The unit or the station."""
        return str(record.unit or record.station)

    def value_by(self, record: HandOverNote) -> str:
        """Who left it."""
        return person(record.written_by)

    def value_read_by(self, record: HandOverNote) -> str:
        """Who has read it."""
        return read_by(record) or "nobody yet"

    render_of, render_by, render_read_by = value_of, value_by, value_read_by


@require_GET
@signed_in
def every(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The history, and the same as a workbook."""
    unit = unit_here(here, pk)
    context = {"unit": unit, "caption": f"Hand-over notes of {unit} and {unit.station}"}
    return list_page(request, here, NoteTable, notes_of(unit), template="hand_over_notes/list.html", context=context)


urlpatterns = [
    path("crew/<int:pk>/note/", write, name="write_note"),
    path("crew/<int:pk>/notes/", every, name="notes"),
    path("crew/<int:pk>/notes/<int:note>/read/", read, name="read_note"),
    path("crew/<int:pk>/notes/<int:note>/done/", end, name="end_note"),
]
