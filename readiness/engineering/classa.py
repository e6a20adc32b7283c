"""Class A foam is judged in tankfuls of water, and counts for nothing else."""

from readiness.engineering.percentages import concentrate_for_water_l
from readiness.engineering.steps import Say


def tankfuls_need_l(water_l: float, pct: int, tankfuls: float, say: Say = None) -> float:
    """Concentrate for so many tankfuls = tankfuls × W × p ÷ (1 − p) [L]. Source: row B1's arithmetic.

    water_l, one tankful [L]; pct [1/100 point]; the water is what the tank holds, so p is added to it.

    >>> round(tankfuls_need_l(300.0, 30, 5), 2)
    4.51
    """
    need = tankfuls * concentrate_for_water_l(water_l, pct)
    if say is not None:
        numbers = (("tankfuls", tankfuls, ""), ("W", water_l, "L"), ("p", pct / 100, "%"))
        say(
            "Concentrate for tankfuls",
            "tankfuls × W × p ÷ (1 − p)",
            numbers,
            need,
            "L",
            "percentage is of solution, the tank holds water",
        )
    return need
