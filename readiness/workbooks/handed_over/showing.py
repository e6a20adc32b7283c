"""A cell's value as a person reads it in the sheet, near enough to find it again on the paper."""

import re
from datetime import date, datetime, time, timedelta
from typing import Final

from readiness.workbooks.handed_over.records import CellValue

_QUOTED: Final = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')
_MOST_DIGITS: Final = 9


def shown_parts(number_format: str) -> frozenset[str]:
    """Which of y, m, d and h a date's number format shows."""
    plain = _QUOTED.sub("", number_format).casefold()
    return frozenset(part for part in "ymdh" if part in plain)


def cell_text(value: CellValue, number_format: str) -> str:
    """The words of a cell, with single spaces; "" where nothing can be seen."""
    if isinstance(value, str):
        return " ".join(value.split())
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, date):
        return _date_text(value, number_format)
    if isinstance(value, time | timedelta):
        return str(value)
    return _number_text(value, number_format)


def _date_text(value: date, number_format: str) -> str:
    """To the part that is shown: a cell that shows Mar-28 for the first of March 2028 says a month."""
    parts = shown_parts(number_format)
    if isinstance(value, datetime) and value.time() != time(0):
        return f"{value:%Y-%m-%d %H:%M}"
    if "y" not in parts and parts:
        return f"{value.day} {value:%b}"
    if "d" in parts or not parts:
        return f"{value:%Y-%m-%d}"
    return f"{value:%b %Y}" if "m" in parts else f"{value:%Y}"


def _number_text(value: float, number_format: str) -> str:
    if "%" in _QUOTED.sub("", number_format):
        return f"{_plain(value * 100)}%"
    return _plain(value)


def _plain(value: float) -> str:
    rounded = round(value, _MOST_DIGITS) if isinstance(value, float) else value
    return str(int(rounded)) if isinstance(rounded, float) and rounded.is_integer() else str(rounded)
