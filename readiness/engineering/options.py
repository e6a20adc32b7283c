"""Every way a unit could meet a duty, worked without a date.

An option is one duty met by one setup of lines with one concentrate and one position of the gallonage rings. All that
no day changes is worked once, here; what a day changes (stock and tests growing old) is graded in ``grading``.
"""

from collections.abc import Iterator
from itertools import combinations, product
from typing import NamedTuple

from readiness.engineering.airport import aboard_l, airport_faults
from readiness.engineering.classa import tankfuls_need_l
from readiness.engineering.deficiencies import found
from readiness.engineering.demand import greater_rate, line_need_l, meets_flow, required_flow_lpm, textbook_need_l
from readiness.engineering.holding import Held, Holding, hold
from readiness.engineering.lines import Running, run_line
from readiness.engineering.percentages import WHOLE
from readiness.engineering.proportioning import feed_suffices, made_pct
from readiness.engineering.rates import standard_minutes, standard_rate
from readiness.engineering.records import (
    LOOSE,
    RANK,
    AirportDuty,
    ClassADuty,
    Concentrate,
    Deficiency,
    Duty,
    Line,
    Listing,
    Policy,
    Rate,
    Rig,
    Spill,
)
from readiness.engineering.steps import Say
from readiness.engineering.suiting import Fit, fit
from readiness.engineering.water import water_faults

_SHORTAGES = frozenset({"rate_short"})  # not ready, yet the line works and covers a part


class Task(NamedTuple):
    """What a duty asks of a setup, in numbers."""

    pct: int
    required_lpm: float  # 0 where the duty asks for an amount and not for a flow
    minutes: float  # 0 likewise
    fixed_l: float | None = None  # the amount asked for, where the duty states one
    hold_back: int = 0
    aspirating: bool = False
    asks_test: bool = True


class Pool(NamedTuple):
    """Stock that some of the lines share; ``ratio`` is all lines' draw over theirs."""

    ratio: float
    stock: tuple[Held, ...]


class Option(NamedTuple):
    """One way to meet a duty. Volumes in L, flows in L/min."""

    duty: Duty
    concentrate: Concentrate
    fit: Fit
    task: Task
    runs: tuple[Running, ...]
    flow_lpm: float
    draw_lpm: float
    textbook_l: float
    need_l: float
    rich_need_l: float
    pools: tuple[Pool, ...]  # the first is the whole stock
    faults: tuple[Deficiency, ...]
    rank: int
    works: bool  # foam of the right strength leaves the nozzle


class Bench:
    """A rig laid out for judging: its containers read, what each line reaches, and the lines already run."""

    __slots__ = ("holdings", "lines", "policy", "reach", "rig", "runs")

    def __init__(self, rig: Rig, policy: Policy) -> None:
        self.rig = rig
        self.policy = policy
        self.lines = {line.id: line for line in rig.lines}
        self.holdings: dict[int, Holding] = {each.id: hold(each, policy) for each in rig.containers}
        loose = [each.id for each in rig.containers if each.kind in LOOSE]
        self.reach = {line.id: self._reached(line, loose) for line in rig.lines}
        self.runs: dict[tuple[object, ...], Running] = {}

    def _reached(self, line: Line, loose: list[int]) -> dict[int, tuple[Holding, ...]]:
        """Holdings that feed a line, by concentrate: its own tanks, and pails only where it draws by tube."""
        ids = [*line.sources, *loose] if line.pails else line.sources
        found: dict[int, list[Holding]] = {}
        for container_id in ids:
            holding = self.holdings.get(container_id)
            if holding is not None and holding.concentrate is not None:
                found.setdefault(holding.concentrate.id, []).append(holding)
        return {concentrate_id: tuple(holdings) for concentrate_id, holdings in found.items()}

    def setups(self) -> tuple[tuple[int, ...], ...]:
        """The declared setups; without any, each line by itself."""
        return self.rig.setups or tuple((line.id,) for line in self.rig.lines)

    def concentrates(self, setup: tuple[int, ...]) -> list[Concentrate]:
        """The concentrates that every line of the setup reaches, in the order of the containers."""
        first, *others = (self.reach[line_id] for line_id in setup)
        shared = [holdings[0].concentrate for key, holdings in first.items() if all(key in each for each in others)]
        return [concentrate for concentrate in shared if concentrate is not None]

    def run(self, line: Line, nozzle_lpm: float, concentrate: Concentrate, task: Task, say: Say) -> Running:
        """The line as it would run; worked once for all duties that ask the same of it."""
        key = (line.id, nozzle_lpm, concentrate.id, task.pct, task.aspirating, task.asks_test)
        known = self.runs.get(key)
        if known is None or say is not None:
            known = self.runs[key] = run_line(
                line,
                nozzle_lpm,
                concentrate,
                task.pct,
                aspirating=task.aspirating,
                policy=self.policy,
                asks_test=task.asks_test,
                say=say,
            )
        return known


def _nozzles(lines: list[Line]) -> Iterator[tuple[float, ...]]:
    """Every position of the gallonage rings, the present one first."""
    if not any(line.rings_lpm for line in lines):
        return iter((tuple(line.flow_lpm for line in lines),))
    others = ([line.flow_lpm, *(ring for ring in line.rings_lpm if ring != line.flow_lpm)] for line in lines)
    return product(*others)


def _feed_fault(bench: Bench, runs: tuple[Running, ...], pct: int) -> Deficiency | None:
    """Lines on one proportioner share its feed; injection lines together share the vehicle's."""
    shared: dict[int, list[Running]] = {}
    for run in runs:
        shared.setdefault(run.line.proportioner_id or -run.line.id, []).append(run)
    for group in shared.values():
        limit = group[0].line.max_feed_lpm
        fault = _lean(group, limit, pct)
        if fault is not None:
            return fault
    vehicle = bench.rig.vehicle
    injected = [run for run in runs if run.line.rated_lpm is None]
    return _lean(injected, vehicle.max_foam_feed_lpm if vehicle else None, pct)


def _lean(group: list[Running], limit_lpm: float | None, pct: int) -> Deficiency | None:
    if limit_lpm is None or not group:
        return None
    flow = sum(run.flow_lpm for run in group)
    if feed_suffices(limit_lpm, flow, pct):
        return None
    names = " and ".join(run.line.name for run in group)
    made = made_pct(limit_lpm, flow)
    return found("feed_lean", ("line", group[0].line.id), names, "pct", made, pct)


def _setup_faults(bench: Bench, duty: Duty, task: Task, runs: tuple[Running, ...], flow: float) -> list[Deficiency]:
    """What is wrong with the lines run together: each line's own, the shared feed, the flow, the crew."""
    faults = [fault for run in runs for fault in run.faults]
    feed = _feed_fault(bench, runs, task.pct)
    if feed is not None:
        faults.append(feed)
    if not meets_flow(flow, task.required_lpm):
        faults.append(found("rate_short", ("duty", duty.id), duty.name, "flow", flow, task.required_lpm))
    rig = bench.rig
    if rig.lines_staffed is not None and len(runs) > rig.lines_staffed:
        crew, asked = rig.lines_staffed, len(runs)
        faults.append(found("lines_not_staffed", ("unit", rig.unit_id), rig.name, "lines", crew, asked))
    return faults


def _listing_faults(fitted: Fit, concentrate: Concentrate) -> list[Deficiency]:
    subject = ("concentrate", concentrate.id)
    faults = []
    if fitted.by_group:
        faults.append(found("listing_by_group", subject, concentrate.name))
    if fitted.plain_on_e10:
        faults.append(found("plain_on_e10", subject, concentrate.name))
    return faults


def _pools(bench: Bench, runs: tuple[Running, ...], concentrate_id: int) -> tuple[Pool, ...]:
    """The stock, whole and for each part of the lines that reaches less than all of it.

    Lines dry together only if no part of them runs out sooner: minutes = the least, over every part of the lines, of
    what they reach ÷ what they draw (Hall's condition). Lines that reach the same count as one.
    """
    draws: dict[tuple[int, ...], float] = {}
    stock: dict[tuple[int, ...], dict[int, Held]] = {}
    for run in runs:
        held = [each.held for each in bench.reach[run.line.id].get(concentrate_id, ()) if each.held is not None]
        key = tuple(each.container.id for each in held)
        draws[key] = draws.get(key, 0.0) + run.flow_lpm * run.draw
        stock[key] = {each.container.id: each for each in held}
    total = sum(draws.values())
    pools = []
    for size in range(len(draws), 0, -1):
        for part in combinations(draws, size):
            merged = {number: held for key in part for number, held in stock[key].items()}
            drawn = sum(draws[key] for key in part)
            pools.append(Pool(total / drawn if drawn else 1.0, tuple(merged.values())))
    return tuple(pools)


def _needs(task: Task, flow: float, draws: tuple[float, float], say: Say) -> tuple[float, float, float]:
    """(textbook, line need, line need at the rich end) [L]."""
    if task.fixed_l is not None:
        return task.fixed_l, task.fixed_l, task.fixed_l
    textbook = textbook_need_l(task.required_lpm, task.pct, task.minutes, say)
    need = line_need_l(task.required_lpm, flow, draws[0], task.minutes, say)
    return textbook, need, line_need_l(task.required_lpm, flow, draws[1], task.minutes)


def _flows(bench: Bench, runs: tuple[Running, ...]) -> tuple[float, float, float]:
    """(flow of solution [L/min], draw, rich draw [1/100 point, weighted by flow]), up to what the pump gives."""
    flow = sum(run.flow_lpm for run in runs)
    if len(runs) == 1:
        draw, rich = float(runs[0].draw), float(runs[0].rich)
    else:
        draw = sum(run.flow_lpm * run.draw for run in runs) / flow
        rich = sum(run.flow_lpm * run.rich for run in runs) / flow
    pump = bench.rig.vehicle.pump_lpm if bench.rig.vehicle is not None else None
    return (flow if pump is None else min(flow, pump)), draw, rich


def make_option(
    bench: Bench,
    duty: Duty,
    task: Task,
    fitted: Fit,
    concentrate: Concentrate,
    lines: list[Line],
    nozzles: tuple[float, ...],
    say: Say = None,
) -> Option:
    """Work one option: run the lines, sum their flows, find the needs, the shared stock and all that is wrong."""
    runs = tuple(bench.run(line, nozzle, concentrate, task, say) for line, nozzle in zip(lines, nozzles, strict=True))
    flow, draw, rich = _flows(bench, runs)
    textbook, need, rich_need = _needs(task, flow, (draw, rich), say)
    faults = _setup_faults(bench, duty, task, runs, flow) + _listing_faults(fitted, concentrate)
    if isinstance(duty, Spill):
        faults += water_faults(bench.rig.vehicle, duty, flow * (WHOLE - draw) / WHOLE, task.minutes)
    return Option(
        duty=duty,
        concentrate=concentrate,
        fit=fitted,
        task=task,
        runs=runs,
        flow_lpm=flow,
        draw_lpm=flow * draw / WHOLE,
        textbook_l=textbook,
        need_l=need,
        rich_need_l=rich_need,
        pools=_pools(bench, runs, concentrate.id),
        faults=tuple(faults),
        rank=max([RANK[fault.severity] for fault in faults], default=0),
        works=all(fault.severity != "not_ready" or fault.code in _SHORTAGES for fault in faults),
    )


class Refusal(NamedTuple):
    """A concentrate aboard that does not count for a duty, and the deficiency code why."""

    code: str
    concentrate: Concentrate


class Options(NamedTuple):
    """What is open to a unit for one duty."""

    duty: Duty
    options: tuple[Option, ...]
    refusals: tuple[Refusal, ...]
    faults: tuple[Deficiency, ...]  # of the duty itself, whatever the option
    rank: int


def spill_rate(spill: Spill, concentrate: Concentrate, listing: Listing) -> Rate | None:
    """max(standard's rate or the department's own, listing's rate); None where neither states one."""
    return greater_rate(spill.rate or standard_rate(concentrate.kind, spill.fuel, spill.use), listing.rate)


def spill_minutes(spill: Spill, listing: Listing) -> float | None:
    """Minutes by the department or the rule of the use, and never less than the listing's."""
    stated = spill.minutes or standard_minutes(spill.use, spill.fuel)
    known = [minutes for minutes in (stated, listing.minutes) if minutes is not None]
    return max(known) if known else None


def spill_task(
    spill: Spill, concentrate: Concentrate, listing: Listing, lines: list[Line], policy: Policy, say: Say = None
) -> Task | None:
    """What a design spill asks of these lines with this concentrate; None where no rate or time is stated."""
    rate, minutes = spill_rate(spill, concentrate, listing), spill_minutes(spill, listing)
    if rate is None or minutes is None:
        return None
    wind_loss = max(line.wind_loss for line in lines)
    required = required_flow_lpm(spill.area_m2, rate, wind_loss, say)
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
    duty: Duty, concentrate: Concentrate, fitted: Fit, lines: list[Line], policy: Policy, say: Say = None
) -> Task | None:
    """What any duty asks of these lines; None where no listing states a rate."""
    if isinstance(duty, ClassADuty):
        return class_a_task(duty, policy, say)
    if fitted.listing is None:
        return None
    if isinstance(duty, AirportDuty):
        return airport_task(duty, fitted.listing, say)
    return spill_task(duty, concentrate, fitted.listing, lines, policy, say)


def _duty_faults(bench: Bench, duty: Duty) -> tuple[Deficiency, ...]:
    if isinstance(duty, AirportDuty):
        return airport_faults(duty, bench.rig.vehicle)
    if isinstance(duty, Spill) and duty.duty == "vapor":
        return (found("vapor_not_worked", ("duty", duty.id), duty.name),)
    return ()


def not_foam(duty: Duty) -> str:
    """Why foam is not the agent for a duty, or not alone; empty where it is."""
    if isinstance(duty, ClassADuty):
        return ""
    return duty.fuel.not_foam or ("this material." if duty.fuel.group == "not_foam" else "")


def options_for(bench: Bench, duty: Duty) -> Options:
    """Every option of one duty, in the order of setups, concentrates and rings; and why others do not count."""
    reason = not_foam(duty)
    if reason:
        return Options(duty, (), (), (found("not_foam", ("duty", duty.id), reason),), RANK["not_ready"])
    options: list[Option] = []
    refused: dict[int, Refusal] = {}
    for setup in bench.setups():
        lines = [bench.lines[line_id] for line_id in setup]
        for concentrate in bench.concentrates(setup):
            fitted = fit_for(duty, concentrate, bench.policy)
            task = None if fitted.refused else task_for(duty, concentrate, fitted, lines, bench.policy)
            if task is None:
                refused[concentrate.id] = Refusal(fitted.refused or "no_listed_rate", concentrate)
                continue
            for nozzles in _nozzles(lines):
                options.append(make_option(bench, duty, task, fitted, concentrate, lines, nozzles))
    faults = _duty_faults(bench, duty)
    rank = max([RANK[fault.severity] for fault in faults], default=0)
    return Options(duty, tuple(options), tuple(refused.values()), faults, rank)
