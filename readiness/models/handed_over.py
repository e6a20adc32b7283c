"""Sheets that somebody kept for years, handed over: as a draft while they are settled, as a report afterwards."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.fields import one_of
from readiness.models.organisation import Department
from readiness.models.people import User


class SheetLayout(models.Model):
    """How sheets with these headings in these columns are read: the mapping as it was last chosen."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="sheet_layouts")
    fingerprint = models.CharField(max_length=64)
    layout = models.JSONField()
    chosen_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="sheet_layouts")
    chosen_at = models.DateTimeField()

    class Meta:
        ordering = ["-chosen_at", "-id"]
        constraints = [models.UniqueConstraint(fields=["department", "fingerprint"], name="sheet_layout_once")]

    def __str__(self) -> str:
        return str(self.layout.get("sheet", ""))


class SheetState(models.TextChoices):
    """How far a handed-over sheet has come."""

    DRAFT = "draft"
    WORKING = "working", "at work"
    TAKEN = "taken", "taken in"
    COMPARED = "compared", "compared with the book"
    UNDONE = "undone", "taken back out"


class HandedOver(models.Model):
    """One file that was handed over. While it is a draft the file is kept; afterwards its rows are."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="handed_over")
    name = models.CharField(max_length=200, help_text="of the file")
    file = models.BinaryField(default=bytes)
    file_sha256 = models.CharField(max_length=64)
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="handed_over")
    sent_at = models.DateTimeField()
    fingerprint = models.CharField(max_length=64, blank=True)
    layout = models.JSONField(default=dict, help_text="empty until it was chosen")
    notes = models.JSONField(default=list, help_text="what the file holds beside the rows that are read, in sentences")
    answers = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=SheetState.choices, default=SheetState.DRAFT)
    working = models.JSONField(default=dict, help_text="what is being done, since when, and how far it is")
    tried = models.JSONField(default=dict, help_text="what the last dry run said, and of which answers")
    ended_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="handed_over_ended")
    ended_at = models.DateTimeField(null=True, blank=True)
    rows_sha256 = models.CharField(max_length=64, blank=True, help_text="of the rows as they stood, once taken in")
    containers = models.PositiveIntegerField(default=0, help_text="that came into the book by it")

    class Meta:
        ordering = ["-sent_at", "-id"]
        constraints = [
            one_of("state", SheetState.values, "handed_over_state_known"),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, state__in=[SheetState.DRAFT, SheetState.WORKING])
                | Q(ended_at__isnull=False, state__in=[SheetState.TAKEN, SheetState.COMPARED, SheetState.UNDONE]),
                name="handed_over_ended_with_a_day",
            ),
        ]
        indexes = [models.Index(fields=["department", "fingerprint", "state"])]

    def __str__(self) -> str:
        return self.name


class HandedOverRow(models.Model):
    """One filled row of a sheet that was taken in or compared: what stood there, and what became of it."""

    handed_over = models.ForeignKey(HandedOver, models.PROTECT, db_index=False, related_name="rows")
    number = models.PositiveIntegerField()
    fate = models.CharField(max_length=16)
    said = models.TextField(help_text="the row as it stood")
    became = models.TextField(help_text="in sentences")
    left = models.TextField(blank=True, help_text="what stands in it and went into no record")
    codes = models.JSONField(default=list, help_text="the label codes of its containers")
    ml = models.BigIntegerField(default=0, help_text="what its containers held together")

    class Meta:
        ordering = ["number"]
        constraints = [models.UniqueConstraint(fields=["handed_over", "number"], name="handed_over_row_once")]

    def __str__(self) -> str:
        return f"row {self.number}"
