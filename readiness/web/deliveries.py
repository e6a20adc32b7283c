"""Deliveries: the form by which one is received, the list, and the receiving slip."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions import deliveries as acts
from readiness.actions.once import Done
from readiness.engineering.prices import PriceError, price_text, read_price
from readiness.models import Concentrate, Delivery, Lot
from readiness.models.containers import ContainerKind
from readiness.models.deliveries import PricePer
from readiness.reports.deliveries import DeliveryRow, deliveries, slip
from readiness.reports.label_codes import next_codes
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import MOST_CODES, Ask, BookForm, CodesField, OwnerField, Page, entry_page, read_codes
from readiness.web.forms import Form, GoodThroughField, QuantityField
from readiness.web.movements import asked_before, department_rows
from readiness.web.tables import Column, MomentColumn, NumberColumn, QuantityColumn, RecordFilter, Table, list_page

PER: Final = {PricePer.CONTAINER: "a container", PricePer.GALLON: "a US gallon", PricePer.LITER: "a liter"}


class PriceField(forms.CharField):
    """A price as people type it: gives hundredths."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "size": 10}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        """Hundredths, None where nothing was written, or a sentence."""
        if not str(value or "").strip():
            return None
        try:
            return read_price(str(value))
        except PriceError as error:
            raise ValidationError(str(error)) from error


class ArrivalForm(BookForm):
    """Several containers of one lot come from outside: what every such form asks."""

    codes = CodesField(
        new=True,
        label="Label codes of what came",
        help_text="One after the other, or a run of them: P-0101 to P-0109. Those in the book already are filled.",
    )
    each = QuantityField("volume", label="In each", zero=False)
    kind = forms.ChoiceField(
        label="Kind of container",
        choices=[(kind, kind) for kind in ContainerKind.values],
        initial=ContainerKind.PAIL.value,
    )
    capacity = QuantityField(
        "volume", label="Each holds when full", required=False, zero=False, help_text="Empty: as much as came in each."
    )
    sealed = forms.BooleanField(label="Sealed by the maker", required=False, initial=True)
    lot = forms.ModelChoiceField(
        Lot.objects.none(), required=False, empty_label="a new lot, entered below", label="Lot in the book"
    )
    concentrate = forms.ModelChoiceField(
        Concentrate.objects.none(), required=False, empty_label="choose", label="New lot: concentrate"
    )
    batch = forms.CharField(label="New lot: number", max_length=60, required=False)
    label_date = GoodThroughField(label="New lot: maker's date", required=False)
    owner = OwnerField(
        label="Where it goes",
        required=False,
        help_text="Empty: containers that are in the book already are filled where they stand.",
    )
    compartment = forms.CharField(max_length=60, required=False, help_text="As store room, L3 or tank A.")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        department_rows(self.fields["lot"], rows(Lot, here).filter(recalled_on=None).select_related("concentrate"))
        department_rows(self.fields["concentrate"], rows(Concentrate, here))

    def clean(self) -> dict[str, Any]:
        """Either a lot of the book or a new one, whole."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        new = {"concentrate": asked.get("concentrate"), "batch": asked.get("batch")}
        if asked.get("lot") and any(new.values()):
            raise ValidationError("A lot of the book and a new lot were read: only one of them belongs here.")
        if not asked.get("lot"):
            for name, value in new.items():
                if not value and name not in self.errors:
                    self.add_error(name, "Nothing was read: choose a lot of the book, or say this of the new lot.")
        return asked

    def delivery(self) -> acts.Delivery:
        """What came."""
        asked = self.cleaned_data
        new = acts.NewLot(
            asked["concentrate"], " ".join(asked["batch"].split()), asked["label_date"], asked.get("made")
        )
        return acts.Delivery(
            codes=tuple(asked["codes"]),
            each_ml=asked["each"],
            lot=asked["lot"] or new,
            kind=asked["kind"],
            capacity_ml=asked["capacity"] or asked["each"],
            sealed=asked["sealed"],
            owner=asked["owner"],
            compartment=asked["compartment"],
            damaged=tuple(asked.get("damaged") or ()),
        )


class ReceiveForm(ArrivalForm):
    """A delivery from a supplier, with what its papers say."""

    made = GoodThroughField(label="New lot: made", required=False, help_text="To the day, month or year.")
    order_reference = forms.CharField(label="Order reference", max_length=60, required=False)
    supplier = forms.CharField(max_length=80, required=False)
    certificate = forms.CharField(label="Certificate of the lot", max_length=120, required=False)
    ordered = forms.IntegerField(
        label="Containers ordered",
        required=False,
        min_value=1,
        max_value=10_000,
        help_text="What did not come of them is shown as short.",
    )
    turned_away = forms.IntegerField(
        label="Turned away at the door",
        required=False,
        min_value=0,
        max_value=10_000,
        help_text="Containers that came and were not taken.",
    )
    damaged = CodesField(
        new=True,
        label="Taken in damaged (label codes)",
        required=False,
        help_text="Of the codes above. They are quarantined at once, with the remark as the reason.",
    )
    price = PriceField(label="Price", required=False, help_text="As on the paper: 118.50.")
    price_per = forms.ChoiceField(label="It is the price of", required=False, choices=[("", "choose"), *PER.items()])
    currency = forms.CharField(max_length=3, required=False, initial="USD", help_text="Three letters.")
    last = (
        *("order_reference", "supplier", "certificate", "ordered", "turned_away", "damaged"),
        *("price", "price_per", "currency", "happened_at", "reason"),
    )
    folds = (
        ("Order, supplier and certificate", ("order_reference", "supplier", "certificate")),
        ("Short, turned away or damaged", ("ordered", "turned_away", "damaged")),
        ("Price", ("price", "price_per", "currency")),
    )

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        before = [name for name in self.fields if name not in (*self.last, "made", "owner", "compartment")]
        self.order_fields([*before, "made", "owner", "compartment", *self.last])
        self.fields["reason"].label = "Remark or delivery note"

    def clean_currency(self) -> str:
        """Three capital letters."""
        read = str(self.cleaned_data["currency"]).strip().upper()
        if read and not (len(read) == 3 and read.isascii() and read.isalpha()):
            raise ValidationError(f"“{read}” was read: a currency has three letters, as USD or EUR.")
        return read

    def clean(self) -> dict[str, Any]:
        """A price says of what, and in which currency; what was damaged needs a word."""
        asked = super().clean()
        if asked.get("price") is not None:
            for name in ("price_per", "currency"):
                if not asked.get(name) and name not in self.errors:
                    self.add_error(name, "Nothing was read: a price says what it is for and in which currency.")
        if asked.get("damaged") and not asked.get("reason"):
            self.add_error("reason", "Nothing was read: say what is damaged.")
        return asked

    def paper(self) -> acts.Paper:
        """What the papers say."""
        asked = self.cleaned_data
        priced = asked["price"] is not None
        price = acts.Price(asked["price"], PricePer(asked["price_per"]), asked["currency"]) if priced else None
        return acts.Paper(
            order_reference=asked["order_reference"],
            supplier=asked["supplier"],
            certificate=asked["certificate"],
            ordered=asked["ordered"],
            turned_away=asked["turned_away"] or 0,
            price=price,
        )


def _receive(form: ReceiveForm, here: Here) -> Ask:
    entry, delivery, paper = form.entry(here), form.delivery(), form.paper()
    return Ask(lambda: [acts.receive_delivery(entry, delivery, paper).movement_id])


def _received(done: Done) -> HttpResponseBase:
    """On to the receiving slip."""
    made = Delivery.objects.filter(movement=done.movement_id).first()
    return redirect("delivery", pk=made.pk) if made else redirect("deliveries")


PAGE = Page(
    "delivery",
    "Receive a delivery",
    "Enter the delivery",
    _receive,
    _received,
    "One lot at a time; several lots of one order carry the same order reference.",
)


class ProposeForm(Form):
    """How many label codes to propose."""

    count = forms.IntegerField(label="How many", min_value=1, max_value=MOST_CODES)
    for_kind = forms.ChoiceField(label="Kind", choices=[(kind, kind) for kind in ContainerKind.values])


@require_http_methods(["GET", "POST"])
@may("receive")
def receive(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The form; asked for label codes, with the next free ones filled in."""
    asked = ProposeForm(request.GET if "count" in request.GET else None, here=here)
    initial = asked_before(request, ReceiveForm)
    if asked.is_bound and asked.is_valid():
        kind = asked.cleaned_data["for_kind"]
        codes = next_codes(here.department, kind, asked.cleaned_data["count"])
        initial |= {"codes": codes_text(codes), "kind": kind}
    form = ReceiveForm(request.POST or None, here=here, initial=initial)
    return entry_page(request, here, PAGE, form, above="deliveries/propose.html", proposing=asked)


def codes_text(codes: tuple[str, ...]) -> str:
    """A run where it reads back as the same, else one after the other."""
    run = f"{codes[0]} to {codes[-1]}" if len(codes) > 2 else " ".join(codes)
    return run if read_codes(run) == list(codes) else " ".join(codes)


class DeliveryTable(Table):
    """A row a delivery, the latest first."""

    caption = "Deliveries"
    happened_at = MomentColumn(verbose_name="Received", attrs={"td": {"class": "moment"}})
    slip = Column(accessor="id", verbose_name="Slip", linkify=("delivery", {"pk": A("id")}), exclude_from_export=True)
    order_reference = Column(verbose_name="Order", default="")
    supplier = Column(default="")
    concentrate = Column()
    batch = Column(verbose_name="Lot", linkify=("lot", {"pk": A("lot_id")}), attrs={"td": {"class": "nobreak"}})
    came = NumberColumn(verbose_name="Containers")
    came_ml = QuantityColumn("volume", "nearest", containers="came", verbose_name="Volume")
    ordered = NumberColumn(default="", visible=False)
    standing = Column(verbose_name="As ordered?", orderable=False)
    price = Column(accessor="price_minor", verbose_name="Price", default="")
    certificate = Column(default="", visible=False)
    by = Column(verbose_name="By")

    class Meta:
        order_by = "-happened_at"

    def render_slip(self, value: int) -> str:
        """The way to it."""
        return f"Slip {value}"

    def render_price(self, record: DeliveryRow) -> str:
        """As on the paper."""
        return price_words(record)

    def value_price(self, record: DeliveryRow) -> str:
        """The same in the workbook."""
        return price_words(record)


def price_words(row: DeliveryRow) -> str:
    """A price as it stood on the paper."""
    if row.price_minor is None:
        return ""
    return f"{price_text(row.price_minor, row.currency)} {PER[PricePer(row.price_per)]}"


class DeliveryFilter(RecordFilter):
    """By order, lot and concentrate."""

    search = ("order_reference", "supplier", "batch", "concentrate", "certificate", "remark")
    choices = {"concentrate": "Concentrate", "standing": "As ordered?"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    return list_page(
        request,
        here,
        DeliveryTable,
        deliveries(here.department),
        template="deliveries/list.html",
        filter_class=DeliveryFilter,
        context={"may_receive": here.may("receive")},
    )


@require_GET
@signed_in
def delivery(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The receiving slip."""
    told = slip(get(Delivery.objects.select_related("movement"), here, pk=pk))
    context = {
        "here": here,
        "told": told,
        "row": told.row,
        "price": price_words(told.row),
        "may_correct": here.may("correct") and not told.row.corrected,
        "correct_at": reverse("correct", args=[told.row.movement_id]),
    }
    return render(request, "deliveries/slip.html", context)


urlpatterns = [
    path("movements/receive/", receive, name="receive"),
    path("moving/deliveries/", every, name="deliveries"),
    path("moving/deliveries/<int:pk>/", delivery, name="delivery"),
]
