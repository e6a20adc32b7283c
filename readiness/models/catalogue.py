"""Fuels, concentrates as listed, lots and laboratory samples."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from readiness.models.fields import exactly_one, one_of, percent, quantity
from readiness.models.organisation import Department


class FuelGroup(models.TextChoices):
    """What decides which concentrate suits a liquid."""

    HYDROCARBON = "hydrocarbon"
    POLAR = "polar"
    BLEND = "blend"
    UNKNOWN = "unknown"
    NOT_FOAM = "not_foam", "foam is not the agent"


class ConcentrateKind(models.TextChoices):
    """Kinds of concentrate, in the trade's abbreviations."""

    AFFF = "AFFF"
    AR_AFFF = "AR-AFFF"
    FFFP = "FFFP"
    AR_FFFP = "AR-FFFP"
    FP = "FP"
    P = "P"
    F3 = "F3"
    AR_F3 = "AR-F3"
    CLASS_A = "Class A"
    HIGH_EXPANSION = "high-expansion"
    WETTING_AGENT = "wetting agent"
    TRAINING = "training"


class ListingUse(models.TextChoices):
    """How foam is put on, as a listing states it."""

    SPILL = "spill"
    IN_DEPTH = "in depth"
    GENTLE = "gentle"
    DIRECT = "direct"
    CLASS_A = "class a"


class DatePrecision(models.TextChoices):
    """How exactly a date is known; it is good through its last day."""

    DAY = "day"
    MONTH = "month"
    YEAR = "year"


class ReferenceVersion(models.Model):
    """Which edition of a shipped table was loaded last."""

    name = models.CharField(max_length=60, unique=True)
    digest = models.CharField(max_length=64)
    loaded_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name


class Fuel(models.Model):
    """A liquid responders meet: shipped with the product (no department) or a department's own."""

    department = models.ForeignKey(Department, models.PROTECT, null=True, blank=True, related_name="fuels")
    un = models.CharField(max_length=8, blank=True)
    name = models.CharField(max_length=120)
    group = models.CharField(max_length=12, choices=FuelGroup.choices)
    oxygenate_pct = percent()
    flash_c = quantity()
    source = models.TextField()
    note = models.TextField(blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                "department", Lower("name"), condition=Q(department__isnull=False), name="fuel_name_once"
            ),
            models.UniqueConstraint(Lower("name"), condition=Q(department__isnull=True), name="shipped_fuel_once"),
            one_of("group", FuelGroup.values, "fuel_group_known"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.un})" if self.un else self.name


class Concentrate(models.Model):
    """A foam product as listed. PFAS unknown counts as yes."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="concentrates")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=16, choices=ConcentrateKind.choices)
    pfas = models.CharField(max_length=8, choices=[("yes", "yes"), ("no", "no"), ("unknown", "unknown")])
    pfas_evidence = models.TextField(blank=True)
    lowest_use_c = quantity()
    store_low_c = quantity()
    store_high_c = quantity()
    shear_thinning = models.BooleanField(default=False)
    density_kg_l = quantity()
    life_months = models.PositiveIntegerField(null=True, blank=True)
    copied_from = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="copies")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint("department", Lower("name"), name="concentrate_name_once"),
            one_of("kind", ConcentrateKind.values, "concentrate_kind_known"),
            one_of("pfas", ["yes", "no", "unknown"], "concentrate_pfas_known"),
        ]

    def __str__(self) -> str:
        return self.name


class CompatibilityGroup(models.Model):
    """Concentrates that a department, with evidence, allows to meet in one container. None by default."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="compatibility_groups")
    name = models.CharField(max_length=80)
    evidence = models.TextField()
    concentrates = models.ManyToManyField(Concentrate, related_name="compatibility_groups")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["department", "name"], name="compatibility_group_once"),
            models.CheckConstraint(condition=~Q(evidence=""), name="compatibility_needs_evidence"),
        ]

    def __str__(self) -> str:
        return self.name


class Listing(models.Model):
    """What a concentrate is listed for on a fuel, or on a group as a fallback; the rate keeps its published unit."""

    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="listings")
    fuel = models.ForeignKey(Fuel, models.PROTECT, null=True, blank=True, related_name="listings")
    fuel_group = models.CharField(max_length=12, blank=True)
    use = models.CharField(max_length=8, choices=ListingUse.choices)
    pct = models.PositiveSmallIntegerField()
    pct_high = percent()
    rate = models.DecimalField(max_digits=7, decimal_places=4, null=True, blank=True)
    rate_unit = models.CharField(max_length=8, blank=True)
    minutes = models.FloatField(null=True, blank=True)
    aspirating = models.BooleanField(default=False)
    expansion = quantity(help_text="least expansion of finished foam, where it is stated")
    quarter_min = quantity(help_text="least time in which a quarter drains, where it is stated")
    source = models.TextField()
    edition = models.CharField(max_length=60, blank=True)
    retired_on = models.DateField(null=True, blank=True, help_text="withdrawn: it counts no more")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(fuel__isnull=False, fuel_group="") | (Q(fuel__isnull=True) & ~Q(fuel_group="")),
                name="listing_fuel_or_group",
            ),
            models.UniqueConstraint(
                fields=["concentrate", "fuel", "use"], condition=Q(fuel__isnull=False), name="listing_fuel_once"
            ),
            models.UniqueConstraint(
                fields=["concentrate", "fuel_group", "use"], condition=Q(fuel__isnull=True), name="listing_group_once"
            ),
            one_of("use", ListingUse.values, "listing_use_known"),
            one_of("rate_unit", ["", "gpm_ft2", "lpm_m2"], "listing_rate_unit_known"),
        ]

    def __str__(self) -> str:
        return f"{self.concentrate} on {self.fuel or self.fuel_group}, {self.use}"


class Lot(models.Model):
    """One maker's batch of a concentrate."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="lots")
    concentrate = models.ForeignKey(Concentrate, models.PROTECT, related_name="lots")
    batch = models.CharField(max_length=60)
    made_on = models.DateField(null=True, blank=True)
    made_precision = models.CharField(max_length=5, choices=DatePrecision.choices, default=DatePrecision.DAY)
    makers_date = models.DateField(null=True, blank=True, help_text="good through the last day it names")
    date_precision = models.CharField(max_length=5, choices=DatePrecision.choices, default=DatePrecision.DAY)
    price_minor_per_l = models.BigIntegerField(null=True, blank=True, help_text="price a litre in hundredths")
    currency = models.CharField(max_length=3, blank=True)
    recalled_on = models.DateField(null=True, blank=True)
    recall_reference = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["department", "concentrate", "batch"], name="lot_batch_once"),
            one_of("date_precision", DatePrecision.values, "lot_date_precision_known"),
            one_of("made_precision", DatePrecision.values, "lot_made_precision_known"),
        ]

    def __str__(self) -> str:
        return f"{self.concentrate}, lot {self.batch}"


class Sample(models.Model):
    """A laboratory's answer on a lot, or on what one container holds; pass unknown while it is awaited."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="samples")
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="samples")
    container = models.ForeignKey("Container", models.PROTECT, null=True, blank=True, related_name="samples")
    taken_on = models.DateField()
    passed = models.BooleanField(null=True, blank=True)
    good_through = models.DateField(null=True, blank=True)
    report = models.CharField(max_length=200, blank=True)
    measured = models.JSONField(default=dict, blank=True, help_text="the laboratory's values by quality")

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one("lot", "container"), name="sample_of_one_thing"),
        ]
        indexes = [models.Index(fields=["lot", "-taken_on"]), models.Index(fields=["container", "-taken_on"])]

    def __str__(self) -> str:
        return f"sample of {self.lot or self.container} on {self.taken_on}"
