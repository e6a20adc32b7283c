"""Spills planned by a region's rule: what the rule asks for, where the department turned its pack on.

A tanker's deck by the code for ships, a storage tank by one national code, an airport's category by its table. Off, or
not stated in full, a duty is worked by the general rules and is unverified.
"""

from typing import Final, Literal, NamedTuple

from readiness.engineering.airport_categories import LEVEL_B, tabled
from readiness.engineering.demand import greater_rate, required_flow_lpm
from readiness.engineering.fuels import needs_alcohol_resistant
from readiness.engineering.marine import MINUTES, MINUTES_INERTED, deck_flows_lpm
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import (
    AirportDuty,
    Concentrate,
    DeckRule,
    Duty,
    Fuel,
    Listing,
    Policy,
    Rate,
    Spill,
    TankRule,
)
from readiness.engineering.steps import Numbers, Say
from readiness.engineering.tank_rates import tank_minutes, tank_rate_lpm_m2

Pack = Literal["airport", "marine", "storage"]
FLUORINE_FREE: Final = frozenset({"f3", "ar_f3"})
_DECK_SOURCE: Final = "FSS Code ch. 14 s 2.2.1"
_TANK_SOURCE: Final = "Arrêté of 3 October 2010, annex V"


class Demand(NamedTuple):
    """Required flow of solution [L/min] and for how long [min]."""

    required_lpm: float
    minutes: float


def pack_of(duty: Duty) -> Pack | None:
    """The region pack whose rule a duty is planned by; None for the general rules."""
    if isinstance(duty, AirportDuty):
        return None if duty.category is None else "airport"
    if not isinstance(duty, Spill) or duty.rule is None:
        return None
    return "marine" if isinstance(duty.rule, DeckRule) else "storage"


def not_stated(duty: Duty) -> tuple[str, ...]:
    """What the rule asks for and the duty does not state, or states as no rule has it."""
    if isinstance(duty, AirportDuty):
        if duty.category is None or duty.category in LEVEL_B:
            return ()
        return (f"category {duty.category}, where the table has {min(LEVEL_B)} to {max(LEVEL_B)}",)
    rule = duty.rule if isinstance(duty, Spill) else None
    if isinstance(rule, DeckRule):
        asked: dict[str, object] = {
            "the largest tank’s section": rule.largest_tank_m2,
            "the deck that the largest monitor protects": rule.monitor_area_m2,
            "whether there is inert gas": rule.inert_gas,
        }
    elif isinstance(rule, TankRule):
        asked = {"how the foam is put on": rule.application or None, "whether by mobile means": rule.mobile}
    else:
        return ()
    return tuple(words for words, value in asked.items() if value is None)


def applies(duty: Duty, policy: Policy) -> bool:
    """Whether a duty is judged by a region's rule: it names one, states what it asks for, and its pack is on."""
    pack = pack_of(duty)
    return pack is not None and pack in policy.region_packs and not not_stated(duty)


def refused_by_rule(duty: Duty, policy: Policy) -> str:
    """Why the rule has no answer for a duty, or "": the deck's rates are for oil, and none was read for the others."""
    if not isinstance(duty, Spill) or not isinstance(duty.rule, DeckRule) or not applies(duty, policy):
        return ""
    if not _miscible(duty.fuel):
        return ""
    return f"{duty.fuel.name} on a cargo deck; its rates are for oil, and those for other liquids were not read"


def _miscible(fuel: Fuel) -> bool:
    return needs_alcohol_resistant(fuel.group, fuel.oxygenate)


def demand(spill: Spill, concentrate: Concentrate, listing: Listing, wind_loss: int, say: Say = None) -> Demand | None:
    """What the rule of a spill asks for, never less than the listing or the department's own rate; None where only a
    listing may say and it does not.

    Fluorine-free foam inherits no rate (row R4), a region's neither. wind_loss, of monitors [1/100 point].
    """
    if concentrate.kind in FLUORINE_FREE and listing.rate is None:
        return None
    if isinstance(spill.rule, DeckRule):
        return _deck(spill, spill.rule, listing, wind_loss, say)
    assert isinstance(spill.rule, TankRule)
    return _tank(spill, spill.rule, listing, wind_loss, say)


def _minutes(spill: Spill, listing: Listing, code_min: float, by: str, source: str, say: Say) -> float:
    """The longest of the code's time, the duty's own and the listing's [min]; the working says whose it is."""
    times = (
        ("code", code_min, source),
        ("duty", spill.minutes or 0.0, "the duty’s own time"),
        ("listing", listing.minutes or 0.0, f"the listing: {listing.source}"),
    )
    _, minutes, whose = max(times, key=lambda each: each[1])
    if say is not None:
        numbers: Numbers = tuple((name, each, "min") for name, each, _ in times if each)
        say("Minutes", f"the longest; the code’s {by}", numbers, minutes, "min", whose)
    return minutes


def _deck(spill: Spill, rule: DeckRule, listing: Listing, wind_loss: int, say: Say) -> Demand:
    """The greatest of the code's three flows (rows M1, M2); not less than a stated rate on the largest tank."""
    tank_m2 = rule.largest_tank_m2 or 0.0
    flows = deck_flows_lpm(spill.area_m2, tank_m2, rule.monitor_area_m2 or 0.0)
    if listing.rate is not None:
        flows["the listing on the largest tank"] = required_flow_lpm(tank_m2, listing.rate)
    if spill.rate is not None:
        flows["the department’s own rate on the largest tank"] = required_flow_lpm(tank_m2, spill.rate)
    governs = max(flows, key=lambda each: flows[each])
    flow = flows[governs] * (WHOLE + wind_loss) / WHOLE
    if say is not None:
        numbers: Numbers = (*((name, each, "L/min") for name, each in flows.items()), ("loss", wind_loss / 100, "%"))
        say("Required flow", "the greatest × (1 + loss)", numbers, flow, "L/min", f"{_DECK_SOURCE}: {governs}")
    code_min, by = (MINUTES_INERTED, "with inert gas") if rule.inert_gas else (MINUTES, "without inert gas")
    return Demand(flow, _minutes(spill, listing, code_min, by, _DECK_SOURCE, say))


def _tank(spill: Spill, rule: TankRule, listing: Listing, wind_loss: int, say: Say) -> Demand:
    """Area × the greatest of the code's, the department's and the listing's rate, for the code's minutes (row R5)."""
    assert rule.application
    code = Rate(tank_rate_lpm_m2(rule.application, miscible=_miscible(spill.fuel)), "lpm_m2")
    own = greater_rate(code, spill.rate)
    rate = greater_rate(own, listing.rate)
    assert rate is not None
    source = _TANK_SOURCE if rate == code else "the department's own rate"
    if rate not in (code, spill.rate):
        source = f"the listing: {listing.source}"
    flow = required_flow_lpm(spill.area_m2, rate, wind_loss, say, source)
    code_min = tank_minutes(spill.area_m2, mobile=bool(rule.mobile))
    by = f"by area, {'mobile' if rule.mobile else 'fixed'} means"
    return Demand(flow, _minutes(spill, listing, code_min, by, _TANK_SOURCE, say))


def category_demand(duty: AirportDuty, say: Say = None) -> tuple[float, float]:
    """(water [L], discharge [L/min]) that a category asks of one vehicle which meets it alone. Source: row A5.

    The table governs, not the formula: see ``airport_categories.tabled``. Never less water than the duty states.
    """
    row = tabled(duty.category or 0)
    if say is not None:
        source = "Arrêté of 18 January 2007, annex I"
        say(f"Water of category {duty.category}", "by the table, level B", (), row.water_l, "L", source)
        say("Discharge", "by the table, level B", (), row.discharge_lpm, "L/min", source)
    return max(row.water_l, duty.water_l), row.discharge_lpm
