"""What a duty asks of a setup, in numbers: a design spill by rate and time, an airport and Class A by an amount."""

from typing import NamedTuple

from readiness.engineering import region_rules, vapor
from readiness.engineering.airport import aboard_l, airport_faults
from readiness.engineering.classa import tankfuls_need_l
from readiness.engineering.deficiencies import found
from readiness.engineering.demand import greater_rate, required_flow_lpm
from readiness.engineering.lines import FoamAsked
from readiness.engineering.marine import LEAST_MONITOR_LPM
from readiness.engineering.rates import standard_minutes, standard_rate
from readiness.engineering.records import (
    AirportDuty,
    ClassADuty,
    Concentrate,
    CoverPlan,
    DeckRule,
    Deficiency,
    Duty,
    Listing,
    Policy,
    Rate,
    Spill,
    Vehicle,
)
from readiness.engineering.steps import Say
from readiness.engineering.suiting import Fit, fit


class Task(NamedTuple):
    """What a duty asks of a setup, in numbers."""

    pct: int
    required_lpm: float  # 0 where the duty asks for an amount and not for a flow
    minutes: float  # 0 likewise
    fixed_l: float | None = None  # the amount asked for, where the duty states one
    hold_back: int = 0
    aspirating: bool = False
    asks_test: bool = True
    foam: FoamAsked | None = None  # of finished foam; None where nobody asks
    cover: CoverPlan | None = None  # vapor kept down first, as planned; states everything
    monitor_lpm: float = 0.0  # what the largest line flows at least, where a code says so


def spill_rate(spill: Spill, concentrate: Concentrate, listing: Listing) -> Rate | None:
    """max(standard's rate or the department's own, listing's rate); None where neither states one."""
    return greater_rate(spill.rate or standard_rate(concentrate.kind, spill.fuel, spill.use), listing.rate)


def rate_source(spill: Spill, concentrate: Concentrate, listing: Listing) -> str:
    """Where the governing rate comes from, for the working."""
    if spill_rate(spill, concentrate, listing) == listing.rate:
        return f"listing of {concentrate.name}: {listing.source}"
    return "the department's own rate" if spill.rate is not None else "NFPA 11 as taught, for this kind of concentrate"


def spill_minutes(spill: Spill, listing: Listing) -> float | None:
    """Minutes by the department or the rule of the use, and never less than the listing's."""
    stated = spill.minutes or standard_minutes(spill.use, spill.fuel)
    known = [minutes for minutes in (stated, listing.minutes) if minutes is not None]
    return max(known) if known else None


def spill_task(
    spill: Spill, concentrate: Concentrate, listing: Listing, wind_loss: int, policy: Policy, say: Say = None
) -> Task | None:
    """What a design spill asks of a concentrate; None where no rate or time is stated. wind_loss [1/100 point]."""
    by_rule = region_rules.applies(spill, policy)
    if by_rule:
        asked = region_rules.demand(spill, concentrate, listing, wind_loss, say)
    else:
        asked = _general(spill, concentrate, listing, wind_loss, say)
    if asked is None:
        return None
    return Task(
        listing.pct,
        asked.required_lpm,
        asked.minutes,
        None,
        policy.unit_hold_back,
        listing.aspirating,
        foam=_foam(listing),
        cover=spill.cover if spill.duty == "vapor" and not vapor.not_stated(spill.cover) else None,
        monitor_lpm=LEAST_MONITOR_LPM if by_rule and isinstance(spill.rule, DeckRule) else 0.0,
    )


def _general(
    spill: Spill, concentrate: Concentrate, listing: Listing, wind_loss: int, say: Say
) -> region_rules.Demand | None:
    """By rate and minutes of the standards, the department and the listing."""
    rate, minutes = spill_rate(spill, concentrate, listing), spill_minutes(spill, listing)
    if rate is None or minutes is None:
        return None
    source = "" if say is None else rate_source(spill, concentrate, listing)
    return region_rules.Demand(required_flow_lpm(spill.area_m2, rate, wind_loss, say, source), minutes)


def _foam(listing: Listing) -> FoamAsked:
    return FoamAsked(listing.expansion, listing.quarter_min)


def airport_task(duty: AirportDuty, listing: Listing, policy: Policy, say: Say = None) -> Task:
    """An airport's rule asks for an amount; no hold-back comes on top of its "twice". A category asks a flow too."""
    water_l, discharge = duty.water_l, 0.0
    if region_rules.applies(duty, policy):
        water_l, discharge = region_rules.category_demand(duty, say)
    need = aboard_l(water_l, listing.pct, duty.times, say)
    return Task(listing.pct, discharge, 0.0, need, 0, listing.aspirating, foam=_foam(listing))


def class_a_task(duty: ClassADuty, policy: Policy, say: Say = None) -> Task:
    """So many tankfuls, at the setting the duty states."""
    need = tankfuls_need_l(duty.water_l, duty.setting, duty.tankfuls, say)
    return Task(duty.setting, 0.0, 0.0, need, policy.unit_hold_back, asks_test=False)


def fit_for(duty: Duty, concentrate: Concentrate, policy: Policy) -> Fit:
    """How a concentrate suits a duty; for a Class A duty only Class A does, at a setting that somebody stated."""
    if isinstance(duty, Spill):
        return fit(concentrate, duty.fuel, duty.use, policy)
    if isinstance(duty, AirportDuty):
        return fit(concentrate, duty.fuel, "spill", policy)
    if concentrate.kind != "class_a":
        return Fit(None, "wrong_foam")
    return Fit(None, "" if duty.setting > 0 else "not_listed")


def task_for(
    duty: Duty, concentrate: Concentrate, fitted: Fit, wind_loss: int, policy: Policy, say: Say = None
) -> Task | None:
    """What any duty asks of a concentrate; None where no listing states a rate."""
    if isinstance(duty, ClassADuty):
        return class_a_task(duty, policy, say)
    if fitted.listing is None:
        return None
    if isinstance(duty, AirportDuty):
        return airport_task(duty, fitted.listing, policy, say)
    return spill_task(duty, concentrate, fitted.listing, wind_loss, policy, say)


def duty_faults(duty: Duty, vehicle: Vehicle | None, policy: Policy) -> tuple[Deficiency, ...]:
    """What is wrong with a duty itself, whatever meets it."""
    subject = ("duty", duty.id)
    faults = _rule_faults(duty, policy)
    if isinstance(duty, AirportDuty):
        return (*faults, *airport_faults(_by_category(duty, policy), vehicle))
    if isinstance(duty, ClassADuty):
        return faults if duty.water_l > 0 else (*faults, found("no_tankful", subject, duty.name))
    if duty.area_m2 <= 0:
        faults = (*faults, found("no_area", subject, duty.name))
    missing = vapor.not_stated(duty.cover) if duty.duty == "vapor" else ()
    if missing:
        words = f"{duty.name} without {', '.join(missing)}"
        faults = (*faults, found("vapor_not_worked", subject, words))
    return faults


def _by_category(duty: AirportDuty, policy: Policy) -> AirportDuty:
    """The duty with the water that its category asks for."""
    if not region_rules.applies(duty, policy):
        return duty
    return duty._replace(water_l=region_rules.category_demand(duty)[0])


def _rule_faults(duty: Duty, policy: Policy) -> tuple[Deficiency, ...]:
    """A region's rule that is off, or that the duty does not state in full."""
    pack, subject = region_rules.pack_of(duty), ("duty", duty.id)
    if pack is None:
        return ()
    if pack not in policy.region_packs:
        return (found("pack_off", subject, duty.name),)
    missing = region_rules.not_stated(duty)
    return (found("rule_not_stated", subject, f"{duty.name}: {', '.join(missing)}"),) if missing else ()


def unanswerable(duty: Duty, policy: Policy) -> Deficiency | None:
    """Why no concentrate is asked at all: foam is not the agent, or the region's rule states no rate."""
    reason = not_foam(duty)
    if reason:
        return found("not_foam", ("duty", duty.id), reason)
    reason = region_rules.refused_by_rule(duty, policy)
    return found("no_rule_rate", ("duty", duty.id), reason) if reason else None


def not_foam(duty: Duty) -> str:
    """Why foam is not the agent for a duty, or not alone; empty where it is."""
    if isinstance(duty, ClassADuty):
        return ""
    return duty.fuel.not_foam or ("this material." if duty.fuel.group == "not_foam" else "")
