"""Worksheets: the sums officers do on paper, for anyone signed in, each answer at an address of its own.

Nothing is saved here. A form is sent by GET, so that what was asked stands in the address: to keep, to send, to print.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, NamedTuple

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import URLPattern, path
from django.views.decorators.http import require_GET

from readiness.actions.keeping import EDIT
from readiness.models import Policy
from readiness.models.policy import RegionPack
from readiness.reports.published import FIGURES, fluorine_on
from readiness.reports.worksheets import shown_sheet
from readiness.web.access import Here, rows, signed_in
from readiness.web.attack_forms import LineSheetForm, NeedForm, RunoffForm, SpillForm, VaporForm
from readiness.web.concentrates import fuels
from readiness.web.pack_forms import AirportForm, MarineForm, NationalForm, PreventiveForm
from readiness.web.proof_forms import FoamTestForm, ProportioningSheetForm, SampleSheetForm
from readiness.web.sheet_forms import SheetForm

View = Callable[..., HttpResponseBase]


class Worksheet(NamedTuple):
    """One of the worksheets. ``pack``: the region pack it belongs to, or nothing."""

    key: str  # in its address
    title: str
    lead: str
    form: type[SheetForm]
    pack: str = ""

    @property
    def url_name(self) -> str:
        """The name of its page."""
        return f"worksheet_{self.key.replace('-', '_')}"


WORKSHEETS: Final = (
    Worksheet(
        "spill", "Size a spill", "Fuel and footprint in; rate, need, water, pails and what is here out.", SpillForm
    ),
    Worksheet("need", "Need from a rate", "Where rate, minutes and percentage are known.", NeedForm),
    Worksheet(
        "vapor", "Hold vapor down", "First blanket, upkeep, and the fire run kept back in case it lights.", VaporForm
    ),
    Worksheet("runoff", "Does the dike hold it", "Product, solution and cooling water against the wall.", RunoffForm),
    Worksheet("line", "Does the line pick up", "Flow and pressures, what is wrong, and what cures it.", LineSheetForm),
    Worksheet(
        "proportioning", "Proportioning test", "By known mixes, a draw test, or flow meters.", ProportioningSheetForm
    ),
    Worksheet("foam-test", "Foam test", "Expansion and quarter-drainage of finished foam.", FoamTestForm),
    Worksheet("sample", "Concentrate sample", "A laboratory’s values against their limits.", SampleSheetForm),
    Worksheet("airport", "Airport", "Concentrate for twice the required water.", AirportForm, RegionPack.AIRPORT.value),
    Worksheet("marine", "Marine deck foam", "A tanker’s cargo deck.", MarineForm, RegionPack.MARINE.value),
    Worksheet(
        "national", "Storage tank by national code", "One national decree.", NationalForm, RegionPack.STORAGE.value
    ),
    Worksheet(
        "preventive",
        "Preventive blanket by national code",
        "Depth and upkeep.",
        PreventiveForm,
        RegionPack.STORAGE.value,
    ),
)


def packs_of(here: Here) -> frozenset[str]:
    """The region packs that the department turned on."""
    found = rows(Policy, here).values_list("region_packs", flat=True).first()
    return frozenset(found or ())


@require_GET
@signed_in
def index(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Which worksheets there are."""
    packs = packs_of(here)
    shown = [each for each in WORKSHEETS if not each.pack or each.pack in packs]
    return render(request, "worksheet/index.html", {"worksheets": shown, "packs_off": len(shown) < len(WORKSHEETS)})


@require_GET
@signed_in
def published(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The published figures that the worksheets work with, each with its source."""
    groups = [*FIGURES, *([fluorine_on(here.day)] if RegionPack.FLUORINE in packs_of(here) else [])]
    return render(request, "worksheet/published.html", {"groups": groups})


def _page(worksheet: Worksheet) -> View:
    @require_GET
    @signed_in
    def view(request: HttpRequest, here: Here) -> HttpResponseBase:
        asked = any(name.removesuffix("_number") in worksheet.form.base_fields for name in request.GET)
        form = worksheet.form(request.GET if asked else None, here=here)
        context: dict[str, Any] = {"worksheet": worksheet, "form": form}
        if asked and form.is_valid():
            context.update(_answer(form, here))
        if worksheet.pack:
            context["pack_off"] = worksheet.pack not in packs_of(here)
        if isinstance(form, SpillForm):
            context["fuels"] = fuels(here).filter(retired_on__isnull=True).order_by("name").values_list("name", "un")
        return render(request, "worksheet/worksheet.html", context)

    return view


def _answer(form: SheetForm, here: Here) -> dict[str, Any]:
    """What the page shows below its form; a refusal goes above the form."""
    try:
        if isinstance(form, SpillForm) and form.cleaned_data["concentrate"] is None:
            return {"compared": form.compared(), "written": form.asked(), "as_duty": _as_duty(form, here)}
        sheet = form.sheet()
        return {
            "told": shown_sheet(sheet, here.units),
            "plots": form.plots(sheet),
            "written": form.asked(),
            "as_duty": _as_duty(form, here),
            "record": _recorded_by(form, here),
        }
    except ValueError as wrong:
        form.refuse(wrong)
        return {}


def _as_duty(form: SheetForm, here: Here) -> str:
    return form.as_duty() if here.may(EDIT) else ""


def _recorded_by(form: SheetForm, here: Here) -> str:
    """The name of the form that keeps such a test on record, for those who may."""
    kept: dict[type[SheetForm], str] = {ProportioningSheetForm: "line_test_add", FoamTestForm: "foam_test_add"}
    no_test = form.cleaned_data.get("baseline") is not None  # a draw of water
    return kept.get(type(form), "") if here.may("line test") and not no_test else ""


def _addresses() -> list[URLPattern]:
    return [path(f"worksheet/{each.key}/", _page(each), name=each.url_name) for each in WORKSHEETS]


urlpatterns = [
    path("worksheet/", index, name="worksheets"),
    path("worksheet/published/", published, name="worksheet_published"),
    *_addresses(),
]
