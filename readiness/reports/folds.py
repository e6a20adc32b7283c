"""The ledger folded to a past moment."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from django.db.models import Q, Sum

from readiness.models import Department, Marking, MovementLine, Relocation


class Folded(NamedTuple):
    """The ledger at a moment: volume by container and lot, and where and how each container was."""

    at: datetime
    holdings: dict[int, dict[int, int]]
    places: Mapping[int, int | None]
    marks: dict[int, dict[str, str]]


def fold_at(department: Department, at: datetime) -> Folded:
    """Fold the movements that had happened by `at`, in the order recorded."""
    happened = Q(movement__department=department, movement__happened_at__lte=at)
    lines = MovementLine.objects.filter(happened, container__isnull=False).order_by()
    sums = lines.values_list("container", "lot").annotate(ml=Sum("ml"))
    holdings: dict[int, dict[int, int]] = defaultdict(dict)
    for container, lot, ml in sums.iterator(chunk_size=5000):
        if ml > 0:
            holdings[container][lot] = ml
    moves = Relocation.objects.filter(happened).order_by("id")
    places = dict(moves.values_list("container", "to_place").iterator(chunk_size=5000))
    marks: dict[int, dict[str, str]] = defaultdict(dict)
    rows = Marking.objects.filter(happened).order_by("id").values_list("container", "mark", "new")
    for container, mark, new in rows.iterator(chunk_size=5000):
        marks[container][mark] = new
    return Folded(at, holdings, places, marks)
