"""Partner departments: who borrows from us and lends to us. What is owed is a fold of the ledger's lines."""

from __future__ import annotations

from django.db import models

from readiness.models.organisation import Department


class Partner(models.Model):
    """Another fire department, a terminal or an airport, as this department knows it."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="partners")
    name = models.CharField(max_length=80)
    contact = models.CharField(max_length=160, blank=True, help_text="whom to call, by role and number")
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["department", "name"], name="partner_name_once")]

    def __str__(self) -> str:
        return self.name
