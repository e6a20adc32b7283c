"""Options of a command that are quantities: "3000 ft2", "0.20 gpm/ft2", "3", each refused with a sentence."""

from __future__ import annotations

from argparse import ArgumentTypeError
from collections.abc import Callable
from datetime import date
from functools import partial
from typing import Any

from readiness.engineering.foam_tests import Drained
from readiness.engineering.hydraulics import hose
from readiness.engineering.percentages import WHOLE, PercentError, parse_percent
from readiness.engineering.quantities import QuantityError, parse_pair, parse_quantity
from readiness.engineering.records import Hose, Rate
from readiness.workbooks.cells import CellError, Parsing, RawCell, cell_value
from readiness.workbooks.sheets import BY_KEY

_NO_DAY = date(2000, 1, 1)  # neither an area nor a hose depends on what day it is


def quantity(dimension: str, default_unit: str | None = None) -> Callable[[str], float]:
    """An option in SI. default_unit: of a bare number; None: a bare number is refused."""

    def read(text: str) -> float:
        try:
            return parse_quantity(text, dimension=dimension, default_unit=default_unit).si
        except QuantityError as wrong:
            raise ArgumentTypeError(str(wrong)) from wrong

    return read


volume, flow, length = quantity("volume"), quantity("flow"), quantity("length")
pressure, minutes, seconds = quantity("pressure"), quantity("time", "min"), quantity("time", "s")
temperature = quantity("temperature")


def grams(text: str) -> float:
    """A mass in grams; a bare number is grams."""
    return quantity("mass", "g")(text) * 1000.0


def millilitres(text: str) -> float:
    """A volume in millilitres; a bare number is millilitres."""
    return quantity("volume", "ml")(text) * 1000.0


def rate(text: str) -> Rate:
    """An application rate in the unit it was published in."""
    try:
        read = parse_quantity(text, dimension="rate")
    except QuantityError as wrong:
        raise ArgumentTypeError(str(wrong)) from wrong
    return Rate(float(read.value), "gpm_ft2" if read.unit == "gpm/ft2" else "lpm_m2")


def percent(text: str, greatest: int = 1000) -> int:
    """A percentage in hundredths of a point: 3 is 300."""
    try:
        return parse_percent(text, greatest=greatest)
    except PercentError as wrong:
        raise ArgumentTypeError(str(wrong)) from wrong


share = partial(percent, greatest=WHOLE)


def _cell(sheet: str, key: str, text: str) -> Any:
    column = BY_KEY[sheet].column(key)
    try:
        return cell_value(RawCell(text, "s", "General"), Parsing(column, None, "us", _NO_DAY))
    except CellError as wrong:
        raise ArgumentTypeError(str(wrong)) from wrong


def area(text: str) -> float:
    """An area, or its two sides: "3000 ft2", "75 x 40 ft"."""
    return float(_cell("design_spills", "area", text))


def legs(text: str) -> tuple[Hose, ...]:
    """Legs of hose: "150 ft of 1.75 in; 50 ft of 2.5 in"."""
    try:
        return tuple(hose(f"{leg.diameter_in:g}", leg.length_m) for leg in _cell("lines", "hose", text))
    except ValueError as wrong:
        raise ArgumentTypeError(str(wrong)) from wrong


def _pair(text: str, like: str) -> tuple[float, float]:
    try:
        return parse_pair(text, like)
    except QuantityError as wrong:
        raise ArgumentTypeError(str(wrong)) from wrong


def mix(text: str) -> tuple[float, float]:
    """A known mix and its reading: "3=2.9" is 3 % that reads 2.9; the percentage in hundredths of a point."""
    pct, reading = _pair(text, "3=2.9")
    if pct > 100:
        raise ArgumentTypeError(f"“{text}” was read: a mix has between 0 and 100 %.")
    return pct * 100.0, reading


def drained(text: str) -> Drained:
    """Minutes and millilitres: "1.5=12"."""
    return Drained(*_pair(text, "1.5=12"))
