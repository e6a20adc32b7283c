"""The days to come on which units of a fleet fall short if nothing is done, by month.

They are the first day after each assessment's "holds until": two queries, whatever the fleet. What follows after that
day, and what prevents it, is told by the unit's own page, which works the coming two years (engineering/forecast.py).
"""

from __future__ import annotations

from calendar import monthrange
from datetime import date, timedelta
from typing import Any, Final, NamedTuple

from django.db.models import Count, F, QuerySet

from readiness.models import Assessment, Department

MONTHS: Final = 12
MOST_NAMED: Final = 60
CELL: Final = 6  # width of a day in the drawing
HEIGHT: Final = 24
LOWEST: Final = 8  # a single unit must be seen
_DAY: Final = timedelta(days=1)


class FallingUnit(NamedTuple):
    """A unit whose answer gets worse on a day."""

    id: int
    name: str
    status: str  # until then


class FallDay(NamedTuple):
    """The first day of a worse answer. `more`: units of that day that are not named."""

    day: date
    units: int
    named: tuple[FallingUnit, ...]
    more: int


class Column(NamedTuple):
    """A day's bar as drawn."""

    x: int
    y: int
    height: int


class Month(NamedTuple):
    """A month of the strip."""

    first: date
    units: int
    days: tuple[FallDay, ...]
    columns: tuple[Column, ...]
    width: int


class Strip(NamedTuple):
    """The coming twelve months."""

    months: tuple[Month, ...]
    days: tuple[FallDay, ...]
    units: int


def coming_falls(department: Department, day: date) -> Strip:
    """The days of the coming twelve months, from `day` on, on which answers get worse if nothing is done."""
    firsts = [_month_after(day.replace(day=1), n) for n in range(MONTHS + 1)]
    last = firsts[-1] - _DAY
    rows = Assessment.objects.filter(department=department, superseded_at__isnull=True, unit__retired_on__isnull=True)
    rows = rows.filter(holds_until__gte=day, holds_until__lt=last)
    counted = list(rows.order_by("holds_until").values_list("holds_until").annotate(n=Count("pk")))
    named = _named(rows)
    days = tuple(_fall_day(until + _DAY, n, named.get(until, ())) for until, n in counted)
    tallest = max((each.units for each in days), default=1)
    months = tuple(_month(first, days, tallest) for first in firsts[:-1])
    return Strip(months, days, sum(each.units for each in days))


def _named(rows: QuerySet[Any, Any]) -> dict[date, tuple[FallingUnit, ...]]:
    found: dict[date, list[FallingUnit]] = {}
    columns = ("holds_until", "unit", "unit__designation", "status")
    for until, *rest in rows.order_by("holds_until", F("unit__designation")).values_list(*columns)[:MOST_NAMED]:
        found.setdefault(until, []).append(FallingUnit(*rest))
    return {until: tuple(units) for until, units in found.items()}


def _fall_day(day: date, units: int, named: tuple[FallingUnit, ...]) -> FallDay:
    return FallDay(day, units, named, units - len(named))


def _month_after(first: date, months: int) -> date:
    year, month = divmod(first.year * 12 + first.month - 1 + months, 12)
    return date(year, month + 1, 1)


def _month(first: date, days: tuple[FallDay, ...], tallest: int) -> Month:
    mine = tuple(each for each in days if (each.day.year, each.day.month) == (first.year, first.month))
    width = CELL * monthrange(first.year, first.month)[1]
    return Month(first, sum(each.units for each in mine), mine, tuple(_column(each, tallest) for each in mine), width)


def _column(each: FallDay, tallest: int) -> Column:
    height = LOWEST + round((HEIGHT - LOWEST) * each.units / tallest)
    return Column(CELL * (each.day.day - 1), HEIGHT - height, height)
