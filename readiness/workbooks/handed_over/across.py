"""What the rows of a sheet tell about one another: spellings, kinds of products, dates of lots, units written out.

Rows are looked through once before any of them is understood, so that one row's doubt can be settled by another's word.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from functools import lru_cache
from typing import Final, NamedTuple

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.handed_over.dates_said import DateReader
from readiness.workbooks.handed_over.names_said import kind_named, lots_named
from readiness.workbooks.handed_over.places_said import is_short, is_station, read_place
from readiness.workbooks.handed_over.records import Cell, Layout, Meaning, SheetRow
from readiness.workbooks.handed_over.saying import plain

_SETTINGS: Final = re.compile(r"([0-9])\s*[x×/&*]\s*([0-9])", re.IGNORECASE)
_MOST_SPELLINGS: Final = 3_000  # products compared with one another for slips of the pen
_LONGEST_COMPARED: Final = 60
_LEAST_COMPARED: Final = 5  # shorter names differ by a letter because they are different names


class LotDate(NamedTuple):
    """A date that a row gives a lot, and the row."""

    label: GoodThrough
    row: int


class Across(NamedTuple):
    """What is known from the sheet as a whole; keys are spellings folded by ``fold``."""

    products: Mapping[str, str]  # fold → the commonest spelling
    slips: Mapping[str, str]  # fold → the commonest spelling of a product that differs by one letter
    stations: Mapping[str, str]  # station fold → the commonest spelling
    kinds: Mapping[str, Counter[str]]  # product fold → kinds that rows give it
    lots: Mapping[tuple[str, str, Meaning], tuple[LotDate, ...]]  # (product fold, lot fold, which date)
    units: frozenset[str]  # units written out somewhere, such as "engine 1"


@lru_cache(maxsize=20_000)
def fold(name: str) -> str:
    """What spellings of one name share: no case, no marks, 3/6 as 3x6."""
    return plain(_SETTINGS.sub(r"\1x\2", name))


def fold_station(name: str) -> str:
    """Sta 1, Station 1 and FS-1 are one station."""
    if not is_station(name):
        return plain(name)
    digits = "".join(each for each in name if each.isdigit()).lstrip("0")
    letter = name.strip()[-1:].casefold() if digits and name.strip()[-1:].isalpha() else ""
    return f"station {digits}{letter}" if digits else plain(name)


def look_across(rows: Iterable[SheetRow], layout: Layout, *, today: date) -> Across:
    """Read what rows tell about one another."""
    found = _Found(layout, today)
    for row in rows:
        if row.number > layout.header_row:
            found.add(row)
    products = _commonest(found.products, fold)
    return Across(
        products,
        _slips(found.products, products),
        _commonest(found.stations, fold_station),
        found.kinds,
        {key: tuple(dates) for key, dates in found.lots.items()},
        frozenset(found.units),
    )


class _Found:
    def __init__(self, layout: Layout, today: date) -> None:
        self._at = {meaning: layout.column_of(meaning) for meaning in Meaning}
        self._dates = DateReader(day_first=layout.day_first, today=today)
        self._said: dict[Cell, GoodThrough | None] = {}
        self.products: Counter[str] = Counter()
        self.stations: Counter[str] = Counter()
        self.kinds: dict[str, Counter[str]] = {}
        self.lots: dict[tuple[str, str, Meaning], dict[LotDate, None]] = {}
        self.units: set[str] = set()
        self._places: set[str] = set()
        self._folds: dict[str, str] = {}
        self._known_kinds: dict[str, str] = {}
        self._lots_of: dict[str, tuple[str, ...]] = {}

    def add(self, row: SheetRow) -> None:
        """One row below the headings."""
        station, where = self._text(row, Meaning.STATION), self._text(row, Meaning.WHERE)
        if station:
            self.stations[station] += 1
        if where and where not in self._places:
            self._places.add(where)
            self._note_unit(where)
        product = self._text(row, Meaning.PRODUCT)
        if product:
            self._add_product(row, product)

    def _text(self, row: SheetRow, meaning: Meaning) -> str:
        column = self._at[meaning]
        cell = row.cell(column) if column is not None else None
        return cell.text if cell is not None else ""

    def _note_unit(self, where: str) -> None:
        spot = read_place(where)
        if spot.what == "unit" and not is_short(where):
            self.units.add(spot.unit.casefold())

    def _add_product(self, row: SheetRow, product: str) -> None:
        self.products[product] += 1
        key = self._folds.get(product)
        if key is None:
            key = self._folds[product] = fold(product)
        self._add_kind(key, self._text(row, Meaning.KIND))
        written = self._text(row, Meaning.LOT)
        lots = self._lots_of.get(written)
        if lots is None:
            lots = self._lots_of[written] = tuple(fold(lot) for lot in lots_named(written))
        if len(lots) == 1:
            self._add_date(row, key, lots[0], Meaning.MADE)
            self._add_date(row, key, lots[0], Meaning.GOOD_THROUGH)

    def _add_kind(self, product: str, written: str) -> None:
        if not written:
            return
        kind = self._known_kinds.get(written)
        if kind is None:
            kind = self._known_kinds[written] = kind_named(written)
        if kind:
            self.kinds.setdefault(product, Counter())[kind] += 1

    def _add_date(self, row: SheetRow, product: str, lot: str, meaning: Meaning) -> None:
        column = self._at[meaning]
        cell = row.cell(column) if column is not None else None
        if cell is None:
            return
        if cell not in self._said:
            value = self._dates.read(cell).value
            self._said[cell] = value if isinstance(value, GoodThrough) else None
        label = self._said[cell]
        dates = self.lots.setdefault((product, lot, meaning), {})
        if label is not None and len(dates) < 20 and all(label != each.label for each in dates):
            dates[LotDate(label, row.number)] = None


def _commonest(spellings: Counter[str], folded: Callable[[str], str]) -> dict[str, str]:
    best: dict[str, str] = {}
    for spelling, _ in spellings.most_common():
        best.setdefault(folded(spelling), spelling)
    return best


def _slips(spellings: Counter[str], products: Mapping[str, str]) -> dict[str, str]:
    """Names one letter away from a commoner name with the same figures: probably a slip of the pen."""
    if len(products) > _MOST_SPELLINGS:
        return {}
    often = {key: spellings[spelling] for key, spelling in products.items()}
    by_gap: dict[str, list[str]] = {}
    for key in products:
        if _LEAST_COMPARED <= len(key) <= _LONGEST_COMPARED:
            for gap in _gaps(key):
                by_gap.setdefault(gap, []).append(key)
    slips: dict[str, str] = {}
    for alike in by_gap.values():
        best = max(alike, key=lambda key: (often[key], key))
        for key in alike:
            if key != best and _figures(key) == _figures(best) and _one_letter_apart(key, best):
                slips[key] = products[best]
    return slips


def _gaps(key: str) -> set[str]:
    """The name, and the name without each of its letters in turn: names one letter apart share one of these."""
    return {key, *(key[:at] + key[at + 1 :] for at in range(len(key)))}


def _figures(key: str) -> str:
    return "".join(each for each in key if each.isdigit())


def _one_letter_apart(one: str, other: str) -> bool:
    """One letter changed, added, left out, or two neighbors swapped."""
    if len(one) == len(other):
        differ = [at for at in range(len(one)) if one[at] != other[at]]
        if len(differ) == 2 and differ[1] == differ[0] + 1:
            return one[differ[0]] == other[differ[1]] and one[differ[1]] == other[differ[0]]
        return len(differ) == 1
    longer, shorter = (one, other) if len(one) > len(other) else (other, one)
    return len(longer) == len(shorter) + 1 and shorter in _gaps(longer)
