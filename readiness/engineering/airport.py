"""Concentrate aboard an airport vehicle: twice what its required water takes, and its other agent.

Rules that state an amount of water use W·p/(1−p), not W·p, since percentage is of solution.
"""

from typing import Final, NamedTuple

from readiness.engineering.deficiencies import found
from readiness.engineering.percentages import concentrate_for_water_l
from readiness.engineering.records import AirportDuty, Deficiency, Vehicle
from readiness.engineering.steps import Say


class IndexRule(NamedTuple):
    """What an airport index asks for. US gallons and pounds, as the rule prints them; None: not read in a source."""

    water_us_gal: float | None
    sodium_lb: float | None
    potassium_lb: float | None = None
    source: str = "14 CFR 139.317"


# Rows A7 and A8. Index A: 500 lb of sodium-based dry chemical, or 450 lb potassium-based and 100 gal (from memory)
# for foam. Index B and C's water is from memory; D and E were read.
INDEX_RULES: Final[dict[str, IndexRule]] = {
    "A": IndexRule(100, 500, 450, "14 CFR 139.317; 100 gal from memory"),
    "B": IndexRule(1500, 500, 450, "14 CFR 139.317, from memory"),
    "C": IndexRule(3000, 500, 450, "14 CFR 139.317, from memory"),
    "D": IndexRule(4000, None),
    "E": IndexRule(6000, None),
}


def aboard_l(water_l: float, pct: int, times: float = 2.0, say: Say = None) -> float:
    """Concentrate for so many times the required water = times × W × p ÷ (1 − p) [L].

    water_l [L]; pct as listed [1/100 point], never a lean measurement. Source: row A6, 14 CFR 139.317(i).

    >>> round(aboard_l(1500.0, 300), 2)
    92.78
    """
    need = times * concentrate_for_water_l(water_l, pct)
    if say is not None:
        numbers = (("times", times, ""), ("W", water_l, "L"), ("p", pct / 100, "%"))
        say("Concentrate aboard", "times × W × p ÷ (1 − p)", numbers, need, "L", "14 CFR 139.317(i)")
    return need


def airport_faults(duty: AirportDuty, vehicle: Vehicle | None) -> tuple[Deficiency, ...]:
    """Other agent short, or less water aboard than the rule requires of this vehicle."""
    faults = []
    subject = ("duty", duty.id)
    water_l = vehicle.water_l if vehicle is not None else None
    if duty.other_agent_kg < duty.other_agent_needed_kg * (1 - 1e-9):
        faults.append(
            found("other_agent_short", subject, duty.name, "mass", duty.other_agent_kg, duty.other_agent_needed_kg)
        )
    if water_l is None or water_l < duty.water_l * (1 - 1e-9):
        faults.append(found("airport_water_short", subject, duty.name, "volume", water_l, duty.water_l))
    return tuple(faults)
