"""The one module that reads the clock. Everything else is told the time."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

from django.utils import timezone

from readiness.models import Department


class Clock(Protocol):
    """Something that knows what time it is."""

    def now(self) -> datetime:
        """The present moment, aware, in UTC."""


class SystemClock:
    """The machine's clock."""

    def now(self) -> datetime:
        """The present moment, aware, in UTC."""
        return timezone.now()


class StoppedClock(NamedTuple):
    """A clock that stands still: for the demo, for tests and for judging as of a day."""

    at: datetime

    def now(self) -> datetime:
        """The moment at which it stands."""
        return self.at


SYSTEM_CLOCK = SystemClock()
CLOCK_SKEW = timedelta(minutes=10)  # how far a phone's clock may run ahead; from memory, unconfirmed


def day_of(department: Department, at: datetime) -> date:
    """The department's day at a moment: it begins at the shift change, in the department's time zone."""
    local = at.astimezone(ZoneInfo(department.time_zone))
    return local.date() if local.time() >= department.day_starts_at else local.date() - timedelta(days=1)


def calendar_day_of(department: Department, at: datetime) -> date:
    """The date on the wall calendar of the department at a moment, as people write it on a pail."""
    return at.astimezone(ZoneInfo(department.time_zone)).date()


def shift_change(department: Department, day: date) -> datetime:
    """The moment at which a department's day begins."""
    return datetime.combine(day, department.day_starts_at, tzinfo=ZoneInfo(department.time_zone))
