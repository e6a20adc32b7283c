"""Morning checks: what a crew measured and saw, with numbers."""

from __future__ import annotations

from django.db import models

from readiness.models.containers import Container
from readiness.models.fields import one_of, percent
from readiness.models.fleet import Unit, Vehicle
from readiness.models.foam_lines import FoamLine
from readiness.models.movements import Identity
from readiness.models.organisation import Department
from readiness.models.people import Device, User


class Answer(models.TextChoices):
    """What a check says of one thing; not looked at is not good."""

    GOOD = "good"
    FAULT = "fault"
    NOT_LOOKED = "not looked at"
    NOT_CARRIED = "not carried"


class Check(models.Model):
    """One check of a unit on its vehicle of that day; kept as recorded, never altered."""

    id = models.UUIDField(primary_key=True)
    department = models.ForeignKey(Department, models.PROTECT, related_name="checks")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="checks")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="checks")
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="checks")
    identity = models.CharField(max_length=8, choices=Identity.choices)
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="checks")
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    complete = models.BooleanField(help_text="everything the unit carries was looked at")
    notes = models.TextField(blank=True)
    photo = models.ForeignKey("Photo", models.PROTECT, null=True, blank=True, related_name="checks")
    body_sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["-finished_at", "-id"]
        indexes = [models.Index(fields=["unit", "-finished_at"])]
        constraints = [one_of("identity", Identity.values, "check_identity_known")]

    def __str__(self) -> str:
        return f"check of {self.unit} at {self.finished_at:%Y-%m-%d %H:%M}"


class Reading(models.Model):
    """What a check says of one container, one line, or another thing by name."""

    check_of = models.ForeignKey(Check, models.PROTECT, related_name="readings")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="readings")
    line = models.ForeignKey(FoamLine, models.PROTECT, null=True, blank=True, related_name="readings")
    item = models.CharField(max_length=60, blank=True)
    answer = models.CharField(max_length=14, choices=Answer.choices)
    parts = models.JSONField(default=dict, blank=True, help_text="each part that was asked for and its answer")
    ml = models.BigIntegerField(null=True, blank=True, help_text="by the gauge, or by the stick alone")
    stick_ml = models.BigIntegerField(null=True, blank=True, help_text="by the stick")
    book_ml = models.BigIntegerField(null=True, blank=True, help_text="what the ledger said at that moment")
    sealed = models.BooleanField(null=True, blank=True)
    setting_pct = percent()
    ring_lpm = models.FloatField(null=True, blank=True)
    face = models.CharField(max_length=8, blank=True, help_text="which face of a kit's dial is up")
    flushed = models.BooleanField(null=True, blank=True)
    words = models.TextField(blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            one_of("answer", Answer.values, "reading_answer_known"),
            models.CheckConstraint(
                condition=models.Q(container__isnull=False, line__isnull=True, item="")
                | models.Q(container__isnull=True, line__isnull=False, item="")
                | (models.Q(container__isnull=True, line__isnull=True) & ~models.Q(item="")),
                name="reading_of_one_thing",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container or self.line or self.item}: {self.answer}"
