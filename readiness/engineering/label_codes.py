"""Short codes for labels: read by eye, spoken over a radio, typed with gloves, and checked.

Alphabet. Of each group of characters that look alike (0 O Q D, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V), that are one another
upside down (6 9, M W), or that sound alike in noise (B C D E G P T V Z and 3; A J K; H and 8; M N; F S X; I Y; 5 and 9;
Q U W and 2) at most one is left. That is common practice, no source.

Check character. ISO/IEC 7064:2003, MOD 37-2: with the values 0 to 9 for digits and 10 to 35 for letters, the sum of
each value times 2 to the power of its place (the check character's place being 0) leaves 1 when divided by 37. As 37 is
a prime above the number of characters, every single wrong character, every swap of two neighbors and every swap over
one character changes the sum. A code whose check character falls outside the alphabet is never given out.
"""

from collections.abc import Iterable, Iterator
from typing import Final

ALPHABET: Final = "2345678FKMRY"
BODY: Final = 6  # 12**6 bodies, of which about one in three has its check character in the alphabet: near a million
LENGTH: Final = BODY + 1
QR_PATH: Final = "/Q/"  # before the code in what a camera reads
_VALUES: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
_MODULUS: Final = 37
_RADIX: Final = 2
_LEFT_OUT: Final = str.maketrans("", "", " -.\t‐‑–")
_SPOKEN: Final = {  # the spelling alphabet of public safety in the United States, from memory; digits as they are
    "2": "two",
    "3": "three",
    "4": "four",
    "5": "five",
    "6": "six",
    "7": "seven",
    "8": "eight",
    "F": "Frank",
    "K": "King",
    "M": "Mary",
    "R": "Robert",
    "Y": "Young",
}


def pure_check(values: Iterable[int], modulus: int, radix: int) -> int:
    """The check value of ISO/IEC 7064's pure systems: the one that makes the weighted sum leave 1.

    >>> pure_check([0, 7, 9, 4], 11, 2)
    0
    """
    total = 0
    for value in values:
        total = (total + value) * radix % modulus
    return (1 - total) % modulus


def check_character(body: str) -> str:
    """The check character of MOD 37-2 for digits and capital letters; it may be any of them, or *."""
    return _VALUES[pure_check(map(_VALUES.index, body), _MODULUS, _RADIX)]


def completed(body: str) -> str | None:
    """The code with this body, or None where its check character is not of the alphabet."""
    code = body + check_character(body)
    return code if code[-1] in ALPHABET else None


def plain_code(text: str) -> str:
    """What was typed or scanned, as a code is kept: no separators, capitals, the address of a QR code taken off.

    >>> plain_code(" 7km-4rf3 "), plain_code("HTTPS://FOAM.EXAMPLE/Q/7KM4RF3")
    ('7KM4RF3', '7KM4RF3')
    """
    return text.upper().rpartition(QR_PATH)[2].translate(_LEFT_OUT).rstrip("/")


def is_code(plain: str) -> bool:
    """Whether it is a code with the right check character."""
    return len(plain) == LENGTH and set(plain) <= set(ALPHABET) and check_character(plain[:-1]) == plain[-1]


def looks_like_code(plain: str) -> bool:
    """Whether somebody may have meant a code: so long, give or take one, and hardly a character from elsewhere."""
    strange = sum(each not in ALPHABET for each in plain)
    return abs(len(plain) - LENGTH) <= 1 and plain.isascii() and plain.isalnum() and strange <= 1


def near_codes(plain: str) -> set[str]:
    """Every code that one slip turns into `plain`: a wrong, missing or further character, or two neighbors swapped."""
    return {code for code in _slips(plain[: LENGTH + 1]) if is_code(code)}


def _slips(text: str) -> Iterator[str]:
    for at in range(len(text) + 1):
        before, after = text[:at], text[at:]
        yield before + after[1:]
        yield before + after[1:2] + after[:1] + after[2:]
        for each in ALPHABET:
            yield before + each + after
            yield before + each + after[1:]


def shown_code(code: str) -> str:
    """As it stands on the label, in two groups like a telephone number.

    >>> shown_code("7KM4RF3")
    '7KM-4RF3'
    """
    return f"{code[:3]}-{code[3:]}"


def spoken_code(code: str) -> str:
    """As it is read out over a radio.

    >>> spoken_code("7KM4RF3")
    'seven King Mary, four Robert Frank three'
    """
    first, last = (" ".join(_SPOKEN[each] for each in part) for part in (code[:3], code[3:]))
    return f"{first}, {last}"
