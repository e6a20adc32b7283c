"""When to order which concentrate, and how much: the order point with its working, and the purchase list.

1. Order point = largest planned need + use during lead time + safety stock (engineering/stocking.py).
2. Position = usable on hand (in the stores, or everywhere, by policy) + on order − what of it expires in the lead time.
   Below the order point: order.
3. So much in whole containers that the order point is met again, up to the store maxima together where all are stated.
4. A store below its own minimum is bought for as well, unless another reason covers it already.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from readiness.engineering.stocking import (
    StockingError,
    containers_to_order,
    economic_order_quantity,
    lead_time_deviation,
    lead_time_use,
    order_point,
    safety_stock,
    yearly_order_cost,
)
from readiness.engineering.units import enough, from_ml, pails_for
from readiness.models import Department, Order, Policy, StoreLimit, SupplySheet
from readiness.reports.ageing import LOST
from readiness.reports.inventory import COUNTS, OUTSIDE, STORE, Inventory, Product
from readiness.reports.planned_needs import PlannedNeed, planned_needs
from readiness.reports.prices import Money, Price, Prices, cost_of_packs
from readiness.reports.usage import Usage, Used, usage

YEAR_D = 365
BELOW, ABOVE, WITHIN = "below minimum", "above maximum", "within limits"


class Supply(NamedTuple):
    """How a concentrate is bought; `stated`: whether a supply sheet says so."""

    stated: bool
    lead_time_d: int
    lead_time_by_policy: bool
    pack_kind: str
    pack_ml: int
    order_cost: Decimal | None
    holding_pct: int | None
    service_pct: int | None


class Economic(NamedTuple):
    """The economic order quantity as an aid, with its inputs; `why_not` where it cannot be worked out."""

    quantity_ml: float | None
    containers: int
    yearly_ml: float
    order_cost: Decimal | None
    holding_cost: float | None  # money to keep one `per` a year
    per: str
    currency: str
    yearly_cost: float | None
    why_not: str = ""


class OrderPoint(NamedTuple):
    """One concentrate: when to order, how much, and every figure that leads there [mL]."""

    concentrate_id: int
    concentrate: str
    kind: str
    supply: Supply
    planned: PlannedNeed | None
    used: Used
    lead_use_ml: float
    deviation_ml: float | None
    safety_ml: float
    safety_why_not: str
    point_ml: float
    in_stores_ml: int
    in_stores: int  # containers
    on_units_ml: int
    on_units: int
    usable_ml: int  # what the policy compares
    usable_containers: int
    on_order_ml: int
    lapsing_ml: int  # of what is usable: expires before an order of today comes
    position_ml: int
    most_ml: int | None
    containers: int
    order_ml: int
    price: Price | None
    cost: Money
    economic: Economic

    @property
    def planned_ml(self) -> int:
        """The largest planned need, 0 where no duty counts on it."""
        return self.planned.need_ml if self.planned else 0

    @property
    def below(self) -> bool:
        """Whether it is time to order."""
        return self.containers > 0


class StoreRow(NamedTuple):
    """A store's limits of a concentrate, and what is there."""

    limit_id: int
    station_id: int
    station: str
    concentrate_id: int
    concentrate: str
    least_ml: int
    most_ml: int | None
    usable_ml: int
    containers: int
    out_ml: int
    on_order_ml: int
    short_ml: int
    over_ml: int
    state: str


class Buying(NamedTuple):
    """A line of the purchase list."""

    concentrate_id: int
    concentrate: str
    station_id: int | None
    station: str
    containers: int
    pack_kind: str
    pack_ml: int
    volume_ml: int
    price: Price | None
    cost: Money
    minimum: StoreRow | None  # the store that is below its minimum, where that is why
    point: OrderPoint | None  # the order point, where that is why


class Ordering(NamedTuple):
    """Order points, store limits, what to buy, and what cannot be said."""

    day: date
    counts: str  # "stores" or "all"
    usage: Usage
    points: tuple[OrderPoint, ...]
    stores: tuple[StoreRow, ...]
    unread: tuple[str, ...]


def ordering(department: Department, inventory: Inventory) -> Ordering:
    """Every concentrate that is held, planned for, used, limited or bought."""
    return _Buyer(department, inventory).ordering()


class _Held(NamedTuple):
    """What counts in one container [mL]; `through`: its last good day, where it is out after that."""

    in_store: bool
    station: str
    ml: int
    through: date | None


class _Buyer:
    """The tables that ordering needs, each read once."""

    def __init__(self, department: Department, inventory: Inventory) -> None:
        self.department, self.inventory = department, inventory
        self.policy = Policy.objects.filter(department=department).first() or Policy(department=department)
        self.usage = usage(department, inventory.day, self.policy.use_window_d)
        self.needs = planned_needs(department)
        self.prices = Prices(department, inventory)
        limits = StoreLimit.objects.filter(department=department, retired_on__isnull=True)
        self.limits = list(limits.select_related("station", "concentrate"))
        self.orders = open_orders(department)
        self.held: dict[int, list[_Held]] = defaultdict(list)
        self.out: dict[tuple[int, str], int] = defaultdict(int)
        for item in inventory.items:
            if item.where == OUTSIDE or item.concentrate_id is None:
                continue
            counts = item.counted_ml if item.state == COUNTS else 0
            if counts:
                through = item.through if item.then in LOST else None
                self.held[item.concentrate_id].append(_Held(item.where == STORE, item.station, counts, through))
            if item.where == STORE:
                self.out[item.concentrate_id, item.station] += item.contents_ml - counts

    def ordering(self) -> Ordering:
        """Everything."""
        known = {*self.held, *self.needs.of, *self.usage.of, *self.prices.sheets, *self.orders}
        known |= {limit.concentrate_id for limit in self.limits}
        products = [product for product in self.inventory.products.values() if product.id in known]
        return Ordering(
            day=self.inventory.day,
            counts=self.policy.order_counts,
            usage=self.usage,
            points=tuple(self._point(product) for product in products),
            stores=tuple(self._store(limit) for limit in self.limits),
            unread=self.needs.unread,
        )

    def _point(self, product: Product) -> OrderPoint:
        supply, used = self._supply(product.id), self.usage.used(product.id)
        planned = self.needs.of.get(product.id)
        lead_use = lead_time_use(used.use, supply.lead_time_d)
        spread = lead_time_deviation(used.use, supply.lead_time_d)
        safety, why_not = _safety(spread, supply)
        point = order_point(planned.need_ml if planned else 0, lead_use, safety)
        every = self.held[product.id]
        in_stores = [each.ml for each in every if each.in_store]
        on_units = [each.ml for each in every if not each.in_store]
        chosen = [each for each in every if each.in_store or self.policy.order_counts == "all"]
        usable = sum(each.ml for each in chosen)
        comes = self.inventory.day + timedelta(days=supply.lead_time_d)
        lapsing = sum(each.ml for each in chosen if each.through is not None and each.through < comes)
        on_order = sum(_outstanding_ml(order) for order in self.orders.get(product.id, ()))
        position, most = usable + on_order - lapsing, self._most_ml(product.id)
        containers = containers_to_order(position, len(chosen), point_ml=point, most_ml=most, pack_ml=supply.pack_ml)
        price = self.prices.replacement(product.id)
        return OrderPoint(
            concentrate_id=product.id,
            concentrate=product.name,
            kind=product.kind,
            supply=supply,
            planned=planned,
            used=used,
            lead_use_ml=lead_use,
            deviation_ml=spread,
            safety_ml=safety,
            safety_why_not=why_not,
            point_ml=point,
            in_stores_ml=sum(in_stores),
            in_stores=len(in_stores),
            on_units_ml=sum(on_units),
            on_units=len(on_units),
            usable_ml=usable,
            usable_containers=len(chosen),
            on_order_ml=on_order,
            lapsing_ml=lapsing,
            position_ml=position,
            most_ml=most,
            containers=containers,
            order_ml=containers * supply.pack_ml,
            price=price,
            cost=cost_of_packs(containers, supply.pack_ml, price),
            economic=_economic(used, supply, price),
        )

    def _supply(self, concentrate: int) -> Supply:
        sheet = self.prices.sheets.get(concentrate) or SupplySheet()
        return Supply(
            stated=sheet.pk is not None,
            lead_time_d=sheet.lead_time_d or self.policy.lead_time_d,
            lead_time_by_policy=sheet.lead_time_d is None,
            pack_kind=sheet.pack_kind,
            pack_ml=sheet.pack_ml,
            order_cost=sheet.order_cost,
            holding_pct=sheet.holding_pct,
            service_pct=sheet.service_pct,
        )

    def _most_ml(self, concentrate: int) -> int | None:
        """What all stores that have limits for it take together; None as soon as one states no maximum."""
        most = [limit.most_ml for limit in self.limits if limit.concentrate_id == concentrate]
        stated = [each for each in most if each is not None]
        return sum(stated) if stated and len(stated) == len(most) else None

    def _store(self, limit: StoreLimit) -> StoreRow:
        name = limit.station.name
        there = [each.ml for each in self.held[limit.concentrate_id] if each.in_store and each.station == name]
        coming = sum(
            _outstanding_ml(order)
            for order in self.orders.get(limit.concentrate_id, ())
            if order.station_id == limit.station_id
        )
        usable, most = sum(there), limit.most_ml
        below = not enough(usable, limit.least_ml, len(there))
        over = most is not None and usable > most + len(there) + 1
        return StoreRow(
            limit_id=limit.pk,
            station_id=limit.station_id,
            station=name,
            concentrate_id=limit.concentrate_id,
            concentrate=limit.concentrate.name,
            least_ml=limit.least_ml,
            most_ml=most,
            usable_ml=usable,
            containers=len(there),
            out_ml=self.out[limit.concentrate_id, name],
            on_order_ml=coming,
            short_ml=limit.least_ml - usable if below else 0,
            over_ml=usable - most if over and most is not None else 0,
            state=BELOW if below else ABOVE if over else WITHIN,
        )


def open_orders(department: Department) -> Mapping[int, list[Order]]:
    """What is on its way, by concentrate."""
    found: dict[int, list[Order]] = defaultdict(list)
    rows = Order.objects.filter(department=department, closed_on__isnull=True)
    for order in rows.select_related("station", "concentrate"):
        found[order.concentrate_id].append(order)
    return found


def _outstanding_ml(order: Order) -> int:
    return (order.containers - order.came) * order.pack_ml


def _safety(spread: float | None, supply: Supply) -> tuple[float, str]:
    """Safety stock [mL], and why there is none."""
    if supply.service_pct is None:
        return 0.0, "the supply sheet states no service level"
    if spread is None:
        return 0.0, "the book is too young to say how use varies"
    if not spread:
        return 0.0, "use did not vary"
    return safety_stock(spread, supply.service_pct / 10_000), ""


def _economic(used: Used, supply: Supply, price: Price | None) -> Economic:
    """The economic order quantity, in the unit that the price is quoted for."""
    yearly_ml = max(used.use.daily, 0.0) * YEAR_D
    per = price.per if price else "gal"
    holding = float(price.amount) * supply.holding_pct / 10_000 if price and supply.holding_pct else None
    said = Economic(
        quantity_ml=None,
        containers=0,
        yearly_ml=yearly_ml,
        order_cost=supply.order_cost,
        holding_cost=holding,
        per=per,
        currency=price.currency if price else "",
        yearly_cost=None,
    )
    known = {"cost of an order": supply.order_cost, "price with a cost of keeping": holding, "use measured": yearly_ml}
    missing = [word for word, value in known.items() if not value]
    if missing or supply.order_cost is None or holding is None:
        return said._replace(why_not=f"there is no {' and no '.join(missing)}")
    demand = from_ml(yearly_ml, per)
    try:
        quantity = economic_order_quantity(float(supply.order_cost), holding, demand)
    except StockingError as outside:
        return said._replace(why_not=str(outside))
    quantity_ml = quantity * yearly_ml / demand
    return said._replace(
        quantity_ml=quantity_ml,
        containers=pails_for(quantity_ml, supply.pack_ml),
        yearly_cost=yearly_order_cost(quantity, float(supply.order_cost), holding, demand),
    )


# -- the purchase list -------------------------------------------------------------------------------------------------


def purchase_list(found: Ordering) -> tuple[Buying, ...]:
    """What to buy, for where and why: each store up to its minimum, then the rest of what the order point asks for.

    The rest goes where most room is, no further than each store's maximum while another has room.
    """
    return tuple(line for point in found.points for line in _buy(point, _stores_of(point, found)))


def _stores_of(point: OrderPoint, found: Ordering) -> list[StoreRow]:
    return [store for store in found.stores if store.concentrate_id == point.concentrate_id]


def _buy(point: OrderPoint, stores: list[StoreRow]) -> list[Buying]:
    wanted = {store: _up_to_minimum(point, store) for store in stores}
    more = _spread(max(0, point.containers - sum(wanted.values())), wanted, point.supply.pack_ml)
    lines = [
        _line(point, store, containers + more[store], store if containers else None, more[store] > 0)
        for store, containers in wanted.items()
        if containers + more[store]
    ]
    return [*lines, *([_line(point, None, point.containers, None, True)] if point.containers and not stores else [])]


def _spread(rest: int, wanted: dict[StoreRow, int], pack_ml: int) -> dict[StoreRow, int]:
    """How many more containers each store takes: those with most room first, up to their maximum.

    What no store has room for goes to the first of them: the order point has to be met.
    """
    more = dict.fromkeys(wanted, 0)
    inorder = sorted(wanted, key=lambda store: (-_room_ml(store), store.station))
    for store in inorder:
        room = rest if store.most_ml is None else max(0, _room_ml(store) // pack_ml - wanted[store])
        more[store] = min(rest, room)
        rest -= more[store]
    if inorder:
        more[inorder[0]] += rest
    return more


def _up_to_minimum(point: OrderPoint, store: StoreRow) -> int:
    """Containers that a store lacks of its minimum once what is on order has come."""
    return pails_for(max(0, store.short_ml - store.on_order_ml), point.supply.pack_ml)


def _room_ml(store: StoreRow) -> int:
    """What is left under the maximum; without one, under the minimum."""
    return (store.most_ml or store.least_ml) - store.usable_ml - store.on_order_ml


def _line(
    point: OrderPoint, store: StoreRow | None, containers: int, minimum: StoreRow | None, for_point: bool
) -> Buying:
    return Buying(
        concentrate_id=point.concentrate_id,
        concentrate=point.concentrate,
        station_id=store.station_id if store else None,
        station=store.station if store else "",
        containers=containers,
        pack_kind=point.supply.pack_kind,
        pack_ml=point.supply.pack_ml,
        volume_ml=containers * point.supply.pack_ml,
        price=point.price,
        cost=cost_of_packs(containers, point.supply.pack_ml, point.price),
        minimum=minimum,
        point=point if for_point else None,
    )
