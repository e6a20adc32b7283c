"""The days to come on which units of a fleet fall short if nothing is done, by month.

They are the first day after each assessment's "holds until": two queries, whatever the fleet. What follows after that
day, and what prevents it, is told by the unit's own page, which works the coming two years (engineering/forecast.py).
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final, NamedTuple

from django.db.models import Count, Max, Min

from readiness.models import Assessment, Department, Unit

MONTHS: Final = 12
MOST_DAYS: Final = 40
CELL: Final = 6  # width of a day in the drawing
HEIGHT: Final = 24
LOWEST: Final = 8  # a single unit must be seen
_DAY: Final = timedelta(days=1)


class FallingUnit(NamedTuple):
    """A unit whose answer gets worse on a day."""

    id: int
    name: str


class FallDay(NamedTuple):
    """The first day of a worse answer. `more`: units of that day that are not named."""

    day: date
    units: int
    named: tuple[FallingUnit, ...]
    more: int


class Month(NamedTuple):
    """A month of the strip: the units that fall in it, and a bar for each of its days as one drawn path."""

    first: date
    units: int
    path: str
    width: int


class Strip(NamedTuple):
    """The coming twelve months. `days`: the first of them by name; `later`: days that are in the months alone."""

    months: tuple[Month, ...]
    days: tuple[FallDay, ...]
    later: int
    units: int


def coming_falls(department: Department, day: date) -> Strip:
    """The days of the coming twelve months, from `day` on, on which answers get worse if nothing is done."""
    firsts = [_month_after(day.replace(day=1), n) for n in range(MONTHS + 1)]
    last = firsts[-1] - _DAY
    rows = Assessment.objects.filter(department=department, superseded_at__isnull=True, unit__retired_on__isnull=True)
    rows = rows.filter(holds_until__gte=day, holds_until__lt=last)
    grouped = rows.order_by("holds_until").values_list("holds_until")
    counted = list(grouped.annotate(n=Count("pk"), one=Min("unit"), another=Max("unit")))
    tallest = max((n for _, n, *_ in counted), default=1)
    months = tuple(_month(first, [(until + _DAY, n) for until, n, *_ in counted], tallest) for first in firsts[:-1])
    total = sum(n for _, n, *_ in counted)
    return Strip(months, _first_days(counted[:MOST_DAYS]), max(0, len(counted) - MOST_DAYS), total)


def _first_days(counted: list[tuple[date, int, int, int]]) -> tuple[FallDay, ...]:
    """The days with one or two of their units by name."""
    units = {unit for _, _, *two in counted for unit in two}
    names = dict(Unit.objects.filter(pk__in=units).values_list("pk", "designation"))
    return tuple(
        _fall_day(until + _DAY, n, tuple(FallingUnit(unit, names[unit]) for unit in dict.fromkeys(two)))
        for until, n, *two in counted
    )


def _fall_day(day: date, units: int, named: tuple[FallingUnit, ...]) -> FallDay:
    return FallDay(day, units, named, units - len(named))


def _month_after(first: date, months: int) -> date:
    year, month = divmod(first.year * 12 + first.month - 1 + months, 12)
    return date(year, month + 1, 1)


def _month(first: date, days: Iterable[tuple[date, int]], tallest: int) -> Month:
    mine = [(day, n) for day, n in days if (day.year, day.month) == (first.year, first.month)]
    width = CELL * monthrange(first.year, first.month)[1]
    return Month(first, sum(n for _, n in mine), " ".join(_bar(day, n, tallest) for day, n in mine), width)


def _bar(day: date, units: int, tallest: int) -> str:
    """A day's bar, the higher the more units fall on it."""
    height = LOWEST + round((HEIGHT - LOWEST) * units / tallest)
    return f"M{CELL * (day.day - 1)} {HEIGHT}v-{height}h{CELL}v{height}z"
