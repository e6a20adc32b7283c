"""Vehicles, units, which runs on which, and the appliances they carry."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.fields import exactly_one, one_of, quantity
from readiness.models.organisation import Department, Station


class ServiceState(models.TextChoices):
    """Whether a thing may be counted on tonight."""

    IN = "in", "in service"
    RESERVE = "reserve", "reserve"
    OUT = "out", "out of service"


class Vehicle(models.Model):
    """A vehicle by its shop number: it has the tanks, the proportioner and the water."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="vehicles")
    shop_no = models.CharField(max_length=20)
    kind = models.CharField(max_length=20)
    station = models.ForeignKey(Station, models.PROTECT, related_name="vehicles")
    water_l = models.FloatField(default=0)
    pump_lpm = quantity()
    foam_feed_lpm = quantity(help_text="greatest flow of concentrate its foam system can feed")
    dry_chemical_kg = models.FloatField(default=0)
    needs_tow = models.BooleanField(default=False)
    tow = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="tows")
    tow_driver_ready = models.BooleanField(default=True)
    state = models.CharField(max_length=8, choices=ServiceState.choices, default=ServiceState.IN)
    out_since = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["shop_no"]
        constraints = [
            models.UniqueConstraint(fields=["department", "shop_no"], name="vehicle_shop_no_once"),
            one_of("state", ServiceState.values, "vehicle_state_known"),
            models.CheckConstraint(condition=Q(water_l__gte=0, dry_chemical_kg__gte=0), name="vehicle_not_negative"),
        ]

    def __str__(self) -> str:
        return f"vehicle {self.shop_no}"


class Unit(models.Model):
    """A unit by its designation: it has the duty, the crew and the loose gear."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="units_of_department")
    designation = models.CharField(max_length=60)
    station = models.ForeignKey(Station, models.PROTECT, related_name="units_of_station")
    state = models.CharField(max_length=8, choices=ServiceState.choices, default=ServiceState.IN)
    lines_staffed = models.PositiveSmallIntegerField(null=True, blank=True, help_text="lines its crew can run at once")
    judge_due = models.BooleanField(default=True, help_text="something changed since it was judged")
    gear_seen = models.JSONField(default=dict, blank=True, help_text="loose gear not found or at fault, as last seen")
    no_duty_by = models.CharField(max_length=80, blank=True, help_text="who decided that it has no foam duty")
    no_duty_review_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["designation"]
        constraints = [
            models.UniqueConstraint(fields=["department", "designation"], name="unit_designation_once"),
            one_of("state", ServiceState.values, "unit_state_known"),
            models.CheckConstraint(
                condition=Q(no_duty_by="", no_duty_review_on__isnull=True)
                | (~Q(no_duty_by="") & Q(no_duty_review_on__isnull=False)),
                name="no_duty_is_named_and_reviewed",
            ),
        ]

    def __str__(self) -> str:
        return self.designation


class Assignment(models.Model):
    """A unit runs on a vehicle from a moment until a moment; one vehicle a unit, one unit a vehicle."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="assignments")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="assignments")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, related_name="assignments")
    from_at = models.DateTimeField()
    to_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-from_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["unit"], condition=Q(to_at__isnull=True), name="unit_on_one_vehicle"),
            models.UniqueConstraint(fields=["vehicle"], condition=Q(to_at__isnull=True), name="vehicle_for_one_unit"),
        ]

    def __str__(self) -> str:
        return f"{self.unit} on {self.vehicle}"


class ApplianceKind(models.TextChoices):
    """What foam goes through, in the trade's terms."""

    IN_LINE_EDUCTOR = "in-line eductor"
    BY_PASS_EDUCTOR = "by-pass eductor"
    AROUND_THE_PUMP = "around-the-pump"
    BALANCED_PRESSURE = "balanced pressure"
    DIRECT_INJECTION = "direct injection"
    NOZZLE = "nozzle"
    SMOOTH_BORE_TIP = "smooth-bore tip"
    FOG_NOZZLE = "fog nozzle"
    ASPIRATING_TUBE = "aspirating tube"
    MONITOR = "monitor"
    PORTABLE_KIT = "portable kit"
    SELF_EDUCTING_NOZZLE = "self-educting nozzle"
    BATCH_MIX = "batch mix"  # concentrate poured into the water tank
    PICK_UP_TUBE = "pick-up tube"
    TRANSFER_PUMP = "transfer pump"


class RatingBasis(models.TextChoices):
    """What a maker's rated flow means."""

    SOLUTION = "solution at any setting"
    SOLUTION_AT_6 = "solution at 6 %"
    WATER = "water"


class Appliance(models.Model):
    """A proportioner, nozzle, tube, monitor or pump; it belongs to a unit (loose gear) or a vehicle (fixed)."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="appliances")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="appliances")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="appliances")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=ApplianceKind.choices)
    rated_flow_lpm = quantity()
    rating_basis = models.CharField(max_length=24, choices=RatingBasis.choices, default=RatingBasis.SOLUTION)
    settings_pct = models.JSONField(default=list, blank=True, help_text="hundredths of a point, e.g. [300, 600]")
    foam_feed_lpm = quantity(help_text="greatest flow of concentrate")
    plate_back_pressure_kpa = quantity()
    plate_lift_m = quantity()
    rated_pressure_kpa = quantity(help_text="an eductor's inlet, a nozzle's tip, at its rated flow")
    bore_m = quantity(help_text="of a smooth-bore tip")
    discharge = quantity(help_text="coefficient of discharge of a smooth bore")
    holds_pressure = models.BooleanField(default=False, help_text="an automatic nozzle")
    least_flow_lpm = quantity(help_text="from which on it proportions")
    greatest_intake_kpa = quantity(help_text="at the pump's intake, around the pump")
    rings_lpm = models.JSONField(default=list, blank=True, help_text="the flows that a selectable nozzle offers")
    accepts_thick = models.BooleanField(default=True)
    aspirating = models.BooleanField(default=False)
    state = models.CharField(max_length=8, choices=ServiceState.choices, default=ServiceState.IN)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=exactly_one("unit", "vehicle"), name="appliance_has_one_owner"),
            *(
                models.UniqueConstraint(
                    fields=[owner, "name"],
                    condition=Q(**{f"{owner}__isnull": False}),
                    name=f"appliance_once_on_{owner}",
                )
                for owner in ("unit", "vehicle")
            ),
            one_of("kind", ApplianceKind.values, "appliance_kind_known"),
            one_of("rating_basis", RatingBasis.values, "appliance_rating_basis_known"),
            one_of("state", ServiceState.values, "appliance_state_known"),
        ]

    def __str__(self) -> str:
        return self.name
