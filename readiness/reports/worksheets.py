"""A worksheet in the reader's units: the page, the print and the command show the same figures and the same working."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

from django.conf import settings

from readiness.engineering.fuels import Group
from readiness.engineering.records import Fuel
from readiness.engineering.sheets import Figure, Measure, Sheet
from readiness.engineering.units import from_si, shown
from readiness.reports.explanations import WRITTEN, Said, System, WorkingLine, said, written

# A figure's unit by its measure: (US, metric). A worksheet shows hundredths, so that a sum by hand can be held against
# it; a status elsewhere is rounded coarser.
_UNITS: Final[dict[Measure, tuple[str, str]]] = {
    "volume": ("gal", "L"),
    "flow": ("gpm", "L/min"),
    "area": ("ft2", "m2"),
    "length": ("ft", "m"),
    "depth": ("in", "mm"),
    "pressure": ("psi", "kPa"),
    "time": ("min", "min"),
    "mass": ("lb", "kg"),
    "rate": ("gpm/ft2", "L/min/m2"),
}
_PLAIN: Final[dict[Measure, str]] = {"seconds": "s", "percent": "%", "share": "%", "count": "", "ratio": ""}
_WRITTEN: Final = {**WRITTEN, "m2": "m²", "L/min/m2": "L/min/m²"}
_RATE_PLACES: Final = 4
_SMALL_AREA: Final = 10  # below it a whole foot is too coarse


class ShownFigure(NamedTuple):
    """A figure as people read it, and as a program does. ``value`` is not rounded."""

    key: str
    label: str
    text: str
    value: float
    unit: str


class ShownSheet(NamedTuple):
    """A worksheet as it is shown."""

    title: str
    figures: tuple[ShownFigure, ...]
    lines: tuple[WorkingLine, ...]
    notes: tuple[str, ...]
    refused: str
    faults: tuple[Said, ...] = ()

    def plain(self) -> dict[str, Any]:
        """As values that JSON can hold."""
        return {
            "worksheet": self.title,
            "refused": self.refused or None,
            "figures": {each.key: {"value": each.value, "unit": each.unit} for each in self.figures},
            "faults": [{"severity": each.severity, "sentence": each.sentence} for each in self.faults],
            "notes": list(self.notes),
            "working": [line._asdict() for line in self.lines],
        }


class Compared(NamedTuple):
    """One concentrate of several on the same spill."""

    pk: int
    name: str
    sheet: ShownSheet

    def text(self, key: str) -> str:
        """One of its figures, or nothing."""
        return next((each.text for each in self.sheet.figures if each.key == key), "")

    @property
    def why_not(self) -> str:
        """Why it does not count; empty where it does."""
        return self.sheet.refused.removeprefix(f"{self.name}: ")

    @property
    def rate(self) -> str:
        """Application rate."""
        return self.text("rate")

    @property
    def setting(self) -> str:
        """Percentage."""
        return self.text("percent")

    @property
    def need(self) -> str:
        """What it takes."""
        return self.text("line_need") or self.text("textbook_need")

    @property
    def pails(self) -> str:
        """The same in pails."""
        return self.text("pails")

    @property
    def have(self) -> str:
        """What is here."""
        return self.text("have")

    @property
    def covers(self) -> str:
        """What that covers."""
        return self.text("area_by_stock")

    @property
    def short(self) -> str:
        """What is short; nothing where nothing is."""
        short = next((each for each in self.sheet.figures if each.key == "short"), None)
        return short.text if short and short.value else ""


def shown_sheet(sheet: Sheet, units: System) -> ShownSheet:
    """A worksheet in the reader's units."""
    return ShownSheet(
        sheet.title,
        tuple(_shown(each, units) for each in sheet.figures),
        tuple(written(step, units) for step in sheet.steps),
        sheet.notes,
        sheet.refused,
        tuple(said(each, units) for each in sheet.faults),
    )


def _shown(each: Figure, units: System) -> ShownFigure:
    value, unit = _in_units(each, units)
    text = f"{value_text(each, value, unit)} {_WRITTEN.get(unit, unit)}".strip()
    return ShownFigure(each.key, each.label, text, round(value, 9), unit)


def _in_units(each: Figure, units: System) -> tuple[float, str]:
    if each.measure in _UNITS:
        unit = _UNITS[each.measure][units != "us"]
        return from_si(each.value, unit), unit
    if each.measure == "drained":
        return each.value, "mL"
    scale = {"percent": 0.01, "share": 100.0}.get(each.measure, 1.0)
    return each.value * scale, _PLAIN[each.measure]


def value_text(each: Figure, value: float, unit: str) -> str:
    """The number without its unit, rounded once toward the safe side."""
    volume = unit if each.measure == "volume" else None
    number = shown(value, unit=volume, places=_places(each.measure, value), toward=each.toward)
    return f"{_trimmed(number, least=2 if unit == 'gpm/ft2' else 0):,}"


def _trimmed(number: Decimal, least: int) -> Decimal:
    """Without zeros at its end: 600 gpm, not 600.00; a published rate keeps its two: 0.10."""
    floor = Decimal(1).scaleb(-least)
    return number.quantize(floor) if number == number.quantize(floor) else number.normalize()


def _places(measure: Measure, value: float) -> int:
    if measure == "count":
        return 0
    if measure in ("rate", "ratio"):
        return _RATE_PLACES
    if measure == "area":
        return 0 if value >= _SMALL_AREA else 1
    return 0 if value >= 10_000 else 1 if value >= 1_000 else 2


# -- fuels by name or number, without a database -----------------------------------------------------------------------


@cache
def shipped_fuels() -> tuple[Fuel, ...]:
    """The liquids that are shipped with the product, from fixtures/reference/fuels.csv, in its order."""
    file = Path(settings.FIXTURES_DIR) / "reference" / "fuels.csv"
    with file.open(encoding="utf-8", newline="") as rows:
        return tuple(_fuel(number, row) for number, row in enumerate(csv.DictReader(rows), 1))


def _fuel(number: int, row: dict[str, str]) -> Fuel:
    group: Group = row["group"]  # type: ignore[assignment] # the table's own words, held to the groups by its test
    return Fuel(
        number,
        row["name"],
        row["un"],
        group,
        int(row["oxygenate_pct"]) if row["oxygenate_pct"] else None,
        float(row["flash_c"]) if row["flash_c"] else None,
        (row["note"] or "foam is not the agent") if group == "not_foam" else "",
    )


def number_on_placard(words: str) -> str:
    """The UN or NA number that somebody typed off a placard or the papers, as the table writes it; "" if it is none.

    >>> number_on_placard("1203"), number_on_placard("un 1203"), number_on_placard("gasoline")
    ('UN1203', 'UN1203', '')
    """
    text = words.strip().upper().replace(" ", "")
    digits = text.removeprefix("UN").removeprefix("NA")
    if len(digits) != 4 or not digits.isascii() or not digits.isdigit():
        return ""
    return f"NA{digits}" if text.startswith("NA") else f"UN{digits}"


def fuels_meant(words: str, known: Sequence[Fuel] | None = None) -> tuple[Fuel, ...]:
    """The fuels that a name or a number means: the one of exactly that name, else all with that number, else all whose
    name holds every word. known: those to look among; those shipped where left out."""
    fuels = shipped_fuels() if known is None else tuple(known)
    number, text = number_on_placard(words), words.strip().casefold()
    exact = tuple(each for each in fuels if each.name.casefold() == text)
    if exact:
        return exact
    if number:
        return tuple(each for each in fuels if each.un == number)
    parts = text.split()
    return tuple(each for each in fuels if parts and all(part in each.name.casefold() for part in parts))
