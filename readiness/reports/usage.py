"""How much of each concentrate was used, by account, over a window of the book.

What was corrected is undone on the day it had been entered for, so that a mistake of March does not show as a gain in
June. Disposal and what went to a partner are no use: the first is counted where stock ages out, the second is owed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Min, Sum
from django.db.models.functions import Coalesce, TruncDate

from readiness.engineering.stocking import Use, measured_use
from readiness.models import Department, Movement, MovementLine
from readiness.models.movements import Account

USED: Final = (
    Account.INCIDENT,
    Account.DRILL,
    Account.FLOW_TEST,
    Account.SAMPLE,
    Account.LEAK,
    Account.EVAPORATION,
    Account.INVENTORY_DIFFERENCE,
)
PERIODS: Final = 12
LEAST_PERIOD_D: Final = 7  # below a week a period says nothing of how use varies


class Used(NamedTuple):
    """A concentrate's use over the window [mL]: by account, and in equal periods, the oldest first."""

    by_account: Mapping[str, int]
    periods: tuple[int, ...]
    use: Use

    @property
    def total_ml(self) -> int:
        """All accounts together."""
        return sum(self.by_account.values())


class Window(NamedTuple):
    """From which day to which (both counted); `asked_d`: as long as the policy wants it, the book may be younger."""

    first: date
    last: date
    asked_d: int

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.last - self.first).days + 1

    @property
    def short(self) -> bool:
        """Whether the book is younger than what the policy asks for."""
        return self.days < self.asked_d


class Usage(NamedTuple):
    """The use of every concentrate that was used."""

    window: Window
    period_d: float
    of: Mapping[int, Used]

    def used(self, concentrate: int) -> Used:
        """A concentrate's use; nothing where none was used."""
        return self.of.get(concentrate) or _used({}, self.window, self.period_d)


_AT: Final = Coalesce(
    "movement__corrects__corrects__happened_at", "movement__corrects__happened_at", "movement__happened_at"
)


def usage(department: Department, day: date, window_d: int) -> Usage:
    """Measured over the last `window_d` days, or as long as the book is old."""
    zone = ZoneInfo(department.time_zone)
    began = Movement.objects.filter(department=department).aggregate(first=Min("happened_at"))["first"]
    first = max(day - timedelta(days=window_d - 1), began.astimezone(zone).date() if began else day)
    window = Window(min(first, day), day, window_d)
    rows = (
        MovementLine.objects.filter(movement__department=department, account__in=USED)
        .annotate(at=_AT)
        .filter(at__gte=_midnight(window.first, zone), at__lt=_midnight(day + timedelta(days=1), zone))
        .annotate(on=TruncDate("at", tzinfo=zone))
        .order_by()
        .values_list("lot__concentrate", "account", "on")
        .annotate(ml=Sum("ml"))
    )
    found: dict[int, dict[tuple[str, date], int]] = defaultdict(dict)
    for concentrate, account, on, ml in rows:
        found[concentrate][account, on] = ml
    period_d = window.days / periods_of(window)
    return Usage(window, period_d, {pk: _used(lines, window, period_d) for pk, lines in found.items()})


def periods_of(window: Window) -> int:
    """In how many equal periods a window is cut: twelve, fewer where they would be shorter than a week."""
    return max(1, min(PERIODS, window.days // LEAST_PERIOD_D))


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(0), tzinfo=zone)


def _used(lines: Mapping[tuple[str, date], int], window: Window, period_d: float) -> Used:
    by_account: dict[str, int] = defaultdict(int)
    periods = [0] * periods_of(window)
    for (account, on), ml in lines.items():
        by_account[account] += ml
        periods[min(int((on - window.first).days / period_d), len(periods) - 1)] += ml
    kept = {account: ml for account, ml in by_account.items() if ml}
    return Used(kept, tuple(periods), measured_use(periods, period_d))
