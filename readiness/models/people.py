"""People, what they may do in which department, and shared tablets."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q

from readiness.models.fields import one_of
from readiness.models.organisation import Department, Station


class User(AbstractUser):
    """A person. Names stand only here; everything else points at the row, so history outlives the person."""

    initials = models.CharField(max_length=4, blank=True)


class Role(models.TextChoices):
    """The roles of a department, in the words people there use."""

    CREW = "crew", "crew"
    OFFICER = "officer", "company officer"
    LOGISTICS = "logistics", "logistics officer"
    INSTRUCTOR = "instructor", "instructor"
    CHIEF = "chief", "chief"
    OBSERVER = "observer", "observer"


class Membership(models.Model):
    """What a person is in a department, from a day until a day."""

    user = models.ForeignKey(User, models.PROTECT, related_name="memberships")
    department = models.ForeignKey(Department, models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices)
    station = models.ForeignKey(Station, models.PROTECT, null=True, blank=True, related_name="memberships")
    from_on = models.DateField()
    to_on = models.DateField(null=True, blank=True)
    pin_hash = models.CharField(max_length=200, blank=True)
    pin_failures = models.PositiveSmallIntegerField(default=0, help_text="wrong PINs in a row, at whatever tablet")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["user", "department"], name="membership_once"),
            one_of("role", Role.values, "membership_role_known"),
            models.CheckConstraint(
                condition=Q(to_on__isnull=True) | Q(to_on__gte=models.F("from_on")), name="membership_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.get_role_display()})"


class Device(models.Model):
    """A station's shared tablet; it signs in as the station, people by initials and PIN.

    `key_hash` is of the key in the link that signs the tablet in: good once, and empty afterwards.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="devices")
    station = models.ForeignKey(Station, models.PROTECT, related_name="devices")
    name = models.CharField(max_length=60)
    key_hash = models.CharField(max_length=200, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["department", "name"], name="device_name_once")]

    def __str__(self) -> str:
        return self.name


class SignInAttempt(models.Model):
    """A try to sign in (or to have a password mailed) that did not succeed, kept for a quarter of an hour.

    `who` is a keyed fingerprint: people type passwords into the wrong field. Written by actions/people.py alone.
    """

    who = models.CharField(max_length=64)
    address = models.CharField(max_length=45)
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["who", "address", "at"]), models.Index(fields=["address", "at"])]

    def __str__(self) -> str:
        return f"attempt at {self.at:%Y-%m-%d %H:%M}"
