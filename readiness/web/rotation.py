"""Rotation between stores and units, and pick lists for a drill or to restock a unit."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.functional import cached_property
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET
from django_tables2 import A

from readiness.models import Concentrate, Station, Unit
from readiness.reports.code_runs import code_runs
from readiness.reports.inventory import Inventory, Item, load_inventory
from readiness.reports.rotation import DRILL, RESTOCK, PickList, Rotation, pick_for_drill, pick_for_unit, rotations
from readiness.web import figures
from readiness.web.access import Here, signed_in
from readiness.web.column_fields import Own
from readiness.web.forms import Form, QuantityField
from readiness.web.marks import code_words
from readiness.web.planning_tabs import tabs
from readiness.web.tables import Column, DayColumn, NumberColumn, RecordFilter, Table, list_page

NOBREAK = {"td": {"class": "nobreak"}}


class RotationTable(Table):
    """A row a swap."""

    caption = "Swaps between units and stores"
    unit = Column(linkify=("par_unit", {"pk": A("unit_id")}))
    concentrate = Column()
    old = Column(verbose_name="Take off", orderable=False)
    old_through = DayColumn(verbose_name="Good through", attrs=NOBREAK)
    new = Column(verbose_name="Put on", orderable=False)
    new_through = DayColumn(verbose_name="Good through", attrs=NOBREAK)
    days = NumberColumn(verbose_name="Lasts longer by [days]")
    station = Column(verbose_name="From the store of")
    then = Column(accessor="why_no_drill", verbose_name="What comes off", orderable=False, empty_values=())
    do = Column(accessor="unit_id", verbose_name="First, then", orderable=False, exclude_from_export=True)

    def before_render(self, request: HttpRequest) -> None:
        """The forms are for who may move."""
        if not self.here.may("move"):
            self.columns.hide("do")

    def render_old(self, value: tuple[Item, ...]) -> SafeString:
        """Label codes."""
        return code_words(item.code for item in value)

    def value_old(self, value: tuple[Item, ...]) -> str:
        """The same in the workbook."""
        return code_runs(item.code for item in value)

    def render_new(self, value: tuple[Item, ...]) -> SafeString:
        """What goes on."""
        return self.render_old(value)

    def value_new(self, value: tuple[Item, ...]) -> str:
        """The same in the workbook."""
        return self.value_old(value)

    def render_then(self, value: str) -> str:
        """To the next drill, or not."""
        return f"to the store; no drill: {value}" if value else "to the next drill"

    def value_then(self, value: str) -> str:
        """The same in the workbook."""
        return self.render_then(value)

    def render_do(self, record: Rotation) -> SafeString:
        """The two moves, filled in."""
        aboard = [("owner", f"unit-{record.unit_id}"), ("compartment", record.compartment)]
        back = [("owner", f"station-{self.store_ids.get(record.station, '')}")]
        moves = (
            (f"{reverse('move')}?{urlencode([*(('code', item.code) for item in items), *to])}", len(items), way)
            for items, to, way in ((record.new, aboard, "on"), (record.old, back, "off"))
        )
        return format_html_join(" ", '<a class="button small" href="{}">Move {} {}</a>', moves)

    @cached_property
    def store_ids(self) -> dict[str, int]:
        """The stations by name, read once a table."""
        rows = Station.objects.filter(department=self.here.department).values_list("name", "pk")
        return dict(rows)


class RotationFilter(RecordFilter):
    """By unit, concentrate and store."""

    search = ("unit", "concentrate", "station")
    choices = {"unit": "Unit", "concentrate": "Concentrate"}


@require_GET
@signed_in
def rotation(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Every swap that lets the front line last longer."""
    found = rotations(here.department, load_inventory(here.department, here.day))
    context = {"tabs": tabs(request)}
    return list_page(
        request,
        here,
        RotationTable,
        found,
        template="planning/rotation.html",
        filter_class=RotationFilter,
        context=context,
    )


class PickForm(Form):
    """For what, how much, of what, from where."""

    saves = False
    use = forms.ChoiceField(label="For", choices=[(DRILL, "a drill"), (RESTOCK, "restocking a unit")], initial=DRILL)
    volume = QuantityField("volume", label="How much", zero=False, most=10_000_000)
    concentrate = Own(
        Concentrate,
        label="Concentrate",
        required=False,
        empty_label="any that may be used",
        help_text="Needed for a unit.",
    )
    unit = Own(
        Unit, Q(retired_on__isnull=True), label="Unit", required=False, empty_label="none", help_text="For restocking."
    )
    station = Own(
        Station, Q(closed_on__isnull=True), label="From the store of", required=False, empty_label="all stores"
    )

    def clean(self) -> dict[str, Any]:
        """A unit is restocked with what it carries."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        if asked.get("use") == RESTOCK:
            for name, what in (("concentrate", "which concentrate it takes"), ("unit", "which unit is restocked")):
                if not asked.get(name) and name not in self.errors:
                    self.add_error(name, f"Nothing was read: say {what}.")
        return asked


@require_GET
@signed_in
def pick_list(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The form, and below it the list to take to the store."""
    asked = "use" in request.GET
    form = PickForm(request.GET if asked else None, here=here)
    found = _picked(form, load_inventory(here.department, here.day), here) if asked and form.is_valid() else None
    shown = _shown(form, found, here) if found else {}
    context = {"tabs": tabs(request), "here": here, "form": form, "found": found, **shown}
    return render(request, "planning/pick_list.html", context)


def _picked(form: PickForm, inventory: Inventory, here: Here) -> PickList:
    asked = form.cleaned_data
    station = asked["station"].name if asked["station"] else ""
    concentrate = asked["concentrate"].pk if asked["concentrate"] else None
    if asked["use"] == DRILL:
        return pick_for_drill(here.department, inventory, asked["volume"], concentrate=concentrate, station=station)
    home = asked["unit"].station.name
    return pick_for_unit(inventory, asked["volume"], concentrate=concentrate or 0, station=station, own_station=home)


def _shown(form: PickForm, found: PickList, here: Here) -> dict[str, Any]:
    """The lines with their figures, and the form that moves them, for who may."""
    unit = form.cleaned_data["unit"]
    move = [("code", code) for code in found.codes] + ([("owner", f"unit-{unit.pk}")] if unit else [])
    return {
        "lines": [
            (each, *(figures.figure(ml, "volume", here.units, "down", containers=each.number) for ml in each[1:3]))
            for each in found.picked
        ],
        "unit": unit,
        "codes": code_words(found.codes),
        "move": f"{reverse('move')}?{urlencode(move)}" if found.picked and here.may("move") else "",
    }


urlpatterns = [
    path("planning/rotation/", rotation, name="rotation"),
    path("planning/pick-list/", pick_list, name="pick_list"),
]
