"""Back pressure at an eductor's outlet: whether it picks up at the flow, nozzle pressure, hose and height given."""

from functools import lru_cache
from typing import Final, NamedTuple

from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import Hose, Lay
from readiness.engineering.steps import Say
from readiness.engineering.units import KPA_PER_PSI, L_PER_US_GAL, M_PER_FT

# Row H2: C for psi, gpm and hundreds of feet, by hose size in inches.
COEFFICIENTS: Final = {"1.5": 24.0, "1.75": 15.5, "2.5": 2.0, "3": 0.677, "4": 0.2, "5": 0.08}
_KPA_PER_C_LPM2_M: Final = KPA_PER_PSI / (100 * L_PER_US_GAL) ** 2 / (100 * M_PER_FT)
_KPA_PER_M: Final = 0.434 * KPA_PER_PSI / M_PER_FT  # row H7: 0.434 psi a foot of water, not the thumb's 0.5
_NOISE: Final = 1e-9


class LineDraw(NamedTuple):
    """Whether an eductor picks up, and the numbers behind it."""

    back_pressure_kpa: float
    limit_kpa: float
    share: float  # back pressure ÷ inlet pressure
    draws: bool
    longest_m: float | None  # longest stretch with which it would; None where there is no hose


def friction_kpa(coefficient: float, flow_lpm: float, length_m: float) -> float:
    """Friction in hose = C (Q/100)² L/100 in psi, gpm and ft, here in kPa, L/min and m.

    Source: row H2 (fire academy coefficients). Valid for full turbulent flow in rubber-lined fire hose.

    >>> round(friction_kpa(2.0, 250 * 3.785411784, 200 * 0.3048) / 6.894757293168361, 9)
    25.0
    """
    return coefficient * flow_lpm**2 * length_m * _KPA_PER_C_LPM2_M


def elevation_kpa(height_m: float) -> float:
    """Pressure of the water standing between eductor and tip: 0.434 psi a foot. Source: row H7."""
    return height_m * _KPA_PER_M


def back_pressure_kpa(lay: Lay, flow_lpm: float, say: Say = None) -> float:
    """Back pressure at the outlet = nozzle pressure + hose + appliances + elevation [kPa]. Source: rows H1 to H3."""
    hose = sum(friction_kpa(leg.coefficient, flow_lpm, leg.length_m) for leg in lay.hose)
    height = elevation_kpa(lay.height_m)
    total = lay.nozzle_kpa + hose + lay.appliances_kpa + height
    if say is not None:
        numbers = (
            ("nozzle", lay.nozzle_kpa, "kPa"),
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
    return total


def back_pressure_limit_kpa(lay: Lay, share: int) -> float:
    """The plate's greatest back pressure, else the policy's share of inlet pressure [kPa].

    The plate goes first in both directions: row H8's plate states 100 psi at 160 psi, where a 65 % share would allow
    104 psi. share [1/100 point], 65 % by row H1.
    """
    if lay.plate_back_pressure_kpa is not None:
        return lay.plate_back_pressure_kpa
    return lay.inlet_kpa * share / WHOLE


def longest_stretch_m(lay: Lay, flow_lpm: float, limit_kpa: float) -> float | None:
    """The longest lay with which the eductor still picks up [m]: the last leg stretched or cut, the others kept.

    Inverts ``back_pressure_kpa`` for the length of the last leg; 0 where not even a bare nozzle would do, None where
    the lay has no hose. Source: row H3.
    """
    if not lay.hose:
        return None
    *others, last = lay.hose
    without = lay._replace(hose=tuple(others))
    left_kpa = limit_kpa - back_pressure_kpa(without, flow_lpm)
    stretch = left_kpa / friction_kpa(last.coefficient, flow_lpm, 1.0)
    return max(0.0, sum(leg.length_m for leg in others) + stretch) if stretch >= 0 else 0.0


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
    return Hose(COEFFICIENTS[size_in], length_m)
