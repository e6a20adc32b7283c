"""Containers and what they hold. Their state is a fold of the movements and is never written by anything else."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from readiness.models.catalogue import Concentrate, Lot
from readiness.models.fields import one_of
from readiness.models.organisation import Department, Place
from readiness.models.partners import Partner


class ContainerKind(models.TextChoices):
    """What concentrate is kept in."""

    PAIL = "pail"
    JUG = "jug"
    DRUM = "drum"
    TOTE = "tote"
    FIXED_TANK = "fixed tank"
    KIT_RESERVOIR = "kit reservoir"


class Container(models.Model):
    """The unit of control.

    `contents_ml`, `place` and the marks (sealed, opened_on, mixed, diluted, quarantined, flushed, concentrate) are
    folds of the ledger kept beside it by actions/ledger.py under the row's lock. `concentrate` is what it holds or
    held last; it is empty only when new, or once emptied, flushed and inspected.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="containers")
    code = models.CharField(max_length=24)
    kind = models.CharField(max_length=14, choices=ContainerKind.choices)
    capacity_ml = models.BigIntegerField()
    unreachable_ml = models.BigIntegerField(default=0)
    resolution_ml = models.BigIntegerField(default=0, help_text="what its gauge can tell apart")
    place = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="containers")
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, null=True, blank=True, related_name="containers")
    contents_ml = models.BigIntegerField(default=0)
    sealed = models.BooleanField(default=False)
    opened_on = models.DateField(null=True, blank=True)
    mixed = models.BooleanField(default=False)
    diluted = models.BooleanField(default=False)
    quarantined = models.BooleanField(default=False)
    flushed = models.BooleanField(default=False, help_text="flushed since it was emptied, not inspected yet")
    reading_ml = models.BigIntegerField(null=True, blank=True)
    reading_at = models.DateTimeField(null=True, blank=True)
    fault = models.CharField(max_length=160, blank=True, help_text="seen at the last check that looked at it")
    fault_on = models.DateField(null=True, blank=True)
    partner = models.ForeignKey(
        Partner, models.PROTECT, null=True, blank=True, related_name="containers", help_text="borrowed: whose it is"
    )
    version = models.PositiveIntegerField(default=0)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["department", "code"], name="container_code_once"),
            one_of("kind", ContainerKind.values, "container_kind_known"),
            models.CheckConstraint(
                condition=Q(contents_ml__gte=0, contents_ml__lte=F("capacity_ml")), name="contents_within_capacity"
            ),
            models.CheckConstraint(
                condition=Q(capacity_ml__gt=0, unreachable_ml__gte=0, unreachable_ml__lte=F("capacity_ml")),
                name="capacity_positive",
            ),
            models.CheckConstraint(
                condition=Q(contents_ml=0) | Q(concentrate__isnull=False) | Q(mixed=True), name="contents_have_a_name"
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Holding(models.Model):
    """How much of a lot a container holds now: the fold of its lines for that lot."""

    container = models.ForeignKey(Container, models.PROTECT, db_index=False, related_name="holdings")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="holdings")
    ml = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["container", "lot"], name="holding_once"),
            models.CheckConstraint(condition=Q(ml__gt=0), name="holding_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.ml} mL of {self.lot} in {self.container}"
