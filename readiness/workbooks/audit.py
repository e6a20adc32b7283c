"""A workbook for an auditor: many sheets of plain values, each with totals by formula, and charts.

Rows are taken one by one and written to disk at once (openpyxl's write-only mode), so that a hundred thousand movements
need no more memory than a hundred. Numbers are kept as exact as they are and rounded in show only, dates are dates, and
text is text whatever it begins with.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, BinaryIO, Final, Literal, NamedTuple, cast

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.chart import BarChart, Reference
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter

from readiness.workbooks.template import put_text

Kind = Literal["text", "whole", "number", "money", "day", "moment"]
Value = str | int | float | Decimal | date | datetime | None

FORMATS: Final[dict[str, str]] = {
    "whole": "#,##0",
    "number": "#,##0.00",
    "money": "#,##0.00",
    "day": "yyyy-mm-dd",
    "moment": "yyyy-mm-dd hh:mm",
}
MOST_ROWS: Final = 1_048_570  # a sheet has 1,048,576 rows; the head, the totals and some air are ours
_NARROWEST, _WIDEST = 9, 60
_MOST_TEXT: Final = 32_000  # a cell holds 32,767 characters
_PLAIN: Final = re.compile(r"[A-Za-z0-9“][\x20-\x7e–−’“”×·→]{0,200}")  # words that nothing takes for anything else
_BOLD: Final = Font(bold=True)
_HEAD: Final = PatternFill("solid", fgColor="E7ECEA")
_WRAPPED: Final = Alignment(wrap_text=True, vertical="top")


class Column(NamedTuple):
    """A column: its heading, its unit (in brackets behind it), what its cells are, whether it has a total."""

    title: str
    kind: Kind = "text"
    unit: str = ""
    total: bool = False
    width: int = 0  # 0: by the heading

    @property
    def heading(self) -> str:
        """With the unit."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


class Sheet(NamedTuple):
    """A sheet: its title, what it says in a sentence, its columns, and its rows, taken once."""

    title: str
    about: str
    columns: tuple[Column, ...]
    rows: Iterable[Sequence[Value]]


class Chart(NamedTuple):
    """Bars over a sheet's rows: which column names them, and which are drawn (numbers from 0)."""

    title: str
    sheet: str
    names: int
    values: tuple[int, ...]
    axis: str
    stacked: bool = False


class Written(NamedTuple):
    """How many rows each sheet has."""

    rows: dict[str, int]


def write_audit(
    file: BinaryIO, facts: Sequence[tuple[str, str]], sheets: Iterable[Sheet], charts: Sequence[Chart]
) -> Written:
    """Write the workbook: first a sheet about it with the charts, then the sheets in order.

    facts: name and words for the first sheet (department, as of, made by). Raises TypeError for a value that is no
    number, day or text.
    """
    book = Workbook(write_only=True)
    try:
        return _write_book(book, file, facts, sheets, charts)
    except BaseException:
        _discard(book)
        raise


def _discard(book: Workbook) -> None:
    """Close and remove what was begun on disk for each sheet."""
    for worksheet in book.worksheets:
        worksheet.close()
        cast(Any, worksheet)._writer.cleanup()


def _write_book(
    book: Workbook, file: BinaryIO, facts: Sequence[tuple[str, str]], sheets: Iterable[Sheet], charts: Sequence[Chart]
) -> Written:
    about: Any = book.create_sheet("About")
    about.column_dimensions["A"].width = 22
    about.column_dimensions["B"].width = 84
    counts: dict[str, int] = {}
    said: dict[str, str] = {}
    for sheet in sheets:
        said[sheet.title] = sheet.about
        counts[sheet.title] = _write_sheet(book, sheet)
    _write_about(about, facts, said, counts)
    for number, chart in enumerate(charts):
        if counts.get(chart.sheet):
            _draw(book, about, chart, counts[chart.sheet], number, len(facts) + len(counts) + 4)
    book.save(file)
    return Written(counts)


# -- one sheet ---------------------------------------------------------------------------------------------------------


def _write_sheet(book: Workbook, sheet: Sheet) -> int:
    """All rows, on further sheets of the same name where one does not hold them; gives how many there are."""
    rows = iter(sheet.rows)
    every, part = 0, 1
    while True:
        title = sheet.title if part == 1 else f"{sheet.title} {part}"
        written = _write_part(book, title, sheet.columns, rows)
        every, part = every + written, part + 1
        if written < MOST_ROWS:
            return every


def _write_part(book: Workbook, title: str, columns: tuple[Column, ...], rows: Iterable[Sequence[Value]]) -> int:
    worksheet = book.create_sheet(title)
    worksheet.freeze_panes = "B2"
    for number, column in enumerate(columns, start=1):
        worksheet.column_dimensions[get_column_letter(number)].width = _width(column)
    worksheet.append([_head(worksheet, column) for column in columns])
    written = 0
    for row in rows:
        worksheet.append([_cell(worksheet, column, value) for column, value in zip(columns, row, strict=True)])
        written += 1
        if written == MOST_ROWS:
            break
    worksheet.auto_filter.ref = f"A1:{get_column_letter(len(columns))}{written + 1}"
    if written and any(column.total for column in columns):
        worksheet.append([_total(worksheet, column, number, written) for number, column in enumerate(columns, start=1)])
    return written


def _width(column: Column) -> int:
    least = {"day": 12, "moment": 17}.get(column.kind, _NARROWEST)
    return column.width or min(max(len(column.heading) + 2, least), _WIDEST)


def _head(worksheet: Any, column: Column) -> Any:
    cell = WriteOnlyCell(worksheet)
    put_text(cell, column.heading)
    cell.font, cell.fill, cell.alignment = _BOLD, _HEAD, _WRAPPED
    return cell


def _cell(worksheet: Any, column: Column, value: Value) -> Any:
    if value is None or value == "":
        return None
    if isinstance(value, str) and _PLAIN.fullmatch(value):
        return value  # the library makes the same cell of it, sooner
    cell = WriteOnlyCell(worksheet)
    if isinstance(value, str):
        put_text(cell, value[:_MOST_TEXT])
        return cell
    if not isinstance(value, int | float | Decimal | date) or isinstance(value, bool):
        raise TypeError(f"{value!r} of {type(value).__name__} is no number, day or text for a workbook")
    cell.value = value
    cell.number_format = FORMATS[column.kind]
    return cell


def _total(worksheet: Any, column: Column, number: int, rows: int) -> Any:
    """What the rows that the filter leaves come to, by formula; the first cell says so."""
    if not column.total:
        return _bold(worksheet, "Total of the rows shown") if number == 1 else None
    letter = get_column_letter(number)
    cell = WriteOnlyCell(worksheet, value=f"=SUBTOTAL(109,{letter}2:{letter}{rows + 1})")
    cell.number_format = FORMATS[column.kind]
    cell.font = _BOLD
    return cell


def _bold(worksheet: Any, text: str) -> Any:
    cell = WriteOnlyCell(worksheet)
    put_text(cell, text)
    cell.font = _BOLD
    return cell


# -- the first sheet ---------------------------------------------------------------------------------------------------


def _write_about(
    worksheet: Any, facts: Sequence[tuple[str, str]], said: dict[str, str], counts: dict[str, int]
) -> None:
    for name, words in facts:
        worksheet.append([_bold(worksheet, name), _cell(worksheet, Column(name), words)])
    worksheet.append([])
    worksheet.append([_bold(worksheet, "Sheet"), _bold(worksheet, "What it holds"), _bold(worksheet, "Rows")])
    for title, words in said.items():
        worksheet.append(
            [_cell(worksheet, Column(title), text) for text in (title, words)]
            + [_cell(worksheet, Column("Rows", "whole"), counts[title])]
        )


def _draw(book: Workbook, worksheet: Any, chart: Chart, rows: int, number: int, below: int) -> None:
    """A bar chart over the rows of a sheet, below the list of sheets."""
    source = book[chart.sheet]
    drawn = BarChart()
    drawn.type, drawn.title, drawn.y_axis.title = "col", chart.title, chart.axis
    drawn.width, drawn.height = 24, 10
    drawn.x_axis.delete = drawn.y_axis.delete = False  # else some programs draw no axis
    if chart.stacked:
        drawn.grouping, drawn.overlap = "stacked", 100
    last = min(rows, MOST_ROWS) + 1
    for column in chart.values:
        values = Reference(source, min_col=column + 1, min_row=1, max_row=last)
        drawn.add_data(values, titles_from_data=True)
    drawn.set_categories(Reference(source, min_col=chart.names + 1, min_row=2, max_row=last))
    worksheet.add_chart(drawn, f"A{below + number * 22}")
