"""A unit's status with its working, as an officer would write it: the page, the print and `explain` show the same."""

from __future__ import annotations

from typing import Literal, NamedTuple

from readiness.engineering import records as r
from readiness.engineering.deficiencies import cure, sentence
from readiness.engineering.judging import judge, working
from readiness.engineering.units import from_si
from readiness.models import Unit
from readiness.reports.fleet import load_rigs
from readiness.reports.verdicts import DutyFacts, duty_facts, marked, word

System = Literal["us", "metric"]

US_OF = {"L/min": "gpm", "m²": "ft2", "L/min/m²": "gpm/ft2", "L": "gal", "kPa": "psi", "m": "ft", "kg": "lb", "°C": "F"}
WRITTEN = {"ft2": "ft²", "gpm/ft2": "gpm/ft²", "F": "°F"}
PLACES = 3


class WorkingLine(NamedTuple):
    """One line of a working: what, by which formula, with which numbers, to which result, from which source."""

    label: str
    formula: str
    numbers: str
    result: str
    source: str


class Said(NamedTuple):
    """A deficiency in words, and what cures it."""

    severity: str
    sentence: str
    cure: str
    accepted: bool


class DutyExplained(NamedTuple):
    """A duty's answer with its working."""

    facts: DutyFacts
    answer: r.Answer
    said: tuple[Said, ...]
    lines: tuple[WorkingLine, ...]


class Explanation(NamedTuple):
    """A unit's verdict with everything that led to it."""

    unit: str
    vehicle: str
    moment: r.Moment
    verdict: r.Verdict
    said: tuple[Said, ...]
    duties: tuple[DutyExplained, ...]
    excluded: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        """The whole as text, top to bottom."""
        verdict = self.verdict
        until = f", holds until {verdict.holds_until}" if verdict.holds_until else ""
        said = [f"{self.unit} on {self.vehicle}: {word(verdict.status).upper()}{until}"]
        said.append(f"as of {self.moment.at:%Y-%m-%d %H:%M %Z}")
        said += [_line(each) for each in self.said]
        said += [f"  not counted: {each}" for each in self.excluded]
        for duty in self.duties:
            said += ["", f"{duty.facts.name}: {word(duty.answer.status).upper()}"]
            said += [_line(each) for each in duty.said]
            said += [_text(line) for line in duty.lines]
        said += ["", SAFETY]
        return said


SAFETY = (
    "This supports the officer's judgment, the product listing, local codes and licensed practice; "
    "it does not replace them."
)


def _line(each: Said) -> str:
    accepted = " (accepted)" if each.accepted else ""
    return f"  {word(each.severity)}: {each.sentence} {each.cure}{accepted}"


def _text(line: WorkingLine) -> str:
    numbers = f" [{line.numbers}]" if line.numbers else ""
    return f"  {line.label} = {line.formula}{numbers} = {line.result}   ({line.source})"


def explain(unit: Unit, moment: r.Moment, units: System | None = None) -> Explanation | str:
    """Judge a unit in memory as of a moment and tell how; a text that says why where it cannot be read."""
    system: System = units or ("us" if unit.department.units == "us" else "metric")
    fleet = load_rigs(day=moment.day, departments=[unit.department_id], units=[unit.pk])
    if fleet.broken:
        return fleet.broken[0][1]
    return explain_rig(fleet.rigs[0], fleet.policies[unit.department_id], moment, system)


def explain_rig(rig: r.Rig, policy: r.Policy, moment: r.Moment, units: System) -> Explanation:
    """The same for a rig that has been read, an old one for instance."""
    verdict = judge(rig, policy, moment)
    verdict = verdict._replace(answers=tuple(marked(answer, verdict) for answer in verdict.answers))
    of_duties = {(fault.code, fault.subject) for answer in verdict.answers for fault in answer.deficiencies}
    return Explanation(
        unit=rig.name,
        vehicle=rig.vehicle.name if rig.vehicle else "no vehicle",
        moment=moment,
        verdict=verdict,
        said=tuple(said(each, units) for each in verdict.deficiencies if (each.code, each.subject) not in of_duties),
        duties=tuple(
            DutyExplained(
                facts=duty_facts(duty),
                answer=answer,
                said=tuple(said(each, units) for each in answer.deficiencies),
                lines=tuple(written(step, units) for step in working(rig, policy, moment, duty.id)),
            )
            for duty, answer in zip(rig.duties, verdict.answers, strict=False)
        ),
        excluded=tuple(_excluded(each, units) for each in verdict.excluded),
    )


def said(each: r.Deficiency, units: System) -> Said:
    """A deficiency in words."""
    return Said(each.severity, sentence(each, units), cure(each), each.accepted)


def _excluded(each: r.Exclusion, units: System) -> str:
    why = each.code.replace("_", " ")
    since = f" since {each.since}" if each.since else ""
    return f"{each.container}: {amount(each.ml / 1000, 'L', units)}, {why}{since}"


def written(step: r.Step, units: System) -> WorkingLine:
    """A step of the working in the reader's units."""
    numbers = "; ".join(f"{name} {amount(value, unit, units)}" for name, value, unit in step.numbers)
    return WorkingLine(step.label, step.formula, numbers, amount(step.result, step.unit, units), step.source)


def amount(value: float, unit: str, units: System) -> str:
    """A number of a working with its unit, to a thousandth, not rounded in anybody's favor."""
    if units == "us" and unit in US_OF:
        value, unit = from_si(value, US_OF[unit]), US_OF[unit]
    text = f"{value:,.{PLACES}f}".rstrip("0").rstrip(".")
    return f"{text} {WRITTEN.get(unit, unit)}".strip()
