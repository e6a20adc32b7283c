"""Proportioning tests and foam tests on record: lists, records with their curves, and the forms that record them."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions.evidence import MOST_MEASURED_PCT, record_foam_test, record_line_test, record_worked_test
from readiness.engineering.quantities import QuantityError, parse_quantity
from readiness.engineering.units import UnitError
from readiness.models import Concentrate, FoamLine, FoamTest, LineTest
from readiness.reports.line_tests import airport_of, drained_of, foam_sheet_of, foam_tests, line_tests, proof_of
from readiness.reports.worksheets import shown_sheet
from readiness.web import access
from readiness.web.access import Here, get, may, signed_in
from readiness.web.column_fields import Own
from readiness.web.entries import Ask, Page, entry_page
from readiness.web.field_groups import Groups
from readiness.web.forms import DateField, EntryForm, PercentField, QuantityField
from readiness.web.proof_forms import WAYS, FoamTestForm, ProportioningForm, calibration_plot, drainage_plot
from readiness.web.sheet_forms import Choice, NumberField
from readiness.web.tables import Column, DayColumn, NumberColumn, PercentColumn, RecordFilter, Table, list_page

MAY_TEST: Final = "line test"
REPORTED: Final = "report"
NOBREAK: Final = {"td": {"class": "nobreak"}}
_LINES: Final = Q(retired_on__isnull=True)


class LineTestTable(Table):
    """A row a test."""

    caption = "Proportioning tests"
    tested_on = DayColumn(verbose_name="Tested on", linkify=("line_test", {"pk": A("id")}), attrs=NOBREAK)
    rig = Column(verbose_name="Rig")
    line = Column()
    concentrate = Column()
    set_pct = PercentColumn(verbose_name="Set to")
    measured_pct = PercentColumn(verbose_name="Measured", default="not stated")
    outcome = Column()
    now = Column(verbose_name="As it stands")
    good_through = DayColumn(verbose_name="Good through")
    method = Column(default="")
    certificate = Column(default="")


class LineTestFilter(RecordFilter):
    """By rig, line and concentrate."""

    search = ("rig", "line", "concentrate", "method", "certificate")
    choices = {"outcome": "Outcome", "now": "As it stands"}


class FoamTestTable(Table):
    """A row a cylinder."""

    caption = "Foam tests"
    tested_on = DayColumn(verbose_name="Tested on", linkify=("foam_test", {"pk": A("id")}), attrs=NOBREAK)
    rig = Column(verbose_name="Rig")
    line = Column()
    concentrate = Column()
    expansion = NumberColumn()
    expansion_class = Column(verbose_name="Class")
    quarter_min = NumberColumn(verbose_name="Quarter drained, min", default="not reached")
    against = Column(verbose_name="Against what is declared", default="nothing declared")
    report = Column(default="")

    def render_expansion(self, value: float) -> str:
        """To a tenth."""
        return f"{value:.1f}"

    def render_quarter_min(self, value: float) -> str:
        """To a tenth of a minute."""
        return f"{value:.1f}"


class FoamTestFilter(RecordFilter):
    """By rig, line and concentrate."""

    search = ("rig", "line", "concentrate", "report")
    choices = {"expansion_class": "Class", "against": "Against what is declared"}


class LineTestForm(ProportioningForm, EntryForm):
    """A test as it is reported, or as it was worked from readings."""

    saves = True
    template_name = "worksheet/fields.html"
    opens = "As it is reported"
    groups_of: ClassVar[Groups] = ((opens, ("measured", "answer")), *ProportioningForm.groups_of)
    line = Own(FoamLine, _LINES, label="Foam line")
    concentrate = Own(Concentrate, label="Concentrate")
    tested_on = DateField(label="Tested on", past=True)
    way = Choice(label="Tested by", choices=[(REPORTED, "a laboratory or shop, as reported"), *WAYS], initial=REPORTED)
    measured = PercentField(label="Measured", least=0, greatest=MOST_MEASURED_PCT, required=False)
    answer = forms.ChoiceField(
        label="Result", choices=[("", "choose"), ("passed", "passed"), ("failed", "failed")], required=False
    )
    good_through = DateField(
        label="Good through", required=False, help_text="As the report says. Empty: the department’s interval counts."
    )
    certificate = forms.CharField(label="Certificate or report", max_length=120, required=False)
    field_order = (
        "line", "concentrate", "tested_on", "percent", "vehicle", "way", "measured", "answer", "instrument", "mixes",
        "sample", "drawn", "seconds", "flow", "concentrate_flow", "water_flow", "good_through", "certificate",
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """What the way that was chosen needs."""
        cleaned: dict[str, Any] = super().clean() or {}
        if self.errors:
            return cleaned
        if cleaned["way"] != REPORTED:
            try:
                self.evidence()
            except ValueError as wrong:
                self.refuse(wrong)
            return cleaned
        for name in ("measured", "answer"):
            if cleaned[name] in (None, ""):
                self.refuse(f"Nothing was read: {self[name].label} is needed.", name)
        return cleaned


def _ask(form: LineTestForm, here: Here) -> Ask:
    asked = form.cleaned_data
    common: dict[str, Any] = {
        "line": asked["line"],
        "concentrate": asked["concentrate"],
        "tested_on": asked["tested_on"],
        "set_pct": asked["percent"],
        "good_through": asked["good_through"],
        "band": "vehicle" if asked["vehicle"] else "standard",
        "certificate": asked["certificate"],
        "acting": here.acting,
    }

    def act() -> Sequence[UUID]:
        if asked["way"] == REPORTED:
            passed = asked["answer"] == "passed"
            record_line_test(
                here.department, **common, measured_pct=asked["measured"], passed=passed, clock=access.CLOCK
            )
        else:
            record_worked_test(here.department, **common, evidence=form.evidence(), clock=access.CLOCK)
        return []

    return Ask(act)


def _begun(form: type[Any], request: HttpRequest, here: Here) -> Any:
    """The form as posted; or begun with what a worksheet's address carries."""
    if request.method == "POST":
        return form(request.POST, here=here)
    given: dict[str, Any] = {}
    for name, field in form.base_fields.items():
        if name != "entry_id" and name in request.GET:
            given[name] = request.GET[name]
        if isinstance(field, QuantityField):
            given.pop(name, None)
            with suppress(QuantityError, UnitError):
                unit = request.GET.get(f"{name}_unit")
                given[name] = parse_quantity(request.GET.get(f"{name}_number"), default_unit=unit)
    return form(here=here, initial=given)


@require_GET
@signed_in
def tests(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list of proportioning tests."""
    found = line_tests(here.department, here.day)
    context = {"may_test": here.may(MAY_TEST), "add": "line_test_add", "other": ("foam_tests", "Foam tests")}
    return list_page(
        request, here, LineTestTable, found, template="tests/list.html", filter_class=LineTestFilter, context=context
    )


@require_GET
@signed_in
def test(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One proportioning test, with its working where it was worked here."""
    row = get(LineTest.objects.select_related("line", "concentrate"), here, pk=pk)
    proof = proof_of(row)
    found = proof.calibration if proof else None
    plot = calibration_plot(found, row.set_pct, vehicle=airport_of(here.department, row.band)) if found else ""
    context = {
        "title": f"Proportioning test of {row.line}",
        "row": row,
        "told": shown_sheet(proof.sheet, here.units) if proof else None,
        "plots": [plot] if plot else [],
        "facts": [
            ("Concentrate", row.concentrate),
            ("Tested on", row.tested_on),
            ("Good through", row.good_through or "by the department’s interval"),
            ("Certificate", row.certificate or "none"),
        ],
        "back": ("line_tests", "All proportioning tests"),
    }
    return render(request, "tests/test.html", context)


@require_http_methods(["GET", "POST"])
@may(MAY_TEST)
def add_test(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Record a proportioning test."""
    page = Page(
        "line test",
        "Proportioning test",
        "Record the test",
        _ask,
        lambda _: redirect("line_tests"),
        back=reverse("line_tests"),
    )
    return entry_page(request, here, page, _begun(LineTestForm, request, here))


_DECLARED = "Empty: what was last declared of this line and concentrate stands."


class FoamTestEntryForm(FoamTestForm, EntryForm):
    """A cylinder of finished foam of a line."""

    saves = True
    template_name = "worksheet/fields.html"
    line = Own(FoamLine, _LINES, label="Foam line")
    concentrate = Own(Concentrate, label="Concentrate")
    tested_on = DateField(label="Tested on", past=True)
    declared_expansion = NumberField(label="Declared expansion", required=False, most=1000, help_text=_DECLARED)
    declared_quarter = QuantityField(
        "time", label="Declared quarter-drainage time", required=False, zero=False, help_text=_DECLARED
    )
    report = forms.CharField(label="Report", max_length=120, required=False)
    field_order = (
        "line", "concentrate", "tested_on", "cylinder", "mass", "series", "declared_expansion", "declared_quarter",
        "report",
    )  # fmt: skip


def _ask_foam(form: FoamTestEntryForm, here: Here) -> Ask:
    asked = form.cleaned_data

    def act() -> Sequence[UUID]:
        record_foam_test(
            here.department,
            line=asked["line"],
            concentrate=asked["concentrate"],
            tested_on=asked["tested_on"],
            foam_ml=asked["cylinder"],
            foam_g=asked["mass"] * 1000.0,
            drained=list(asked["series"]),
            declared_expansion=asked["declared_expansion"],
            declared_quarter_min=asked["declared_quarter"],
            report=asked["report"],
            acting=here.acting,
            clock=access.CLOCK,
        )
        return []

    return Ask(act)


@require_GET
@signed_in
def foams(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list of foam tests."""
    context = {"may_test": here.may(MAY_TEST), "add": "foam_test_add", "other": ("line_tests", "Proportioning tests")}
    return list_page(
        request,
        here,
        FoamTestTable,
        foam_tests(here.department),
        template="tests/list.html",
        filter_class=FoamTestFilter,
        context=context,
    )


@require_GET
@signed_in
def foam(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One foam test, with its drainage curve."""
    row = get(FoamTest.objects.select_related("line", "concentrate"), here, pk=pk)
    series = drained_of(row)
    context = {
        "title": f"Foam test of {row.line}",
        "row": row,
        "told": shown_sheet(foam_sheet_of(row), here.units),
        "plots": [drainage_plot(series, row.foam_g / 4)] if series else [],
        "facts": [
            ("Concentrate", row.concentrate),
            ("Tested on", row.tested_on),
            ("Report", row.report or "none"),
        ],
        "back": ("foam_tests", "All foam tests"),
    }
    return render(request, "tests/test.html", context)


@require_http_methods(["GET", "POST"])
@may(MAY_TEST)
def add_foam(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Record a foam test."""
    after = reverse("foam_tests")
    page = Page("foam test", "Foam test", "Record the test", _ask_foam, lambda _: redirect(after), back=after)
    return entry_page(request, here, page, _begun(FoamTestEntryForm, request, here))


urlpatterns = [
    path("line-tests/", tests, name="line_tests"),
    path("line-tests/record/", add_test, name="line_test_add"),
    path("line-tests/<int:pk>/", test, name="line_test"),
    path("foam-tests/", foams, name="foam_tests"),
    path("foam-tests/record/", add_foam, name="foam_test_add"),
    path("foam-tests/<int:pk>/", foam, name="foam_test"),
]
