"""Take-back pallets: what stands on one never returns to a rig; it leaves by a disposal or by a correction."""

from __future__ import annotations

from django.db import models

from readiness.models.fields import one_of
from readiness.models.organisation import Department, Station


class PalletTakes(models.TextChoices):
    """What a programme takes by its fluorine; unknown counts as with PFAS."""

    ANY = "any"
    WITH = "with PFAS only"
    WITHOUT = "without PFAS only"


class Pallet(models.Model):
    """A pallet of a take-back programme, where it stands, and what the programme takes."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="pallets")
    name = models.CharField(max_length=60)
    programme = models.CharField(max_length=120)
    station = models.ForeignKey(Station, models.PROTECT, related_name="pallets")
    takes = models.CharField(max_length=20, choices=PalletTakes.choices, default=PalletTakes.ANY)
    refused_kinds = models.JSONField(default=list, blank=True, help_text="kinds of concentrate that it does not take")
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["department", "name"], name="pallet_name_once"),
            one_of("takes", PalletTakes.values, "pallet_takes_known"),
        ]

    def __str__(self) -> str:
        return self.name
