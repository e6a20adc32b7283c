"""Planning at a glance, order points with their working, and the purchase list."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET
from django_tables2 import A

from readiness.actions.supply import PURCHASE
from readiness.models import Concentrate
from readiness.reports.ageing import ageing
from readiness.reports.inventory import load_inventory
from readiness.reports.order_plans import order_plan_of
from readiness.reports.ordering import ABOVE, BELOW, Buying, Ordering, OrderPoint, ordering, purchase_list
from readiness.reports.par import SHORT, par_lists
from readiness.reports.prices import total
from readiness.reports.rotation import rotations
from readiness.web import figures
from readiness.web.access import Here, get, signed_in
from readiness.web.marks import status_mark
from readiness.web.planning_tabs import tabs
from readiness.web.prices import CostColumn, CurrencyColumn, price_words
from readiness.web.tables import Column, NumberColumn, QuantityColumn, RecordFilter, Table, list_page

# -- at a glance -------------------------------------------------------------------------------------------------------


@require_GET
@signed_in
def planning(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What is short, what falls due, what to order."""
    inventory = load_inventory(here.department, here.day)
    lists, found = par_lists(here.department, inventory), ordering(here.department, inventory)
    aged = ageing(here.department, inventory)
    due = [year for year in aged.years if year.cost.cents or year.replace_containers][:2]
    context = {
        "tabs": tabs(request),
        "here": here,
        "listed": [each for each in lists if each.rows],
        "short": [each for each in lists if each.state == SHORT],
        "without": [each for each in lists if not each.rows],
        "below": [store for store in found.stores if store.state == BELOW],
        "above": [store for store in found.stores if store.state == ABOVE],
        "due": due,
        "savings": aged.savings,
        "swaps": rotations(here.department, inventory),
        "to_order": [point for point in found.points if point.below],
        "buy": total(each.cost for each in purchase_list(found)),
        "unread": found.unread,
    }
    return render(request, "planning/planning.html", context)


# -- order points ------------------------------------------------------------------------------------------------------


class OrderPointTable(Table):
    """A row a concentrate."""

    caption = "Order points"
    concentrate = Column(linkify=("order_point", {"pk": A("concentrate_id")}))
    state = Column(accessor="containers", verbose_name="State")
    planned = QuantityColumn("volume", "up", containers=0, accessor="planned_ml", verbose_name="Largest planned need")
    lead_use_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Use in lead time")
    safety_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Safety stock")
    point_ml = QuantityColumn("volume", "up", containers=0, verbose_name="Order point")
    usable_ml = QuantityColumn("volume", "down", containers="usable_containers", verbose_name="Usable on hand")
    lapsing_ml = QuantityColumn("volume", "up", verbose_name="Expires in lead time")
    on_order_ml = QuantityColumn("volume", "down", verbose_name="On order")
    position_ml = QuantityColumn("volume", "down", containers="usable_containers", verbose_name="Position")
    containers = NumberColumn(verbose_name="Order")
    pack = Column(accessor="supply__pack_kind", verbose_name="In")

    class Meta:
        order_by = ("concentrate",)

    def render_state(self, record: OrderPoint) -> SafeString:
        """Whether it is time."""
        return point_mark(record)

    def value_state(self, record: OrderPoint) -> str:
        """The same in the workbook."""
        return "order" if record.below else "enough"


def point_mark(point: OrderPoint) -> SafeString:
    """Whether it is time to order, as a mark."""
    return status_mark("not_ready", "order") if point.below else status_mark("ready", "enough")


class OrderPointFilter(RecordFilter):
    """By concentrate and kind."""

    search = ("concentrate", "kind")
    choices = {"kind": "Kind"}


@require_GET
@signed_in
def order_points(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Every concentrate with its order point."""
    found = ordering(here.department, load_inventory(here.department, here.day))
    context = {"tabs": tabs(request), "found": found, "may_purchase": here.may(PURCHASE)}
    return list_page(
        request,
        here,
        OrderPointTable,
        found.points,
        template="planning/order_points.html",
        filter_class=OrderPointFilter,
        context=context,
    )


class Step(NamedTuple):
    """A line of the working: what, how, and the figure."""

    what: str
    how: str
    figure: str


@require_GET
@signed_in
def order_point(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One concentrate's order point with its working."""
    row = get(Concentrate, here, pk=pk)
    inventory = load_inventory(here.department, here.day)
    found = ordering(here.department, inventory)
    point = next((each for each in found.points if each.concentrate_id == row.pk), None)
    if point is None:
        raise Http404
    context = {
        "tabs": tabs(request),
        "here": here,
        "row": row,
        "point": point,
        "mark": point_mark(point),
        "steps": list(_steps(point, found, here)),
        "uses": [(account, _Volumes(here).fine(ml, 1)) for account, ml in point.used.by_account.items()],
        "window": found.usage.window,
        "price": price_words(point.price, here),
        "economic": list(_economic(point, here)),
        "plan": order_plan_of(here.department, ageing(here.department, inventory), point),
        "may_purchase": here.may(PURCHASE),
    }
    return render(request, "planning/order_point.html", context)


class _Volumes(NamedTuple):
    """Volumes in the reader's units: what is asked for is rounded up, what is there is rounded down."""

    here: Here

    def up(self, ml: float) -> str:
        """What is asked for."""
        return figures.figure(ml, "volume", self.here.units, "up")

    def down(self, ml: float, containers: int = 1) -> str:
        """What is there; below nothing with its sign."""
        sign = "− " if ml < 0 else ""
        return sign + figures.figure(abs(ml), "volume", self.here.units, "down", containers=containers)

    def fine(self, ml: float | None, places: int) -> str:
        """A reading with so many decimals."""
        return figures.figure(ml, "volume", self.here.units, "nearest", places=places)


def _steps(point: OrderPoint, found: Ordering, here: Here) -> Iterator[Step]:
    yield from _asked_for(point, found, _Volumes(here))
    yield from _there(point, found, _Volumes(here))


def _asked_for(point: OrderPoint, found: Ordering, say: _Volumes) -> Iterator[Step]:
    """The order point, part by part."""
    supply, planned = point.supply, point.planned
    duty = f"{planned.duty} of {planned.unit}, line need" if planned else "no duty counts on it"
    yield Step("Largest planned need", duty, say.up(point.planned_ml))
    daily, source = say.fine(point.used.use.daily, 3), "policy" if supply.lead_time_by_policy else "supply sheet"
    days = found.usage.window.days
    used = f"{say.fine(point.used.total_ml, 1)} in {days} {'day' if days == 1 else 'days'} = {daily} a day"
    lead = f"{used} × {supply.lead_time_d} days (lead time by {source})"
    yield Step("Use in lead time", lead, say.up(point.lead_use_ml))
    spread = f"z of {figures.percent(supply.service_pct)} × {say.fine(point.deviation_ml, 2)}, how use varies in it"
    how = f"none: {point.safety_why_not}" if point.safety_why_not else spread
    yield Step("Safety stock", how, say.up(point.safety_ml))
    yield Step("Order point", "need + use in lead time + safety stock", say.up(point.point_ml))


def _there(point: OrderPoint, found: Ordering, say: _Volumes) -> Iterator[Step]:
    """What is set against it, and what to order."""
    supply, containers = point.supply, point.usable_containers
    where = "in the stores" if found.counts == "stores" else "in the stores, on units and on vehicles"
    yield Step("Usable on hand", f"{where}, {containers} containers", say.down(point.usable_ml, containers))
    lapsing = f"within the {supply.lead_time_d} days of the lead time"
    yield Step("Of it expiring before an order comes", lapsing, f"− {say.up(point.lapsing_ml)}")
    yield Step("On order", "open orders", say.down(point.on_order_ml))
    yield Step("Position", "usable − expiring + on order", say.down(point.position_ml, containers))
    most = f"up to {say.down(point.most_ml)}" if point.most_ml is not None else "no maximum for all of its stores"
    pack = f"{supply.pack_kind} of {say.fine(supply.pack_ml, 1)}"
    yield Step("Order", f"in whole containers, {most}", f"{point.containers} × {pack}")


def _economic(point: OrderPoint, here: Here) -> Iterator[Step]:
    """The economic order quantity with its inputs; nothing where it cannot be worked out."""
    aid = point.economic
    if aid.quantity_ml is None or aid.holding_cost is None or aid.yearly_cost is None:
        return
    yearly = figures.figure(aid.yearly_ml, "volume", here.units, "nearest")
    yield Step("Use a year (λ)", "measured", yearly)
    yield Step("Cost of one order (K)", "supply sheet", f"{aid.order_cost:,.2f} {aid.currency}")
    keeping = f"{figures.percent(point.supply.holding_pct)} of the price"
    yield Step("Cost of keeping (h)", keeping, f"{aid.holding_cost:,.2f} {aid.currency}/{aid.per} a year")
    quantity = figures.figure(aid.quantity_ml, "volume", here.units, "nearest")
    yield Step("Economic order quantity", "√(2 K λ ÷ h)", f"{quantity}: {aid.containers} × {point.supply.pack_kind}")
    yield Step("Ordering and keeping cost", "K λ ÷ Q + h Q ÷ 2", f"{aid.yearly_cost:,.2f} {aid.currency} a year")


# -- purchase ----------------------------------------------------------------------------------------------------------


class PurchaseTable(Table):
    """A row what to buy, for where."""

    caption = "Purchase list"
    concentrate = Column(linkify=("order_point", {"pk": A("concentrate_id")}))
    station = Column(verbose_name="For the store of", default="no store has limits for it: choose")
    containers = NumberColumn(verbose_name="Buy")
    pack_kind = Column(verbose_name="In")
    pack_ml = QuantityColumn("volume", "nearest", verbose_name="Of")
    volume_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume")
    price = Column(orderable=False)
    cost = CostColumn(verbose_name="Cost")
    currency = CurrencyColumn()
    why = Column(accessor="concentrate_id", verbose_name="Why", orderable=False)
    do = Column(accessor="concentrate_id", verbose_name="Order it", orderable=False, exclude_from_export=True)

    class Meta:
        order_by = ("concentrate",)

    def before_render(self, request: HttpRequest) -> None:
        """The way to the order is for who may place one."""
        if not self.here.may(PURCHASE):
            self.columns.hide("do")

    def render_price(self, record: Buying) -> SafeString:
        """With source and age."""
        return price_words(record.price, self.here)

    def value_price(self, record: Buying) -> str:
        """With its source."""
        return f"{record.price.words} ({record.price.source})" if record.price else "no price known"

    def render_why(self, record: Buying) -> str:
        """In sentences."""
        return " ".join(reasons(record, self.here))

    def value_why(self, record: Buying) -> str:
        """The same in the workbook."""
        return self.render_why(record)

    def render_do(self, record: Buying) -> SafeString:
        """The form of the order, filled in."""
        asked = {
            "concentrate": record.concentrate_id,
            "containers": record.containers,
            "pack_kind": record.pack_kind,
            "pack_ml": record.pack_ml,
        }
        if record.station_id:
            asked["station"] = record.station_id
        if record.price and not record.price.public:
            asked |= {"price": record.price.amount, "per": record.price.per, "currency": record.price.currency}
        address = f"{reverse('order_place')}?{urlencode(asked)}"
        return format_html('<a class="button small" href="{}">Note it</a>', address)


def reasons(line: Buying, here: Here) -> Iterator[str]:
    """Why a line of the purchase list stands there."""
    say = _Volumes(here)
    if line.minimum is not None:
        store = line.minimum
        usable, least = say.down(store.usable_ml, store.containers), say.up(store.least_ml)
        yield f"{store.station} store has {usable} usable, below its minimum of {least}."
    if line.point is not None:
        point = line.point
        position = say.down(point.position_ml, point.usable_containers)
        yield f"On hand and on order {position}, below the order point of {say.up(point.point_ml)}."


class PurchaseFilter(RecordFilter):
    """By concentrate and store."""

    search = ("concentrate", "station")
    choices = {"station": "For the store of"}


@require_GET
@signed_in
def purchase(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What to buy, to be printed or saved."""
    found = ordering(here.department, load_inventory(here.department, here.day))
    lines = purchase_list(found)
    context = {"tabs": tabs(request), "total": total(line.cost for line in lines), "found": found, "lines": lines}
    return list_page(
        request,
        here,
        PurchaseTable,
        lines,
        template="planning/purchase.html",
        filter_class=PurchaseFilter,
        context=context,
    )


urlpatterns = [
    path("planning/", planning, name="planning"),
    path("planning/order-points/", order_points, name="order_points"),
    path("planning/order-points/<int:pk>/", order_point, name="order_point"),
    path("planning/purchase/", purchase, name="purchase"),
]
