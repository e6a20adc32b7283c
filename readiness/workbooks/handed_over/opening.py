"""Any workbook (.xlsx) or CSV file to sheets of filled rows, or the one sentence why not."""

import struct
import zipfile
from typing import Final

from readiness.workbooks.guard import MOST_BYTES, NotAWorkbook, check_file
from readiness.workbooks.handed_over.plain_text import read_text
from readiness.workbooks.handed_over.records import Opened
from readiness.workbooks.handed_over.xlsx import read_sheets
from readiness.workbooks.handed_over.xml_parts import damaged

__all__ = ["NotAWorkbook", "open_sheets"]

# What other files begin with. Anything else that decodes as text is read as CSV.
_NO_TEXT: Final = (b"PK", b"\xd0\xcf\x11\xe0", b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"MZ", b"\x7fELF")
_NO_TEXT_EITHER: Final = (b"SQLite format 3", b"{\\rtf", b"\x1f\x8b", b"Rar!", b"7z\xbc\xaf", b"II*\x00", b"MM\x00*")


def open_sheets(data: bytes, *, name: str) -> Opened:
    """The sheets of a handed-over file. ``name`` titles the one sheet of a CSV file.

    Raises ``NotAWorkbook`` with a sentence that says what was read and what would be right.
    """
    if len(data) > MOST_BYTES or not data.strip() or data.startswith(_NO_TEXT) or _is_markup(data):
        check_file(data)
        opened = _workbook(data)
    elif data.startswith(_NO_TEXT_EITHER):
        raise NotAWorkbook(
            "A file that is no workbook was read: open it in the spreadsheet program and save it as an Excel workbook "
            "(.xlsx) or as CSV."
        )
    else:
        opened = read_text(data, title=_title(name))
    if not any(sheet.rows for sheet in opened.sheets):
        raise NotAWorkbook("A workbook without a single entry was read: send the one in which the stock stands.")
    return opened


def _workbook(data: bytes) -> Opened:
    try:
        return Opened("xlsx", "Excel workbook (.xlsx)", read_sheets(data))
    except (KeyError, ValueError, OverflowError, IndexError, struct.error, zipfile.BadZipFile) as error:
        if isinstance(error, NotAWorkbook):
            raise
        raise damaged(type(error).__name__) from None


def _is_markup(data: bytes) -> bool:
    """A web page saved under the name of a workbook."""
    start = data[:2_000].lstrip(b"\xef\xbb\xbf \r\n\t").lower()
    return start.startswith((b"<html", b"<!doctype", b"<?xml", b"<table", b"<meta", b"<head", b"<style"))


def _title(name: str) -> str:
    """A file's name without its folder and ending, as the title of its sheet."""
    plain = name.replace("\\", "/").rpartition("/")[2]
    stem = plain.rpartition(".")[0] or plain
    return " ".join(stem.split())[:100] or "sheet"
