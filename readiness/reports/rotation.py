"""Rotation: which stock goes where, so that the oldest is used in drills and the newest stands on the front line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import Final, NamedTuple

from readiness.engineering.rotation import (
    TRAINING,
    Stock,
    Swap,
    drill_order,
    front_line_order,
    no_drill,
    pick,
    swaps,
)
from readiness.models import Department, Policy
from readiness.reports.inventory import COUNTS, EMPTY, STORE, Inventory, Item, class_b

DRILL, RESTOCK = "drill", "restock"
LOOSE: Final = frozenset({"pail", "jug", "drum"})


class Rotation(NamedTuple):
    """Containers of a unit that would change places with as many of a store: alike in date, concentrate and place.

    `why_no_drill`: why what comes off may not go to a drill; empty where it may.
    """

    concentrate: str
    unit_id: int
    unit: str
    compartment: str
    station: str
    old: tuple[Item, ...]
    new: tuple[Item, ...]
    old_through: date
    new_through: date
    days: int
    why_no_drill: str


class NoDrill(NamedTuple):
    """So much of a concentrate that no drill may use, and why."""

    concentrate: str
    why: str
    containers: int
    volume_ml: int


class Picked(NamedTuple):
    """A container of a pick list, with the running sum [mL]."""

    item: Item
    take_ml: int  # of the last one of a drill only what is still missing
    together_ml: int
    number: int


class PickList(NamedTuple):
    """What to take for a use, in the order in which to take it; `short_ml`: what the stores do not have."""

    use: str
    concentrate: str
    station: str
    volume_ml: int
    picked: tuple[Picked, ...]
    short_ml: int
    left_out: tuple[NoDrill, ...]

    @property
    def codes(self) -> tuple[str, ...]:
        """The label codes, as a form takes them."""
        return tuple(each.item.code for each in self.picked)


def stock_of(item: Item, inventory: Inventory) -> Stock:
    """What the rules of rotation want to know of a container; of several concentrates in it, the worst as to PFAS."""
    held = {inventory.products[share.concentrate_id].pfas for share in item.shares}
    return Stock(
        id=item.id,
        code=item.code,
        kind=item.concentrate_kind,
        pfas=next((worst for worst in ("yes", "unknown") if worst in held), "no") if held else "unknown",
        ml=item.counted_ml or item.contents_ml,
        sealed=item.sealed,
        through=item.through,
        state=item.state,
        counts=item.state == COUNTS,
    )


def _policy(department: Department) -> Policy:
    return Policy.objects.filter(department=department).first() or Policy(department=department)


def rotations(department: Department, inventory: Inventory) -> tuple[Rotation, ...]:
    """Every swap that lets a unit's stock last longer, the soonest to expire first; own station before others."""
    policy = _policy(department)
    before = inventory.day + timedelta(days=policy.expiry_warn_d)
    items = {item.id: item for item in inventory.items}
    stores: dict[int, dict[str, list[Stock]]] = defaultdict(lambda: defaultdict(list))
    aboard: dict[tuple[int, int, str], list[Stock]] = defaultdict(list)
    for item in inventory.items:
        if item.concentrate_id is None or item.kind not in LOOSE:
            continue
        if item.where == STORE:
            stores[item.concentrate_id][item.station].append(stock_of(item, inventory))
        elif item.unit_id is not None:
            aboard[item.concentrate_id, item.unit_id, item.station].append(stock_of(item, inventory))
    taken: set[int] = set()
    found: list[Swap] = []
    for (concentrate, _, station), due in aboard.items():
        own = stores[concentrate][station]
        others = [each for at, held in stores[concentrate].items() if at != station for each in held]
        swapped = swaps(due, own, before, taken)
        left = [each for each in due if each.id not in {swap.out.id for swap in swapped}]
        found += swapped + swaps(left, others, before, taken)
    return tuple(sorted(_together(found, items, policy.drill_with_pfas), key=_urgency))


def _urgency(each: Rotation) -> tuple[date, str, str, str]:
    return each.old_through, each.unit, each.station, each.old[0].code


def _together(found: Iterable[Swap], items: dict[int, Item], with_pfas: bool) -> Iterator[Rotation]:
    """Swaps that are alike as one: nobody fills in a form for each of eight pails."""
    groups: dict[tuple[int, str, str, date, date, str, str], list[Swap]] = defaultdict(list)
    for swap in found:
        old, new = items[swap.out.id], items[swap.back.id]
        dates = (old.through or date.max, new.through or date.max)
        key = (old.unit_id or 0, old.concentrate, old.place, *dates, new.station, no_drill(swap.out, with_pfas))
        groups[key].append(swap)
    for (unit, concentrate, place, through, longer, station, why_not), swapped in groups.items():
        yield Rotation(
            concentrate=concentrate,
            unit_id=unit,
            unit=items[swapped[0].out.id].unit,
            compartment=place.partition(", ")[2],
            station=station,
            old=tuple(items[swap.out.id] for swap in swapped),
            new=tuple(items[swap.back.id] for swap in swapped),
            old_through=through,
            new_through=longer,
            days=(longer - through).days,
            why_no_drill=why_not,
        )


# -- pick lists --------------------------------------------------------------------------------------------------------


def pick_for_drill(
    department: Department, inventory: Inventory, volume_ml: int, *, concentrate: int | None = None, station: str = ""
) -> PickList:
    """What a drill takes: of all stores or one, of one concentrate, or training foam and any with Class B credit."""
    with_pfas = _policy(department).drill_with_pfas
    items = [item for item in _in_stores(inventory, station) if _for_drill(item, concentrate)]
    inorder = drill_order((stock_of(item, inventory) for item in items), with_pfas)
    chosen, short = pick(inorder, volume_ml)
    name = inventory.products[concentrate].name if concentrate else ""
    left_out = _left_out(items, inventory, with_pfas)
    return _list(DRILL, name, station, volume_ml, chosen, short, items, left_out)


def _for_drill(item: Item, concentrate: int | None) -> bool:
    if concentrate is not None:
        return item.concentrate_id == concentrate
    return item.concentrate_kind == TRAINING or class_b(item.concentrate_kind)


def pick_for_unit(
    inventory: Inventory, volume_ml: int, *, concentrate: int, station: str, own_station: str
) -> PickList:
    """What a unit is restocked with: the newest of its own station's store first, then of the others."""
    items = [item for item in _in_stores(inventory, station) if item.concentrate_id == concentrate]
    items = [item for item in items if item.kind in LOOSE]
    own = front_line_order(stock_of(item, inventory) for item in items if item.station == own_station)
    others = front_line_order(stock_of(item, inventory) for item in items if item.station != own_station)
    chosen, short = pick([*own, *others], volume_ml)
    name = inventory.products[concentrate].name
    return _list(RESTOCK, name, station, volume_ml, chosen, short, items, ())


def _in_stores(inventory: Inventory, station: str) -> list[Item]:
    return [
        item
        for item in inventory.items
        if item.where == STORE and item.state != EMPTY and item.shares and (not station or item.station == station)
    ]


def _list(
    use: str,
    concentrate: str,
    station: str,
    volume_ml: int,
    chosen: Iterable[Stock],
    short_ml: int,
    items: Iterable[Item],
    left_out: tuple[NoDrill, ...],
) -> PickList:
    by_id = {item.id: item for item in items}
    picked, together = [], 0
    for number, each in enumerate(chosen, start=1):
        take = min(each.ml, volume_ml - together) if use == DRILL else each.ml
        together += take
        picked.append(Picked(by_id[each.id], take, together, number))
    return PickList(use, concentrate, station, volume_ml, tuple(picked), short_ml, left_out)


def _left_out(items: Iterable[Item], inventory: Inventory, with_pfas: bool) -> tuple[NoDrill, ...]:
    """What may not be used in a drill, by concentrate and reason."""
    groups: dict[tuple[str, str], list[Item]] = defaultdict(list)
    for item in items:
        why = no_drill(stock_of(item, inventory), with_pfas)
        if why:
            groups[item.concentrate or "unlike concentrates", why].append(item)
    return tuple(
        NoDrill(*key, len(held), sum(item.contents_ml for item in held)) for key, held in sorted(groups.items())
    )
