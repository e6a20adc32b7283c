"""A department's rules. Each default names where it comes from; a chief may change any of them."""

from __future__ import annotations

from typing import NamedTuple

from django.db import models

from readiness.models.fields import one_of
from readiness.models.organisation import Department


class Rule(NamedTuple):
    """A rule's default, its unit for people, and the source of the default."""

    default: int | bool | str
    unit: str
    source: str


RULES: dict[str, Rule] = {
    "back_pressure_share": Rule(
        6500,
        "1/100 % of inlet pressure",
        "65 % of inlet: trade article on foam eductors, read in a stored copy; makers' plates state 65 to 70 %",
    ),
    "unit_hold_back": Rule(0, "1/100 % of need", "common practice, no source"),
    "hazard_hold_back": Rule(2000, "1/100 % of need", "common practice, no source"),
    "check_interval_h": Rule(24, "hours", "start-of-shift checks: public trade articles"),
    "reserve_check_interval_h": Rule(168, "hours", "weekly inventory by compartment: public trade articles"),
    "sample_interval_d": Rule(365, "days", "yearly sample: two public sources; one says 5 to 10 years"),
    "test_interval_d": Rule(365, "days", "yearly proportioning test: public trade articles"),
    "foam_test_interval_d": Rule(0, "days", "0: no foam test is asked for; common practice, no source"),
    "vehicle_3_least": Rule(280, "1/100 % of solution", "NFPA 412, from memory, unconfirmed"),
    "vehicle_3_most": Rule(350, "1/100 % of solution", "NFPA 412, from memory, unconfirmed"),
    "vehicle_6_least": Rule(550, "1/100 % of solution", "NFPA 412, from memory, unconfirmed"),
    "vehicle_6_most": Rule(700, "1/100 % of solution", "NFPA 412, from memory, unconfirmed"),
    "opened_limit_d": Rule(365, "days", "from memory, unconfirmed"),
    "expiry_warn_d": Rule(365, "days", "budget year; common practice, no source"),
    "rich_end": Rule("caution", "caution | short", "common practice, no source"),
    "add_concentrates": Rule(False, "yes | no", "concentrates never meet in one container: public trade articles"),
    "plain_on_e10": Rule(
        "no", "no | limited", "in published 2007 tests only AR-AFFF passed on E10 and E95: public article"
    ),
    "dead_band_ml": Rule(0, "mL", "added to each gauge's own resolution; common practice, no source"),
    "inventory_interval_d": Rule(31, "days", "monthly whole inventory by compartment: public trade articles"),
    "inventory_confirm_share": Rule(1000, "1/100 % of what was counted", "one in ten; common practice, no source"),
    "inventory_limit_share": Rule(500, "1/100 % of the book", "from memory, unconfirmed"),
    "inventory_limit_ml": Rule(1893, "mL", "half a US gallon; from memory, unconfirmed"),
    "inventory_total_share": Rule(200, "1/100 % of the book", "from memory, unconfirmed"),
    "drill_with_pfas": Rule(
        False,
        "yes | no",
        "fluorinated foam is not for training: C.R.S. 24-33.5-1234 and Minn. Stat. 325F.072, read in part",
    ),
    "order_counts": Rule("stores", "stores | all", "what is aboard stands at its post; common practice, no source"),
    "use_window_d": Rule(365, "days", "a budget year of use; common practice, no source"),
    "lead_time_d": Rule(90, "days", "from memory, unconfirmed: ask the supplier"),
    "budget_month": Rule(1, "month", "the calendar year; common practice, no source"),
}


class RegionPack(models.TextChoices):
    """Rules of a region or a trade that not everybody has. Off unless a department turns one on."""

    AIRPORT = "airport", "airport categories"
    MARINE = "marine", "marine"
    STORAGE = "storage", "national storage codes"
    FLUORINE = "fluorine", "PFAS calendars"


class Policy(models.Model):
    """One row a department; the names are the keys of RULES."""

    department = models.OneToOneField(Department, models.PROTECT, related_name="policy")
    back_pressure_share = models.PositiveSmallIntegerField(default=RULES["back_pressure_share"].default)
    unit_hold_back = models.PositiveSmallIntegerField(default=RULES["unit_hold_back"].default)
    hazard_hold_back = models.PositiveSmallIntegerField(default=RULES["hazard_hold_back"].default)
    check_interval_h = models.PositiveIntegerField(default=RULES["check_interval_h"].default)
    reserve_check_interval_h = models.PositiveIntegerField(default=RULES["reserve_check_interval_h"].default)
    sample_interval_d = models.PositiveIntegerField(default=RULES["sample_interval_d"].default)
    test_interval_d = models.PositiveIntegerField(default=RULES["test_interval_d"].default)
    foam_test_interval_d = models.PositiveIntegerField(default=RULES["foam_test_interval_d"].default)
    vehicle_3_least = models.PositiveSmallIntegerField(default=RULES["vehicle_3_least"].default)
    vehicle_3_most = models.PositiveSmallIntegerField(default=RULES["vehicle_3_most"].default)
    vehicle_6_least = models.PositiveSmallIntegerField(default=RULES["vehicle_6_least"].default)
    vehicle_6_most = models.PositiveSmallIntegerField(default=RULES["vehicle_6_most"].default)
    opened_limit_d = models.PositiveIntegerField(default=RULES["opened_limit_d"].default)
    expiry_warn_d = models.PositiveIntegerField(default=RULES["expiry_warn_d"].default)
    rich_end = models.CharField(max_length=8, default=RULES["rich_end"].default)
    add_concentrates = models.BooleanField(default=bool(RULES["add_concentrates"].default))
    plain_on_e10 = models.CharField(max_length=8, default=RULES["plain_on_e10"].default)
    dead_band_ml = models.PositiveIntegerField(default=RULES["dead_band_ml"].default)
    inventory_interval_d = models.PositiveIntegerField(default=RULES["inventory_interval_d"].default)
    inventory_confirm_share = models.PositiveSmallIntegerField(default=RULES["inventory_confirm_share"].default)
    inventory_limit_share = models.PositiveSmallIntegerField(default=RULES["inventory_limit_share"].default)
    inventory_limit_ml = models.PositiveIntegerField(default=RULES["inventory_limit_ml"].default)
    inventory_total_share = models.PositiveSmallIntegerField(default=RULES["inventory_total_share"].default)
    drill_with_pfas = models.BooleanField(default=bool(RULES["drill_with_pfas"].default))
    order_counts = models.CharField(max_length=8, default=RULES["order_counts"].default)
    use_window_d = models.PositiveIntegerField(default=RULES["use_window_d"].default)
    lead_time_d = models.PositiveIntegerField(default=RULES["lead_time_d"].default)
    budget_month = models.PositiveSmallIntegerField(default=RULES["budget_month"].default)
    region_packs = models.JSONField(default=list, blank=True)
    sample_limits = models.JSONField(default=dict, blank=True, help_text="what differs from the shipped limits")

    class Meta:
        verbose_name_plural = "policies"
        constraints = [
            one_of("rich_end", ["caution", "short"], "policy_rich_end_known"),
            one_of("plain_on_e10", ["no", "limited"], "policy_plain_on_e10_known"),
            one_of("order_counts", ["stores", "all"], "policy_order_counts_known"),
        ]

    def __str__(self) -> str:
        return f"policy of {self.department}"
