"""How much solution, concentrate and water an attack takes. Percentages are hundredths of a point of solution."""

from typing import Final

from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import Rate
from readiness.engineering.steps import Say
from readiness.engineering.units import L_PER_US_GAL, LPM_M2_PER_GPM_FT2, M2_PER_FT2

ONE_HAND_A_MINUTE: Final = 60.0  # seconds in which one person changes one pail [inference, no source]
_NEARLY: Final = 1 - 1e-9  # what floats leave behind, so that 95 gpm on 950 ft² at 0.10 is enough


def rate_lpm_m2(rate: Rate) -> float:
    """A published rate in L/min/m², for comparing only: the flow is worked in the rate's own unit."""
    return rate.value * LPM_M2_PER_GPM_FT2 if rate.unit == "gpm_ft2" else rate.value


def greater_rate(one: Rate | None, other: Rate | None) -> Rate | None:
    """The greater of the standard's and the listing's rate; None where neither states one."""
    if one is None or other is None:
        return one or other
    return one if rate_lpm_m2(one) >= rate_lpm_m2(other) else other


def required_flow_lpm(
    area_m2: float, rate: Rate, wind_loss: int = 0, say: Say = None, source: str = "arithmetic"
) -> float:
    """Required flow of solution = area × rate × (1 + stated loss) [L/min].

    area_m2 [m²]; rate in its published unit, so that 900 ft² at 0.10 gpm/ft² is 90 gpm and not 89.99; wind_loss, a
    stated loss of monitors in wind [1/100 point]; source, where the rate comes from, for the working. Source: rows D1,
    D3, D4 of the published values.

    >>> round(required_flow_lpm(83.612736, Rate(0.10, "gpm_ft2")) / 3.785411784, 9)
    90.0
    """
    if rate.unit == "gpm_ft2":
        flow = round(round(area_m2 / M2_PER_FT2 * rate.value, 9) * L_PER_US_GAL, 9)
    else:
        flow = area_m2 * rate.value
    if wind_loss:
        flow = flow * (WHOLE + wind_loss) / WHOLE
    if say is not None:
        numbers = (("area", area_m2, "m²"), ("rate", rate_lpm_m2(rate), "L/min/m²"), ("loss", wind_loss / 100, "%"))
        say("Required flow", "area × rate × (1 + loss)", numbers, flow, "L/min", source)
    return flow


def meets_flow(flow_lpm: float, required_lpm: float) -> bool:
    """Whether a flow meets what is required, but for what floats leave behind."""
    return flow_lpm >= required_lpm * _NEARLY


def concentrate_l(flow_lpm: float, pct: float, minutes: float) -> float:
    """Concentrate = flow of solution × percentage × minutes [L]; percentage of solution. Source: rows D1, D7."""
    return flow_lpm * minutes * pct / WHOLE


def textbook_need_l(required_lpm: float, pct: int, minutes: float, say: Say = None) -> float:
    """Textbook need = required flow × p × minutes [L]. Source: rows D1, R1; p of solution (row D7)."""
    need = concentrate_l(required_lpm, pct, minutes)
    if say is not None:
        numbers = (("required", required_lpm, "L/min"), ("p", pct / 100, "%"), ("minutes", minutes, "min"))
        say("Textbook need", "required × p × minutes", numbers, need, "L", "percentage is of solution")
    return need


def line_need_l(
    required_lpm: float, flow_lpm: float, draw: float, minutes: float, say: Say = None, label: str = "Line need"
) -> float:
    """Line need = max(required, what the lines really flow) × draw × minutes [L].

    draw = max(p, last measured, however old) [1/100 point], weighted by flow where several lines run. A line that
    flows more than is asked empties its pails just the same. Source: row D7 at the line's own flow. label: what the
    working calls it.
    """
    need = concentrate_l(max(required_lpm, flow_lpm), draw, minutes)
    if say is not None:
        numbers = (
            ("required", required_lpm, "L/min"),
            ("line flow", flow_lpm, "L/min"),
            ("draw", draw / 100, "%"),
            ("minutes", minutes, "min"),
        )
        say(
            label,
            "max(required, line flow) × draw × minutes",
            numbers,
            need,
            "L",
            "percentage is of solution, of what the line really flows",
        )
    return need


def area_by_rate_m2(flow_lpm: float, required_lpm: float, area_m2: float) -> float:
    """Area that the flow covers at the required rate = area × flow ÷ required [m²]; more than ``area_m2`` if it can."""
    return area_m2 * flow_lpm / required_lpm if required_lpm else 0.0


def area_by_stock_m2(usable_l: float, textbook_l: float, area_m2: float) -> float:
    """Area that the stock covers for the whole time at the required rate = area × usable ÷ textbook need [m²]."""
    return area_m2 * usable_l / textbook_l if textbook_l else 0.0


def minutes_of_water(tank_l: float, water_lpm: float) -> float:
    """Minutes of own water = tank ÷ (flow × (1 − p)) [min]; ``water_lpm`` is the water in the solution."""
    return tank_l / water_lpm


def seconds_a_pail(pail_l: float, draw_lpm: float) -> float:
    """Seconds in which a line empties a pail = 60 × pail ÷ concentrate flow [s]. Source: arithmetic."""
    return 60.0 * pail_l / draw_lpm


def pails_an_hour(pail_l: float, draw_lpm: float) -> float:
    """Pails a line empties in an hour = 60 × concentrate flow ÷ pail. Source: arithmetic."""
    return 60.0 * draw_lpm / pail_l


def hands_on_pails(seconds: float) -> int:
    """People to keep the pails coming, at a pail a minute for each [inference, no source]."""
    return max(1, -int(-ONE_HAND_A_MINUTE // seconds))


def blanket_concentrate_l_m2(depth_m: float, expansion: float, pct: int) -> float:
    """Concentrate in a blanket = depth × 1000 ÷ expansion × p [L/m²]. Source: row D5."""
    return depth_m * 1000.0 / expansion * pct / WHOLE
