"""What a unit is planned for: design spills, and the Class A and airport duties that stand beside them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.catalogue import Fuel, ListingUse
from readiness.models.fields import one_of, percent, quantity
from readiness.models.fleet import Unit
from readiness.models.organisation import Department


class DutyKind(models.TextChoices):
    """The three ways in which a need for concentrate is stated."""

    SPILL = "spill", "design spill"
    CLASS_A = "class-a", "Class A"
    AIRPORT = "airport", "airport"


class Purpose(models.TextChoices):
    """What the foam is to do on a design spill."""

    FIRE = "fire"
    VAPOR = "vapor suppression"


class Supply(models.TextChoices):
    """Where water comes from when the tank is dry; empty means nobody named it."""

    NOT_NAMED = "", "not named"
    HYDRANT = "hydrant"
    DRAFTING = "drafting"
    TENDERS = "tenders"
    NONE = "none"


class RegionRule(models.TextChoices):
    """Whose rule a design spill is planned by, where it is not the general one; each belongs to a region pack."""

    GENERAL = "", "general rules"
    DECK = "deck", "tanker’s cargo deck, code for ships"
    TANK = "tank", "storage tank, national code"


class Application(models.TextChoices):
    """How foam is put on a storage tank, as the national code divides it."""

    NOT_STATED = "", "not stated"
    GENTLE = "gentle"
    INDIRECT = "indirect"
    DIRECT = "direct"


class Duty(models.Model):
    """A design spill (fuel, footprint, use), a Class A duty (tankfuls) or an airport duty (twice the water)."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="duties")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="duties")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=8, choices=DutyKind.choices)
    fuel = models.ForeignKey(Fuel, models.PROTECT, null=True, blank=True, related_name="duties")
    area_m2 = quantity()
    use = models.CharField(max_length=8, choices=ListingUse.choices, blank=True)
    purpose = models.CharField(max_length=18, choices=Purpose.choices, default=Purpose.FIRE)
    rate = models.DecimalField(max_digits=7, decimal_places=4, null=True, blank=True)
    rate_unit = models.CharField(max_length=8, blank=True)
    minutes = models.FloatField(null=True, blank=True)
    hold_min = quantity(help_text="vapor kept down for so long, as planned")
    interval_min = quantity(help_text="between two upkeeps of the blanket")
    blanket_depth_m = quantity()
    blanket_expansion = quantity(help_text="of the foam as it lies")
    drained_pct = percent(help_text="of the blanket in an interval")
    blanket_wind_pct = percent(help_text="extra share of the blanket that the wind takes")
    rule = models.CharField(max_length=4, choices=RegionRule.choices, blank=True)
    largest_tank_m2 = quantity(help_text="horizontal section of a ship's largest cargo tank")
    monitor_area_m2 = quantity(help_text="deck that its largest monitor protects")
    inert_gas = models.BooleanField(null=True, blank=True)
    application = models.CharField(max_length=8, choices=Application.choices, blank=True)
    mobile_means = models.BooleanField(null=True, blank=True)
    category = models.PositiveSmallIntegerField(null=True, blank=True, help_text="of an airport, met by one vehicle")
    supply = models.CharField(max_length=8, choices=Supply.choices, blank=True)
    supply_lpm = quantity()
    tankfuls = quantity()
    setting_pct = percent(help_text="of a Class A duty; empty: as the concentrate is listed")
    required_water_l = quantity()
    other_agent_kg = quantity()
    source = models.TextField()
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "duties"
        constraints = [
            models.UniqueConstraint(fields=["unit", "name"], name="duty_once_in_unit"),
            one_of("kind", DutyKind.values, "duty_kind_known"),
            one_of("purpose", Purpose.values, "duty_purpose_known"),
            one_of("supply", Supply.values, "duty_supply_known"),
            one_of("rate_unit", ["", "gpm_ft2", "lpm_m2"], "duty_rate_unit_known"),
            one_of("rule", RegionRule.values, "duty_rule_known"),
            one_of("application", Application.values, "duty_application_known"),
            models.CheckConstraint(
                condition=(Q(kind="spill", fuel__isnull=False, area_m2__gt=0) & ~Q(use=""))
                | Q(kind="class-a", tankfuls__gt=0)
                | Q(kind="airport", required_water_l__gt=0),
                name="duty_states_its_need",
            ),
        ]

    def __str__(self) -> str:
        return self.name
