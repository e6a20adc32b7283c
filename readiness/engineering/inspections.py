"""When an inspection falls due: the last day on which it is still in time."""

from calendar import monthrange
from datetime import date, timedelta
from typing import Final, Literal

Rhythm = Literal["shift", "week", "month", "year", "after use", "on change"]
BY_EVENT: Final = frozenset({"after use", "on change"})
_MONTHS: Final = {"month": 1, "year": 12}


def due_on(
    rhythm: str, last: date | None, since: date, weekday: int | None = None, event: date | None = None
) -> date | None:
    """The day on which it is due; overdue is the day after. None: nothing has made it due.

    last: when it was last made; since: when the rule began, which counts as the first time; weekday: of a weekly one,
    the house's drill night (Monday 0); event: of one that follows a use or a change, the first since it was last made.

    >>> due_on("month", date(2026, 1, 31), date(2025, 1, 1))
    datetime.date(2026, 2, 28)
    """
    if rhythm in BY_EVENT:
        return event
    begin = last or since
    if rhythm == "shift":
        return begin + timedelta(days=1)
    if rhythm == "week":
        return begin + timedelta(days=7 if weekday is None else (weekday - begin.weekday() - 1) % 7 + 1)
    return _months_later(begin, _MONTHS[rhythm])


def _months_later(begin: date, months: int) -> date:
    """The same day of a later month, or its last where it has no such day."""
    year, month = divmod(begin.year * 12 + begin.month - 1 + months, 12)
    return date(year, month + 1, min(begin.day, monthrange(year, month + 1)[1]))
