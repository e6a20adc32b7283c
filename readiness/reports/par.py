"""Par lists compared with what the book has aboard: what is missing, over, or aboard and out of the count.

1. A line of a named concentrate chooses first, then one of a kind, then "any alcohol-resistant"; each container answers
   one line, those of the line's own compartment first.
2. A line in containers asks for full ones: a part-filled pail is said and not counted. A line in volume asks for what
   is in them, the heel among it: a tank is filled to the mark.
3. What is out of the count (expired, mixed, quarantined …) never answers a line.
4. Gear with a kind of appliance is counted among the book's appliances of the unit and its vehicle; other gear is as
   the last check that named it found it. Where no check did, that is said: not looked at is not missing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from typing import Final, NamedTuple

from django.db.models import F, Window
from django.db.models.functions import Lower, RowNumber

from readiness.engineering.units import enough, tolerance_ml
from readiness.engineering.wording import volume_text
from readiness.models import Appliance, Assignment, Department, ParLine, Reading, Unit
from readiness.models.checks import Answer
from readiness.models.fleet import ServiceState
from readiness.models.par import ANY_RESISTANT
from readiness.reports.inventory import EMPTY, Inventory, Item, Product, alcohol_resistant
from readiness.reports.store_matches import Match, Stores, newest_first

AS_LISTED, SHORT, OVER, NOT_LOOKED, FAULTY = "as listed", "short", "over", "not looked at", "fault"
FOAM, GEAR = "foam", "gear"
NOT_LISTED: Final = "not on the list"
MORE: Final = "more than the list asks for"


class ParRow(NamedTuple):
    """One line with what answers it. Foam in containers (`wanted`) or volume (`wanted_ml`), gear in pieces."""

    id: int
    unit_id: int
    unit: str
    station: str
    sort: str  # FOAM or GEAR
    compartment: str
    what: str
    wanted: int | None
    wanted_ml: int | None
    aboard: int | None  # None: nobody looked
    aboard_ml: int
    kept_in: int
    missing: int  # containers or pieces
    missing_ml: int
    state: str
    codes: tuple[str, ...]
    remarks: tuple[str, ...]
    note: str
    looked_at: datetime | None = None
    looked: bool = False  # gear that is known by looking, not from the book


class Extra(NamedTuple):
    """A container aboard that no line asks for, or that answers none."""

    unit_id: int
    unit: str
    station: str
    code: str
    what: str
    place: str
    ml: int
    why: str


class ParList(NamedTuple):
    """A unit's whole list. `state` is the worst of its lines; empty where it has no list."""

    unit_id: int
    unit: str
    station: str
    rows: tuple[ParRow, ...]
    extras: tuple[Extra, ...]

    @property
    def state(self) -> str:
        """The worst of its lines."""
        return next((state for state in WORST_FIRST if any(row.state == state for row in self.rows)), "")


WORST_FIRST: Final = (SHORT, FAULTY, NOT_LOOKED, OVER, AS_LISTED)


class Restock(NamedTuple):
    """What a unit's list is missing, and where it lies."""

    row: ParRow
    matches: tuple[Match, ...]


# -- words -------------------------------------------------------------------------------------------------------------


def line_words(line: ParLine) -> str:
    """What a line asks for, without its number."""
    if line.gear:
        return line.gear
    name = line.concentrate.name if line.concentrate else _kind_words(line.concentrate_kind)
    return f"{name}, {line.container_kind}" if line.container_kind else name


def _kind_words(kind: str) -> str:
    return "any alcohol-resistant" if kind == ANY_RESISTANT else f"any {kind}"


def size_words(line: ParLine, units: str) -> str:
    """How many or how much."""
    if line.volume_ml is not None:
        return volume_text(line.volume_ml, units)
    return str(line.containers if line.containers is not None else line.pieces)


# -- the comparison ----------------------------------------------------------------------------------------------------


def par_lists(department: Department, inventory: Inventory, only: Unit | None = None) -> tuple[ParList, ...]:
    """Every unit in use with its list, by name; the number of queries does not grow with units, lines or stock."""
    units = Unit.objects.filter(department=department, retired_on__isnull=True).select_related("station")
    units = units if only is None else units.filter(pk=only.pk)
    lines = ParLine.objects.filter(department=department, retired_on__isnull=True, unit__in=units.values("pk"))
    by_unit: dict[int, list[ParLine]] = defaultdict(list)
    for line in lines.select_related("concentrate").order_by("compartment", "id"):
        by_unit[line.unit_id].append(line)
    aboard: dict[int, list[Item]] = defaultdict(list)
    for item in inventory.items:
        if item.unit_id is not None and item.state != EMPTY:
            aboard[item.unit_id].append(item)
    gear = _Gear(department, [line for each in by_unit.values() for line in each if line.gear])
    found = (_Comparing(unit, by_unit[unit.pk], aboard[unit.pk], gear, department.units) for unit in units)
    return tuple(each.list() for each in found)


class _Comparing:
    """One unit's lines and what it has aboard."""

    def __init__(self, unit: Unit, lines: list[ParLine], items: list[Item], gear: _Gear, units: str) -> None:
        self.unit, self.lines, self.gear, self.units = unit, lines, gear, units
        self.good = sorted((item for item in items if item.counted_ml), key=newest_first)
        self.out = [item for item in items if not item.counted_ml]
        self.answers: dict[int, list[Item]] = {line.pk: [] for line in lines if not line.gear}
        self.part_full: dict[int, list[Item]] = defaultdict(list)

    def list(self) -> ParList:
        """The list, and what is aboard beside it."""
        foam = sorted((line for line in self.lines if not line.gear), key=_specific)
        for own_compartment in (True, False):
            for line in foam:
                self._answer(line, own_compartment)
        rows = tuple(self._row(line) for line in self.lines)
        extras = tuple(self._extras()) if self.lines else ()
        return ParList(self.unit.pk, self.unit.designation, self.unit.station.name, rows, extras)

    def _answer(self, line: ParLine, own_compartment: bool) -> None:
        """Give a line what it asks for, of what no other line has taken."""
        for item in list(self.good):
            here = not line.compartment or compartment_of(item).casefold() == line.compartment.casefold()
            if here != own_compartment or not _suits(line, item) or self._has_enough(line):
                continue
            if line.containers is not None and not _full(item):
                self.part_full[line.pk].append(item)
            else:
                self.answers[line.pk].append(item)
            self.good.remove(item)

    def _has_enough(self, line: ParLine) -> bool:
        taken = self.answers[line.pk]
        if line.containers is not None:
            return len(taken) >= line.containers
        return bool(taken) and enough(sum(map(_in_it_ml, taken)), line.volume_ml or 0, len(taken))

    def _row(self, line: ParLine) -> ParRow:
        if line.gear:
            return self.gear.row(line, self.unit)
        taken = self.answers[line.pk]
        volume = sum(map(_in_it_ml, taken))
        missing = max(0, (line.containers or 0) - len(taken))
        missing_ml = 0 if self._has_enough(line) or line.volume_ml is None else line.volume_ml - volume
        over = any(_suits(line, item) for item in self.good)
        state = SHORT if missing or missing_ml else OVER if over else AS_LISTED
        return ParRow(
            id=line.pk,
            unit_id=self.unit.pk,
            unit=self.unit.designation,
            station=self.unit.station.name,
            sort=FOAM,
            compartment=line.compartment,
            what=line_words(line),
            wanted=line.containers,
            wanted_ml=line.volume_ml,
            aboard=len(taken),
            aboard_ml=volume,
            kept_in=len(taken),
            missing=missing,
            missing_ml=missing_ml,
            state=state,
            codes=tuple(sorted(item.code for item in taken)),
            remarks=tuple(self._remarks(line, taken)),
            note=line.note,
        )

    def _remarks(self, line: ParLine, taken: Iterable[Item]) -> Iterator[str]:
        for item in self.part_full[line.pk]:
            yield f"{item.code} is part full: {volume_text(_in_it_ml(item), self.units)}"
        for item in self.out:
            if _suits(line, item):
                yield f"{item.code} is aboard and does not count: {item.state}"
        for item in taken:
            if line.compartment and compartment_of(item).casefold() != line.compartment.casefold():
                yield f"{item.code} stands at {item.place}"

    def _extras(self) -> Iterator[Extra]:
        foam = [line for line in self.lines if not line.gear]
        for item in self.good:
            yield self._extra(item, MORE if any(_suits(line, item) for line in foam) else NOT_LISTED)
        for item in self.out:
            if not any(_suits(line, item) for line in foam):
                yield self._extra(item, f"{NOT_LISTED}, and {item.state}")

    def _extra(self, item: Item, why: str) -> Extra:
        what = f"{item.concentrate or 'unlike concentrates'}, {item.kind}"
        unit = self.unit
        return Extra(unit.pk, unit.designation, unit.station.name, item.code, what, item.place, item.contents_ml, why)


def _specific(line: ParLine) -> int:
    """A named concentrate chooses before a kind, a kind before any alcohol-resistant; containers of a kind first."""
    by = 0 if line.concentrate_id else 2 if line.concentrate_kind == ANY_RESISTANT else 1
    return 2 * by + (0 if line.container_kind else 1)


def _suits(line: ParLine, item: Item) -> bool:
    if line.container_kind and item.kind != line.container_kind:
        return False
    return _suiting(line, Product(item.concentrate_id or 0, item.concentrate, item.concentrate_kind, item.pfas))


def _suiting(line: ParLine, product: Product) -> bool:
    """Whether a concentrate is what the line asks for."""
    if line.concentrate_id is not None:
        return product.id == line.concentrate_id
    if line.concentrate_kind == ANY_RESISTANT:
        return alcohol_resistant(product.kind)
    return product.kind == line.concentrate_kind


def _in_it_ml(item: Item) -> int:
    """What is in a container that counts, heel included: what was read, where that is less than the book says [mL]."""
    return min(item.contents_ml, item.counted_ml + item.unreachable_ml)


def _full(item: Item) -> bool:
    return _in_it_ml(item) + tolerance_ml(1) >= item.capacity_ml


def compartment_of(item: Item) -> str:
    """The compartment where a container stands: what its place says behind the comma."""
    return item.place.partition(", ")[2]


# -- gear --------------------------------------------------------------------------------------------------------------


class _Gear:
    """The book's appliances by rig, and what the last checks said of other gear by name."""

    def __init__(self, department: Department, lines: Collection[ParLine]) -> None:
        self.appliances: dict[int, list[tuple[str, str, bool]]] = defaultdict(list)
        running = Assignment.objects.filter(department=department, to_at__isnull=True)
        units = dict(running.values_list("vehicle", "unit"))
        rows = Appliance.objects.filter(department=department).order_by("name")
        for unit, vehicle, name, kind, state in rows.values_list("unit", "vehicle", "name", "kind", "state"):
            owner = unit or units.get(vehicle or 0)
            if owner is not None:
                self.appliances[owner].append((kind, name, state != ServiceState.OUT))
        self.said = _last_said(department, lines)

    def row(self, line: ParLine, unit: Unit) -> ParRow:
        """A line of gear."""
        if line.appliance_kind:
            return self._in_the_book(line, unit)
        wanted = line.pieces or 1
        answer, at = self.said.get((unit.pk, line.gear.casefold()), ("", None))
        if answer == Answer.GOOD:
            return _gear_row(line, unit, wanted, AS_LISTED, (), at)
        if answer == Answer.NOT_CARRIED:
            return _gear_row(line, unit, 0, SHORT, ("the last check says: not carried",), at)
        if answer == Answer.FAULT:
            return _gear_row(line, unit, wanted, FAULTY, ("the last check found a fault in it",), at)
        return _gear_row(line, unit, None, NOT_LOOKED, ("no check has named it",), at)

    def _in_the_book(self, line: ParLine, unit: Unit) -> ParRow:
        of_kind = [(name, works) for kind, name, works in self.appliances[unit.pk] if kind == line.appliance_kind]
        works = [name for name, in_service in of_kind if in_service]
        remarks = tuple(f"{name} is out of service" for name, in_service in of_kind if not in_service)
        wanted = line.pieces or 1
        state = SHORT if len(works) < wanted else AS_LISTED if len(works) == wanted else OVER
        return _gear_row(line, unit, len(works), state, remarks, None, tuple(works))


def _last_said(
    department: Department, lines: Collection[ParLine]
) -> Mapping[tuple[int, str], tuple[str, datetime | None]]:
    """What the last check that named a thing said of it, by unit and name."""
    names = {line.gear for line in lines if not line.appliance_kind}
    if not names:
        return {}
    turn = Window(
        RowNumber(),
        partition_by=["check_of__unit", "name"],
        order_by=[F("check_of__finished_at").desc(), F("id").desc()],
    )
    rows = Reading.objects.filter(check_of__department=department, check_of__unit__in={line.unit_id for line in lines})
    rows = rows.annotate(name=Lower("item")).filter(name__in={name.lower() for name in names})
    rows = rows.exclude(answer=Answer.NOT_LOOKED).annotate(turn=turn).filter(turn=1).order_by()
    columns = ("check_of__unit", "item", "answer", "check_of__finished_at")
    return {(unit, item.casefold()): (answer, at) for unit, item, answer, at in rows.values_list(*columns)}


def _gear_row(
    line: ParLine,
    unit: Unit,
    aboard: int | None,
    state: str,
    remarks: tuple[str, ...],
    at: datetime | None,
    names: tuple[str, ...] = (),
) -> ParRow:
    wanted = line.pieces or 1
    return ParRow(
        id=line.pk,
        unit_id=unit.pk,
        unit=unit.designation,
        station=unit.station.name,
        sort=GEAR,
        compartment=line.compartment,
        what=line.gear,
        wanted=wanted,
        wanted_ml=None,
        aboard=aboard,
        aboard_ml=0,
        kept_in=0,
        missing=max(0, wanted - aboard) if aboard is not None else 0,
        missing_ml=0,
        state=state,
        codes=names,
        remarks=remarks,
        note=line.note,
        looked_at=at,
        looked=not line.appliance_kind,
    )


# -- restocking --------------------------------------------------------------------------------------------------------


def restock(department: Department, inventory: Inventory, lists: Iterable[ParList]) -> tuple[Restock, ...]:
    """Every line that is short, with the stores where what it asks for lies."""
    short = [row for each in lists for row in each.rows if row.state == SHORT]
    asked = ParLine.objects.filter(department=department, pk__in=[row.id for row in short if row.sort == FOAM])
    lines = {line.pk: line for line in asked.select_related("concentrate")}
    stores = Stores(inventory)
    return tuple(Restock(row, _where(row, lines.get(row.id), inventory, stores)) for row in short)


def _where(row: ParRow, line: ParLine | None, inventory: Inventory, stores: Stores) -> tuple[Match, ...]:
    if line is None:
        return ()
    wanted = [product.id for product in inventory.products.values() if _suiting(line, product)]
    loose = line.container_kind if line.containers is not None else ""
    found = stores.matches(
        wanted, row.station, row.missing_ml or None, lambda item: not loose or (item.kind == loose and _full(item))
    )
    return tuple(match._replace(codes=match.codes[: row.missing]) if row.missing else match for match in found)
