"""Rates and minutes for storage tanks by one national decree (France, 3 October 2010, annex V), a region's pack.

Off unless a department turns it on; the general rules stand in ``rates``.
"""

from collections.abc import Iterable
from math import ceil
from typing import Final, Literal

Application = Literal["gentle", "indirect", "direct"]
Worsening = Literal["side_blocked", "several_tanks", "reach_category_ii", "wind_zone_ii", "delay_missed"]

# Row R5: (not miscible, miscible) with water, L/min/m².
_RATES: Final[dict[Application, tuple[float, float]]] = {
    "gentle": (4.0, 4.0),
    "indirect": (5.0, 8.0),
    "direct": (7.0, 15.0),
}
_MINUTES: Final = 20.0
_MOBILE_MORE_MIN: Final = 10.0
_MOBILE_ABOVE_M2: Final = 2000.0
_MOBILE_EACH_M2: Final = 1000.0

# Row R6: what is added to K, each once.
_FACTORS: Final[dict[Worsening, float]] = {
    "side_blocked": 0.25,
    "several_tanks": 0.1,
    "reach_category_ii": 0.5,
    "wind_zone_ii": 0.1,
    "delay_missed": 0.25,
}


def tank_rate_lpm_m2(application: Application, *, miscible: bool) -> float:
    """Application rate on a storage tank by the way of applying and whether the liquid mixes with water [L/min/m²].

    Source: row R5.
    """
    return _RATES[application][miscible]


def tank_minutes(area_m2: float, *, mobile: bool) -> float:
    """Minutes on a storage tank: 20, and with mobile means 10 more for each 1000 m² above 2000 m² [min].

    A begun 1000 m² counts as a whole one, the safe reading of the row. Source: row R5.
    """
    if not mobile or area_m2 <= _MOBILE_ABOVE_M2:
        return _MINUTES
    return _MINUTES + _MOBILE_MORE_MIN * ceil((area_m2 - _MOBILE_ABOVE_M2) / _MOBILE_EACH_M2)


def performance_rate_lpm_m2(tested_rate_lpm_m2: float, worsening: Iterable[Worsening]) -> float:
    """Rate by the performance method: T = Texp × K + 0.5, K = 1 + the sum of what makes the place worse [L/min/m²].

    tested_rate_lpm_m2: Texp, the rate that put out the test fire [L/min/m²]. Source: row R6.

    >>> performance_rate_lpm_m2(2.5, _FACTORS)
    6.0
    """
    k = 1 + sum(_FACTORS[each] for each in worsening)
    return tested_rate_lpm_m2 * k + 0.5
