"""How much to keep and when to order: lead-time use, safety stock, order point, order quantity.

Formulas of inventory theory as textbooks give them; each says its units and where it holds. Quantities may be in any
unit of volume, the same in all arguments of a call, except where a name says mL; money in any currency, likewise.
"""

from collections.abc import Sequence
from math import inf, isfinite, sqrt
from statistics import NormalDist, stdev
from typing import Final, NamedTuple

from readiness.engineering.units import enough, pails_for

_FEWEST_PERIODS: Final = 2


class StockingError(ValueError):
    """Numbers outside the range in which a formula holds. The message is the sentence."""


def _in_range(holds: bool, sentence: str) -> None:
    if not holds:
        raise StockingError(sentence)


# -- use while an order is on its way ----------------------------------------------------------------------------------


class Use(NamedTuple):
    """Use measured over equal periods: the mean of a day, and how much a period differs from the next [volume].

    ``deviation`` is the sample standard deviation of a period's use; None where fewer than two periods are known.
    """

    daily: float
    deviation: float | None
    period_d: float


def measured_use(periods: Sequence[float], period_d: float) -> Use:
    """Mean and spread of use over equal periods of ``period_d`` [days], oldest or newest first.

    >>> measured_use([10.0, 14.0], 30).daily
    0.4
    """
    _in_range(bool(periods) and period_d > 0, "Use is measured over at least one period of more than 0 days.")
    spread = stdev(periods) if len(periods) >= _FEWEST_PERIODS else None
    return Use(sum(periods) / (len(periods) * period_d), spread, period_d)


def lead_time_use(use: Use, lead_time_d: float) -> float:
    """Use to expect while an order is on its way: daily mean × lead time [volume]."""
    _in_range(lead_time_d >= 0, f"A lead time of {lead_time_d:g} days was read: 0 or more belongs here.")
    return max(use.daily, 0.0) * lead_time_d


def lead_time_deviation(use: Use, lead_time_d: float) -> float | None:
    """Standard deviation of use during a constant lead time: σ_period · √(lead time ÷ period) [volume].

    Holds where the use of one period does not depend on the last one. None where the spread is not known.
    Source: any textbook of inventory theory (variances of independent periods add up).
    """
    _in_range(lead_time_d >= 0, f"A lead time of {lead_time_d:g} days was read: 0 or more belongs here.")
    return None if use.deviation is None else use.deviation * sqrt(lead_time_d / use.period_d)


def stock_for_service(mean: float, deviation: float, service: float) -> float:
    """The stock that a normally distributed use exceeds with probability 1 − ``service``: mean + z(service) · σ.

    service: a share between 0 and 1, neither included. With service = p ÷ (p + h) it is the newsvendor's quantity.
    Source: Snyder and Shen, Fundamentals of Supply Chain Theory, example 4.3.

    >>> round(stock_for_service(50, 8, 0.70 / 0.88), 6)
    56.603956
    """
    _in_range(0 < service < 1, f"A service level of {service:.2%} was read: more than 0 % and less than 100 %.")
    _in_range(deviation >= 0, "A spread of use lies not below 0.")
    return mean + NormalDist().inv_cdf(service) * deviation


def safety_stock(deviation: float, service: float) -> float:
    """What is kept beyond the expected use so that an order arrives in time with probability ``service``, never < 0."""
    return max(0.0, stock_for_service(0.0, deviation, service))


# -- order point and order quantity ------------------------------------------------------------------------------------


def order_point(planned_need: float, lead_use: float, safety: float = 0.0) -> float:
    """Order when what is on hand and on order falls to this: largest planned need + use in lead time + safety stock.

    The largest planned need stays untouched while the order is on its way: the spill does not wait for the truck.
    """
    _in_range(min(planned_need, lead_use, safety) >= 0, "Need, use and safety stock lie not below 0.")
    return planned_need + lead_use + safety


def containers_to_order(position_ml: int, kept_in: int, *, point_ml: float, most_ml: int | None, pack_ml: int) -> int:
    """Whole containers of ``pack_ml`` to order, 0 while the position (on hand + on order) is not below the order point.

    1. At least so many that the order point is met again, within what whole millilitres cost (``units.enough``).
    2. Up to the maximum where one is stated, but no container beyond it for that; rule 1 goes first.
    position_ml, point_ml, most_ml, pack_ml [mL]; kept_in: containers that the position is kept in.

    >>> containers_to_order(90_000, 5, point_ml=120_000, most_ml=200_000, pack_ml=18_927)
    5
    """
    if enough(position_ml, point_ml, kept_in):
        return 0
    least = pails_for(point_ml - position_ml, pack_ml)
    return least if most_ml is None else max(least, (most_ml - position_ml) // pack_ml)


def economic_order_quantity(order_cost: float, holding_cost: float, demand: float) -> float:
    """The quantity at which a year's ordering and holding costs are least: √(2 K λ ÷ h).

    order_cost K: money an order, whatever its size; holding_cost h: money to keep one unit of volume for a year;
    demand λ: volume a year. Holds for steady use, an order that comes whole, and no quantity discount; shelf life
    is not in it. Source: Snyder and Shen, example 3.1 (K = 8, h = 0.225, λ = 1,300).

    >>> round(economic_order_quantity(8, 0.225, 1300), 5)
    304.04678
    """
    _in_range(min(order_cost, holding_cost, demand) > 0, "Order cost, holding cost and demand are more than 0.")
    return sqrt(2 * order_cost * demand / holding_cost)


def yearly_order_cost(quantity: float, order_cost: float, holding_cost: float, demand: float) -> float:
    """Ordering and holding costs of a year when ``quantity`` is ordered each time: K λ ÷ Q + h Q ÷ 2 [money]."""
    _in_range(quantity > 0, "An order is of more than nothing.")
    return order_cost * demand / quantity + holding_cost * quantity / 2


class Plan(NamedTuple):
    """How much to order in each period, and what ordering and holding cost together."""

    quantities: tuple[float, ...]
    cost: float


def order_plan(demands: Sequence[float], order_cost: float, holding_cost: float) -> Plan:
    """In which periods to order for known demands, at the least cost of orders and of keeping until needed.

    The algorithm of Wagner and Whitin (1958), backward over t = T … 1 with θ(T + 1) = 0:
    θ(t) = min over s > t of { K + h Σ (i − t) d(i), i = t … s − 1, + θ(s) }; a period without demand to come orders
    nothing. order_cost K: money an order; holding_cost h: money to keep one unit from one period to the next, counted
    on what is left at a period's end. Holds where demands are known; shelf life is not in it.
    Source: Snyder and Shen, example 3.9 (h = 2, K = 500, d = 90, 120, 80, 70: cost 1,380).

    >>> order_plan([90, 120, 80, 70], 500, 2)
    Plan(quantities=(210, 0, 150, 0), cost=1380.0)
    """
    _in_range(order_cost >= 0 and holding_cost >= 0, "Order cost and holding cost lie not below 0.")
    _in_range(all(isfinite(each) and each >= 0 for each in demands), "Demands lie not below 0.")
    best: list[float] = [0.0] * (len(demands) + 1)
    covers: list[int] = [0] * len(demands)
    for t in reversed(range(len(demands))):
        best[t], covers[t] = _cheapest(demands, order_cost, holding_cost, t, best)
    return Plan(_quantities(demands, covers), best[0])


def _cheapest(
    demands: Sequence[float], order_cost: float, holding_cost: float, t: int, best: Sequence[float]
) -> tuple[float, int]:
    """θ(t), and the period before which an order in t lasts. Without demand in t there is no reason to order then."""
    if demands[t] == 0:
        return best[t + 1], t + 1
    least, until, held = inf, t + 1, 0.0
    for s in range(t + 1, len(demands) + 1):
        held += holding_cost * (s - 1 - t) * demands[s - 1]
        if order_cost + held + best[s] < least:
            least, until = order_cost + held + best[s], s
    return least, until


def _quantities(demands: Sequence[float], covers: Sequence[int]) -> tuple[float, ...]:
    found: list[float] = [0] * len(demands)
    t = 0
    while t < len(demands):
        found[t] = sum(demands[t : covers[t]])
        t = covers[t]
    return tuple(found)
