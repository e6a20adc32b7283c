"""One foam line solved: its operating point, what it makes, what is wrong with it for each duty, and what cures it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final, NamedTuple

from readiness.engineering import records as r
from readiness.engineering.cures import Trial, trials
from readiness.engineering.deficiencies import System, sentence
from readiness.engineering.hydraulics import back_pressure_kpa
from readiness.engineering.judging import judge
from readiness.engineering.lines import driven_lpm, flow_by_plate_lpm, with_nozzle
from readiness.engineering.operating import Point, eductor_point, fed_pct, pump_for_kpa, pumped_point
from readiness.engineering.percentages import percent_text
from readiness.engineering.steps import Recorder
from readiness.engineering.wording import flow_text, length_text, pressure_text
from readiness.models import FoamLine, Unit
from readiness.reports.duty_figures import DutyFigures, PailPace, duty_figures, pail_pace
from readiness.reports.explanations import WorkingLine, written
from readiness.reports.fleet import load_rigs
from readiness.reports.gear import Aboard
from readiness.reports.verdicts import duty_facts

OF_A_LINE: Final = frozenset(
    {
        "line_out_of_service",
        "setting_not_offered",
        "too_thick",
        "feed_lean",
        "aspirating_missing",
        "no_pick_up",
        "nozzle_below_eductor",
        "nozzle_above_eductor",
        "lift_too_high",
        "tube_not_original",
        "inlet_low",
        "inlet_high",
        "pump_low",
        "branch_low",
        "below_range",
        "intake_pressurized",
        "intake_not_stated",
        "batch_ends",
        "setting_not_parked",
        "ring_to_turn",
        "rate_short",
        "monitor_small",
        "runs_dry",
        "short_of_textbook",
    }
)
_STEPS: Final = 24  # points of a curve


class Tried(NamedTuple):
    """One change in words, with what the judge says to it."""

    words: str
    aboard: bool
    cures: bool
    figures: DutyFigures
    back_kpa: float | None
    share_pct: int | None  # of inlet, to the nearest tenth of a percent [1/100 point]
    longest_m: float | None
    made: int | None  # lean: what it makes, rounded down [1/100 point]
    pails: PailPace | None


class OnDuty(NamedTuple):
    """The line alone for one duty: what is wrong, and what was tried."""

    figures: DutyFigures
    wrong: tuple[str, ...]
    tried: tuple[Tried, ...]


class Fed(NamedTuple):
    """What a feed makes of so many lines at a setting."""

    lines: int
    nozzle_lpm: float  # of each nozzle, its own
    flow_lpm: float  # of each, as the pump drives it
    setting: int
    made: float  # 1/100 point
    asked_lpm: float
    lean: bool


class LineSetup(NamedTuple):
    """All that the page of a line shows; SI. `broken` says why there is nothing."""

    broken: str
    vehicle: str
    name: str
    kind: str
    eductor: bool
    rated_lpm: float | None
    rated_inlet_kpa: float | None
    setting: int
    max_feed_lpm: float | None
    stretch_m: float
    height_m: float
    lift_m: float
    plate_lift_m: float | None
    own_lpm: float  # the nozzle's own flow
    pump_kpa: float | None  # what the pump has to give for it; None where it is an eductor's, or not known
    point: Point | None
    share_pct: int | None  # back pressure of inlet, to the nearest tenth of a percent [1/100 point]
    missing: tuple[str, ...]  # what has to be entered before the point can be solved
    curve: tuple[tuple[float, float], ...]  # stretch [m], back pressure [kPa] or flow [L/min]
    duties: tuple[OnDuty, ...]
    fed: tuple[Fed, ...]
    working: tuple[WorkingLine, ...]


def line_setup(unit: Unit, row: FoamLine, moment: r.Moment, system: System) -> LineSetup | None:
    """A line of a unit, solved; None where the unit does not run it."""
    fleet = load_rigs(day=moment.day, departments=[unit.department_id], units=[unit.pk])
    if not fleet.rigs:
        return _broken(fleet.broken[0][1] if fleet.broken else "it is retired", row)
    rig, policy = fleet.rigs[0], fleet.policies[unit.department_id]
    line = next((each for each in rig.lines if each.id == row.pk), None)
    if line is None:
        return None
    point, say = solved(line, policy), Recorder()
    if line.lay is not None and point is not None:
        back_pressure_kpa(line.lay, point.flow_lpm, say)
    aboard = Aboard(rig, unit.department_id)
    return LineSetup(
        broken="",
        vehicle=rig.vehicle.name if rig.vehicle else "no vehicle",
        name=line.name,
        kind=row.proportioner.kind,
        eductor=line.rated_lpm is not None,
        rated_lpm=row.proportioner.rated_flow_lpm,
        rated_inlet_kpa=line.lay.rated_inlet_kpa if line.lay else None,
        setting=setting_of(line),
        max_feed_lpm=line.max_feed_lpm,
        stretch_m=sum(leg.length_m for leg in line.lay.hose) if line.lay else 0.0,
        height_m=line.lay.height_m if line.lay else 0.0,
        lift_m=row.lift_m,
        plate_lift_m=row.proportioner.plate_lift_m,
        own_lpm=line.flow_lpm,
        pump_kpa=pump_for_kpa(line.lay, line.flow_lpm) if line.lay and line.rated_lpm is None else None,
        point=point,
        share_pct=share_pct(point.share) if point else None,
        missing=_missing(row, line),
        curve=_curve(line, point),
        duties=tuple(_on_duty(rig, line, duty, policy, moment, aboard, system) for duty in rig.duties),
        fed=tuple(_fed(line)),
        working=tuple(written(step, system) for step in say.steps),
    )


def _broken(why: str, row: FoamLine) -> LineSetup:
    """Nothing but the reason."""
    nothing: dict[str, Any] = dict.fromkeys(LineSetup._fields, ())
    unknown = ("rated_lpm", "rated_inlet_kpa", "max_feed_lpm", "plate_lift_m", "pump_kpa", "point", "share_pct")
    nothing |= dict.fromkeys(unknown)
    return LineSetup(**nothing | {"broken": why, "vehicle": "", "name": row.name, "kind": row.proportioner.kind})


def share_pct(share: float | None) -> int | None:
    """A share as people compare it with a plate: 0.6211 is 62.1 %."""
    return None if share is None else round(share * 1000) * 10


def setting_of(line: r.Line) -> int:
    """The setting a line is worked at where no duty says another: parked, else as seen, else the greatest."""
    return line.parked or line.present or max(line.offered, default=0)


def solved(line: r.Line, policy: r.Policy) -> Point | None:
    """The operating point of a line as it stands; None while its lay is not known."""
    lay = with_nozzle(line, line.flow_lpm)
    if lay is None:
        return None
    if line.rated_lpm is None:
        return pumped_point(lay, line.flow_lpm)
    # the plate's flow at this setting, before the inlet is looked at: the point does that itself
    at_plate = flow_by_plate_lpm(line._replace(lay=None), line.rated_lpm, setting_of(line))
    return eductor_point(lay, at_plate, policy.back_pressure_share)


def _missing(row: FoamLine, line: r.Line) -> tuple[str, ...]:
    """What keeps the point from being solved."""
    if line.lay is not None:
        return ()
    missing = []
    if row.inlet_kpa is None and row.pump_kpa is None:
        missing.append("inlet or pump pressure")
    if not row.legs.all():
        missing.append("hose")
    rated = row.nozzle is not None and (row.nozzle.rated_pressure_kpa is not None or row.nozzle.bore_m is not None)
    if row.nozzle_kpa is None and not rated:
        missing.append("nozzle pressure")
    return tuple(missing)


def _curve(line: r.Line, point: Point | None) -> tuple[tuple[float, float], ...]:
    """Back pressure at the eductor, or flow at the nozzle, over the stretch: the last leg lengthened from nothing."""
    lay = line.lay
    if lay is None or point is None or not lay.hose:
        return ()
    *others, last = lay.hose
    fixed = sum(leg.length_m for leg in others)
    laid_m = fixed + last.length_m
    longest = max(1.25 * laid_m, min(1.4 * (point.longest_m or 0.0), 3.0 * laid_m), fixed + 30.0)
    found = []
    for n in range(_STEPS + 1):
        length = (longest - fixed) * n / _STEPS
        laid = lay._replace(hose=(*others, last._replace(length_m=length)))
        found.append((fixed + length, _height_of(line, laid)))
    return tuple(found)


def _height_of(line: r.Line, lay: r.Lay) -> float:
    if line.rated_lpm is None:
        return pumped_point(lay, line.flow_lpm).flow_lpm
    flow = flow_by_plate_lpm(line._replace(lay=lay), line.rated_lpm, setting_of(line))
    return back_pressure_kpa(lay, flow)


# -- duties and cures --------------------------------------------------------------------------------------------------


def _on_duty(
    rig: r.Rig,
    line: r.Line,
    duty: r.Duty,
    policy: r.Policy,
    moment: r.Moment,
    aboard: Aboard,
    system: System,
) -> OnDuty:
    alone = rig._replace(lines=(line,), setups=((line.id,),), duties=(duty,))
    answer = judge(alone, policy, moment).answers[0]
    facts, gear = duty_facts(duty), aboard.beside(line)
    wrong = [each for each in answer.deficiencies if each.severity != "note"]
    return OnDuty(
        figures=duty_figures(facts, answer, system),
        wrong=tuple(sentence(each, system) for each in wrong),
        tried=tuple(
            _tried(each, duty, line, rig, system)
            for each in trials(rig, line, duty.id, policy, moment, gear)
            if wrong or each.kind == "ring"
        ),
    )


def _tried(trial: Trial, duty: r.Duty, line: r.Line, rig: r.Rig, system: System) -> Tried:
    answer = trial.answer
    lean = next((each.measured for each in answer.deficiencies if each.code == "feed_lean"), None)
    return Tried(
        words=trial_words(trial, system),
        aboard=trial.aboard,
        cures=trial.cures,
        figures=duty_figures(duty_facts(duty), answer, system),
        back_kpa=answer.back_pressure_kpa,
        share_pct=share_pct(answer.back_pressure_share),
        longest_m=answer.longest_m,
        made=None if lean is None else int(lean + 1e-6),
        pails=pail_pace(answer, rig.containers) if line.pails and answer.setup else None,
    )


def trial_words(trial: Trial, system: System) -> str:
    """What is changed, in words: "drop 1 length of hose, 100 ft left"."""
    flow = flow_text(trial.flow_lpm, system) if trial.flow_lpm else ""
    at = f" at {pressure_text(trial.pressure_kpa, system)}" if trial.pressure_kpa else ""
    if trial.kind == "length":
        lengths = "1 length" if trial.dropped == 1 else f"{trial.dropped} lengths"
        return f"drop {lengths} of hose, {length_text(trial.length_m or 0.0, system)} left in the last leg"
    return {
        "inlet": f"pump it to the plate’s inlet pressure,{at.removeprefix(' at')}",
        "pump": f"pump it{at}, what its nozzle’s own flow takes",
        "setting": f"turn the setting to {percent_text(trial.pct)}",
        "ring": f"turn the ring to {flow}",
        "tip": f"a tip of {flow}{at}",
        "nozzle": f"{trial.name}, {flow}{at}",
        "proportioner": f"{trial.name}, {flow}",
        "together": f"run {trial.name} with it",
        "second_line": "a second line like this one beside it",
        "concentrate": f"fill it with {trial.name}",
    }[trial.kind]


def best_cure(rig: r.Rig, answer: r.Answer, policy: r.Policy, moment: r.Moment, aboard: Aboard, system: System) -> str:
    """The first cure of an answer's line with gear aboard, in words; empty where there is none or nothing to cure."""
    lines = {line.id: line for line in rig.lines}
    line = next((lines[pk] for pk in answer.setup if pk in lines), None)
    if line is None or not any(each.code in OF_A_LINE and each.severity != "note" for each in answer.deficiencies):
        return ""
    found = trials(rig, line, answer.duty_id, policy, moment, aboard.beside(line))
    return next((trial_words(each, system) for each in found if each.cures and each.aboard), "")


# -- feed --------------------------------------------------------------------------------------------------------------


def _fed(line: r.Line) -> Iterable[Fed]:
    """What the feed makes of one line and of two, at each setting and at each gallonage of the ring that flows."""
    if line.max_feed_lpm is None:
        return
    for setting in sorted(line.offered):
        for nozzle in sorted({line.flow_lpm, *line.rings_lpm}):
            lay = with_nozzle(line, nozzle) if line.rated_lpm is None else None
            flow = nozzle if lay is None else driven_lpm(lay, nozzle)
            for lines in (1, 2) if flow else ():
                made = fed_pct(setting, line.max_feed_lpm, lines * flow)
                asked = lines * flow * setting / 10_000
                yield Fed(lines, nozzle, flow, setting, made, asked, made < setting * (1 - 1e-9))


def made_text(fed: Fed) -> str:
    """What comes out, in words, rounded down: "2.63 %"."""
    return percent_text(int(fed.made + 1e-6))
