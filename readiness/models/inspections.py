"""Inspection rules: what falls due how often, with the clause that a department enters; and inspections as made."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.containers import Container
from readiness.models.fields import exactly_one, one_of
from readiness.models.fleet import Unit, Vehicle
from readiness.models.foam_lines import FoamLine
from readiness.models.organisation import Department, Station
from readiness.models.people import User


class Rhythm(models.TextChoices):
    """How often."""

    SHIFT = "shift", "every shift"
    WEEK = "week", "every week"
    MONTH = "month", "every month"
    YEAR = "year", "every year"
    AFTER_USE = "after use", "after every use"
    ON_CHANGE = "on change", "on a change"


class Inspected(models.TextChoices):
    """What a rule is for: every thing of one kind."""

    UNIT = "unit"
    VEHICLE = "vehicle"
    LINE = "line"
    FIXED_TANK = "fixed tank"
    KIT_RESERVOIR = "kit reservoir"
    PAIL = "pail"
    DRUM = "drum"
    TOTE = "tote"


class InspectionRule(models.Model):
    """Every thing of a kind, in all stations or one, is inspected in a rhythm; overdue makes its unit unverified."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="inspection_rules")
    name = models.CharField(max_length=60)
    of = models.CharField(max_length=14, choices=Inspected.choices)
    rhythm = models.CharField(max_length=10, choices=Rhythm.choices)
    station = models.ForeignKey(Station, models.PROTECT, null=True, blank=True, related_name="inspection_rules")
    weekday = models.PositiveSmallIntegerField(null=True, blank=True, help_text="the drill night, Monday 0")
    what = models.CharField(max_length=200, blank=True, help_text="what is looked at")
    clause = models.CharField(max_length=120, blank=True, help_text="where it comes from, as the department says")
    owner = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inspection_rules")
    since_on = models.DateField(help_text="counts as the first time, so that a new rule is not overdue at once")
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["department", "name"], name="inspection_rule_name_once"),
            one_of("of", Inspected.values, "inspection_rule_of_known"),
            one_of("rhythm", Rhythm.values, "inspection_rule_rhythm_known"),
            models.CheckConstraint(condition=Q(weekday__isnull=True) | Q(weekday__lte=6), name="weekday_of_a_week"),
        ]

    def __str__(self) -> str:
        return self.name


class Inspection(models.Model):
    """One inspection as it was made; never altered."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="inspections")
    rule = models.ForeignKey(InspectionRule, models.PROTECT, related_name="inspections")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="inspections")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="inspections")
    line = models.ForeignKey(FoamLine, models.PROTECT, null=True, blank=True, related_name="inspections")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="inspections")
    done_at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="inspections")
    passed = models.BooleanField()
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-done_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=exactly_one("unit", "vehicle", "line", "container"), name="inspection_of_one_thing"
            ),
            models.CheckConstraint(condition=Q(passed=True) | ~Q(words=""), name="inspection_fault_has_words"),
        ]
        indexes = [models.Index(fields=["rule", "-done_at"])]

    def __str__(self) -> str:
        return f"{self.rule} of {self.unit or self.vehicle or self.line or self.container}"
