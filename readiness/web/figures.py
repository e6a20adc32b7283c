"""Figures as people read them: one rounding, in the reader's units, each with its unit beside it.

Need, pails and water go up; usable, area and minutes go down. The direction is always said by who shows the figure.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from readiness.engineering.percentages import percent_text
from readiness.engineering.units import ML_PER_L, Number, Toward, from_si, shown
from readiness.web.preferences import Units

NOT_KNOWN: Final = "not known"
_UNIT: Final[dict[Units, dict[str, str]]] = {
    "us": {
        "volume": "gal",
        "flow": "gpm",
        "area": "ft2",
        "length": "ft",
        "bore": "in",
        "pressure": "psi",
        "temperature": "F",
        "mass": "lb",
        "time": "min",
        "rate": "gpm/ft2",
    },
    "metric": {
        "volume": "L",
        "flow": "L/min",
        "area": "m2",
        "length": "m",
        "bore": "mm",
        "pressure": "kPa",
        "temperature": "C",
        "mass": "kg",
        "time": "min",
        "rate": "L/min/m2",
    },
}
_RAISED: Final = {
    "ft2": "ft²",
    "m2": "m²",
    "m3": "m³",
    "F": "°F",
    "C": "°C",
    "gpm/ft2": "gpm/ft²",
    "L/min/m2": "L/min/m²",
    "gpm_ft2": "gpm/ft²",
    "lpm_m2": "L/min/m²",
}
_PLACES: Final = {"volume": 1, "flow": 0, "area": 0, "length": 0, "pressure": 0, "temperature": 0, "mass": 0, "time": 1}
_SMALL: Final = {"flow": 20, "length": 20}  # below this a whole unit is too coarse: 7.5 gpm of concentrate


def unit_of(dimension: str, units: Units) -> str:
    """The unit in which a reader of `units` reads a dimension ("bore" is a length across a hose)."""
    return _UNIT[units][dimension]


def written(unit: str) -> str:
    """A unit as it is printed: ft², °F, gpm/ft².

    >>> written("ft2")
    'ft²'
    """
    return _RAISED.get(unit, unit)


def _places(dimension: str, value: float) -> int:
    return 1 if value < _SMALL.get(dimension, 0) else _PLACES.get(dimension, 1)


def rounded(
    value: float, dimension: str, units: Units, toward: Toward, *, containers: int = 0, places: int | None = None
) -> Decimal:
    """The number that is shown, without its unit; page, print and workbook show the same. Arguments as `figure`."""
    unit = unit_of(dimension, units)
    number = from_si(value / ML_PER_L if dimension == "volume" else value, unit)
    digits = _places(dimension, abs(number)) if places is None else places
    return shown(number, unit=unit, places=digits, toward=toward, containers=containers)


def figure(
    value: float | None, dimension: str, units: Units, toward: Toward, *, containers: int = 0, places: int | None = None
) -> str:
    """A quantity for show. value: millilitres for a volume, SI for all else, None where it is not known.

    containers: in how many the volume is kept (0 for a need), see `units.shown`.

    >>> figure(170_343, "volume", "us", "down", containers=9)
    '45.0 gal'
    """
    if value is None:
        return NOT_KNOWN
    number = rounded(value, dimension, units, toward, containers=containers, places=places)
    return f"{number:,} {written(unit_of(dimension, units))}"


def percent(pct: int | None) -> str:
    """Hundredths of a point: 300 is "3 %"."""
    return NOT_KNOWN if pct is None else percent_text(pct)


def share(value: float | None, toward: Toward) -> str:
    """A fraction as whole percent: 0.63 is "63 %"."""
    if value is None:
        return NOT_KNOWN
    return f"{shown(value * 100, unit=None, places=0, toward=toward):,} %"


def rate(value: Number | None, rate_unit: str) -> str:
    """A published rate in the unit it was published in (gpm_ft2 or lpm_m2): never converted."""
    if value is None:
        return NOT_KNOWN
    text = f"{value:f}" if not isinstance(value, float) else f"{value:.10g}"
    whole, _, decimals = text.partition(".")
    least = 2 if rate_unit.startswith("gpm") else 1
    return f"{whole}.{decimals.rstrip('0').ljust(least, '0')} {written(rate_unit)}"
