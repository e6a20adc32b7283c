"""Keeping vapor down without a fire: a first blanket, its upkeep, and the fire run kept back in case it lights."""

from math import ceil, inf
from typing import Final, NamedTuple

from readiness.engineering.demand import blanket_concentrate_l_m2
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import CoverPlan
from readiness.engineering.steps import Numbers, Recorder, Say

DEPTH_M: Final = 0.1016  # 4 in, the county's plan; an editable default, no source
EXPANSION: Final = 7.0  # the same
INTERVAL_MIN: Final = 15.0  # maintenance interval, default; at the scene the meter decides
DRAINED: Final = 2500  # a quarter drains in an interval [1/100 point]; worked from trade notes
WIND: Final = 2500  # the wind takes a quarter more [1/100 point]; the county's plan, no source
# Row D6, one national code (France, 3 October 2010, art. 43-3-5), for a region's pack.
PREVENTIVE_DEPTH_M: Final = 0.15
PREVENTIVE_UPKEEP_LPM_M2: Final = 0.2
_NEARLY: Final = 1e-9


class Blanket(NamedTuple):
    """What a vapor plan takes [L], the fire run apart."""

    foam_l: float  # finished foam of the first blanket, before wind
    solution_l: float  # its liquid, with what the wind takes
    first_l: float  # concentrate of the first blanket
    top_up_l: float  # concentrate of one upkeep
    top_ups: int
    upkeep_l: float  # concentrate of all of them
    total_l: float
    laid_l: float  # solution of the first blanket and all upkeeps


def top_ups(hold_min: float, interval_min: float = INTERVAL_MIN) -> int:
    """Upkeeps in the time planned: one at the end of each interval but the last, when the hold ends too.

    2 h at 15 min: 7. Source: the county worked by hand, S7; design section 5 step 11. Raises ``ValueError``.

    >>> top_ups(120)
    7
    """
    if hold_min <= 0 or interval_min <= 0:
        raise ValueError("A hold and its interval are above 0 min.")
    return max(0, ceil(hold_min / interval_min * (1 - _NEARLY)) - 1)


def blanket(
    area_m2: float,
    pct: float,
    hold_min: float,
    *,
    depth_m: float = DEPTH_M,
    expansion: float = EXPANSION,
    wind_loss: int = 0,
    drained: int = DRAINED,
    interval_min: float = INTERVAL_MIN,
    say: Say = None,
) -> Blanket:
    """Concentrate for a first blanket and its upkeep [L].

    foam = area × depth; solution = foam ÷ expansion × (1 + wind); first = solution × p; upkeep = first × what drained ×
    number of upkeeps. area_m2 [m²]; pct, wind_loss, drained [1/100 point], pct what the line really draws; hold_min,
    interval_min [min]; depth_m [m]. Valid for low-expansion foam (1 to 20). Source: row D5 for the blanket; upkeep by
    a quarter an interval: trade notes, a default. Raises ``ValueError``.
    """
    if area_m2 <= 0 or depth_m <= 0 or not 1 <= expansion <= 20:
        raise ValueError("A blanket has an area and a depth above 0, and an expansion between 1 and 20.")
    foam_l = area_m2 * depth_m * 1000.0
    solution = foam_l / expansion * (WHOLE + wind_loss) / WHOLE
    first = blanket_concentrate_l_m2(depth_m, expansion, 1) * pct * area_m2 * (WHOLE + wind_loss) / WHOLE
    times = top_ups(hold_min, interval_min)
    each = first * drained / WHOLE
    laid = solution * (1 + times * drained / WHOLE)
    made = Blanket(foam_l, solution, first, each, times, each * times, first + each * times, laid)
    if say is not None:
        _tell(made, area_m2, depth_m, expansion, wind_loss, pct, drained, say)
    return made


# What a plan has to state, with the most that can be: low expansion to 20 (row F2), a share to all of it.
_STATED: Final = (
    ("hold_min", "the time it is held", inf),
    ("interval_min", "the interval of upkeep", inf),
    ("depth_m", "the depth of the blanket", inf),
    ("expansion", "the expansion (1 to 20)", 20.0),
    ("drained", "what drains in an interval", WHOLE),
)


def not_stated(plan: CoverPlan | None) -> tuple[str, ...]:
    """What a plan does not state, or states as it cannot be: nothing is worked for it then. Wind may be 0.

    >>> not_stated(CoverPlan(120, 15, 0.1, 7, 2500))
    ('what the wind takes',)
    """
    plan = plan or CoverPlan()
    missing = [words for name, words, most in _STATED if not 0 < (getattr(plan, name) or 0) <= most]
    if plan.expansion is not None and 0 < plan.expansion < 1:
        missing.append("the expansion (1 to 20)")
    return (*missing, *(("what the wind takes",) if plan.wind_loss is None else ()))


def planned(plan: CoverPlan, area_m2: float, pct: float, say: Say = None) -> Blanket:
    """The blanket of a plan that states everything (``not_stated``); pct: what the line really draws [1/100 point]."""
    return blanket(
        area_m2,
        pct,
        plan.hold_min or 0.0,
        depth_m=plan.depth_m or 0.0,
        expansion=plan.expansion or 0.0,
        wind_loss=plan.wind_loss or 0,
        drained=plan.drained or 0,
        interval_min=plan.interval_min or 0.0,
        say=say,
    )


def _tell(
    made: Blanket,
    area_m2: float,
    depth_m: float,
    expansion: float,
    wind_loss: int,
    pct: float,
    drained: int,
    say: Recorder,
) -> None:
    area = ("area", area_m2, "m²")
    say("First blanket", "area × depth", (area, ("depth", depth_m, "m")), made.foam_l, "L", "arithmetic")
    numbers: Numbers = (("foam", made.foam_l, "L"), ("expansion", expansion, ""), ("wind", wind_loss / 100, "%"))
    say("Its solution", "foam ÷ expansion × (1 + wind)", numbers, made.solution_l, "L", "Arrêté of 9 Nov 1972, 603.1")
    numbers = (("solution", made.solution_l, "L"), ("p", pct / 100, "%"))
    say("Its concentrate", "solution × p", numbers, made.first_l, "L", "percentage is of solution")
    numbers = (("first", made.first_l, "L"), ("drained", drained / 100, "%"), ("times", float(made.top_ups), ""))
    say("Upkeep", "first × drained × times", numbers, made.upkeep_l, "L", "a default; at the scene the meter decides")
    numbers = (("first", made.first_l, "L"), ("upkeep", made.upkeep_l, "L"))
    say("Blanket and upkeep", "first + upkeep", numbers, made.total_l, "L", "arithmetic")


def preventive_upkeep_lpm(area_m2: float) -> float:
    """Upkeep of a preventive blanket by one national code: at least 0.2 L/min/m² [L/min]. Source: row D6.

    >>> preventive_upkeep_lpm(100.0)
    20.0
    """
    return area_m2 * PREVENTIVE_UPKEEP_LPM_M2
