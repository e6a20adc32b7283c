"""Unlike lines behind a wye: how the flow divides among branches of different hose, length and nozzle.

All branches begin at one pressure, that of the wye, and each flows what that pressure drives through its hose and out
of its nozzle: q = √((wye − what its nozzle holds) ÷ (friction at a flow of 1 + 1/K²)). What they flow together grows
with the pressure of the wye and never falls, so that each question has one answer, found by halving.
"""

from collections.abc import Callable
from math import sqrt
from typing import Final

from readiness.engineering.friction import friction_kpa
from readiness.engineering.records import Branch

_HALVINGS: Final = 200  # far more than a double needs


def resistance(branch: Branch) -> float:
    """What a branch asks for at a flow of 1, growing with its square: hose, and a nozzle of a known K [kPa/(L/min)²].

    Raises ``ValueError`` for a branch without any, which would flow without end.
    """
    hose = sum([friction_kpa(leg.coefficient, 1.0, leg.length_m) for leg in branch.hose])
    found = hose + (0.0 if branch.nozzle_k is None else branch.nozzle_k**-2)
    if not found > 0:
        raise ValueError("A branch behind a wye has hose, or a nozzle of a known opening.")
    return found


def branch_flow_lpm(branch: Branch, wye_kpa: float) -> float:
    """Flow of one branch at a pressure of the wye [L/min]; 0 below what its nozzle holds. Source: rows H2, H5."""
    held = branch.nozzle_kpa if branch.nozzle_k is None else 0.0
    return sqrt(max(0.0, wye_kpa - held) / resistance(branch))


def branch_needs_kpa(branch: Branch) -> float:
    """Pressure of the wye at which a branch flows what its nozzle is meant for [kPa]; inverts ``branch_flow_lpm``."""
    held = branch.nozzle_kpa if branch.nozzle_k is None else 0.0
    return held + resistance(branch) * branch.nozzle_lpm**2


def tip_of_branch_kpa(branch: Branch, flow_lpm: float) -> float:
    """Pressure at its nozzle [kPa]."""
    return branch.nozzle_kpa if branch.nozzle_k is None else (flow_lpm / branch.nozzle_k) ** 2


def flows_lpm(branches: tuple[Branch, ...], wye_kpa: float) -> tuple[float, ...]:
    """What each branch flows at a pressure of the wye [L/min]."""
    return tuple([branch_flow_lpm(each, wye_kpa) for each in branches])


def wye_kpa(branches: tuple[Branch, ...], flow_lpm: float) -> float:
    """Pressure of the wye at which the branches together flow so much [kPa]; continuity: the flows add to it.

    flow_lpm [L/min], 0 or more. Where nothing flows yet, the least that a nozzle holds.
    """
    least = min(each.nozzle_kpa if each.nozzle_k is None else 0.0 for each in branches)
    most = max(least, 1.0)
    while sum(flows_lpm(branches, most)) < flow_lpm:
        most *= 2
    return _halved(least, most, lambda pressure: sum(flows_lpm(branches, pressure)) - flow_lpm)


def driven_lpm(branches: tuple[Branch, ...], main_resistance: float, over_kpa: float) -> float:
    """What flows where so much pressure is left for the main stretch and the branches [L/min].

    wye + main × Q² = over, Q being what the branches flow at the wye's pressure. main_resistance: what the stretch
    before the wye asks for at a flow of 1 [kPa/(L/min)²]; over_kpa: pressure less height and appliances [kPa].
    """
    if over_kpa <= 0:
        return 0.0
    pressure = _halved(0.0, over_kpa, lambda at: at + main_resistance * sum(flows_lpm(branches, at)) ** 2 - over_kpa)
    return sum(flows_lpm(branches, pressure))


def _halved(low: float, high: float, rising: Callable[[float], float]) -> float:
    """Where a function that never falls passes 0, to the last digit."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if rising(middle) > 0:
            high = middle
        else:
            low = middle
    return (low + high) / 2
