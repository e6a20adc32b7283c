"""How a concentrate is bought: price, disposal, lead time, what an order and keeping it cost, and the orders placed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import models
from django.db.models import F, Q

from readiness.models.catalogue import Concentrate
from readiness.models.containers import ContainerKind
from readiness.models.fields import one_of, percent
from readiness.models.organisation import Department, Station


def money(**options: Any) -> models.DecimalField[Decimal | None, Decimal | None]:
    """An amount of money with its cents, unknown when null; the currency stands beside it."""
    return models.DecimalField(max_digits=10, decimal_places=2, null=True, blank=True, **options)


class SupplySheet(models.Model):
    """One row a concentrate. Prices keep the unit they were quoted in; each says from when and where it is known."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="supply_sheets")
    concentrate = models.OneToOneField(Concentrate, models.PROTECT, related_name="supply_sheet")
    per = models.CharField(max_length=3, default="gal", help_text="the unit that both prices are quoted for")
    currency = models.CharField(max_length=3, default="USD")
    price = money()
    price_on = models.DateField(null=True, blank=True)
    price_source = models.CharField(max_length=160, blank=True)
    disposal = money()
    disposal_on = models.DateField(null=True, blank=True)
    disposal_source = models.CharField(max_length=160, blank=True)
    lead_time_d = models.PositiveIntegerField(null=True, blank=True, help_text="days; empty = by policy")
    pack_kind = models.CharField(max_length=14, default=ContainerKind.PAIL, help_text="the container it is bought in")
    pack_ml = models.BigIntegerField(default=18_927, help_text="its size; 5 US gal where nothing is said")
    order_cost = money(help_text="what placing one order costs, whatever its size")
    holding_pct = percent(help_text="a year, of the value kept; 1/100 %")
    service_pct = percent(help_text="chance of not running out while an order is on its way; 1/100 %")

    class Meta:
        ordering = ["concentrate"]

        constraints = [
            one_of("per", ["gal", "L"], "supply_sheet_per_known"),
            one_of("pack_kind", ContainerKind.values, "supply_sheet_pack_kind_known"),
            models.CheckConstraint(condition=Q(pack_ml__gt=0), name="supply_sheet_pack_holds_something"),
            models.CheckConstraint(
                condition=Q(service_pct__isnull=True) | Q(service_pct__gte=5_000, service_pct__lt=10_000),
                name="supply_sheet_service_can_be_met",
            ),
        ]

    def __str__(self) -> str:
        return f"supply sheet of {self.concentrate}"


class Order(models.Model):
    """So many containers of one concentrate ordered for one store; on order until they came or it was cancelled."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="orders")
    reference = models.CharField(max_length=60)
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="orders")
    station = models.ForeignKey(Station, models.PROTECT, related_name="orders")
    pack_kind = models.CharField(max_length=14)
    pack_ml = models.BigIntegerField()
    containers = models.PositiveIntegerField()
    came = models.PositiveIntegerField(default=0, help_text="containers of it that have been received")
    placed_on = models.DateField()
    expected_on = models.DateField(null=True, blank=True)
    price = money(help_text="as ordered, for `per`")
    per = models.CharField(max_length=3, default="gal")
    currency = models.CharField(max_length=3, default="USD")
    note = models.CharField(max_length=160, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    closed_because = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ["placed_on", "id"]
        constraints = [
            models.UniqueConstraint(fields=["department", "reference", "concentrate", "station"], name="order_once"),
            one_of("pack_kind", ContainerKind.values, "order_pack_kind_known"),
            one_of("per", ["gal", "L"], "order_per_known"),
            models.CheckConstraint(
                condition=Q(containers__gt=0, pack_ml__gt=0, came__lte=F("containers")), name="order_of_something"
            ),
        ]
        indexes = [models.Index(fields=["department", "closed_on"])]

    def __str__(self) -> str:
        return f"order {self.reference}"
