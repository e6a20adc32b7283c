"""Disposals: what each manifest took, how much of it with PFAS, and whether its certificate has come."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Count, Q, QuerySet, Sum

from readiness.models import Department, Disposal
from readiness.models.movements import Account
from readiness.reports.journal import person_name

AWAITED, CERTIFIED, UNDONE = "certificate awaited", "certified", "corrected"


class DisposalRow(NamedTuple):
    """A manifest as a list shows it. pfas_ml: with PFAS, or not known."""

    id: int
    movement_id: UUID
    manifest: str
    hauler: str
    taken_on: date
    recorded_at: datetime
    by: str
    pallet: str
    containers: int
    volume_ml: int
    pfas_ml: int
    weight_kg: float | None
    certificate: str
    certified_on: date | None
    state: str
    remark: str


class Taken(NamedTuple):
    """So much of a lot out of a container; whether the container went too."""

    container_id: int
    code: str
    kind: str
    concentrate: str
    batch: str
    pfas: str
    ml: int
    whole: bool


class DisposalTold(NamedTuple):
    """One manifest in full, with its volume by PFAS."""

    row: DisposalRow
    taken: tuple[Taken, ...]
    by_pfas: tuple[tuple[str, int], ...]


def disposals(department: Department) -> tuple[DisposalRow, ...]:
    """Every manifest, the latest first."""
    return tuple(map(_row, _rows(Disposal.objects.filter(department=department))))


def _rows(rows: QuerySet[Disposal]) -> QuerySet[Disposal]:
    gone = Q(movement__lines__account=Account.DISPOSAL)
    fluorine = ~Q(movement__lines__lot__concentrate__pfas="no")
    rows = rows.select_related("movement__recorded_by", "movement__corrected_by", "pallet")
    return rows.annotate(
        volume=Sum("movement__lines__ml", filter=gone),
        pfas=Sum("movement__lines__ml", filter=gone & fluorine),
        n=Count("movement__lines__container", filter=Q(movement__lines__ml__lt=0), distinct=True),
    ).order_by("-taken_on", "-id")


def _row(row: Disposal) -> DisposalRow:
    movement = row.movement
    undone = hasattr(movement, "corrected_by")
    return DisposalRow(
        id=row.pk,
        movement_id=movement.pk,
        manifest=row.manifest,
        hauler=row.hauler,
        taken_on=row.taken_on,
        recorded_at=movement.recorded_at,
        by=person_name(movement.recorded_by) or f"({movement.identity})",
        pallet=str(row.pallet or ""),
        containers=getattr(row, "n", 0),
        volume_ml=getattr(row, "volume", 0) or 0,
        pfas_ml=getattr(row, "pfas", 0) or 0,
        weight_kg=row.weight_kg,
        certificate=row.certificate,
        certified_on=row.certified_on,
        state=UNDONE if undone else CERTIFIED if row.certificate else AWAITED,
        remark=movement.reason,
    )


def disposal_told(disposal: Disposal) -> DisposalTold:
    """One manifest in full; empty containers that went are on it too."""
    row = _row(_rows(Disposal.objects.filter(pk=disposal.pk)).get())
    movement = disposal.movement
    whole = {each.container_id: each.container for each in movement.relocations.select_related("container")}
    lines = movement.lines.filter(container__isnull=False).select_related("container", "lot__concentrate")
    taken = [
        Taken(
            line.container_id or 0,
            str(line.container),
            line.container.kind if line.container else "",
            line.lot.concentrate.name,
            line.lot.batch,
            line.lot.concentrate.pfas,
            -line.ml,
            line.container_id in whole,
        )
        for line in lines
    ]
    told = {each.container_id for each in taken}
    taken += [Taken(pk, row.code, row.kind, "empty", "", "", 0, True) for pk, row in whole.items() if pk not in told]
    sums = {pfas: sum(each.ml for each in taken if each.pfas == pfas) for pfas in ("yes", "unknown", "no")}
    by_pfas = tuple((pfas, ml) for pfas, ml in sums.items() if ml)
    return DisposalTold(row, tuple(sorted(taken, key=lambda each: each.code)), by_pfas)
