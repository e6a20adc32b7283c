"""Every filled row of a handed-over sheet as it would be understood, with each doubt a person has to settle.

1. ``across.look_across`` looks through all rows once.
2. Each row is one of: headings, a title or remark, a total, "no foam", stock, or not understood.
3. Of stock every cell becomes a field by ``fields.FieldReader``; what is blank or does not fit together is a doubt
   (``row_doubts``).
A cell that says "ditto" is read as the cell above it.
"""

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Final

from openpyxl.utils.cell import get_column_letter

from readiness.workbooks.columns import Units
from readiness.workbooks.handed_over.across import look_across
from readiness.workbooks.handed_over.amounts_said import count_typed
from readiness.workbooks.handed_over.bounds import MOST_CELLS
from readiness.workbooks.handed_over.fields import FieldReader
from readiness.workbooks.handed_over.notes_said import before_no_foam, says_no_foam
from readiness.workbooks.handed_over.places_said import is_station, read_place
from readiness.workbooks.handed_over.records import (
    LEAVE_OUT,
    ROW,
    Cell,
    Choice,
    Doubt,
    Fate,
    Field,
    Layout,
    Meaning,
    SheetRow,
    SheetRows,
    Understood,
)
from readiness.workbooks.handed_over.row_doubts import Above, RowDoubts
from readiness.workbooks.handed_over.saying import plain
from readiness.workbooks.rows import quoted

_TOTAL: Final = re.compile(r"(?:grand |sub ?|sub-)?totals?\b.*|sum\b.*|sums", re.IGNORECASE)
_SUMS: Final = re.compile(r"=\s*\+?\s*(?:SUM|SUBTOTAL|SUMIF|SUMIFS|COUNTA?|AVERAGE)\s*\(", re.IGNORECASE)
_DITTO: Final = frozenset({'"', "''", "″", "〃", "”", "“", "ditto", "do", "do.", "same", "same as above", "as above"})
_TELLS_STOCK: Final = re.compile(
    r"[0-9].*\b(?:pails?|drums?|totes?|buckets?|cans?|jugs?|gal|gallons?|lit(?:re|er)s?|foam|a(?:r-)?fff|f3)\b|"
    r"\b(?:pails?|drums?|totes?|foam|afff)\b.*[0-9]",
    re.IGNORECASE,
)
_WHAT: Final = (Meaning.PRODUCT, Meaning.KIND, Meaning.LOT)
_HOW_MUCH: Final = (Meaning.QUANTITY, Meaning.SIZE, Meaning.VOLUME, Meaning.CONTAINER)
_MOST_WORDS_OF_A_TOTAL: Final = 2  # “TOTAL” and a unit beside it; a row of stock has more words
_LEAST_ALIKE: Final = 3  # cells that repeat the headings


def understand(sheet: SheetRows, layout: Layout, *, units: Units, today: date) -> tuple[Understood, ...]:
    """One ``Understood`` for every filled row of the sheet, in its order."""
    reader = _RowReader(sheet, layout, units=units, today=today)
    return tuple(reader.read(row) for row in sheet.rows)


class _RowReader:
    """Reads rows from the top down, knowing those above."""

    def __init__(self, sheet: SheetRows, layout: Layout, *, units: Units, today: date) -> None:
        self._layout = layout
        self._meanings = layout.meanings
        across = look_across(sheet.rows, layout, today=today)
        self._fields = FieldReader(layout, across, units=units, today=today)
        self._doubts = RowDoubts(layout, across, units=units, today=today)
        self._headings = _headings(sheet, layout)
        self._heading_words = [plain(heading) for heading in self._headings]
        self._taken = [
            (column, meaning, self._heading(column))
            for column, meaning in enumerate(layout.meanings)
            if meaning is not Meaning.IGNORED
        ]
        self._at = {meaning: layout.column_of(meaning) for meaning in Meaning}
        self._above: dict[int, Cell] = {}
        self._merged = _merged(sheet, self._at)
        self._lines = Above()
        self._containers = self._since_total = 0
        self._pairs: dict[tuple[int, str], tuple[str, str]] = {}

    def read(self, row: SheetRow) -> Understood:
        """One row."""
        fate, why = self._fate(row)
        if fate is Fate.STOCK:
            return self._stock(row, why)
        if fate is Fate.NO_FOAM:
            return Understood(row.number, fate, why, self._said(row), self._place_fields(row), (), _comments(row))
        doubts = (_not_understood(row, why),) if fate is Fate.NOT_UNDERSTOOD else ()
        return Understood(row.number, fate, why, self._said(row), (), doubts, _comments(row))

    def _place_fields(self, row: SheetRow) -> tuple[Field, ...]:
        """Which unit or place it is that holds none."""
        fields = []
        for column, cell in enumerate(row.cells):
            meaning = self._meanings[column] if column < len(self._meanings) else Meaning.NOTES
            named = before_no_foam(cell.text) if cell is not None else ""
            if cell is not None and named:
                spot = read_place(named)
                words = f"on {spot.unit}" if spot.what == "unit" else named
                fields.append(Field(Meaning.WHERE, column, self._heading(column), cell.text, spot, words))
            elif cell is not None and meaning in {Meaning.STATION, Meaning.WHERE}:
                fields.append(self._fields.read(meaning, column, self._heading(column), cell).field)
        self._remember_station(fields)
        return tuple(fields)

    def _said(self, row: SheetRow) -> tuple[tuple[str, str], ...]:
        pairs = self._pairs
        said = []
        for column, cell in enumerate(row.cells):
            if cell is not None:
                key = (column, cell.text)
                pair = pairs.get(key)
                if pair is None:
                    pair = pairs[key] = (self._heading(column), cell.text)
                said.append(pair)
        return tuple(said)

    def _heading(self, column: int) -> str:
        heading = self._headings[column] if column < len(self._headings) else ""
        return heading or f"column {get_column_letter(column + 1)}"

    def _fate(self, row: SheetRow) -> tuple[Fate, str]:
        number, header = row.number, self._layout.header_row
        if number == header:
            return Fate.HEADER, "These are the headings."
        filled = [cell for cell in row.cells if cell is not None]
        if number < header:
            if len(filled) == 1 and is_station(filled[0].text):
                self._lines = Above(filled[0].text)
            return Fate.TITLE, "It stands above the headings."
        if not filled:
            return Fate.TITLE, "Nothing stands in it but a comment."
        if header and self._repeats_headings(row):
            return Fate.HEADER, "It repeats the headings."
        if self._is_total(row, filled):
            return Fate.TOTAL, f"It adds up the rows above; it is no stock of its own.{self._checked(row)}"
        return self._by_what_it_holds(row, filled)

    def _repeats_headings(self, row: SheetRow) -> bool:
        alike = filled = 0
        for column, cell in enumerate(row.cells):
            if cell is not None:
                filled += 1
                heading = self._heading_words[column] if column < len(self._heading_words) else ""
                if heading and cell.text == self._headings[column]:
                    alike += 1
                elif filled == _LEAST_ALIKE and not alike:
                    return False
        return alike >= _LEAST_ALIKE

    def _cell(self, row: SheetRow, meaning: Meaning) -> Cell | None:
        column = self._at[meaning]
        return row.cell(column) if column is not None else None

    def _is_total(self, row: SheetRow, filled: Sequence[Cell]) -> bool:
        if self._cell(row, Meaning.LOT) is not None:
            return False
        words = [cell.text for cell in filled if not cell.formula and any(map(str.isalpha, cell.text))]
        if any(_TOTAL.fullmatch(text) for text in words):
            return len(words) <= _MOST_WORDS_OF_A_TOTAL
        return any(_SUMS.match(cell.formula) for cell in filled if cell.formula) and not self._names_stock(row)

    def _checked(self, row: SheetRow) -> str:
        """Whether the figure of a total is the sum of the containers above it, of the sheet or since the last total."""
        cell = self._cell(row, Meaning.QUANTITY)
        since, self._since_total = self._since_total, 0
        if cell is None or not self._containers:
            return ""
        sums = f"The rows above come to {self._containers:,} containers"
        if since != self._containers:
            sums = f"{sums}, and {since:,} since the last total"
        said = count_typed(cell.text)
        if said is None:
            return f" {sums}."
        return f" It says {said:,}. {sums}{'' if said in {self._containers, since} else ': look at it'}."

    def _names_stock(self, row: SheetRow) -> bool:
        return any(self._cell(row, meaning) is not None for meaning in _WHAT)

    def _by_what_it_holds(self, row: SheetRow, filled: Sequence[Cell]) -> tuple[Fate, str]:
        amount = any(self._cell(row, meaning) is not None for meaning in _HOW_MUCH)
        none = None if amount else next((cell for cell in filled if says_no_foam(cell.text)), None)
        product = self._cell(row, Meaning.PRODUCT)
        if none is not None and (product is None or product is none):
            return Fate.NO_FOAM, f"{quoted(none.text)} says that there is none."
        if len(filled) == 1:
            return self._single(filled[0], product)
        if self._names_stock(row):
            return Fate.STOCK, "It names stock."
        if amount:
            return Fate.STOCK, "It says how much there is, and not of what."
        return Fate.NOT_UNDERSTOOD, "It names no product, no kind, no lot and no amount."

    def _single(self, cell: Cell, product: Cell | None) -> tuple[Fate, str]:
        """A line of one cell: a heading of what follows, a remark, or stock in a sentence of its own."""
        if is_station(cell.text):
            self._lines = Above(cell.text)
            return Fate.TITLE, "A heading: what follows is at this station."
        if product is not None:
            self._lines = self._lines._replace(product=cell.text)
            return (
                Fate.NOT_UNDERSTOOD,
                "Only a product is named: a heading, or stock without an amount.",
            )
        if _TELLS_STOCK.search(cell.text):
            return Fate.NOT_UNDERSTOOD, "It may tell of stock in a sentence of its own."
        return Fate.TITLE, "A single cell is filled: a heading or a remark."

    def _stock(self, row: SheetRow, why: str) -> Understood:
        fields: list[Field] = []
        doubts: list[Doubt] = []
        number = row.number
        cells, above, merged = row.cells, self._above, self._merged
        for column, meaning, heading in self._taken:
            own = cells[column] if column < len(cells) else None
            cell = own or merged.get((number, column))
            if cell is None:
                continue
            ditto = meaning is not Meaning.NOTES and column in above and cell.text.casefold() in _DITTO
            source = above[column] if ditto else cell
            above[column] = source
            field, doubt = self._fields.read(meaning, column, heading, source)
            fields.append(field if source is own else _as_above(field, own))
            if doubt is not None:
                doubts.append(doubt._replace(row=number))
        more_fields, more_doubts = self._doubts.of_row(row, tuple(fields), tuple(doubts), self._lines)
        fields += more_fields
        doubts += more_doubts
        self._remember_station(fields)
        self._add_up(fields)
        hidden = " It is hidden in the sheet." if row.hidden else ""
        return Understood(
            number, Fate.STOCK, why + hidden, self._said(row), tuple(fields), tuple(doubts), _comments(row)
        )

    def _add_up(self, fields: Sequence[Field]) -> None:
        counts = [field.value for field in fields if field.meaning is Meaning.QUANTITY]
        many = next((count for count in counts if isinstance(count, int)), 0)
        self._containers += many
        self._since_total += many

    def _remember_station(self, fields: Sequence[Field]) -> None:
        for field in fields:
            if field.meaning is Meaning.STATION and isinstance(field.value, str):
                if field.value != self._lines.station:
                    self._lines = self._lines._replace(station=field.value)
                return


def _as_above(field: Field, cell: Cell | None) -> Field:
    """A cell that says ditto, or that is merged with the one above and so is empty in the file."""
    how = "as in the row above" if cell else "merged with the row above"
    return field._replace(read=cell.text if cell else field.read, words=f"{field.words} ({how})")


def _merged(sheet: SheetRows, at: Mapping[Meaning, int | None]) -> dict[tuple[int, int], Cell]:
    """(row, column) → the cell that spans it; only where a station or place may hold for several rows.

    A number of containers merged over two rows is of both together, and is asked about like a blank.
    """
    columns = {at[Meaning.STATION], at[Meaning.WHERE], at[Meaning.PRODUCT], at[Meaning.KIND]}
    by_number = {row.number: row for row in sheet.rows} if sheet.spans else {}
    numbers = sorted(by_number)
    found: dict[tuple[int, int], Cell] = {}
    for span in sheet.spans:
        top = by_number[span.first].cell(span.column) if span.first in by_number else None
        if top is None or span.column not in columns or len(found) > MOST_CELLS:
            continue
        for number in numbers[bisect_right(numbers, span.first) : bisect_right(numbers, span.last)]:
            found[number, span.column] = top
    return found


def _headings(sheet: SheetRows, layout: Layout) -> list[str]:
    header = next((row for row in sheet.rows if row.number == layout.header_row), None)
    return [cell.text if cell else "" for cell in header.cells] if header else []


def _comments(row: SheetRow) -> tuple[str, ...]:
    return tuple(words for _, words in row.comments if words)


def _texts(row: SheetRow) -> Iterator[str]:
    return (cell.text for cell in row.cells if cell is not None)


def _not_understood(row: SheetRow, why: str) -> Doubt:
    read = ", ".join(quoted(text) for text in list(_texts(row))[:6])
    return Doubt(
        row.number,
        ROW,
        f"{ROW}|{row.number}",
        f"{read} was read. {why}",
        (Choice(LEAVE_OUT, "it is no stock: it stays out, and stands so in the report"),),
        None,
    )
