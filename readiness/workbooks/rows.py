"""What the reader hands over: rows of typed values, and faults that say where, what was read, what would be right."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal, NamedTuple

from readiness.workbooks.columns import Sheet

RateUnit = Literal["gpm_ft2", "lpm_m2"]


class Rate(NamedTuple):
    """An application rate in the unit it was published in."""

    value: Decimal
    unit: RateUnit


class Price(NamedTuple):
    """What one unit of volume cost; ``per`` is a unit of the units table, such as gal or L."""

    amount: Decimal
    per: str


class HoseLeg(NamedTuple):
    """A stretch of hose: length [m] and inside diameter [in]."""

    length_m: float
    diameter_in: float


class Fault(NamedTuple):
    """One thing wrong in a workbook. ``row`` is 0 and ``column`` empty where it concerns a whole sheet."""

    sheet: str
    row: int
    column: str
    heading: str
    read: str
    right: str

    @property
    def place(self) -> str:
        """Sheet, row and column, as a person finds them: "Containers, row 12, column L (Contents [gal])"."""
        parts = [self.sheet] + ([f"row {self.row}"] if self.row else [])
        if self.column:
            parts.append(f"column {self.column} ({self.heading})")
        elif self.heading:
            parts.append(self.heading)
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        """The whole of it in one sentence."""
        joint = "," if self.right.startswith("which ") else ":"
        return f"{self.place}: {self.read} was read{joint} {self.right.rstrip('.')}."


class Spot(NamedTuple):
    """Where a column stands in the workbook that was read."""

    letter: str
    heading: str


@dataclass(slots=True)
class Row:
    """One row of a sheet. ``values`` has every key of the sheet: empty cells as "", () or None (see ``Kind``)."""

    sheet: Sheet
    number: int
    spots: Mapping[str, Spot]
    values: dict[str, Any]
    bad: set[str] = field(default_factory=set)  # keys whose cells had a fault: their values are empty
    title: str = ""  # of the sheet in which it stands, where that is none of the template's
    remark: str = ""  # what is said of it where it comes into the book

    def __getitem__(self, key: str) -> Any:
        return self.values[key]

    def sound(self, *keys: str) -> bool:
        """Whether the cells of these keys were read without a fault, so that a rule may judge them."""
        return self.bad.isdisjoint(keys)

    def fault(self, key: str, read: str, right: str) -> Fault:
        """A fault of this row at the column ``key``: what was read, and what would be right."""
        spot = self.spots.get(key) or Spot("", self.sheet.column(key).title)
        return Fault(*self.place, spot.letter, spot.heading, read, right)

    @property
    def place(self) -> tuple[str, int]:
        """The sheet and the row in which a person finds it."""
        return self.title or self.sheet.title, self.number


@dataclass(frozen=True, slots=True)
class Reading:
    """A workbook as read: good rows by sheet key (every key is there), all faults, and how much was skipped."""

    rows: Mapping[str, list[Row]]
    faults: list[Fault]
    skipped_examples: int

    @property
    def sound(self) -> bool:
        """Whether the workbook may go in: no fault anywhere."""
        return not self.faults


def quoted(read: object) -> str:
    """What stood in a cell, quoted and cut to a length that fits a sentence."""
    text = str(read)
    return f"“{text[:60]}…”" if len(text) > 61 else f"“{text}”"
