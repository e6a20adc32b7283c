"""What a device kept in its queue and sent later: the device's time and the server's, and what became of it."""

from __future__ import annotations

from django.db import models

from readiness.models.organisation import Department
from readiness.models.people import Device, User


class QueuedEntry(models.Model):
    """One entry of a device's queue, by the id that its form minted; a row however often it was sent.

    `happened_at` is the device's time put right by how far its clock was off when it was first sent. It is empty where
    the form had reached the book directly before and only its answer was lost: then the book's own time stands.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="queued_entries")
    client_id = models.UUIDField()
    whose = models.CharField(max_length=40, help_text="the sign-in under which the device kept it")
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="queued_entries")
    device = models.ForeignKey(Device, models.PROTECT, null=True, blank=True, related_name="queued_entries")
    address = models.CharField(max_length=200)
    device_at = models.DateTimeField(help_text="when it was entered, on the clock of the device")
    skew_s = models.IntegerField(help_text="the server’s clock less the device’s when it was first sent [s]")
    happened_at = models.DateTimeField(null=True, blank=True)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    times = models.PositiveIntegerField(default=1)
    outcome = models.CharField(max_length=16, blank=True)
    said = models.TextField(blank=True)

    class Meta:
        ordering = ["first_at", "id"]
        verbose_name = "entry of a device’s queue"
        verbose_name_plural = "entries of devices’ queues"
        constraints = [models.UniqueConstraint(fields=["department", "client_id"], name="queued_entry_once")]

    def __str__(self) -> str:
        return f"{self.address} {self.client_id}"
