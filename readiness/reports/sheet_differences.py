"""A newer sheet beside the book: what it has more, fewer, elsewhere, or in another amount. Nothing is posted by this.

Containers are compared by what a sheet can say of them: place, concentrate, lot, kind and size. Only stations that the
sheet names are looked at, since a sheet of one station says nothing of the others.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text
from readiness.models import Assignment, Container, Department, Holding, Place
from readiness.reports.inventories import FIXED
from readiness.reports.sheet_matching import UNKNOWN_LOT, Matched, MatchedRow, PlaceNamed, counted
from readiness.workbooks.rules import folded

What = Literal["same", "amount", "more", "fewer", "moved"]
WORDS: Mapping[str, str] = {
    "same": "as the book has it",
    "amount": "another amount",
    "more": "more than the book has",
    "fewer": "fewer than the book has",
    "moved": "elsewhere",
}


class Alike(NamedTuple):
    """What containers are compared by, folded."""

    side: str
    owner: str
    compartment: str
    product: str
    lots: tuple[str, ...]
    kind: str
    capacity_ml: int

    @property
    def goods(self) -> tuple[Any, ...]:
        """The same without the place."""
        return self[3:]


class Difference(NamedTuple):
    """One difference, or one line on which sheet and book agree. `many` containers are concerned."""

    what: What
    many: int
    place: str
    from_place: str  # of what moved: where the book has it
    owner: str  # as a form names it, such as unit-12; empty where the department has no such thing
    compartment: str
    product: str
    lots: str
    kind: str
    capacity_ml: int
    sheet_ml: int
    book_ml: int
    rows: tuple[int, ...]
    codes: tuple[str, ...]
    each_ml: int | None = None  # what the sheet has in each of them, where that is the same in all

    def kept(self) -> list[Any]:
        """As JSON keeps it."""
        return [list(each) if isinstance(each, tuple) else each for each in self]

    @classmethod
    def read(cls, kept: Sequence[Any]) -> Difference:
        """The same again."""
        found = cls(*kept)
        return found._replace(rows=tuple(found.rows), codes=tuple(found.codes))

    def words(self, units: str) -> str:
        """What differs, in a sentence."""
        some = counted(self.many, self.kind)
        if self.what == "same":
            return f"The book has {some} there too."
        if self.what == "amount":
            sheet, book = (volume_text(ml, units) for ml in (self.sheet_ml, self.book_ml))
            return f"The sheet has {sheet} in {some}, the book {book}."
        if self.what == "moved":
            return f"The sheet has {some} at {self.place}, which the book has at {self.from_place}."
        side, other = ("sheet", "book") if self.what == "more" else ("book", "sheet")
        return f"The {side} has {some} at {self.place} that the {other} does not have."


class _Stack:
    """Containers that are alike, on one side."""

    def __init__(self) -> None:
        self.ml: list[int] = []
        self.rows: list[int] = []
        self.codes: list[str] = []
        self.place = PlaceNamed("station", "", "")
        self.product = self.lots = ""


def differences(department: Department, matched: Matched) -> tuple[Difference, ...]:
    """Sheet beside book, what differs first."""
    sheet = _of_sheet(matched.rows)
    owners = _Owners(department)
    book = _of_book(department, owners, {owners.station(key.side, key.owner) for key in sheet})
    lines, more, fewer = _lines(sheet, book)
    found = [*_paired(more, fewer), *lines]
    found = [each._replace(owner=owners.form_name(each.owner)) for each in found]
    order = [*list(WORDS)[1:], "same"]
    return tuple(sorted(found, key=lambda each: (order.index(each.what), each.rows or (10**9,), each.place)))


def _of_sheet(rows: Iterable[MatchedRow]) -> dict[Alike, _Stack]:
    found: dict[Alike, _Stack] = defaultdict(_Stack)
    for row in rows:
        for held in row.held:
            if row.place is None:
                continue
            lots = tuple(sorted({_lot(batch) for batch, _ in held.parts}))
            key = _key(row.place, row.product, lots, held.kind, held.capacity_ml)
            stack = found[key]
            stack.ml.append(sum(ml for _, ml in held.parts))
            stack.rows.append(row.settled.number)
            stack.place, stack.product = row.place, row.product
            stack.lots = ", ".join(batch or UNKNOWN_LOT for batch, _ in held.parts)
    return found


def _key(place: PlaceNamed, product: str, lots: tuple[str, ...], kind: str, capacity_ml: int) -> Alike:
    return Alike(place.side, folded(place.name), folded(place.compartment), folded(product), lots, kind, capacity_ml)


def _lot(batch: str) -> str:
    """Lots that nobody knows are alike, whatever label code their name goes by in the book."""
    key = folded(batch)
    return "" if key.startswith(UNKNOWN_LOT) else key


class _Owners:
    """Stations, units and vehicles by name: where they are at home, and how a form names them."""

    def __init__(self, department: Department) -> None:
        self.home: dict[tuple[str, str], int] = {}
        self.pk: dict[tuple[str, str], int] = {}
        running = Assignment.objects.filter(department=department, to_at__isnull=True)
        at = dict(running.values_list("vehicle", "unit__station"))
        for pk, name in department.stations.values_list("pk", "name"):
            self._add("station", name, pk, pk)
        for pk, name, station in department.units_of_department.values_list("pk", "designation", "station"):
            self._add("unit", name, pk, station)
        for pk, name, station in department.vehicles.values_list("pk", "shop_no", "station"):
            self._add("vehicle", name, pk, at.get(pk, station))

    def _add(self, side: str, name: str, pk: int, station: int) -> None:
        self.pk[side, folded(name)] = pk
        self.home[side, folded(name)] = station

    def station(self, side: str, owner: str) -> int | None:
        """The station at which it is at home."""
        return self.home.get((side, owner))

    def form_name(self, owner: str) -> str:
        """ "unit|engine 1" as "unit-12"; nothing where there is no such thing yet."""
        side, _, name = owner.partition("|")
        pk = self.pk.get((side, name))
        return f"{side}-{pk}" if pk else ""


def _of_book(department: Department, owners: _Owners, stations: set[int | None]) -> dict[Alike, _Stack]:
    lots: dict[int, list[str]] = defaultdict(list)
    held = Holding.objects.filter(container__department=department).order_by("id")
    for container, batch in held.values_list("container", "lot__batch"):
        lots[container].append(batch)
    rows = Container.objects.filter(department=department, retired_on__isnull=True, place__isnull=False)
    rows = rows.select_related("concentrate", "place__station", "place__unit", "place__vehicle").order_by("code")
    found: dict[Alike, _Stack] = defaultdict(_Stack)
    for row in rows:
        assert row.place is not None  # as asked for
        place = _place(row.place)
        if owners.station(place.side, folded(place.name)) not in stations:
            continue
        product = row.concentrate.name if row.concentrate and row.contents_ml else ""
        batches = tuple(sorted({_lot(batch) for batch in lots[row.pk]}))
        stack = found[_key(place, product, batches, row.kind, row.capacity_ml)]
        stack.ml.append(row.contents_ml)
        stack.codes.append(row.code)
        stack.place, stack.product, stack.lots = place, product, ", ".join(lots[row.pk])
    return found


def _place(place: Place) -> PlaceNamed:
    if place.station:
        return PlaceNamed("station", place.station.name, place.compartment)
    if place.unit:
        return PlaceNamed("unit", place.unit.designation, place.compartment)
    assert place.vehicle is not None  # the table's own rule: a place is one of the three
    return PlaceNamed("vehicle", place.vehicle.shop_no, place.compartment)


def _lines(
    sheet: Mapping[Alike, _Stack], book: Mapping[Alike, _Stack]
) -> tuple[list[Difference], list[tuple[Alike, Difference]], list[tuple[Alike, Difference]]]:
    """Where both sides have some; and what either side has beyond the other."""
    lines: list[Difference] = []
    more: list[tuple[Alike, Difference]] = []
    fewer: list[tuple[Alike, Difference]] = []
    empty = _Stack()
    for key in [*sheet, *(key for key in book if key not in sheet)]:
        here, there = sheet.get(key, empty), book.get(key, empty)
        both = min(len(here.ml), len(there.ml))
        line = _difference(key, here, there)
        if both:
            same = abs(sum(here.ml[:both]) - sum(there.ml[:both])) <= tolerance_ml(both)
            each = here.ml[0] if len(set(here.ml)) == 1 else None
            lines.append(line._replace(what="same" if same else "amount", many=both, each_ml=each))
        if len(here.ml) > both:
            more.append((key, line._replace(what="more", many=len(here.ml) - both, codes=())))
        elif len(there.ml) > both and (here.ml or sum(there.ml) > 0):  # nobody lists what is empty
            left = tuple(there.codes[both:])
            fewer.append((key, line._replace(what="fewer", many=len(left), codes=left)))
    return lines, more, fewer


def _difference(key: Alike, here: _Stack, there: _Stack) -> Difference:
    shown = here if here.ml else there
    return Difference(
        what="same",
        many=0,
        place=shown.place.words,
        from_place="",
        owner=f"{key.side}|{key.owner}",
        compartment=shown.place.compartment,
        product=shown.product,
        lots=shown.lots,
        kind=key.kind,
        capacity_ml=key.capacity_ml,
        sheet_ml=sum(here.ml),
        book_ml=sum(there.ml),
        rows=tuple(dict.fromkeys(here.rows)),
        codes=tuple(there.codes),
    )


def _paired(more: list[tuple[Alike, Difference]], fewer: list[tuple[Alike, Difference]]) -> list[Difference]:
    """What is missing at one place and found at another is taken for moved; the rest stays as it is."""
    gone: dict[tuple[Any, ...], list[Difference]] = defaultdict(list)
    for key, line in fewer:
        gone[key.goods].append(line)
    found: list[Difference] = []
    for key, line in more:
        rest = line
        waiting = gone[key.goods]
        while rest.many and waiting:
            other = waiting.pop(0)
            many = min(rest.many, other.many)
            moved = rest._replace(what="moved", many=many, from_place=other.place, codes=other.codes[:many])
            found.append(moved)
            rest = rest._replace(many=rest.many - many)
            if other.many > many:
                waiting.insert(0, other._replace(many=other.many - many, codes=other.codes[many:]))
        if rest.many:
            found.append(rest)
    return found + [line for left in gone.values() for line in left]


def told_by_row(found: Iterable[Difference], units: str) -> dict[int, list[str]]:
    """What is said of each row of the sheet."""
    told: dict[int, list[str]] = defaultdict(list)
    for each in found:
        for number in each.rows if each.what != "fewer" else ():
            told[number].append(each.words(units))
    return told


class Told(NamedTuple):
    """What a sheet says of one container: so much is in it, or (None) that it is not there."""

    ml: int | None
    differs: bool


def told_of_containers(found: Iterable[Difference]) -> tuple[dict[str, Told], int]:
    """By label code what the sheet says without a doubt; and how many containers it leaves to be looked for.

    Where alike containers hold unlike amounts by the sheet, it does not say which holds how much; and a tank that is
    built in is there, whether the sheet has it or not.
    """
    told: dict[str, Told] = {}
    left = 0
    for line in found:
        if line.what == "fewer" and line.kind not in FIXED:
            told.update((code, Told(None, differs=False)) for code in line.codes)
        elif line.each_ml is not None and line.what in ("same", "amount"):
            differs = line.what == "amount"
            told.update((code, Told(line.each_ml, differs)) for code in line.codes[: line.many])
        else:
            left += line.many
    return told, left
