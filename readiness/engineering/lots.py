"""How a draw from a container that holds several lots is shared among them, in whole millilitres."""

from collections.abc import Mapping


class DrawError(ValueError):
    """A draw that cannot be made. The message is the sentence."""


def _refuse_impossible(holdings: Mapping[int, int], ml: int) -> None:
    if ml <= 0:
        raise DrawError(f"A draw of {ml:,} ml was read: a draw is at least 1 ml.")
    if any(held < 0 for held in holdings.values()):
        raise DrawError("A lot with less than nothing in it was read: contents are 0 ml or more.")
    total = sum(holdings.values())
    if ml > total:
        raise DrawError(f"A draw of {ml:,} ml was read and {total:,} ml is there: draw at most {total:,} ml.")


def draw_in_proportion(holdings: Mapping[int, int], ml: int) -> dict[int, int]:
    """Millilitres drawn from each lot when ``ml`` leaves a container in which the lots are mixed evenly.

    1. Each lot gives the whole millilitres of its exact share, ml × held ÷ total.
    2. The millilitres left over go one each to the largest remainders; between equal remainders to the smallest
       lot, so that a trace comes to zero first, then to the lowest lot id.

    holdings: lot id → ml held [ml]; ml [ml]. The draws sum to ``ml`` exactly, none is more than its lot holds, each
    is within 1 ml of its exact share, and lots that give nothing are left out. Raises ``DrawError`` when ``ml`` is
    not positive or more than is there. Largest remainder: Hamilton's method of apportionment.

    >>> draw_in_proportion({1: 1_000, 2: 3_000}, 10)
    {1: 3, 2: 7}
    """
    _refuse_impossible(holdings, ml)
    total = sum(holdings.values())
    shares = {lot: divmod(ml * held, total) for lot, held in holdings.items()}
    left_over = ml - sum(whole for whole, _ in shares.values())
    by_remainder = sorted(shares, key=lambda lot: (-shares[lot][1], holdings[lot], lot))
    one_more = set(by_remainder[:left_over])
    drawn = {lot: whole + (lot in one_more) for lot, (whole, _) in shares.items()}
    return {lot: each for lot, each in drawn.items() if each}
