"""Departments, their stations, and the places where a container can be."""

from __future__ import annotations

from datetime import time

from django.db import models
from django.db.models import Q

from readiness.models.fields import exactly_one, one_of, quantity


class UnitSystem(models.TextChoices):
    """How a department reads quantities; stored ones are SI whatever it says."""

    US = "us", "US units"
    METRIC = "metric", "metric units"


class Department(models.Model):
    """A fire department: the tenant that every other record belongs to. Closed, never deleted."""

    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    time_zone = models.CharField(max_length=60, default="UTC")
    day_starts_at = models.TimeField(default=time(7, 0))
    units = models.CharField(max_length=6, choices=UnitSystem.choices, default=UnitSystem.US)
    demo_d0 = models.DateField(null=True, blank=True, help_text="the demo's day zero; filled in demo departments only")
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [one_of("units", UnitSystem.values, "department_units_known")]

    def __str__(self) -> str:
        return self.name


class Station(models.Model):
    """A house with a store; how often its units are checked may differ from the department's rule."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="stations")
    name = models.CharField(max_length=80)
    check_interval_h = models.PositiveIntegerField(null=True, blank=True, help_text="hours; empty = by policy")
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["department", "name"], name="station_name_once")]

    def __str__(self) -> str:
        return self.name


PLACE_OWNERS = ("station", "unit", "vehicle", "transfer", "partner", "pallet")  # exactly one of them is filled
PLACE_NAMED_BY = ("station", "unit", "vehicle", "partner", "pallet")  # what a place's name asks for


class Place(models.Model):
    """Where a container can be: a station's store, a unit (goes along on change-over) or a vehicle (stays with it).

    And where it can be so that it counts nowhere: in transit, lent to a partner, or on a take-back pallet. The place of
    a transfer keeps in `compartment` where it goes, so that a list can say so without asking further.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="places")
    station = models.ForeignKey(Station, models.PROTECT, null=True, blank=True, related_name="places")
    unit = models.ForeignKey("Unit", models.PROTECT, null=True, blank=True, related_name="places")
    vehicle = models.ForeignKey("Vehicle", models.PROTECT, null=True, blank=True, related_name="places")
    transfer = models.ForeignKey("Transfer", models.PROTECT, null=True, blank=True, related_name="places")
    partner = models.ForeignKey("Partner", models.PROTECT, null=True, blank=True, related_name="places")
    pallet = models.ForeignKey("Pallet", models.PROTECT, null=True, blank=True, related_name="places")
    compartment = models.CharField(max_length=160, blank=True)
    expected_low_c = quantity(help_text="the coldest this place is expected to get")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one(*PLACE_OWNERS), name="place_is_one_thing"),
            *(
                models.UniqueConstraint(
                    fields=[owner, "compartment"],
                    condition=Q(**{f"{owner}__isnull": False}),
                    name=f"place_once_in_{owner}",
                )
                for owner in PLACE_OWNERS
            ),
        ]

    def __str__(self) -> str:
        if self.transfer_id:
            return f"in transit to {self.compartment}"
        if self.partner:
            return f"lent to {self.partner}"
        if self.pallet:
            return f"take-back pallet {self.pallet}"
        owner = f"{self.station} store" if self.station else str(self.unit or self.vehicle)
        return f"{owner}, {self.compartment}" if self.compartment else owner
