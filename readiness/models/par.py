"""What a unit should carry, line by line: its par list, as a store room thinks of it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Concentrate, ConcentrateKind
from readiness.models.containers import ContainerKind
from readiness.models.fields import one_of
from readiness.models.fleet import ApplianceKind, Unit
from readiness.models.organisation import Department

ANY_RESISTANT = "any AR"  # whichever alcohol-resistant concentrate is at hand


class ParLine(models.Model):
    """So many containers, or so much volume, of a concentrate or of a kind of it; or so many pieces of loose gear.

    A line of gear may name a kind of appliance: then the book's appliances are counted for it. Other gear (a flush
    bucket, a spanner) is known by what the last check says of it by that name.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="par_lines")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="par_lines")
    compartment = models.CharField(max_length=60, blank=True)
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, null=True, blank=True, related_name="par_lines")
    concentrate_kind = models.CharField(max_length=16, blank=True)
    container_kind = models.CharField(max_length=14, blank=True)
    containers = models.PositiveIntegerField(null=True, blank=True)
    volume_ml = models.BigIntegerField(null=True, blank=True)
    gear = models.CharField(max_length=60, blank=True)
    appliance_kind = models.CharField(max_length=20, blank=True)
    pieces = models.PositiveIntegerField(null=True, blank=True)
    note = models.CharField(max_length=160, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["unit", "compartment", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(gear="", appliance_kind="", pieces__isnull=True)
                & (Q(concentrate__isnull=False, concentrate_kind="") | (Q(concentrate=None) & ~Q(concentrate_kind="")))
                & (Q(containers__gt=0, volume_ml__isnull=True) | Q(containers__isnull=True, volume_ml__gt=0))
                | ~Q(gear="")
                & Q(concentrate__isnull=True, concentrate_kind="", container_kind="")
                & Q(containers__isnull=True, volume_ml__isnull=True, pieces__gt=0),
                name="par_line_is_foam_or_gear",
            ),
            one_of("concentrate_kind", ["", ANY_RESISTANT, *ConcentrateKind.values], "par_line_concentrate_kind_known"),
            one_of("container_kind", ["", *ContainerKind.values], "par_line_container_kind_known"),
            one_of("appliance_kind", ["", *ApplianceKind.values], "par_line_appliance_kind_known"),
        ]

    def __str__(self) -> str:
        return f"par line of {self.unit}: {self.gear or self.concentrate or self.concentrate_kind}"
