"""How much of a concentrate a store should hold: at least, and at most."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from readiness.models.catalogue import Concentrate
from readiness.models.organisation import Department, Station


class StoreLimit(models.Model):
    """Store minimum and maximum of one concentrate in one store, as the store room writes them on the shelf."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="store_limits")
    station = models.ForeignKey(Station, models.PROTECT, related_name="store_limits")
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="store_limits")
    least_ml = models.BigIntegerField()
    most_ml = models.BigIntegerField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["station", "concentrate"]
        constraints = [
            models.UniqueConstraint(
                fields=["station", "concentrate"], condition=Q(retired_on__isnull=True), name="store_limit_once"
            ),
            models.CheckConstraint(
                condition=Q(least_ml__gte=0) & (Q(most_ml__isnull=True) | Q(most_ml__gte=F("least_ml"), most_ml__gt=0)),
                name="store_limit_the_right_way_round",
            ),
        ]

    def __str__(self) -> str:
        return f"limits of {self.concentrate} in {self.station} store"
