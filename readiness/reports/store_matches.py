"""Stock in stores that would do for a unit: where it lies, how much, and which containers to take.

Stores come in the order: the unit's own station first, then the fullest; the book knows no road distances. For the
front line the sealed ones that last longest are taken first: the newest to the front line, the oldest to drills.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import date
from typing import NamedTuple

from readiness.reports.inventory import COUNTS, STORE, Inventory, Item


class Match(NamedTuple):
    """Stock of a concentrate that would do, in one store."""

    concentrate: str
    station: str
    own_station: bool
    ml: int
    containers: int
    codes: tuple[str, ...]  # enough of them for what is short, the sealed that last longest before the others


def newest_first(item: Item) -> tuple[bool, int, str]:
    """The order for the front line: sealed before open, the longest good before the shorter, unknown dates last."""
    return not item.sealed, -(item.through or date.min).toordinal(), item.code


def _any(item: Item) -> bool:
    return bool(item.counted_ml)


class Stores:
    """What counts in the stores, by concentrate and station."""

    def __init__(self, inventory: Inventory) -> None:
        self._held: dict[tuple[int, str], list[Item]] = {}
        for item in inventory.items:
            if item.where == STORE and item.state == COUNTS and item.concentrate_id and item.counted_ml:
                self._held.setdefault((item.concentrate_id, item.station), []).append(item)

    def matches(
        self,
        concentrates: Iterable[int],
        station: str,
        short_ml: int | None,
        fits: Callable[[Item], bool] = _any,
    ) -> tuple[Match, ...]:
        """The stores that have any of these, the unit's own first. fits: which containers would do at all."""
        wanted = set(concentrates)
        held = [([item for item in items if fits(item)], at) for (pk, at), items in self._held.items() if pk in wanted]
        found = [_match(items, at, station, short_ml) for items, at in held if items]
        return tuple(sorted(found, key=nearest_first))


def nearest_first(match: Match) -> tuple[bool, int, str]:
    """The unit's own station, then the store that has most."""
    return not match.own_station, -match.ml, match.station


def _match(items: Collection[Item], at: str, station: str, short_ml: int | None) -> Match:
    chosen: list[Item] = []
    for item in sorted(items, key=newest_first):
        if short_ml is not None and sum(each.counted_ml for each in chosen) + len(chosen) + 1 >= short_ml:
            break
        chosen.append(item)
    name = next(iter(items)).concentrate
    volume = sum(item.counted_ml for item in items)
    return Match(name, at, at == station, volume, len(items), tuple(item.code for item in chosen))
