"""What falls due when and what it costs: by month and budget year, to replace and to dispose of; what a sample saves.

1. A container falls due on the day after the last one on which it surely counts (reports/inventory.py says which).
2. What then is out (expired, open too long) has to be replaced and disposed of. What then is only in doubt (a tank
   whose sample lapses, a date nobody knows) has to be sampled: while the sample passes it costs no concentrate.
3. What is out today already (expired, sample failed, mixed, recalled) is due now. What is set aside and may come back
   (quarantined, diluted, too cold, reads above the book) is named and not priced.
4. A passed sample carries a lot on to the later of the maker's date and the sample's day + the policy's interval. The
   latest useful day to take it is the last good day; what it saves is the cost that moves out of the horizon.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final, NamedTuple

from readiness.models import Department, Policy
from readiness.reports.inventory import COUNTS, EMPTY, OUTSIDE, WORDS, Inventory, Item
from readiness.reports.prices import Money, Price, Prices, total

YEARS: Final = 10  # budget years that are shown one by one; concentrate is bought for ten and more
REPLACE, SAMPLE, SETTLE, LATER = "replace", "sample", "settle", "later"
LOST: Final = frozenset(WORDS[code] for code in ("expired", "opened_too_long", "sample_failed", "mixed", "recalled"))
DOUBT: Final = frozenset(WORDS[code] for code in ("date_unknown", "sample_overdue", "opened_unknown"))
BY_A_SAMPLE: Final = frozenset(WORDS[code] for code in ("expired", "sample_overdue", "date_unknown"))


class Due(NamedTuple):
    """One container with what becomes of it. `due_on`: the first day on which it no longer surely counts."""

    item: Item
    what: str  # REPLACE, SAMPLE, SETTLE or LATER
    why: str
    due_on: date | None  # None: today already, or never as far as is known
    replacement: Money
    disposal: Money

    @property
    def cost(self) -> Money:
        """Replacement and disposal."""
        return total([self.replacement, self.disposal])


class AgeRow(NamedTuple):
    """A month or a budget year of one concentrate and one thing to do."""

    period: str  # 2027-03, FY 2027, "now" or "no date"
    first_day: date | None
    concentrate: str
    what: str
    why: str
    containers: int
    volume_ml: int
    on_units_ml: int
    replacement: Money
    disposal: Money
    codes: tuple[str, ...]

    @property
    def cost(self) -> Money:
        """Replacement and disposal."""
        return total([self.replacement, self.disposal])


class YearSum(NamedTuple):
    """A budget year: all that has to be replaced in it, and what has to be sampled."""

    year: str
    first_day: date | None
    replace_ml: int
    replace_containers: int
    sample_ml: int
    sample_containers: int
    replacement: Money
    disposal: Money

    @property
    def cost(self) -> Money:
        """Replacement and disposal."""
        return total([self.replacement, self.disposal])


class Saving(NamedTuple):
    """What a passed sample of a lot or a tank puts off. `take_by`: the last useful day; `until`: carried on to."""

    subject: str
    concentrate: str
    take_by: date
    overdue: bool
    until: date
    containers: int
    volume_ml: int
    saved: Money
    on_units_ml: int


class PriceUsed(NamedTuple):
    """A price that went into the sums."""

    concentrate: str
    price: Price | None
    disposal: Price | None


class Ageing(NamedTuple):
    """The department's stock by what it costs and when."""

    day: date
    due: tuple[Due, ...]
    months: tuple[AgeRow, ...]
    years: tuple[YearSum, ...]
    savings: tuple[Saving, ...]
    prices: tuple[PriceUsed, ...]


def ageing(department: Department, inventory: Inventory) -> Ageing:
    """Everything that is aboard or in a store, weighed."""
    prices = Prices(department, inventory)
    policy = Policy.objects.filter(department=department).first() or Policy(department=department)
    stock = [item for item in inventory.items if item.where != OUTSIDE and item.state != EMPTY]
    due = tuple(_due(item, inventory.day, prices) for item in stock)
    used = sorted({share.concentrate_id for item in stock for share in item.shares})
    return Ageing(
        day=inventory.day,
        due=due,
        months=_months(due),
        years=_years(due, inventory.day, policy.budget_month),
        savings=_savings(due, inventory.day, policy.sample_interval_d),
        prices=tuple(_price_used(pk, inventory, prices) for pk in used),
    )


def _price_used(pk: int, inventory: Inventory, prices: Prices) -> PriceUsed:
    return PriceUsed(inventory.products[pk].name, prices.replacement(pk), prices.disposal(pk))


# -- one container -----------------------------------------------------------------------------------------------------


def _due(item: Item, day: date, prices: Prices) -> Due:
    what, why = _fate(item)
    priced = what == REPLACE
    return Due(
        item=item,
        what=what,
        why=why,
        due_on=_first_day_after(item) if item.state == COUNTS else None,
        replacement=prices.replacement_of(item.shares) if priced else Money({}),
        disposal=prices.disposal_of(item.shares) if priced else Money({}),
    )


def _fate(item: Item) -> tuple[str, str]:
    """What is to be done with it, and why: by what is wrong today, else by what it becomes after its last good day."""
    why = item.then if item.state == COUNTS else item.state
    if why in DOUBT:
        return SAMPLE, why
    if why in LOST:
        return (REPLACE, why) if item.state != COUNTS or _first_day_after(item) else (LATER, "no date")
    return (SETTLE, why) if item.state != COUNTS else (LATER, "no date")


def _first_day_after(item: Item) -> date | None:
    if item.through is None or item.through == date.max:
        return None
    return item.through + timedelta(days=1)


# -- months and years --------------------------------------------------------------------------------------------------


class _Key(NamedTuple):
    """What stands in one row."""

    first: date
    concentrate: str
    what: str
    why: str


def _months(due: Iterable[Due]) -> tuple[AgeRow, ...]:
    """By month, concentrate and what is to be done; what is due now first, what has no date last."""
    groups: dict[_Key, list[Due]] = defaultdict(list)
    for each in due:
        first = each.due_on.replace(day=1) if each.due_on else date.max if each.what == LATER else date.min
        groups[_Key(first, each.item.concentrate or "unlike concentrates", each.what, each.why)].append(each)
    return tuple(_age_row(key, groups[key]) for key in sorted(groups))


def _month_name(first: date) -> str:
    return {date.min: "now", date.max: "no date"}.get(first, f"{first:%Y-%m}")


def _age_row(key: _Key, due: list[Due]) -> AgeRow:
    days = [each.due_on for each in due if each.due_on]
    return AgeRow(
        period=_month_name(key.first),
        first_day=min(days, default=None),
        concentrate=key.concentrate,
        what=key.what,
        why=key.why,
        containers=len(due),
        volume_ml=sum(each.item.contents_ml for each in due),
        on_units_ml=sum(each.item.contents_ml for each in due if each.item.unit),
        replacement=total(each.replacement for each in due),
        disposal=total(each.disposal for each in due),
        codes=tuple(each.item.code for each in due),
    )


def budget_year(day: date, month: int) -> tuple[int, date]:
    """The budget year a day lies in, named after the year it ends in, and its first day. month: in which it begins.

    >>> budget_year(date(2026, 7, 1), 7)
    (2027, datetime.date(2026, 7, 1))
    """
    begins = day.year if day.month >= month else day.year - 1
    return begins if month == 1 else begins + 1, date(begins, month, 1)


def _years(due: Iterable[Due], day: date, month: int) -> tuple[YearSum, ...]:
    """What is due already, then budget year by budget year, then all later ones together."""
    this, begins = budget_year(day, month)
    groups: dict[int, list[Due]] = {year: [] for year in range(this - 1, this + YEARS + 1)}
    for each in due:
        if each.what in (REPLACE, SAMPLE) and (each.due_on or each.item.state != COUNTS):
            year = budget_year(each.due_on, month)[0] if each.due_on else this - 1
            groups[min(year, this + YEARS)].append(each)
    return tuple(
        _year(_year_name(year, this, month), date(begins.year + year - this, month, 1), groups[year]) for year in groups
    )


def _year_name(year: int, this: int, month: int) -> str:
    if year == this - 1:
        return "now"
    named = f"{year}" if month == 1 else f"FY {year}"
    return f"{named} and later" if year == this + YEARS else named


def _year(name: str, first_day: date, due: list[Due]) -> YearSum:
    replace = [each for each in due if each.what == REPLACE]
    sample = [each for each in due if each.what == SAMPLE]
    return YearSum(
        year=name,
        first_day=None if name == "now" else first_day,
        replace_ml=sum(each.item.contents_ml for each in replace),
        replace_containers=len(replace),
        sample_ml=sum(each.item.contents_ml for each in sample),
        sample_containers=len(sample),
        replacement=total(each.replacement for each in replace),
        disposal=total(each.disposal for each in replace),
    )


# -- samples -----------------------------------------------------------------------------------------------------------


def _savings(due: Iterable[Due], day: date, interval_d: int) -> tuple[Saving, ...]:
    """Lot by lot, tank by tank: what is expired or expires within the horizon and a sample could carry on."""
    last = budget_horizon(day)
    groups: dict[tuple[str, str], list[Due]] = defaultdict(list)
    for each in due:
        item = each.item
        if each.what != REPLACE or each.why not in BY_A_SAMPLE or item.through is None or item.through > last:
            continue
        fixed = item.kind in ("fixed tank", "kit reservoir")
        groups[f"tank {item.code}" if fixed else f"lot {item.lots}", item.concentrate].append(each)
    found = (_saving(*key, groups[key], day, interval_d) for key in groups)
    return tuple(sorted((each for each in found if each is not None), key=lambda each: (each.take_by, each.subject)))


def budget_horizon(day: date) -> date:
    """As far as samples are planned: two years, since one lasts about one."""
    return day + timedelta(days=730)


def _saving(subject: str, concentrate: str, due: list[Due], day: date, interval_d: int) -> Saving | None:
    through = min(each.item.through for each in due if each.item.through)
    take_by = max(through, day)
    until = take_by + timedelta(days=interval_d)
    if until <= through:
        return None
    return Saving(
        subject=subject,
        concentrate=concentrate,
        take_by=take_by,
        overdue=through < day,
        until=until,
        containers=len(due),
        volume_ml=sum(each.item.contents_ml for each in due),
        saved=total(each.cost for each in due),
        on_units_ml=sum(each.item.contents_ml for each in due if each.item.unit),
    )
