"""Concentrate percentages: read from what people write, and the arithmetic of mixing.

Kept as whole hundredths of a point (3 % = 300), because 0.06 + 0.01 < 0.07 in floats would fail a line that tests
at 7.0 %. A percentage is of *solution* unless a rule names an amount of *water* (airport vehicles, batch mixing).
"""

import re
from datetime import date
from decimal import Decimal
from typing import Final

HUNDREDTHS_PER_POINT: Final = 100
WHOLE: Final = 10_000
GREATEST_SETTING: Final = 1_000  # 10 %: no proportioner or listing goes beyond; measured values may be given more room
LEAST_SETTING: Final = 10  # 0.1 %, the leanest Class A setting ("common practice, no source", as row K2)

_LONGEST_TEXT: Final = 40
_FLOAT_DIGITS: Final = 6
_MOST_FIGURES: Final = 6
_ONE: Final = re.compile(
    r"(?P<sign>[-+−–]?)\s*(?P<number>[0-9]*\.?[0-9]+|[0-9]+\.)\s*(?P<sign_read>%|percent|per cent|pct)?"
)
_PAIR: Final = re.compile(r"[0-9.]+\s*%?\s*[xX×*/]\s*[0-9.]+\s*%?")
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DATE_TEXT: Final = re.compile(
    rf"[0-9]{{4}}-[0-9]{{1,2}}-[0-9]{{1,2}}.*|[0-9]+[/.-][0-9]+[/.-][0-9]{{2,4}}"
    rf"|[0-9]{{1,2}}[ -](?:{'|'.join(_MONTHS)}).*|(?:{'|'.join(_MONTHS)})[a-z]*[ -][0-9]+.*",
    re.IGNORECASE,
)


class PercentError(ValueError):
    """Something that cannot be read as a concentrate percentage. The message is the sentence."""


def percent_text(pct: int) -> str:
    """Hundredths of a point as people write them: 300 is "3 %", 30 is "0.3 %".

    >>> percent_text(350)
    '3.5 %'
    """
    return f"{(Decimal(pct) / HUNDREDTHS_PER_POINT).normalize():f} %"


def _refuse_no_number(read: object) -> None:
    if read is None or (isinstance(read, str) and not read.strip()):
        raise PercentError("Nothing was read: write the percentage, such as 3 or 0.5.")
    if isinstance(read, bool):
        raise PercentError(f"“{'yes' if read else 'no'}” was read: write the percentage, such as 3 or 0.5.")
    if isinstance(read, date):
        low, high = sorted((read.month, read.day))
        raise PercentError(
            f"A date was read ({read.day} {read:%B %Y}): the spreadsheet turned {read.month}/{read.day} into a date; "
            f"write {low}x{high}."
        )


def _text(read: object) -> str:
    _refuse_no_number(read)
    if isinstance(read, int | float | Decimal):
        return _number_text(read)
    text = str(read).strip()
    if len(text) > _LONGEST_TEXT:
        raise PercentError(f"“{text[:_LONGEST_TEXT]}…” was read: write the percentage, such as 3 or 0.5.")
    if _DATE_TEXT.fullmatch(text):
        raise PercentError(
            f"“{text}” was read, which is a date: a spreadsheet turns 3/6 into a date; write 3x6 for a pair of "
            "settings, or one percentage such as 3."
        )
    return text


def _number_text(read: float | Decimal) -> str:
    """A number from a spreadsheet without the last digits that adding tenths leaves behind."""
    written = Decimal(repr(read)) if isinstance(read, float) else Decimal(read)
    if not written.is_finite() or written.adjusted() > _MOST_FIGURES:
        raise PercentError("A number that is no percentage was read: write the percentage, such as 3 or 0.5.")
    return f"{round(written, _FLOAT_DIGITS).normalize():f}"


def _hundredths(value: Decimal, text: str) -> int:
    hundredths = value * HUNDREDTHS_PER_POINT
    if hundredths != hundredths.to_integral_value():
        raise PercentError(f"“{text}” was read: a percentage has at most two decimals, such as 3.15.")
    return int(hundredths)


def _refuse_fraction(value: Decimal, text: str, says_percent: bool) -> None:
    """0.03 in a field of percentages is nearly always the fraction that 3 % is; 0.1 and above is a real setting."""
    if says_percent or value == 0 or value * HUNDREDTHS_PER_POINT >= LEAST_SETTING:
        return
    meant = f"{(value * HUNDREDTHS_PER_POINT).normalize():f}"
    plain = f"{value.normalize():f}"
    raise PercentError(
        f"{text} was read: write {meant} % if the fraction {plain} was meant, or {plain} % with its sign."
    )


def _refuse_outside(value: Decimal, text: str, least: int, greatest: int) -> None:
    if value * HUNDREDTHS_PER_POINT > greatest:
        meant = value / HUNDREDTHS_PER_POINT
        hint = (
            f"; write {meant.normalize():f} if {percent_text(int(value))} was meant" if meant * 100 <= greatest else ""
        )
        raise PercentError(f"{text} was read: at most {percent_text(greatest)} belongs here{hint}.")
    if value * HUNDREDTHS_PER_POINT < least:
        raise PercentError(f"{text} was read: at least {percent_text(least)} belongs here, such as 3 or 0.5.")


def parse_percent(read: object, *, least: int = 1, greatest: int = GREATEST_SETTING) -> int:
    """One percentage as hundredths of a point: "3", "3%", "3 %" and 3.0 are 300, 0.5 is 50.

    read: text or number from a form or a cell; least, greatest [1/100 point]: what the field admits; the default
    is a concentrate setting, 10 % at most. Give ``greatest`` more room for measured values and shares, ``least=0``
    where none is an answer. Raises ``PercentError`` for a bare number below 0.1 (0.03 is probably the fraction of
    3 %; "0.03 %" with its sign is taken as written), 300, a pair such as 3x6, a date that was 3/6 once, more than
    two decimals, and anything else that is not one percentage.

    >>> parse_percent("3 %")
    300
    """
    text = _text(read)
    if _PAIR.fullmatch(text):
        raise PercentError(f"“{text}” was read, which is a pair of settings: write one percentage, such as 3.")
    found = _ONE.fullmatch(text)
    if found is None:
        raise PercentError(f"“{text}” was read, which is not one percentage: write it such as 3 or 0.5, with a point.")
    if found["sign"] not in {"", "+"}:
        raise PercentError(f"“{text}” was read: a percentage is never below zero; write it such as 3 or 0.5.")
    value = Decimal(found["number"])
    _refuse_fraction(value, text, says_percent=found["sign_read"] is not None)
    _refuse_outside(value, text, least, greatest)
    return _hundredths(value, text)


def fraction(pct: int) -> float:
    """The share of solution that is concentrate; pct [1/100 point], above 0 and below 100 %. Raises ``ValueError``."""
    if not 0 < pct < WHOLE:
        raise ValueError(f"{percent_text(pct)} was read: a share of solution lies between 0 and 100 %.")
    return pct / WHOLE


def concentrate_for_water_l(water_l: float, pct: int) -> float:
    """Concentrate to go with so much water: W × p ÷ (1 − p). water_l [L]; pct [1/100 point]; result [L].

    Source: published row B1 (3 % with 750 gal of water takes 23.20 gal, not 22.50); rules that state an amount of
    water, such as 14 CFR 139.317, need this one. Raises ``ValueError``.

    >>> round(concentrate_for_water_l(750.0, 300), 2)
    23.2
    """
    share = fraction(pct)
    return water_l * share / (1 - share)


def solution_made_l(concentrate_l: float, pct: int) -> float:
    """Solution that so much concentrate makes: C ÷ p. concentrate_l [L]; pct [1/100 point]; result [L].

    Source: published row K1, a kit's 2.5 US gal at 3 % make 83.3 US gal (common practice, no source); arithmetic.
    Raises ``ValueError``.

    >>> solution_made_l(2.5, 100)
    250.0
    """
    return concentrate_l / fraction(pct)


def solution_percent(concentrate_l: float, water_l: float) -> float:
    """Percentage points of a mix: 100 × C ÷ (C + W), not rounded. Both [L], in any one unit. Raises ``ValueError``.

    3 gal added to 100 gal of water is 2.9126 %, not 3 % (arithmetic: 300 ÷ 103).
    """
    if concentrate_l < 0 or water_l < 0 or concentrate_l + water_l == 0:
        raise ValueError(f"{concentrate_l} L in {water_l} L was read: a mix has some of one and none below zero.")
    return 100 * concentrate_l / (concentrate_l + water_l)
