"""The append-only table of changes: who, when, what, old, new. Written by actions/changes.py alone."""

from __future__ import annotations

from django.db import models

from readiness.models.organisation import Department
from readiness.models.people import User


class Change(models.Model):
    """One change of one record. The database refuses to alter, delete or backdate a row."""

    department = models.ForeignKey(Department, models.PROTECT, null=True, blank=True, related_name="changes")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="changes")
    action = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.CharField(max_length=40)
    old = models.JSONField(null=True, blank=True)
    new = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["department", "subject_kind", "subject_id"])]

    def __str__(self) -> str:
        return f"{self.action} {self.subject_kind} {self.subject_id}"
