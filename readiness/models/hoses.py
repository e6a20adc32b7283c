"""The department's table of hose: what a size costs in friction, as published or as measured."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.fields import quantity
from readiness.models.organisation import Department

SECTION_M = 15.24  # 50 ft: the usual coupled length (common practice, no source)


class HoseSize(models.Model):
    """A size of hose: C for psi, gpm and feet, as published. A loss that the department measured counts before it."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="hose_sizes")
    diameter_in = models.DecimalField(max_digits=4, decimal_places=2, help_text="nominal, inches")
    coefficient = models.FloatField(help_text="psi lost in 100 ft at 100 gpm")
    section_m = models.FloatField(default=SECTION_M, help_text="one coupled length")
    loss_kpa = quantity(help_text="measured by the department, over loss_length_m at loss_flow_lpm")
    loss_flow_lpm = quantity()
    loss_length_m = quantity()
    measured_on = models.DateField(null=True, blank=True)
    source = models.CharField(max_length=200)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["diameter_in"]
        constraints = [
            models.UniqueConstraint(fields=["department", "diameter_in"], name="hose_size_once"),
            models.CheckConstraint(
                condition=Q(diameter_in__gt=0, coefficient__gt=0, section_m__gt=0), name="hose_size_positive"
            ),
            models.CheckConstraint(
                condition=Q(loss_kpa__isnull=True, loss_flow_lpm__isnull=True, loss_length_m__isnull=True)
                | Q(loss_kpa__gt=0, loss_flow_lpm__gt=0, loss_length_m__gt=0),
                name="hose_size_measured_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.diameter_in.normalize():f} in hose"
