"""The one place that converts units, and the one function that rounds a number for show.

Inside, the product counts in SI as the trade writes it: L, L/min, m², L/min/m², kPa, m, °C, kg, min; the ledger
counts whole millilitres. Every factor below is an exact fraction taken from the definition of its unit, so that
nothing depends on a rounded table. A published rate keeps the unit it was published in: 4.1 L/min/m² is
0.10062 gpm/ft², not 0.10, and is never converted there and back.
"""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import isfinite
from typing import Final, Literal, NamedTuple

Number = Decimal | Fraction | float | int
Toward = Literal["up", "down", "nearest"]

# Definitions. Inch and pound: international yard and pound agreement of 1959. US gallon: 231 cubic inches.
# Imperial gallon: 4.54609 L by the Units of Measurement Regulations 1995. Standard gravity: 9.80665 m/s² (CGPM 1901).
_INCH_M: Final = Fraction("0.0254")
_FOOT_M: Final = 12 * _INCH_M
_US_GAL_L: Final = 231 * _INCH_M**3 * 1000
_IMP_GAL_L: Final = Fraction("4.54609")
_POUND_KG: Final = Fraction("0.45359237")
_PSI_KPA: Final = _POUND_KG * Fraction("9.80665") / _INCH_M**2 / 1000

L_PER_US_GAL: Final = float(_US_GAL_L)  # 3.785411784
L_PER_IMP_GAL: Final = float(_IMP_GAL_L)  # 4.54609
ML_PER_L: Final = 1000
ML_PER_US_GAL: Final = float(_US_GAL_L * 1000)  # 3785.411784
ML_PER_IMP_GAL: Final = float(_IMP_GAL_L * 1000)  # 4546.09
M_PER_FT: Final = float(_FOOT_M)  # 0.3048
M_PER_IN: Final = float(_INCH_M)  # 0.0254
M2_PER_FT2: Final = float(_FOOT_M**2)  # 0.09290304
LPM_M2_PER_GPM_FT2: Final = float(_US_GAL_L / _FOOT_M**2)  # 40.7458333…
KPA_PER_PSI: Final = float(_PSI_KPA)  # 6.894757293168361
KPA_PER_BAR: Final = 100.0
KG_PER_LB: Final = float(_POUND_KG)  # 0.45359237

_TOLERANCE_ML_FIXED: Final = 1
_TOLERANCE_ML_A_CONTAINER: Final = 1
# What floats leave behind after a dozen multiplications, far below anything a person measures.
_FLOAT_NOISE: Final = Fraction(1, 10**9)
_MOST_PLACES_IN_A_PAIR: Final = 4


class UnitError(ValueError):
    """A unit that is not known, or two units that do not measure the same thing. The message is the sentence."""


class Unit(NamedTuple):
    """One unit: SI value = (value + offset) × factor, both exact."""

    symbol: str
    dimension: str
    factor: Fraction
    spellings: tuple[str, ...]
    offset: Fraction = Fraction(0)


SI_UNIT: Final[dict[str, str]] = {
    "volume": "L",
    "flow": "L/min",
    "area": "m2",
    "rate": "L/min/m2",
    "pressure": "kPa",
    "length": "m",
    "temperature": "C",
    "mass": "kg",
    "time": "min",
}

UNITS: Final[tuple[Unit, ...]] = (
    Unit(
        "gal",
        "volume",
        _US_GAL_L,
        ("gals", "gallon", "gallons", "us gal", "us gals", "us gallon", "us gallons", "usg", "gal us"),
    ),
    Unit(
        "imp gal",
        "volume",
        _IMP_GAL_L,
        (
            "imp gals",
            "imp gallon",
            "imp gallons",
            "imperial gal",
            "imperial gallon",
            "imperial gallons",
            "uk gal",
            "uk gallon",
            "uk gallons",
            "gal imp",
        ),
    ),
    Unit("qt", "volume", _US_GAL_L / 4, ("quart", "quarts", "us qt", "us quart", "us quarts")),
    Unit("L", "volume", Fraction(1), ("ltr", "litre", "litres", "liter", "liters")),
    Unit("ml", "volume", Fraction(1, 1000), ("millilitre", "millilitres", "milliliter", "milliliters", "cc")),
    Unit("m3", "volume", Fraction(1000), ("cubic metre", "cubic metres", "cubic meter", "cubic meters")),
    Unit("gpm", "flow", _US_GAL_L, ("gal/min", "us gpm", "usgpm", "us gal/min", "gallons per minute", "gallons/min")),
    Unit(
        "imp gpm",
        "flow",
        _IMP_GAL_L,
        ("imp gal/min", "imperial gpm", "igpm", "uk gpm", "imperial gallons per minute"),
    ),
    Unit(
        "L/min",
        "flow",
        Fraction(1),
        ("lpm", "ltr/min", "litres per minute", "liters per minute", "litres/min", "liters/min"),
    ),
    Unit("L/s", "flow", Fraction(60), ("lps", "litres per second", "liters per second")),
    Unit("m3/h", "flow", Fraction(1000, 60), ("m3/hr", "cubic metres per hour", "cubic meters per hour")),
    Unit("ft2", "area", _FOOT_M**2, ("sq ft", "sqft", "sf", "square foot", "square feet", "sq feet", "sq foot")),
    Unit("m2", "area", Fraction(1), ("sq m", "sqm", "square metre", "square metres", "square meter", "square meters")),
    Unit(
        "gpm/ft2",
        "rate",
        _US_GAL_L / _FOOT_M**2,
        (
            "gpm ft2",
            "gpm/sq ft",
            "gpm per sq ft",
            "gpm per ft2",
            "gal/min/ft2",
            "us gpm/ft2",
            "gallons per minute per square foot",
        ),
    ),
    Unit(
        "L/min/m2",
        "rate",
        Fraction(1),
        (
            "lpm/m2",
            "lpm m2",
            "lpm per m2",
            "l/min/sq m",
            "l/min per m2",
            "l/min·m2",
            "l/(min·m2)",
            "l/m2/min",
            "mm/min",
            "litres per minute per square metre",
            "liters per minute per square meter",
        ),
    ),
    Unit("psi", "pressure", _PSI_KPA, ("psig", "lbf/in2", "lb/in2", "lbs/in2", "pounds per square inch")),
    Unit("kPa", "pressure", Fraction(1), ("kilopascal", "kilopascals")),
    Unit("bar", "pressure", Fraction(100), ("bars", "barg")),
    Unit("ft", "length", _FOOT_M, ("foot", "feet", "'", "′", "’")),
    Unit("in", "length", _INCH_M, ("inch", "inches", '"', "″", "”", "''")),
    Unit("m", "length", Fraction(1), ("metre", "metres", "meter", "meters")),
    Unit("cm", "length", Fraction(1, 100), ("centimetre", "centimetres", "centimeter", "centimeters")),
    Unit("mm", "length", Fraction(1, 1000), ("millimetre", "millimetres", "millimeter", "millimeters")),
    Unit("F", "temperature", Fraction(5, 9), ("°f", "deg f", "degf", "fahrenheit", "degrees f"), Fraction(-32)),
    Unit("C", "temperature", Fraction(1), ("°c", "deg c", "degc", "celsius", "degrees c")),
    Unit("lb", "mass", _POUND_KG, ("lbs", "pound", "pounds")),
    Unit("kg", "mass", Fraction(1), ("kgs", "kilogram", "kilograms", "kilo", "kilos")),
    Unit("g", "mass", Fraction(1, 1000), ("gram", "grams", "gramme", "grammes")),
    Unit("s", "time", Fraction(1, 60), ("sec", "secs", "second", "seconds")),
    Unit("min", "time", Fraction(1), ("mins", "minute", "minutes")),
    Unit("h", "time", Fraction(60), ("hr", "hrs", "hour", "hours")),
)

_SAME_LETTERS: Final = str.maketrans({"²": "2", "³": "3", "°": "", "^": "", ".": "", "_": "", " ": "", "\u00a0": ""})


def _plain(spelling: str) -> str:
    """A spelling without what people vary: case, spaces, full stops, raised figures."""
    return spelling.casefold().translate(_SAME_LETTERS)


def _spelled(units: Iterable[Unit]) -> dict[str, Unit]:
    return {_plain(spelling): unit for unit in units for spelling in (unit.symbol, *unit.spellings)}


_BY_SPELLING: Final = _spelled(UNITS)


def symbols_of(dimension: str) -> tuple[str, ...]:
    """The units that measure ``dimension`` ("volume", "flow", …), as the product writes them."""
    return tuple(unit.symbol for unit in UNITS if unit.dimension == dimension)


@lru_cache(maxsize=512)
def unit_named(spelling: str) -> Unit:
    """The unit that a person or a stored record means by ``spelling``; ``gal`` and ``gpm`` are US units.

    Raises ``UnitError`` when no unit is spelled so.
    """
    unit = _BY_SPELLING.get(_plain(spelling))
    if unit is None:
        known = ", ".join(each.symbol for each in UNITS)
        raise UnitError(f"“{spelling}” was read as a unit and is not one of the units known: {known}.")
    return unit


def _exact(value: Number) -> Fraction:
    """The number as written: a float counts as its shortest decimal, so 0.1 is one tenth."""
    if isinstance(value, Fraction | int):
        return Fraction(value)
    if not (value.is_finite() if isinstance(value, Decimal) else isfinite(value)):
        raise UnitError(f"“{value}” was read: a quantity is a number, such as 5 or 2.5.")
    return Fraction(str(value)) if isinstance(value, float) else Fraction(value)


def _si_exact(value: Number, unit: Unit) -> Fraction:
    return (_exact(value) + unit.offset) * unit.factor


def to_si(value: Number, unit: str) -> float:
    """``value`` in ``unit`` as L, L/min, m², L/min/m², kPa, m, °C, kg or min. Raises ``UnitError``.

    >>> to_si(1, "gal")
    3.785411784
    """
    return float(_si_exact(value, unit_named(unit)))


def from_si(value: Number, unit: str) -> float:
    """An SI value (L, L/min, m², L/min/m², kPa, m, °C, kg, min) in ``unit``. Raises ``UnitError``.

    >>> from_si(3.785411784, "gal")
    1.0
    """
    target = unit_named(unit)
    return float(_exact(value) / target.factor - target.offset)


def _volume_unit(unit: str) -> Unit:
    found = unit_named(unit)
    if found.dimension != "volume":
        known = ", ".join(symbols_of("volume"))
        raise UnitError(f"{found.symbol} measures {found.dimension}, not volume: write one of {known}.")
    return found


def to_ml(value: Number, unit: str) -> int:
    """A volume in whole millilitres, halves to the even millilitre. Raises ``UnitError``.

    >>> to_ml(5, "gal")
    18927
    """
    return round(_si_exact(value, _volume_unit(unit)) * ML_PER_L)


def exact_volume(volume_ml: Number, unit: str) -> Fraction:
    """Millilitres in a unit of volume, exactly: for money, which is rounded once at the end. Raises ``UnitError``."""
    return _exact(volume_ml) / ML_PER_L / _volume_unit(unit).factor


def from_ml(volume_ml: Number, unit: str) -> float:
    """Millilitres in a unit of volume, not rounded for show. Raises ``UnitError``."""
    return float(exact_volume(volume_ml, unit))


def tolerance_ml(containers: int) -> int:
    """What whole millilitres may cost [ml]: 1 ml a container and 1 ml.

    Each container was rounded to a whole millilitre once (at most half a millilitre away), and the need once:
    nine 5-gal pails are 170,343 ml while 45.00 gal is 170,343.53 ml, and nine pails are 45 gal.
    """
    if containers < 0:
        raise ValueError(f"{containers} containers was read: a count of containers is 0 or more.")
    return _TOLERANCE_ML_A_CONTAINER * containers + _TOLERANCE_ML_FIXED


def enough(have_ml: Number, need_ml: Number, containers: int) -> bool:
    """Whether ``have_ml`` in so many ``containers`` meets ``need_ml``, within ``tolerance_ml``."""
    return _exact(have_ml) + tolerance_ml(containers) >= _exact(need_ml)


def pails_for(short_ml: Number, pail_ml: int) -> int:
    """The fewest pails of ``pail_ml`` that are enough for ``short_ml``; 0 when nothing is short.

    The least n with n × pail + n + 1 ≥ short, so that 45.00 gal asks for nine 5-gal pails and not for ten.
    Raises ``ValueError`` unless a pail holds something.
    """
    if pail_ml <= 0:
        raise ValueError(f"A pail of {pail_ml} ml was read: a pail holds more than 0 ml.")
    pails = (_exact(short_ml) - _TOLERANCE_ML_FIXED) / (pail_ml + _TOLERANCE_ML_A_CONTAINER)
    return max(0, -(-pails.numerator // pails.denominator))


def _tolerance_in(unit: str | None, containers: int) -> Fraction:
    """The tolerance in the unit shown: millilitres for a volume, nothing for all else."""
    found = unit_named(unit) if unit is not None else None
    if found is None or found.dimension != "volume":
        return Fraction(0)
    return Fraction(tolerance_ml(containers), ML_PER_L) / found.factor


_GIVES_WAY: Final[dict[Toward, int]] = {"up": -1, "down": 1, "nearest": 0}


def _rounded(value: Fraction, *, places: int, toward: Toward) -> Decimal:
    step = Decimal(1).scaleb(-places)
    scaled = value * 10**places
    if toward == "nearest":
        whole = round(scaled)
    elif toward == "up":
        whole = -(-scaled.numerator // scaled.denominator)
    else:
        whole = scaled.numerator // scaled.denominator
    return (Decimal(whole) * step).quantize(step)


def shown(value: Number, *, unit: str | None, places: int, toward: Toward, containers: int = 0) -> Decimal:
    """A number as people read it: ``value`` in ``unit``, rounded once to ``places`` decimals.

    Need, pails and water are rounded up; usable, area and minutes down. A volume gives way first by
    ``tolerance_ml(containers)``, so that nine pails read 45.0 gal and never 44.9, and a need of 45.00 gal never
    45.1. Everything else gives way by what floats leave behind (one part in 10⁹).

    value [unit]; unit: a volume's unit for the tolerance, or any other, or None for a plain number (pails, percent);
    containers: how many the volume is kept in (0 for a need). Raises ``UnitError``.

    >>> str(shown(from_ml(170_343, "gal"), unit="gal", places=1, toward="down", containers=9))
    '45.0'
    """
    exact = _exact(value)
    gives_way = max(_tolerance_in(unit, containers), abs(exact) * _FLOAT_NOISE)
    return _rounded(_clamped(exact, gives_way, toward), places=places, toward=toward)


def _clamped(exact: Fraction, gives_way: Fraction, toward: Toward) -> Fraction:
    """The value moved against its rounding, but never past zero: nothing is shown as less than none."""
    moved = exact + _GIVES_WAY[toward] * gives_way
    return Fraction(0) if exact >= 0 > moved else moved


def shown_pair(have_ml: Number, need_ml: Number, *, unit: str, places: int, containers: int) -> tuple[Decimal, Decimal]:
    """(usable, need) for one line of text that must not contradict its own answer.

    1. Where the volume is enough, decimals are added (up to four) until usable does not read below need:
       44.95 of 44.95 must not become "44.9 of 45.0, covered".
    2. Where it is not enough, no tolerance is given, so that usable reads below need.
    have_ml, need_ml [ml]; both results in ``unit``. Raises ``UnitError``.
    """
    have, need = (_exact(each) / ML_PER_L / _volume_unit(unit).factor for each in (have_ml, need_ml))
    if not enough(have_ml, need_ml, containers):
        return _rounded(have, places=places, toward="down"), _rounded(need, places=places, toward="up")
    for more in range(places, max(places, _MOST_PLACES_IN_A_PAIR) + 1):
        usable = shown(have, unit=unit, places=more, toward="down", containers=containers)
        asked = shown(need, unit=unit, places=more, toward="up")
        if usable >= asked:
            break
    return usable, asked
