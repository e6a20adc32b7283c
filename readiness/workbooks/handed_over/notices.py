"""What a sheet holds beside its cells, in sentences: nothing of it may be lost without a word."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from openpyxl.utils.cell import get_column_letter

from readiness.workbooks.handed_over.bounds import LAST_COLUMN
from readiness.workbooks.handed_over.records import SheetRow
from readiness.workbooks.rows import quoted

_NAMED: Final = 10  # of one sort; the others are counted


class Beside(NamedTuple):
    """What the file says of a sheet that stands in no cell."""

    merged: Sequence[str]
    hidden_columns: Sequence[tuple[int, int]]
    colored: Sequence[int]  # rows with a color behind a filled cell
    sheet_hidden: bool


def notices(rows: Sequence[SheetRow], beside: Beside) -> tuple[str, ...]:
    """Sentences about a worksheet: hidden, merged, struck, colored, formulas, comments."""
    found = ["This sheet is hidden in the workbook."] if beside.sheet_hidden else []
    found += _named([f"Cells {each} are merged." for each in beside.merged], "merged")
    found += _hidden(rows, beside.hidden_columns)
    struck = [row.number for row in rows if row.struck]
    if struck:
        found.append(f"Struck through in the sheet: {_rows(struck)}.")
    if beside.colored:
        found.append(f"A color lies behind cells of {_rows(beside.colored)}. What a color means cannot be read.")
    found += _named(_formulas(rows), "formula")
    found += _named(_comments(rows), "comment")
    return tuple(found)


def _rows(numbers: Sequence[int]) -> str:
    listed = ", ".join(f"{number:,}" for number in numbers[:_NAMED])
    more = f" and {len(numbers) - _NAMED:,} more" if len(numbers) > _NAMED else ""
    return f"row {listed}{more}" if len(numbers) == 1 else f"rows {listed}{more}"


def _named(sentences: Sequence[str], what: str) -> list[str]:
    """The first ones, and how many more there are."""
    more = len(sentences) - _NAMED
    return [*sentences[:_NAMED], *([f"There are {more:,} more of this sort ({what})."] if more > 0 else [])]


def _hidden(rows: Sequence[SheetRow], hidden_columns: Sequence[tuple[int, int]]) -> list[str]:
    found = []
    for first, last in hidden_columns[:_NAMED]:
        if not 1 <= first <= last:
            continue
        letters = [get_column_letter(min(each, LAST_COLUMN)) for each in (first, last)]
        span = letters[0] if first == last else f"{letters[0]} to {letters[1]}"
        found.append(f"Column {span} is hidden in the sheet and is read like the others.")
    numbers = [row.number for row in rows if row.hidden]
    if numbers:
        found.append(f"Hidden in the sheet and read like the others: {_rows(numbers)}.")
    return found


def _formulas(rows: Sequence[SheetRow]) -> list[str]:
    found = []
    for row in rows:
        for column, cell in enumerate(row.cells):
            if cell is not None and cell.formula:
                value = "no value is stored with it" if cell.value is None else f"its stored value {cell.text} is read"
                place = f"{get_column_letter(column + 1)}{row.number}"
                found.append(f"Cell {place} holds the formula {quoted(cell.formula)}: {value}.")
    return found


def _comments(rows: Sequence[SheetRow]) -> list[str]:
    return [
        f"A comment is pinned to cell {get_column_letter(column + 1)}{row.number}: {quoted(words)}."
        for row in rows
        for column, words in row.comments
    ]
