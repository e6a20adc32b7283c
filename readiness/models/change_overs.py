"""What was counted when a unit changed vehicles: its pails and loose gear, at each end."""

from __future__ import annotations

from django.db import models

from readiness.models.fields import one_of
from readiness.models.fleet import Assignment
from readiness.models.organisation import Department
from readiness.models.people import User


class End(models.TextChoices):
    """Where it was counted."""

    OFF = "off the old vehicle", "off the old vehicle"
    ABOARD = "aboard the new vehicle", "aboard the new vehicle"


class ChangeOverCount(models.Model):
    """So many of one thing, counted blind at one end of a change-over; `counted` is empty where nobody did."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="change_over_counts")
    assignment = models.ForeignKey(Assignment, models.PROTECT, related_name="counts")
    end = models.CharField(max_length=24, choices=End.choices)
    thing = models.CharField(max_length=120)
    book = models.PositiveIntegerField(help_text="pieces by the book or the par list at that moment")
    counted = models.PositiveIntegerField(null=True, blank=True)
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="change_over_counts")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["assignment", "end", "thing"], name="change_over_thing_counted_once"),
            one_of("end", End.values, "change_over_end_known"),
        ]

    def __str__(self) -> str:
        return f"{self.thing} {self.end}: {self.counted}"
