"""The largest planned need of each concentrate: of all duties that count on it, as the assessments stand."""

from __future__ import annotations

from datetime import datetime
from math import ceil
from typing import NamedTuple

from readiness.engineering.units import ML_PER_L
from readiness.models import Assessment, Department
from readiness.reports.verdicts import read_kept


class PlannedNeed(NamedTuple):
    """What one duty of one unit takes [mL], and when that was worked out."""

    need_ml: int
    unit_id: int
    unit: str
    duty: str
    as_of: datetime


class PlannedNeeds(NamedTuple):
    """The largest of each concentrate, and the units whose answers could not be read."""

    of: dict[int, PlannedNeed]
    unread: tuple[str, ...]


def planned_needs(department: Department) -> PlannedNeeds:
    """By concentrate. A duty that is answered by several concentrates counts with its whole need for each of them."""
    rows = Assessment.objects.filter(department=department, superseded_at__isnull=True, unit__retired_on__isnull=True)
    found: dict[int, PlannedNeed] = {}
    unread = []
    for row in rows.select_related("unit").order_by("unit__designation").iterator():
        try:
            answers = read_kept(row.answers).verdict.answers
        except (KeyError, TypeError, ValueError):
            unread.append(row.unit.designation)  # another version's: the night writes it anew
            continue
        for answer in answers:
            need = PlannedNeed(ceil(answer.need_l * ML_PER_L), row.unit_id, row.unit.designation, answer.name, row.at)
            for concentrate in answer.concentrate_ids:
                if need.need_ml and (concentrate not in found or need.need_ml > found[concentrate].need_ml):
                    found[concentrate] = need
    return PlannedNeeds(found, tuple(unread))
