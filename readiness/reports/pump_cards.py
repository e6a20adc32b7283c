"""The card at the pump panel: each foam line worked by itself, for every fuel the unit is planned for."""

from __future__ import annotations

from typing import NamedTuple

from readiness.engineering import records as r
from readiness.engineering import showing
from readiness.engineering.deficiencies import System
from readiness.engineering.judging import judge
from readiness.models import Unit
from readiness.reports.duty_figures import SUPPLIES, CoverFigures, PailPace, cover_figures, pail_pace, reason
from readiness.reports.fleet import load_rigs
from readiness.reports.gear import Aboard
from readiness.reports.line_setups import best_cure
from readiness.reports.unit_today import drawn_by
from readiness.reports.verdicts import duty_facts


class CardRow(NamedTuple):
    """One duty on one line. Flows in L/min, times in min; `why_not` where the line cannot serve it."""

    duty: str
    fuel: str
    status: str
    why_not: str
    pct: int
    flow_lpm: float
    pails: PailPace | None
    minutes: float | None
    duration_min: float
    own_water_min: float | None
    supply: str
    cover: CoverFigures | None  # of a vapor duty


class PumpCard(NamedTuple):
    """One line's card."""

    line: str
    eductor: bool
    inlet_kpa: float | None  # at the eductor; at the pump where there is none
    rings: bool  # whether the nozzle has a gallonage ring to set
    longest_m: float | None
    hose_m: float | None
    draws: bool
    cure: str  # of a line that does not pick up, with gear aboard; empty where there is none
    parked: int | None
    pails: bool
    rows: tuple[CardRow, ...]
    settings: tuple[tuple[str, int], ...]  # fuel, setting


class Cards(NamedTuple):
    """The cards of a unit; `broken` says why there are none."""

    broken: str
    unit: str
    vehicle: str
    cards: tuple[PumpCard, ...]


def pump_cards(unit: Unit, moment: r.Moment, system: System) -> Cards:
    """A card for each foam line of a unit on its vehicle, as of a moment."""
    fleet = load_rigs(day=moment.day, departments=[unit.department_id], units=[unit.pk])
    if not fleet.rigs:
        why = fleet.broken[0][1] if fleet.broken else "it is retired"
        return Cards(why, unit.designation, "", ())
    rig, policy = fleet.rigs[0], fleet.policies[unit.department_id]
    aboard = Aboard(rig, unit.department_id)
    cards = tuple(_card(line, rig, policy, moment, aboard, system) for line in rig.lines)
    return Cards("", rig.name, rig.vehicle.name if rig.vehicle else "no vehicle", cards)


def _card(line: r.Line, rig: r.Rig, policy: r.Policy, moment: r.Moment, aboard: Aboard, system: System) -> PumpCard:
    alone = rig._replace(lines=(line,), setups=((line.id,),))
    answers = judge(alone, policy, moment).answers
    rows = tuple(_row(duty, answer, line, rig, system) for duty, answer in zip(rig.duties, answers, strict=False))
    drawn = drawn_by(line, policy)
    draws = drawn is None or drawn.draws
    cured = () if draws else (best_cure(alone, each, policy, moment, aboard, system) for each in answers)
    served = {row.fuel or row.duty: row.pct for row in rows if not row.why_not}
    return PumpCard(
        line=line.name,
        eductor=line.rated_lpm is not None,
        inlet_kpa=line.lay.inlet_kpa if line.lay else None,
        rings=len(line.rings_lpm) > 1,
        longest_m=drawn.longest_m if drawn else None,
        hose_m=sum(leg.length_m for leg in line.lay.hose) if line.lay else None,
        draws=draws,
        cure=next((words for words in cured if words), ""),
        parked=line.parked,
        pails=line.pails,
        rows=rows,
        settings=tuple(served.items()),
    )


def _row(duty: r.Duty, answer: r.Answer, line: r.Line, rig: r.Rig, system: System) -> CardRow:
    facts = duty_facts(duty)
    return CardRow(
        duty=facts.name,
        fuel=facts.fuel,
        status=answer.status,
        why_not="" if answer.setup else reason(answer, system),
        pct=answer.pct,
        flow_lpm=answer.flow_lpm,
        pails=pail_pace(answer, rig.containers) if line.pails and answer.setup else None,
        minutes=showing.minutes(answer) if answer.draw_lpm else None,
        duration_min=answer.duration_min,
        own_water_min=answer.own_water_min,
        supply=SUPPLIES[facts.supply],
        cover=cover_figures(answer),
    )
