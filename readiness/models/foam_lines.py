"""Foam lines: what belongs together from the source of concentrate to the nozzle, and the tests that prove it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Concentrate
from readiness.models.fields import exactly_one, one_of, percent, quantity
from readiness.models.fleet import Appliance, Unit, Vehicle
from readiness.models.organisation import Department


class FoamLine(models.Model):
    """A line as the officer declares it. `pails`: draws by tube from any loose container of its unit."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="foam_lines")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="foam_lines")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="foam_lines")
    name = models.CharField(max_length=80)
    proportioner = models.ForeignKey(Appliance, models.PROTECT, related_name="lines_proportioned")
    nozzle = models.ForeignKey(Appliance, models.PROTECT, null=True, blank=True, related_name="lines_ended")
    flow_lpm = quantity()
    nozzle_kpa = quantity()
    inlet_kpa = quantity()
    pump_kpa = quantity(help_text="at the pump's discharge, where the proportioner stands away from it")
    intake_kpa = quantity(help_text="at the pump's intake while the line runs")
    wye_lines = models.PositiveSmallIntegerField(default=1, help_text="like lines behind a wye; 1 without one")
    appliance_loss_kpa = models.FloatField(default=0)
    height_m = models.FloatField(default=0)
    lift_m = models.FloatField(default=0)
    wind_loss_pct = models.PositiveSmallIntegerField(default=0, help_text="of a monitor, extra share of its flow")
    tube_original = models.BooleanField(default=True, help_text="pick-up tube neither lengthened nor another's")
    parked_pct = percent()
    present_pct = percent()
    present_seen_at = models.DateTimeField(null=True, blank=True)
    pails = models.BooleanField(default=False)
    fault = models.CharField(max_length=160, blank=True, help_text="seen at the last check that looked at it")
    fault_on = models.DateField(null=True, blank=True)
    missing = models.CharField(max_length=160, blank=True, help_text="parts not found aboard at the last look")
    missing_on = models.DateField(null=True, blank=True)
    unflushed_since = models.DateTimeField(null=True, blank=True)
    converted_on = models.DateField(null=True, blank=True, help_text="changed concentrate or part; retest from then on")
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one("unit", "vehicle"), name="foam_line_has_one_owner"),
            *(
                models.UniqueConstraint(
                    fields=[owner, "name"],
                    condition=Q(**{f"{owner}__isnull": False}),
                    name=f"foam_line_once_on_{owner}",
                )
                for owner in ("unit", "vehicle")
            ),
        ]

    def __str__(self) -> str:
        return self.name


class LegPart(models.TextChoices):
    """Where in a line a stretch of hose lies."""

    BEFORE = "before", "between pump and proportioner"
    LINE = "line", "from the proportioner on"
    WYE = "wye", "each line behind the wye"


class HoseLeg(models.Model):
    """A stretch of one hose size in a line, counted from the proportioner.

    Behind a wye `branch` 0 is of every branch, which are then alike; from 1 on each branch has hose of its own, and may
    end in a nozzle of its own.
    """

    line = models.ForeignKey(FoamLine, models.PROTECT, related_name="legs")
    n = models.PositiveSmallIntegerField()
    part = models.CharField(max_length=6, choices=LegPart.choices, default=LegPart.LINE)
    length_m = models.FloatField()
    diameter_in = models.DecimalField(max_digits=4, decimal_places=2, help_text="nominal, inches")
    branch = models.PositiveSmallIntegerField(default=0)
    nozzle = models.ForeignKey(
        Appliance,
        models.PROTECT,
        null=True,
        blank=True,
        related_name="branches_ended",
        help_text="of the branch; empty: the line's",
    )

    class Meta:
        ordering = ["line", "n"]
        constraints = [
            models.UniqueConstraint(fields=["line", "n"], name="hose_leg_once"),
            one_of("part", LegPart.values, "hose_leg_part_known"),
            models.CheckConstraint(condition=Q(length_m__gt=0, diameter_in__gt=0), name="hose_leg_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.length_m} m of {self.diameter_in} in"


class LineSource(models.Model):
    """A tank or reservoir that feeds a line, through a selector where there are several."""

    line = models.ForeignKey(FoamLine, models.PROTECT, related_name="sources")
    container = models.ForeignKey("Container", models.PROTECT, related_name="feeds")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["line", "container"], name="line_source_once")]

    def __str__(self) -> str:
        return f"{self.line} from {self.container}"


class Setup(models.Model):
    """Lines that the officer says run together."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="setups")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="setups")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="setups")
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one("unit", "vehicle"), name="setup_has_one_owner"),
            *(
                models.UniqueConstraint(
                    fields=[owner, "name"], condition=Q(**{f"{owner}__isnull": False}), name=f"setup_once_on_{owner}"
                )
                for owner in ("unit", "vehicle")
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SetupLine(models.Model):
    """One line of a setup."""

    setup = models.ForeignKey(Setup, models.PROTECT, related_name="members")
    line = models.ForeignKey(FoamLine, models.PROTECT, related_name="setups")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["setup", "line"], name="setup_line_once")]

    def __str__(self) -> str:
        return f"{self.line} in {self.setup}"


class LineTest(models.Model):
    """A proportioning test: what a line made of a concentrate at a setting."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="line_tests")
    line = models.ForeignKey(FoamLine, models.PROTECT, related_name="tests")
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="line_tests")
    tested_on = models.DateField()
    set_pct = models.PositiveSmallIntegerField()
    measured_pct = percent()
    passed = models.BooleanField()
    good_through = models.DateField(null=True, blank=True)
    band = models.CharField(
        max_length=8, choices=[("standard", "standard"), ("vehicle", "vehicle")], default="standard"
    )
    method = models.CharField(max_length=80, blank=True)
    certificate = models.CharField(max_length=120, blank=True)
    evidence = models.JSONField(default=dict, blank=True, help_text="what was read, where it was worked here")

    class Meta:
        ordering = ["-tested_on", "-id"]
        indexes = [models.Index(fields=["line", "-tested_on"])]
        constraints = [one_of("band", ["standard", "vehicle"], "line_test_band_known")]

    def __str__(self) -> str:
        return f"test of {self.line} on {self.tested_on}"
