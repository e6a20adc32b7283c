"""Reading a quantity as a person writes it: "5 gal", "0.10 gpm/ft²", "1 3/4 in", "3,000 sq ft".

What is read, and what is refused with a sentence:
- A bare number takes the unit of the field it was written in, and is refused where the field has none.
- A comma is read between thousands only (3,000). "1,5" is refused, not guessed: half of the readers of one
  workbook would mean 1.5 and the other half made a slip in 1,500.
- "gal" and "gpm" are US; imperial gallons are written "imp gal".
- Fractions are those of hose and nozzle sizes: halves, quarters, eighths, sixteenths, thirty-seconds.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Final, NamedTuple

from readiness.engineering.units import SI_UNIT, Unit, UnitError, symbols_of, to_ml, to_si, unit_named

_LONGEST_TEXT: Final = 60
_LARGEST_NUMBER: Final = 10**30
_NUMBER: Final = re.compile(
    r"(?P<sign>[-+−–]?)\s*"
    r"(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<over>[0-9]+)/(?P<under>[0-9]+)(?![0-9./])|"
    r"(?P<sign2>[-+−–]?)\s*(?P<number>[0-9][0-9,.\u00a0\u2009\u202f]*[0-9]|[0-9]|\.[0-9]+)\.?"
)
_PLAIN_NUMBER: Final = re.compile(r"[0-9]*\.?[0-9]+")
_PAIRED: Final = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,9})?|\.[0-9]{1,9}")
_THOUSANDS: Final = re.compile(r"[0-9]{1,3}([,\u00a0\u2009\u202f])[0-9]{3}(?:\1[0-9]{3})*(?:\.[0-9]+)?")
_GLYPHS: Final = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_SIZES: Final = frozenset({2, 4, 8, 16, 32})

MOST_RATE_LPM_M2: Final = 40  # 0.98 gpm/ft²
# Nothing a department owns or plans for comes near these; what lies above was typed wrongly or in another unit.
_MOST: Final[dict[str, Decimal]] = {
    "volume": Decimal(10_000_000),  # L: a tank 36 m across and 10 m high
    "flow": Decimal(500_000),  # L/min: ten times the largest monitor
    "area": Decimal(1_000_000),  # m²: a square kilometre
    "rate": Decimal(MOST_RATE_LPM_M2),
    "pressure": Decimal(10_000),  # kPa: 1,450 psi
    "length": Decimal(10_000),  # m
    "temperature": Decimal(2_000),  # °C
    "mass": Decimal(1_000_000),  # kg
    "time": Decimal(5_256_000),  # min: ten years
}
_LEAST_RATE_LPM_M2: Final = 0.5  # the least published is 0.6, on a whole cargo deck (row M1)
_USUAL_TO_LPM_M2: Final = 24.5  # 0.60 gpm/ft² (common practice, no source); the greatest of row R5 is 15
_COLDEST_C: Final = -100.0
_EXAMPLE: Final = {
    "volume": "5 gal or 19 L",
    "flow": "95 gpm or 360 L/min",
    "area": "900 ft2 or 84 m2",
    "rate": "0.10 gpm/ft2 or 4.1 L/min/m2",
    "pressure": "100 psi or 7 bar",
    "length": "150 ft, 1 3/4 in or 45 m",
    "temperature": "60 F or 15 C",
    "mass": "500 lb or 225 kg",
    "time": "15 min or 2 h",
}


class QuantityError(ValueError):
    """Something that cannot be read as a quantity. The message says what was read and what would be right."""


class Quantity(NamedTuple):
    """A number in the unit it was written in; ``unit`` is the product's own spelling of it."""

    value: Decimal
    unit: str

    @property
    def dimension(self) -> str:
        """What it measures: "volume", "flow", …"""
        return unit_named(self.unit).dimension

    @property
    def si(self) -> float:
        """In L, L/min, m², L/min/m², kPa, m, °C, kg or min."""
        return to_si(self.value, self.unit)

    @property
    def ml(self) -> int:
        """A volume in whole millilitres; ``UnitError`` for anything else."""
        return to_ml(self.value, self.unit)

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


def _like(dimension: str | None) -> str:
    return f"write a number and its unit, such as {_EXAMPLE[dimension or 'volume']}"


def _text(read: object, dimension: str | None) -> str:
    """The words to read, from a cell or a form; what is no text and no number is refused here."""
    if read is None or (isinstance(read, str) and not read.strip()):
        raise QuantityError(f"Nothing was read: {_like(dimension)}.")
    if isinstance(read, bool):
        raise QuantityError(f"“{'yes' if read else 'no'}” was read: {_like(dimension)}.")
    if isinstance(read, date):
        raise QuantityError(
            f"A date was read ({read.day} {read:%B %Y}), not a quantity: {_like(dimension)}, in a text cell."
        )
    text = _number_text(read, dimension) if isinstance(read, int | float | Decimal) else str(read).strip()
    if len(text) > _LONGEST_TEXT:
        raise QuantityError(f"“{text[:_LONGEST_TEXT]}…” was read, which is too long: {_like(dimension)}.")
    return text


def _number_text(read: float | Decimal, dimension: str | None) -> str:
    """A cell's number in plain figures; what no cell of a stock list holds is refused before it is written out."""
    if isinstance(read, int) and abs(read) > _LARGEST_NUMBER:
        raise QuantityError(f"A number with more than 30 figures was read: {_like(dimension)}.")
    written = Decimal(repr(read)) if isinstance(read, float) else Decimal(read)
    if not written.is_finite():
        raise QuantityError(f"“{read}” was read, which is no number: {_like(dimension)}.")
    return f"{written:f}" if abs(written.adjusted()) < _LONGEST_TEXT else str(written)


def _split(text: str, dimension: str | None) -> tuple[Decimal, str]:
    """The number at the front of the text, and the unit behind it."""
    for glyph, written in _GLYPHS.items():
        text = text.replace(glyph, f" {written}")
    text = text.strip()
    found = _NUMBER.match(text)
    if found is None:
        raise QuantityError(f"“{text}” was read, which does not begin with a number: {_like(dimension)}.")
    unit = text[found.end() :].strip()
    if unit[:1].isdigit() or unit[:1] in {"/", "-", "–", "+", ",", "~"}:
        raise QuantityError(f"“{text}” was read, which is not one number: {_like(dimension)}.")
    negative = (found["sign"] or found["sign2"] or "+") != "+"
    size = _fraction(found, text) if found["over"] else _decimal(found["number"], text)
    return (-size if negative else size), unit


def _fraction(found: re.Match[str], text: str) -> Decimal:
    over, under = int(found["over"]), int(found["under"])
    if under not in _SIZES or over >= under:
        raise QuantityError(
            f"“{text}” was read: a fraction is one of a hose or nozzle size, such as 1 3/4 in; else write 1.75."
        )
    return Decimal(found["whole"] or 0) + Decimal(over) / Decimal(under)


def _decimal(number: str, text: str) -> Decimal:
    if _PLAIN_NUMBER.fullmatch(number):
        return Decimal(number)
    if _THOUSANDS.fullmatch(number):
        return Decimal(re.sub(r"[^0-9.]", "", number))
    if re.fullmatch(r"[0-9]+,[0-9]+", number):
        right = f"write {number.replace(',', '.')} with a point if that was meant"
        raise QuantityError(f"“{text}” was read: a comma stands only between thousands, as in 3,000; {right}.")
    raise QuantityError(
        f"“{text}” was read, whose points or commas do not make one number: write it like 1500, 1,500 or 2.5."
    )


def _unit(spelling: str, text: str, dimension: str | None, default_unit: str | None) -> Unit:
    if not spelling:
        return _default_unit(text, dimension, default_unit)
    try:
        unit = unit_named(spelling)
    except UnitError:
        known = f"the units of {dimension} are {', '.join(symbols_of(dimension))}" if dimension else _like(None)
        raise QuantityError(f"“{text}” was read and “{spelling}” is not a unit known here: {known}.") from None
    if dimension is not None and unit.dimension != dimension:
        known = ", ".join(symbols_of(dimension))
        raise QuantityError(
            f"“{text}” was read, which is a {unit.dimension}; a {dimension} belongs here: write it in one of {known}."
        )
    return unit


def _default_unit(text: str, dimension: str | None, default_unit: str | None) -> Unit:
    if default_unit is not None:
        return unit_named(default_unit)
    why = ", and gallons are not litres" if dimension in (None, "volume") else ""
    raise QuantityError(f"“{text}” was read without a unit{why}: {_like(dimension)}.")


def _refuse_absurd(quantity: Quantity, text: str) -> None:
    dimension, si = quantity.dimension, quantity.si
    if dimension == "temperature":
        if si < _COLDEST_C:
            raise QuantityError(f"“{text}” was read: no place on earth is so cold; check the figure and the unit.")
    elif quantity.value < 0:
        raise QuantityError(f"“{text}” was read: a {dimension} is never below zero.")
    if dimension == "rate" and quantity.value:
        _refuse_absurd_rate(quantity, text)
    if si > _MOST[dimension]:
        most = f"{_MOST[dimension]:,} {SI_UNIT[dimension]}"
        raise QuantityError(f"“{text}” was read, which is more than {most}: check the figure and the unit.")


def _refuse_absurd_rate(quantity: Quantity, text: str) -> None:
    """A rate that no foam is put on at: a slip of the point, or the figure of the other unit."""
    usual = "rates usually run from 0.10 to 0.60 gpm/ft2 (4.1 to 24 L/min/m2)"
    if quantity.si > _MOST["rate"]:
        meant = [f"{quantity.value / 10:f} {quantity.unit}", f"{quantity.value:f} L/min/m2"]
        likely = [each for each in dict.fromkeys(meant) if _usual(each)]
        write = f"; write {' or '.join(likely)} if that was meant" if likely else ""
        raise QuantityError(f"“{text}” was read, which is more than {_MOST['rate']} L/min/m2: {usual}{write}.")
    if quantity.si < _LEAST_RATE_LPM_M2:
        write = f"; write {quantity.value:f} gpm/ft2 if that was meant" if quantity.unit == "L/min/m2" else ""
        raise QuantityError(
            f"“{text}” was read, which is less than {_LEAST_RATE_LPM_M2} L/min/m2, and foam is put on at more{write}."
        )


def _usual(rate: str) -> bool:
    value, unit = rate.split(maxsplit=1)
    return _LEAST_RATE_LPM_M2 <= to_si(Decimal(value), unit) <= _USUAL_TO_LPM_M2


def parse_pair(read: str, like: str) -> tuple[float, float]:
    """Two plain numbers with = between, as a percentage and its reading or a minute and its millilitres: "3 = 2.9".

    like: an example for the sentence. Raises ``QuantityError``.

    >>> parse_pair("3 % = 2.9", "3 = 2.9")
    (3.0, 2.9)
    """
    one, _, other = read.partition("=")
    numbers = [_PAIRED.fullmatch(each.strip().removesuffix("%").strip()) for each in (one, other)]
    if None in numbers or len(read) > _LONGEST_TEXT:
        raise QuantityError(f"“{read.strip()[:_LONGEST_TEXT]}” was read: write two numbers with = between: {like}.")
    found = [float(each.group()) for each in numbers if each is not None]
    return found[0], found[1]


def parse_quantity(read: object, *, dimension: str | None = None, default_unit: str | None = None) -> Quantity:
    """The quantity a person wrote in a field or a cell, in the unit it was written in.

    read: text, int, float or Decimal; dimension: what the field measures ("volume", "flow", "area", "rate",
    "pressure", "length", "temperature", "mass", "time"), taken from ``default_unit`` where left out;
    default_unit: the unit a bare number has in this field, None where a bare number must be refused.
    Zero is a quantity. Raises ``QuantityError`` for nothing, text, NaN, several numbers, an unknown unit, a unit of
    another dimension, below zero (temperatures may be) and beyond what the trade ever meets.

    >>> parse_quantity("1 3/4 in")
    Quantity(value=Decimal('1.75'), unit='in')
    """
    if dimension is None and default_unit is not None:
        dimension = unit_named(default_unit).dimension
    text = _text(read, dimension)
    value, spelling = _split(text, dimension)
    quantity = Quantity(value, _unit(spelling, text, dimension, default_unit).symbol)
    _refuse_absurd(quantity, text)
    return quantity
