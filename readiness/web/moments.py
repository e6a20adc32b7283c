"""Moments as the department's people read them: in its time zone, and with their age."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from readiness.models import Department

_MINUTE, _HOUR, _DAY = 60, 3_600, 86_400


def local_time(department: Department, at: datetime) -> datetime:
    """A moment on the clock of the department's wall."""
    return at.astimezone(ZoneInfo(department.time_zone))


def moment_text(department: Department, at: datetime | None) -> str:
    """A moment for show: 2026-06-15 06:00, or "never"."""
    return f"{local_time(department, at):%Y-%m-%d %H:%M}" if at else "never"


def age_text(at: datetime | None, now: datetime) -> str:
    """How old something is, rounded down: "3 h ago".

    >>> from datetime import UTC
    >>> age_text(datetime(2026, 6, 15, 3, 0, tzinfo=UTC), datetime(2026, 6, 15, 6, 59, tzinfo=UTC))
    '3 h ago'
    """
    if at is None:
        return "never"
    seconds = int((now - at).total_seconds())
    if seconds < 0:
        return "in the future"
    for size, word in ((_DAY, "d"), (_HOUR, "h"), (_MINUTE, "min")):
        if seconds >= size:
            return f"{seconds // size} {word} ago"
    return "just now"
