"""Labels: what has one, sheets to print, what a scanned or typed code leads to, and taking one out of use."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.contrib import messages
from django.db.models import Model
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.labels import MOST, print_labels, withdraw_label
from readiness.engineering.label_codes import QR_PATH, shown_code, spoken_code
from readiness.engineering.label_sheets import PRESETS, SheetLayout
from readiness.models import Assignment, Container, FoamLine, Label, LabelSheet, Unit, Vehicle
from readiness.models.organisation import UnitSystem
from readiness.reports.labels import NEVER, Labeled, Mistyped, label_named, labeled_things, labels_of, tag_of
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.forms import Form
from readiness.web.label_sheets import draw_sheets
from readiness.web.refills import scanned_for_refill
from readiness.web.tables import Column, MomentColumn, RecordFilter, Table, list_page

_MODELS: Final[dict[str, type[Model]]] = {"container": Container, "line": FoamLine, "vehicle": Vehicle, "unit": Unit}


# -- what has one ------------------------------------------------------------------------------------------------------


class LabeledTable(Table):
    """Everything that can have a label; the boxes choose some for a sheet."""

    caption = "Labels"
    pick = Column(accessor="key", verbose_name="Choose", orderable=False, exclude_from_export=True)
    name = Column(verbose_name="What it is on")
    kind = Column()
    where = Column(verbose_name="Where")
    station = Column(default="")
    code = Column(verbose_name="Code", default=NEVER)
    printed_at = MomentColumn(verbose_name="Last printed", default="never")

    def render_pick(self, record: Labeled) -> SafeString:
        """A box."""
        said = f"choose {record.name}, {record.where}"
        return format_html(
            '<input type="checkbox" name="thing" value="{}" form="sheet" aria-label="{}">', record.key, said
        )

    def render_code(self, record: Labeled) -> SafeString:
        """The code, which leads to the label's page."""
        page = reverse("label", args=[record.label_id])
        return format_html('<a class="code" href="{}">{}</a>', page, shown_code(record.code))

    def value_code(self, record: Labeled) -> str:
        """As it stands on the label."""
        return shown_code(record.code) if record.code else ""


class LabeledFilter(RecordFilter):
    """By name or place, kind, station, and whether there is one."""

    search = ("name", "where", "code")
    choices = {"kind": "Kind", "station": "Station", "state": "Label"}


class SheetForm(Form):
    """What is printed on."""

    saves = False
    sheet = forms.ChoiceField(label="Sheet")
    start = forms.IntegerField(
        label="First free label",
        initial=1,
        min_value=1,
        help_text="Of a sheet that was begun: counted row by row.",
        error_messages={
            "invalid": "Write the number of the first free label: 1 for a new sheet.",
            "min_value": "Labels are counted from 1.",
        },
    )
    every = forms.BooleanField(label="All that the list shows, on every page of it", required=False)

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.layouts = layouts(here)
        sheet = self.fields["sheet"]
        assert isinstance(sheet, forms.ChoiceField)
        sheet.choices = [(key, layout.name) for key, layout in self.layouts.items()]

    def clean(self) -> dict[str, Any]:
        """A place that the sheet has."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        layout = self.layouts.get(asked.get("sheet", ""))
        if layout and asked.get("start", 1) > layout.labels:
            self.refuse(f"{asked['start']} was read: this sheet has {layout.labels} labels.", "start")
        return asked


def layouts(here: Here) -> dict[str, SheetLayout]:
    """The sheets on offer: the department's own, then the common ones, those on its paper first."""
    own = rows(LabelSheet, here).filter(retired_on__isnull=True)
    found = {f"own-{row.pk}": SheetLayout(*(getattr(row, name) for name in SheetLayout._fields)) for row in own}
    paper = "letter" if here.department.units == UnitSystem.US else "a4"
    common = sorted(PRESETS.items(), key=lambda each: each[1].paper != paper)
    return found | dict(common)


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list, and for those who may the form of a sheet."""
    form = SheetForm(here=here) if here.may("label") else None
    narrowed = [(key, value) for key, value in request.GET.items() if key in ("q", "kind", "station", "state")]
    context = {"sheet_form": form, "narrowed": narrowed, "address": _address(request)}
    found = labeled_things(here.department)
    return list_page(
        request, here, LabeledTable, found, template="labels/list.html", filter_class=LabeledFilter, context=context
    )


def _address(request: HttpRequest) -> str:
    """What stands before the code in a QR code. Capitals make the symbol smaller; a host name has no case."""
    return request.build_absolute_uri("/").rstrip("/").upper() + QR_PATH


# -- sheets ------------------------------------------------------------------------------------------------------------


@require_POST
@may("label")
def sheet(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The sheets to print. Sent again they are the same: what has a code keeps it."""
    form = SheetForm(request.POST, here=here)
    if form.is_valid():
        try:
            labels = print_labels(
                here.department, things=_chosen(request, here, form), acting=here.acting, clock=access.CLOCK
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            return _sheets(request, form, labels_of(here.department).in_bulk([label.pk for label in labels]), labels)
    return render(request, "labels/wrong.html", {"form": form})


def _chosen(request: HttpRequest, here: Here, form: SheetForm) -> list[Any]:
    """The things that were ticked, or all that the list showed."""
    listed = labeled_things(here.department)
    if form.cleaned_data["every"]:
        keys = [each.key for each in LabeledFilter(request.POST, listed).qs]
    else:
        ticked = set(request.POST.getlist("thing"))
        keys = [each.key for each in listed if each.key in ticked]
    if len(keys) > MOST:
        raise Refused(f"{len(keys)} things were chosen: at most {MOST} labels are printed at once.")
    return _things(here, keys)


def _things(here: Here, keys: list[str]) -> list[Any]:
    """The records by their keys, in that order."""
    found: dict[str, Model] = {}
    for kind, model in _MODELS.items():
        ids = [int(key.rpartition("-")[2]) for key in keys if key.startswith(f"{kind}-")]
        found.update({f"{kind}-{pk}": row for pk, row in rows(model, here).in_bulk(ids).items()})
    return [found[key] for key in keys]


def _sheets(request: HttpRequest, form: SheetForm, known: dict[int, Label], labels: list[Label]) -> HttpResponseBase:
    asked = form.cleaned_data
    layout, address = form.layouts[asked["sheet"]], _address(request)
    drawn = draw_sheets(layout, [tag_of(known[label.pk]) for label in labels], asked["start"], address)
    context = {"layout": layout, "sheets": drawn, "labels": len(labels), "address": address}
    return render(request, "labels/sheet.html", context)


# -- what a code leads to ----------------------------------------------------------------------------------------------


def page_of(label: Label, here: Here) -> str:
    """The page of the thing that a label is on; a vehicle leads to the unit that runs on it."""
    if label.container_id:
        return reverse("container", args=[label.container_id])
    if label.line_id:
        return reverse("reference_foam_line", args=[label.line_id])
    if label.unit_id:
        return reverse("crew_unit", args=[label.unit_id])
    running = rows(Assignment, here).filter(vehicle=label.vehicle_id, to_at__isnull=True).first()
    if running is None:
        return reverse("reference_vehicle", args=[label.vehicle_id])
    return reverse("crew_unit", args=[running.unit_id])


def led_by(here: Here, text: str) -> str | Mistyped | None:
    """Where a typed or scanned code leads; why nowhere; None for words that are no such code."""
    found = label_named(here.department, text)
    return _leads(found, here) if isinstance(found, Label) else found


def _leads(label: Label, here: Here) -> str:
    """To the thing; a withdrawn label says what it was on."""
    return reverse("label", args=[label.pk]) if label.withdrawn_at else page_of(label, here)


@require_GET
@signed_in
def scanned(request: HttpRequest, here: Here, code: str) -> HttpResponseBase:
    """A phone's camera read the QR code of a label."""
    found = label_named(here.department, code)
    if isinstance(found, Label):
        waiting = None if found.withdrawn_at else scanned_for_refill(request, here, found)
        return redirect(waiting or _leads(found, here))
    said = found or Mistyped(f"“{code[:40]}” was read, which is no code of a label.", ())
    return render(request, "labels/find.html", {"said": said, "asked": code[:40]}, status=404)


@require_GET
@signed_in
def find(request: HttpRequest, here: Here) -> HttpResponseBase:
    """A code typed from a label, ours or the container's own; anything else is searched for."""
    asked = " ".join(request.GET.get("code", "").split())[:80]
    if asked and not rows(Container, here).filter(code__iexact=asked, retired_on__isnull=True).exists():
        found = led_by(here, asked)
        if isinstance(found, str):
            return redirect(found)
        if found is not None:
            return render(request, "labels/find.html", {"said": found, "asked": asked})
    if asked:
        return redirect(reverse("search", query={"q": asked}))
    return render(request, "labels/find.html", {"asked": ""})


# -- one label ---------------------------------------------------------------------------------------------------------


class WithdrawForm(Form):
    """Why."""

    reason = forms.CharField(
        label="Why it is withdrawn",
        max_length=200,
        help_text="As: stuck on the wrong pail. What it was on gets a new code when it is printed again.",
        error_messages={"required": "Nothing was read: say why the label is withdrawn."},
    )


@require_GET
@signed_in
def label(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A label: its code, how it is spoken, what it is on."""
    return _page(request, here, get(labels_of(here.department), here, pk=pk), WithdrawForm(here=here))


@require_POST
@may("label")
def withdraw(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Take it out of use."""
    row = get(labels_of(here.department), here, pk=pk)
    form = WithdrawForm(request.POST, here=here)
    if form.is_valid():
        try:
            withdraw_label(here.department, label=row, **form.cleaned_data, acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"The label {shown_code(row.code)} is withdrawn.")
            return redirect("labels")
    return _page(request, here, row, form)


def _page(request: HttpRequest, here: Here, row: Label, form: WithdrawForm) -> HttpResponseBase:
    context = {
        "row": row,
        "shown": shown_code(row.code),
        "tag": tag_of(row),
        "spoken": spoken_code(row.code),
        "page": page_of(row, here),
        "key": next(f"{kind}-{getattr(row, f'{kind}_id')}" for kind in _MODELS if getattr(row, f"{kind}_id")),
        "form": form,
        "sheet_form": SheetForm(here=here),
        "may_label": here.may("label"),
    }
    return render(request, "labels/label.html", context)


urlpatterns = [
    path("labels/", every, name="labels"),
    path("labels/sheet/", sheet, name="label_sheet"),
    path("labels/<int:pk>/", label, name="label"),
    path("labels/<int:pk>/withdraw/", withdraw, name="withdraw_label"),
    path("find/", find, name="find"),
    path(f"{QR_PATH[1:]}<str:code>", scanned, name="scanned"),
]
