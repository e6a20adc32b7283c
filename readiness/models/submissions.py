"""What a form or a phone sent: posted once, held with a reason for an officer, or closed by one."""

from __future__ import annotations

from django.db import models

from readiness.models.fields import one_of
from readiness.models.movements import Identity, Movement
from readiness.models.organisation import Department
from readiness.models.people import Device, User


class Outcome(models.TextChoices):
    """What became of a submission."""

    POSTED = "posted"
    HELD = "held"
    CLOSED = "closed"


class Submission(models.Model):
    """Kept whole, with the id its sender minted; the same id with another body is a second row, held and shown."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="submissions")
    client_id = models.UUIDField()
    kind = models.CharField(max_length=24)
    body = models.JSONField()
    body_sha256 = models.CharField(max_length=64)
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="submissions")
    identity = models.CharField(max_length=8, choices=Identity.choices)
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="submissions")
    device_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField()
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    why = models.TextField(blank=True)
    movement = models.ForeignKey(Movement, models.PROTECT, null=True, blank=True, related_name="submissions")
    settled_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="submissions_settled")
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["received_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["department", "client_id", "body_sha256"], name="submission_once"),
            one_of("outcome", Outcome.values, "submission_outcome_known"),
        ]
        indexes = [models.Index(fields=["department", "outcome", "received_at"])]

    def __str__(self) -> str:
        return f"{self.kind} {self.client_id} ({self.outcome})"
