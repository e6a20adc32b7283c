"""What a nozzle flows at a pressure: by its K-factor or rated point, and smooth bores by their diameter."""

from math import isfinite, sqrt
from typing import Final

from readiness.engineering.units import KPA_PER_PSI, L_PER_US_GAL, M_PER_IN

LOW_PRESSURE_KPA: Final = 75 * KPA_PER_PSI  # the lower of the two pressures at which nozzles are rated, 100 and 75 psi
_GPM_PER_IN2_PSI: Final = 29.83  # row H6, before the coefficient of discharge
_SMOOTH_BORE: Final = 29.7  # row H5: the same with a coefficient of 0.9956


def _positive(value: float, what: str) -> float:
    if not (isfinite(value) and value > 0):
        raise ValueError(f"{what} of {value:g} was read: it is more than 0.")
    return value


def k_factor(flow_lpm: float, pressure_kpa: float) -> float:
    """K of a nozzle from its rated point: K = Q ÷ √p [L/min per √kPa]. Raises ``ValueError`` unless both are positive.

    A nozzle with a fixed opening, and each position of a gallonage ring, is one K. A ring's gallonages hold at the
    pressure that the nozzle is rated at, 100 or 75 psi (common practice, no source). It does not hold for an automatic
    nozzle, which keeps its pressure while the flow changes. Source: the square-root law of an orifice.

    >>> round(k_factor(95.0, 100.0), 6)
    9.5
    """
    return _positive(flow_lpm, "A flow") / sqrt(_positive(pressure_kpa, "A pressure"))


def nozzle_flow_lpm(k: float, pressure_kpa: float) -> float:
    """Flow at a nozzle pressure: Q = K √p [L/min]; 0 at no pressure. k [L/min per √kPa], pressure_kpa [kPa]."""
    return k * sqrt(max(0.0, pressure_kpa))


def nozzle_pressure_kpa(k: float, flow_lpm: float) -> float:
    """Pressure that a flow takes at the nozzle: p = (Q ÷ K)² [kPa], the inverse of ``nozzle_flow_lpm``."""
    return (flow_lpm / k) ** 2


def smooth_bore_k(bore_m: float, discharge: float | None = None) -> float:
    """K of a smooth bore [L/min per √kPa]: gpm = 29.7 d² √psi, d in inches; with a coefficient 29.83 c d² √psi.

    bore_m [m]; discharge, the coefficient of discharge of the tip or of an open outlet, above 0 and at most 1; None:
    29.7, which is a tip's 0.9956. Sources: row H5 (from memory, unconfirmed), row H6 (a public calculator). Raises
    ``ValueError`` outside that.

    >>> round(smooth_bore_k(0.0254) * (50 * 6.894757293168361) ** 0.5 / 3.785411784, 1)
    210.0
    """
    if discharge is not None and not 0 < discharge <= 1:
        raise ValueError(f"A coefficient of discharge of {discharge:g} was read: it is above 0 and at most 1.")
    constant = _SMOOTH_BORE if discharge is None else _GPM_PER_IN2_PSI * discharge
    return constant * (_positive(bore_m, "A bore") / M_PER_IN) ** 2 * L_PER_US_GAL / sqrt(KPA_PER_PSI)
