"""Deficiencies that people raise, the work on them, and photos; judging reads open ones as faults of their units."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.checks import Check
from readiness.models.containers import Container
from readiness.models.fields import exactly_one, one_of
from readiness.models.fleet import Unit, Vehicle
from readiness.models.foam_lines import FoamLine
from readiness.models.organisation import Department
from readiness.models.people import User


class Effect(models.TextChoices):
    """What a raised deficiency does to the status of the unit that it is on tonight."""

    NOT_READY = "not_ready", "not ready: it does not work"
    LIMITED = "limited", "limited: it works, not fully"
    UNVERIFIED = "unverified", "unverified: nobody knows what it does"
    NOTE = "note", "none: worth knowing"


class RaisedKind(models.TextChoices):
    """A fault of something, or something that is short and has to be ordered."""

    FAULT = "fault"
    ORDER = "order"


class Photo(models.Model):
    """A picture on disk under MEDIA_ROOT, by its fingerprint; served to its department alone."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="photos")
    sha256 = models.CharField(max_length=64)
    media_type = models.CharField(max_length=20)
    size_bytes = models.PositiveIntegerField()
    kept_at = models.DateTimeField()
    kept_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="photos")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["department", "sha256"], name="photo_once")]

    def __str__(self) -> str:
        return f"photo {self.pk}"


class RaisedDeficiency(models.Model):
    """One thing wrong with a unit, vehicle, line or container, as somebody saw it; closed with proof."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="raised_deficiencies")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="raised")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="raised")
    line = models.ForeignKey(FoamLine, models.PROTECT, null=True, blank=True, related_name="raised")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="raised")
    kind = models.CharField(max_length=5, choices=RaisedKind.choices, default=RaisedKind.FAULT)
    words = models.CharField(max_length=140)
    effect = models.CharField(max_length=10, choices=Effect.choices)
    check_of = models.ForeignKey(Check, models.PROTECT, null=True, blank=True, related_name="raised")
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="raised")
    owner = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="raised_owned")
    due_on = models.DateField(null=True, blank=True)
    shop_ticket = models.CharField(max_length=60, blank=True)
    loaner = models.CharField(max_length=120, blank=True, help_text="what stands in for it meanwhile")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="raised_closed")

    class Meta:
        ordering = ["raised_at", "id"]
        verbose_name = "deficiency raised by hand"
        verbose_name_plural = "deficiencies raised by hand"
        constraints = [
            models.CheckConstraint(
                condition=exactly_one("unit", "vehicle", "line", "container"), name="raised_of_one_thing"
            ),
            models.CheckConstraint(condition=~Q(words=""), name="raised_has_words"),
            one_of("effect", Effect.values, "raised_effect_known"),
            one_of("kind", RaisedKind.values, "raised_kind_known"),
        ]
        indexes = [models.Index(fields=["department", "closed_at"])]

    def __str__(self) -> str:
        return f"{self.subject_name}: {self.words}"

    @property
    def subject_name(self) -> str:
        """The thing it is about."""
        return str(self.container or self.line or self.unit or self.vehicle)


class WorkEntry(models.Model):
    """A line of the work log: what somebody saw or did, with a photo where there is one. Never altered."""

    deficiency = models.ForeignKey(RaisedDeficiency, models.PROTECT, related_name="work")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="work_entries")
    what = models.CharField(max_length=10)
    words = models.CharField(max_length=500, blank=True)
    photo = models.ForeignKey(Photo, models.PROTECT, null=True, blank=True, related_name="work")

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "work entries"
        constraints = [one_of("what", ["raised", "work", "changed", "closed", "reopened"], "work_entry_what_known")]

    def __str__(self) -> str:
        return f"{self.what}: {self.words}"
