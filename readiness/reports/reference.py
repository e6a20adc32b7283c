"""How much reference data a department keeps: what the first page of it shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from django.db.models import Count, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from readiness import models as m
from readiness.models import Department


class Kept(NamedTuple):
    """How many of a kind are in use."""

    noun: str
    in_use: int


_OWN: Final = Q(department=OuterRef("pk"))
_COUNTED: Final[Mapping[str, QuerySet[Any, Any]]] = {
    "stations": m.Station.objects.filter(_OWN, closed_on__isnull=True),
    "units": m.Unit.objects.filter(_OWN, retired_on__isnull=True),
    "vehicles": m.Vehicle.objects.filter(_OWN, retired_on__isnull=True),
    "appliances": m.Appliance.objects.filter(_OWN),
    "lines": m.FoamLine.objects.filter(_OWN, retired_on__isnull=True),
    "setups": m.Setup.objects.filter(_OWN),
    "hoses": m.HoseSize.objects.filter(_OWN, retired_on__isnull=True),
    "duties": m.Duty.objects.filter(_OWN, retired_on__isnull=True),
    "concentrates": m.Concentrate.objects.filter(_OWN),
    "listings": m.Listing.objects.filter(concentrate__department=OuterRef("pk")),
    "fuels": m.Fuel.objects.filter(_OWN | Q(department__isnull=True), retired_on__isnull=True),
    "groups": m.CompatibilityGroup.objects.filter(_OWN),
    "inspection_rules": m.InspectionRule.objects.filter(_OWN, retired_on__isnull=True),
    "label_sheets": m.LabelSheet.objects.filter(_OWN, retired_on__isnull=True),
}


def reference_counts(department: Department) -> dict[str, Kept]:
    """Every kind with how many are in use, in one query."""
    counts = {f"n_{noun}": _count(rows) for noun, rows in _COUNTED.items()}
    read = Department.objects.filter(pk=department.pk).annotate(**counts).values(*counts).get()
    return {noun: Kept(noun, read[f"n_{noun}"]) for noun in _COUNTED}


def _count(rows: QuerySet[Any, Any]) -> Coalesce:
    counted = rows.order_by().annotate(one=Count("pk") * 0).values("one").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)
