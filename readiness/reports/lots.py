"""Lots: their dates, their last sample, how much is left and where."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet

from readiness.engineering.dates import GoodThrough, good_through
from readiness.models import Department, Lot, Sample
from readiness.reports.inventory import LENT, OUTSIDE, PALLET, STORE, TRANSIT, Inventory, Item


class LotRow(NamedTuple):
    """A lot as a list shows it."""

    id: int
    batch: str
    concentrate: str
    kind: str
    pfas: str
    made: GoodThrough | None
    label: GoodThrough | None
    recalled_on: date | None
    recall_reference: str
    sampled_on: date | None
    sample: str
    left_ml: int
    containers: int
    places: str


def lots(department: Department, inventory: Inventory, only: Lot | None = None) -> tuple[LotRow, ...]:
    """Every lot of a department, those that are used up too; or one of them, if the inventory has what holds it."""
    where: dict[int, list[Item]] = defaultdict(list)
    left: dict[int, int] = defaultdict(int)
    for item in inventory.items:
        for share in item.shares:
            if item.where != OUTSIDE:
                where[share.lot_id].append(item)
                left[share.lot_id] += share.ml
    rows = (
        Lot.objects.filter(department=department).select_related("concentrate").order_by("concentrate__name", "batch")
    )
    rows = rows if only is None else rows.filter(pk=only.pk)
    sampled = _last_samples(rows)
    return tuple(_row(row, left[row.pk], where[row.pk], sampled.get(row.pk)) for row in rows)


def _last_samples(lots: QuerySet[Lot, Lot]) -> dict[int, Sample]:
    """The last sample of each lot, whether its answer is there or not."""
    rows = Sample.objects.filter(lot__in=lots.order_by().values("pk")).order_by("taken_on", "id")
    return {row.lot_id: row for row in rows if row.lot_id}


def _row(row: Lot, left_ml: int, where: list[Item], sample: Sample | None) -> LotRow:
    stations = sorted({_stands(item) for item in where})
    return LotRow(
        id=row.pk,
        batch=row.batch,
        concentrate=row.concentrate.name,
        kind=row.concentrate.kind,
        pfas=row.concentrate.pfas,
        made=good_through(row.made_on, row.made_precision) if row.made_on else None,  # type: ignore[arg-type] # the table's own rule: day, month or year
        label=good_through(row.makers_date, row.date_precision) if row.makers_date else None,  # type: ignore[arg-type] # the same
        recalled_on=row.recalled_on,
        recall_reference=row.recall_reference,
        sampled_on=sample.taken_on if sample else None,
        sample=sample_words(sample) if sample else "",
        left_ml=left_ml,
        containers=len(where),
        places=", ".join(stations),
    )


def _stands(item: Item) -> str:
    """The store or the units of a station, or where else it is."""
    if item.where in (TRANSIT, LENT, PALLET):
        return item.place
    return f"{item.station} {'store' if item.where == STORE else 'units'}"


def sample_words(sample: Sample) -> str:
    """A sample's answer in a word."""
    return {True: "passed", False: "failed", None: "awaited"}[sample.passed]
