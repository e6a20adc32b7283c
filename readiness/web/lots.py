"""Lots: the list, one of them with what it reached, its samples and its recall."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions.lots import recall as do_recall
from readiness.actions.lots import withdraw_recall as do_withdraw
from readiness.models import Holding, Lot, Sample
from readiness.reports.inventory import load_inventory
from readiness.reports.lots import LotRow, lots
from readiness.reports.recalls import reach
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import Ask, Page, entry_page
from readiness.web.forms import DateField, EntryForm
from readiness.web.samples import SampleForm, sample_ask
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn, RecordFilter, Table, list_page

NOBREAK = {"td": {"class": "nobreak"}}


class LotTable(Table):
    """A row a lot."""

    caption = "Lots"
    batch = Column(verbose_name="Lot", linkify=("lot", {"pk": A("id")}), attrs=NOBREAK)
    concentrate = Column()
    made = DayColumn(default="not known", attrs=NOBREAK)
    label = DayColumn(verbose_name="Maker's date", default="not known", attrs=NOBREAK)
    sampled_on = DayColumn(verbose_name="Last sample", default="never", attrs=NOBREAK)
    sample = Column(verbose_name="Its answer", default="")
    left_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Left")
    containers = NumberColumn()
    places = Column(verbose_name="Where", default="nowhere any more")
    recalled_on = DayColumn(verbose_name="Recalled", default="")

    class Meta:
        order_by = ("concentrate", "batch")


class LotFilter(RecordFilter):
    """By number and concentrate."""

    search = ("batch", "concentrate", "places", "recall_reference")
    choices = {"concentrate": "Concentrate", "sample": "Last sample"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = lots(here.department, load_inventory(here.department, here.day))
    return list_page(request, here, LotTable, found, template="lots/list.html", filter_class=LotFilter)


@require_GET
@signed_in
def lot(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One lot: its dates, how much is left, every container it reached."""
    row = get(Lot.objects.select_related("concentrate"), here, pk=pk)
    holding = Holding.objects.filter(lot=row).values("container")
    found = lots(here.department, load_inventory(here.department, here.day, holding), row)
    summary: LotRow = found[0]
    found_in = reach(row)
    context = {
        "here": here,
        "row": row,
        "lot": summary,
        "reach": found_in,
        "held": found_in.held,
        "samples": rows(Sample, here).filter(lot=row),
        "may_sample": here.may("sample"),
        "may_recall": here.may("recall"),
    }
    return render(request, "lots/lot.html", context)


class RecallForm(EntryForm):
    """The maker's notice, and since when."""

    reference = forms.CharField(label="Maker's notice", max_length=120, help_text="Its number or date.")
    recalled_on = DateField(label="Recalled on", past=True)


def _recall(row: Lot, form: RecallForm, here: Here) -> Ask:
    asked = form.cleaned_data

    def act() -> Sequence[UUID]:
        do_recall(
            here.department,
            lot=row,
            recalled_on=asked["recalled_on"],
            reference=asked["reference"],
            acting=here.acting,
            clock=access.CLOCK,
        )
        return []

    return Ask(act, [each.container_id for each in reach(row).held])


@require_http_methods(["GET", "POST"])
@may("recall")
def recall(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Take a lot out of the count wherever it is."""
    row = get(Lot.objects.select_related("concentrate"), here, pk=pk)
    page = Page(
        "recall",
        f"Recall {row}",
        "Recall the lot",
        partial(_recall, row),
        lambda _: redirect("lot", pk=row.pk),
        "Every container that holds any of it is out of the count from then on.",
        reverse("lot", args=[row.pk]),
    )
    form = RecallForm(request.POST or None, here=here)
    return entry_page(request, here, page, form, below="lots/reached.html", reach=reach(row))


class WithdrawForm(EntryForm):
    """Why the recall does not stand."""

    reason = forms.CharField(
        label="Why it is withdrawn",
        max_length=400,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"required": "Nothing was read: a recall that is withdrawn says why."},
    )


def _withdraw(row: Lot, form: WithdrawForm, here: Here) -> Ask:
    def act() -> Sequence[UUID]:
        reason = form.cleaned_data["reason"]
        do_withdraw(here.department, lot=row, reason=reason, acting=here.acting, clock=access.CLOCK)
        return []

    return Ask(act, [each.container_id for each in reach(row).held])


@require_http_methods(["GET", "POST"])
@may("recall")
def withdraw(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The maker took it back, or it was another lot."""
    row = get(Lot.objects.select_related("concentrate"), here, pk=pk)
    page = Page(
        "withdraw recall",
        f"Withdraw the recall of {row}",
        "Withdraw the recall",
        partial(_withdraw, row),
        lambda _: redirect("lot", pk=row.pk),
        "It counts again wherever nothing else stands against it. What was quarantined stays so until it is released.",
        reverse("lot", args=[row.pk]),
    )
    form = WithdrawForm(request.POST or None, here=here)
    return entry_page(request, here, page, form, below="lots/reached.html", reach=reach(row))


@require_GET
@signed_in
def worklist(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """What is to be pulled, on a sheet; the book itself ticks off what was."""
    row = get(Lot.objects.select_related("concentrate", "department"), here, pk=pk)
    context = {"here": here, "row": row, "reach": reach(row), "may_quarantine": here.may("quarantine")}
    return render(request, "lots/worklist.html", context)


@require_http_methods(["GET", "POST"])
@may("sample")
def sample(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A sample of the lot."""
    row = get(Lot.objects.select_related("concentrate"), here, pk=pk)
    page = Page(
        "sample",
        f"Sample of {row}",
        "Record the sample",
        sample_ask(lot=row),
        lambda _: redirect("lot", pk=row.pk),
        back=reverse("lot", args=[row.pk]),
    )
    form: Any = SampleForm(request.POST or None, here=here)
    return entry_page(request, here, page, form)


urlpatterns = [
    path("lots/", every, name="lots"),
    path("lots/<int:pk>/", lot, name="lot"),
    path("lots/<int:pk>/recall/", recall, name="recall"),
    path("lots/<int:pk>/recall/withdraw/", withdraw, name="withdraw_recall"),
    path("lots/<int:pk>/to-pull/", worklist, name="recall_worklist"),
    path("lots/<int:pk>/sample/", sample, name="lot_sample"),
]
