"""What an option is worth on a day, and which option is the best.

Nothing gets better by waiting: stock only leaves the count and tests only run out, so every option's grade only falls,
and with it the best of them. That is what lets the last good day be found by halving.
"""

from collections.abc import Sequence
from datetime import date
from itertools import combinations
from typing import Final, NamedTuple

from readiness.engineering.bench import Stock
from readiness.engineering.deficiencies import TABLE
from readiness.engineering.options import Option, Options, Pool
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import RANK, Policy

NOT_READY, UNVERIFIED = RANK["not_ready"], RANK["unverified"]
SHORTAGES: Final = {
    code: RANK[TABLE[code].severity] if code else 0 for code in ("", "hold_back_short", "runs_dry", "short_of_textbook")
}


class Grade(NamedTuple):
    """An option on a day, in the order that picks the best: lower is better."""

    rank: int
    uncovered: float  # minus the covered share of the area, at most 1; 0 where no good foam leaves the nozzle
    unmet: float  # minus the share of the line need
    option: Option
    other: Option | None  # the second concentrate, where policy lets them add as minutes
    usable_l: float
    containers: int
    need_l: float
    textbook_share: float
    doubtful: bool  # counts on stock whose date is in doubt
    shortage: str  # deficiency code: short_of_textbook, runs_dry, hold_back_short, or empty


def key(grade: Grade) -> tuple[int, float, float]:
    """What grades are compared by: status, covered share, share of the line need."""
    return grade.rank, grade.uncovered, grade.unmet


def stock_on(pools: tuple[Pool, ...], day: date) -> Stock:
    """Usable volume of an option on a day: of the whole, or less where a part of the lines runs out sooner."""
    whole = pools[0].pile.on(day)
    if len(pools) == 1:
        return whole
    firm_l, all_l = whole.firm_l, whole.all_l
    for pool in pools[1:]:
        part = pool.pile.on(day)
        firm_l = min(firm_l, part.firm_l * pool.ratio)
        all_l = min(all_l, part.all_l * pool.ratio)
    return Stock(firm_l, whole.firm_containers, all_l, whole.all_containers)


def need_on(option: Option, day: date, policy: Policy) -> tuple[float, bool]:
    """(line need [L], whether a test is out of date): at the rich end without a test in date, where policy says so."""
    lapsed = option.test_through < day
    if lapsed and policy.rich_end == "short":
        return option.rich_need_l, True
    return option.need_l, lapsed


def _shortage(usable_l: float, containers: int, textbook_l: float, need_l: float, hold_back: int) -> str:
    """Short of the textbook need, of the line need, of the hold-back, or of nothing, within the tolerance."""
    have = usable_l + (containers + 1) / 1000
    if have < textbook_l:
        return "short_of_textbook"
    if have < need_l:
        return "runs_dry"
    return "hold_back_short" if hold_back and have < need_l * (WHOLE + hold_back) / WHOLE else ""


def _graded(option: Option, usable_l: float, containers: int, need_l: float, base: int, doubtful: bool) -> Grade:
    """An option with so much usable; ``base`` is the rank of all but the stock."""
    textbook_l, required = option.textbook_l, option.task.required_lpm
    textbook_share = usable_l / textbook_l if textbook_l else 0.0
    by_rate = min(1.0, option.rate_lpm / required) if required else 1.0
    covered = min(by_rate, textbook_share) if option.works else 0.0
    share = usable_l / need_l if need_l else 0.0
    code = _shortage(usable_l, containers, textbook_l, need_l, option.task.hold_back)
    rank = max(base, SHORTAGES[code], UNVERIFIED if doubtful else 0)
    return Grade(rank, -covered, -share, option, None, usable_l, containers, need_l, textbook_share, doubtful, code)


def grades(option: Option, day: date, policy: Policy) -> list[Grade]:
    """One option on one day: by its sure stock, and where some is in doubt also by all of it.

    Stock in doubt (no date known, a tank's sample overdue) counts, unverified; where the sure stock alone gives a
    better answer, that is the answer, so that one more pail never makes it worse.
    """
    stock = stock_on(option.pools, day)
    need, lapsed = need_on(option, day, policy)
    base = max(option.rank, UNVERIFIED) if lapsed or option.foam_through < day else option.rank
    sure = _graded(option, stock.firm_l, stock.firm_containers, need, base, False)
    if stock.all_containers == stock.firm_containers:
        return [sure]
    return [sure, _graded(option, stock.all_l, stock.all_containers, need, base, True)]


def grade_pair(one: Grade, other: Grade, base: int) -> Grade:
    """Two concentrates laid one after the other through separate lines: their shares add, as minutes of one attack.

    ``base`` is the worse rank of what is wrong with either; only the shortage is judged on the sum, in the first's
    volumes.
    """
    shares, share = one.textbook_share + other.textbook_share, -one.unmet - other.unmet
    containers, option = one.containers + other.containers, one.option
    code = _shortage(shares * option.textbook_l, containers, option.textbook_l, 0.0, 0)
    code = code or _shortage(share * one.need_l, containers, 0.0, one.need_l, option.task.hold_back)
    doubtful = one.doubtful or other.doubtful
    rank = max(base, SHORTAGES[code], UNVERIFIED if doubtful else 0)
    usable = one.usable_l + other.usable_l
    return Grade(
        rank, -min(1.0, shares), -share, option, other.option, usable, containers, one.need_l, shares, doubtful, code
    )


def _may_add(one: Option, other: Option) -> bool:
    """Separate lines, different concentrates, and each alone works at the full rate."""
    if one.concentrate.id == other.concentrate.id or one.task.fixed_l is not None:
        return False
    ready_but_for_stock = one.rank < NOT_READY and other.rank < NOT_READY
    lines = {run.line.id for run in one.runs}
    return ready_but_for_stock and not any(run.line.id in lines for run in other.runs)


def _base(option: Option, day: date, policy: Policy) -> int:
    lapsed = need_on(option, day, policy)[1] or option.foam_through < day
    return max(option.rank, UNVERIFIED) if lapsed else option.rank


def _pairs(every: Sequence[Grade], day: date, policy: Policy) -> list[Grade]:
    """Every two options that may add, by their sure stock and by all of it."""
    return [
        grade_pair(one, other, max(_base(one.option, day, policy), _base(other.option, day, policy)))
        for one, other in combinations(every, 2)
        if _may_add(one.option, other.option)
    ]


def rank_of(option: Option, day: date, policy: Policy) -> int:
    """The least rank of ``grades``, without the figures: the night asks for it on every day that something ends."""
    need, lapsed = need_on(option, day, policy)
    lapsed = lapsed or option.foam_through < day
    base = UNVERIFIED if lapsed and option.rank < UNVERIFIED else option.rank
    if base == NOT_READY:
        return base
    stock, hold_back = stock_on(option.pools, day), option.task.hold_back
    sure = _shortage(stock.firm_l, stock.firm_containers, option.textbook_l, need, hold_back)
    rank = max(base, SHORTAGES[sure]) if sure else base
    if rank <= UNVERIFIED or stock.all_containers == stock.firm_containers:
        return rank
    doubtful = _shortage(stock.all_l, stock.all_containers, option.textbook_l, need, hold_back)
    return max(base, UNVERIFIED, SHORTAGES[doubtful])


def is_worse_on(options: Options, before: int, day: date, policy: Policy) -> bool:
    """Whether a duty's best option on a day ranks worse than ``before``: asked option by option until one does not."""
    if policy.add_concentrates and len(options.options) > 1:
        best = best_on(options, day, policy)
        return best is None or best.rank > before
    return all(rank_of(option, day, policy) > before for option in options.options)


def best_on(options: Options, day: date, policy: Policy) -> Grade | None:
    """The best grade open to a duty on a day; None where no concentrate counts. The earlier option wins a tie."""
    every = [each for option in options.options for each in grades(option, day, policy)]
    if policy.add_concentrates and len(options.options) > 1:
        every += _pairs(every, day, policy)
    return min(every, key=key) if len(every) > 1 else every[0] if every else None
