"""A CSV file to one sheet: encoding and delimiter found, and said where they had to be guessed."""

import csv
import io
import re
from collections import Counter
from typing import Final

from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.handed_over.bounds import LONGEST_CELL, MOST_COLUMNS, Tally, too_long, too_wide
from readiness.workbooks.handed_over.records import Cell, Opened, SheetRow, SheetRows

_BOMS: Final = (
    (b"\xef\xbb\xbf", "utf-8", "UTF-8"),
    (b"\xff\xfe\x00\x00", "", ""),  # UTF-32, which nobody exports
    (b"\xff\xfe", "utf-16-le", "UTF-16"),
    (b"\xfe\xff", "utf-16-be", "UTF-16"),
)
_DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_SAMPLE: Final = 200_000  # characters the delimiter is found by
_SAMPLE_ROWS: Final = 300
_MOST_LINES_IN_A_CELL: Final = 40  # more is a quotation mark that was never closed
_CONTROL: Final = re.compile(r"[\x00-\x08\x0e-\x1f]")
_SEP: Final = re.compile(r"sep=(.)\r?\n", re.IGNORECASE)
_SAVE: Final = "save the sheet again as an Excel workbook (.xlsx), or as CSV in UTF-8"


def read_text(data: bytes, *, title: str) -> Opened:
    """The one sheet of a CSV file. Raises ``NotAWorkbook``."""
    text, encoding, guessed = _decoded(data)
    _refuse_binary(text)
    said = _SEP.match(text)
    delimiter = said[1] if said and said[1] in _DELIMITERS else _delimiter(text)
    rows = _rows(text, delimiter)
    notes = _notes(rows, said is not None, encoding if guessed else "")
    width = max((len(row.cells) for row in rows), default=0)
    words = f"{_DELIMITERS[delimiter]}-separated text, {encoding}"
    return Opened("csv", words, (SheetRows(title, tuple(rows), width, False, tuple(notes)),))


def _decoded(data: bytes) -> tuple[str, str, bool]:
    """(text, encoding in words, whether it had to be guessed)."""
    for mark, codec, words in _BOMS:
        if data.startswith(mark):
            return _as(data[len(mark) :], codec, words), words, False
    codec = _wide(data)
    if codec:
        return _as(data, codec, "UTF-16"), "UTF-16 without its mark", True
    try:
        return data.decode("utf-8"), "UTF-8", False
    except UnicodeDecodeError:
        return _as(data, "cp1252", "Windows-1252"), "Windows-1252", True


def _as(data: bytes, codec: str, words: str) -> str:
    try:
        return data.decode(codec) if codec else ""
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise NotAWorkbook(
            f"A text file in an unknown encoding was read (line {line:,} holds what is neither UTF-8 nor {words}): "
            f"{_SAVE}."
        ) from None


def _wide(data: bytes) -> str:
    """UTF-16 without its mark shows as a zero in nearly every second byte."""
    start = data[:2_000]
    half = max(len(start) // 2, 1)
    if len(data) % 2 == 0 and start[1::2].count(0) > 0.7 * half and start[::2].count(0) == 0:
        return "utf-16-le"
    if len(data) % 2 == 0 and start[::2].count(0) > 0.7 * half and start[1::2].count(0) == 0:
        return "utf-16-be"
    return ""


def _refuse_binary(text: str) -> None:
    if not text.strip("\ufeff \t\r\n,;|"):
        raise NotAWorkbook(f"A file without a single entry was read: {_SAVE} and send that.")
    found = _CONTROL.search(text)
    if found is not None:
        line = text.count("\n", 0, found.start()) + 1
        raise NotAWorkbook(
            f"A file that is no workbook and no text was read (line {line:,} holds the control character "
            f"{ord(found[0])}): {_SAVE}."
        )


def _delimiter(text: str) -> str:
    """The one that parts most lines of the start into the same number of cells, two at least."""
    scores = {mark: _score(text[:_SAMPLE], mark) for mark in _DELIMITERS}
    best = max(scores, key=lambda mark: scores[mark])
    if scores[best] == 0:
        raise NotAWorkbook(
            "A text file with a single column was read: part the columns with commas, semicolons, tabs or bars, or "
            "send the workbook itself (.xlsx)."
        )
    return best


def _score(sample: str, delimiter: str) -> int:
    """Lines with the commonest width × that width; 0 where nothing is parted."""
    widths: Counter[int] = Counter()
    try:
        for number, fields in enumerate(csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter)):
            widths[len(fields)] += 1
            if number == _SAMPLE_ROWS:
                break
    except csv.Error:
        pass  # a cell longer than the library's limit, perhaps only because this is the wrong delimiter
    parted = {width: lines for width, lines in widths.items() if width > 1}
    return max((lines * min(width, 30) for width, lines in parted.items()), default=0)


def _rows(text: str, delimiter: str) -> list[SheetRow]:
    tally, rows, known = Tally(), list[SheetRow](), dict[str, Cell | None]()
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        line = 1
        for number, fields in enumerate(reader, start=1):
            if any(fields):
                cells = _cells(fields, known, number, line, tally)
                if cells:
                    tally.row(len(cells))
                    rows.append(SheetRow(number, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise NotAWorkbook(_broken(str(error), line)) from None
    return rows


def _broken(why: str, line: int) -> str:
    if "field larger" in why:
        return too_long(f"line {line:,}").sentence
    return (
        f"A CSV file with a stray quotation mark was read (the row that begins in line {line:,} never ends properly): "
        f"close or delete the mark, or {_SAVE}."
    )


def _cells(
    fields: list[str], known: dict[str, Cell | None], number: int, line: int, tally: Tally
) -> tuple[Cell | None, ...]:
    cells: list[Cell | None] = []
    for index, words in enumerate(fields):
        cell = known.get(words)
        if cell is None and words not in known:
            cell = known[words] = _cell(words, line, tally)
        if cell is not None and index >= MOST_COLUMNS:
            raise too_wide(f"row {number:,}")
        if cell is not None or index < MOST_COLUMNS:
            cells.append(cell)
    while cells and cells[-1] is None:
        cells.pop()
    return tuple(cells)


def _cell(words: str, line: int, tally: Tally) -> Cell | None:
    text = " ".join(words.split())
    if len(words) > LONGEST_CELL or words.count("\n") > _MOST_LINES_IN_A_CELL:
        raise NotAWorkbook(_broken("", line)) if "\n" in words else too_long(f"line {line:,}")
    tally.text(text, f"line {line:,}")
    return Cell(text, text) if text else None


def _notes(rows: list[SheetRow], says_separator: bool, guessed: str) -> list[str]:
    notes = ["The first line says which mark parts the columns; it is no stock."] if says_separator else []
    if guessed:
        notes.append(
            f"The file does not say its encoding: {guessed} is taken{_first_accent(rows)}; "
            "look at letters with accents."
        )
    return notes


def _first_accent(rows: list[SheetRow]) -> str:
    """The first cell in which another encoding would show."""
    for row in rows:
        for cell in row.cells:
            if cell is not None and not cell.text.isascii():
                return f" (row {row.number:,}: “{cell.text[:40]}”)"
    return ""
