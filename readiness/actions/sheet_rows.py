"""A plan of matching as rows of the department's own workbook, so that one intake takes in both.

Only what is new to the department becomes a row of a station, vehicle, unit, concentrate or lot: what it has already is
named by the containers and left as it is. Each row keeps its place in their sheet, so that a fault is found there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, Final, NamedTuple

from readiness.engineering.dates import GoodThrough
from readiness.reports.sheet_matching import Held, Matched, MatchedRow, NewLot
from readiness.workbooks.cells import EMPTY
from readiness.workbooks.columns import Sheet, Units
from readiness.workbooks.handed_over.records import Meaning
from readiness.workbooks.rows import Fault, Reading, Row, Spot, quoted
from readiness.workbooks.rules import faults_between
from readiness.workbooks.sheets import (
    BY_KEY,
    CONCENTRATES,
    CONTAINERS,
    LOTS,
    OTHER_LOTS,
    SHEETS,
    STATIONS,
    UNITS,
    VEHICLES,
)

_FROM: Final[Mapping[str, Mapping[str, Meaning]]] = {  # which of their columns a cell of ours comes from
    "stations": {"name": Meaning.STATION},
    "vehicles": {"shop_no": Meaning.WHERE, "kind": Meaning.WHERE, "station": Meaning.STATION},
    "units": {"designation": Meaning.WHERE, "station": Meaning.STATION, "runs_on": Meaning.WHERE},
    "concentrates": {"name": Meaning.PRODUCT, "kind": Meaning.KIND},
    "lots": {
        "concentrate": Meaning.PRODUCT,
        "batch": Meaning.LOT,
        "made_on": Meaning.MADE,
        "makers_date": Meaning.GOOD_THROUGH,
    },
    "containers": {
        "code": Meaning.CODE,
        "kind": Meaning.CONTAINER,
        "capacity": Meaning.SIZE,
        "station": Meaning.STATION,
        "unit": Meaning.WHERE,
        "vehicle": Meaning.WHERE,
        "compartment": Meaning.WHERE,
        "concentrate": Meaning.PRODUCT,
        "lot": Meaning.LOT,
        "contents": Meaning.VOLUME,
        "opened_on": Meaning.NOTES,
        "condition": Meaning.NOTES,
    },
    "other_lots": {"lot": Meaning.LOT, "contents": Meaning.VOLUME},
}


class TheirSheet(NamedTuple):
    """The sheet that was handed over: its title, the file's name, and where each meaning stands."""

    title: str
    file: str
    spots: Mapping[Meaning, Spot]

    def spots_of(self, sheet: Sheet) -> dict[str, Spot]:
        """Where each column of ours comes from in theirs; a column that they do not have points nowhere."""
        return {key: self.spots[meaning] for key, meaning in _FROM[sheet.key].items() if meaning in self.spots}


def reading_of(matched: Matched, theirs: TheirSheet, *, units: Units, today: date) -> Reading:
    """The plan as rows, with the faults that show before anything is looked up in the book."""
    making = _Making(theirs)
    rows = {sheet.key: list[Row]() for sheet in SHEETS}
    for name, number in matched.stations.items():
        rows["stations"].append(making.row(STATIONS, number, {"name": name}))
    for vehicle in matched.vehicles:
        values = {"shop_no": vehicle.shop_no, "kind": vehicle.kind, "station": vehicle.station}
        rows["vehicles"].append(making.row(VEHICLES, vehicle.row, {**values, "state": "in service"}))
    for unit in matched.units:
        state = "reserve" if unit.reserve else "in service"
        values = {"designation": unit.name, "station": unit.station, "runs_on": unit.vehicle, "state": state}
        rows["units"].append(making.row(UNITS, unit.row, values))
    for product in matched.products:
        values = {"name": product.name, "kind": product.kind, "pfas": product.pfas}
        rows["concentrates"].append(making.row(CONCENTRATES, product.row, values))
    rows["lots"] += [making.lot(lot) for lot in matched.lots]
    for matched_row in matched.rows:
        for held in matched_row.held:
            rows["containers"].append(making.container(matched_row, held))
            rows["other_lots"] += making.other_lots(matched_row, held)
    faults = [*_absurd(rows, today), *faults_between(rows, units)]
    return Reading(rows, faults, 0)


class _Making:
    """Makes rows; the places of the cells are worked out once a sheet."""

    def __init__(self, theirs: TheirSheet) -> None:
        self.theirs = theirs
        self.spots = {key: theirs.spots_of(BY_KEY[key]) for key in _FROM}
        self.empty = {key: {column.key: EMPTY[column.kind] for column in BY_KEY[key].columns} for key in _FROM}

    def row(self, sheet: Sheet, number: int, values: Mapping[str, Any], remark: str = "") -> Row:
        """A row of our sheet that stands at a row of theirs."""
        whole = {**self.empty[sheet.key], **values}
        return Row(sheet, number, self.spots[sheet.key], whole, title=self.theirs.title, remark=remark)

    def lot(self, lot: NewLot) -> Row:
        """A lot with the dates that the sheet gives it."""
        values = {"concentrate": lot.product, "batch": lot.batch, "made_on": lot.made, "makers_date": lot.good_through}
        return self.row(LOTS, lot.row, values)

    def container(self, matched: MatchedRow, held: Held) -> Row:
        """One container with the first of its lots."""
        settled, portion, place = matched.settled, held.portion, matched.place
        values: dict[str, Any] = {
            "code": held.code,
            "kind": held.kind,
            "capacity": held.capacity_ml,
            "contents": held.parts[0][1] if held.parts else 0,
            "concentrate": matched.product if held.parts else "",
            "lot": held.parts[0][0] if held.parts else "",
            "sealed": False if portion.opened else held.sealed,
            "opened_on": portion.opened_on,
            "condition": portion.condition,
        }
        if place:
            values |= {place.side: place.name, "compartment": place.compartment}
        said = [each for each in (portion.why, settled.notes) if each]
        remark = f"taken in from {self.theirs.file}, row {settled.number}" + (f": {'; '.join(said)}" if said else "")
        return self.row(CONTAINERS, settled.number, values, remark[:400])

    def other_lots(self, matched: MatchedRow, held: Held) -> Iterator[Row]:
        """The lots beyond the first."""
        for batch, ml in held.parts[1:]:
            values = {"container": held.code, "concentrate": matched.product, "lot": batch, "contents": ml}
            yield self.row(OTHER_LOTS, matched.settled.number, values)


_DATED: Final = (date, GoodThrough)


def _absurd(rows: Mapping[str, list[Row]], today: date) -> Iterator[Fault]:
    """What the reader of the department's workbook refuses cell by cell: names too long, dates that are to come."""
    for row in (row for of_sheet in rows.values() for row in of_sheet):
        for key, value in row.values.items():
            if value is None or value == "":
                continue
            if isinstance(value, str):
                longest = row.sheet.column(key).longest
                if len(value) > longest:
                    right = f"at most {longest:,} characters belong here, and {len(value):,} were found"
                    yield row.fault(key, quoted(value), right)
            elif isinstance(value, _DATED) and not row.sheet.column(key).future and _begins(value) > today:
                yield row.fault(key, quoted(value), f"today ({today}) or a day before belongs here")


def _begins(value: date | GoodThrough) -> date:
    """The first day that a date may mean: a batch made "2026" may have been made in January."""
    if isinstance(value, date):
        return value
    return {"year": value.day.replace(month=1, day=1), "month": value.day.replace(day=1)}.get(
        value.precision, value.day
    )
