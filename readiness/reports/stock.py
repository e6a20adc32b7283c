"""Stock by concentrate and station, with what is alcohol-resistant and what holds PFAS apart."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from readiness.reports.inventory import (
    EMPTY,
    LENT,
    OUTSIDE,
    PALLET,
    STORE,
    TRANSIT,
    Inventory,
    Item,
    Product,
    Share,
    alcohol_resistant,
    class_b,
)


class StockRow(NamedTuple):
    """How much of a concentrate a station has: in its store, on its units; and what of that is out of the count."""

    concentrate_id: int
    concentrate: str
    kind: str
    alcohol_resistant: bool
    pfas: str
    station: str
    store_ml: int
    store_containers: int
    units_ml: int
    units_containers: int
    transit_ml: int
    transit_containers: int
    out_ml: int

    @property
    def total_ml(self) -> int:
        """Store, units and what is in transit together, by the book."""
        return self.store_ml + self.units_ml + self.transit_ml

    @property
    def containers(self) -> int:
        """Store, units and what is in transit together."""
        return self.store_containers + self.units_containers + self.transit_containers


class StockTotal(NamedTuple):
    """One line of totals."""

    name: str
    store_ml: int
    units_ml: int
    transit_ml: int
    out_ml: int
    containers: int

    @property
    def total_ml(self) -> int:
        """Store, units and what is in transit together, by the book."""
        return self.store_ml + self.units_ml + self.transit_ml


class Aside(NamedTuple):
    """What is not simply in a store or on a unit: in transit, borrowed, lent, on a take-back pallet."""

    name: str
    containers: int
    ml: int
    where: str  # the word by which the list of containers finds it


class Stock(NamedTuple):
    """Every concentrate at every station, and the totals by what it resists and what is in it."""

    rows: tuple[StockRow, ...]
    totals: tuple[StockTotal, ...]
    aside: tuple[Aside, ...]


class _Piece(NamedTuple):
    """One lot's share of one container, and how much of it does not count."""

    item: Item
    share: Share
    out_ml: int


def stock(inventory: Inventory) -> Stock:
    """The department's stock; what is outside the book or lent to partners is left out."""
    groups: dict[tuple[str, str, int], list[_Piece]] = {}
    for item in inventory.items:
        if item.where in (OUTSIDE, LENT):
            continue
        for piece in _pieces(item):
            product = inventory.products[piece.share.concentrate_id]
            groups.setdefault((product.name, item.station or item.where, product.id), []).append(piece)
    rows = {_row(inventory.products[key[2]], key[1], groups[key]): groups[key] for key in sorted(groups)}
    totals = tuple(_total(name, chosen, rows) for name, chosen in _SPLITS)
    return Stock(tuple(rows), totals, tuple(_aside(inventory, *kind) for kind in _ASIDES))


_ASIDES: tuple[tuple[str, str, Callable[[Item], bool]], ...] = (
    ("In transit: in the sums above, on no unit", TRANSIT, lambda item: item.where == TRANSIT),
    ("On take-back pallets: in the sums above, out of the count", PALLET, lambda item: item.where == PALLET),
    ("Borrowed containers: in the sums above, ours to use and owed back", "", lambda item: bool(item.borrowed_from)),
    ("Lent containers: in no sum, ours and counted nowhere", LENT, lambda item: item.where == LENT),
)


def _aside(inventory: Inventory, name: str, where: str, chosen: Callable[[Item], bool]) -> Aside:
    found = [item for item in inventory.items if chosen(item) and item.state != EMPTY]
    return Aside(name, len(found), sum(item.contents_ml for item in found), where)


def _pieces(item: Item) -> list[_Piece]:
    """Its lots; of what is out, all of it when nothing counts, else taken from the largest lot (the heel)."""
    if not item.shares:
        return []
    out = sum(share.ml for share in item.shares) - item.counted_ml
    largest = max(item.shares, key=lambda share: share.ml)
    if not item.counted_ml:
        return [_Piece(item, share, share.ml) for share in item.shares]
    return [_Piece(item, share, min(out, share.ml) if share is largest else 0) for share in item.shares]


def _row(product: Product, station: str, pieces: Iterable[_Piece]) -> StockRow:
    pieces = list(pieces)
    store = [piece for piece in pieces if piece.item.where in (STORE, PALLET)]
    transit = [piece for piece in pieces if piece.item.where == TRANSIT]
    units = [piece for piece in pieces if piece.item.where not in (STORE, PALLET, TRANSIT)]
    return StockRow(
        concentrate_id=product.id,
        concentrate=product.name,
        kind=product.kind,
        alcohol_resistant=alcohol_resistant(product.kind),
        pfas=product.pfas,
        station=station,
        store_ml=sum(piece.share.ml for piece in store),
        store_containers=len({piece.item.id for piece in store}),
        units_ml=sum(piece.share.ml for piece in units),
        units_containers=len({piece.item.id for piece in units}),
        transit_ml=sum(piece.share.ml for piece in transit),
        transit_containers=len({piece.item.id for piece in transit}),
        out_ml=sum(piece.out_ml for piece in pieces),
    )


_SPLITS: tuple[tuple[str, Callable[[StockRow], bool]], ...] = (
    ("Class B, alcohol-resistant", lambda row: row.alcohol_resistant),
    ("Class B, not alcohol-resistant", lambda row: class_b(row.kind) and not row.alcohol_resistant),
    ("No Class B credit (Class A, training and the like)", lambda row: not class_b(row.kind)),
    ("With PFAS", lambda row: row.pfas == "yes"),
    ("PFAS not known (treated as with PFAS)", lambda row: row.pfas == "unknown"),
    ("Without PFAS", lambda row: row.pfas == "no"),
    ("All concentrates", lambda row: True),
)


def _total(name: str, chosen: Callable[[StockRow], bool], rows: Mapping[StockRow, list[_Piece]]) -> StockTotal:
    """A mixed tank stands in the row of each concentrate in it, and is one container."""
    found = {row: pieces for row, pieces in rows.items() if chosen(row)}
    return StockTotal(
        name,
        sum(row.store_ml for row in found),
        sum(row.units_ml for row in found),
        sum(row.transit_ml for row in found),
        sum(row.out_ml for row in found),
        len({piece.item.id for pieces in found.values() for piece in pieces}),
    )
