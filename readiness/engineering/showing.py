"""Figures worked from a stock, with the tolerance that whole millilitres cost, ready to be rounded down for show.

Nine 5-gal pails are 170,343 ml, half a millilitre less than 45 gal. What follows from them (area, minutes, share) must
not be shown as 999 ft² where 45 gal cover 1,000: the same tolerance that makes the stock enough is given to what is
worked from it. The answer itself keeps the exact figures.
"""

from readiness.engineering.demand import hands_on_pails, pails_an_hour, seconds_a_pail
from readiness.engineering.records import Answer
from readiness.engineering.units import ML_PER_L, tolerance_ml


def from_stock(value: float, answer: Answer) -> float:
    """A figure proportional to the usable volume, as of the volume plus its tolerance. Same unit as ``value``."""
    if not answer.usable_l:
        return value
    return value * (1 + tolerance_ml(answer.containers) / ML_PER_L / answer.usable_l)


def minutes(answer: Answer) -> float:
    """Minutes of foam [min]."""
    return from_stock(answer.minutes, answer)


def share(answer: Answer) -> float:
    """Share of the line need, 1.0 = all."""
    return from_stock(answer.share, answer)


def area_by_stock_m2(answer: Answer) -> float:
    """Area that the stock covers [m²]."""
    return from_stock(answer.area_by_stock_m2, answer)


def area_m2(answer: Answer) -> float:
    """Area covered: the lesser of what flow and stock cover [m²]."""
    return min(answer.area_by_rate_m2, area_by_stock_m2(answer))


def pail_seconds(answer: Answer, pail_l: float) -> float | None:
    """Seconds a pail of ``pail_l`` [L] lasts; None where nothing is drawn."""
    return seconds_a_pail(pail_l, answer.draw_lpm) if answer.draw_lpm else None


def pails_hourly(answer: Answer, pail_l: float) -> float:
    """Pails of ``pail_l`` [L] an hour."""
    return pails_an_hour(pail_l, answer.draw_lpm)


def hands(answer: Answer, pail_l: float) -> int | None:
    """People who keep the pails coming; None where nothing is drawn."""
    seconds = pail_seconds(answer, pail_l)
    return None if seconds is None else hands_on_pails(seconds)
