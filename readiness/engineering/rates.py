"""Application rates and minutes by the standards, where neither the listing nor the department states its own.

Rows of the published values: R1, R2 (spills of hydrocarbon), R3 (polar: a training figure, never used, the listing
governs), R4 (fluorine-free: never carry a rate over), R7 (in depth), R8 (portable attack on a tank).
"""

from typing import Final

from readiness.engineering.fuels import needs_alcohol_resistant
from readiness.engineering.records import Fuel, Kind, Rate, Use

FILM_FORMING: Final = frozenset({"afff", "fffp", "ar_afff", "ar_fffp"})
PROTEIN: Final = frozenset({"fp", "p"})
POLAR_TRAINING_RATE: Final = Rate(0.20, "gpm_ft2")  # R3, to show beside a listing; no floor and no substitute for one
LOW_FLASH_BELOW_C: Final = 37.8  # 100 °F, from memory: the standards' line between low and higher flash point

_SPILL_FILM: Final = Rate(0.10, "gpm_ft2")  # R1
_SPILL_PROTEIN: Final = Rate(0.16, "gpm_ft2")  # R2
_DEEP: Final = Rate(0.16, "gpm_ft2")  # R7, R8
_GENTLE: Final = Rate(0.10, "gpm_ft2")  # R8: installed gentle outlets

# (low flash, higher flash) in minutes. Spill: R1, one time for both. Depth: R7. Direct: R8. Gentle: R8 gives 55 for
# low flash; the same is used for higher flash, for want of a source. R7 and R8's times are from memory.
_MINUTES: Final[dict[Use, tuple[float, float]]] = {
    "spill": (15.0, 15.0),
    "depth": (30.0, 20.0),
    "direct": (65.0, 50.0),
    "gentle": (55.0, 55.0),
}


def standard_rate(kind: Kind, fuel: Fuel, use: Use) -> Rate | None:
    """The standard's rate for a kind of concentrate on a hydrocarbon; None where only a listing may say.

    Fluorine-free foams have none (row R4: 1.5 to 3 times the rate), nor has anything on a polar solvent (row R3).
    E10 is a hydrocarbon to the standards.
    """
    if kind not in FILM_FORMING and kind not in PROTEIN:
        return None
    if fuel.group == "not_foam" or needs_alcohol_resistant(fuel.group, fuel.oxygenate):
        return None
    if use == "spill":
        return _SPILL_FILM if kind in FILM_FORMING else _SPILL_PROTEIN
    return {"depth": _DEEP, "direct": _DEEP, "gentle": _GENTLE}.get(use)


def standard_minutes(use: Use, fuel: Fuel) -> float | None:
    """Minutes of the duty by its use and the fuel's flash point; the longer where the flash point is unknown.

    None for a use that has no such rule (Class A is judged in tankfuls). Source: rows R1, R7, R8.
    """
    pair = _MINUTES.get(use)
    if pair is None:
        return None
    low, higher = pair
    return higher if fuel.flash_c is not None and fuel.flash_c >= LOW_FLASH_BELOW_C else low
