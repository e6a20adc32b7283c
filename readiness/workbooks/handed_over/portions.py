"""The containers of one row: how many are alike, what each holds, of which lots, sealed or opened, set aside or not.

1. Count and size give full containers; a total without a size is shared evenly.
2. Lots are put in: by volume in one container, by count among several.
3. Opened ones, damaged ones and those with a broken seal are taken from the last ones, in this order, so that none is
   both opened and damaged unless there are too few.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from readiness.engineering.lots import draw_in_proportion
from readiness.workbooks.handed_over.amounts_said import share_of, shared
from readiness.workbooks.handed_over.records import Meaning, Part, Portion


@dataclass(slots=True)
class Stock:
    """What the answers and notes say about the containers of a row."""

    by_total: bool = False  # the total is right, not count × size
    together: bool = False  # what stands as the size is of all together
    condition: str = ""  # of all of them
    lot_ml: tuple[int, ...] = ()  # of each lot in one container
    first_lot_ml: int | None = None  # of the first of two lots, the rest of the other
    lot_counts: tuple[int, ...] = ()  # containers of each lot
    even_lots: bool = False
    other_lot_ml: int = 0  # topped up with a lot that is not known
    opened: int = 0
    opened_on: date | None = None
    opened_share: Fraction | None = None
    opened_ml: int | None = None
    filled: int = 0  # so many of them are filled to a share or a volume
    filled_share: Fraction | None = None
    filled_ml: int | None = None
    aside: int = 0
    aside_gone: bool = False
    all_sealed: bool = False
    sealed: int | None = None  # so many are sealed, the others opened


@dataclass(slots=True)
class _One:
    """One container on its way into a portion."""

    capacity_ml: int
    parts: tuple[Part, ...]
    sealed: bool | None = None
    opened: bool = False
    opened_on: date | None = None
    condition: str = ""
    why: str = ""

    def portion(self, many: int) -> Portion:
        return Portion(
            many, self.capacity_ml, self.parts, self.sealed, self.opened_on, self.opened, self.condition, self.why
        )


def portions_of(
    stock: Stock, values: Mapping[Meaning, Any], lots: Sequence[str]
) -> tuple[tuple[Portion, ...], list[str]]:
    """The portions of a row, and in sentences what of them was worked out; none where the row says none."""
    steps: list[str] = []
    count = int(values.get(Meaning.QUANTITY, 1))
    if count == 0:
        return (), steps
    capacity, contents = _amounts(stock, values, count, steps)
    if min(capacity) < 1:
        steps.append("By what is written it holds nothing, and no size is written: no container comes of it.")
        return (), steps
    ones = [
        _One(each_capacity, _parts(stock, each_contents, number, count, lots), condition=stock.condition)
        for number, (each_capacity, each_contents) in enumerate(zip(capacity, contents, strict=True))
    ]
    ones = _marked(ones, stock)
    return _grouped(ones), steps


def _amounts(
    stock: Stock, values: Mapping[Meaning, Any], count: int, steps: list[str]
) -> tuple[Sequence[int], Sequence[int]]:
    """(capacity, contents) of each container [ml]."""
    size, total = values.get(Meaning.SIZE), values.get(Meaning.VOLUME)
    if size is None:
        steps.append("No size is written: each counts as full with its share of the volume.")
        even = shared(int(total or 0), count)
        return even, even
    if stock.together:
        even = shared(int(size), count)
        return even, even
    if stock.by_total and total is not None:
        return [int(size)] * count, _poured(int(total), int(size), count)
    return [int(size)] * count, [int(size)] * count


def _poured(total: int, size: int, count: int) -> list[int]:
    """A total in containers of one size: full ones first, the rest in the next."""
    contents = []
    for _ in range(count):
        contents.append(min(size, total))
        total -= contents[-1]
    return contents


def _parts(stock: Stock, contents: int, number: int, count: int, lots: Sequence[str]) -> tuple[Part, ...]:
    """The lots in one container."""
    if contents <= 0:
        return ()
    if len(lots) > 1 and stock.lot_counts:
        return (Part(_lot_of(number, stock.lot_counts, lots), contents),)
    if len(lots) > 1:
        return _by_volume(stock, contents, lots)
    lot = lots[0] if lots else ""
    other = shared(stock.other_lot_ml, count)[number]
    if lot and 0 < other < contents:
        return (Part(lot, contents - other), Part("", other))
    return (Part(lot, contents),)


def _lot_of(number: int, counts: Sequence[int], lots: Sequence[str]) -> str:
    upto = 0
    for lot, many in zip(lots, counts, strict=False):
        upto += many
        if number < upto:
            return lot
    return lots[-1]


def _by_volume(stock: Stock, contents: int, lots: Sequence[str]) -> tuple[Part, ...]:
    if stock.first_lot_ml is not None and len(lots) == 2:
        first = min(stock.first_lot_ml, contents)
        volumes: Sequence[int] = (first, contents - first)
    elif len(stock.lot_ml) == len(lots) and sum(stock.lot_ml) == contents:
        volumes = stock.lot_ml
    else:
        volumes = shared(contents, len(lots))
    return tuple(Part(lot, ml) for lot, ml in zip(lots, volumes, strict=True) if ml > 0)


def _marked(ones: list[_One], stock: Stock) -> list[_One]:
    for one in ones[max(len(ones) - stock.filled, 0) :] if stock.filled else ():
        _fill(one, stock.filled_share, stock.filled_ml)
    opened = min(stock.opened, len(ones))
    if stock.sealed is not None:
        opened = max(opened, len(ones) - stock.sealed)
    for one in ones[len(ones) - opened :]:
        one.opened, one.opened_on, one.sealed = True, stock.opened_on, False
        _fill(one, stock.opened_share, stock.opened_ml)
    if stock.all_sealed or stock.sealed is not None:
        for one in ones[: len(ones) - opened]:
            one.sealed = True
    return _set_aside(ones, stock, opened)


def _set_aside(ones: list[_One], stock: Stock, opened: int) -> list[_One]:
    """The damaged ones: from those that are not opened, while there are enough."""
    aside = min(stock.aside, len(ones))
    last = max(len(ones) - opened, aside)
    chosen = range(last - aside, last)
    if stock.aside_gone:
        return [one for number, one in enumerate(ones) if number not in chosen]
    for number in chosen:
        ones[number].condition = ones[number].condition or "quarantined"
        ones[number].why = "set aside by a note"
    return ones


def _fill(one: _One, share: Fraction | None, ml: int | None) -> None:
    """Leaves in a container so much of what it holds when full, its lots in proportion."""
    if share is None and ml is None:
        return
    left = share_of(one.capacity_ml, share) if share is not None else min(ml or 0, one.capacity_ml)
    now = sum(part.ml for part in one.parts)
    if not now or left >= now:
        return
    kept = draw_in_proportion({number: part.ml for number, part in enumerate(one.parts)}, left) if left else {}
    one.parts = tuple(Part(part.lot, kept[number]) for number, part in enumerate(one.parts) if number in kept)


def _grouped(ones: Sequence[_One]) -> tuple[Portion, ...]:
    """Neighbors that are alike, counted together."""
    portions: list[Portion] = []
    for one in ones:
        alone = one.portion(1)
        if portions and portions[-1]._replace(many=1) == alone:
            portions[-1] = portions[-1]._replace(many=portions[-1].many + 1)
        else:
            portions.append(alone)
    return tuple(portions)
