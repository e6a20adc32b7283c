"""What a column and a sheet of the department's workbook are, and the short ways to write one down."""

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Final, Literal, NamedTuple

Units = Literal["us", "metric"]


class Kind(StrEnum):
    """What a cell holds; beside each, the Python value that the reader gives for it."""

    TEXT = "text"  # str, "" when empty
    CODE = "code"  # str, "" when empty: a name by which other rows find this one
    YES_NO = "yes or no"  # bool, None when empty
    CHOICE = "choice"  # str, one of the column's choices as written there, "" when empty
    QUANTITY = "quantity"  # int ml for a volume, else float in SI; None when empty
    AREA = "area"  # float m², None when empty; the cell may also say "30 x 40 ft"
    FLOWS = "flows"  # tuple of float L/min, rising; () when empty
    PERCENT = "percentage"  # int in hundredths of a point (3 % = 300), None when empty
    PERCENTS = "percentages"  # tuple of such int, rising; () when empty
    NUMBER = "number"  # Decimal, None when empty
    WHOLE = "whole number"  # int, None when empty
    DAY = "date"  # date, None when empty
    DATED = "day, month or year"  # PartialDate, None when empty
    RATE = "application rate"  # Rate in the unit it was published in, None when empty
    PRICE = "price"  # Price, None when empty
    HOSE = "hose legs"  # tuple of HoseLeg, () when empty
    REFERENCE = "reference"  # str, "" when empty: names a row of another sheet
    REFERENCES = "references"  # tuple of str, () when empty


class Dimension(NamedTuple):
    """What a quantity measures: its name in the units table, and how each sort of department writes it."""

    name: str
    us_unit: str
    metric_unit: str
    plain: str
    us_example: str
    metric_example: str

    def unit(self, units: Units) -> str:
        """The unit that a department with these units writes."""
        return self.us_unit if units == "us" else self.metric_unit

    def example(self, units: Units) -> str:
        """A quantity with its unit, for a sentence."""
        return self.us_example if units == "us" else self.metric_example


VOLUME: Final = Dimension("volume", "gal", "L", "a volume", "5 gal", "19 L")
FLOW: Final = Dimension("flow", "gpm", "L/min", "a flow", "95 gpm", "360 L/min")
MASS: Final = Dimension("mass", "lb", "kg", "a weight", "500 lb", "225 kg")
PRESSURE: Final = Dimension("pressure", "psi", "kPa", "a pressure", "100 psi", "700 kPa")
LENGTH: Final = Dimension("length", "ft", "m", "a length", "10 ft", "3 m")
TEMPERATURE: Final = Dimension("temperature", "F", "C", "a temperature", "35 F", "2 C")
AREA: Final = Dimension("area", "ft2", "m2", "an area", "900 ft2", "84 m2")
RATE: Final = Dimension("rate", "gpm/ft2", "L/min/m2", "an application rate", "0.10 gpm/ft2", "4.1 L/min/m2")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column. ``least`` and ``most`` (SI; L for a volume, points for a percentage) only catch the absurd."""

    key: str
    title: str
    kind: Kind
    help: str
    example: str = ""
    metric_example: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    dimension: Dimension | None = None
    fixed_unit: str = ""
    sheet: str = ""  # the key of the sheet a reference points at
    least: float = 0.0
    most: float = float("inf")
    zero: bool = True  # whether 0 may stand in the cell
    future: bool = False  # whether a date may lie after today
    longest: int = 60  # characters that a name, or the words of a text column, may have

    def unit(self, units: Units) -> str:
        """The unit in the heading, or "" for a column that has none."""
        if self.kind is Kind.PRICE:
            return f"per {VOLUME.unit(units)}"
        return self.dimension.unit(units) if self.dimension else self.fixed_unit

    def heading(self, units: Units) -> str:
        """The heading as the template writes it, such as "Capacity [gal] *"."""
        unit = self.unit(units)
        return f"{self.title}{f' [{unit}]' if unit else ''}{' *' if self.required else ''}"

    def example_in(self, units: Units) -> str:
        """The example cell, in the department's units."""
        return (self.metric_example or self.example) if units == "metric" else self.example


@dataclass(frozen=True)
class Sheet:
    """One sheet: its key in the product, its title, its columns, and what may not stand in it twice."""

    key: str
    title: str
    help: str
    columns: tuple[Column, ...]
    unique: tuple[str, ...] = ()

    def column(self, key: str) -> Column:
        """The column of this key. Raises ``KeyError``."""
        return self._by_key[key]

    @cached_property
    def _by_key(self) -> dict[str, Column]:
        return {column.key: column for column in self.columns}

    @cached_property
    def needed(self) -> tuple[str, ...]:
        """The keys of the columns that are required."""
        return tuple(column.key for column in self.columns if column.required)


def text(
    key: str, title: str, sentence: str, example: str = "", *, required: bool = False, longest: int = 60
) -> Column:
    """A column of free words."""
    return Column(
        key=key, title=title, kind=Kind.TEXT, help=sentence, example=example, required=required, longest=longest
    )


def code(key: str, title: str, sentence: str, example: str = "", *, longest: int = 60) -> Column:
    """A required column with the name by which other rows find this one."""
    return Column(key=key, title=title, kind=Kind.CODE, help=sentence, example=example, required=True, longest=longest)


def yes_no(key: str, title: str, sentence: str, example: str = "") -> Column:
    """A column of yes and no."""
    return Column(key=key, title=title, kind=Kind.YES_NO, help=sentence, example=example, choices=("yes", "no"))


def choice(
    key: str, title: str, choices: tuple[str, ...], sentence: str, example: str = "", *, required: bool = False
) -> Column:
    """A column that takes one of a few words."""
    return Column(
        key=key, title=title, kind=Kind.CHOICE, help=sentence, example=example, choices=choices, required=required
    )


def reference(
    key: str, title: str, sheet: str, sentence: str, example: str = "", *, required: bool = False, many: bool = False
) -> Column:
    """A column that names one row of another sheet, or several."""
    kind = Kind.REFERENCES if many else Kind.REFERENCE
    return Column(key=key, title=title, kind=kind, help=sentence, example=example, sheet=sheet, required=required)


def day(key: str, title: str, sentence: str, example: str = "", *, required: bool = False, future: bool) -> Column:
    """A column of whole dates; ``future`` says whether one may lie after today."""
    return Column(key=key, title=title, kind=Kind.DAY, help=sentence, example=example, required=required, future=future)


def dated(key: str, title: str, sentence: str, example: str = "", *, future: bool) -> Column:
    """A column of dates known to the day, the month or the year."""
    return Column(key=key, title=title, kind=Kind.DATED, help=sentence, example=example, future=future)


def percent(
    key: str,
    title: str,
    sentence: str,
    example: str = "",
    *,
    required: bool = False,
    many: bool = False,
    zero: bool = False,
    most: float = 10.0,
) -> Column:
    """A column of percentages of solution, typed as 3 for 3 %.

    0.1 is the least Class A setting and nothing is proportioned above 10 % (common practice, no source).
    """
    kind = Kind.PERCENTS if many else Kind.PERCENT
    return Column(
        key=key,
        title=title,
        kind=kind,
        help=sentence,
        example=example,
        required=required,
        zero=zero,
        least=0.1,
        most=most,
    )


def quantity(
    key: str,
    title: str,
    dimension: Dimension,
    sentence: str,
    example: str = "",
    metric_example: str = "",
    *,
    required: bool = False,
    least: float = 0.0,
    most: float,
    zero: bool = True,
) -> Column:
    """A column of quantities, in the unit of its heading unless the cell says another."""
    kind = {"area": Kind.AREA, "rate": Kind.RATE}.get(dimension.name, Kind.QUANTITY)
    return Column(
        key=key,
        title=title,
        kind=kind,
        help=sentence,
        example=example,
        metric_example=metric_example,
        required=required,
        dimension=dimension,
        least=least,
        most=most,
        zero=zero,
    )


def number(
    key: str,
    title: str,
    sentence: str,
    example: str = "",
    *,
    whole: bool = False,
    unit: str = "",
    least: float = 0.0,
    most: float,
    zero: bool = True,
) -> Column:
    """A column of plain numbers, whole or not."""
    kind = Kind.WHOLE if whole else Kind.NUMBER
    return Column(
        key=key,
        title=title,
        kind=kind,
        help=sentence,
        example=example,
        fixed_unit=unit,
        least=least,
        most=most,
        zero=zero,
    )
