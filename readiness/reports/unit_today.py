"""One unit as of this moment: judged anew with its working, beside what is recorded of it.

The unit is judged in memory from the book as it stands, so the page is never older than the last entry. Since-when,
owner, due day and acceptance come from the deficiencies that judging has recorded.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from itertools import groupby
from typing import Any, Final, NamedTuple

from django.db.models import Count, Q

from readiness.engineering import records as r
from readiness.engineering.deficiencies import System, cure, may_accept, sentence
from readiness.engineering.forecast import forecast
from readiness.engineering.holding import Held, hold
from readiness.engineering.hydraulics import LineDraw, line_draw
from readiness.engineering.lines import band_of, flow_by_plate_lpm
from readiness.engineering.proportioning import fault_of, good_through
from readiness.engineering.units import ML_PER_L
from readiness.models import Assessment, Change, Check, Deficiency, FoamLine, HoseLeg, RaisedDeficiency, Unit
from readiness.models.checks import Answer as Seen
from readiness.models.foam_lines import LegPart
from readiness.reports.duty_figures import DutyFigures, duty_figures
from readiness.reports.explanations import WorkingLine, explain_rig
from readiness.reports.fleet import load_rigs
from readiness.reports.gear import Aboard
from readiness.reports.line_setups import best_cure
from readiness.reports.verdicts import word

MOST_HISTORY: Final = 20
MOST_CHECKS: Final = 10
CONTAINER: Final = "Container "
GONE: Final = "a concentrate no longer aboard"
KINDS: Final = {"tank": "fixed tank", "kit": "kit reservoir"}


class Wrong(NamedTuple):
    """A deficiency in words, with who sees to it. `pk` is None for one found just now and not recorded yet."""

    pk: int | None
    severity: str
    sentence: str
    cure: str
    accepted: bool
    acceptable: bool  # whether a chief may accept it at all
    since_on: date | None
    owner: str
    due_on: date | None
    overdue: bool
    accepted_by: str
    accepted_until: date | None
    note: str


class DutyToday(NamedTuple):
    """A duty's figures with the working behind them, and what would cure its line with gear aboard."""

    figures: DutyFigures
    cure: str
    working: tuple[WorkingLine, ...]


class Out(NamedTuple):
    """Volume of a container that does not count."""

    ml: int
    why: str
    since: date | None


class ContainerToday(NamedTuple):
    """A container aboard: what it holds, how much of it counts, for which duties, and what does not count and why."""

    id: int
    code: str
    kind: str
    concentrate: str
    batches: str
    book_ml: int
    reading_ml: int | None
    reading_on: date | None
    good_through: date | None
    doubt: str
    counted_ml: int
    out: tuple[Out, ...]
    counts_for: tuple[str, ...]


class Alike(NamedTuple):
    """Containers that stand beside one another and differ in nothing but their label codes; `each`: any of them."""

    each: ContainerToday
    codes: tuple[str, ...]

    @property
    def many(self) -> int:
        """How many they are."""
        return len(self.codes)

    @property
    def counted_ml(self) -> int:
        """What counts of them together."""
        return self.each.counted_ml * self.many


class TestToday(NamedTuple):
    """The last proportioning test of a line at a setting."""

    concentrate: str
    setting: int
    measured: int
    on: date
    good_through: date
    in_date: bool
    fault: str  # how it failed; empty where it passed


class FoamToday(NamedTuple):
    """The last test of a line's finished foam with a concentrate."""

    concentrate: str
    on: date
    expansion: float
    quarter_min: float | None


class Leg(NamedTuple):
    """A stretch of hose."""

    length_m: float
    size_in: str
    where: str = ""  # "supply", "2 × behind the wye"; empty from the proportioner on


class LineToday(NamedTuple):
    """A foam line as it stands. Back pressure at the flow of its plate; None where there is no eductor or no lay."""

    id: int
    name: str
    proportioner: str
    kind: str
    settings: tuple[int, ...]
    parked: int | None
    present: int | None
    seen_at: datetime | None
    nozzle: str
    flow_lpm: float
    rings_lpm: tuple[float, ...]
    aspirating: bool
    hose: tuple[Leg, ...]
    inlet_kpa: float | None
    drawn: LineDraw | None
    sources: tuple[str, ...]
    pails: bool
    max_feed_lpm: float | None
    flushed: bool
    in_service: bool
    tests: tuple[TestToday, ...]
    foam: tuple[FoamToday, ...]


class ComingTurn(NamedTuple):
    """A day on which a duty gets worse if nothing is done, and what prevents it."""

    day: date
    duty: str
    was: str
    becomes: str
    short_ml: float
    prevents: tuple[str, ...]


class PastAnswer(NamedTuple):
    """An answer as it was kept."""

    at: datetime
    status: str
    because: str
    holds_until: date | None
    confirmed_on: date


class PastCheck(NamedTuple):
    """A check as it was made."""

    at: datetime
    by: str
    vehicle: str
    complete: bool
    faults: int
    not_looked: int
    notes: str


class UnitToday(NamedTuple):
    """Everything the unit's page shows. Where it cannot be judged `broken` says why and only the records remain."""

    broken: str
    status: str
    accepted: bool
    vehicle: str
    holds_until: date | None
    check_good_until: datetime | None
    wrong: tuple[Wrong, ...]
    notes: tuple[Wrong, ...]
    duties: tuple[DutyToday, ...]
    containers: tuple[Alike, ...]
    lines: tuple[LineToday, ...]
    turns: tuple[ComingTurn, ...]
    history: tuple[PastAnswer, ...]
    checks: tuple[PastCheck, ...]


def unit_today(unit: Unit, moment: r.Moment, system: System) -> UnitToday:
    """A unit as of a moment, in the reader's units."""
    fleet = load_rigs(day=moment.day, departments=[unit.department_id], units=[unit.pk])
    stored = _stored(unit)
    history, checks = _history(unit), _checks(unit)
    if not fleet.rigs:
        why = fleet.broken[0][1] if fleet.broken else "it is retired"
        known = tuple(_recorded(row, moment.day, system) for row in stored.values())
        wrong, notes = _apart(known)
        return UnitToday(why, "not_judged", False, "", None, None, wrong, notes, (), (), (), (), history, checks)
    rig, policy = fleet.rigs[0], fleet.policies[unit.department_id]
    told = explain_rig(rig, policy, moment, system)
    verdict = told.verdict
    every = tuple(_wrong(each, stored, moment.day, system) for each in verdict.deficiencies)
    wrong, notes = _apart(every)
    figures = [duty_figures(each.facts, each.answer, system) for each in told.duties]
    aboard = Aboard(rig, unit.department_id)
    cures = [best_cure(rig, each.answer, policy, moment, aboard, system) for each in told.duties]
    return UnitToday(
        broken="",
        status=verdict.status,
        accepted=_all_accepted(verdict),
        vehicle=told.vehicle,
        holds_until=verdict.holds_until,
        check_good_until=verdict.check_good_until,
        wrong=wrong,
        notes=notes,
        duties=tuple(
            DutyToday(each, cure, tuple(gathered(duty.lines)))
            for each, cure, duty in zip(figures, cures, told.duties, strict=True)
        ),
        containers=tuple(alike(containers_today(rig, policy, moment.day, verdict))),
        lines=tuple(lines_today(rig, policy, moment.day)),
        turns=tuple(_turn(each, rig) for each in forecast(rig, policy, moment)),
        history=history,
        checks=checks,
    )


def gathered(lines: Iterable[WorkingLine]) -> Iterable[WorkingLine]:
    """The working with containers that count the same on one line, as on paper: "9 containers, P-0101 to P-0109"."""
    for _, alike in groupby(lines, key=_alike):
        same = list(alike)
        if len(same) > 1 and same[0].label.startswith(CONTAINER):
            codes = [line.label.removeprefix(CONTAINER) for line in same]
            label = f"{len(same)} containers, {codes[0]} to {codes[-1]}, each"
            yield same[0]._replace(label=label)
        else:
            yield from same


def _alike(line: WorkingLine) -> tuple[str, ...]:
    return (line.label[: len(CONTAINER)], *line[1:])


def _all_accepted(verdict: r.Verdict) -> bool:
    """Whether everything of the status's own severity is accepted."""
    own = [each.accepted for each in verdict.deficiencies if each.severity == verdict.status]
    return bool(own) and all(own)


# -- deficiencies ------------------------------------------------------------------------------------------------------


def _apart(every: tuple[Wrong, ...]) -> tuple[tuple[Wrong, ...], tuple[Wrong, ...]]:
    """What makes the status, and what is only worth knowing."""
    wrong = tuple(each for each in every if each.severity != "note")
    return wrong, tuple(each for each in every if each.severity == "note")


def _stored(unit: Unit) -> dict[tuple[str, str, int], Deficiency]:
    rows = list(Deficiency.objects.filter(unit=unit, closed_on__isnull=True).select_related("owner", "accepted_by"))
    raised = [row.subject_id for row in rows if row.subject_kind == "raised"]
    by_hand = RaisedDeficiency.objects.filter(department=unit.department_id).select_related("owner").in_bulk(raised)
    for row in rows:
        if row.subject_kind == "raised" and row.subject_id in by_hand:  # whoever sees to it stands there
            row.owner, row.due_on = by_hand[row.subject_id].owner, by_hand[row.subject_id].due_on
    return {(row.code, row.subject_kind, row.subject_id): row for row in rows}


def _wrong(each: r.Deficiency, stored: dict[tuple[str, str, int], Deficiency], day: date, system: System) -> Wrong:
    row = stored.get((each.code, *each.subject))
    if row is not None:
        return _told(row, each, day, system)
    said, can = sentence(each, system), bool(may_accept(each.code))
    return Wrong(None, each.severity, said, cure(each), False, can, each.since, "", None, False, "", None, "")


def _told(row: Deficiency, each: r.Deficiency, day: date, system: System) -> Wrong:
    accepted = row.accepted_until is not None and row.accepted_until >= day
    return Wrong(
        pk=row.pk,
        severity=each.severity,
        sentence=sentence(each, system),
        cure=cure(each),
        accepted=accepted,
        acceptable=bool(may_accept(each.code)),
        since_on=row.since_on,
        owner=name_of(row.owner),
        due_on=row.due_on,
        overdue=row.due_on is not None and row.due_on < day,
        accepted_by=name_of(row.accepted_by) if accepted else "",
        accepted_until=row.accepted_until if accepted else None,
        note=row.note if accepted else "",
    )


def _recorded(row: Deficiency, day: date, system: System) -> Wrong:
    return _told(row, recorded_deficiency(row), day, system)


def recorded_deficiency(row: Deficiency) -> r.Deficiency:
    """A deficiency as it is recorded, in the judge's own form."""
    subject = (row.subject_kind, row.subject_id)
    severity: Any = row.severity
    return r.Deficiency(row.code, subject, severity, row.measured, row.required, row.quantity, row.since_on, row.words)


def one_deficiency(row: Deficiency, day: date, system: System) -> Wrong:
    """A recorded deficiency for a page of its own."""
    return _recorded(row, day, system)


class DeficiencyChange(NamedTuple):
    """Who did what to a deficiency, and when."""

    at: datetime
    by: str
    action: str
    until: date | None
    due_on: date | None


def changes_of(row: Deficiency) -> tuple[DeficiencyChange, ...]:
    """What people did to a deficiency, oldest first."""
    rows = Change.objects.filter(department=row.department_id, subject_kind="deficiency", subject_id=str(row.pk))
    return tuple(
        DeficiencyChange(
            each.at,
            name_of(each.by) or "the installation's owner",
            each.action,
            _day(each.new, "accepted_until"),
            _day(each.new, "due_on"),
        )
        for each in rows.select_related("by").order_by("id")
    )


def _day(told: Any, name: str) -> date | None:
    text = (told or {}).get(name)
    return date.fromisoformat(text) if text else None


def name_of(user: Any) -> str:
    """A person as others call them; empty for nobody."""
    return "" if user is None else user.get_full_name() or user.username


# -- containers --------------------------------------------------------------------------------------------------------


def containers_today(rig: r.Rig, policy: r.Policy, day: date, verdict: r.Verdict) -> Iterable[ContainerToday]:
    """Each container aboard."""
    out: dict[int, list[Out]] = {}
    for each in verdict.excluded:
        out.setdefault(each.container_id, []).append(Out(each.ml, word(each.code), each.since))
    for container in rig.containers:
        held = hold(container, policy, {}).held
        counted = held is not None and held.soft_through >= day
        yield ContainerToday(
            id=container.id,
            code=container.code,
            kind=KINDS.get(container.kind, container.kind),
            concentrate=", ".join(dict.fromkeys(part.lot.concentrate.name for part in container.parts)),
            batches=", ".join(part.lot.batch for part in container.parts),
            book_ml=container.book_ml,
            reading_ml=container.reading_ml,
            reading_on=container.reading_on,
            good_through=_known(held.firm_through) if held else None,
            doubt=word(held.doubt) if held and held.firm_through < day <= held.soft_through else "",
            counted_ml=held.ml if held and counted else 0,
            out=tuple(out.get(container.id, ())),
            counts_for=tuple(_counts_for(container, held, rig, verdict)) if held and counted else (),
        )


def alike(containers: Iterable[ContainerToday]) -> Iterable[Alike]:
    """Nine pails of one lot as one line, as on paper; a pail that differs in anything stands by itself."""
    for _, same in groupby(containers, key=lambda each: each._replace(id=0, code="")):
        every = tuple(same)
        yield Alike(every[0], tuple(each.code for each in every))


def _known(day: date) -> date | None:
    return None if day in (date.min, date.max) else day


def _counts_for(container: r.Container, held: Held, rig: r.Rig, verdict: r.Verdict) -> Iterable[str]:
    """The duties whose answer counts on this container: the right concentrate, and a line that reaches it."""
    lines = {line.id: line for line in rig.lines}
    for answer in verdict.answers:
        reached = any(_reaches(lines[line], container) for line in answer.setup if line in lines)
        if reached and held.concentrate.id in answer.concentrate_ids:
            yield answer.name


def _reaches(line: r.Line, container: r.Container) -> bool:
    return container.id in line.sources or (line.pails and container.kind in r.LOOSE)


# -- lines -------------------------------------------------------------------------------------------------------------


def lines_today(rig: r.Rig, policy: r.Policy, day: date) -> Iterable[LineToday]:
    """Each foam line, with the names of its parts."""
    rows = FoamLine.objects.filter(pk__in=[line.id for line in rig.lines]).select_related("proportioner", "nozzle")
    parts = {row.pk: row for row in rows.prefetch_related("legs")}
    codes = {each.id: each.code for each in rig.containers}
    concentrates = {part.lot.concentrate.id: part.lot.concentrate.name for c in rig.containers for part in c.parts}
    for line in rig.lines:
        row = parts[line.id]
        yield LineToday(
            id=line.id,
            name=line.name,
            proportioner=row.proportioner.name,
            kind=row.proportioner.kind,
            settings=tuple(sorted(line.offered)),
            parked=line.parked,
            present=line.present,
            seen_at=row.present_seen_at,
            nozzle=row.nozzle.name if row.nozzle else "",
            flow_lpm=line.flow_lpm,
            rings_lpm=line.rings_lpm,
            aspirating=line.aspirating,
            hose=tuple(_leg(leg, row.wye_lines) for leg in row.legs.all()),
            inlet_kpa=line.lay.inlet_kpa if line.lay else row.inlet_kpa,
            drawn=drawn_by(line, policy),
            sources=tuple(codes[source] for source in line.sources if source in codes),
            pails=line.pails,
            max_feed_lpm=line.max_feed_lpm,
            flushed=line.flushed,
            in_service=line.in_service,
            tests=tuple(_test(test, line, policy, day, concentrates) for test in line.tests),
            foam=tuple(
                FoamToday(concentrates.get(each.concentrate_id, GONE), each.on, each.expansion, each.quarter_min)
                for each in line.foam_tests
            ),
        )


def _leg(leg: HoseLeg, lines: int) -> Leg:
    wye = f"branch {leg.branch}" if leg.branch else f"{lines} × behind the wye"
    where = {LegPart.BEFORE: "supply", LegPart.WYE: wye}
    size = f"{leg.diameter_in:f}".rstrip("0").rstrip(".")
    return Leg(leg.length_m, size, where.get(LegPart(leg.part), ""))


def drawn_by(line: r.Line, policy: r.Policy) -> LineDraw | None:
    """Back pressure of an eductor's lay at the flow of its plate, at the setting it is parked at."""
    if line.lay is None or line.rated_lpm is None:
        return None
    pct = line.parked or line.present or max(line.offered, default=0)
    return line_draw(line.lay, flow_by_plate_lpm(line, line.rated_lpm, pct), policy.back_pressure_share)


def _test(test: r.LineTest, line: r.Line, policy: r.Policy, day: date, concentrates: dict[int, str]) -> TestToday:
    through = good_through(test, policy)
    return TestToday(
        concentrate=concentrates.get(test.concentrate_id, GONE),
        setting=test.setting,
        measured=test.measured,
        on=test.on,
        good_through=through,
        in_date=through >= day,
        fault=word(fault_of(test, vehicle=band_of(line, policy))),
    )


# -- days to come, and days past ---------------------------------------------------------------------------------------


def _turn(turn: r.Turn, rig: r.Rig) -> ComingTurn:
    names = {duty.id: duty.name for duty in rig.duties}
    prevents = tuple(f"{each.words} (good through {each.good_through}): {each.cure}" for each in turn.prevents)
    duty = names.get(turn.duty_id, "decision of no foam duty")
    return ComingTurn(turn.day, duty, turn.was, turn.becomes, turn.short_l * ML_PER_L, tuple(dict.fromkeys(prevents)))


def _history(unit: Unit) -> tuple[PastAnswer, ...]:
    rows = Assessment.objects.filter(unit=unit).order_by("-at", "-id")
    columns = ("at", "status", "because", "holds_until", "confirmed_on")
    return tuple(PastAnswer(*row) for row in rows.values_list(*columns)[:MOST_HISTORY])


def _checks(unit: Unit) -> tuple[PastCheck, ...]:
    rows = Check.objects.filter(unit=unit).select_related("by", "vehicle").order_by("-finished_at")
    rows = rows.annotate(
        faults=Count("readings", filter=Q(readings__answer=Seen.FAULT)),
        not_looked=Count("readings", filter=Q(readings__answer=Seen.NOT_LOOKED)),
    )
    return tuple(
        PastCheck(
            each.finished_at,
            name_of(each.by) or "not named",
            str(each.vehicle or ""),
            each.complete,
            each.faults,
            each.not_looked,
            each.notes,
        )
        for each in rows[:MOST_CHECKS]
    )
