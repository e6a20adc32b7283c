"""Deliveries: what the paper said, beside the movement that brought it into the book."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Lot
from readiness.models.fields import one_of
from readiness.models.movements import Movement
from readiness.models.organisation import Department


class PricePer(models.TextChoices):
    """What a price on a delivery note is for."""

    CONTAINER = "container"
    GALLON = "gal"
    LITER = "L"


class Delivery(models.Model):
    """One lot of one order, as it came. How many came and how much is in the movement."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="deliveries")
    movement = models.OneToOneField(Movement, models.PROTECT, related_name="delivery")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="deliveries")
    order_reference = models.CharField(max_length=60, blank=True)
    supplier = models.CharField(max_length=80, blank=True)
    certificate = models.CharField(max_length=120, blank=True)
    ordered = models.PositiveIntegerField(null=True, blank=True, help_text="containers ordered")
    turned_away = models.PositiveIntegerField(default=0, help_text="containers refused at the door")
    damaged = models.PositiveIntegerField(default=0, help_text="containers taken in damaged, and quarantined")
    price_minor = models.BigIntegerField(null=True, blank=True, help_text="as on the paper, in hundredths")
    price_per = models.CharField(max_length=9, choices=PricePer.choices, blank=True)
    currency = models.CharField(max_length=3, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "deliveries"
        constraints = [
            one_of("price_per", ["", *PricePer.values], "delivery_price_per_known"),
            models.CheckConstraint(
                condition=Q(price_minor__isnull=True, price_per="", currency="")
                | (Q(price_minor__gte=0) & ~Q(price_per="") & ~Q(currency="")),
                name="delivery_price_is_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"delivery {self.pk}"
