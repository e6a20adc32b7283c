"""Prices of concentrate, in whole hundredths of a currency (cents), so that no sum depends on floats."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from readiness.engineering.units import ML_PER_L, to_ml

MOST_MINOR: Final = 100_000_000  # a million a container or gallon: far above any price, below a slipped unit
_PRICE: Final = re.compile(
    r"(?:[A-Z]{3}|[$€£])?\s*(?P<whole>[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.(?P<part>[0-9]{1,2}))?"
)


class PriceError(ValueError):
    """A price that cannot be read. The message is the sentence."""


def read_price(text: str) -> int:
    """A price as people type it, in hundredths. Raises PriceError.

    >>> read_price("1,182.50")
    118250
    """
    found = _PRICE.fullmatch(text.strip())
    if found is None:
        raise PriceError(f"“{text.strip()}” was read: write a price like 118.50, with a point before the cents.")
    minor = int(found["whole"].replace(",", "")) * 100 + int((found["part"] or "").ljust(2, "0"))
    if minor > MOST_MINOR:
        raise PriceError(f"“{text.strip()}” was read: at most {MOST_MINOR // 100:,} is believed here.")
    return minor


def minor_per_liter(price_minor: int, volume_ml: int) -> int:
    """The price of a liter [hundredths], rounded to the nearest, of what costs `price_minor` for `volume_ml` [mL].

    118.50 for a 5-gal pail: 11,850 ÷ 18.927 L = 626.09.

    >>> minor_per_liter(11_850, 18_927)
    626
    """
    return _nearest(Fraction(price_minor * ML_PER_L, volume_ml))


def minor_per_liter_of(price_minor: int, unit: str) -> int:
    """The same of a price for one `unit` of volume (gal, L). 25.00 a gallon: 2,500 ÷ 3.785412 L = 660.43, so 660."""
    return _nearest(Fraction(price_minor * ML_PER_L, to_ml(1000, unit)) * 1000)


def minor_per_liter_together(parts: Iterable[tuple[int, int]]) -> int:
    """The price of a liter [hundredths] of parts, each with its own price of a liter [hundredths] and volume [mL].

    37.854 L at 7.93 and 208.198 L at 4.32 a liter: 1,199.60 ÷ 246.052 L = 4.8754, so 488.

    >>> minor_per_liter_together([(793, 37_854), (432, 208_198)])
    488
    """
    known = list(parts)
    return _nearest(Fraction(sum(minor * ml for minor, ml in known), sum(ml for _, ml in known)))


def _nearest(value: Fraction) -> int:
    return int(value + Fraction(1, 2))


def price_text(minor: int, currency: str) -> str:
    """A price for show.

    >>> price_text(118_250, "USD")
    '1,182.50 USD'
    """
    return f"{minor // 100:,}.{minor % 100:02} {currency}".strip()
