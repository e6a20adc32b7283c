"""How concentrates are bought: terms of supply, and orders that are placed, come in parts, or are cancelled."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any, Final, NamedTuple

from django.db import IntegrityError, transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Refused
from readiness.actions.keeping import Desk, Fault, NotKept, Noun, one_line, others, plain
from readiness.actions.permissions import require
from readiness.models import Concentrate, Order, Station, SupplySheet
from readiness.models.containers import ContainerKind

PURCHASE: Final = "purchase"
MOST_PRICE: Final = Decimal(100_000)
MOST_LEAD_D, MOST_CONTAINERS = 1_830, 10_000
LEAST_SERVICE, MOST_SERVICE = 5_000, 9_999  # 1/100 %
LARGEST_PACK_ML: Final = 30_000_000  # a tank truck of 30 m³: beyond it something was typed wrongly


class SupplyFacts(NamedTuple):
    """What is kept of how a concentrate is bought. Prices are for one `per`; percentages in 1/100 %."""

    concentrate: Concentrate
    per: str = "gal"
    currency: str = "USD"
    price: Decimal | None = None
    price_on: date | None = None
    price_source: str = ""
    disposal: Decimal | None = None
    disposal_on: date | None = None
    disposal_source: str = ""
    lead_time_d: int | None = None
    pack_kind: str = ContainerKind.PAIL
    pack_ml: int = 18_927
    order_cost: Decimal | None = None
    holding_pct: int | None = None
    service_pct: int | None = None


class SupplySheets(Noun[SupplySheet, SupplyFacts]):
    """One row a concentrate."""

    name = "supply sheet"
    retired = ""
    asks = PURCHASE
    model, facts = SupplySheet, SupplyFacts

    def tidy(self, desk: Desk, facts: SupplyFacts, row: SupplySheet | None) -> SupplyFacts:
        """Sources on one line, the currency in capitals."""
        return facts._replace(
            currency=facts.currency.strip().upper(),
            price_source=one_line(facts.price_source),
            disposal_source=one_line(facts.disposal_source),
        )

    def faults(self, desk: Desk, facts: SupplyFacts, row: SupplySheet | None) -> Iterator[Fault]:
        """Once a concentrate; a price with its day and source; numbers within reason."""
        if row is not None and row.concentrate_id != facts.concentrate.pk:
            yield Fault("concentrate", f"“{facts.concentrate}” was read: the sheet stays with {row.concentrate}.")
        elif others(self.of(desk.department).filter(concentrate=facts.concentrate), row).exists():
            yield Fault("concentrate", f"{facts.concentrate} has its supply sheet already: change that.")
        yield from currency_faults(facts.currency)
        yield from per_faults(facts.per)
        for name in ("price", "disposal", "order_cost"):
            yield from price_faults(name, getattr(facts, name))
        yield from self._known_from(desk, facts)
        if facts.lead_time_d is not None and not 1 <= facts.lead_time_d <= MOST_LEAD_D:
            yield Fault("lead_time_d", f"“{facts.lead_time_d}” was read: from 1 to {MOST_LEAD_D:,} days belong here.")
        yield from pack_faults(facts.pack_kind, facts.pack_ml)
        if facts.service_pct is not None and not LEAST_SERVICE <= facts.service_pct <= MOST_SERVICE:
            yield Fault("service_pct", "From 50 % to 99.99 % belongs here: nothing makes running out impossible.")

    def _known_from(self, desk: Desk, facts: SupplyFacts) -> Iterator[Fault]:
        """A price says from when it is and who said so: it will be old one day."""
        for name in ("price", "disposal"):
            day, source = getattr(facts, f"{name}_on"), getattr(facts, f"{name}_source")
            if getattr(facts, name) is None:
                continue
            if not source:
                yield Fault(f"{name}_source", "Nothing was read: say who quoted it, or which invoice it is from.")
            if day is None:
                yield Fault(f"{name}_on", "Nothing was read: say from which day the price is, so that its age shows.")
            elif day > desk.today:
                yield Fault(f"{name}_on", f"“{day}” was read: today ({desk.today}) or a day before belongs here.")


def currency_faults(currency: str) -> Iterator[Fault]:
    """Three letters."""
    if len(currency) != 3 or not currency.isascii() or not currency.isalpha():
        yield Fault("currency", f"“{currency}” was read: a currency has three letters, such as USD.")


def per_faults(per: str) -> Iterator[Fault]:
    """US gallon or liter."""
    if per not in ("gal", "L"):
        yield Fault("per", f"“{per}” was read: a price is for one gal or one L.")


def price_faults(name: str, price: Decimal | None) -> Iterator[Fault]:
    """Money with whole cents, not below nothing and not absurd."""
    if price is None:
        return
    if not price.is_finite() or not 0 <= price <= MOST_PRICE:
        yield Fault(name, f"“{price}” was read: from 0 to {MOST_PRICE:,} belongs here.")
    elif price != round(price, 2):
        yield Fault(name, f"“{price}” was read: money has at most two decimals.")


def pack_faults(pack_kind: str, pack_ml: int) -> Iterator[Fault]:
    """A container that there is, and that holds something."""
    if pack_kind not in ContainerKind.values:
        yield Fault("pack_kind", f"“{pack_kind}” was read: choose from the list.")
    if not 1 <= pack_ml <= LARGEST_PACK_ML:
        yield Fault("pack_ml", "More than nothing, and at most 30 m³, belongs here.")


SUPPLY_SHEETS = SupplySheets()


# -- orders ------------------------------------------------------------------------------------------------------------


class OrderFacts(NamedTuple):
    """What is ordered, of whom by reference, for which store."""

    reference: str
    concentrate: Concentrate
    station: Station
    containers: int
    pack_kind: str
    pack_ml: int
    placed_on: date
    expected_on: date | None = None
    price: Decimal | None = None
    per: str = "gal"
    currency: str = "USD"
    note: str = ""


def place_order(desk: Desk, facts: OrderFacts) -> Order:
    """Note that an order was placed: from now on its containers are on order. Raises NotKept with every fault."""
    require(desk.acting, desk.department, PURCHASE)
    facts = facts._replace(
        reference=one_line(facts.reference), note=one_line(facts.note), currency=facts.currency.strip().upper()
    )
    found = list(_order_faults(desk, facts))
    if found:
        raise NotKept(found)
    try:
        with transaction.atomic():
            made: Order = Order.objects.create(department=desk.department, **facts._asdict())
            stated = {name: plain(value) for name, value in facts._asdict().items() if value not in (None, "")}
            record_changes(desk.department, desk.acting, desk.now, [Changed("place order", made, None, stated)])
    except IntegrityError as clash:
        raise Refused(_twice(facts)) from clash
    return made


def _order_faults(desk: Desk, facts: OrderFacts) -> Iterator[Fault]:
    for name in ("concentrate", "station"):
        if getattr(facts, name).department_id != desk.department.pk:
            yield Fault(name, f"A {name} was read that is not {desk.department}’s: choose one from the list.")
    if not facts.reference:
        yield Fault("reference", "Nothing was read: an order has a reference, by which its delivery is known.")
    if not 1 <= facts.containers <= MOST_CONTAINERS:
        yield Fault("containers", f"“{facts.containers}” was read: from 1 to {MOST_CONTAINERS:,} belong here.")
    yield from pack_faults(facts.pack_kind, facts.pack_ml)
    if facts.placed_on > desk.today:
        yield Fault("placed_on", f"“{facts.placed_on}” was read: today ({desk.today}) or a day before belongs here.")
    if facts.expected_on is not None and facts.expected_on < facts.placed_on:
        yield Fault("expected_on", f"“{facts.expected_on}” was read, which lies before the order: change them over.")
    yield from price_faults("price", facts.price)
    yield from currency_faults(facts.currency)
    yield from per_faults(facts.per)
    same = Order.objects.filter(department=desk.department, reference__iexact=facts.reference)
    if same.filter(concentrate=facts.concentrate, station=facts.station).exists():
        yield Fault("reference", _twice(facts))


def _twice(facts: OrderFacts) -> str:
    return (
        f"“{facts.reference}” was read: {facts.concentrate} for {facts.station} is on that order already. "
        "Nothing was entered a second time."
    )


def note_arrival(desk: Desk, order: Order, containers: int) -> Order:
    """So many containers of an order came: they are on order no longer, and the whole order is closed once all came.

    The stock itself comes into the book by a delivery, which says so by itself when it names the order.
    """
    require(desk.acting, desk.department, PURCHASE)
    with transaction.atomic():
        locked = _open_order(desk, order)
        left = locked.containers - locked.came
        if not 1 <= containers <= left:
            raise Refused(f"“{containers}” was read: of {locked} {left} are still to come, so 1 to {left} belong here.")
        return _came(desk, locked, containers)


def came_by_delivery(desk: Desk, reference: str, concentrate: Concentrate, containers: int) -> None:
    """A delivery names an order: what came is on order no longer. Its reference, or its concentrate, may be no order's.

    In the delivery's transaction. Open orders of one reference are for several stores: the oldest fills first.
    """
    named = Order.objects.select_for_update().filter(department=desk.department, closed_on__isnull=True)
    for order in named.filter(reference__iexact=reference, concentrate=concentrate).order_by("placed_on", "id"):
        came = min(containers, order.containers - order.came)
        containers -= came
        if came:
            _came(desk, order, came)


def _came(desk: Desk, order: Order, containers: int) -> Order:
    new: dict[str, Any] = {"came": order.came + containers}
    if new["came"] == order.containers:
        new |= {"closed_on": desk.today, "closed_because": "all came"}
    return _changed(desk, "arrival of order", order, new)


def close_order(desk: Desk, order: Order, because: str) -> Order:
    """What has not come of an order comes no more: cancelled, or given up."""
    require(desk.acting, desk.department, PURCHASE)
    because = one_line(because)
    if not because:
        raise Refused("No reason was read: say why the rest of the order comes no more.")
    with transaction.atomic():
        locked = _open_order(desk, order)
        return _changed(desk, "close order", locked, {"closed_on": desk.today, "closed_because": because[:160]})


def _open_order(desk: Desk, order: Order) -> Order:
    found = Order.objects.select_for_update().filter(department=desk.department, pk=order.pk).first()
    if found is None:
        raise Refused(f"There is no such order in {desk.department}.")
    if found.closed_on:
        raise Refused(f"{str(found).capitalize()} was closed on {found.closed_on} ({found.closed_because}).")
    return found


def _changed(desk: Desk, action: str, order: Order, new: dict[str, Any]) -> Order:
    old = {name: plain(getattr(order, name)) for name in new}
    for name, value in new.items():
        setattr(order, name, value)
    order.save(update_fields=list(new))
    told = {name: plain(value) for name, value in new.items()}
    record_changes(desk.department, desk.acting, desk.now, [Changed(action, order, old, told)])
    return order
