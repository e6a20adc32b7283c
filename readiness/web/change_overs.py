"""Change-over: a unit goes on another vehicle, its pails and gear counted blind at each end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, cast
from uuid import UUID

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods

from readiness.actions.change_overs import change_over as do_change_over
from readiness.models import Assignment, Container, Unit, Vehicle
from readiness.models.change_overs import End
from readiness.reports.change_overs import Thing, change_over_made, things_of
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.crew import unit_named
from readiness.web.entries import Ask, BookForm, Page, entry_page
from readiness.web.movements import department_rows

_MOST_PIECES = 999


class VehicleField(forms.ModelChoiceField):  # type: ignore[type-arg] # the class takes no argument at run time
    """A vehicle, with the unit that runs on it tonight."""

    running: Mapping[int, str] = {}

    def label_from_instance(self, obj: Vehicle) -> str:
        """Its shop number, and whose it is."""
        unit = self.running.get(obj.pk)
        out = "" if obj.state == "in" else f", {obj.get_state_display()}"
        return f"{obj} ({obj.kind}{out}), {f'{unit} runs on it' if unit else 'free'}"


class ThingShown(NamedTuple):
    """One thing with its two fields."""

    thing: Thing
    ends: list[tuple[forms.BoundField, str]]


class ChangeOverForm(BookForm):
    """A unit goes on another vehicle."""

    unit = forms.ModelChoiceField(Unit.objects.none(), empty_label="choose")
    vehicle = VehicleField(Vehicle.objects.none(), empty_label="choose", label="Runs on from then")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        del self.fields["reason"]  # the table of changes keeps who and when
        department_rows(self.fields["unit"], rows(Unit, here).filter(retired_on__isnull=True))
        department_rows(self.fields["vehicle"], rows(Vehicle, here).filter(retired_on__isnull=True))
        running = rows(Assignment, here).filter(to_at__isnull=True)
        cast(VehicleField, self.fields["vehicle"]).running = dict(running.values_list("vehicle", "unit__designation"))

    def counts(self) -> dict[tuple[str, str], int | None]:
        """What was counted: nothing where no unit was named before the form was drawn."""
        return {}

    def counted(self) -> Iterator[ThingShown]:
        """The things to count with their fields."""
        yield from ()


class CountingForm(ChangeOverForm):
    """The change-over of one unit with what is counted; `counting_form` makes the class with the unit's own things."""

    things: tuple[Thing, ...]
    besides = forms.CharField(
        label="Found besides, on either vehicle",
        required=False,
        max_length=200,
        help_text="What stands there and belongs to neither list. It is raised for the officer.",
    )

    def counts(self) -> dict[tuple[str, str], int | None]:
        """What was counted at each end; None where nobody did."""
        asked = self.cleaned_data
        return {(end.value, thing.key): asked.get(_name(thing, end)) for thing in self.things for end in End}

    def counted(self) -> Iterator[ThingShown]:
        """The things to count with their fields."""
        for thing in self.things:
            yield ThingShown(thing, [(self[_name(thing, end)], end.label) for end in End])


def _name(thing: Thing, end: End) -> str:
    return f"{thing.key}_{end.name.lower()}"


def counting_form(unit: Unit) -> type[CountingForm]:
    """The form of a unit: it is blind, and holds names and no numbers."""
    things = things_of(unit)
    said = f"A whole number from 0 to {_MOST_PIECES} belongs here: so many as you counted."
    fields = {
        _name(thing, end): forms.IntegerField(
            label=f"{thing.name}: counted {end.label}",
            required=False,
            min_value=0,
            max_value=_MOST_PIECES,
            widget=forms.NumberInput({"inputmode": "numeric", "size": 4}),
            error_messages={"invalid": said, "min_value": said, "max_value": said},
        )
        for thing in things
        for end in End
    }
    return type("UnitCountingForm", (CountingForm,), {"things": things, **fields})


def _ask(form: ChangeOverForm, here: Here) -> Ask:
    asked = form.cleaned_data

    def act() -> list[UUID]:
        do_change_over(
            here.department,
            unit=asked["unit"],
            vehicle=asked["vehicle"],
            acting=here.acting,
            at=asked["happened_at"],
            counts=form.counts(),
            besides=asked.get("besides", ""),
            clock=access.CLOCK,
        )
        return []

    aboard = Q(place__unit=asked["unit"]) | Q(place__vehicle=asked["vehicle"])
    return Ask(act, list(rows(Container, here).filter(aboard).values_list("pk", flat=True)))


@require_http_methods(["GET", "POST"])
@may("change over")
def change_over(request: HttpRequest, here: Here) -> HttpResponseBase:
    """A unit goes on another vehicle. Where the address names the unit, its pails and gear are counted as well."""
    unit = unit_named(request, here)
    page = Page(
        "change over",
        f"Change {unit} over" if unit else "Change a unit over",
        "Change over",
        _ask,
        lambda _: _to_made(here, request),
        "Duty, crew and loose gear go along; tanks and what is fixed, and what is wrong with them, stay with their "
        "vehicle. Take inventory at each end.",
        reverse("crew_unit", args=[unit.pk]) if unit else "",
        form_template="change_overs/ask.html",
    )
    made = counting_form(unit) if unit else ChangeOverForm
    initial = {"unit": unit.pk if unit else request.GET.get("unit", ""), "vehicle": request.GET.get("vehicle", "")}
    form = made(request.POST or None, here=here, initial=initial)
    others = [] if unit else rows(Unit, here).filter(retired_on__isnull=True)
    return entry_page(request, here, page, form, unit=unit, others=others)


def _to_made(here: Here, request: HttpRequest) -> HttpResponseBase:
    """What was counted, with the book beside it now that it is entered."""
    unit = get(Unit, here, pk=request.POST.get("unit") or 0)
    run = get(Assignment, here, unit=unit, to_at=None)
    return redirect("change_over_made", pk=run.pk)


@require_GET
@signed_in
def made(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A change-over as it was made."""
    run = get(Assignment.objects.select_related("unit__department", "vehicle"), here, pk=pk)
    context = {"unit": run.unit, "made": change_over_made(run), "may_check": here.may("check")}
    return render(request, "change_overs/made.html", context)


urlpatterns = [
    path("movements/change-over/", change_over, name="change_over"),
    path("movements/change-over/<int:pk>/", made, name="change_over_made"),
]
