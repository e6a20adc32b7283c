"""Pressures along a foam line: friction, height, nozzle; the back pressure at an eductor, and whether it picks up.

Every loss of a lay grows with the square of its flow or does not depend on it, so that each question has one answer in
closed form: back = standing + resistance × Q². Only unlike branches behind a wye are solved by halving (``branches``).
"""

from functools import lru_cache
from typing import Final, NamedTuple

from readiness.engineering.branches import flows_lpm, tip_of_branch_kpa, wye_kpa
from readiness.engineering.friction import friction_kpa
from readiness.engineering.nozzles import nozzle_pressure_kpa
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import Hose, Lay
from readiness.engineering.steps import Recorder, Say
from readiness.engineering.units import KPA_PER_PSI, M_PER_FT

# Row H2: C for psi, gpm and hundreds of feet, by hose size in inches.
COEFFICIENTS: Final = {"1.5": 24.0, "1.75": 15.5, "2.5": 2.0, "3": 0.677, "4": 0.2, "5": 0.08}
_KPA_PER_M: Final = 0.434 * KPA_PER_PSI / M_PER_FT  # row H7: 0.434 psi a foot of water, not the thumb's 0.5
_NOISE: Final = 1e-9


class LineDraw(NamedTuple):
    """Whether an eductor picks up, and the numbers behind it."""

    back_pressure_kpa: float
    limit_kpa: float
    share: float  # back pressure ÷ inlet pressure
    draws: bool
    longest_m: float | None  # longest stretch with which it would; None where there is no hose


def coefficient_of(loss_kpa: float, flow_lpm: float, length_m: float) -> float:
    """C of a hose from a measured loss: C = psi ÷ ((Q/100)² L/100), the inverse of ``friction_kpa``.

    loss_kpa [kPa] lost in length_m [m] at flow_lpm [L/min], all above 0. A department's own measurement counts before
    the published table. Raises ``ValueError``.

    >>> round(coefficient_of(25 * 6.894757293168361, 250 * 3.785411784, 200 * 0.3048), 9)
    2.0
    """
    for value, what in ((loss_kpa, "A loss"), (flow_lpm, "A flow"), (length_m, "A length")):
        if not 0 < value < float("inf"):
            raise ValueError(f"{what} of {value:g} was read: it is more than 0.")
    return loss_kpa / friction_kpa(1.0, flow_lpm, length_m)


def elevation_kpa(height_m: float) -> float:
    """Pressure of the water standing between eductor and tip: 0.434 psi a foot. Source: row H7."""
    return height_m * _KPA_PER_M


def hose_kpa(lay: Lay, flow_lpm: float) -> float:
    """Friction in a lay [kPa]: its legs in series, then like lines side by side behind a wye, each with its share.

    Source: row H2 leg by leg; the pressure lost side by side is that of one of them (arithmetic).
    """
    along = sum([friction_kpa(leg.coefficient, flow_lpm, leg.length_m) for leg in lay.hose])
    if lay.branches:
        return along + wye_kpa(lay.branches, flow_lpm) - tip_kpa(lay, flow_lpm)
    if not lay.wye_hose:
        return along
    each_lpm = flow_lpm / lay.wye
    return along + sum([friction_kpa(leg.coefficient, each_lpm, leg.length_m) for leg in lay.wye_hose])


def tip_kpa(lay: Lay, flow_lpm: float) -> float:
    """Pressure at the nozzle [kPa]: by its K where that is known, else what the nozzle is said to hold.

    Of unlike branches behind a wye the least.
    """
    if lay.branches:
        flows = flows_lpm(lay.branches, wye_kpa(lay.branches, flow_lpm))
        return min(tip_of_branch_kpa(each, flow) for each, flow in zip(lay.branches, flows, strict=True))
    return lay.nozzle_kpa if lay.nozzle_k is None else nozzle_pressure_kpa(lay.nozzle_k, flow_lpm)


def back_pressure_kpa(lay: Lay, flow_lpm: float, say: Say = None) -> float:
    """Back pressure at the outlet = nozzle pressure + hose + appliances + elevation [kPa]. Source: rows H1 to H3."""
    nozzle, hose, height = tip_kpa(lay, flow_lpm), hose_kpa(lay, flow_lpm), elevation_kpa(lay.height_m)
    total = nozzle + hose + lay.appliances_kpa + height
    if say is not None:
        numbers = (
            ("nozzle", nozzle, "kPa"),
            ("hose", hose, "kPa"),
            ("appliances", lay.appliances_kpa, "kPa"),
            ("elevation", height, "kPa"),
        )
        say(
            "Back pressure",
            "nozzle + hose + appliances + elevation",
            numbers,
            total,
            "kPa",
            "fire academy hose coefficients; 0.434 psi a foot",
        )
        _say_branches(lay, flow_lpm, say)
    return total


def _say_branches(lay: Lay, flow_lpm: float, say: Recorder) -> None:
    """How the flow divides behind a wye: one pressure, and what it drives through each branch."""
    at = wye_kpa(lay.branches, flow_lpm) if lay.branches else 0.0
    for n, (branch, flow) in enumerate(zip(lay.branches, flows_lpm(lay.branches, at), strict=True), 1):
        numbers = (("at the wye", at, "kPa"), ("at its nozzle", tip_of_branch_kpa(branch, flow), "kPa"))
        formula = "√((wye − what its nozzle holds) ÷ (friction at a flow of 1 + 1/K²))"
        say(f"Branch {n}", formula, numbers, flow, "L/min", "the branches’ flows add to the line’s")


def back_pressure_limit_kpa(lay: Lay, share: int) -> float:
    """The plate's greatest back pressure, else the policy's share of inlet pressure [kPa].

    The plate goes first in both directions: row H8's plate states 100 psi at 160 psi, where a 65 % share would allow
    104 psi. Below the plate's inlet pressure the plate's psi shrink with the inlet, since what a jet recovers is a
    share of what drives it; above it they stay as they are printed [inference, the cautious side of both].
    share [1/100 point], 65 % by row H1.
    """
    if lay.plate_back_pressure_kpa is None:
        return lay.inlet_kpa * share / WHOLE
    if lay.rated_inlet_kpa is None:
        return lay.plate_back_pressure_kpa
    return lay.plate_back_pressure_kpa * min(1.0, lay.inlet_kpa / lay.rated_inlet_kpa)


def longest_stretch_m(lay: Lay, flow_lpm: float, limit_kpa: float) -> float | None:
    """The longest lay with which the eductor still picks up [m]: the last leg stretched or cut, the others kept.

    Inverts ``back_pressure_kpa`` for the length of the last leg before a wye; 0 where not even a bare nozzle would do,
    None where the lay has no hose. Source: row H3.
    """
    if not lay.hose:
        return None
    *others, last = lay.hose
    without = lay._replace(hose=tuple(others))
    left_kpa = limit_kpa - back_pressure_kpa(without, flow_lpm)
    stretch = left_kpa / friction_kpa(last.coefficient, flow_lpm, 1.0)
    return max(0.0, sum(leg.length_m for leg in others) + stretch) if stretch >= 0 else 0.0


def highest_m(lay: Lay, flow_lpm: float, limit_kpa: float) -> float:
    """The greatest height of the nozzle above the eductor with which it still picks up [m]; negative: below it.

    Inverts ``back_pressure_kpa`` for the height. Source: row H7.
    """
    return (limit_kpa - back_pressure_kpa(lay._replace(height_m=0.0), flow_lpm)) / _KPA_PER_M


@lru_cache(maxsize=8192)
def line_draw(lay: Lay, flow_lpm: float, share: int) -> LineDraw:
    """Whether an eductor with this lay picks up at this flow. Kept by its numbers: a fleet has few distinct lays."""
    back = back_pressure_kpa(lay, flow_lpm)
    limit = back_pressure_limit_kpa(lay, share)
    draws = back <= limit * (1 + _NOISE)
    return LineDraw(back, limit, back / lay.inlet_kpa, draws, longest_stretch_m(lay, flow_lpm, limit))


def hose(size_in: str, length_m: float) -> Hose:
    """A leg of hose by its size in inches as row H2 prints it. Raises ``ValueError`` for a size not in the row."""
    if size_in not in COEFFICIENTS:
        raise ValueError(f"“{size_in}” was read as a hose size: one of {', '.join(COEFFICIENTS)} inches is known.")
    return Hose(COEFFICIENTS[size_in], length_m, size_in=float(size_in))
