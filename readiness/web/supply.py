"""Supply sheets (price, disposal, lead time) and the orders that were placed."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any, Final

import django_filters as filters
from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_tables2 import A

from readiness.actions.drafts import Refused
from readiness.actions.keeping import Desk, NotKept
from readiness.actions.supply import (
    LEAST_SERVICE,
    MOST_CONTAINERS,
    MOST_LEAD_D,
    MOST_SERVICE,
    PURCHASE,
    SUPPLY_SHEETS,
    OrderFacts,
    close_order,
    note_arrival,
    place_order,
)
from readiness.models import Concentrate, Order, Station, SupplySheet
from readiness.models.containers import ContainerKind
from readiness.reports.changes import changes_of_record
from readiness.web import access, figures
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.changes import SEE_CHANGES, shown_changes
from readiness.web.column_fields import Own, in_words, whole
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, pages
from readiness.web.forms import DateField, Form, PercentField, QuantityField
from readiness.web.marks import status_mark
from readiness.web.planning_tabs import tabs
from readiness.web.tables import Column, DayColumn, NumberColumn, PercentColumn, QuantityColumn, Table, list_page

PER: Final = [("gal", "gal"), ("L", "L")]
OPEN_STATIONS: Final = Q(closed_on__isnull=True)
_LONGEST_SIZE: Final = 10  # figures of a size in milliliters
_MONEY: Final = re.compile(r"([0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(\.[0-9]{1,2})?")


class MoneyField(forms.CharField):
    """An amount with at most two decimals, as 27.50 or 1,250.00: gives a Decimal."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "size": 10}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        """The amount, None where nothing was written, or a sentence."""
        text = str(value if value is not None else "").strip().lstrip("$").strip()
        if not text:
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        if not _MONEY.fullmatch(text):
            raise ValidationError(f"“{str(value)[:40]}” was read: write money like 27.50 or 1,250.00.")
        return Decimal(text.replace(",", ""))


class SupplySheetForm(RecordForm):
    """How a concentrate is bought."""

    noun = SUPPLY_SHEETS
    concentrate = Own(Concentrate, label="Concentrate")
    per = forms.ChoiceField(label="Prices are for one", choices=PER, help_text="US gallon or liter.")
    currency = forms.CharField(max_length=3, initial="USD", help_text="Three letters: USD.")
    price = MoneyField(label="Price", required=False, help_text="To buy it today. Empty: by lot, else public figures.")
    price_on = DateField(label="Price as of", required=False, past=True, help_text="The day of the quotation.")
    price_source = forms.CharField(
        label="Price from", max_length=160, required=False, help_text="Whose quotation, or which invoice."
    )
    disposal = MoneyField(label="Disposal", required=False, help_text="To get rid of it. Empty: public figures.")
    disposal_on = DateField(label="Disposal as of", required=False, past=True)
    disposal_source = forms.CharField(label="Disposal from", max_length=160, required=False)
    lead_time_d = whole(
        "Lead time [days]", MOST_LEAD_D, required=False, help_text="From order to delivery. Empty: as the policy says."
    )
    pack_kind = forms.ChoiceField(label="Bought in", choices=in_words(ContainerKind), initial=ContainerKind.PAIL)
    pack_ml = QuantityField("volume", label="Size of one", zero=False, initial=18_927)
    order_cost = MoneyField(
        label="Cost of one order", required=False, help_text="Paperwork and freight, whatever its size."
    )
    holding_pct = PercentField(
        label="Cost of keeping a year",
        least=0,
        greatest=10_000,
        required=False,
        help_text="Of the price: store room, handling, money tied up.",
    )
    service_pct = PercentField(
        label="Service level",
        least=LEAST_SERVICE,
        greatest=MOST_SERVICE,
        required=False,
        help_text="Chance of not running short of it while an order is on its way: 95. Empty: no safety stock.",
    )

    def facts(self) -> Any:
        """Money stays exact."""
        read = {name: self.cleaned_data[name] for name in ("price", "disposal", "order_cost")}
        return super().facts()._replace(**read)

    def after_fields(self, here: Here) -> None:
        """A sheet stays with its concentrate; a new one is quoted in the department's unit."""
        if self.row is not None:
            self.fields["concentrate"].disabled = True
        else:
            self.fields["per"].initial = "gal" if here.department.units == "us" else "L"


class MoneyColumn(Column):
    """An amount with its cents, right-aligned."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("attrs", {"td": {"class": "number"}, "th": {"class": "number"}})
        super().__init__(**kwargs)

    def render(self, value: Decimal) -> str:
        """27.50."""
        return f"{value:,.2f}"


class SupplySheetTable(Table):
    """Supply sheets by concentrate."""

    caption = "Supply sheets"
    concentrate = Column(accessor="concentrate__name", linkify=("reference_supply_sheet", {"pk": A("pk")}))
    price = MoneyColumn(default="not stated")
    disposal = MoneyColumn(default="not stated")
    currency = Column()
    per = Column(verbose_name="For one")
    price_on = DayColumn(verbose_name="Price as of", default="")
    price_source = Column(verbose_name="Price from", default="")
    lead_time_d = NumberColumn(verbose_name="Lead time [days]", default="by policy")
    pack_kind = Column(verbose_name="Bought in")
    pack_ml = QuantityColumn("volume", "nearest", verbose_name="Of")
    service_pct = PercentColumn(verbose_name="Service level", default="not stated")


class SupplySheetFilter(ReferenceFilter):
    """By concentrate and source."""

    search = ("concentrate__name", "price_source", "disposal_source")


def supply_sheets(here: Here) -> QuerySet[Any, Any]:
    """With their concentrate."""
    return rows(SupplySheet, here).select_related("concentrate").order_by("concentrate__name")


SHEET_EDITOR = Editor(
    SUPPLY_SHEETS,
    "supply sheet",
    "supply sheets",
    "How each concentrate is bought: price, disposal, lead time, in what it comes.",
    SupplySheetForm,
    SupplySheetTable,
    SupplySheetFilter,
    supply_sheets,
)


# -- orders ------------------------------------------------------------------------------------------------------------


class OrderTable(Table):
    """A row an order and concentrate."""

    caption = "Orders"
    reference = Column(linkify=("order", {"pk": A("pk")}))
    state = Column(accessor="pk", orderable=False)
    concentrate = Column(accessor="concentrate__name")
    station = Column(accessor="station__name", verbose_name="For the store of")
    containers = NumberColumn(verbose_name="Ordered")
    came = NumberColumn(verbose_name="Came")
    pack_kind = Column(verbose_name="In")
    left_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Still to come")
    price = MoneyColumn(default="")
    per = Column(verbose_name="For one")
    currency = Column()
    placed_on = DayColumn(verbose_name="Placed")
    expected_on = DayColumn(verbose_name="Expected", default="not known")

    def render_state(self, record: Order) -> SafeString:
        """Open, overdue or closed."""
        return order_mark(record, self.here)

    def value_state(self, record: Order) -> str:
        """The same in the workbook."""
        return order_state(record, self.here)


def order_state(order: Order, here: Here) -> str:
    """In words."""
    if order.closed_on:
        return f"closed {order.closed_on}: {order.closed_because}"
    if order.expected_on and order.expected_on < here.today:
        return f"overdue since {order.expected_on}"
    return "on order"


def order_mark(order: Order, here: Here) -> SafeString:
    """As a mark: word, shape and color."""
    said = order_state(order, here)
    return status_mark("no_foam_duty" if order.closed_on else "not_ready" if "overdue" in said else "unverified", said)


class OrderFilter(filters.FilterSet):
    """By reference and concentrate; open ones unless asked otherwise."""

    q = filters.CharFilter(label="Search", method="by_words", widget=forms.TextInput({"type": "search"}))
    which = filters.ChoiceFilter(
        label="Show", choices=[("closed", "closed"), ("all", "all")], empty_label="on order", method="by_state"
    )

    def by_words(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Every word somewhere."""
        for word in value.split():
            queryset = queryset.filter(
                Q(reference__icontains=word) | Q(concentrate__name__icontains=word) | Q(station__name__icontains=word)
            )
        return queryset

    def by_state(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Closed ones, or all."""
        return queryset.filter(closed_on__isnull=False) if value == "closed" else queryset

    def filter_queryset(self, queryset: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
        """Those on order, where nothing else was asked for."""
        left: QuerySet[Any, Any] = super().filter_queryset(queryset)
        return left if self.form.cleaned_data.get("which") else left.filter(closed_on__isnull=True)


@require_GET
@signed_in
def orders(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What is on its way."""
    found = rows(Order, here).select_related("concentrate", "station").order_by("expected_on", "reference", "id")
    found = found.annotate(left_ml=(F("containers") - F("came")) * F("pack_ml"))
    context = {"tabs": tabs(request), "may_purchase": here.may(PURCHASE)}
    return list_page(
        request, here, OrderTable, found, template="planning/orders.html", filter_class=OrderFilter, context=context
    )


class OrderForm(Form):
    """An order that was placed."""

    reference = forms.CharField(
        label="Order reference", max_length=60, help_text="As it stands on the order: the delivery is known by it."
    )
    concentrate = Own(Concentrate, label="Concentrate")
    station = Own(Station, OPEN_STATIONS, label="For the store of")
    containers = whole("How many containers", MOST_CONTAINERS)
    pack_kind = forms.ChoiceField(label="In", choices=in_words(ContainerKind), initial=ContainerKind.PAIL)
    pack_ml = QuantityField("volume", label="Size of one", zero=False, initial=18_927)
    placed_on = DateField(label="Placed on", past=True)
    expected_on = DateField(label="Expected on", required=False)
    price = MoneyField(label="Price as ordered", required=False)
    per = forms.ChoiceField(label="Price is for one", choices=PER)
    currency = forms.CharField(max_length=3, initial="USD")
    note = forms.CharField(max_length=160, required=False, label="Remark")

    def facts(self) -> OrderFacts:
        """As the action wants them."""
        return OrderFacts(**{name: self.cleaned_data[name] for name in OrderFacts._fields})


def _asked(request: HttpRequest, here: Here) -> dict[str, Any]:
    """What the purchase list fills in."""
    asked: dict[str, Any] = {name: value for name, value in request.GET.items() if name in OrderForm.base_fields}
    pack = asked.pop("pack_ml", "")
    size = int(pack) if pack.isascii() and pack.isdigit() and len(pack) < _LONGEST_SIZE else 18_927
    per = "gal" if here.department.units == "us" else "L"
    return {"placed_on": here.today, "per": per, **asked, "pack_ml": size}


@require_http_methods(["GET", "POST"])
@may(PURCHASE)
def place(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Note that an order was placed."""
    form = OrderForm(request.POST or None, here=here, initial=_asked(request, here))
    if request.method == "POST" and form.is_valid():
        try:
            made = place_order(Desk(here.department, here.acting, access.CLOCK), form.facts())
        except Refused as refused:
            for fact, sentence in refused.faults if isinstance(refused, NotKept) else [("", str(refused))]:
                form.refuse(sentence, fact if fact in form.fields else None)
        else:
            messages.success(request, f"Order {made.reference} is noted: its containers count as on order now.")
            return redirect("orders")
    return render(request, "planning/order_form.html", {"form": form, "tabs": tabs(request), "here": here})


class ArrivalForm(Form):
    """How many came."""

    came = whole("How many containers came", MOST_CONTAINERS)


class CloseForm(Form):
    """Why the rest comes no more."""

    because = forms.CharField(label="Why the rest comes no more", max_length=160)


def _order_page(
    request: HttpRequest, here: Here, row: Order, arrival: Form | None = None, closing: Form | None = None
) -> HttpResponseBase:
    history = changes_of_record(row) if here.may(SEE_CHANGES) else None
    left = row.containers - row.came
    size = figures.figure(row.pack_ml, "volume", here.units, "nearest", containers=1)
    context = {
        "tabs": tabs(request),
        "here": here,
        "row": row,
        "mark": order_mark(row, here),
        "size": size,
        "left": left,
        "may_purchase": here.may(PURCHASE),
        "arrival": arrival or ArrivalForm(here=here, initial={"came": left}),
        "closing": closing or CloseForm(here=here),
        "history": history and shown_changes(history, here),
    }
    return render(request, "planning/order.html", context)


def _get_order(here: Here, pk: int) -> Order:
    return get(Order.objects.select_related("concentrate", "station", "department"), here, pk=pk)


@require_GET
@signed_in
def order(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One order, with what came of it."""
    return _order_page(request, here, _get_order(here, pk))


@require_POST
@may(PURCHASE)
def arrival(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Some of it came."""
    row, form = _get_order(here, pk), ArrivalForm(request.POST, here=here)
    if form.is_valid():
        try:
            note_arrival(Desk(here.department, here.acting, access.CLOCK), row, form.cleaned_data["came"])
        except Refused as refused:
            form.refuse(refused, "came")
        else:
            messages.success(request, "Noted. The stock itself comes into the book by a delivery.")
            return redirect("order", pk=pk)
    return _order_page(request, here, row, arrival=form)


@require_POST
@may(PURCHASE)
def close(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The rest comes no more."""
    row, form = _get_order(here, pk), CloseForm(request.POST, here=here)
    if form.is_valid():
        try:
            close_order(Desk(here.department, here.acting, access.CLOCK), row, form.cleaned_data["because"])
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "The order is closed: nothing of it counts as on order any more.")
            return redirect("order", pk=pk)
    return _order_page(request, here, row, closing=form)


urlpatterns = [
    *pages(SHEET_EDITOR),
    path("planning/orders/", orders, name="orders"),
    path("planning/orders/place/", place, name="order_place"),
    path("planning/orders/<int:pk>/", order, name="order"),
    path("planning/orders/<int:pk>/arrival/", arrival, name="order_arrival"),
    path("planning/orders/<int:pk>/close/", close, name="order_close"),
]
