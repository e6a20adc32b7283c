"""What runs out when: by month and concentrate, for the next two years."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from readiness.reports.inventory import COUNTS, EMPTY, HERE, Inventory, Item

MONTHS = 24
ALREADY = "already"  # in doubt or out of the count today


class Expiry(NamedTuple):
    """So much of a concentrate whose last sure day lies in a month. `then`: what it becomes after that day."""

    month: str  # 2027-03, or a word where there is no month to name
    first_day: date | None
    concentrate: str
    then: str
    containers: int
    volume_ml: int
    on_units_ml: int
    units: str
    codes: tuple[str, ...]
    share: float  # of the largest, for a bar


def expiries(inventory: Inventory) -> tuple[Expiry, ...]:
    """What is in doubt or out already, what runs out month by month, what has no date and what lasts longer."""
    groups: dict[tuple[int, str, str, str], list[Item]] = {}
    for item in inventory.items:
        if item.where not in HERE or item.state == EMPTY:
            continue
        order, month = _month(item, inventory.day)
        then = item.then if item.state == COUNTS else item.state
        groups.setdefault((order, month, item.concentrate or "unlike concentrates", then), []).append(item)
    found = [_expiry(*key[1:], groups[key]) for key in sorted(groups)]
    most = max((each.volume_ml for each in found), default=0)
    return tuple(each._replace(share=each.volume_ml / most if most else 0.0) for each in found)


def _month(item: Item, day: date) -> tuple[int, str]:
    """Where it stands in the list: what is wrong today first, then by month, then what lasts."""
    if item.state != COUNTS:
        return -1, ALREADY
    if item.through is None or item.through == date.max:
        return MONTHS + 1, "no date"
    ahead = (item.through.year - day.year) * 12 + item.through.month - day.month
    if ahead >= MONTHS:
        return MONTHS, "later"
    return ahead, f"{item.through:%Y-%m}"


def _expiry(month: str, concentrate: str, then: str, items: Iterable[Item]) -> Expiry:
    items = list(items)
    days = [item.through for item in items if item.through]
    return Expiry(
        month=month,
        first_day=min(days, default=None) if month != ALREADY else None,
        concentrate=concentrate,
        then=then,
        containers=len(items),
        volume_ml=sum(item.contents_ml for item in items),
        on_units_ml=sum(item.contents_ml for item in items if item.unit),
        units=", ".join(sorted({item.unit for item in items if item.unit})),
        codes=tuple(item.code for item in items),
        share=0.0,
    )
