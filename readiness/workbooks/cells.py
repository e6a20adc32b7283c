"""One cell to one typed value, or a sentence that says what was read and what would be right."""

import re
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final, NamedTuple

from readiness.engineering.dates import DateError, GoodThrough, parse_good_through
from readiness.engineering.percentages import PercentError, parse_percent
from readiness.engineering.quantities import Quantity, QuantityError, parse_quantity
from readiness.engineering.units import M_PER_IN, SI_UNIT, to_si
from readiness.workbooks.columns import FLOW, LENGTH, VOLUME, Column, Kind, Units
from readiness.workbooks.rows import HoseLeg, Price, Rate, quoted

_LONGEST_HOSE: Final = 500
_LIST_MARKS: Final = re.compile(r"\s*[;\n]\s*")
_PERCENT_MARKS: Final = re.compile(r"\s*[,;xX×*/&]\s*|\s+and\s+")
_LEG_MARKS: Final = re.compile(r"\s*[;\n]\s*|,\s+")
_LEG: Final = re.compile(r"(.+?)\s+(?:of|x|×)\s+(.+)", re.IGNORECASE)
_SIDES: Final = re.compile(r"([0-9.,]+)\s*([a-z'′]*)\s*(?:x|×|by)\s*([0-9.,]+)\s*([a-z'′]*)", re.IGNORECASE)
_PLAIN_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_WHICH_GALLON: Final = re.compile(r"us|u\.s|imp|uk", re.IGNORECASE)
_SAID: Final = re.compile(r"(?P<read>.+?) was read(?P<more> \([^)]*\))?[:,]? (?P<right>.+)", re.DOTALL)
_QUOTED_FORMAT: Final = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')
_SERIALS: Final = range(15_000, 80_000)  # spreadsheet day numbers of 1941 to 2119
_YES: Final = frozenset({"yes", "y", "true"})
_NO: Final = frozenset({"no", "n", "false"})
_ERROR_SENTENCES: Final = "the formula behind this cell failed; paste the value itself"
_WRITE_DAY: Final = "write the day like 2028-07-30"


class CellError(ValueError):
    """A cell that cannot be read."""

    def __init__(self, read: str, right: str) -> None:
        super().__init__(f"{read} was read: {right}")
        self.read = read
        self.right = right


class RawCell(NamedTuple):
    """What the spreadsheet stored: the value, its type letter, and how it is shown."""

    value: Any
    data_type: str
    number_format: str


class Parsing(NamedTuple):
    """What a cell's reading depends on beside the cell."""

    column: Column
    unit: str | None  # the unit in the heading; None where the heading has none
    units: Units
    today: date


def _said(read: object, sentence: str) -> CellError:
    """An engineering sentence taken apart, so that the place can stand in front of it."""
    found = _SAID.fullmatch(sentence)
    if found is None:
        return CellError(quoted(read), sentence)
    return CellError(found["read"] + (found["more"] or ""), found["right"])


def _plain(value: object) -> str:
    """A cell's words without doubled and hidden spaces; whole floats without their “.0”."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return " ".join(str(value).split())


def _refuse_spoilt(raw: RawCell) -> None:
    if raw.data_type == "f":
        formula = raw.value if isinstance(raw.value, str) else getattr(raw.value, "text", "=…")
        raise CellError(f"the formula {quoted(formula)}", "formulas are not worked out here; paste the value itself")
    if raw.data_type == "e":
        raise CellError(quoted(raw.value), _ERROR_SENTENCES)


def _words(raw: RawCell, parsing: Parsing, longest: int | None = None) -> str:
    if isinstance(raw.value, (date, time, timedelta)):
        what = raw.value.date() if isinstance(raw.value, datetime) else raw.value
        raise CellError(f"the date {what}", "a spreadsheet turns 3-6 into a date; format the cell as text, type again")
    text = _plain(raw.value)
    most = longest or parsing.column.longest
    if len(text) > most:
        raise CellError(quoted(text), f"at most {most:,} characters belong here, and {len(text):,} were found")
    return text


def _names(raw: RawCell, parsing: Parsing) -> tuple[str, ...]:
    names = [name for name in _LIST_MARKS.split(str(raw.value).strip()) if name]
    if isinstance(raw.value, (date, time, timedelta)):
        _words(raw, parsing)
    plain = [_plain(name) for name in names] if isinstance(raw.value, str) else [_plain(raw.value)]
    twice = next((name for name in plain if plain.count(name) > 1), None)
    if twice is not None:
        raise CellError(f"{quoted(twice)} twice", "each is named once")
    return tuple(plain)


def _folded(text: str) -> str:
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _choice(raw: RawCell, parsing: Parsing) -> str:
    text = _words(raw, parsing)
    for choice in parsing.column.choices:
        if _folded(choice) == _folded(text):
            return choice
    raise CellError(quoted(text), f"one of {', '.join(parsing.column.choices)} belongs here")


def _yes_no(raw: RawCell, parsing: Parsing) -> bool:
    if isinstance(raw.value, bool):
        return raw.value
    text = _words(raw, parsing).casefold()
    if text not in _YES | _NO:
        raise CellError(quoted(raw.value), "yes or no belongs here")
    return text in _YES


def _refuse_which_gallon(raw: RawCell, quantity: Quantity, parsing: Parsing) -> None:
    """A metric department's “gal” may be either gallon, and they are a fifth apart."""
    text = str(raw.value).casefold()
    in_gallons = quantity.unit in {"gal", "gpm"} and "g" in text
    if parsing.units == "metric" and in_gallons and _WHICH_GALLON.search(text) is None:
        us, imperial = (f"{quantity.value} {which} {quantity.unit}" for which in ("US", "imp"))
        right = f"US and imperial gallons differ by a fifth; write {us} or {imperial}, or litres"
        raise CellError(quoted(text), right)


def _parsed(read: object, parsing: Parsing, dimension: str, unit: str | None) -> Quantity:
    try:
        return parse_quantity(read, dimension=dimension, default_unit=unit)
    except QuantityError as error:
        raise _said(read, str(error)) from None


def _in_range(value: float, read: object, parsing: Parsing, unit: str) -> None:
    """Refuses what no department has; ``value``, ``least`` and ``most`` in the same SI unit."""
    column = parsing.column
    if value == 0 and not column.zero:
        raise CellError(quoted(_plain(read)), "more than 0 belongs here; leave the cell empty if it is not known")
    if value < column.least:
        raise CellError(quoted(_plain(read)), f"at least {column.least:,g} {unit} belongs here".replace("  ", " "))
    if value > column.most:
        right = f"at most {column.most:,g} {unit} is believed here; check the figure and the unit"
        raise CellError(quoted(_plain(read)), right.replace("  ", " "))


def _quantity(raw: RawCell, parsing: Parsing) -> float | int:
    dimension = parsing.column.dimension or VOLUME
    read = raw.value
    if dimension is LENGTH and parsing.column.least < 0:  # a nozzle may stand below the pump
        return _signed_length(raw, parsing)
    quantity = _parsed(read, parsing, dimension.name, parsing.unit)
    _refuse_which_gallon(raw, quantity, parsing)
    _in_range(quantity.si, read, parsing, SI_UNIT[dimension.name])
    return quantity.ml if dimension is VOLUME else quantity.si


def _flows(raw: RawCell, parsing: Parsing) -> tuple[float, ...]:
    """Several flows, such as a selectable nozzle's ring: 60; 95; 125, or with the unit 60 gpm; 95 gpm."""
    texts = [each.strip() for each in _plain(raw.value).split(";") if each.strip()]
    read = [_parsed(text, parsing, FLOW.name, parsing.unit) for text in texts]
    for quantity in read:
        _refuse_which_gallon(raw, quantity, parsing)
        _in_range(quantity.si, raw.value, parsing, SI_UNIT[FLOW.name])
    return tuple(sorted({quantity.si for quantity in read}))


def _signed_length(raw: RawCell, parsing: Parsing) -> float:
    text = _plain(raw.value)
    below = text[:1] in {"-", "−", "–"}
    metres = _parsed(text[1:] if below else text, parsing, LENGTH.name, parsing.unit).si
    signed = -metres if below else metres
    _in_range(signed, raw.value, parsing, SI_UNIT[LENGTH.name])
    return signed


def _area(raw: RawCell, parsing: Parsing) -> float:
    sides = _SIDES.fullmatch(_plain(raw.value)) if isinstance(raw.value, str) else None
    area = _product(sides, parsing) if sides else _parsed(raw.value, parsing, "area", parsing.unit).si
    _in_range(area, raw.value, parsing, SI_UNIT["area"])
    return area


def _product(sides: re.Match[str], parsing: Parsing) -> float:
    one, one_unit, other, other_unit = sides.groups()
    unit = other_unit or one_unit
    lengths = [
        _parsed(f"{number} {own or unit}".strip(), parsing, LENGTH.name, None)
        for number, own in ((one, one_unit), (other, other_unit))
    ]
    if lengths[0].unit == lengths[1].unit:  # whole feet multiply without noise: 30 x 30 ft is 900 ft2
        product = lengths[0].value * lengths[1].value
        square = {"ft": "ft2", "m": "m2"}.get(lengths[0].unit)
        if square is not None:
            return to_si(product, square)
    return lengths[0].si * lengths[1].si


def _rate(raw: RawCell, parsing: Parsing) -> Rate:
    quantity = _parsed(raw.value, parsing, "rate", parsing.unit)
    _in_range(quantity.si, raw.value, parsing, SI_UNIT["rate"])
    return Rate(quantity.value, "gpm_ft2" if quantity.unit == "gpm/ft2" else "lpm_m2")


def _hose(raw: RawCell, parsing: Parsing) -> tuple[HoseLeg, ...]:
    return tuple(_leg(leg, parsing) for leg in _LEG_MARKS.split(_words(raw, parsing, _LONGEST_HOSE)) if leg)


def _leg(text: str, parsing: Parsing) -> HoseLeg:
    found = _LEG.fullmatch(text)
    if found is None:
        raise CellError(quoted(text), f"write each leg like {parsing.column.example_in(parsing.units)}")
    length, bore = (_parsed(part, parsing, LENGTH.name, None) for part in found.groups())
    diameter_in = float(bore.value) if bore.unit == "in" else bore.si / M_PER_IN
    if not 0.5 <= diameter_in <= 12:
        raise CellError(quoted(text), "a hose is from 0.5 in to 12 in across; write the length first, then the bore")
    if not 0 < length.si <= 2_000:
        raise CellError(quoted(text), "a leg is longer than 0 and at most 2,000 m")
    return HoseLeg(length.si, diameter_in)


def _percent_of(read: object, parsing: Parsing) -> int:
    column = parsing.column
    try:
        return parse_percent(
            read, least=0 if column.zero else round(column.least * 100), greatest=round(column.most * 100)
        )
    except PercentError as error:
        raise _said(read, str(error)) from None


def _shown_percent(raw: RawCell) -> object:
    """A number in a cell that is shown with a percent sign is stored as its hundredth part."""
    is_number = isinstance(raw.value, (int, float)) and not isinstance(raw.value, bool)
    return round(raw.value * 100, 6) if is_number and "%" in raw.number_format else raw.value


def _percent(raw: RawCell, parsing: Parsing) -> int:
    return _percent_of(_shown_percent(raw), parsing)


def _percents(raw: RawCell, parsing: Parsing) -> tuple[int, ...]:
    if not isinstance(raw.value, str):
        return (_percent(raw, parsing),)
    parts = [part for part in _PERCENT_MARKS.split(raw.value.strip()) if part]
    return tuple(sorted({_percent_of(part, parsing) for part in parts}))


def _decimal(raw: RawCell, parsing: Parsing) -> Decimal:
    value = raw.value
    right = f"a plain number belongs here, such as {parsing.column.example_in(parsing.units) or '15'}"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        number = Decimal(repr(round(value, 9)))
    elif isinstance(value, str) and _PLAIN_NUMBER.fullmatch(value.strip()):
        number = Decimal(value.strip())
    else:
        raise CellError(quoted(value), right)
    if not number.is_finite():
        raise CellError(quoted(value), right)
    _in_range(float(number), value, parsing, parsing.column.fixed_unit)
    return number


def _whole(raw: RawCell, parsing: Parsing) -> int:
    number = _decimal(raw, parsing)
    if number != number.to_integral_value():
        raise CellError(quoted(_plain(raw.value)), "a whole number belongs here")
    return int(number)


def _price(raw: RawCell, parsing: Parsing) -> Price:
    amount = _decimal(raw, parsing)
    if parsing.unit is None:
        raise CellError(quoted(_plain(raw.value)), "the heading must say for what, as Price [per gal] or Price [per L]")
    return Price(amount, parsing.unit)


def _shown_parts(number_format: str) -> set[str]:
    """Which of y, m and d a date's format shows."""
    plain = _QUOTED_FORMAT.sub("", number_format).casefold()
    return {part for part in "ymd" if part in plain}


def _from_date_cell(raw: RawCell) -> GoodThrough:
    """A date cell counts as exactly as it is shown: a cell that shows Mar-25 says a month."""
    if not isinstance(raw.value, date):
        raise CellError(quoted(raw.value), f"which is a time of day; {_WRITE_DAY}")
    shown = _shown_parts(raw.number_format)
    day = raw.value.date() if isinstance(raw.value, datetime) else raw.value
    if shown and "y" not in shown:
        right = f"the spreadsheet took the year from its own clock; write it with four figures, like {day:%Y-%m}"
        raise CellError(f"a date shown without its year ({day.day} {day:%B})", right)
    written = day.isoformat() if "d" in shown or not shown else (f"{day:%Y-%m}" if "m" in shown else f"{day:%Y}")
    return parse_good_through(written)


def _label(raw: RawCell, _parsing: Parsing) -> GoodThrough:
    value = raw.value
    try:
        if raw.data_type == "d":
            return _from_date_cell(raw)
        if isinstance(value, (int, float)) and value in _SERIALS:
            right = f"which is a spreadsheet's number for a date; format the cell as a date, or {_WRITE_DAY}"
            raise CellError(quoted(_plain(value)), right)
        return parse_good_through(value)
    except DateError as error:
        raise _said(value, str(error)) from None


def _first_day(label: GoodThrough) -> date:
    if label.precision == "year":
        return label.day.replace(month=1, day=1)
    return label.day.replace(day=1) if label.precision == "month" else label.day


def _refuse_future(label: GoodThrough, parsing: Parsing) -> None:
    if not parsing.column.future and _first_day(label) > parsing.today:
        right = f"this lies after today ({parsing.today}); what has happened has a date of today or before"
        raise CellError(quoted(label), right)


def _dated(raw: RawCell, parsing: Parsing) -> GoodThrough:
    label = _label(raw, parsing)
    _refuse_future(label, parsing)
    return label


def _day(raw: RawCell, parsing: Parsing) -> date:
    label = _dated(raw, parsing)
    if label.precision != "day":
        raise CellError(quoted(label), f"the day is needed here; {_WRITE_DAY}")
    return label.day


_PARSERS: Final[dict[Kind, Callable[[RawCell, Parsing], Any]]] = {
    Kind.TEXT: _words,
    Kind.CODE: _words,
    Kind.REFERENCE: _words,
    Kind.REFERENCES: _names,
    Kind.CHOICE: _choice,
    Kind.YES_NO: _yes_no,
    Kind.QUANTITY: _quantity,
    Kind.AREA: _area,
    Kind.RATE: _rate,
    Kind.FLOWS: _flows,
    Kind.HOSE: _hose,
    Kind.PERCENT: _percent,
    Kind.PERCENTS: _percents,
    Kind.NUMBER: _decimal,
    Kind.WHOLE: _whole,
    Kind.PRICE: _price,
    Kind.DATED: _dated,
    Kind.DAY: _day,
}

EMPTY: Final[dict[Kind, Any]] = {
    kind: "" if kind in {Kind.TEXT, Kind.CODE, Kind.CHOICE, Kind.REFERENCE} else None for kind in Kind
} | {Kind.PERCENTS: (), Kind.FLOWS: (), Kind.HOSE: (), Kind.REFERENCES: ()}


def cell_value(raw: RawCell, parsing: Parsing) -> Any:
    """The typed value of a cell that is not empty. Raises ``CellError``."""
    _refuse_spoilt(raw)
    return _PARSERS[parsing.column.kind](raw, parsing)
