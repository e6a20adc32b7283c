"""Friction in fire hose by coefficient."""

from typing import Final

from readiness.engineering.units import KPA_PER_PSI, L_PER_US_GAL, M_PER_FT

_KPA_PER_C_LPM2_M: Final = KPA_PER_PSI / (100 * L_PER_US_GAL) ** 2 / (100 * M_PER_FT)


def friction_kpa(coefficient: float, flow_lpm: float, length_m: float) -> float:
    """Friction in hose = C (Q/100)² L/100 in psi, gpm and ft, here in kPa, L/min and m.

    Source: row H2 (fire academy coefficients). Valid for full turbulent flow in rubber-lined fire hose.

    >>> round(friction_kpa(2.0, 250 * 3.785411784, 200 * 0.3048) / 6.894757293168361, 9)
    25.0
    """
    return coefficient * flow_lpm**2 * length_m * _KPA_PER_C_LPM2_M
