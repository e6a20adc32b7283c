"""Verdicts as they are kept, and as `nightly --json` prints them."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from readiness.engineering import showing
from readiness.engineering.freezing import plain, thawed
from readiness.engineering.records import (
    AirportDuty,
    Answer,
    ClassADuty,
    Deficiency,
    Duty,
    Rig,
    Spill,
    Verdict,
)
from readiness.engineering.units import ML_PER_L, from_si, tolerance_ml

ENGINE = "4"  # raised whenever the same facts may give another answer
AGES = frozenset({"days", "hours"})  # they grow by themselves: no reason to call an answer changed

Since = Mapping[tuple[str, str, int], date | None]


class DutyFacts(NamedTuple):
    """What a list shows of a duty besides its answer."""

    id: int
    name: str
    kind: str
    fuel: str
    area_m2: float | None
    supply: str


class Kept(NamedTuple):
    """A verdict with the names that a list shows: what an assessment holds."""

    unit: str
    vehicle: str | None
    checked_at: datetime | None
    duties: tuple[DutyFacts, ...]
    verdict: Verdict


def kept(rig: Rig, verdict: Verdict) -> Kept:
    """A verdict with what a list needs beside it."""
    vehicle = rig.vehicle.name if rig.vehicle else None
    return Kept(rig.name, vehicle, rig.checked_at, tuple(duty_facts(duty) for duty in rig.duties), verdict)


def duty_facts(duty: Duty) -> DutyFacts:
    """The kind, fuel, area and supply of a duty."""
    if isinstance(duty, Spill):
        return DutyFacts(duty.id, duty.name, "spill", duty.fuel.name, duty.area_m2, duty.supply.kind)
    if isinstance(duty, AirportDuty):
        return DutyFacts(duty.id, duty.name, "airport", duty.fuel.name, None, "")
    assert isinstance(duty, ClassADuty)
    return DutyFacts(duty.id, duty.name, "class-a", "", None, "")


def digest(verdict: Verdict) -> str:
    """A fingerprint of the answer; ages, which change by themselves, are left out of it."""
    still = tuple(each._replace(measured=None) if each.quantity in AGES else each for each in verdict.deficiencies)
    told = (
        ENGINE,
        verdict.status,
        verdict.holds_until,
        verdict.check_good_until,
        verdict.answers,
        verdict.excluded,
        still,
    )
    return hashlib.md5(repr(told).encode(), usedforsecurity=False).hexdigest()


def read_kept(answers: Any) -> Kept:
    """The verdict that an assessment holds. Raises KeyError, TypeError or ValueError for another engine's."""
    return thawed(Kept, answers)


# -- as nightly --json prints it ---------------------------------------------------------------------------------------


def printed_unit(one: Kept, since: Since) -> dict[str, Any]:
    """A unit in the form of `nightly --json`; since-when of each deficiency from what is open.

    Printed from the verdict as it is stored, so that a past night prints the digits of the day itself.
    """
    one = read_kept(plain(one))
    verdict = one.verdict
    return {
        "unit": one.unit,
        "vehicle": one.vehicle,
        "status": word(verdict.status),
        "holds_until": plain(verdict.holds_until),
        "next_change_on": plain(verdict.next_change_on),
        "check_good_until": plain(verdict.check_good_until),
        "deficiencies": [printed_deficiency(each, since) for each in verdict.deficiencies],
        "duties": [
            printed_duty(facts, marked(answer, verdict), since)
            for facts, answer in zip(one.duties, verdict.answers, strict=False)
        ],
    }


def marked(answer: Answer, verdict: Verdict) -> Answer:
    """The answer with what is accepted marked on its deficiencies, as on the unit's own list."""
    accepted = {(each.code, each.subject) for each in verdict.deficiencies if each.accepted}
    if not accepted:
        return answer
    every = answer.deficiencies
    return answer._replace(
        deficiencies=tuple(each._replace(accepted=(each.code, each.subject) in accepted) for each in every)
    )


def word(status: str) -> str:
    """A status or severity as people write it."""
    return status.replace("_", " ")


def printed_deficiency(each: Deficiency, since: Since) -> dict[str, Any]:
    """A deficiency with numbers in SI and the name of what they measure."""
    return {
        "code": each.code,
        "subject": {"kind": each.subject[0], "id": each.subject[1], "name": each.words},
        "severity": word(each.severity),
        "quantity": each.quantity,
        "measured": plain(each.measured),
        "required": plain(each.required),
        "since": plain(since.get((each.code, *each.subject), each.since)),
        "accepted": each.accepted,
    }


def printed_duty(facts: DutyFacts, answer: Answer, since: Since) -> dict[str, Any]:
    """A duty's answer: US units by name, every volume also in liters."""
    share = answer.back_pressure_share
    return {
        "name": facts.name,
        "kind": facts.kind,
        "fuel": facts.fuel or None,
        "status": word(answer.status),
        "required_gpm": _us(answer.required_lpm, "gpm"),
        "flow_gpm": _us(answer.flow_lpm, "gpm"),
        **_volume("textbook_need", answer.textbook_l),
        **_volume("line_need", answer.need_l),
        **_volume("usable", answer.usable_l),
        **_volume("short", _short_l(answer)),
        "covered_share": _rounded(_share(answer)),
        "minutes": _rounded(showing.minutes(answer)),
        "area_ft2": _us(showing.area_m2(answer), "ft2") if facts.area_m2 else None,
        "area_planned_ft2": _us(facts.area_m2, "ft2"),
        "area_limited_by": answer.binds or None,
        "own_water_minutes": _rounded(answer.own_water_min),
        "back_pressure_share": _rounded(share),
        "back_pressure_psi": _us(answer.back_pressure_kpa, "psi"),
        "as_set": _as_set(answer),
        "vapor": _cover(answer),
        "deficiencies": [printed_deficiency(each, since) for each in answer.deficiencies],
    }


def _short_l(answer: Answer) -> float:
    """What is missing of the line need [L]; nothing within what whole milliliters cost, as the status has it."""
    return 0.0 if answer.short_l * ML_PER_L <= tolerance_ml(answer.containers) else answer.short_l


def _share(answer: Answer) -> float:
    """Covered share of the line need, 1 = all of it; never below 1 where nothing is short."""
    return answer.share if _short_l(answer) or not answer.need_l else max(answer.share, 1.0)


def _as_set(answer: Answer) -> dict[str, Any] | None:
    found = answer.as_set
    if found is None:
        return None
    return {
        "setting_pct": found.setting / 100,
        "turn_to_pct": found.turn_to / 100,
        "lean": found.lean,
        **_volume("draw", found.draw_l),
        "minutes": _rounded(found.minutes),
        "runs_dry": found.runs_dry,
    }


def _cover(answer: Answer) -> dict[str, Any] | None:
    found = answer.cover
    if found is None:
        return None
    return {
        "hold_minutes": _rounded(found.hold_min),
        "interval_minutes": _rounded(found.interval_min),
        "top_ups": found.top_ups,
        **_volume("first_blanket", found.first_l),
        **_volume("upkeep", found.upkeep_l),
        **_volume("fire_run", found.fire_l),
    }


def _volume(name: str, litres: float) -> dict[str, float | None]:
    return {f"{name}_gal": _us(litres, "gal"), f"{name}_l": _rounded(litres)}


def _us(value: float | None, unit: str) -> float | None:
    return None if value is None else _rounded(from_si(value, unit))


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)
