"""Notes that change what a row means: sealed, "1 opened 2/14/26 about half", "two swollen", "topped up 60 gal".

Each finding is a proposal to a person; the note itself is kept whole, whatever was found in it.
"""

import re
from datetime import date
from fractions import Fraction
from typing import Final, Literal, NamedTuple

from readiness.engineering.quantities import QuantityError, parse_quantity
from readiness.engineering.units import UnitError
from readiness.workbooks.handed_over.dates_said import DateReader
from readiness.workbooks.handed_over.records import Cell
from readiness.workbooks.handed_over.saying import number_word

_NUMBER: Final = r"(?P<many>[0-9]{1,4}|one|two|three|four|five|six|seven|eight|nine|ten|both|all)"
_OPENED: Final = re.compile(
    rf"(?:{_NUMBER}\s+(?:of them\s+|pails?\s+|is\s+|are\s+)?)?\b(?:opened|open|unsealed|seal broken|not sealed)\b",
    re.IGNORECASE,
)
_SEALED: Final = re.compile(r"\b(?:sealed|unopened|seal(?:s)? (?:ok|intact|good))\b", re.IGNORECASE)
_NOT_SEALED: Final = re.compile(r"\b(?:not sealed|unsealed|seal broken|no seal|sealed\?)", re.IGNORECASE)
_SOME_SEALED: Final = re.compile(
    rf"\b(?!all|both){_NUMBER}\s+(?:of them\s+|pails?\s+|is\s+|are\s+)?sealed\b", re.IGNORECASE
)
_HURT: Final = re.compile(
    rf"(?:{_NUMBER}\s+(?:of them\s+|pails?\s+|is\s+|are\s+|looks?\s+)?)?\b(?P<word>swollen|bulging|bulged|"
    r"leak(?:ing|s|y)?|damaged|dented|rusted|rusty|cracked|(?<!seal )broken|gelled|skinned|frozen|separated|sludge)\b",
    re.IGNORECASE,
)
_STATES: Final = (
    ("mixed", re.compile(r"\b(?:mixed|contaminated|cross[- ]?contaminated)\b", re.IGNORECASE)),
    ("diluted", re.compile(r"\b(?:diluted|watered|water (?:in it|got in|in tank)|premix(?:ed)?)\b", re.IGNORECASE)),
    ("quarantined", re.compile(
        r"\b(?:nobody knows|no ?one knows|unknown contents?|contents? unknown|not sure what|what is (?:in )?it|"
        r"unlabel+ed|unmarked|no label|label (?:missing|gone|unreadable|off)|do not use|don'?t use|condemned|"
        r"dispos(?:e|ed|al)|quarantin\w*|failed (?:test|sample)|recall(?:ed)?|bad|expired|out of date|take[- ]?back)\b",
        re.IGNORECASE)),
)  # fmt: skip
_GONE: Final = re.compile(
    r"\b(?:sold|given to|gave to|moved to|sent to|loaned? (?:to|out)|lent to|transferred|on loan|gone|used up|"
    r"missing|not found|can'?t find|borrowed by|at (?:the )?shop|belongs to|owned by|borrowed from)\b",
    re.IGNORECASE,
)
_EMPTY: Final = re.compile(r"\bempty\b|\bempties\b", re.IGNORECASE)
_SHARES: Final = (
    (Fraction(1, 2), re.compile(r"\b(?:half|1/2)\b|½", re.IGNORECASE)),
    (Fraction(3, 4), re.compile(r"\b(?:three[- ]quarters?|3/4)\b|¾", re.IGNORECASE)),
    (Fraction(1, 4), re.compile(r"\b(?:(?:a |one )?quarter|1/4)\b|¼", re.IGNORECASE)),
    (Fraction(2, 3), re.compile(r"\b(?:two[- ]thirds?|2/3)\b", re.IGNORECASE)),
    (Fraction(1, 3), re.compile(r"\b(?:(?:a |one )?third|1/3)\b", re.IGNORECASE)),
    (Fraction(1), re.compile(r"\b(?:full)\b", re.IGNORECASE)),
)  # fmt: skip
_HALF_FULL: Final = re.compile(
    r"\b(?:full|left|remaining|low)\b|^(?:about |~ ?|approx\.? )?\S+(?: full)?$", re.IGNORECASE
)
_PART_OF_ONE: Final = re.compile(
    r"^(?:about |~ ?)?(?:1/2|half|½|1/4|¼|3/4|¾|1/3|2/3)\s+(?:an?\s+|of an?\s+)?(?:pail|drum|tote|can|tank|bucket)\b",
    re.IGNORECASE,
)
_COUNTED_FILL: Final = re.compile(
    rf"{_NUMBER}\s+(?:pails?|drums?|totes?|cans?|buckets?|of them|is|are|about|half|empty|three|quarter)\b",
    re.IGNORECASE,
)
_PER_CENT: Final = re.compile(r"\b([0-9]{1,2}|100)\s?%\s*(?:full|left|remaining)?", re.IGNORECASE)
_VOLUME: Final = re.compile(
    r"(?<![0-9.,/])(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)\s*(?:imp\.? ?gal(?:lon)?s?|gal(?:lon)?s?|l|lit(?:re|er)s?)\b\.?",
    re.IGNORECASE,
)
_OF_A_UNIT: Final = re.compile(
    r"(?:half|quarter|third|1/2|1/4|3/4|1/3|2/3|½|¼|¾)\s*(?:of\s+)?(?:an?\s+)?(?:gal|l\b|lit)\w*", re.IGNORECASE
)
_TOPPED: Final = re.compile(r"\b(?:topped|top(?:ped)? (?:up|off)|refilled|added|filled up)\b", re.IGNORECASE)
_MONTH: Final = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}\.?"
_WORD_WITH_FIGURES: Final = re.compile(
    rf"[0-9]{{1,4}}[-/.][0-9]{{1,2}}[-/.][0-9]{{2,4}}|[0-9]{{1,2}}[- ]{_MONTH}[- ][0-9]{{2,4}}|"
    rf"{_MONTH}\s+[0-9]{{1,2}},?\s+[0-9]{{2,4}}",
    re.IGNORECASE,
)


class Finding(NamedTuple):
    """One thing a note says about the containers of its row."""

    what: Literal["opened", "hurt", "state", "gone", "fill", "topped", "some sealed"]
    word: str  # as it is written
    many: int | None = None  # of the containers; None: not said
    share: Fraction | None = None  # how full
    ml: int | None = None
    on: date | None = None
    condition: str = ""


class NoteReader:
    """Looks through the notes of one sheet."""

    def __init__(self, *, volume_unit: str, day_first: bool | None, today: date) -> None:
        self._unit = volume_unit
        self._dates = DateReader(day_first=day_first, today=today)

    def findings(self, note: str) -> tuple[Finding, ...]:
        """What the note says that changes the meaning of its row, in no order of weight."""
        found = [self._opened(note), _hurt(note), _state(note), _gone(note), self._topped(note)]
        if found[0] is None:
            found.append(self._fill(note))
        found.append(_some_sealed(note))
        return tuple(each for each in found if each is not None)

    def _opened(self, note: str) -> Finding | None:
        found = _OPENED.search(note)
        if found is None:
            return None
        return Finding("opened", found[0], _many(found), self._share(note), self._ml(note), self._day(note))

    def _share(self, note: str) -> Fraction | None:
        plain = _OF_A_UNIT.sub(" ", _WORD_WITH_FIGURES.sub(" ", note))  # half a gallon is no share of a pail
        if found := _PER_CENT.search(plain):
            return Fraction(int(found[1]), 100)
        if _EMPTY.search(plain):
            return Fraction(0)
        return next((share for share, pattern in _SHARES if pattern.search(plain)), None)

    def _ml(self, note: str) -> int | None:
        found = _VOLUME.search(note)
        if found is None:
            return None
        try:
            return parse_quantity(found[0], dimension="volume", default_unit=self._unit).ml
        except (QuantityError, UnitError):
            return None

    def _day(self, note: str) -> date | None:
        for found in _WORD_WITH_FIGURES.finditer(note):
            label = self._dates.read(Cell(found[0], found[0])).value
            if label is not None and getattr(label, "precision", "") == "day":
                return label.day  # type: ignore[attr-defined,no-any-return]
        return None

    def _fill(self, note: str) -> Finding | None:
        share = self._share(note)
        if share is None or share == 1:
            return None
        said = _EMPTY.search(note) or _PER_CENT.search(note) or _HALF_FULL.search(note)
        said = said or _PART_OF_ONE.search(note)
        counted = _COUNTED_FILL.match(note)
        return Finding("fill", note, _many(counted) if counted else None, share) if said else None

    def _topped(self, note: str) -> Finding | None:
        found = _TOPPED.search(note)
        return Finding("topped", found[0], None, None, self._ml(note), self._day(note)) if found else None


def says_sealed(note: str) -> bool:
    """Whether the note says of all its containers that their seals are whole."""
    return _SEALED.search(note) is not None and not _NOT_SEALED.search(note) and not _SOME_SEALED.search(note)


def says_no_foam(text: str) -> bool:
    """Whether these words say that there is none, or that a unit carries none: "Tanker 4 – no foam"."""
    return _NO_FOAM.fullmatch(text.strip(" .!-–()")) is not None or _CARRIES_NONE.search(text) is not None


def before_no_foam(text: str) -> str:
    """What is said to carry none: "Tanker 4"; "" where the words say no more than that there is none."""
    found = _CARRIES_NONE.search(text)
    return text[: found.start()].strip(" .,;:-–—()") if found else ""


_CARRIES_NONE: Final = re.compile(r"[\s(–—:-]+(?:has |carries )?no foam\W*$", re.IGNORECASE)


_NO_FOAM: Final = re.compile(r"(?:no foam\b.*|none(?: carried)?|nothing|no concentrate|carries no foam)", re.IGNORECASE)


def _many(found: re.Match[str]) -> int | None:
    word = (found["many"] or "").casefold()
    return None if word in {"", "all"} else number_word(word)


def _hurt(note: str) -> Finding | None:
    found = _HURT.search(note)
    return Finding("hurt", found["word"].casefold(), _many(found)) if found else None


def _state(note: str) -> Finding | None:
    for condition, pattern in _STATES:
        if found := pattern.search(note):
            return Finding("state", found[0], condition=condition)
    return None


def _gone(note: str) -> Finding | None:
    found = _GONE.search(note)
    return Finding("gone", found[0]) if found else None


def _some_sealed(note: str) -> Finding | None:
    found = _SOME_SEALED.search(note)
    many = _many(found) if found else None
    return Finding("some sealed", found[0], many) if found and many is not None else None
