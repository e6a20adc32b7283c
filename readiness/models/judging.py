"""What was judged: nights, assessments with the inputs they used, and deficiencies with their since-when."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.fields import one_of
from readiness.models.fleet import Unit
from readiness.models.organisation import Department
from readiness.models.people import User


class StatusWord(models.TextChoices):
    """The status of a unit or a duty, in the words of the pages."""

    READY = "ready"
    LIMITED = "limited"
    UNVERIFIED = "unverified"
    NOT_READY = "not_ready", "not ready"
    NO_FOAM_DUTY = "no_foam_duty", "no foam duty"


class Night(models.Model):
    """One run of the night for a department and a day; complete once it has a finish."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="nights")
    day = models.DateField()
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    engine = models.CharField(max_length=20)
    judged = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    failed = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["-day"]
        constraints = [models.UniqueConstraint(fields=["department", "day"], name="night_once_a_day")]

    def __str__(self) -> str:
        return f"night of {self.day}"


class Inputs(models.Model):
    """The facts an assessment was made from, compressed, once for each digest."""

    digest = models.CharField(primary_key=True, max_length=32)
    body = models.BinaryField()

    def __str__(self) -> str:
        return self.digest


class Assessment(models.Model):
    """A unit's verdict as of a moment. A new one is written where the answer changed, and supersedes the last."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="assessments")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="assessments")
    day = models.DateField()
    at = models.DateTimeField()
    because = models.CharField(max_length=60)
    status = models.CharField(max_length=12, choices=StatusWord.choices)
    holds_until = models.DateField(null=True, blank=True)
    next_change_on = models.DateField(null=True, blank=True)
    check_good_until = models.DateTimeField(null=True, blank=True)
    answers = models.JSONField()
    digest = models.CharField(max_length=32)
    inputs = models.ForeignKey(Inputs, models.PROTECT, related_name="assessments")
    engine = models.CharField(max_length=20)
    confirmed_on = models.DateField(help_text="the last day on which judging gave the same answer")
    superseded_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["unit"], condition=Q(superseded_at__isnull=True), name="assessment_current"
            ),
            one_of("status", StatusWord.values, "assessment_status_known"),
        ]
        indexes = [
            models.Index(fields=["department", "day"]),
            models.Index(fields=["unit", "-at"]),
            # The fleet page counts and filters the current assessments of thousands of units from these two alone;
            # the field of the condition is in the second because SQLite looks a row up to read it.
            models.Index(
                fields=["department", "holds_until", "unit", "status"],
                condition=Q(superseded_at__isnull=True),
                name="assessment_now_by_day",
            ),
            models.Index(
                fields=["unit", "status", "holds_until", "check_good_until", "at", "department", "superseded_at"],
                condition=Q(superseded_at__isnull=True),
                name="assessment_now_by_unit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit} {self.status} on {self.day}"


class Deficiency(models.Model):
    """One thing wrong with a unit: opened, kept and closed by judging; accepted until a day by a named chief."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="deficiencies")
    unit = models.ForeignKey(Unit, models.PROTECT, related_name="deficiencies")
    code = models.CharField(max_length=40)
    subject_kind = models.CharField(max_length=20)
    subject_id = models.BigIntegerField()
    severity = models.CharField(max_length=12)
    measured = models.FloatField(null=True, blank=True)
    required = models.FloatField(null=True, blank=True)
    quantity = models.CharField(max_length=16, blank=True)
    words = models.CharField(max_length=160, blank=True)
    since_on = models.DateField(null=True, blank=True)
    opened_at = models.DateTimeField()
    seen_on = models.DateField()
    closed_on = models.DateField(null=True, blank=True)
    owner = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="deficiencies_owned")
    due_on = models.DateField(null=True, blank=True)
    accepted_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="deficiencies_accepted")
    accepted_until = models.DateField(null=True, blank=True)
    note = models.TextField(blank=True)
    reopens = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="reopened_by")

    class Meta:
        ordering = ["opened_at", "id"]
        verbose_name_plural = "deficiencies"
        constraints = [
            models.UniqueConstraint(
                fields=["unit", "code", "subject_kind", "subject_id"],
                condition=Q(closed_on__isnull=True),
                name="deficiency_open_once",
            ),
            models.CheckConstraint(
                condition=Q(accepted_until__isnull=True, accepted_by__isnull=True)
                | Q(accepted_until__isnull=False, accepted_by__isnull=False),
                name="deficiency_accepted_by_somebody",
            ),
        ]
        indexes = [models.Index(fields=["department", "closed_on", "due_on"])]

    def __str__(self) -> str:
        return f"{self.unit}: {self.code}"
