"""Notes from one shift to the next: written, read, and ended when done; none is ever deleted."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.fields import one_of
from readiness.models.fleet import Unit
from readiness.models.movements import Identity
from readiness.models.organisation import Department, Station
from readiness.models.people import Device, User


class HandOverNote(models.Model):
    """What the next shift has to know, of one unit or of a whole station."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="hand_over_notes")
    station = models.ForeignKey(Station, models.PROTECT, related_name="hand_over_notes")
    unit = models.ForeignKey(
        Unit, models.PROTECT, null=True, blank=True, related_name="hand_over_notes", help_text="empty: the station’s"
    )
    words = models.CharField(max_length=600)
    written_at = models.DateTimeField()
    written_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="hand_over_notes")
    identity = models.CharField(max_length=8, choices=Identity.choices)
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="hand_over_notes")
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="hand_over_notes_done")

    class Meta:
        ordering = ["-written_at", "-id"]
        verbose_name = "hand-over note"
        constraints = [
            models.CheckConstraint(condition=~Q(words=""), name="hand_over_note_has_words"),
            one_of("identity", Identity.values, "hand_over_note_identity_known"),
        ]
        indexes = [models.Index(fields=["station", "done_at"])]

    def __str__(self) -> str:
        return f"hand-over note {self.pk}"


class NoteRead(models.Model):
    """Somebody says that they have read a note."""

    note = models.ForeignKey(HandOverNote, models.PROTECT, related_name="reads")
    user = models.ForeignKey(User, models.PROTECT, related_name="notes_read")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        verbose_name = "reading of a hand-over note"
        verbose_name_plural = "readings of hand-over notes"
        constraints = [models.UniqueConstraint(fields=["note", "user"], name="note_read_once")]

    def __str__(self) -> str:
        return f"note {self.note_id} read"
