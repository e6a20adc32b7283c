"""Tests of finished foam: what a line makes of a concentrate in a cylinder, kept with its readings."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Concentrate
from readiness.models.fields import quantity
from readiness.models.foam_lines import FoamLine
from readiness.models.organisation import Department


class FoamTest(models.Model):
    """One cylinder of foam: its mass, what drained when, and what followed from it. `drained`: [minutes, mL] pairs."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="foam_tests")
    line = models.ForeignKey(FoamLine, models.PROTECT, related_name="foam_tests")
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="foam_tests")
    tested_on = models.DateField()
    foam_ml = models.FloatField()
    foam_g = models.FloatField()
    drained = models.JSONField(default=list, blank=True)
    expansion = models.FloatField()
    quarter_min = quantity(help_text="empty: a quarter had not drained, or no drainage was read")
    watched_min = quantity(help_text="when the drainage was last read; empty: none was")
    declared_expansion = quantity()
    declared_quarter_min = quantity()
    report = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-tested_on", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(foam_ml__gt=0, foam_g__gt=0, expansion__gte=1), name="foam_test_can_be"),
        ]

    def __str__(self) -> str:
        return f"foam test of {self.line} on {self.tested_on}"
