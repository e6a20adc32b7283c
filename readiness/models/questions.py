"""Questions that a check gives to the company officer, once they are answered."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from readiness.models.checks import Check
from readiness.models.containers import Container
from readiness.models.organisation import Department
from readiness.models.people import User


class Answered(models.Model):
    """What an officer found out about a check that raised a question: of the whole check, or of one container."""

    department = models.ForeignKey(Department, models.PROTECT, related_name="answered")
    check_of = models.ForeignKey(Check, models.PROTECT, related_name="answered")
    container = models.ForeignKey(Container, models.PROTECT, null=True, blank=True, related_name="answered")
    words = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, blank=True, related_name="answered")

    class Meta:
        ordering = ["id"]
        verbose_name = "answered question"
        constraints = [
            models.UniqueConstraint(fields=["check_of", "container"], name="question_of_container_answered_once"),
            models.UniqueConstraint(
                fields=["check_of"], condition=Q(container__isnull=True), name="question_of_check_answered_once"
            ),
            models.CheckConstraint(condition=~Q(words=""), name="answer_has_words"),
        ]

    def __str__(self) -> str:
        return f"answer to {self.check_of}"
