"""Dates as people keep them in a sheet for years: real ones, day numbers, 5/9/2022, 30-Jul-18, Mar-28, 1999, unk.

A year of two figures belongs to the century that makes sense: nothing was made in the future, and nothing is good for
more than ``_LONGEST_LIFE`` years from today.
"""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Final

from readiness.engineering.dates import DateError, GoodThrough, Precision, good_through, parse_good_through
from readiness.workbooks.handed_over.records import Cell, Choice
from readiness.workbooks.handed_over.saying import UNKNOWN, Said, known, says_unknown, unknown
from readiness.workbooks.handed_over.showing import shown_parts
from readiness.workbooks.rows import quoted

_AS_SAID: Final = "as_said"
EXPIRED: Final = "expired"  # the key of the answer "out of date, the day is not known"

_EPOCH: Final = date(1899, 12, 30)  # day 0 of the spreadsheets' calendar, as they count from March 1900 on
_SERIALS: Final = range(15_000, 80_000)  # day numbers of 1941 to 2119
_YEARS: Final = range(1950, 2151)
_LONGEST_LIFE: Final = 40
_MONTH_NAMES: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LAST_MONTH: Final = 12
_LAST_DAY: Final = 31
_LEAD: Final = re.compile(
    r"^(?:exp(?:ires|iry|ires on)?|mfg|mfd|made|good (?:thru|through)|best before|bb|dom|date)\b[.:\s]+", re.IGNORECASE
)
_ABOUT: Final = re.compile(r"^(?:~|≈|about|approx\.?|circa|ca?\.)\s*|\?+$", re.IGNORECASE)
_EXPIRED: Final = re.compile(
    r"(?:long )?(?:expired|exp\.?|out ?dated|out of date|past date|overdue|old)", re.IGNORECASE
)
_THEN_EXPIRED: Final = re.compile(r"(?<=[0-9])[\s(–-]+(?:expired|exp\.?|out of date|outdated)\)?$", re.IGNORECASE)
_BETWEEN: Final = re.compile(r"([0-9]{4})\s*(?:-|–|/|to|or|and|&)\s*([0-9]{4})")
_THREE: Final = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{1,2})[-/. ]'?([0-9]{2}|[0-9]{4})")
_ISO: Final = re.compile(r"([0-9]{4})[-/. ]([0-9]{1,2})[-/. ]([0-9]{1,2})(?:[ T][0-9:.]+Z?)?")
_COMPACT: Final = re.compile(r"(19[5-9][0-9]|20[0-9]{2}|21[0-4][0-9])(0[1-9]|1[0-2])(0[1-9]|[12][0-9]|3[01])")
_TWO: Final = re.compile(r"([0-9]{1,2})[-/.]([0-9]{2})")
_DAY_WORD_YEAR: Final = re.compile(
    r"([0-9]{1,2})(?:st|nd|rd|th)?[-/ .]*([A-Za-z]{3,9})\.?,?[-/ .]+'?([0-9]{2}|[0-9]{4})"
)
_WORD_DAY_YEAR: Final = re.compile(r"([A-Za-z]{3,9})\.?[-/ ]+([0-9]{1,2})(?:st|nd|rd|th)?[-/, ]+'?([0-9]{2}|[0-9]{4})")
_WORD_YEAR: Final = re.compile(r"([A-Za-z]{3,9})\.?,?[-/ .]*('?)([0-9]{4}|[0-9]{2})")
_DAY_WORD: Final = re.compile(r"([0-9]{1,2})[-/ .]*([A-Za-z]{3,9})\.?")
_TYPED: Final = "a date, like 2028-07-30, Jul 2028 or 2028"


def in_words(label: GoodThrough) -> str:
    """A date as people of any country read it the same way: 30 Jul 2028, Jul 2028, 2028."""
    if label.precision == "year":
        return f"{label.day.year}"
    month = f"{label.day:%b} {label.day.year}"
    return month if label.precision == "month" else f"{label.day.day} {month}"


class DateReader:
    """Reads the dates of one sheet. ``day_first`` None: nothing in the sheet decides 3/4/26."""

    def __init__(self, *, day_first: bool | None, today: date) -> None:
        self._day_first, self._today = day_first, today

    def read(self, cell: Cell) -> Said:
        """What the cell says."""
        value = cell.value
        if isinstance(value, date):
            return self._from_date(value, cell)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return self._from_number(value, cell.text)
        return self._from_text(cell.text)

    def _from_date(self, value: date, cell: Cell) -> Said:
        day = value.date() if isinstance(value, datetime) else value
        parts = shown_parts(cell.number_format)
        if not _YEARS.start <= day.year < _YEARS.stop:
            return self._unread(cell.text)
        if "y" not in parts and ("m" in parts or "d" in parts) and "h" not in parts:
            return self._day_or_year(day.month, day.day, cell.text, stored=day)
        precision: Precision = "day" if "d" in parts or not parts else "month" if "m" in parts else "year"
        return _sure(good_through(day, precision), "")

    def _from_number(self, value: float, text: str) -> Said:
        whole = int(value) if abs(value) < 1e9 else 0
        if whole == value and whole in _YEARS:
            return _sure(good_through(date(whole, 1, 1), "year"), "")
        if whole in _SERIALS:
            label = good_through(_EPOCH + timedelta(days=whole), "day")
            return _sure(label, f", the spreadsheet's day number {text}")
        return self._from_text(text)

    def _from_text(self, text: str) -> Said:
        said = " ".join(text.split())
        if says_unknown(said):
            return unknown("not known")
        if _EXPIRED.fullmatch(said):
            return _expired(said)
        said = _THEN_EXPIRED.sub("", said)  # a date with the word behind it says no more than the date
        if between := _BETWEEN.fullmatch(said):
            return _earlier(int(between[1]), int(between[2]), text)
        about = _ABOUT.search(said) is not None
        core = _LEAD.sub("", _ABOUT.sub("", said).strip()).strip(" .,;")
        found = self._core(core, text)
        if about and found.state == "known" and isinstance(found.value, GoodThrough):
            return _about(found.value, text)
        return found

    def _core(self, core: str, text: str) -> Said:
        if core.isdigit() and len(core) in {4, 5}:
            return self._from_number(int(core), text) if _is_day_number(core) else self._unread(text)
        label = self._one_way(core)
        if label is not None:
            return _sure(label, "")
        if found := _THREE.fullmatch(core):
            return self._three(int(found[1]), int(found[2]), self._year(found[3]), text)
        if found := _TWO.fullmatch(core):
            return self._two(int(found[1]), int(found[2]), text)
        return self._with_word(core, text)

    def _one_way(self, core: str) -> GoodThrough | None:
        """What is written so that nobody could read it otherwise."""
        if found := _ISO.fullmatch(core) or _COMPACT.fullmatch(core):
            return _day(int(found[1]), int(found[2]), int(found[3]))
        try:
            return parse_good_through(core)
        except DateError:
            return None

    def _year(self, figures: str) -> int:
        if len(figures) == 4:
            return int(figures)
        latest = self._today.year + _LONGEST_LIFE
        return 2000 + int(figures) if 2000 + int(figures) <= latest else 1900 + int(figures)

    def _three(self, first: int, second: int, year: int, text: str) -> Said:
        """Day and month in either order, as the sheet has it."""
        month_first, day_first = _day(year, first, second), _day(year, second, first)
        if self._day_first is not None:
            label = day_first if self._day_first else month_first
            return _sure(label, "") if label else self._unread(text)
        if month_first is None or day_first is None or month_first == day_first:
            label = month_first or day_first
            return _sure(label, "") if label else self._unread(text)
        return Said(
            "doubt",
            "day and month in doubt",
            question=f"{quoted(text)} was read: month and day can be taken in either order, and nothing in the sheet "
            "decides it.",
            choices=(
                Choice(
                    "month_first", f"the month comes first: {quoted(text)} is {in_words(month_first)}", str(month_first)
                ),
                Choice("day_first", f"the day comes first: {quoted(text)} is {in_words(day_first)}", str(day_first)),
                *_unknown_choice(),
            ),
            typed=_TYPED,
            style="day and month",
            typed_for_all=False,
        )

    def _two(self, first: int, second: int, text: str) -> Said:
        """9/25 is September 2025, or a day without a year."""
        if 1 <= first <= _LAST_MONTH:
            return self._day_or_year(first, second, text)
        return self._unread(text)

    def _with_word(self, core: str, text: str) -> Said:
        if found := _DAY_WORD_YEAR.fullmatch(core):
            return self._exact(found[2], int(found[1]), found[3], text)
        if found := _WORD_DAY_YEAR.fullmatch(core):
            return self._exact(found[1], int(found[2]), found[3], text)
        if found := _WORD_YEAR.fullmatch(core):
            return self._word_year(found[1], found[2], found[3], text)
        if (found := _DAY_WORD.fullmatch(core)) and (month := _month(found[2])):
            return self._day_or_year(month, int(found[1]), text)
        return self._unread(text)

    def _exact(self, word: str, day: int, figures: str, text: str) -> Said:
        month = _month(word)
        label = _day(self._year(figures), month, day) if month else None
        return _sure(label, "") if label else self._unread(text)

    def _word_year(self, word: str, apostrophe: str, figures: str, text: str) -> Said:
        month = _month(word)
        if not month:
            return self._unread(text)
        if apostrophe or len(figures) == 4:
            label = _whole_month(self._year(figures), month)
            return _sure(label, "") if label else self._unread(text)
        return self._day_or_year(month, int(figures), text)

    def _day_or_year(self, month: int, number: int, text: str, stored: date | None = None) -> Said:
        """Mar-28: March 2028, or 28 March of a year that is not written."""
        label = _whole_month(self._year(f"{number:02}"), month)
        if number > _LAST_DAY and label:
            return _sure(label, "")
        choices = (
            [Choice("year", f"the figures are the year: {quoted(text)} is {in_words(label)}", str(label))]
            if label
            else []
        )
        if stored is not None:
            exact = good_through(stored, "day")
            choices.append(
                Choice("stored", f"the year in which it was typed: {quoted(text)} is {in_words(exact)}", str(exact))
            )
        choices.append(Choice(UNKNOWN, "the figures are the day and the year is not written: date not known"))
        return Said(
            "doubt",
            "in doubt",
            question=f"{quoted(text)} was read: {number} can be the year or the day.",
            choices=tuple(choices),
            proposed="year" if label and stored is None else None,
            typed=_TYPED,
            style="month and two figures" if stored is None else "day and month without a year",
            typed_for_all=False,
        )

    def _unread(self, text: str) -> Said:
        return Said(
            "doubt",
            "not read",
            question=f"{quoted(text)} was read, which is not a date: type the date, or leave it as not known.",
            choices=_unknown_choice(),
            proposed=None,
            typed=_TYPED,
            style=text,
        )


def answered(answer: str, choices: Iterable[Choice]) -> GoodThrough | None:
    """The date that a choice means, or that was typed; None for "not known". Raises ``DateError``."""
    chosen = next((choice for choice in choices if choice.key == answer), None)
    if chosen is not None:
        return parse_good_through(chosen.value) if chosen.value else None
    return None if answer in {UNKNOWN, EXPIRED} else parse_good_through(answer)


def orders(text: str) -> frozenset[str]:
    """Which of "day" and "month" can come first: both where this text does not decide, none where it is no date."""
    found = _THREE.fullmatch(_LEAD.sub("", " ".join(text.split())))
    if found is None:
        return frozenset()
    first, second = int(found[1]), int(found[2])
    able = {"month": first <= _LAST_MONTH and second <= _LAST_DAY, "day": second <= _LAST_MONTH and first <= _LAST_DAY}
    return frozenset(order for order, possible in able.items() if possible and first and second)


def numbers_of(text: str) -> tuple[int, int, int] | None:
    """The three numbers of 5/9/2022 as they stand, None for anything else."""
    found = _THREE.fullmatch(" ".join(text.split()))
    return (int(found[1]), int(found[2]), int(found[3][-2:])) if found else None


def _sure(label: GoodThrough | None, more: str) -> Said:
    return known(label, f"{in_words(label)}{more}" if label else "not known")


def _about(label: GoodThrough, text: str) -> Said:
    return Said(
        "doubt",
        "about",
        question=f"{quoted(text)} was read, which is not certain: take {in_words(label)}, or leave it as not known.",
        choices=(
            Choice(_AS_SAID, f"taken as it is written: {quoted(text)} is {in_words(label)}", str(label)),
            *_unknown_choice(),
        ),
        proposed=UNKNOWN,
        typed=_TYPED,
        style="about",
        typed_for_all=False,
    )


def _earlier(first: int, second: int, text: str) -> Said:
    """Two years for containers of several dates: the earlier is safe for all."""
    year = min(first, second)
    label = good_through(date(year, 1, 1), "year") if year in _YEARS and max(first, second) in _YEARS else None
    earlier = (Choice("earlier", f"the earlier counts for all: {in_words(label)}", str(label)),) if label else ()
    return Said(
        "doubt",
        "several",
        question=f"{quoted(text)} was read, which is more than one date.",
        choices=(*earlier, *_unknown_choice()),
        proposed="earlier" if label else None,
        typed=_TYPED,
        style=text,
    )


def _expired(text: str) -> Said:
    return Said(
        "doubt",
        "out of date",
        question=f"{quoted(text)} was read and no date stands there.",
        choices=(
            Choice(EXPIRED, "it comes in quarantined, its date not known: it does not count"),
            Choice(UNKNOWN, "its date is not known: it counts as unverified"),
        ),
        proposed=EXPIRED,
        typed=_TYPED,
        style="expired",
        typed_for_all=False,
    )


def _unknown_choice() -> tuple[Choice, ...]:
    return (Choice(UNKNOWN, "date not known"),)


def _is_day_number(figures: str) -> bool:
    return int(figures) in _YEARS or int(figures) in _SERIALS


def _month(word: str) -> int:
    """1 to 12, 0 for a word that is no month."""
    start = word.casefold()[:3]
    full = ("sept", "june", "july", "april", "march", "august", "january", "february", "september", "october",
            "november", "december")  # fmt: skip
    if start not in _MONTH_NAMES or (len(word) > 3 and word.casefold() not in full):
        return 0
    return _MONTH_NAMES.index(start) + 1


def _day(year: int, month: int, day: int) -> GoodThrough | None:
    if year not in _YEARS:
        return None
    try:
        return good_through(date(year, month, day), "day")
    except ValueError:
        return None


def _whole_month(year: int, month: int) -> GoodThrough | None:
    return good_through(date(year, month, 1), "month") if year in _YEARS else None
