"""What changed since the last complete night: the units whose status is another one now."""

from __future__ import annotations

from datetime import date, datetime
from typing import Final, NamedTuple

from django.db.models import F, OuterRef, Q, Subquery, TextField, Value
from django.db.models.functions import Coalesce

from readiness.models import Assessment, Department, Night

MOST: Final = 12
NEW: Final = "not_judged"


class Turned(NamedTuple):
    """A unit that was one thing when the night was complete and is another now."""

    unit_id: int
    unit: str
    was: str
    now: str
    at: datetime
    because: str


class SinceNight(NamedTuple):
    """The last complete night, and what has changed since."""

    day: date | None  # None: no night has ever been completed
    finished_at: datetime | None
    late: bool  # the night of the department's present day is not complete
    failed: tuple[str, ...]  # units that it could not judge
    turned: tuple[Turned, ...]
    more: bool  # whether others turned that are not listed
    new_answers: int  # all that were found since, with another status or only other figures


def last_night(department: Department) -> Night | None:
    """The last complete night."""
    return Night.objects.filter(department=department, finished_at__isnull=False).order_by("-day").first()


def changes_since(night: Night | None, day: date, new_answers: int) -> SinceNight:
    """What changed since a department's last complete night, on its `day`; `new_answers` were found since then."""
    if night is None or night.finished_at is None:
        return SinceNight(None, None, True, (), (), False, 0)
    failed = tuple(str(each["unit"]) for each in night.failed)
    turned = _turned(night.department_id, night.day, night.finished_at) if new_answers else []
    late, more = night.day < day, len(turned) > MOST
    return SinceNight(night.day, night.finished_at, late, failed, tuple(turned[:MOST]), more, new_answers)


def _turned(department: int, day: date, finished_at: datetime) -> list[Turned]:
    """The latest units whose status is another one than when the night was complete, one more than are listed."""
    stood = Assessment.objects.filter(unit=OuterRef("unit"), at__lte=finished_at, superseded_at__gt=finished_at)
    was = Coalesce(Subquery(stood.order_by("-at").values("status")[:1]), Value(NEW), output_field=TextField())
    current = Assessment.objects.filter(department=department, unit__retired_on__isnull=True)
    new = current.filter(superseded_at__isnull=True, day__gte=day, at__gt=finished_at).annotate(was=was)
    columns = ("unit", "unit__designation", "was", "status", "at", "because")
    latest = new.filter(~Q(was=F("status"))).order_by("-at", "unit__designation").values_list(*columns)
    return [Turned(*row) for row in latest[: MOST + 1]]
