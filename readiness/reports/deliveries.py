"""Deliveries: what came on which order, short or damaged, at what price; and one of them as its receiving slip."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Count, Q, QuerySet, Sum

from readiness.models import Delivery, Department
from readiness.reports.journal import person_name


class DeliveryRow(NamedTuple):
    """A delivery as a list and its slip show it. came: containers taken in; short: ordered, and not come."""

    id: int
    movement_id: UUID
    happened_at: datetime
    recorded_at: datetime
    by: str
    order_reference: str
    supplier: str
    certificate: str
    lot_id: int
    concentrate: str
    batch: str
    pfas: str
    came: int
    came_ml: int
    ordered: int | None
    turned_away: int
    damaged: int
    price_minor: int | None
    price_per: str
    currency: str
    remark: str
    corrected: bool

    @property
    def short(self) -> int:
        """How many of those ordered have not come; nothing where nobody said how many were ordered."""
        return max((self.ordered or 0) - self.came - self.turned_away, 0)

    @property
    def standing(self) -> str:
        """What a list says of it in a word or two."""
        if self.corrected:
            return "corrected"
        said = [f"{self.short} short"] if self.short else []
        said += [f"{self.turned_away} turned away"] if self.turned_away else []
        said += [f"{self.damaged} damaged"] if self.damaged else []
        return ", ".join(said) or "whole"


class Slip(NamedTuple):
    """A delivery with its containers (id, code, volume, whether damaged) and the other deliveries of its order."""

    row: DeliveryRow
    containers: tuple[tuple[int, str, int, bool], ...]
    place: str
    others: tuple[DeliveryRow, ...]


def deliveries(department: Department) -> tuple[DeliveryRow, ...]:
    """Every delivery, the latest first."""
    return tuple(map(_row, _rows(Delivery.objects.filter(department=department))))


def outstanding(rows: Iterable[DeliveryRow]) -> tuple[tuple[DeliveryRow, int], ...]:
    """The latest delivery of each order that has not come whole, and how many containers are to come.

    Deliveries of one order and concentrate are taken together; without an order reference each stands for itself.
    What was ordered is added up among lots that were entered together; a later delivery says the whole again.
    """
    orders: dict[tuple[object, str], list[DeliveryRow]] = defaultdict(list)
    for row in rows:
        if not row.corrected:
            orders[row.order_reference.casefold() or row.id, row.concentrate].append(row)
    found = []
    for of in orders.values():
        ordered = _ordered(of)
        short = ordered - sum(row.came + row.turned_away for row in of)
        if short > 0:
            found.append((of[0]._replace(ordered=ordered), short))
    return tuple(found)


def _ordered(rows: Iterable[DeliveryRow]) -> int:
    """How many containers one order was for. Lots that came together were recorded at one moment."""
    together: dict[datetime, int] = defaultdict(int)
    for row in rows:
        together[row.recorded_at] += row.ordered or 0
    return max(together.values())


def _rows(rows: QuerySet[Delivery]) -> QuerySet[Delivery]:
    into = Q(movement__lines__container__isnull=False)
    rows = rows.select_related("movement__recorded_by", "movement__corrected_by", "lot__concentrate")
    return rows.annotate(
        n=Count("movement__lines", filter=into, distinct=True), ml=Sum("movement__lines__ml", filter=into)
    ).order_by("-movement__happened_at", "-id")


def _row(row: Delivery) -> DeliveryRow:
    movement, lot = row.movement, row.lot
    return DeliveryRow(
        id=row.pk,
        movement_id=movement.pk,
        happened_at=movement.happened_at,
        recorded_at=movement.recorded_at,
        by=person_name(movement.recorded_by) or f"({movement.identity})",
        order_reference=row.order_reference,
        supplier=row.supplier,
        certificate=row.certificate,
        lot_id=lot.pk,
        concentrate=lot.concentrate.name,
        batch=lot.batch,
        pfas=lot.concentrate.pfas,
        came=getattr(row, "n", 0),
        came_ml=getattr(row, "ml", 0) or 0,
        ordered=row.ordered,
        turned_away=row.turned_away,
        damaged=row.damaged,
        price_minor=row.price_minor,
        price_per=row.price_per,
        currency=row.currency,
        remark=movement.reason,
        corrected=hasattr(movement, "corrected_by"),
    )


def slip(delivery: Delivery) -> Slip:
    """One delivery in full."""
    row = _row(_rows(Delivery.objects.filter(pk=delivery.pk)).get())
    movement = delivery.movement
    damaged = set(movement.markings.filter(mark="quarantined").values_list("container", flat=True))
    lines = movement.lines.filter(container__isnull=False).select_related("container").order_by("container__code")
    places = movement.relocations.select_related("to_place__station", "to_place__unit", "to_place__vehicle")
    same = Delivery.objects.filter(department=delivery.department, order_reference=delivery.order_reference)
    others = _rows(same.exclude(pk=delivery.pk)) if delivery.order_reference else []
    return Slip(
        row,
        tuple((line.container_id or 0, str(line.container), line.ml, line.container_id in damaged) for line in lines),
        ", ".join(dict.fromkeys(str(each.to_place) for each in places)),
        tuple(map(_row, others)),
    )
