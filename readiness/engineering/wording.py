"""Quantities as people read them, in a department's units."""

from functools import lru_cache

from readiness.engineering.units import Toward, from_ml, from_si, shown

US = "us"


@lru_cache(maxsize=20_000)  # a stock list says the same few volumes thousands of times
def volume_text(volume_ml: int, units: str) -> str:
    """A volume [ml] to the nearest hundredth of a gallon or litre: "5.00 gal" for US units, "18.93 L" for metric.

    >>> volume_text(18_927, "us")
    '5.00 gal'
    """
    unit = "gal" if units == US else "L"
    return f"{shown(from_ml(volume_ml, unit), unit=None, places=2, toward='nearest'):,} {unit}"


def volumes_text(first_ml: int, second_ml: int, units: str) -> tuple[str, str]:
    """Two volumes [ml] side by side, with as many decimals as it takes for different ones to read differently.

    >>> volumes_text(18_930, 18_927, "us")
    ('5.001 gal', '5.000 gal')
    """
    unit = "gal" if units == US else "L"
    for places in (2, 3, 4):  # the fourth decimal of a gallon is 0.4 ml, the third of a liter 1 ml
        inside = (from_ml(each, unit) for each in (first_ml, second_ml))
        one, other = (shown(each, unit=None, places=places, toward="nearest") for each in inside)
        if one != other or first_ml == second_ml:
            break
    return f"{one:,} {unit}", f"{other:,} {unit}"


def flow_text(flow_lpm: float, units: str) -> str:
    """A flow [L/min] to the nearest tenth: "95.0 gpm" for US units, "359.6 L/min" for metric."""
    unit = "gpm" if units == US else "L/min"
    return f"{shown(from_si(flow_lpm, unit), unit=None, places=1, toward='nearest'):,} {unit}"


def length_text(length_m: float, units: str, toward: Toward = "nearest") -> str:
    """A length of hose [m] to the whole foot, or the tenth of a meter: "124 ft", "37.8 m"."""
    unit, places = ("ft", 0) if units == US else ("m", 1)
    return f"{shown(from_si(length_m, unit), unit=None, places=places, toward=toward):,} {unit}"


def pressure_text(pressure_kpa: float, units: str) -> str:
    """A pressure [kPa] to the nearest tenth of a psi, or the whole kPa: "124.2 psi", "856 kPa"."""
    unit, places = ("psi", 1) if units == US else ("kPa", 0)
    return f"{shown(from_si(pressure_kpa, unit), unit=None, places=places, toward='nearest'):,} {unit}"
