"""What a duty asks of a setup, in numbers: a design spill by rate and time, an airport and Class A by an amount."""

from typing import NamedTuple

from readiness.engineering.airport import aboard_l, airport_faults
from readiness.engineering.classa import tankfuls_need_l
from readiness.engineering.deficiencies import found
from readiness.engineering.demand import greater_rate, required_flow_lpm
from readiness.engineering.rates import standard_minutes, standard_rate
from readiness.engineering.records import (
    AirportDuty,
    ClassADuty,
    Concentrate,
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
    rate, minutes = spill_rate(spill, concentrate, listing), spill_minutes(spill, listing)
    if rate is None or minutes is None:
        return None
    source = "" if say is None else rate_source(spill, concentrate, listing)
    required = required_flow_lpm(spill.area_m2, rate, wind_loss, say, source)
    return Task(listing.pct, required, minutes, None, policy.unit_hold_back, listing.aspirating)


def airport_task(duty: AirportDuty, listing: Listing, say: Say = None) -> Task:
    """An airport's rule asks for an amount; no hold-back comes on top of its "twice"."""
    need = aboard_l(duty.water_l, listing.pct, duty.times, say)
    return Task(listing.pct, 0.0, 0.0, need, 0, listing.aspirating)


def class_a_task(duty: ClassADuty, policy: Policy, say: Say = None) -> Task:
    """So many tankfuls, at the setting the duty states."""
    need = tankfuls_need_l(duty.water_l, duty.setting, duty.tankfuls, say)
    return Task(duty.setting, 0.0, 0.0, need, policy.unit_hold_back, asks_test=False)


def fit_for(duty: Duty, concentrate: Concentrate, policy: Policy) -> Fit:
    """How a concentrate suits a duty; for a Class A duty only Class A does."""
    if isinstance(duty, Spill):
        return fit(concentrate, duty.fuel, duty.use, policy)
    if isinstance(duty, AirportDuty):
        return fit(concentrate, duty.fuel, "spill", policy)
    return Fit(None, "" if concentrate.kind == "class_a" else "wrong_foam")


def task_for(
    duty: Duty, concentrate: Concentrate, fitted: Fit, wind_loss: int, policy: Policy, say: Say = None
) -> Task | None:
    """What any duty asks of a concentrate; None where no listing states a rate."""
    if isinstance(duty, ClassADuty):
        return class_a_task(duty, policy, say)
    if fitted.listing is None:
        return None
    if isinstance(duty, AirportDuty):
        return airport_task(duty, fitted.listing, say)
    return spill_task(duty, concentrate, fitted.listing, wind_loss, policy, say)


def duty_faults(duty: Duty, vehicle: Vehicle | None) -> tuple[Deficiency, ...]:
    """What is wrong with a duty itself, whatever meets it."""
    if isinstance(duty, AirportDuty):
        return airport_faults(duty, vehicle)
    if not isinstance(duty, Spill):
        return ()
    faults = []
    if duty.area_m2 <= 0:
        faults.append(found("no_area", ("duty", duty.id), duty.name))
    if duty.duty == "vapor":
        faults.append(found("vapor_not_worked", ("duty", duty.id), duty.name))
    return tuple(faults)


def not_foam(duty: Duty) -> str:
    """Why foam is not the agent for a duty, or not alone; empty where it is."""
    if isinstance(duty, ClassADuty):
        return ""
    return duty.fuel.not_foam or ("this material." if duty.fuel.group == "not_foam" else "")
