"""Transfers: send, see what is on the way, receive, recall, and write off what is lost."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from functools import partial
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions import transfers as acts
from readiness.actions.once import Done
from readiness.models import Container, Transfer
from readiness.reports.transfers import TransferRow, TransferTold, transfer_told, transfers
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import Ask, BookForm, CodesField, OwnerField, Page, entry_page
from readiness.web.forms import DateField, QuantityField
from readiness.web.marks import status_mark
from readiness.web.movements import asked_before
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    NumberColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
)

SOON = timedelta(days=1)  # a transfer is expected the day after; common practice, no source


class TransferTable(Table):
    """A row a transfer, what is overdue first."""

    caption = "Transfers"
    id = Column(verbose_name="Transfer", linkify=("transfer", {"pk": A("id")}), attrs={"td": {"class": "nobreak"}})
    state = Column(attrs={"td": {"class": "nobreak"}})
    destination = Column(verbose_name="To")
    origin = Column(verbose_name="From")
    sent = NumberColumn(verbose_name="Containers sent")
    on_the_way = NumberColumn(verbose_name="Still in transit")
    on_the_way_ml = QuantityColumn("volume", "nearest", containers="on_the_way", verbose_name="In transit")
    sent_at = MomentColumn(verbose_name="Sent")
    sent_by = Column(verbose_name="By")
    expected_on = DayColumn(verbose_name="Expected", attrs={"td": {"class": "nobreak"}})
    differences = NumberColumn(verbose_name="Differences")

    def render_state(self, record: TransferRow) -> SafeString:
        """A shape and a word; overdue with its days."""
        return transfer_mark(record)

    def value_state(self, record: TransferRow) -> str:
        """The same word in the workbook."""
        return record.state


def transfer_mark(row: TransferRow) -> SafeString:
    """A transfer's state as shape and word."""
    days = "1 day" if row.days_over == 1 else f"{row.days_over} days"
    key = {"overdue": "not_ready", "in transit": "unverified", "settled": "ready", "corrected": "no_foam_duty"}
    return status_mark(key[row.state], f"overdue by {days}" if row.days_over else row.state)


class TransferFilter(RecordFilter):
    """By state, from and to."""

    search = ("id", "destination", "origin", "sent_by", "note")
    choices = {"state": "State", "destination": "To"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = transfers(here.department, here.today)
    context = {"may_send": here.may("move")}
    return list_page(
        request,
        here,
        TransferTable,
        found,
        template="transfers/list.html",
        filter_class=TransferFilter,
        context=context,
    )


@require_GET
@signed_in
def transfer(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One transfer: what was sent, what came, what did not, and what was said of it. Prints as its slip."""
    told = transfer_told(get(Transfer.objects.select_related("department"), here, pk=pk), here.today)
    mine = told.row.sent_by_id == here.user.pk
    context = {
        "here": here,
        "told": told,
        "mark": transfer_mark(told.row),
        "mine": mine,
        "may_receive": told.row.is_open and here.may("receive transfer") and not mine,
        "may_recall": told.row.is_open and here.may("move"),
        "may_lose": told.row.is_open and here.may("correct"),
    }
    return render(request, "transfers/transfer.html", context)


# -- forms -------------------------------------------------------------------------------------------------------------


class SendForm(BookForm):
    """Containers leave for another place."""

    codes = CodesField(label="Label codes")
    owner = OwnerField(label="Where they go")
    compartment = forms.CharField(max_length=60, required=False, help_text="As store room, L3 or tank A.")
    expected_on = DateField(label="Expected there by", help_text="After this day it stands out as overdue.")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        kwargs["initial"] = {"expected_on": here.today + SOON, **(kwargs.get("initial") or {})}
        super().__init__(*args, here=here, **kwargs)


class ReceiveForm(BookForm):
    """A box for each container in transit, ticked when it came, and how much was in it where that is less."""

    everything = forms.BooleanField(label="All of it came", required=False)
    unlisted = CodesField(
        label="Also came, though not on the list",
        required=False,
        help_text="Label codes. They are moved here from where the book has them.",
    )
    missing = forms.CharField(
        label="What is known of those that did not come",
        required=False,
        max_length=140,
        widget=forms.Textarea({"rows": 2}),
        help_text="They stay in transit until they come, are brought back, or are written off.",
    )

    def __init__(self, *args: Any, here: Here, told: TransferTold, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.told = told
        for each in told.on_the_way:
            field = QuantityField("volume", label=f"In {each.code}", required=False, most=each.contents_ml)
            field.settle(here)
            self.fields[f"came_{each.container_id}"] = forms.BooleanField(
                label=f"{each.code} came: {each.kind}, {each.concentrate}", required=False
            )
            self.fields[f"less_{each.container_id}"] = field
        boxes, less = ([f"{name}_{each.container_id}" for each in told.on_the_way] for name in ("came", "less"))
        self.folds = (
            ("Some came with less in them", tuple(less)),
            ("Some came that are not on the list", ("unlisted",)),
        )
        self.order_fields(["everything", *boxes, "missing", *less, "unlisted", *self.last])
        if not here.may("move"):
            del self.fields["unlisted"]

    def clean(self) -> dict[str, Any]:
        """How much was in what did not come is nothing that anybody saw."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        if asked.get("everything"):
            asked |= {f"came_{each.container_id}": True for each in self.told.on_the_way}
        for each in self.told.on_the_way:
            if asked.get(f"less_{each.container_id}") is not None and not asked.get(f"came_{each.container_id}"):
                self.add_error(f"less_{each.container_id}", f"A volume was read for {each.code}, and it is not ticked.")
        if not any(asked.get(f"came_{each.container_id}") for each in self.told.on_the_way):
            raise ValidationError("Nothing was ticked: tick each container that came.")
        return asked

    def receipt(self, here: Here) -> acts.Receipt:
        """What came."""
        asked = self.cleaned_data
        ids = [each.container_id for each in self.told.on_the_way if asked[f"came_{each.container_id}"]]
        found = rows(Container, here).in_bulk(ids)
        came = tuple(acts.Came(found[pk], asked[f"less_{pk}"]) for pk in ids)
        return acts.Receipt(came, tuple(asked.get("unlisted") or ()), asked["missing"])


class WhyForm(BookForm):
    """The reason, without which it is not entered."""

    reason = forms.CharField(
        label="Why",
        max_length=140,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"required": "Nothing was read: this entry says why."},
    )


class LoseForm(WhyForm):
    """Which of it is lost."""

    codes = CodesField(label="Label codes of what is lost")


def _send(form: SendForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    return Ask(
        lambda: [
            acts.send(
                entry,
                containers=asked["codes"],
                owner=asked["owner"],
                compartment=asked["compartment"],
                expected_on=asked["expected_on"],
            ).movement_id
        ]
    )


def _receive(row: Transfer, form: ReceiveForm, here: Here) -> Ask:
    entry, receipt = form.entry(here), form.receipt(here)
    return Ask(lambda: [acts.receive(entry, transfer=row, receipt=receipt).movement_id])


def _recall(row: Transfer, form: WhyForm, here: Here) -> Ask:
    entry = form.entry(here)
    return Ask(lambda: [acts.recall(entry, transfer=row).movement_id])


def _lose(row: Transfer, form: LoseForm, here: Here) -> Ask:
    entry, lost = form.entry(here), form.cleaned_data["codes"]
    return Ask(lambda: [acts.lose(entry, transfer=row, containers=lost).movement_id])


def _sent(done: Done) -> HttpResponseBase:
    """On to the transfer that was made."""
    made = Transfer.objects.filter(places__relocations_in__movement=done.movement_id).first()
    return redirect("transfer", pk=made.pk) if made else redirect("transfers")


@require_http_methods(["GET", "POST"])
@may("move")
def send(request: HttpRequest, here: Here) -> HttpResponseBase:
    """First step."""
    page = Page(
        "send transfer",
        "Send a transfer",
        "Enter it as sent",
        _send,
        _sent,
        "What is sent counts on no unit until somebody at the other end enters what came. Carried and put down in one "
        "hand, it is a move and no transfer.",
        reverse("transfers"),
    )
    return entry_page(
        request, here, page, SendForm(request.POST or None, here=here, initial=asked_before(request, SendForm))
    )


def _step(
    action: str, kind: str, title: str, button: str, form_class: type[BookForm], ask: Callable[..., Ask], intro: str
) -> Callable[..., HttpResponseBase]:
    """A page of the second step, whatever it is."""

    @require_http_methods(["GET", "POST"])
    @may(action)
    def view(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
        row = get(Transfer.objects.select_related("department"), here, pk=pk)
        told = transfer_told(row, here.today)
        page = Page(
            kind,
            f"{title}: transfer {row.pk} to {told.row.destination}",
            button,
            partial(ask, row),
            lambda _: redirect("transfer", pk=row.pk),
            intro,
            reverse("transfer", args=[row.pk]),
        )
        more = {"told": told} if form_class is ReceiveForm else {}
        form = form_class(request.POST or None, here=here, initial=asked_before(request, form_class), **more)
        return entry_page(request, here, page, form)

    return view


receive = _step(
    "receive transfer",
    "receive transfer",
    "Receive",
    "Enter what came",
    ReceiveForm,
    _receive,
    "Tick what you see. What did not come stays in transit, with what you say of it.",
)
recall = _step(
    "move",
    "recall transfer",
    "Bring back",
    "Enter it as brought back",
    WhyForm,
    _recall,
    "Everything of it that is still in transit goes back to where it was sent from.",
)
lose = _step(
    "correct",
    "lose transfer",
    "Write off",
    "Write it off",
    LoseForm,
    _lose,
    "What was in it goes to the inventory difference, and it leaves the book. Found again, correct that entry.",
)


def send_address(codes: list[str]) -> str:
    """The form with these label codes."""
    return f"{reverse('send_transfer')}?{urlencode({'code': codes}, doseq=True)}"


urlpatterns = [
    path("moving/transfers/", every, name="transfers"),
    path("moving/transfers/send/", send, name="send_transfer"),
    path("moving/transfers/<int:pk>/", transfer, name="transfer"),
    path("moving/transfers/<int:pk>/receive/", receive, name="receive_transfer"),
    path("moving/transfers/<int:pk>/bring-back/", recall, name="recall_transfer"),
    path("moving/transfers/<int:pk>/write-off/", lose, name="lose_transfer"),
]
