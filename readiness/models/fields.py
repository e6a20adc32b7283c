"""Small builders for columns and constraints that recur, so that each says its unit in its name and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import models
from django.db.models import Q


def exactly_one(*names: str) -> Q:
    """True where exactly one of the named foreign keys is filled."""
    chosen = Q()
    for name in names:
        others = Q(**{f"{other}__isnull": True for other in names if other != name})
        chosen |= Q(**{f"{name}__isnull": False}) & others
    return chosen


def one_of(name: str, choices: Sequence[str], constraint: str) -> models.CheckConstraint:
    """A CHECK that a text column holds one of the words in `choices`."""
    return models.CheckConstraint(condition=Q(**{f"{name}__in": list(choices)}), name=constraint)


def quantity(**options: Any) -> models.FloatField[float | None, float | None]:
    """A measured quantity in SI units, unknown when null; the column's name ends in its unit."""
    return models.FloatField(null=True, blank=True, **options)


def percent(**options: Any) -> models.PositiveSmallIntegerField[int | None, int | None]:
    """A percentage in whole hundredths of a point (3 % = 300), unknown when null."""
    return models.PositiveSmallIntegerField(null=True, blank=True, **options)
