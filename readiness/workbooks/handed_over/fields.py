"""One cell of a row to its field, and the doubt about it if it could mean several things.

Equal cells of one column make the same field: it is worked out once and shared.
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Final, NamedTuple

from readiness.workbooks.columns import Units
from readiness.workbooks.handed_over.across import Across, fold, fold_station
from readiness.workbooks.handed_over.amounts_said import VolumeReader, read_count
from readiness.workbooks.handed_over.dates_said import DateReader
from readiness.workbooks.handed_over.names_said import (
    container_named,
    container_within,
    is_no_lot,
    kind_named,
    lots_named,
)
from readiness.workbooks.handed_over.percents_said import read_percents
from readiness.workbooks.handed_over.places_said import is_short, read_place
from readiness.workbooks.handed_over.records import Cell, Choice, Doubt, Field, Layout, Meaning, alike
from readiness.workbooks.handed_over.saying import UNKNOWN, Said, known, says_unknown, unknown
from readiness.workbooks.rows import quoted
from readiness.workbooks.sheets import CONCENTRATE_KINDS, CONTAINER_KINDS

SET_ASIDE: Final = "set_aside"  # it comes in quarantined
AS_WRITTEN: Final = "as_written"
STORE: Final = "store"
UNIT: Final = "unit"
_LONGEST: Final = 200  # characters of a cell that is read; a longer one is a remark


class Read(NamedTuple):
    """A field, and the doubt about it: its row is filled in where it stands."""

    field: Field
    doubt: Doubt | None


class FieldReader:
    """Reads the cells of one sheet by its layout."""

    def __init__(self, layout: Layout, across: Across, *, units: Units, today: date) -> None:
        self._across = across
        self._dates = DateReader(day_first=layout.day_first, today=today)
        self._volumes = VolumeReader(unit=layout.volume_unit, units=units)
        self._known: dict[tuple[int, Cell], Read] = {}
        self._readers: Mapping[Meaning, Callable[[Cell], Said]] = {
            Meaning.STATION: self._station,
            Meaning.WHERE: self._where,
            Meaning.PRODUCT: self._product,
            Meaning.KIND: _kind,
            Meaning.PERCENT: read_percents,
            Meaning.CONTAINER: _container,
            Meaning.QUANTITY: read_count,
            Meaning.SIZE: self._volumes.read,
            Meaning.VOLUME: self._volumes.read_total,
            Meaning.LOT: _lot,
            Meaning.MADE: self._dates.read,
            Meaning.GOOD_THROUGH: self._dates.read,
            Meaning.CODE: _words,
            Meaning.NOTES: _words,
        }

    def read(self, meaning: Meaning, column: int, heading: str, cell: Cell) -> Read:
        """The field of this cell."""
        key = (column, cell)
        read = self._known.get(key)
        if read is None:
            read = self._known[key] = self._read(meaning, column, heading, cell)
        return read

    def _read(self, meaning: Meaning, column: int, heading: str, cell: Cell) -> Read:
        long = len(cell.text) > _LONGEST and meaning not in {Meaning.NOTES, Meaning.PRODUCT}
        said = self._readers[meaning](cell._replace(text=cell.text[:_LONGEST]) if long else cell)
        field = Field(meaning, column, heading, cell.text, said.value, said.words)
        if said.state != "doubt":
            return Read(field, None)
        code = meaning.value
        group = alike(code, said.style)
        doubt = Doubt(0, code, group, said.question, said.choices, said.proposed, said.typed, said.typed_for_all)
        return Read(field, doubt)

    def _station(self, cell: Cell) -> Said:
        if says_unknown(cell.text):
            return unknown("not known")
        usual = self._across.stations.get(fold_station(cell.text), cell.text)
        return known(usual, _respelled(usual, cell.text))

    def _product(self, cell: Cell) -> Said:
        text = cell.text
        if says_unknown(text):
            return _unnamed(text)
        key = fold(text)
        usual = self._across.products.get(key, text)
        slip = self._across.slips.get(key)
        if slip is None:
            return known(usual[:_LONGEST], _respelled(usual, text))
        return Said(
            "doubt",
            "spelled two ways?",
            question=f"{quoted(text)} was read as the product, and other rows say {quoted(slip)}.",
            choices=(Choice(slip, f"a slip of the pen: it is {slip}"), Choice(usual, f"another product: {usual}")),
            proposed=slip,
            typed="the product's name",
            style=key,
        )

    def _where(self, cell: Cell) -> Said:
        text = cell.text
        if says_unknown(text):
            return _where_asked(text, "which says no place")
        spot = read_place(text)
        if spot.what == "unknown":
            return _where_asked(text, "which is no unit and no store room by its words")
        if is_short(text) and spot.unit.casefold() not in self._across.units:
            return Said(
                "doubt",
                "short form",
                question=f"{quoted(text)} was read: is it {spot.unit}?",
                choices=(
                    Choice(f"{UNIT}:{spot.unit}", f"it is on {spot.unit}"),
                    Choice(STORE, f"it is a place at the station named {text}"),
                ),
                proposed=f"{UNIT}:{spot.unit}",
                typed="the unit's name, like Engine 1",
                style=text.casefold(),
            )
        at = f" at {spot.station}" if spot.station else ""
        on = f"on {'reserve ' if spot.reserve else ''}{spot.unit}" if spot.what == "unit" else f"in store{at}"
        return known(spot, f"{on}{f', {spot.part}' if spot.part else ''}")


def _respelled(usual: str, text: str) -> str:
    return usual if usual == text else f"{usual} (written {quoted(text)})"


def _unnamed(text: str) -> Said:
    return Said(
        "doubt",
        "not known",
        question=f"{quoted(text)} was read where the product belongs.",
        choices=(Choice(UNKNOWN, "nobody knows what it is: it comes in quarantined"),),
        proposed=UNKNOWN,
        typed="the product's name",
        style=text.casefold(),
    )


def _where_asked(text: str, why: str) -> Said:
    return Said(
        "doubt",
        "in doubt",
        question=f"{quoted(text)} was read, {why}.",
        choices=(
            Choice(STORE, f"it is a place at the station named {text}"),
            Choice(f"{UNIT}:{text}", f"it is a unit named {text}"),
        ),
        typed="the unit's name, like Engine 1",
        style=text.casefold(),
    )


def kind_doubt(question: str, *, style: str, proposed: str | None) -> Doubt:
    """Asks for the kind of a concentrate."""
    choices = tuple(Choice(kind, kind) for kind in CONCENTRATE_KINDS)
    group = alike(Meaning.KIND.value, style)
    return Doubt(0, Meaning.KIND.value, group, question, choices, proposed)


def container_doubt(question: str, *, style: str, proposed: str | None) -> Doubt:
    """Asks for the kind of a container."""
    choices = tuple(Choice(kind, kind) for kind in CONTAINER_KINDS)
    group = alike(Meaning.CONTAINER.value, style)
    return Doubt(0, Meaning.CONTAINER.value, group, question, choices, proposed)


def _kind(cell: Cell) -> Said:
    kind = kind_named(cell.text)
    if kind:
        return known(kind, _respelled(kind, cell.text))
    if says_unknown(cell.text):
        return unknown("not known")
    asked = kind_doubt(
        f"{quoted(cell.text)} was read, which is no kind of concentrate known here.",
        style=cell.text.casefold(),
        proposed=None,
    )
    return Said("doubt", "in doubt", question=asked.question, choices=asked.choices, style=cell.text.casefold())


def _container(cell: Cell) -> Said:
    kind = container_named(cell.text) or container_within(cell.text)
    if kind:
        return known(kind, _respelled(kind, cell.text))
    if says_unknown(cell.text):
        return unknown("not known")
    asked = container_doubt("", style="", proposed=None)
    question = f"{quoted(cell.text)} was read, which is no kind of container known here."
    return Said("doubt", "in doubt", question=question, choices=asked.choices, style=cell.text.casefold())


def lot_choices(text: str) -> tuple[Choice, ...]:
    """How stock without a lot number comes in; and as written, where something is."""
    as_written = (Choice(AS_WRITTEN, f"{quoted(text)} is the lot number"),) if text else ()
    return (
        Choice(UNKNOWN, "the lot is not known: it comes in under a lot of its own and counts as unverified"),
        Choice(SET_ASIDE, "the lot is not known: it comes in quarantined and does not count"),
        *as_written,
    )


def _lot(cell: Cell) -> Said:
    lots = lots_named(cell.text)
    if lots and not any(is_no_lot(lot) for lot in lots):
        return known(lots, " and ".join(lots))
    return Said(
        "doubt",
        "not known",
        question=f"{quoted(cell.text)} was read where the lot number belongs.",
        choices=lot_choices("" if says_unknown(cell.text) else cell.text),
        proposed=UNKNOWN,
        typed="the lot number",
        style=cell.text.casefold(),
        typed_for_all=not says_unknown(cell.text),
    )


def _words(cell: Cell) -> Said:
    return known(cell.text, cell.text)
