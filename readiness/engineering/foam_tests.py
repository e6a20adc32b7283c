"""Finished foam in a cylinder: how far it expanded, how soon a quarter of its liquid drained, and its class."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, Literal, NamedTuple

ExpansionClass = Literal["low", "medium", "high"]
LOW_TO: Final = 20.0  # row F2
MEDIUM_TO: Final = 200.0
HIGH_TO: Final = 1000.0
QUARTER: Final = 0.25
READ_EVERY_MIN: Final = 0.5  # row F1: each 30 s


class Drained(NamedTuple):
    """One reading of a drainage: minutes since the foam was taken, and liquid below it [mL]."""

    minutes: float
    ml: float


def expansion(foam_ml: float, foam_g: float) -> float:
    """Expansion = volume of foam ÷ volume of the liquid in it, whose grams are its mL (density of water).

    foam_ml: the cylinder's volume [mL]; foam_g: mass of the foam alone [g]. Valid for solutions of a few percent, whose
    density is within 1 % of water's. Source: row F1 (course based on NFPA 412): 200 g in 1000 mL is 5.0. Raises
    ``ValueError`` for an expansion below 1: foam is never heavier than its liquid.

    >>> expansion(1000, 200)
    5.0
    """
    if foam_ml <= 0 or foam_g <= 0:
        raise ValueError(f"{foam_g:g} g of foam in {foam_ml:g} mL was read: both are above 0.")
    if foam_g > foam_ml:
        raise ValueError(
            f"{foam_g:g} g in {foam_ml:g} mL was read, which is heavier than water: take the empty cylinder's mass off."
        )
    return foam_ml / foam_g


def expansion_class(expanded: float) -> ExpansionClass:
    """Low up to 20, medium above 20 up to 200, high above 200 up to 1000. Source: row F2. Raises ``ValueError``.

    >>> expansion_class(20.0), expansion_class(20.1)
    ('low', 'medium')
    """
    if not 1 <= expanded <= HIGH_TO:
        raise ValueError(f"An expansion of {expanded:g} was read: between 1 and {HIGH_TO:g} there is a class.")
    if expanded <= LOW_TO:
        return "low"
    return "medium" if expanded <= MEDIUM_TO else "high"


def quarter_ml(foam_g: float) -> float:
    """Liquid that has drained when a quarter has = grams of foam ÷ 4 [mL]. Source: row F1: 200 g, 50 mL."""
    return foam_g * QUARTER


def _refuse_series(series: Sequence[Drained]) -> None:
    if len(series) < 2:
        raise ValueError("A drainage needs two readings or more, each with its minute and its mL.")
    for before, after in pairwise(series):
        if after.minutes <= before.minutes:
            raise ValueError(f"{after.minutes:g} min stands after {before.minutes:g} min: readings go on in time.")
        if after.ml < before.ml:
            raise ValueError(
                f"{after.ml:g} mL at {after.minutes:g} min comes after {before.ml:g} mL: drained foam does not go back."
            )
    if series[0].minutes < 0 or series[0].ml < 0:
        raise ValueError("A drainage begins at 0 min with 0 mL or more.")


def drained_at_min(series: Sequence[Drained], ml: float) -> float | None:
    """The minute at which so much had drained, between readings by a straight line; None: not by the last reading.

    series: readings in time, minutes [min] and mL; ml [mL]. Never read beyond the last reading. Before the first,
    from 0 mL at 0 min. Source: row F1 (interpolate). Raises ``ValueError`` for readings that go back in time or volume.

    >>> drained_at_min([Drained(0, 0), Drained(1, 40), Drained(2, 60)], 50)
    1.5
    """
    _refuse_series(series)
    points = series if series[0].minutes == 0 else [Drained(0.0, 0.0), *series]
    if ml <= points[0].ml:
        return points[0].minutes
    for before, after in pairwise(points):
        if before.ml < ml <= after.ml:
            return before.minutes + (ml - before.ml) / (after.ml - before.ml) * (after.minutes - before.minutes)
    return None


def below_declared(measured: float, declared: float | None) -> bool:
    """Whether a measured expansion or quarter-drainage time falls short of what the listing or maker declares."""
    return declared is not None and measured < declared * (1 - 1e-9)
