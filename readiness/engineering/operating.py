"""The operating point of a foam line: what it flows at its inlet or pump pressure, and what it makes there.

**Eductor** (in-line, by-pass, kit). What is published is the rated point (so much flow at so much inlet pressure) and
the greatest back pressure with which it picks up (rows H1, H8). Ours are three simplifications [inference,
unconfirmed]:

1. With back pressure up to the limit the flow depends on the inlet alone: Q = rated × √(inlet ÷ plate's inlet), the
   square-root law of a jet into low pressure.
2. Above the limit it does not pick up and is a mere restriction: Q falls with √((inlet − back) ÷ (inlet − limit)),
   which joins the first at the limit.
3. A by-pass eductor is one plate like any other while foam is set; with foam off its water goes round the jet.

What it makes away from the plate's inlet is told as a direction only, rich below and lean above (trade notes): no
source gives a figure, and a line's own proportioning test does.

**All else** (around-the-pump, balanced, injection, self-educting nozzle, batch mix) lets the water pass: the flow is
the one at which nozzle, hose, appliances and height use up the pump's pressure, and the percentage is the setting as
far as the feed reaches (row B2).
"""

from functools import lru_cache
from math import pi, sqrt
from typing import Final, Literal, NamedTuple

from readiness.engineering.branches import branch_needs_kpa, driven_lpm, flows_lpm, wye_kpa
from readiness.engineering.friction import friction_kpa
from readiness.engineering.hydraulics import (
    back_pressure_kpa,
    back_pressure_limit_kpa,
    elevation_kpa,
    highest_m,
    hose_kpa,
    longest_stretch_m,
    tip_kpa,
)
from readiness.engineering.proportioning import made_pct
from readiness.engineering.records import Hose, Lay
from readiness.engineering.units import M_PER_IN

Direction = Literal["rich", "lean", ""]
# How far the inlet may lie from the plate's before we say so: about what a panel gauge is good for [inference].
INLET_BAND: Final = 0.05
# Speeds of water in hose over which C Q² L was compared with Darcy-Weisbach: 0.65 to 1.5 of it, at nominal bore.
SPEEDS_M_S: Final = (2.0, 12.0)
_NOISE: Final = 1e-9


class Point(NamedTuple):
    """Where a line settles. ``limit_kpa`` and ``share`` are of an eductor's back pressure; None for all else."""

    flow_lpm: float
    inlet_kpa: float
    back_kpa: float  # at the eductor's outlet; for all else what the lay uses up
    nozzle_kpa: float
    limit_kpa: float | None
    share: float | None
    picks_up: bool
    direction: Direction
    longest_m: float | None  # the longest stretch: that picks up, or that still gives the nozzle its own flow
    highest_m: float | None  # the same for the height of the nozzle
    fast: tuple[Hose, ...]  # legs in which the water runs outside the compared speeds
    branches: tuple[float, ...] = ()  # what each of unlike branches flows [L/min]


def eductor_flow_lpm(rated_lpm: float, inlet_kpa: float, rated_inlet_kpa: float | None) -> float:
    """Flow of an eductor that picks up: rated × √(inlet ÷ plate's inlet) [L/min]. Simplification 1 above.

    rated_lpm [L/min] at rated_inlet_kpa [kPa]; None: the plate's inlet is not known and the inlet counts as it. Valid
    while it picks up. Raises ``ValueError`` unless the pressures are positive.

    >>> round(eductor_flow_lpm(95.0, 50.0, 200.0), 6)
    47.5
    """
    if not (inlet_kpa > 0 and (rated_inlet_kpa is None or rated_inlet_kpa > 0)):
        raise ValueError(f"An inlet of {inlet_kpa:g} kPa was read: inlet and plate's inlet are more than 0.")
    return rated_lpm if rated_inlet_kpa is None else rated_lpm * sqrt(inlet_kpa / rated_inlet_kpa)


def inlet_from_pump_kpa(
    pump_kpa: float, before: tuple[Hose, ...], rated_lpm: float, rated_inlet_kpa: float | None
) -> float:
    """Inlet pressure of an eductor that stands at the end of hose from the pump [kPa]; 0 where nothing is left.

    pump − r Q², and Q² = rated² × inlet ÷ plate's inlet, gives inlet = pump ÷ (1 + r rated² ÷ plate's inlet); where the
    plate's inlet is not known, pump − r rated². r: friction of ``before`` at a flow of 1. Source: row H2 and
    simplification 1 above.
    """
    lost = hose_kpa(Lay(0.0, 0.0, before), rated_lpm)
    if rated_inlet_kpa is None:
        return max(0.0, pump_kpa - lost)
    return pump_kpa / (1 + lost / rated_inlet_kpa)


def direction_of(inlet_kpa: float, rated_inlet_kpa: float | None) -> Direction:
    """Rich below the plate's inlet pressure, lean above; neither within ``INLET_BAND``. Source: trade notes."""
    if rated_inlet_kpa is None or abs(inlet_kpa / rated_inlet_kpa - 1) <= INLET_BAND + _NOISE:
        return ""
    return "rich" if inlet_kpa < rated_inlet_kpa else "lean"


def standing_kpa(lay: Lay) -> float:
    """What a lay asks for whatever it flows: height, appliances, and a nozzle that holds its pressure [kPa].

    Of unlike branches only what stands before the wye.
    """
    held = lay.nozzle_kpa if lay.nozzle_k is None and not lay.branches else 0.0
    return elevation_kpa(lay.height_m) + lay.appliances_kpa + held


def resistance(lay: Lay) -> float:
    """What a lay asks for at a flow of 1, growing with its square: hose, and a nozzle known by its K [kPa/(L/min)²].

    Of unlike branches only what stands before the wye.
    """
    if lay.branches:
        return sum([friction_kpa(leg.coefficient, 1.0, leg.length_m) for leg in lay.hose])
    return hose_kpa(lay, 1.0) + (0.0 if lay.nozzle_k is None else lay.nozzle_k**-2)


def speed_m_s(size_in: float, flow_lpm: float) -> float:
    """Speed of the water in hose of a nominal size = Q ÷ (π d² ÷ 4) [m/s]. Arithmetic."""
    return flow_lpm / 60_000 / (pi * (size_in * M_PER_IN) ** 2 / 4)


def _fast(lay: Lay, flow_lpm: float) -> tuple[Hose, ...]:
    """Legs in which the water runs slower or faster than where the coefficients were compared."""
    least, greatest = SPEEDS_M_S
    legs = [(leg, flow_lpm) for leg in lay.hose] + [(leg, flow_lpm / lay.wye) for leg in lay.wye_hose]
    for branch, flow in zip(lay.branches, branch_flows(lay, flow_lpm), strict=True):
        legs += [(leg, flow) for leg in branch.hose]
    return tuple(leg for leg, flow in legs if leg.size_in and not least <= speed_m_s(leg.size_in, flow) <= greatest)


def branch_flows(lay: Lay, flow_lpm: float) -> tuple[float, ...]:
    """How a flow divides among unlike branches behind a wye [L/min]; nothing where there are none."""
    return flows_lpm(lay.branches, wye_kpa(lay.branches, flow_lpm)) if lay.branches else ()


@lru_cache(maxsize=8192)
def eductor_point(lay: Lay, rated_lpm: float, share: int) -> Point:
    """The operating point of an eductor, rated_lpm [L/min] of solution at its plate's inlet. See the module's words.

    share [1/100 point]: the department's share of inlet pressure where the plate states no back pressure. Raises
    ``ValueError`` for an inlet that is not positive.
    """
    most_lpm = eductor_flow_lpm(rated_lpm, lay.inlet_kpa, lay.rated_inlet_kpa)
    limit = back_pressure_limit_kpa(lay, share)
    picks_up = back_pressure_kpa(lay, most_lpm) <= limit * (1 + _NOISE)
    flow = most_lpm if picks_up else _restricted_lpm(lay, most_lpm, limit)
    back = back_pressure_kpa(lay, flow) if flow else min(lay.inlet_kpa, standing_kpa(lay))
    return Point(
        flow,
        lay.inlet_kpa,
        back,
        tip_kpa(lay, flow) if flow else 0.0,
        limit,
        back / lay.inlet_kpa,
        picks_up,
        direction_of(lay.inlet_kpa, lay.rated_inlet_kpa),
        longest_stretch_m(lay, most_lpm, limit),
        highest_m(lay, most_lpm, limit),
        _fast(lay, flow),
        branch_flows(lay, flow),
    )


def _restricted_lpm(lay: Lay, most_lpm: float, limit_kpa: float) -> float:
    """Flow of an eductor that does not pick up [L/min]: simplification 2, solved with the lay's own curve.

    (Q ÷ most)² (inlet − limit) = inlet − standing − resistance × Q². Nothing flows where even a still lay asks for more
    than the inlet gives.
    """
    over = lay.inlet_kpa - standing_kpa(lay)
    if over <= 0 or lay.inlet_kpa <= limit_kpa:
        return 0.0
    if lay.branches:
        jet = (lay.inlet_kpa - limit_kpa) / most_lpm**2
        return driven_lpm(lay.branches, resistance(lay) + jet, over)
    return sqrt(over / (resistance(lay) + (lay.inlet_kpa - limit_kpa) / most_lpm**2))


@lru_cache(maxsize=8192)
def pumped_point(lay: Lay, nozzle_lpm: float) -> Point:
    """The operating point of a line whose proportioner lets the water pass: pump = standing + resistance × Q².

    lay.inlet_kpa: the pump's discharge pressure [kPa]; nozzle_lpm: the flow that the nozzle is meant for [L/min], with
    which the longest stretch and the greatest height are worked. Where nothing in the lay depends on the flow, the flow
    is the nozzle's own. Source: rows H2, H7 and the square-root law of a nozzle.
    """
    flow = _pumped_lpm(lay, nozzle_lpm)
    return Point(
        flow,
        lay.inlet_kpa,
        back_pressure_kpa(lay, flow) if flow else standing_kpa(lay),
        tip_kpa(lay, flow) if flow else 0.0,
        None,
        None,
        flow > 0,
        "",
        longest_stretch_m(lay, nozzle_lpm, lay.inlet_kpa),
        highest_m(lay, nozzle_lpm, lay.inlet_kpa),
        _fast(lay, flow),
        branch_flows(lay, flow),
    )


def _pumped_lpm(lay: Lay, nozzle_lpm: float) -> float:
    over, resists = lay.inlet_kpa - standing_kpa(lay), resistance(lay)
    if lay.branches:
        return driven_lpm(lay.branches, resists, over)
    return 0.0 if over < 0 else sqrt(over / resists) if resists else nozzle_lpm


def pump_for_kpa(lay: Lay, flow_lpm: float) -> float:
    """The pump pressure at which a lay flows so much [kPa]: ``pumped_point`` solved for the pressure. Rows H2, H7.

    Of unlike branches behind a wye: the pressure at which each flows at least what its nozzle is meant for.
    """
    if not lay.branches:
        return back_pressure_kpa(lay, flow_lpm)
    wye = max(branch_needs_kpa(each) for each in lay.branches)
    return standing_kpa(lay) + resistance(lay) * sum(flows_lpm(lay.branches, wye)) ** 2 + wye


def fed_pct(setting: int, max_feed_lpm: float | None, flow_lpm: float) -> float:
    """What a fed proportioner makes [1/100 point]: the setting, or as much as its feed reaches. Source: row B2."""
    if max_feed_lpm is None or not flow_lpm:
        return float(setting)
    return min(float(setting), made_pct(max_feed_lpm, flow_lpm))


def tankful_min(water_l: float, flow_lpm: float) -> float:
    """Minutes that a batch-mixed tankful lasts = tank ÷ flow [min]; then the tank is mixed anew. Source: row B1.

    water_l: solution in the tank [L]; flow_lpm: of all its lines [L/min]. Raises ``ValueError`` unless something flows.

    >>> round(tankful_min(750.0, 95.0), 2)
    7.89
    """
    if not flow_lpm > 0:
        raise ValueError(f"A flow of {flow_lpm:g} L/min was read: a tankful ends only where something flows.")
    return water_l / flow_lpm
