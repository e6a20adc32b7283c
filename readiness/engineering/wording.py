"""Quantities as people read them, in a department's units."""

from readiness.engineering.units import from_ml, from_si, shown

US = "us"


def volume_text(volume_ml: int, units: str) -> str:
    """A volume [ml] to the nearest hundredth of a gallon or litre: "5.00 gal" for US units, "18.93 L" for metric.

    >>> volume_text(18_927, "us")
    '5.00 gal'
    """
    unit = "gal" if units == US else "L"
    return f"{shown(from_ml(volume_ml, unit), unit=None, places=2, toward='nearest'):,} {unit}"


def flow_text(flow_lpm: float, units: str) -> str:
    """A flow [L/min] to the nearest tenth: "95.0 gpm" for US units, "359.6 L/min" for metric."""
    unit = "gpm" if units == US else "L/min"
    return f"{shown(from_si(flow_lpm, unit), unit=None, places=1, toward='nearest'):,} {unit}"
