"""The common pile after a joint incident, settled by counting empties per owner."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Concentrate
from readiness.models.containers import ContainerKind
from readiness.models.fields import one_of
from readiness.models.movements import Movement
from readiness.models.organisation import Department
from readiness.models.partners import Partner
from readiness.models.people import User


class Settlement(models.Model):
    """One incident's pile. `drawn_by`: the partner whose engine drew it; empty: one of ours did."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="settlements")
    incident = models.CharField(max_length=60)
    drawn_by = models.ForeignKey(Partner, models.PROTECT, null=True, blank=True, related_name="settlements_drawn")
    settled_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="settlements")
    happened_at = models.DateTimeField()
    settled_at = models.DateTimeField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-happened_at", "-id"]

    def __str__(self) -> str:
        return f"common pile of {self.incident}"


class SettlementRow(models.Model):
    """Empties of one owner, size and concentrate: how many were counted, and for how many the book has an answer."""

    settlement = models.ForeignKey(Settlement, models.PROTECT, related_name="rows")
    unit = models.ForeignKey("Unit", models.PROTECT, null=True, blank=True, related_name="settlement_rows")
    partner = models.ForeignKey(Partner, models.PROTECT, null=True, blank=True, related_name="settlement_rows")
    kind = models.CharField(max_length=14, choices=ContainerKind.choices)
    size_ml = models.BigIntegerField()
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="settlement_rows")
    counted = models.PositiveIntegerField()
    booked = models.PositiveIntegerField()
    movement = models.ForeignKey(Movement, models.PROTECT, null=True, blank=True, related_name="settlement_rows")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(unit__isnull=True) | Q(partner__isnull=True), name="settlement_row_one_owner"
            ),
            one_of("kind", ContainerKind.values, "settlement_row_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.counted} empties of {self.unit or self.partner or 'an owner not known'}"
