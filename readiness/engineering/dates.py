"""Dates as labels give them: to the day, the month or the year, and good *through* their last day.

"Mar 2023" on a pail means good until the evening of 31 March 2023. One module compares such dates; all else asks it.
"""

import re
from calendar import monthrange
from datetime import date, datetime
from typing import Final, Literal, NamedTuple

Precision = Literal["day", "month", "year"]
DayOrder = Literal["dmy", "mdy"]

FIRST_YEAR: Final = 1950
LAST_YEAR: Final = 2150
_LAST_MONTH: Final = 12
_LONGEST_TEXT: Final = 40
_MONTHS: Final = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_YEAR: Final = re.compile(r"([0-9]{4})")
_ISO_MONTH: Final = re.compile(r"([0-9]{4})[-/]([0-9]{1,2})")
_ISO_DAY: Final = re.compile(r"([0-9]{4})[-/]([0-9]{1,2})[-/]([0-9]{1,2})(?:[ T]00:00(?::00)?)?")
_MONTH_YEAR: Final = re.compile(r"([0-9]{1,2})[-/.]([0-9]{4})")
_NUMBERS: Final = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4})")
_WORD_YEAR: Final = re.compile(r"([A-Za-z]{3,9})\.?[ -]+([0-9]{4})")
_DAY_WORD_YEAR: Final = re.compile(r"([0-9]{1,2})[ -]([A-Za-z]{3,9})\.?,?[ -]([0-9]{4})")
_WORD_DAY_YEAR: Final = re.compile(r"([A-Za-z]{3,9})\.? +([0-9]{1,2}),? +([0-9]{4})")
_WRITE: Final = "write it like 2028-07-30, or Jul 2028 or 2028 where the label says no more"


class DateError(ValueError):
    """Something that cannot be read as a date on a label. The message is the sentence."""


class GoodThrough(NamedTuple):
    """The last day something is good, and how exactly the label says so."""

    day: date
    precision: Precision

    def __str__(self) -> str:
        if self.precision == "day":
            return self.day.isoformat()
        return f"{self.day:%Y-%m}" if self.precision == "month" else f"{self.day:%Y}"


def last_day(day: date, precision: Precision) -> date:
    """The last day of the day, month or year that ``day`` lies in.

    >>> last_day(date(2024, 2, 5), "month")
    datetime.date(2024, 2, 29)
    """
    if precision == "year":
        return date(day.year, _LAST_MONTH, 31)
    if precision == "month":
        return day.replace(day=monthrange(day.year, day.month)[1])
    return day


def good_through(day: date, precision: Precision) -> GoodThrough:
    """A label's date, good through its last day."""
    return GoodThrough(last_day(day, precision), precision)


def _dated(year: int, month: int, day: int, precision: Precision, text: str) -> GoodThrough:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise DateError(f"“{text}” was read: a year from {FIRST_YEAR} to {LAST_YEAR} belongs here; {_WRITE}.")
    try:
        return good_through(date(year, month, day), precision)
    except ValueError:
        raise DateError(f"“{text}” was read, which is no day in the calendar: {_WRITE}.") from None


def _month_named(word: str, text: str) -> int:
    matches = [number for number, name in enumerate(_MONTHS, start=1) if name.startswith(word.casefold())]
    if len(matches) != 1:
        raise DateError(f"“{text}” was read and “{word}” is not a month: {_WRITE}.")
    return matches[0]


def _by_order(first: int, second: int, year: int, order: DayOrder | None, text: str) -> GoodThrough:
    if order is None:
        raise DateError(f"“{text}” was read, which may be day/month or month/day: {_WRITE}, or say which comes first.")
    day, month = (first, second) if order == "dmy" else (second, first)
    if month > _LAST_MONTH:
        meant = "day/month/year" if order == "dmy" else "month/day/year"
        raise DateError(f"“{text}” was read as {meant} and there is no month {month}: {_WRITE}.")
    return _dated(year, month, day, "day", text)


def _from_numbers(text: str, order: DayOrder | None) -> GoodThrough | None:
    if found := _YEAR.fullmatch(text):
        return _dated(int(found[1]), 1, 1, "year", text)
    if found := _ISO_MONTH.fullmatch(text):
        return _dated(int(found[1]), int(found[2]), 1, "month", text)
    if found := _MONTH_YEAR.fullmatch(text):
        return _dated(int(found[2]), int(found[1]), 1, "month", text)
    if found := _ISO_DAY.fullmatch(text):
        return _dated(int(found[1]), int(found[2]), int(found[3]), "day", text)
    if found := _NUMBERS.fullmatch(text):
        return _by_order(int(found[1]), int(found[2]), int(found[3]), order, text)
    return None


def _from_words(text: str) -> GoodThrough | None:
    if found := _WORD_YEAR.fullmatch(text):
        return _dated(int(found[2]), _month_named(found[1], text), 1, "month", text)
    if found := _DAY_WORD_YEAR.fullmatch(text):
        return _dated(int(found[3]), _month_named(found[2], text), int(found[1]), "day", text)
    if found := _WORD_DAY_YEAR.fullmatch(text):
        return _dated(int(found[3]), _month_named(found[1], text), int(found[2]), "day", text)
    return None


def _text(read: object) -> str:
    if read is None or (isinstance(read, str) and not read.strip()):
        raise DateError(f"Nothing was read: {_WRITE}.")
    if isinstance(read, int | float):
        return _year_text(read)
    text = " ".join(str(read).split())
    if len(text) > _LONGEST_TEXT:
        raise DateError(f"“{text[:_LONGEST_TEXT]}…” was read, which is too long for a date: {_WRITE}.")
    return text


def _year_text(read: float) -> str:
    """A cell that holds the number 2009 means the year; any other number is no date."""
    if isinstance(read, bool) or not FIRST_YEAR <= read <= LAST_YEAR or read != int(read):
        raise DateError(f"A number was read, which is not a year from {FIRST_YEAR} to {LAST_YEAR}: {_WRITE}.")
    return str(int(read))


def parse_good_through(read: object, *, order: DayOrder | None = None) -> GoodThrough:
    """The date a label, a form or a cell gives: a date, "2028-07-30", "2028-07", "3/2028", "Mar 2023", "30 Jul
    2028", "July 30, 2028" or "2009".

    order: "dmy" or "mdy" where the writer has said how 07/30/2018 is meant; without it such a date is refused, even
    one that could be read only one way, since the next row of the same list could not. Two-digit years are refused.
    Raises ``DateError``.

    >>> parse_good_through("Mar 2023").day
    datetime.date(2023, 3, 31)
    """
    if isinstance(read, datetime):
        read = read.date()
    if isinstance(read, date):
        return _dated(read.year, read.month, read.day, "day", read.isoformat())
    text = _text(read)
    found = _from_numbers(text, order) or _from_words(text)
    if found is None:
        raise DateError(f"“{text}” was read, which is not a date with a four-figure year: {_WRITE}.")
    return found
