"""A checked .xlsx file to sheets of filled rows, with what it holds beside cells: formulas, comments, merged, hidden.

Nothing is worked out: a formula's cell gives the value that the spreadsheet program stored with it.
"""

import posixpath
import re
import zipfile
from collections.abc import Mapping
from datetime import datetime
from io import BytesIO
from typing import Final, NamedTuple

from openpyxl.styles.numbers import is_date_format
from openpyxl.utils.cell import column_index_from_string, get_column_letter
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH, from_excel

from readiness.workbooks.handed_over.bounds import (
    LAST_COLUMN,
    LAST_ROW,
    LONGEST_CELL,
    MOST_COLUMNS,
    MOST_SHEETS,
    Tally,
    too_long,
    too_many,
    too_wide,
)
from readiness.workbooks.handed_over.notices import Beside, notices
from readiness.workbooks.handed_over.records import Cell, CellValue, SheetRow, SheetRows, Span
from readiness.workbooks.handed_over.showing import cell_text
from readiness.workbooks.handed_over.styles import Style, read_styles
from readiness.workbooks.handed_over.xml_parts import Parts, damaged, local

_BOOK: Final = "xl/workbook.xml"
_REFERENCE: Final = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,10})")
_MERGED: Final = re.compile(r"([A-Z]{1,3})([0-9]{1,7}):([A-Z]{1,3})([0-9]{1,7})")
_MOST_SPANS: Final = 5_000
_KEPT_CELLS: Final = 50_000
_PLAIN: Final = Style()


class _Book(NamedTuple):
    """What the parts of all sheets share."""

    parts: Parts
    texts: list[str]
    styles: list[Style]  # by their numbers
    mac_epoch: bool
    tally: Tally


class _SheetAt(NamedTuple):
    title: str
    part: str
    hidden: bool


def read_sheets(data: bytes) -> tuple[SheetRows, ...]:
    """Every worksheet of a file that ``guard.check_file`` let pass. Raises ``NotAWorkbook``."""
    with zipfile.ZipFile(BytesIO(data)) as archive:
        parts = Parts(archive)
        targets = _targets(parts, _BOOK)
        places, mac_epoch = _places(parts, targets)
        tally = Tally()
        texts = _shared_texts(parts, _part_of(targets, "sharedStrings"), tally)
        styles = read_styles(parts, _part_of(targets, "styles"))
        book = _Book(parts, texts, styles, mac_epoch, tally)
        return tuple(_sheet(book, place) for place in places)


def _targets(parts: Parts, owner: str) -> dict[str, tuple[str, str]]:
    """Relationship id → (last word of its type, part) of a part's own relationships."""
    folder, name = posixpath.split(owner)
    found: dict[str, tuple[str, str]] = {}

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "Relationship" and attributes.get("TargetMode") != "External":
            target = attributes.get("Target", "")
            path = posixpath.normpath(posixpath.join("/" + folder, target)).lstrip("/")
            found[attributes.get("Id", "")] = (attributes.get("Type", "").rpartition("/")[2], path)

    relationships = f"{folder}/_rels/{name}.rels"
    if relationships in parts:
        parts.stream(relationships, start, _nothing, _nothing)
    return found


def _nothing(_: object) -> None:
    pass


def _part_of(targets: Mapping[str, tuple[str, str]], kind: str) -> str:
    return next((path for each, path in targets.values() if each == kind), "")


def _places(parts: Parts, targets: Mapping[str, tuple[str, str]]) -> tuple[list[_SheetAt], bool]:
    """The worksheets in the order of their tabs, and whether days count from 1904."""
    places: list[_SheetAt] = []
    mac = [False]

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "workbookPr":
            mac[0] = attributes.get("date1904", "") in {"1", "true", "on"}
        elif tag == "sheet":
            by_name = {local(name): value for name, value in attributes.items()}
            kind, path = targets.get(by_name.get("id", ""), ("", ""))
            if kind == "worksheet":
                hidden = by_name.get("state", "visible") != "visible"
                places.append(_SheetAt(by_name.get("name", "")[:100], path, hidden))
        if len(places) > MOST_SHEETS:
            raise too_many("sheets", MOST_SHEETS)

    parts.stream(_BOOK, start, _nothing, _nothing)
    if not places:
        raise damaged(_BOOK)
    return places, mac[0]


def _shared_texts(parts: Parts, part: str, tally: Tally) -> list[str]:
    """The texts that cells point at, without the phonetic ones beside them."""
    texts: list[str] = []
    if part not in parts:
        return texts
    reader = _TextReader(part)

    def end(tag: str) -> None:
        reader.end(tag)
        if tag == "si":
            text = reader.taken()
            tally.text(text, "a shared text")
            texts.append(text)

    parts.stream(part, reader.start, end, reader.text)
    return texts


class _TextReader:
    """Collects the words of <t> elements, leaving out phonetic ones (<rPh>)."""

    def __init__(self, part: str) -> None:
        self._part, self._words = part, list[str]()
        self._inside = self._phonetic = False
        self._size = 0

    def start(self, tag: str, _: Mapping[str, str]) -> None:
        self._inside = tag == "t" and not self._phonetic
        self._phonetic = self._phonetic or tag == "rPh"

    def end(self, tag: str) -> None:
        self._inside = False
        self._phonetic = self._phonetic and tag != "rPh"

    def text(self, words: str) -> None:
        if self._inside:
            self._words.append(words)
            self._size += len(words)
            if self._size > LONGEST_CELL:
                raise too_long(self._part)

    def taken(self) -> str:
        words = "".join(self._words)
        self._words.clear()
        self._size = 0
        return words


def _sheet(book: _Book, place: _SheetAt) -> SheetRows:
    reader = _SheetReader(book, place)
    book.parts.stream(place.part, reader.start, reader.end, reader.text)
    comments = _comments(book, place)
    rows = tuple(_with_comments(reader.rows, comments))
    width = max((len(row.cells) for row in rows), default=0)
    beside = Beside(reader.merged, reader.hidden_columns, reader.colored, place.hidden)
    said = notices(rows, beside)
    spans = tuple(span for ref in reader.merged[:_MOST_SPANS] if (span := _span(ref)) is not None)
    return SheetRows(place.title, rows, width, place.hidden, said, spans)


def _span(ref: str) -> Span | None:
    """Cells of one column merged downwards; None for cells merged across, whose text counts for the first."""
    found = _MERGED.fullmatch(ref)
    if found is None or found[1] != found[3] or not int(found[2]) < int(found[4]) <= LAST_ROW:
        return None
    return Span(column_index_from_string(found[1]) - 1, int(found[2]), int(found[4]))


def _with_comments(rows: list[SheetRow], comments: dict[int, list[tuple[int, str]]]) -> list[SheetRow]:
    """Each row with its comments; a comment where nothing stands makes a row of its own."""
    if not comments:
        return rows
    known = {row.number for row in rows}
    bare = [SheetRow(number, ()) for number in comments if number not in known]
    every = sorted([*rows, *bare], key=lambda row: row.number)
    return [row._replace(comments=tuple(sorted(comments.get(row.number, ())))) for row in every]


def _comments(book: _Book, place: _SheetAt) -> dict[int, list[tuple[int, str]]]:
    """What is pinned to cells, by row."""
    found: dict[int, list[tuple[int, str]]] = {}
    part = _part_of(_targets(book.parts, place.part), "comments")
    if part not in book.parts:
        return found
    reader = _TextReader(part)
    at = [(0, 0)]

    def start(tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "comment":
            at[0] = _cell_at(attributes.get("ref", ""), part)
        reader.start(tag, attributes)

    def end(tag: str) -> None:
        reader.end(tag)
        if tag == "comment":
            words = " ".join(reader.taken().split())
            book.tally.text(words, "a comment")
            found.setdefault(at[0][0], []).append((at[0][1], words))

    book.parts.stream(part, start, end, reader.text)
    return found


def _cell_at(reference: str, part: str) -> tuple[int, int]:
    """(row from 1, column from 0) of a reference such as K12."""
    found = _REFERENCE.fullmatch(reference)
    if found is None:
        raise damaged(part)
    row, column = int(found[2]), column_index_from_string(found[1]) - 1
    if not 1 <= row <= LAST_ROW or column >= LAST_COLUMN:
        raise damaged(part)
    return row, column


class _SheetReader:
    """One worksheet part, event by event."""

    def __init__(self, book: _Book, place: _SheetAt) -> None:
        self._book, self._place = book, place
        self.rows: list[SheetRow] = []
        self.merged: list[str] = []
        self.colored: list[int] = []  # rows
        self.hidden_columns: list[tuple[int, int]] = []
        self._number, self._hidden = 0, False
        self._cells: list[Cell | None] = []
        self._filled, self._struck, self._colored = 0, 0, False
        self._column, self._type, self._style = -1, "n", 0
        self._value: list[str] = []
        self._formula: list[str] = []
        self._into: list[str] | None = None
        self._shared: dict[str, str] = {}
        self._shared_index = ""
        self._phonetic = False
        self._columns: dict[str, int] = {}
        self._known: dict[tuple[str, int, str], Cell | None] = {}

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """One opening tag."""
        if tag == "v" or (tag == "t" and not self._phonetic):
            self._into = self._value
        elif tag == "c":
            self._start_cell(attributes)
        elif tag == "row":
            self._start_row(attributes)
        elif tag == "f":
            self._into = self._formula
            self._shared_index = attributes.get("si", "")
        elif tag == "rPh":
            self._phonetic = True
        else:
            self._start_other(tag, attributes)

    def _start_other(self, tag: str, attributes: Mapping[str, str]) -> None:
        if tag == "mergeCell":
            self.merged.append(attributes.get("ref", "")[:30])
        elif tag == "col" and attributes.get("hidden") in {"1", "true"}:
            self.hidden_columns.append((int(attributes.get("min", "1")), int(attributes.get("max", "1"))))

    def _start_row(self, attributes: Mapping[str, str]) -> None:
        number = int(attributes["r"]) if "r" in attributes else self._number + 1
        if not self._number < number <= LAST_ROW:
            raise damaged(f"{self._place.part}, row {number}")
        self._number, self._hidden = number, attributes.get("hidden") in {"1", "true"}
        self._cells, self._column = [], -1
        self._filled, self._struck, self._colored = 0, 0, False

    def _start_cell(self, attributes: Mapping[str, str]) -> None:
        reference = attributes.get("r")
        column = self._column + 1 if reference is None else self._column_of(reference)
        if column <= self._column:
            raise damaged(f"{self._place.part}, row {self._number}")
        self._column = column
        self._type = attributes.get("t", "n")
        self._style = int(attributes.get("s", "0"))

    def _column_of(self, reference: str) -> int:
        letters = reference.rstrip("0123456789")
        column = self._columns.get(letters)
        if column is None:
            column = self._columns[letters] = _cell_at(f"{letters}1", self._place.part)[1]
        return column

    def text(self, words: str) -> None:
        """Characters between two tags."""
        into = self._into
        if into is not None:
            into.append(words)
            if len(into) > 1 and sum(map(len, into)) > LONGEST_CELL:
                raise too_long(self._where())

    def end(self, tag: str) -> None:
        """One closing tag."""
        if tag == "v":
            pass
        elif tag == "c":
            self._end_cell()
        elif tag == "row":
            self._end_row()
        elif tag == "rPh":
            self._phonetic = False
        self._into = None

    def _where(self) -> str:
        return f"sheet “{self._place.title}”, cell {get_column_letter(self._column + 1)}{self._number}"

    def _end_cell(self) -> None:
        if not (self._value or self._formula or self._shared_index):
            return
        cell = self._cell()
        self._value.clear()
        self._formula.clear()
        if cell is None:
            return
        if self._column >= MOST_COLUMNS:
            raise too_wide(self._where())
        cells = self._cells
        while len(cells) < self._column:
            cells.append(None)
        cells.append(cell)
        style = self._shown()
        self._struck += style.struck
        self._colored = self._colored or style.colored
        self._filled += 1

    def _cell(self) -> Cell | None:
        raw = "".join(self._value)
        formula = self._formula_text() if self._formula or self._shared_index else ""
        if not raw and not formula:
            return None
        if formula:
            return self._worked_out(raw, formula)
        key = (raw, self._style, self._type)
        if key in self._known:
            return self._known[key]
        cell = self._made(raw)
        if len(self._known) < _KEPT_CELLS:
            self._known[key] = cell
        return cell

    def _formula_text(self) -> str:
        """The formula of this cell; a shared one is written out only where it first stands."""
        index, self._shared_index = self._shared_index, ""
        words = "".join(self._formula)
        if index and words:
            self._shared[index] = words
        words = words or self._shared.get(index, "")
        return f"={words}" if words else ""

    def _worked_out(self, raw: str, formula: str) -> Cell:
        made = self._made(raw) if raw else None
        if made is None:
            return Cell(None, formula, "", formula)
        return made._replace(formula=formula)

    def _made(self, raw: str) -> Cell | None:
        shown = self._shown().number_format
        value = self._typed(raw, shown)
        text = cell_text(value, shown)
        if not text:
            return None
        if self._type != "s":
            self._book.tally.text(text, self._where())
        return Cell(value, text, shown)

    def _shown(self) -> Style:
        styles = self._book.styles
        return styles[self._style] if 0 <= self._style < len(styles) else _PLAIN

    def _typed(self, raw: str, shown: str) -> CellValue:
        kind = self._type
        if kind == "s":
            return self._shared_text(raw)
        if kind == "b":
            return raw.strip() == "1"
        if kind == "d":
            return datetime.fromisoformat(raw.strip().removesuffix("Z"))
        if kind != "n":
            return raw
        return self._number_value(raw, shown)

    def _shared_text(self, raw: str) -> str:
        index = int(raw)
        if not 0 <= index < len(self._book.texts):
            raise damaged(self._where())
        return self._book.texts[index]

    def _number_value(self, raw: str, shown: str) -> CellValue:
        number = float(raw)
        if is_date_format(shown):
            try:
                from_serial: CellValue = from_excel(number, MAC_EPOCH if self._book.mac_epoch else WINDOWS_EPOCH)
            except (ValueError, OverflowError):
                return number  # a date before or after every calendar: the number as it stands
            return from_serial
        return int(number) if number.is_integer() and abs(number) < 1e15 else number

    def _end_row(self) -> None:
        if self._cells:
            self._book.tally.row(len(self._cells))
            struck = self._struck == self._filled
            self.rows.append(SheetRow(self._number, tuple(self._cells), (), self._hidden, struck))
            if self._colored:
                self.colored.append(self._number)
