"""Disposals: the manifest, the hauler and the certificate, beside the movement that took it out of the book."""

from __future__ import annotations

from django.db import models

from readiness.models.fields import quantity
from readiness.models.movements import Movement
from readiness.models.organisation import Department
from readiness.models.pallets import Pallet


class Disposal(models.Model):
    """What one manifest took away. The certificate of destruction comes later."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="disposals")
    movement = models.OneToOneField(Movement, models.PROTECT, related_name="disposal")
    manifest = models.CharField(max_length=60)
    hauler = models.CharField(max_length=80)
    taken_on = models.DateField()
    pallet = models.ForeignKey(Pallet, models.PROTECT, null=True, blank=True, related_name="disposals")
    weight_kg = quantity()
    certificate = models.CharField(max_length=120, blank=True)
    certified_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-taken_on", "-id"]

    def __str__(self) -> str:
        return f"manifest {self.manifest}"
