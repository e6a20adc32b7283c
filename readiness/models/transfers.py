"""Transfers in two steps. What is in transit stands at the transfer's own place: the ledger alone says what that is."""

from __future__ import annotations

from django.db import models

from readiness.models.fields import exactly_one
from readiness.models.organisation import Department, Station
from readiness.models.people import User


class Transfer(models.Model):
    """Sent by one person to a station's store, a unit or a vehicle, and received there by another."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="transfers")
    station = models.ForeignKey(Station, models.PROTECT, null=True, blank=True, related_name="transfers_to")
    unit = models.ForeignKey("Unit", models.PROTECT, null=True, blank=True, related_name="transfers_to")
    vehicle = models.ForeignKey("Vehicle", models.PROTECT, null=True, blank=True, related_name="transfers_to")
    compartment = models.CharField(max_length=60, blank=True)
    sent_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="transfers_sent")
    sent_at = models.DateTimeField()
    expected_on = models.DateField(help_text="overdue when anything of it is in transit after this day")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-sent_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one("station", "unit", "vehicle"), name="transfer_goes_to_one")
        ]

    def __str__(self) -> str:
        return f"transfer {self.pk}"

    @property
    def destination(self) -> str:
        """Where it goes, in words."""
        owner = f"{self.station} store" if self.station else str(self.unit or self.vehicle)
        return f"{owner}, {self.compartment}" if self.compartment else owner


class TransferDifference(models.Model):
    """What did not come, came with less, or came unlisted: kept with its explanation, whatever becomes of it."""

    transfer = models.ForeignKey(Transfer, models.PROTECT, related_name="differences")
    container = models.ForeignKey("Container", models.PROTECT, related_name="transfer_differences")
    what = models.CharField(max_length=160)
    noted_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="transfer_differences")
    noted_at = models.DateTimeField()
    movement = models.ForeignKey("Movement", models.PROTECT, null=True, blank=True, related_name="transfer_differences")

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.container}: {self.what}"
