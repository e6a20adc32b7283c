"""A duty's answer as lists, unit pages and cards show it: bare figures, the reason in a few words, and a drawn bar.

Every page that shows a duty takes its figures from here, so that list, page, print and workbook cannot differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final, NamedTuple

from readiness.engineering import records as r
from readiness.engineering import showing
from readiness.engineering.deficiencies import System
from readiness.engineering.percentages import percent_text
from readiness.engineering.units import ML_PER_L, enough, from_ml, pails_for, shown, shown_pair, to_si
from readiness.reports.verdicts import DutyFacts, word

VOLUME_UNIT: Final[dict[System, str]] = {"us": "gal", "metric": "L"}
SUPPLIES: Final = {"hydrant": "hydrant", "draft": "drafting", "tenders": "tenders", "none": "no named supply", "": ""}
FEW_WORDS: Final[Mapping[str, str]] = {  # where the code itself would not be said so on the bay floor
    "no_reach": "no line reaches foam",
    "not_listed": "not listed for it",
    "no_pick_up": "no pick-up",
    "no_listed_rate": "no listed rate",
    "plain_on_e10": "not alcohol-resistant",
    "listing_by_group": "listed by group only",
    "feed_lean": "proportioned lean",
    "inlet_low": "inlet low, rich",
    "inlet_high": "inlet high, lean",
    "pump_low": "pump pressure low",
    "branch_low": "a branch starved",
    "below_range": "below the proportioner’s range",
    "intake_pressurized": "pressure at the intake",
    "intake_not_stated": "intake pressure not stated",
    "batch_ends": "tankful ends the attack",
    "aspirating_missing": "aspirating nozzle missing",
    "no_named_water": "no named water",
    "water_short": "water runs dry",
    "check_overdue": "check overdue",
    "check_never": "never checked",
    "no_tow": "no tow unit",
    "no_design_spill": "no design spill",
    "vapor_not_worked": "vapor cover not worked",
    "pack_off": "region pack is off",
    "rule_not_stated": "region’s rule not stated",
    "no_rule_rate": "no rate by the region’s rule",
    "monitor_small": "monitor too small",
    "foam_thin": "foam expands too little",
    "foam_drains": "foam drains too fast",
    "foam_test_never": "no foam test",
}
PAIL_L: Final = to_si(5, "gal")
LONG_S: Final = 100  # from here on whole seconds are fine enough
_CLEAR_ML: Final = 500  # a shortage above this cannot be hidden by the tolerance of whole milliliters


class NeedBar(NamedTuple):
    """Usable, textbook need and line need on one scale of 0 to 100."""

    usable: float
    textbook: float
    need: float


class DutyFigures(NamedTuple):
    """One duty with its answer. Volumes in ml, areas in m², flows in L/min, times in min."""

    id: int
    name: str
    kind: str
    fuel: str
    status: r.Status
    reason: str  # in a few words; empty where it is ready
    counts: bool  # whether some concentrate aboard counts for it
    usable_ml: float
    need_ml: float
    textbook_ml: float
    short_ml: float
    rich_need_ml: float | None
    kept_in: int  # containers, for the tolerance in show
    places: int  # decimals with which usable and need do not contradict the answer
    bar: NeedBar | None
    share: float
    pct: int
    required_lpm: float
    flow_lpm: float
    planned_m2: float | None
    area_m2: float | None
    by_rate_m2: float | None
    by_stock_m2: float | None
    binds: str
    duration_min: float
    minutes: float | None
    own_water_min: float | None
    supply: str
    water_ml: float
    runoff_ml: float
    tankfuls: float | None
    as_set: AsSetFigures | None
    cover: CoverFigures | None
    short_pails: int  # what is short, in pails of five US gallons


class CoverFigures(NamedTuple):
    """What keeping vapor down takes of the need [min, ml]; the fire run is kept back in case it lights."""

    hold_min: float
    interval_min: float
    first_ml: float
    top_ups: int
    upkeep_ml: float
    fire_ml: float


class AsSetFigures(NamedTuple):
    """What happens if nobody turns the knob."""

    setting: int
    turn_to: int
    lean: bool
    draw_ml: float
    minutes: float
    runs_dry: bool


def duty_figures(facts: DutyFacts, answer: r.Answer, system: System) -> DutyFigures:
    """A duty's answer for show."""
    usable_ml, need_ml = answer.usable_l * ML_PER_L, answer.need_l * ML_PER_L
    counts, area = bool(answer.setup), facts.area_m2 is not None and bool(answer.setup)
    places, kept_in = _agreeing(usable_ml, need_ml, answer.containers, system)
    short_ml = 0.0 if enough(usable_ml, need_ml, answer.containers) else answer.short_l * ML_PER_L
    return DutyFigures(
        id=facts.id,
        name=facts.name,
        kind=facts.kind,
        fuel=facts.fuel,
        status=answer.status,
        reason=reason(answer, system),
        counts=counts,
        usable_ml=usable_ml,
        need_ml=need_ml,
        textbook_ml=answer.textbook_l * ML_PER_L,
        short_ml=short_ml,
        rich_need_ml=None if answer.rich_need_l is None else answer.rich_need_l * ML_PER_L,
        kept_in=kept_in,
        places=places,
        bar=need_bar(answer) if counts else None,
        share=showing.share(answer),
        pct=answer.pct,
        required_lpm=answer.required_lpm,
        flow_lpm=answer.flow_lpm,
        planned_m2=facts.area_m2,
        area_m2=showing.area_m2(answer) if area else None,
        by_rate_m2=answer.area_by_rate_m2 if area else None,
        by_stock_m2=showing.area_by_stock_m2(answer) if area else None,
        binds=answer.binds if area else "",
        duration_min=answer.duration_min,
        minutes=showing.minutes(answer) if answer.draw_lpm else None,
        own_water_min=answer.own_water_min,
        supply=SUPPLIES[facts.supply],
        water_ml=answer.water_l * ML_PER_L,
        runoff_ml=answer.runoff_l * ML_PER_L,
        tankfuls=answer.tankfuls,
        as_set=_as_set(answer),
        cover=cover_figures(answer),
        short_pails=pails_for(short_ml, round(PAIL_L * ML_PER_L)) if short_ml else 0,
    )


def _agreeing(usable_ml: float, need_ml: float, containers: int, system: System) -> tuple[int, int]:
    """(decimals, containers for the tolerance) with which usable and need, each rounded, say what the answer says."""
    if not enough(usable_ml, need_ml, containers):
        return 1, containers if need_ml - usable_ml > _CLEAR_ML else 0
    have, _ = shown_pair(usable_ml, need_ml, unit=VOLUME_UNIT[system], places=1, containers=containers)
    return -int(have.as_tuple().exponent), containers


def _as_set(answer: r.Answer) -> AsSetFigures | None:
    found = answer.as_set
    if found is None:
        return None
    litres, minutes = found.draw_l, found.minutes
    return AsSetFigures(found.setting, found.turn_to, found.lean, litres * ML_PER_L, minutes, found.runs_dry)


def cover_figures(answer: r.Answer) -> CoverFigures | None:
    """The parts of a vapor duty's need; None for any other."""
    found = answer.cover
    if found is None:
        return None
    first, upkeep, fire = (each * ML_PER_L for each in (found.first_l, found.upkeep_l, found.fire_l))
    return CoverFigures(found.hold_min, found.interval_min, first, found.top_ups, upkeep, fire)


def need_bar(answer: r.Answer) -> NeedBar | None:
    """Where usable ends and where the two needs stand, the greatest of the three being 100."""
    every = (answer.usable_l, answer.textbook_l, answer.need_l)
    scale = max(every)
    if not scale:
        return None
    return NeedBar(*(round(100 * each / scale, 1) for each in every))


def reason(answer: r.Answer, system: System) -> str:
    """Why a duty is not ready, in a few words: the worst of what was found, each thing once."""
    worst = [each for each in answer.deficiencies if each.severity == answer.status]
    return ", ".join(dict.fromkeys(few_words(each, answer, system) for each in worst))


def few_words(each: r.Deficiency, answer: r.Answer | None, system: System) -> str:
    """A deficiency in two or three words: "wrong foam", "short 15.5 gal", "turn to 6 %"."""
    if each.code == "short_of_textbook" and each.required is not None and each.measured is not None:
        return f"short {volume(each.required - each.measured, system)}"
    if each.code == "runs_dry" and answer is not None:
        minute = shown(showing.minutes(answer), unit=None, places=1, toward="down")
        return f"runs dry at minute {minute} of {answer.duration_min:g}"
    if each.code == "fire_cover_short" and each.required is not None and each.measured is not None:
        return f"fire cover short {volume(each.required - each.measured, system)}"
    if each.code == "setting_not_parked" and each.required is not None:
        return f"turn to {percent_text(round(answer.pct if answer and answer.pct else each.required))}"
    return FEW_WORDS.get(each.code, word(each.code))


def volume(litres: float, system: System) -> str:
    """A volume that is asked for, rounded up."""
    unit = VOLUME_UNIT[system]
    return f"{shown(from_ml(litres * ML_PER_L, unit), unit=unit, places=1, toward='up'):,} {unit}"


def settings_to_turn(duties: Iterable[DutyFigures]) -> tuple[str, ...]:
    """What to turn before flowing, for each duty whose setting stands otherwise."""
    return tuple(
        f"{duty.name}: turn to {percent_text(duty.as_set.turn_to)}" for duty in duties if duty.as_set is not None
    )


class PailPace(NamedTuple):
    """How fast a line empties pails: the seconds of one, as shown; pails an hour; people who keep them coming."""

    seconds: str
    hourly: int
    hands: int


def pail_pace(answer: r.Answer, containers: Iterable[r.Container]) -> PailPace | None:
    """The seconds are rounded down: to a tenth where a tenth matters to the hand that changes it."""
    pail_l = _pail_l(containers)
    seconds, hands = showing.pail_seconds(answer, pail_l), showing.hands(answer, pail_l)
    if seconds is None or hands is None:
        return None
    return PailPace(
        str(shown(seconds, unit=None, places=0 if seconds >= LONG_S else 1, toward="down")),
        round(showing.pails_hourly(answer, pail_l)),
        hands,
    )


def _pail_l(containers: Iterable[r.Container]) -> float:
    """What a full pail aboard holds, else five US gallons [L]."""
    fullest_ml = max((each.book_ml for each in containers if each.kind == "pail"), default=0)
    return fullest_ml / ML_PER_L if fullest_ml else PAIL_L
