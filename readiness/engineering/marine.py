"""Foam on the cargo deck of a tanker, by the code for ships: a region's pack, off unless a department turns it on."""

from typing import Final, NamedTuple

from readiness.engineering.demand import concentrate_l
from readiness.engineering.steps import Numbers, Say

_DECK_LPM_M2: Final = 0.6  # row M1
_LARGEST_TANK_LPM_M2: Final = 6.0
_MONITOR_LPM_M2: Final = 3.0
LEAST_MONITOR_LPM: Final = 1250.0
MINUTES_INERTED: Final = 20.0
MINUTES: Final = 30.0
_SOURCE: Final = "FSS Code ch. 14 s 2.2.1"


class DeckFoam(NamedTuple):
    """What a deck foam system must give. ``governs``: which of the three asks most."""

    flow_lpm: float
    governs: str
    minutes: float
    solution_l: float
    concentrate_l: float
    monitor_short: bool  # the largest monitor flows less than any may


def deck_flows_lpm(deck_m2: float, largest_tank_m2: float, monitor_area_m2: float) -> dict[str, float]:
    """The three demands of the code [L/min]: 0.6 × cargo deck, 6 × largest tank section, 3 × largest monitor's area.

    deck_m2: greatest beam × length of all cargo tanks; largest_tank_m2: horizontal section of the largest cargo tank;
    monitor_area_m2: deck that the largest monitor protects, all forward of it [m²]. Source: row M1, FSS Code ch. 14
    s 2.2.1. Raises ``ValueError`` for an area below 0.
    """
    if min(deck_m2, largest_tank_m2, monitor_area_m2) < 0 or deck_m2 == 0:
        raise ValueError("A cargo deck is above 0 m², its tank and monitor areas 0 or more.")
    return {
        "the cargo deck": _DECK_LPM_M2 * deck_m2,
        "the largest tank": _LARGEST_TANK_LPM_M2 * largest_tank_m2,
        "the largest monitor": _MONITOR_LPM_M2 * monitor_area_m2,
    }


def deck_foam(
    deck_m2: float,
    largest_tank_m2: float,
    monitor_area_m2: float,
    pct: int,
    *,
    inert_gas: bool,
    monitor_lpm: float | None = None,
    say: Say = None,
) -> DeckFoam:
    """Solution and concentrate for a deck = the greatest demand × 20 min with inert gas, 30 without.

    pct [1/100 point]; monitor_lpm: what the largest monitor flows, at least 1250 L/min; None: not stated. Source: rows
    M1, M2. Raises ``ValueError``.
    """
    flows = deck_flows_lpm(deck_m2, largest_tank_m2, monitor_area_m2)
    governs = max(flows, key=lambda each: flows[each])
    minutes = MINUTES_INERTED if inert_gas else MINUTES
    flow = flows[governs]
    solution, concentrate = flow * minutes, concentrate_l(flow, pct, minutes)
    if say is not None:
        areas = (deck_m2, largest_tank_m2, monitor_area_m2)
        rates = (_DECK_LPM_M2, _LARGEST_TANK_LPM_M2, _MONITOR_LPM_M2)
        for (what, asked), area, rate in zip(flows.items(), areas, rates, strict=True):
            numbers: Numbers = (("area", area, "m²"), ("rate", rate, "L/min/m²"))
            say(f"For {what}", "area × rate", numbers, asked, "L/min", _SOURCE)
        numbers = (("flow", flow, "L/min"), ("minutes", minutes, "min"))
        say("Solution", "the greatest × minutes", numbers, solution, "L", _SOURCE)
        numbers = (("solution", solution, "L"), ("p", pct / 100, "%"))
        say("Concentrate", "solution × p", numbers, concentrate, "L", "percentage is of solution")
    short = monitor_lpm is not None and monitor_lpm < LEAST_MONITOR_LPM * (1 - 1e-9)
    return DeckFoam(flow, governs, minutes, solution, concentrate, short)
