"""Percentages as a sheet has them: 3, 3%, 0.03, 3/6, 3x3, 3 & 6, 0.1-1, and the date that 3/6 was turned into."""

import re
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Final

from readiness.engineering.percentages import GREATEST_SETTING, LEAST_SETTING, percent_text
from readiness.workbooks.handed_over.records import Cell, Choice, Percents
from readiness.workbooks.handed_over.saying import UNKNOWN, Said, known, says_unknown, unknown
from readiness.workbooks.rows import quoted

_NUMBER: Final = r"([0-9]{1,6}(?:\.[0-9]{1,6})?|\.[0-9]{1,6})\s*(%|percent|pct)?"
_ONE: Final = re.compile(_NUMBER, re.IGNORECASE)
_PAIR: Final = re.compile(_NUMBER + r"\s*(?:[xX×*/&+,;]|and|or|\\)\s*" + _NUMBER, re.IGNORECASE)
_RANGE: Final = re.compile(_NUMBER + r"\s*(?:-|–|—|to|thru|\.\.)\s*" + _NUMBER, re.IGNORECASE)
_MONTH_DAY: Final = re.compile(
    r"([0-9]{1,2})[- ]?(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)|"
    r"(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[- ]?([0-9]{1,2})",
    re.IGNORECASE,
)
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLASS_B: Final = frozenset({100, 200, 300, 600})  # settings of Class B concentrates: 1, 2, 3 and 6 %
_WHOLE_PERCENTS: Final = 100  # 300 is 3 % without its point; 40 is nothing that could be told
_TYPED: Final = "percentages, like 3, 3x6 or 0.1-1"


def in_words(percents: Percents) -> str:
    """3 %, 3x6, 0.1 to 1 %."""
    low, high = (percent_text(each).removesuffix(" %") for each in (percents.low, percents.high))
    if percents.what == "one":
        return f"{low} %"
    return f"{low}x{high}" if percents.what == "pair" else f"{low} to {high} %"


def to_key(percents: Percents) -> str:
    """The key of a choice: 300, 300x600, 10-100."""
    if percents.what == "one":
        return str(percents.low)
    return f"{percents.low}{'x' if percents.what == 'pair' else '-'}{percents.high}"


def from_key(key: str) -> Percents | None:
    """The percentages of a choice's key; None for "not known". Raises ``ValueError``."""
    if key == UNKNOWN:
        return None
    for mark, what in (("x", "pair"), ("-", "range")):
        low, found, high = key.partition(mark)
        if found:
            return Percents(int(low), int(high), "pair" if what == "pair" else "range")
    return Percents(int(key), int(key), "one")


def read_percents(cell: Cell) -> Said:
    """What the cell says."""
    value = cell.value
    if isinstance(value, date):
        return _from_date(value.month, value.day, cell.text)
    if says_unknown(cell.text):
        return unknown("not known")
    text = cell.text.lstrip().rstrip(" .")
    if found := _MONTH_DAY.fullmatch(text):
        month = (found[2] or found[3]).casefold()
        return _from_date(_MONTHS.index(month) + 1, int(found[1] or found[4]), text)
    if found := _ONE.fullmatch(text):
        return _one(found[1], bool(found[2]), cell.text)
    if found := _PAIR.fullmatch(text):
        fraction = _fraction(found[1], found[3]) if "/" in text else None
        return _either(found[1], found[3], fraction, cell.text) if fraction else _two(found[1], found[3], text, False)
    if found := _RANGE.fullmatch(text):
        return _two(found[1], found[3], cell.text, True)
    return _unread(cell.text)


def read_typed(text: str) -> Percents | None:
    """What somebody typed as the answer, None where it is not one or several percentages."""
    said = read_percents(Cell(text, text))
    return said.value if isinstance(said.value, Percents) else None


def _points(number: str) -> int | None:
    """Hundredths of a point, None outside what a proportioner offers."""
    try:
        hundredths = Decimal(number) * 100
    except InvalidOperation:
        return None
    whole = int(hundredths)
    return whole if whole == hundredths and LEAST_SETTING <= whole <= GREATEST_SETTING else None


def _one(number: str, signed: bool, text: str) -> Said:
    points = _points(number)
    if points is not None:
        percents = Percents(points, points, "one")
        return known(percents, in_words(percents))
    return _misplaced(Decimal(number), signed, text)


def _misplaced(number: Decimal, signed: bool, text: str) -> Said:
    """0.03 for 3 %, 300 for 3 %: the point has moved by two places, probably."""
    for factor in (Decimal(100), Decimal("0.01")):
        if factor < 1 and number < _WHOLE_PERCENTS:
            continue
        points = _points(f"{number * factor:f}")
        if points is not None:
            percents = Percents(points, points, "one")
            why = "its fraction was typed" if factor > 1 else "the point was left out"
            return Said(
                "doubt",
                "in doubt",
                question=f"{quoted(text)} was read as a percentage, and no proportioner offers it.",
                choices=(Choice(to_key(percents), f"{in_words(percents)} ({why})"), Choice(UNKNOWN, "not known")),
                proposed=None if signed else to_key(percents),
                typed=_TYPED,
                style=text,
            )
    return _unread(text)


def _two(first: str, second: str, text: str, dashed: bool) -> Said:
    low, high = _points(first), _points(second)
    if low is None or high is None:
        return _unread(text)
    low, high = sorted((low, high))
    pair, span = Percents(low, high, "pair"), Percents(low, high, "range")
    if not dashed:
        return known(pair, in_words(pair))
    if not {low, high} <= _CLASS_B:
        return known(span, in_words(span))
    return Said(
        "doubt",
        "in doubt",
        question=f"{quoted(text)} was read: two settings, or everything between them.",
        choices=(Choice(to_key(pair), f"{in_words(pair)}, two settings"), Choice(to_key(span), in_words(span))),
        proposed=to_key(pair),
        typed=_TYPED,
        style=text,
    )


def _fraction(over: str, under: str) -> int | None:
    """1/2 is a half of one percent where it is no pair that concentrates are made for, such as 1/3 or 3/6."""
    pair = {_points(over), _points(under)}
    if pair <= {100, 300, 600} or not Decimal(under):
        return None
    return _points(f"{(Decimal(over) / Decimal(under)).normalize():f}")


def _either(over: str, under: str, points: int, text: str) -> Said:
    """A fraction of one percent, or two settings."""
    one = Percents(points, points, "one")
    pair = _two(over, under, text, False)
    two = (Choice(to_key(pair.value), f"{pair.words}, two settings"),) if isinstance(pair.value, Percents) else ()
    return Said(
        "doubt",
        "in doubt",
        question=f"{quoted(text)} was read: a fraction of one percent, or two settings.",
        choices=(Choice(to_key(one), in_words(one)), *two),
        proposed=to_key(one),
        typed=_TYPED,
        style=text,
    )


def _from_date(month: int, day: int, text: str) -> Said:
    low, high = sorted((month, day))
    pair = Percents(low * 100, high * 100, "pair")
    if not {pair.low, pair.high} <= _CLASS_B:
        return _unread(text)
    return Said(
        "doubt",
        "a date",
        question=f"The date {quoted(text)} was read as a percentage: a spreadsheet turns {low}/{high} into a date.",
        choices=(Choice(to_key(pair), in_words(pair)), Choice(UNKNOWN, "not known")),
        proposed=to_key(pair),
        typed=_TYPED,
        style=f"date {low}/{high}",
    )


def _unread(text: str) -> Said:
    return Said(
        "doubt",
        "not read",
        question=f"{quoted(text)} was read, which is no percentage: type it, or leave it as not known.",
        choices=(Choice(UNKNOWN, "not known"),),
        typed=_TYPED,
        style=text,
    )
