"""First expiry, first out, with the twist of foam: what goes to a drill, and what goes to the front line.

Opened containers and those that expire soonest go to drills first, expired ones before them; training foam before all.
The newest goes to the front line. Fluorinated foam never goes to a drill unless the department's policy lets it; not
known counts as fluorinated. [common practice, no source; the ban on drills with fluorinated foam is law in some states]
"""

from collections.abc import Iterable
from datetime import date
from typing import Final, NamedTuple

TRAINING: Final = "training"
SPENT: Final = frozenset(
    {"expired", "open too long", "date not known", "opening day not known"}
)  # still foams in a drill


class Stock(NamedTuple):
    """What must be known of a container to choose it. ``state``: what it is worth, in the words of the inventory."""

    id: int
    code: str
    kind: str  # of concentrate
    pfas: str
    ml: int
    sealed: bool
    through: date | None
    state: str
    counts: bool


def no_drill(stock: Stock, with_pfas: bool) -> str:
    """Why a container may not go to a drill; empty where it may. with_pfas: whether policy lets fluorinated foam."""
    if not with_pfas and stock.pfas != "no":
        return "holds PFAS" if stock.pfas == "yes" else "PFAS not known: treated as with PFAS"
    if not stock.counts and stock.state not in SPENT:
        return stock.state
    return ""


def drill_order(stock: Iterable[Stock], with_pfas: bool) -> list[Stock]:
    """What may go to a drill, in its order: training foam, what no longer counts, opened, soonest to expire."""

    def rank(each: Stock) -> tuple[bool, bool, bool, date, str]:
        return each.kind != TRAINING, each.counts, each.sealed, each.through or date.max, each.code

    return sorted((each for each in stock if not no_drill(each, with_pfas)), key=rank)


def front_line_order(stock: Iterable[Stock]) -> list[Stock]:
    """What may go to a unit, the newest first: sealed before opened, the longest good before the shorter."""

    def rank(each: Stock) -> tuple[bool, int, str]:
        return not each.sealed, -(each.through or date.min).toordinal(), each.code

    return sorted((each for each in stock if each.counts), key=rank)


def pick(inorder: Iterable[Stock], volume_ml: int) -> tuple[list[Stock], int]:
    """The first of them that come to ``volume_ml`` [mL] within 1 mL a container and 1, and what is still short [mL]."""
    chosen: list[Stock] = []
    have = 0
    for each in inorder:
        if have + len(chosen) + 1 >= volume_ml:
            break
        chosen.append(each)
        have += each.ml
    short = volume_ml - have
    return chosen, 0 if short <= len(chosen) + 1 else short


class Swap(NamedTuple):
    """One container of a unit that expires soon, and one of a store that lasts longer and would take its place."""

    out: Stock
    back: Stock
    days: int  # by which the unit's stock lasts longer


def swaps(aboard: Iterable[Stock], stores: Iterable[Stock], before: date, taken: set[int]) -> list[Swap]:
    """For each sealed container aboard that is good through a day before ``before``: a store's that lasts longer.

    1. The soonest to expire aboard chooses first, and takes what lasts longest of the same volume or more.
    2. A container in ``taken`` is promised already; what is chosen here is added to it.
    """
    free = [each for each in front_line_order(stores) if each.sealed and each.through is not None]
    found = []
    due = [each for each in aboard if each.counts and each.through is not None and each.through < before]
    for old in sorted(due, key=lambda each: (each.through or date.max, each.code)):
        through = old.through or date.max
        lasting = (new for new in free if new.ml + 1 >= old.ml and (new.through or through) > through)
        best = next((new for new in lasting if new.id not in taken), None)
        if best is not None:
            taken.add(best.id)
            found.append(Swap(old, best, ((best.through or through) - through).days))
    return found
