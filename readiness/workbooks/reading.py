"""A department's workbook to rows of typed values, with every fault in it named at once.

1. ``guard`` refuses what is no workbook, or none that is safely opened.
2. Each sheet is found by its title, each column by its heading; the order of both is free.
3. Every filled cell is read to the type of its column; what cannot be read is a fault, and reading goes on.
4. Then the rules between cells and rows are applied.
Nothing is looked up in a database here: whoever stores the rows adds faults of its own by ``row.fault``.
"""

import io
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, NamedTuple

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from readiness.engineering.units import UnitError, unit_named
from readiness.workbooks.cells import EMPTY, CellError, Parsing, RawCell, cell_value
from readiness.workbooks.columns import Column, Kind, Sheet, Units
from readiness.workbooks.guard import NotAWorkbook, check_file
from readiness.workbooks.rows import Fault, Reading, Row, Spot, quoted
from readiness.workbooks.rules import faults_between, folded
from readiness.workbooks.sheets import EXAMPLE_MARK, INSTRUCTIONS_TITLE, MOST_EMPTY_ROWS, MOST_ROWS, SHEETS

__all__ = ["NotAWorkbook", "Reading", "read_workbook"]

_BRACKET: Final = re.compile(r"\[([^\]]*)\]")
_SAVE_AGAIN: Final = "open it in the spreadsheet program and save it again as an Excel workbook (.xlsx)"
_KEPT_ANSWERS: Final = 5_000  # values of one column remembered, since most columns repeat a few
_EXAMPLE: Final = EXAMPLE_MARK.casefold()

_RARELY_TWICE: Final = frozenset({Kind.CODE, Kind.TEXT})  # nothing to gain from remembering
_READ_BY_FORMAT: Final = frozenset({Kind.PERCENT, Kind.PERCENTS, Kind.DAY, Kind.DATED})

# A row as the library gives it: cells with value, data_type and number_format.
Cells = Sequence[Any]


class _Place(NamedTuple):
    """One column of the sheet that was read: where it stands and how its cells are read."""

    at: int
    column: Column
    read: Callable[[Any], Any]


@dataclass(slots=True)
class _Found:
    """What has been read so far."""

    units: Units
    today: date
    rows: dict[str, list[Row]] = field(default_factory=lambda: {sheet.key: [] for sheet in SHEETS})
    faults: list[Fault] = field(default_factory=list)
    skipped_examples: int = 0


def read_workbook(data: bytes, *, units: Units, today: date) -> Reading:
    """The rows and the faults of a workbook file.

    units: of the department, for headings and sentences; today: the department's day, after which nothing that has
    happened may lie. Raises ``NotAWorkbook`` with its sentence when the file cannot be read as a workbook at all.
    """
    check_file(data)
    found = _Found(units, today)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns about what it leaves out, such as drop-down lists
        _read_sheets(data, found)
    found.faults.extend(faults_between(found.rows, units))
    order = {sheet.title: number for number, sheet in enumerate(SHEETS)}
    found.faults.sort(key=lambda fault: (order.get(fault.sheet, -1), fault.row))
    return Reading(found.rows, found.faults, found.skipped_examples)


def _read_sheets(data: bytes, found: _Found) -> None:
    try:
        book = load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
        try:
            for worksheet in book.worksheets:
                _read_titled(worksheet.title, worksheet, found)
        finally:
            book.close()
    except NotAWorkbook:
        raise
    except Exception as error:
        raise NotAWorkbook(
            f"A workbook that is damaged inside was read ({type(error).__name__}): {_SAVE_AGAIN}."
        ) from error


def _read_titled(title: str, worksheet: Any, found: _Found) -> None:
    sheets = {folded(sheet.title): sheet for sheet in SHEETS} | {folded(sheet.key): sheet for sheet in SHEETS}
    sheet = sheets.get(folded(title))
    if sheet is not None:
        _read_sheet(sheet, worksheet, found)
    elif folded(title) != folded(INSTRUCTIONS_TITLE):
        titles = ", ".join(each.title for each in SHEETS)
        right = f"the sheets of a workbook are {titles}; rename or delete it"
        found.faults.append(Fault(title, 0, "", "", f"a sheet named {quoted(title)}", right))


def _numbered(sheet: Sheet, worksheet: Any, found: _Found) -> Iterator[tuple[int, Cells]]:
    """Rows with something in them. The size that the file claims for a sheet is not believed.

    The library keeps a little of every row it passes, so a long stretch of empty rows ends the reading, with a fault.
    """
    worksheet.reset_dimensions()
    last_filled = 0
    for number, cells in enumerate(worksheet.iter_rows(), start=1):
        for cell in cells:
            if cell.value is not None:
                last_filled = number
                yield number, cells
                break
        if number - last_filled > MOST_EMPTY_ROWS:
            right = f"delete the rows below row {last_filled:,}, so that the sheet ends with its last entry"
            read = f"a stretch of more than {MOST_EMPTY_ROWS:,} empty rows"
            found.faults.append(Fault(sheet.title, number, "", "", read, right))
            break


def _read_sheet(sheet: Sheet, worksheet: Any, found: _Found) -> None:
    numbered = _numbered(sheet, worksheet, found)
    heading_row = next(numbered, None)
    if heading_row is None:
        return
    places, spots = _read_headings(sheet, *heading_row, found)
    strays: set[int] = set()
    known = {place.at for place in places} | {index for index, text in _texts(heading_row[1]) if text}
    empty = {column.key: EMPTY[column.kind] for column in sheet.columns}
    rows = found.rows[sheet.key]
    for number, cells in numbered:
        if _is_example(cells):
            found.skipped_examples += 1
        elif not _is_blank(cells):
            if len(rows) == MOST_ROWS:
                found.faults.append(_too_many(sheet, number))
                break
            if len(cells) > len(known):
                _note_strays(sheet, number, cells, known, strays, found)
            rows.append(_read_row(Row(sheet, number, spots, dict(empty)), places, cells, found))


def _too_many(sheet: Sheet, number: int) -> Fault:
    right = f"a sheet here holds at most {MOST_ROWS:,}; divide the workbook"
    return Fault(sheet.title, number, "", "", f"more than {MOST_ROWS:,} rows", right)


def _texts(cells: Cells) -> Iterator[tuple[int, str]]:
    for index, cell in enumerate(cells):
        yield index, "" if cell.value is None else " ".join(str(cell.value).split())


def _is_example(cells: Cells) -> bool:
    first = next((cell.value for cell in cells if cell.value is not None), None)
    return isinstance(first, str) and first.lstrip().casefold().startswith(_EXAMPLE)


def _is_blank(cells: Cells) -> bool:
    return all(cell.value is None or (isinstance(cell.value, str) and not cell.value.strip()) for cell in cells)


def _note_strays(sheet: Sheet, number: int, cells: Cells, known: set[int], strays: set[int], found: _Found) -> None:
    """A value under no heading would be lost without a word; each such column is named once."""
    for index, text in _texts(cells):
        if text and index not in known and index not in strays:
            strays.add(index)
            letter = get_column_letter(index + 1)
            right = "this column has no heading; give it one of the template's, or delete it"
            found.faults.append(Fault(sheet.title, number, letter, "no heading", quoted(text), right))


def _plain_heading(text: str) -> str:
    return folded(_BRACKET.sub("", text).replace("*", "").replace("_", " "))


def _read_headings(sheet: Sheet, number: int, cells: Cells, found: _Found) -> tuple[list[_Place], dict[str, Spot]]:
    """Which column of the sheet stands where."""
    by_title = {_plain_heading(column.title): column for column in sheet.columns}
    by_key = {_plain_heading(column.key): column for column in sheet.columns}
    places: list[_Place] = []
    spots: dict[str, Spot] = {}
    for index, text in _texts(cells):
        if not text:
            continue
        letter = get_column_letter(index + 1)
        column = by_title.get(_plain_heading(text)) or by_key.get(_plain_heading(text))
        wrong = _wrong_heading(sheet, column, spots)
        if column is None or wrong:
            found.faults.append(Fault(sheet.title, number, letter, text, f"the heading {quoted(text)}", wrong))
            continue
        spots[column.key] = Spot(letter, text.rstrip(" *"))
        parsing = _parsing(column, text, found, Fault(sheet.title, number, letter, text, "", ""))
        places.append(_Place(index, column, _reader(parsing)))
    _note_missing(sheet, number, spots, found)
    return places, spots


def _wrong_heading(sheet: Sheet, column: Column | None, spots: dict[str, Spot]) -> str:
    if column is None:
        return f"the headings of this sheet are {', '.join(each.title for each in sheet.columns)}"
    if column.key in spots:
        return f"column {spots[column.key].letter} has the same heading; each stands once"
    return ""


def _note_missing(sheet: Sheet, number: int, spots: dict[str, Spot], found: _Found) -> None:
    for column in sheet.columns:
        if column.required and column.key not in spots:
            right = "this column is needed; take the headings from the template"
            found.faults.append(
                Fault(sheet.title, number, "", column.title, f"no column {quoted(column.title)}", right)
            )


def _parsing(column: Column, heading: str, found: _Found, at: Fault) -> Parsing:
    """How cells under this heading are read: its unit in brackets counts, not the department's preference."""
    bracket = _BRACKET.search(heading)
    said = bracket[1].strip() if bracket else ""
    unit, wrong = _heading_unit(column, said, found.units)
    if wrong:
        found.faults.append(at._replace(read=f"the unit {quoted(said)}", right=wrong))
    return Parsing(column, unit, found.units, found.today)


def _heading_unit(column: Column, said: str, units: Units) -> tuple[str | None, str]:
    """The unit that bare numbers have, and what is wrong with the heading if anything is."""
    dimension = "volume" if column.kind is Kind.PRICE else column.dimension.name if column.dimension else ""
    expected = column.unit(units)
    spelling = said.casefold().removeprefix("per ").strip() if column.kind is Kind.PRICE else said
    if not said:
        return None, ""
    if not dimension:
        same = folded(said) == folded(expected)
        return None, "" if same else (f"{expected} belongs here" if expected else "this column has no unit")
    try:
        unit = unit_named(spelling)
    except UnitError:
        return expected.removeprefix("per "), f"{expected} belongs here"
    if unit.dimension != dimension:
        return expected.removeprefix("per "), f"{expected} belongs here"
    return unit.symbol, ""


def _reader(parsing: Parsing) -> Callable[[Any], Any]:
    """A function from a library cell to a value, which remembers what it has worked out."""
    kind = parsing.column.kind
    if kind in _RARELY_TWICE:
        return lambda cell: cell_value(RawCell(cell.value, cell.data_type, ""), parsing)
    answers: dict[RawCell, Any] = {}
    by_format = kind in _READ_BY_FORMAT

    def read(cell: Any) -> Any:
        raw = RawCell(cell.value, cell.data_type, cell.number_format if by_format else "")
        if raw in answers:
            return answers[raw]
        value = cell_value(raw, parsing)
        if len(answers) < _KEPT_ANSWERS:
            answers[raw] = value
        return value

    return read


def _read_row(row: Row, places: Sequence[_Place], cells: Cells, found: _Found) -> Row:
    width = len(cells)
    for index, column, read in places:
        cell = cells[index] if index < width else None
        if cell is None or cell.value is None or cell.value == "":
            if column.required:
                _note_empty(row, column, found)
            continue
        try:
            row.values[column.key] = read(cell)
        except CellError as error:
            row.bad.add(column.key)
            found.faults.append(row.fault(column.key, error.read, error.right))
    return row


def _note_empty(row: Row, column: Column, found: _Found) -> None:
    row.bad.add(column.key)
    found.faults.append(
        row.fault(column.key, "nothing", f"each row needs this; {column.help[:1].lower()}{column.help[1:]}")
    )
