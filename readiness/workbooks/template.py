"""The workbook that a department fills in, and the same workbook filled from text rows."""

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from readiness.workbooks.columns import Column, Kind, Sheet, Units
from readiness.workbooks.sheets import BY_KEY, EXAMPLE_MARK, INSTRUCTIONS_TITLE, SHEETS

_LAST_LISTED_ROW: Final = 5_000  # drop-down lists reach this far down
_NARROWEST: Final = 12
_WIDEST: Final = 34
_BOLD: Final = Font(bold=True)
_NEEDED: Final = PatternFill("solid", fgColor="FFE7C2")
_FREE: Final = PatternFill("solid", fgColor="E6EDF3")
_EXAMPLE_FONT: Final = Font(italic=True, color="666666")
_TOP: Final = Alignment(wrap_text=True, vertical="top")
_ILLEGAL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_NUMBER: Final = re.compile(r"-?(?:0|[1-9][0-9]{0,14})(?:\.[0-9]{1,9})?")
_NUMERIC: Final = frozenset({Kind.QUANTITY, Kind.AREA, Kind.RATE, Kind.PERCENT, Kind.NUMBER, Kind.WHOLE, Kind.PRICE})
_RISKY: Final = ("=", "+", "-", "@", "\t", "\r")

_US_EXTRA: Final = "Gallons are US gallons; an imperial gallon is written “imp gal”."
_METRIC_EXTRA: Final = "Write US gal or imp gal, never gal alone: the two differ by a fifth."


def write_template(units: Units) -> bytes:
    """The empty workbook with instructions, drop-down lists and one example row on each sheet, as an .xlsx file."""
    book = _new_book(units)
    for sheet in SHEETS:
        worksheet = book[sheet.title]
        _write_example(worksheet, sheet, units)
    return _saved(book)


def write_rows(rows: Mapping[str, Sequence[Mapping[str, str]]], units: Units) -> bytes:
    """The workbook filled with text rows by sheet key and column key, without examples, as an .xlsx file.

    Raises ``KeyError`` for a sheet or a column that the workbook does not have.
    """
    book = _new_book(units)
    for key, of_sheet in rows.items():
        sheet = BY_KEY[key]
        for number, row in enumerate(of_sheet, start=2):
            _write_row(book[sheet.title], sheet, number, row)
    return _saved(book)


def put_text(cell: Cell, text: str) -> None:
    """Words into a cell as words: what begins with “=” is never a formula, neither now nor when it is edited."""
    cell.value = _ILLEGAL.sub("", text)
    cell.data_type = "s"
    if text.startswith(_RISKY):
        cell.quotePrefix = True


def _cell(worksheet: Worksheet, row: int, column: int) -> Cell:
    cell = worksheet.cell(row, column)
    if not isinstance(cell, Cell):
        raise TypeError(f"{cell.coordinate} is part of a merged cell")
    return cell


def _new_book(units: Units) -> Workbook:
    book = Workbook()
    front = book.active
    if not isinstance(front, Worksheet):
        raise TypeError("a new workbook has one sheet")
    _write_instructions(front, units)
    for sheet in SHEETS:
        _write_headings(book.create_sheet(sheet.title), sheet, units)
    return book


def _saved(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _instruction_lines(units: Units) -> Iterator[str]:
    yield "Your department's foam, rigs and plans, in one workbook."
    yield "Fill in the sheets from left to right. A sheet that you do not need yet may stay empty or be deleted."
    yield "Headings with a star and an orange ground must be filled in each row; the others may stay empty."
    yield f"Rows that begin with “{EXAMPLE_MARK}” show how it is meant. They are skipped; you may leave or delete them."
    yield "A number takes the unit in its heading. A cell may give its own unit, such as 19 L, 5 gal or 95 gpm."
    yield _US_EXTRA if units == "us" else _METRIC_EXTRA
    yield "Percentages are typed as 3 for 3 %. A pair of settings is written 3x6: a spreadsheet turns 3/6 into a date."
    yield "Dates are written 2028-07-30. Where a label says only a month or a year, write 2028-07 or 2028."
    yield "Type values, no formulas. Keep the sheet names and the headings; the order of the columns is free."
    yield "The workbook goes in whole or not at all. If something is wrong, every fault is named with its place."


def _write_instructions(worksheet: Worksheet, units: Units) -> None:
    worksheet.title = INSTRUCTIONS_TITLE
    worksheet.column_dimensions["A"].width = 34
    worksheet.column_dimensions["B"].width = 100
    number = 0
    for number, line in enumerate(_instruction_lines(units), start=1):
        put_text(_cell(worksheet, number, 1), line)
    worksheet["A1"].font = _BOLD
    for sheet in SHEETS:
        number += 2
        _write_pair(worksheet, number, sheet.title, sheet.help)
        _cell(worksheet, number, 1).font = _BOLD
        for column in sheet.columns:
            number += 1
            _write_pair(worksheet, number, column.heading(units), _help(column))


def _write_pair(worksheet: Worksheet, number: int, name: str, sentence: str) -> None:
    put_text(_cell(worksheet, number, 1), name)
    put_text(_cell(worksheet, number, 2), sentence)
    _cell(worksheet, number, 2).alignment = _TOP


def _help(column: Column) -> str:
    choices = f" One of: {', '.join(column.choices)}." if column.kind is Kind.CHOICE else ""
    return f"{column.help}{choices}"


def _write_headings(worksheet: Worksheet, sheet: Sheet, units: Units) -> None:
    for index, column in enumerate(sheet.columns, start=1):
        heading = column.heading(units)
        cell = _cell(worksheet, 1, index)
        put_text(cell, heading)
        cell.font = _BOLD
        cell.fill = _NEEDED if column.required else _FREE
        cell.alignment = _TOP
        cell.comment = Comment(_help(column), "Foam Readiness", height=110, width=260)
        letter = get_column_letter(index)
        if column.kind not in _NUMERIC | {Kind.DAY}:
            worksheet.column_dimensions[letter].number_format = "@"  # or 3-6 on a label becomes a date
        worksheet.column_dimensions[letter].width = min(max(len(heading) + 3, _NARROWEST), _WIDEST)
        _add_list(worksheet, letter, column)
    worksheet.freeze_panes = "B2"
    worksheet.auto_filter.ref = f"A1:{get_column_letter(len(sheet.columns))}1"


def _add_list(worksheet: Worksheet, letter: str, column: Column) -> None:
    """A drop-down list where the cell takes one of a few words, or the name of a row of another sheet."""
    source = _list_source(column)
    if source is None:
        return
    # Lists suggest and do not insist: an example row and a name that is entered later must both be possible.
    listed = DataValidation(type="list", formula1=source, allow_blank=True, showErrorMessage=False)
    listed.promptTitle = column.title[:32]
    listed.prompt = column.help[:255]
    listed.showInputMessage = True
    listed.add(f"{letter}2:{letter}{_LAST_LISTED_ROW}")
    worksheet.add_data_validation(listed)


def _list_source(column: Column) -> str | None:
    if column.choices:
        return f'"{",".join(column.choices)}"'
    if column.kind is not Kind.REFERENCE:
        return None
    target = BY_KEY[column.sheet]
    key = _NAMED_BY.get((column.key, column.sheet), target.columns[0].key)
    index = [each.key for each in target.columns].index(key) + 1
    letter = get_column_letter(index)
    return f"{quote_sheetname(target.title)}!${letter}$2:${letter}${_LAST_LISTED_ROW}"


# Where a reference is listed from another column than the first of its sheet.
_NAMED_BY: Final = {("lot", "lots"): "batch"}


def _write_example(worksheet: Worksheet, sheet: Sheet, units: Units) -> None:
    for index, column in enumerate(sheet.columns, start=1):
        text = column.example_in(units)
        cell = _cell(worksheet, 2, index)
        if index == 1:
            put_text(cell, f"{EXAMPLE_MARK} {text}".strip())
        elif text:
            _put(cell, column, text)
        cell.font = _EXAMPLE_FONT


def _put(cell: Cell, column: Column, text: str) -> None:
    """A number as a number where the column counts, all else as words: dates too, so that nothing turns them."""
    if column.kind in _NUMERIC and _NUMBER.fullmatch(text):
        cell.value = float(text) if "." in text else int(text)
    else:
        put_text(cell, text)
        cell.number_format = "@"


def _write_row(worksheet: Worksheet, sheet: Sheet, number: int, row: Mapping[str, str]) -> None:
    indexes = {column.key: index for index, column in enumerate(sheet.columns, start=1)}
    for key, text in row.items():
        index = indexes[key]
        if text:
            _put(_cell(worksheet, number, index), sheet.columns[index - 1], text)
