"""Containers: the list, and one of them with its contents, its marks and its history."""

from __future__ import annotations

from typing import Any, NamedTuple
from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.models import Container, Label, Sample
from readiness.reports.histories import history
from readiness.reports.inventories import last_seen
from readiness.reports.inventory import Inventory, Item, load_inventory
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import Page, entry_page
from readiness.web.forms import Form, MomentField
from readiness.web.samples import SampleForm, sample_ask
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
)

NOBREAK = {"td": {"class": "nobreak"}}


class ContainerTable(Table):
    """A row a container; the boxes choose some for a form. What the page leaves out stands in the workbook."""

    caption = "Containers"
    pick = Column(accessor="code", verbose_name="Choose", orderable=False, exclude_from_export=True)
    code = Column(verbose_name="Label code", linkify=("container", {"pk": A("id")}), attrs=NOBREAK)
    kind = Column()
    concentrate = Column(default="")
    lots = Column(verbose_name="Lots", default="")
    contents_ml = QuantityColumn("volume", "nearest", verbose_name="In it by the book")
    counted_ml = QuantityColumn("volume", "down", verbose_name="Counts")
    capacity_ml = QuantityColumn("volume", "nearest", verbose_name="Holds", visible=False)
    state = Column(verbose_name="State")
    seal = Column(verbose_name="Seal")
    label = DayColumn(verbose_name="Maker's date", default="", visible=False)
    through = DayColumn(verbose_name="Counts through", default="", attrs=NOBREAK)
    place = Column()
    station = Column(default="", visible=False)
    borrowed_from = Column(verbose_name="Borrowed from", default="", visible=False)
    reading_at = MomentColumn(verbose_name="Last read", default="never", visible=False)

    class Meta:
        order_by = "code"

    def render_place(self, record: Item) -> str:
        """Where it is, and whose it is where it is not our own."""
        return f"{record.place} (borrowed from {record.borrowed_from})" if record.borrowed_from else record.place

    def render_pick(self, record: Item) -> SafeString:
        """A box to choose it for a form."""
        return format_html(
            '<input type="checkbox" name="code" value="{}" form="picked" aria-label="choose {}">',
            record.code,
            record.code,
        )


class ContainerFilter(RecordFilter):
    """By label code or lot, kind, concentrate, station, where, state."""

    search = ("code", "lots", "place", "concentrate", "borrowed_from")
    choices = {
        "kind": "Kind",
        "concentrate": "Concentrate",
        "station": "Station",
        "where": "Where",
        "unit": "Unit",
        "state": "State",
    }

    def __init__(self, data: Any, found: Any) -> None:
        super().__init__(data, found)
        self.form.fields["before"] = forms.DateField(
            label="Runs out by", required=False, widget=forms.DateInput({"type": "date"})
        )

    @property
    def qs(self) -> list[Any]:
        """Those that match, and run out by the day where one is given."""
        found = super().qs
        before = self.form.cleaned_data.get("before") if self.form.is_valid() else None
        return [item for item in found if before is None or (item.through is not None and item.through <= before)]


PICKED = (  # forms that take several label codes: permission, url, word
    ("move", "move", "Move those chosen"),
    ("move", "send_transfer", "Send"),
    ("move", "lend", "Lend"),
    ("dispose", "set_aside", "Set aside for take-back"),
    ("quarantine", "quarantine", "Quarantine"),
    ("quarantine", "release", "Release"),
    ("open", "open", "Open"),
)


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = load_inventory(here.department, here.day).items
    picked = [(reverse(url), word) for action, url, word in PICKED if here.may(action)]
    return list_page(
        request,
        here,
        ContainerTable,
        found,
        template="containers/list.html",
        filter_class=ContainerFilter,
        context={"picked": picked, "may_receive": here.may("receive")},
    )


class AsOfForm(Form):
    """A past moment: as it was then, and as far as was known by then."""

    as_of = MomentField(label="As it was at", required=False)
    known_at = MomentField(
        label="As far as recorded by", required=False, help_text="Leaves out what was entered or corrected later."
    )


class Tool(NamedTuple):
    """A form for this container: its word and address."""

    word: str
    address: str


TOOLS = (  # permission, url, the field that takes its code, word
    ("pour", "refill", "source", "Pour from it"),  # guarded
    ("pour", "refill", "target", "Pour into it"),
    ("use", "use", "code", "Use from it"),
    ("move", "move", "code", "Move"),
    ("move", "send_transfer", "code", "Send"),
    ("move", "lend", "code", "Lend"),
    ("dispose", "set_aside", "code", "Set aside for take-back"),
    ("open", "open", "code", "Open"),
    ("use", "empty", "code", "Empty"),
    ("flush", "flush", "code", "Flushed"),
    ("inspect", "inspect", "code", "Inspected"),
    ("quarantine", "quarantine", "code", "Quarantine"),
    ("quarantine", "release", "code", "Release"),
    ("mark mixed", "mark_mixed", "code", "Mark mixed"),
    ("mark mixed", "mark_diluted", "code", "Mark diluted"),
)


def tools_for(here: Here, row: Container) -> list[Tool]:
    """The forms that make sense for it now, by the role."""
    place = row.place
    away = place is not None and bool(place.transfer_id or place.partner_id or place.pallet_id)
    senseless = {
        **dict.fromkeys(("pour", "move", "send_transfer", "lend", "set_aside"), away or bool(row.retired_on)),
        "open": not row.sealed,
        "use": away or not row.contents_ml,
        "empty": away or not row.contents_ml,
        "flush": bool(row.contents_ml) or row.flushed,
        "inspect": not row.flushed,
        "quarantine": row.quarantined,
        "release": not row.quarantined,
        "mark_mixed": row.mixed,
        "mark_diluted": row.diluted,
    }
    found = [
        Tool(word, f"{reverse(url)}?{urlencode({field: row.code})}")
        for action, url, field, word in TOOLS
        if here.may(action) and not senseless.get(url, False)
    ]
    if here.may("sample"):
        found.append(Tool("Record a sample", reverse("container_sample", args=[row.pk])))
    if here.may("raise a deficiency"):
        found.append(Tool("Raise a deficiency", reverse("raise_deficiency", query={"container": row.pk})))
    return found


@require_GET
@signed_in
def container(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One container, now or as of a past moment."""
    row = get(Container.objects.select_related("concentrate", "place", "department", "partner"), here, pk=pk)
    form = AsOfForm(request.GET if {"as_of", "known_at"} & request.GET.keys() else None, here=here)
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    past = history(row, as_of=asked.get("as_of"), known_at=asked.get("known_at"))
    inventory = load_inventory(here.department, here.day, rows(Container, here).filter(pk=row.pk).values("pk"))
    samples = rows(Sample, here).filter(container=row)
    return render(
        request,
        "containers/container.html",
        {
            "here": here,
            "row": row,
            "item": _item(inventory, row.pk),
            "history": past,
            "is_past": bool(asked.get("as_of") or asked.get("known_at")),
            "form": form,
            "tools": tools_for(here, row),
            "samples": samples,
            "last_seen": last_seen(row),
            "may_correct": here.may("correct"),
            "may_sample": here.may("sample"),
            "label": rows(Label, here).filter(container=row, withdrawn_at__isnull=True).first(),
            "may_label": here.may("label"),
        },
    )


def _item(inventory: Inventory, pk: int) -> Item | None:
    return next((item for item in inventory.items if item.id == pk), None)


@require_http_methods(["GET", "POST"])
@may("sample")
def sample(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A sample of what is in it."""
    row = get(Container.objects.select_related("place", "department"), here, pk=pk)
    page = Page(
        "sample",
        f"Sample of {row}",
        "Record the sample",
        sample_ask(container=row),
        lambda _: redirect("container", pk=row.pk),
        back=reverse("container", args=[row.pk]),
    )
    return entry_page(request, here, page, SampleForm(request.POST or None, here=here))


urlpatterns = [
    path("containers/", every, name="containers"),
    path("containers/<int:pk>/", container, name="container"),
    path("containers/<int:pk>/sample/", sample, name="container_sample"),
]
