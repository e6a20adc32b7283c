"""Nights as they were stored."""

from __future__ import annotations

from datetime import date

from django.db.models import Q

from readiness.models import Assessment, Deficiency, Department, Night
from readiness.reports.verdicts import Kept, Since, read_kept


def stored_night(department: Department, day: date) -> tuple[tuple[Kept, ...], tuple[tuple[str, str], ...]]:
    """Every unit's assessment as it stood at the end of that day, and the units that could not be judged."""
    stood = Q(day__lte=day, confirmed_on__gte=day)
    rows = Assessment.objects.filter(stood, department=department).order_by("unit__designation", "id")
    latest = {row.unit_id: row for row in rows.only("unit", "answers")}
    night = Night.objects.filter(department=department, day=day, finished_at__isnull=False).first()
    failed = tuple((each["unit"], each["why"]) for each in night.failed) if night else ()
    return tuple(read_kept(row.answers) for row in latest.values()), failed


def since_when(department: Department, day: date) -> dict[int, Since]:
    """Since when each deficiency stood that was open on a day, by unit; of a day to come, what is open now."""
    found: dict[int, dict[tuple[str, str, int], date | None]] = {}
    open_then = Q(since_on__lte=day) & (Q(closed_on__isnull=True) | Q(closed_on__gt=day))
    rows = Deficiency.objects.filter(open_then, department=department).order_by("id")
    for unit, code, kind, pk, since in rows.values_list("unit", "code", "subject_kind", "subject_id", "since_on"):
        found.setdefault(unit, {})[code, kind, pk] = since
    return dict(found)
