"""The arithmetic of an inventory: what differs, by which share of the book, and whether that is above a limit."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final, NamedTuple

from readiness.engineering.lots import draw_in_proportion

_WHOLE: Final = 10_000  # 100 % in hundredths of a percent
_ML_PER_L: Final = 1_000


class Limits(NamedTuple):
    """Up to where a difference is nobody's business but the counter's: shares in 1/100 %, a volume in mL."""

    share: int
    least_ml: int
    total_share: int


def share_of_book(difference_ml: int, book_ml: int) -> int | None:
    """A difference as a share of the book, signed, in hundredths of a percent; None where the book has nothing.

    The public audit: 6,300 gal in the book and 5,700 on field check are −600 ÷ 6,300 = −9.52 %.

    >>> share_of_book(-600, 6_300)
    -952
    """
    return round(Fraction(difference_ml * _WHOLE, book_ml)) if book_ml else None


def above_limit(difference_ml: int, book_ml: int, limits: Limits) -> bool:
    """Whether a container's difference [mL] is above both the share of its book and the least volume."""
    above_least = abs(difference_ml) > limits.least_ml
    return above_least and abs(difference_ml) * _WHOLE > limits.share * book_ml


def above_total(difference_ml: int, book_ml: int, limits: Limits) -> bool:
    """Whether the difference of a whole inventory [mL] is above its share of the book."""
    return abs(difference_ml) * _WHOLE > limits.total_share * book_ml


def agreed(differences_ml: Sequence[int | None], gauge_ml: int) -> bool:
    """Whether more than half of the looks at a container say the same as the last one.

    differences_ml: each look less the book of its own moment [mL], so that what was booked between two looks makes no
    difference; None: it was not there. gauge_ml: what two looks may differ by [mL].
    """
    last = differences_ml[-1]
    alike = [each for each in differences_ml if _alike(each, last, gauge_ml)]
    return 2 * len(alike) > len(differences_ml)


def _alike(one: int | None, other: int | None, gauge_ml: int) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= gauge_ml


def sample_size(counted: int, share: int) -> int:
    """How many containers are looked at again at least: the share [1/100 %] of those counted, rounded up.

    >>> sample_size(11, 1_000)
    2
    """
    return -(-counted * share // _WHOLE)


def shared_among(holdings: Mapping[int, int], ml: int) -> dict[int, int]:
    """A volume [mL] that came to a container, among the lots in it in proportion; more than is in it, too.

    holdings: lot id → mL held, something at all. The shares sum to ``ml``.

    >>> shared_among({1: 1_000, 2: 3_000}, 8_000)
    {1: 2000, 2: 6000}
    """
    held = sum(holdings.values())
    times, rest = divmod(ml, held)
    more = draw_in_proportion(holdings, rest) if rest else {}
    return {lot: times * each + more.get(lot, 0) for lot, each in holdings.items() if times * each + more.get(lot, 0)}


def value_minor(ml_by_lot: Mapping[int, int], price_minor_per_l: Mapping[int, int | None]) -> int | None:
    """What volumes [mL] of lots are worth at prices a liter, in hundredths of the currency; None: a price is not known.

    >>> value_minor({1: 3_785}, {1: 726})
    2748
    """
    prices = {lot: price_minor_per_l.get(lot) for lot in ml_by_lot}
    if not ml_by_lot or any(price is None for price in prices.values()):
        return None
    return round(sum(Fraction(ml * (prices[lot] or 0), _ML_PER_L) for lot, ml in ml_by_lot.items()))
