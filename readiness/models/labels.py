"""Labels: a short code with a check character that names one thing for good, and the sheets they are printed on."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.containers import Container
from readiness.models.fields import exactly_one
from readiness.models.fleet import Unit, Vehicle
from readiness.models.foam_lines import FoamLine
from readiness.models.organisation import Department
from readiness.models.people import User

SUBJECTS = ("container", "line", "vehicle", "unit")


class Label(models.Model):
    """The code of one thing. It never changes and is never given to another thing; withdrawn, it stays known.

    A code is used once in the whole installation: scanned in another department it names nothing there.
    """

    department = models.ForeignKey(Department, models.PROTECT, related_name="labels")
    code = models.CharField(max_length=7, unique=True)
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="labels")
    line = models.ForeignKey(FoamLine, models.PROTECT, null=True, blank=True, related_name="labels")
    vehicle = models.ForeignKey(Vehicle, models.PROTECT, null=True, blank=True, related_name="labels")
    unit = models.ForeignKey(Unit, models.PROTECT, null=True, blank=True, related_name="labels")
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="labels_made")
    printed_at = models.DateTimeField(null=True, blank=True, help_text="last on a sheet; a reprint keeps the code")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="labels_withdrawn")
    reason = models.CharField(max_length=200, blank=True, help_text="why it was withdrawn")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=exactly_one(*SUBJECTS), name="label_of_one_thing"),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True, reason="") | (Q(withdrawn_at__isnull=False) & ~Q(reason="")),
                name="label_withdrawn_with_reason",
            ),
            *(
                models.UniqueConstraint(
                    fields=[each],
                    condition=Q(withdrawn_at__isnull=True, **{f"{each}__isnull": False}),
                    name=f"label_once_on_{each}",
                )
                for each in SUBJECTS
            ),
        ]

    def __str__(self) -> str:
        return f"label {self.code}"


class LabelSheet(models.Model):
    """A department's own sheet of labels, measured in millimeters from the paper's upper left corner."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="label_sheets")
    name = models.CharField(max_length=60)
    paper = models.CharField(max_length=6, choices=[("letter", "US letter"), ("a4", "A4")])
    columns = models.PositiveSmallIntegerField()
    rows = models.PositiveSmallIntegerField()
    width_mm = models.FloatField()
    height_mm = models.FloatField()
    left_mm = models.FloatField()
    top_mm = models.FloatField()
    pitch_x_mm = models.FloatField()
    pitch_y_mm = models.FloatField()
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["department", "name"], name="label_sheet_name_once"),
            models.CheckConstraint(condition=Q(paper__in=["letter", "a4"]), name="label_sheet_paper_known"),
            models.CheckConstraint(
                condition=Q(columns__gt=0, rows__gt=0, width_mm__gt=0, height_mm__gt=0), name="label_sheet_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.name
