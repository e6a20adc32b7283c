"""What is handed on between opening a handed-over sheet, laying it out, understanding it and settling its doubts."""

import hashlib
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Final, Literal, NamedTuple

from readiness.engineering.dates import GoodThrough

_LONGEST_GROUP: Final = 120
ROW: Final = "row"  # the code of a doubt about a row as a whole
LEAVE_OUT: Final = "leave_out"  # the choice that keeps a row out of the ledger, and in the report

CellValue = str | int | float | bool | datetime | date | time | timedelta | None


class Cell(NamedTuple):
    """One filled cell: its value, what a person reads there, how it is shown, and the formula behind it if any."""

    value: CellValue
    text: str
    number_format: str = ""
    formula: str = ""  # with its "="; ``value`` is then what the spreadsheet program had worked out, None if nothing


class SheetRow(NamedTuple):
    """One filled row: its number in their sheet, and its cells by column (None where empty, cut after the last)."""

    number: int
    cells: tuple[Cell | None, ...]
    comments: tuple[tuple[int, str], ...] = ()  # (column, what somebody pinned to the cell)
    hidden: bool = False
    struck: bool = False  # every filled cell is struck through

    def cell(self, column: int) -> Cell | None:
        """The cell of this column, None where the row does not reach so far."""
        return self.cells[column] if column < len(self.cells) else None


class Span(NamedTuple):
    """Cells of one column that are merged from one row down to another."""

    column: int
    first: int  # row number
    last: int


class SheetRows(NamedTuple):
    """One sheet: its filled rows, and in sentences what the file holds beside cells."""

    title: str
    rows: tuple[SheetRow, ...]
    width: int  # columns
    hidden: bool = False
    notes: tuple[str, ...] = ()  # formulas, comments, merged cells, hidden rows and columns
    spans: tuple[Span, ...] = ()  # cells merged downwards


class Opened(NamedTuple):
    """A file that could be read."""

    kind: Literal["xlsx", "csv"]
    words: str  # such as "comma-separated text, Windows-1252"
    sheets: tuple[SheetRows, ...]

    def sheet(self, title: str) -> SheetRows:
        """The sheet of this title. Raises ``KeyError``."""
        return {sheet.title: sheet for sheet in self.sheets}[title]


class Meaning(StrEnum):
    """What a column of their sheet tells; each but NOTES and IGNORED belongs to one column at most."""

    STATION = "station"
    WHERE = "where"  # unit, compartment, tank, store room
    PRODUCT = "product"
    KIND = "kind"  # of concentrate
    PERCENT = "percent"
    CONTAINER = "container"  # its kind: pail, drum, …
    QUANTITY = "quantity"  # how many containers
    SIZE = "size"  # of one container
    VOLUME = "volume"  # of the row together
    LOT = "lot"
    MADE = "made"
    GOOD_THROUGH = "good_through"
    CODE = "code"  # a label or tag number of the container
    NOTES = "notes"  # kept as it stands and looked through for what changes the meaning
    IGNORED = "ignored"  # not taken in; what stands there is still in the report


class Layout(NamedTuple):
    """How one sheet is to be read. ``meanings`` by column; ``day_first`` None where nothing decides 3/4/26."""

    sheet: str  # its title
    header_row: int  # 0 where the sheet has no headings
    meanings: tuple[Meaning, ...]
    volume_unit: str  # what a bare number is in: a unit of the units table
    day_first: bool | None = None

    def column_of(self, meaning: Meaning) -> int | None:
        """Where this is told, None where nowhere."""
        return self.meanings.index(meaning) if meaning in self.meanings else None


class ColumnGuess(NamedTuple):
    """One column, what it is taken for, and why, in words."""

    column: int
    letter: str
    heading: str
    meaning: Meaning
    why: str
    sure: bool  # False: look at it


class Guess(NamedTuple):
    """A proposed layout, and in sentences what it rests on."""

    layout: Layout
    columns: tuple[ColumnGuess, ...]
    header_why: str
    unit_why: str
    days_why: str


class Fate(StrEnum):
    """What a row of their sheet is."""

    STOCK = "stock"
    HEADER = "header"
    TITLE = "title"  # also a remark above or below the table
    TOTAL = "total"
    NO_FOAM = "no foam"
    NOT_UNDERSTOOD = "not understood"


class Spot(NamedTuple):
    """A place in their words taken apart: "Reserve Engine 9 tank" is unit "Engine 9", reserve, part "tank"."""

    text: str
    what: Literal["unit", "store", "unknown"]
    unit: str = ""  # the unit's name as they write it out, such as "Engine 1" (also for "E1")
    reserve: bool = False
    part: str = ""  # compartment, tank, kit: "tank B", "L3", "training shed"; for a store, the room
    built_in: bool = False  # a fixed tank or cell of the vehicle
    station: str = ""  # where the place itself names one: "Station 1 bay"


class Percents(NamedTuple):
    """Percentages [1/100 point], rising: one, the two of 3x6, or the ends of a range such as 0.1 to 1."""

    low: int
    high: int
    what: Literal["one", "pair", "range"]


class Field(NamedTuple):
    """One thing a row tells: what stood there, its value, and the value in words.

    Values: str for STATION, PRODUCT, KIND (of ``CONCENTRATE_KINDS``), CONTAINER (of ``CONTAINER_KINDS``), CODE, NOTES;
    Spot; Percents; int for QUANTITY; ml for SIZE and VOLUME; a tuple of lot numbers for LOT; GoodThrough for dates.
    None where nothing stood there, or it is in doubt or unknown (``words`` says which).
    """

    meaning: Meaning
    column: int
    heading: str
    read: str
    value: object
    words: str


class Choice(NamedTuple):
    """One answer to a doubt. Under one key every row of a group may have a value of its own."""

    key: str
    words: str
    value: str = ""  # the date that this choice means in this row, as 2028-03


def alike(code: str, *shared: object) -> str:
    """The group of a doubt: its code and what alike doubts share, cut to a length that a form can carry."""
    whole = "|".join([code, *(" ".join(str(each).casefold().split()) for each in shared)])
    if len(whole) <= _LONGEST_GROUP:
        return whole
    return f"{whole[:_LONGEST_GROUP]}|{hashlib.sha256(whole.encode()).hexdigest()[:16]}"


class Doubt(NamedTuple):
    """One thing that could be meant in several ways. Alike doubts share a ``group`` and are settled by one answer."""

    row: int
    code: str
    group: str  # such as "lot unknown|??": an answer under it holds for every row of the group
    question: str  # a sentence: what was read and what it could mean
    choices: tuple[Choice, ...]
    proposed: str | None  # the key that is proposed; None: it must be answered
    typed: str = ""  # what may be typed instead of a choice, such as "a volume, like 40 gal"; "" where nothing may
    typed_for_all: bool = True  # False: what is typed holds for one row alone (``key``), a choice for all alike

    @property
    def key(self) -> str:
        """Names this doubt of this row, for an answer that holds for the row alone."""
        return f"{self.row}:{self.code}"


class Understood(NamedTuple):
    """One filled row of their sheet, whatever it is."""

    number: int
    fate: Fate
    why: str  # why it is taken for that, in a sentence
    said: tuple[tuple[str, str], ...]  # the row as it stands: (heading, text) of each filled cell
    fields: tuple[Field, ...]
    doubts: tuple[Doubt, ...]
    comments: tuple[str, ...] = ()

    def field(self, meaning: Meaning) -> Field | None:
        """The first field of this meaning."""
        return next((field for field in self.fields if field.meaning is meaning), None)

    def value(self, meaning: Meaning) -> object:
        """Its value, None where there is none."""
        field = self.field(meaning)
        return None if field is None else field.value


class Part(NamedTuple):
    """So much of one lot [ml]."""

    lot: str  # "" where the label does not say
    ml: int


class LotSaid(NamedTuple):
    """A lot and its dates, the same on every row that names it; None where the sheet does not say."""

    lot: str  # "" where the label does not say
    made: GoodThrough | None = None
    good_through: GoodThrough | None = None


class Portion(NamedTuple):
    """Containers of one row that are alike: two sealed and full, one opened and half."""

    many: int
    capacity_ml: int
    parts: tuple[Part, ...]  # what each of them holds
    sealed: bool | None = None  # None: the sheet does not say
    opened_on: date | None = None
    opened: bool = False  # opened, perhaps on a day that is not known
    condition: str = ""  # of ``CONDITIONS``, such as quarantined
    why: str = ""

    @property
    def contents_ml(self) -> int:
        """What each of them holds together [ml]."""
        return sum(part.ml for part in self.parts)


class OpenDoubt(NamedTuple):
    """A doubt that still stands, and what was wrong with the answer if there was one."""

    doubt: Doubt
    wrong: str = ""


class Settled(NamedTuple):
    """A row after its doubts were answered: what is to be taken in, or why it is not."""

    number: int
    fate: Fate
    left_out: str  # why it is not taken in, in a sentence; "" for stock that is
    station: str = ""
    spot: Spot | None = None
    product: str = ""
    kind: str = ""
    percents: Percents | None = None
    container: str = ""  # of ``CONTAINER_KINDS``
    portions: tuple[Portion, ...] = ()
    lots: tuple[LotSaid, ...] = ()  # each lot of the portions' parts, with its dates
    code: str = ""  # as the sheet has it
    codes: tuple[str, ...] = ()  # the same, one for each container; empty where new ones have to be given
    notes: str = ""
    steps: tuple[str, ...] = ()  # each answer and each reading that is not plain, in a sentence
    open: tuple[OpenDoubt, ...] = ()

    @property
    def ready(self) -> bool:
        """Whether nothing more has to be answered."""
        return not self.open

    @property
    def containers(self) -> int:
        """How many containers it makes."""
        return sum(portion.many for portion in self.portions)

    @property
    def volume_ml(self) -> int:
        """What they hold together [ml]."""
        return sum(portion.many * portion.contents_ml for portion in self.portions)


def groups(understood: tuple[Understood, ...]) -> dict[str, list[Doubt]]:
    """The doubts of all rows by group, in the order in which they first stand."""
    found: dict[str, list[Doubt]] = {}
    for doubt in doubts_of(understood):
        found.setdefault(doubt.group, []).append(doubt)
    return found


def doubts_of(understood: tuple[Understood, ...]) -> Iterator[Doubt]:
    """Every doubt of every row."""
    for row in understood:
        yield from row.doubts
