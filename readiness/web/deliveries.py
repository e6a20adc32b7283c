"""Deliveries: the form by which one is received, the list, and the receiving slip."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable
from contextlib import suppress
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
from readiness.reports.code_runs import code_runs
from readiness.reports.deliveries import DeliveryRow, deliveries, slip
from readiness.reports.label_codes import next_codes
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import MOST_CODES, Ask, BookForm, CodesField, OwnerField, Page, entry_page, read_codes
from readiness.web.forms import Form, GoodThroughField, OfHere, QuantityField
from readiness.web.movements import asked_before, department_rows
from readiness.web.tables import Column, MomentColumn, NumberColumn, QuantityColumn, RecordFilter, Table, list_page

MOST_LOTS: Final = 20  # of one delivery
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
        self.clean_which(str)
        return asked

    def clean_which(self, named: Callable[[str], str]) -> None:
        """Either a lot of the book or a new one; named: gives the names of the fields."""
        asked = self.cleaned_data
        new = {name: asked.get(name) for name in map(named, ("concentrate", "batch"))}
        if asked.get(named("lot")) and any(new.values()):
            said = "A lot of the book and a new lot were read: only one of them belongs here."
            self.add_error(named("lot"), said)
        elif not asked.get(named("lot")):
            for name, value in new.items():
                if not value and name not in self.errors:
                    self.add_error(name, "Nothing was read: choose a lot of the book, or say this of the new lot.")

    def lot_asked(self, n: int) -> dict[str, Any]:
        """What was read of a lot."""
        return self.cleaned_data

    def delivery(self, n: int = 1) -> acts.Delivery:
        """What came of a lot."""
        asked = self.lot_asked(n)
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
            owner=self.cleaned_data["owner"],
            compartment=self.cleaned_data["compartment"],
            damaged=tuple(asked.get("damaged") or ()),
        )


class ReceiveForm(ArrivalForm):
    """A delivery from a supplier, with what its papers say: of the whole, and of each of its lots.

    The fields of the first lot are those of the class; those of the second end in _2, and so on.
    """

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
    currency = forms.CharField(
        label="Currency", max_length=3, required=False, initial="USD", help_text="Three letters."
    )
    lots = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=1, max_value=MOST_LOTS, initial=1)
    of_lot = (
        *("codes", "each", "kind", "capacity", "sealed", "lot", "concentrate", "batch", "label_date", "made"),
        *("certificate", "ordered", "turned_away", "damaged", "price", "price_per", "currency"),
    )
    of_all = ("owner", "compartment", "order_reference", "supplier", "happened_at", "reason")

    def __init__(self, *args: Any, here: Here, lots: int = 1, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.lot_count = lots
        if lots > 1:
            self.fields[
                "ordered"
            ].help_text = "For this lot: the lots are added up. What did not come is shown as short."
        for n in range(2, lots + 1):
            self.fields |= {own(name, n): self._again(name, here) for name in self.of_lot}
        papers = ("certificate", "ordered", "turned_away", "damaged")
        price = ("price", "price_per", "currency")
        self.folds = (
            ("Order and supplier", ("order_reference", "supplier")),
            *(("Certificate, short, turned away or damaged", self._own(papers, n)) for n in self.numbers),
            *(("Price", self._own(price, n)) for n in self.numbers),
        )
        self.order_fields([*(each for n in self.numbers for each in self._own(self.of_lot, n)), *self.of_all])
        self.fields["reason"].label = "Remark or delivery note"

    def _again(self, name: str, here: Here) -> forms.Field:
        field = copy.deepcopy(self.fields[name])
        if isinstance(field, OfHere):
            field.settle(here)
        return field

    @staticmethod
    def _own(names: tuple[str, ...], n: int) -> tuple[str, ...]:
        return tuple(own(name, n) for name in names)

    @property
    def numbers(self) -> range:
        """The lots, from 1."""
        return range(1, self.lot_count + 1)

    @property
    def lots_drawn(self) -> list[Any]:
        """For each lot its fields in runs."""
        return [self.runs(self[name] for name in self._own(self.of_lot, n)) for n in self.numbers]

    @property
    def rest_drawn(self) -> list[Any]:
        """The fields of the whole delivery, in runs."""
        runs = self.runs(self[name] for name in self.of_all)
        return [(title, run, at_fault or self.lot_count > 1) for title, run, at_fault in runs]

    @property
    def faults(self) -> list[tuple[str, str, str]]:
        """Says which lot, where there are several."""
        of = {self[own(name, n)].id_for_label: n for n in self.numbers for name in self.of_lot}
        several = self.lot_count > 1
        return [
            (id_, f"Lot {of[id_]}, {label}" if several and id_ in of else label, said)
            for id_, label, said in super().faults
        ]

    def refuse(self, sentence: object, field: str | None = None) -> None:
        """A lot's refusal stands at its label codes."""
        if isinstance(sentence, acts.LotsRefused) and self.lot_count > 1:
            for n, said in sentence.sentences.items():
                self.add_error(own("codes", n + 1), said)
        else:
            only = sentence.sentences[0] if isinstance(sentence, acts.LotsRefused) else sentence
            super().refuse(only, field)

    def clean(self) -> dict[str, Any]:
        """Each lot is whole; several are held together by the reference of their order."""
        asked: dict[str, Any] = self.cleaned_data
        for n in self.numbers:
            self._clean_lot(n, asked)
        if self.lot_count > 1 and not asked.get("order_reference") and "order_reference" not in self.errors:
            said = "Nothing was read: lots that came together share an order reference, or that of the delivery note."
            self.add_error("order_reference", said)
        return asked

    def _clean_lot(self, n: int, asked: dict[str, Any]) -> None:
        """A price says of what, and in which currency; what was damaged needs a word."""
        self.clean_which(lambda name: own(name, n))
        self._clean_currency(own("currency", n), asked)
        if asked.get(own("price", n)) is not None:
            for name in self._own(("price_per", "currency"), n):
                if not asked.get(name) and name not in self.errors:
                    self.add_error(name, "Nothing was read: a price says what it is for and in which currency.")
        if asked.get(own("damaged", n)) and not asked.get("reason") and "reason" not in self.errors:
            self.add_error("reason", "Nothing was read: say what is damaged.")

    def _clean_currency(self, name: str, asked: dict[str, Any]) -> None:
        """Three capital letters."""
        read = asked[name] = str(asked.get(name, "")).strip().upper()
        if read and not (len(read) == 3 and read.isascii() and read.isalpha()):
            self.add_error(name, f"“{read}” was read: a currency has three letters, as USD or EUR.")

    def arrived(self) -> list[acts.Arrived]:
        """Each lot with what its papers say."""
        return [acts.Arrived(self.delivery(n), self._paper(n)) for n in self.numbers]

    def lot_asked(self, n: int) -> dict[str, Any]:
        """What was read of a lot, by the names of the first."""
        return {name: self.cleaned_data[own(name, n)] for name in self.of_lot}

    def _paper(self, n: int) -> acts.Paper:
        asked = self.lot_asked(n)
        priced = asked["price"] is not None
        price = acts.Price(asked["price"], PricePer(asked["price_per"]), asked["currency"]) if priced else None
        return acts.Paper(
            order_reference=self.cleaned_data["order_reference"],
            supplier=self.cleaned_data["supplier"],
            certificate=asked["certificate"],
            ordered=asked["ordered"],
            turned_away=asked["turned_away"] or 0,
            price=price,
        )


def own(name: str, n: int) -> str:
    """A field's name at the lot of this number."""
    return name if n == 1 else f"{name}_{n}"


def _receive(form: ReceiveForm, here: Here) -> Ask:
    entry, arrived = form.entry(here), form.arrived()
    return Ask(lambda: [posted.movement_id for posted in acts.receive_lots(entry, arrived)])


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
    "One lot after the other, all of one delivery together: it is entered whole or not at all.",
    form_template="deliveries/receive.html",
)


class ProposeForm(Form):
    """How many label codes to propose."""

    count = forms.IntegerField(label="How many", min_value=1, max_value=MOST_CODES)
    for_kind = forms.ChoiceField(label="Kind", choices=[(kind, kind) for kind in ContainerKind.values])


class NextLotForm(ProposeForm):
    """Of the next lot: how many came, to fill in the label codes."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, prefix="next", **kwargs)
        self.fields["count"].required = False
        self.fields["count"].help_text = "Their label codes are then filled in, the next free ones."


@require_http_methods(["GET", "POST"])
@may("receive")
def receive(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The form; asked for label codes, with the next free ones filled in."""
    asked = ProposeForm(request.GET if "count" in request.GET else None, here=here)
    coming = NextLotForm(request.POST if "more" in request.POST else None, here=here)
    lots = _lots_of(request)
    if "fewer" in request.POST or (coming.is_bound and coming.is_valid()):
        form = _redrawn(request, here, lots, coming)
    elif request.POST:
        form = ReceiveForm(request.POST, here=here, lots=lots)
    else:
        initial = asked_before(request, ReceiveForm)
        if asked.is_bound and asked.is_valid():
            initial |= _proposed(here, asked)
        form = ReceiveForm(here=here, initial=initial)
    return entry_page(request, here, PAGE, form, proposing=asked, coming=coming, most=MOST_LOTS)


def _lots_of(request: HttpRequest) -> int:
    """How many lots were posted; one where nothing can be read."""
    said = request.POST.get("lots", "")
    return min(max(int(said), 1), MOST_LOTS) if said.isdecimal() and said.isascii() and len(said) < 4 else 1


def _redrawn(request: HttpRequest, here: Here, lots: int, coming: NextLotForm) -> ReceiveForm:
    """The form as it was typed, nothing checked, with a lot more, or without the one that is taken away."""
    typed = ReceiveForm(request.POST, here=here, lots=lots)
    raw = {name: typed[name].data for name in typed.fields}
    kept = [n for n in typed.numbers if str(n) != request.POST.get("fewer")] or [1]
    initial = {own(name, n): raw[own(name, was)] for n, was in enumerate(kept, 1) for name in typed.of_lot}
    initial |= {name: raw[name] for name in ("entry_id", *typed.of_all)}
    if coming.is_bound and lots < MOST_LOTS:
        kept.append(lots + 1)
        initial |= {own(name, len(kept)): raw[own(name, lots)] for name in ("each", "capacity", "sealed", "currency")}
        initial |= {own("kind", len(kept)): coming.cleaned_data["for_kind"]}
        if coming.cleaned_data["count"]:
            beside = [raw[own("codes", n)] for n in typed.numbers]
            initial |= {own(name, len(kept)): said for name, said in _proposed(here, coming, beside).items()}
    return ReceiveForm(here=here, lots=len(kept), initial=initial | {"lots": len(kept)})


def _proposed(here: Here, asked: ProposeForm, beside: Iterable[str] = ()) -> dict[str, str]:
    """The next free label codes, as many as were asked for. beside: what was typed as codes of other lots."""
    kind = asked.cleaned_data["for_kind"]
    codes = next_codes(here.department, kind, asked.cleaned_data["count"], _codes_in(beside))
    return {"codes": code_runs(codes), "kind": kind}


def _codes_in(typed: Iterable[str]) -> list[str]:
    found: list[str] = []
    for text in typed:
        with suppress(ValidationError):  # told when the form is sent
            found += read_codes(text or "")
    return found


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
