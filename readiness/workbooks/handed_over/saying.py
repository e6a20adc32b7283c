"""What one cell says: a value that can be read in one way only, nothing known, or several things it could mean."""

import re
import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from typing import Final, Literal, NamedTuple

from readiness.workbooks.handed_over.records import Choice

UNKNOWN: Final = "unknown"  # the key of the answer "nobody knows"

_UNKNOWN_WORDS: Final = frozenset(
    {
        "?", "??", "???", "unk", "unkn", "unknown", "n/a", "na", "n.a.", "-", "--", "---", "–", "—", ".", "none",
        "no date", "not known", "not marked", "not sure", "tbd", "tba", "illegible", "unreadable", "cant read",
        "can't read", "no label", "missing", "x", "xx", "xxx", "unmarked", "no lot", "no idea", "dont know",
        "don't know", "nil", "null", "#n/a", "#ref!", "#value!", "#name?", "#div/0!", "#null!", "#num!",
    }
)  # fmt: skip
_MARKS: Final = re.compile(r"[^a-z0-9]+")
_NUMBERS: Final[Mapping[str, int]] = {
    "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
    "eleven": 11, "twelve": 12, "a": 1, "both": 2, "a couple": 2,
}  # fmt: skip


class Said(NamedTuple):
    """A cell read: ``state`` known (``value``), unknown (the sheet says that nobody knows), or a doubt.

    A doubt's choices carry keys from which their values can be read again; ``style`` is what alike cells share.
    """

    state: Literal["known", "unknown", "doubt"]
    words: str
    value: object = None
    question: str = ""
    choices: tuple[Choice, ...] = ()
    proposed: str | None = None
    typed: str = ""
    style: str = ""
    typed_for_all: bool = True


def known(value: object, words: str) -> Said:
    """One reading only."""
    return Said("known", words, value)


def unknown(words: str) -> Said:
    """The sheet itself says that this is not known."""
    return Said("unknown", words)


def says_unknown(text: str) -> bool:
    """Whether these words mean that nobody knows, or stand for nothing."""
    return text.casefold().strip(" .,;:()[]*") in _UNKNOWN_WORDS or not text.strip(" .,;:()[]*")


@lru_cache(maxsize=20_000)
def plain(text: str) -> str:
    """Words without case, accents, marks and doubled spaces, for looking them up."""
    folded = text.casefold()
    if not folded.isascii():
        folded = unicodedata.normalize("NFKD", folded).encode("ascii", "ignore").decode()
    return " ".join(_MARKS.sub(" ", folded).split())


def number_word(text: str) -> int | None:
    """2 for "2" and "two"."""
    words = text.casefold().strip()
    if words.isascii() and words.isdigit() and len(words) < 7:
        return int(words)
    return _NUMBERS.get(words)
