"""Every way a unit could meet a duty, worked without a date.

An option is one duty met by one setup of lines with one concentrate and one position of the gallonage rings. All that
no day changes is worked once, here; what a day changes (stock and tests growing old) is graded in ``grading``.
"""

from collections.abc import Iterable
from datetime import date
from itertools import combinations, product
from typing import NamedTuple

from readiness.engineering.bench import Bench, Stockpile
from readiness.engineering.deficiencies import found
from readiness.engineering.demand import line_need_l, meets_flow, textbook_need_l
from readiness.engineering.holding import Held
from readiness.engineering.lines import Running
from readiness.engineering.operating import tankful_min
from readiness.engineering.percentages import WHOLE
from readiness.engineering.proportioning import feed_suffices, made_pct
from readiness.engineering.records import RANK, Concentrate, Deficiency, Duty, Line, Policy, Spill
from readiness.engineering.steps import Say
from readiness.engineering.suiting import Fit
from readiness.engineering.tasks import Task, duty_faults, fit_for, task_for, unanswerable
from readiness.engineering.vapor import Blanket, planned
from readiness.engineering.water import water_faults

_SHORTAGES = frozenset({"rate_short"})  # not ready, yet the line works and covers a part


class Pool(NamedTuple):
    """Stock that some of the lines share; ``ratio`` is all lines' draw over theirs."""

    ratio: float
    pile: Stockpile


class Option(NamedTuple):
    """One way to meet a duty. Volumes in L, flows in L/min."""

    duty: Duty
    concentrate: Concentrate
    fit: Fit
    task: Task
    runs: tuple[Running, ...]
    flow_lpm: float
    rate_lpm: float  # what of it counts toward the required flow
    draw_lpm: float
    textbook_l: float
    need_l: float
    rich_need_l: float
    pools: tuple[Pool, ...]  # the first is the whole stock
    faults: tuple[Deficiency, ...]
    rank: int
    test_through: date  # last day on which every line's test is in date
    works: bool  # foam of the right strength leaves the nozzle
    foam_through: date  # the same of their foam tests
    blanket: Blanket | None = None  # of a vapor duty, at what the lines draw: the textbook need is all of it


def _nozzles(lines: list[Line]) -> Iterable[tuple[float, ...]]:
    """Every position of the gallonage rings, the present one first."""
    if not [line for line in lines if line.rings_lpm]:
        return (tuple([line.flow_lpm for line in lines]),)
    others = ([line.flow_lpm, *(ring for ring in line.rings_lpm if ring != line.flow_lpm)] for line in lines)
    return product(*others)


def _feed_fault(bench: Bench, runs: tuple[Running, ...], pct: int) -> Deficiency | None:
    """Lines on one proportioner share its feed; injection lines together share the vehicle's."""
    vehicle = bench.rig.vehicle
    together = vehicle.max_foam_feed_lpm if vehicle is not None else None
    if together is None and len(runs) == 1:
        return _lean(list(runs), runs[0].line.max_feed_lpm, pct)
    shared: dict[int, list[Running]] = {}
    for run in runs:
        if run.line.max_feed_lpm is not None:
            shared.setdefault(run.line.proportioner_id or -run.line.id, []).append(run)
    for group in shared.values():
        fault = _lean(group, group[0].line.max_feed_lpm, pct)
        if fault is not None:
            return fault
    return _lean([run for run in runs if run.line.rated_lpm is None], together, pct)


def _lean(group: list[Running], limit_lpm: float | None, pct: int) -> Deficiency | None:
    if limit_lpm is None or not group:
        return None
    flow = sum([run.flow_lpm for run in group])
    if feed_suffices(limit_lpm, flow, pct):
        return None
    names = " and ".join(run.line.name for run in group)
    made = made_pct(limit_lpm, flow)
    return found("feed_lean", ("line", group[0].line.id), names, "pct", made, pct)


def _supply_faults(bench: Bench, duty: Duty, task: Task, runs: tuple[Running, ...], flow: float) -> list[Deficiency]:
    """What the water does to lines that take their concentrate from the tank, or around the pump."""
    faults, vehicle = [], bench.rig.vehicle
    for run in runs:
        line, subject = run.line, ("line", run.line.id)
        if line.kind == "around" and line.intake_kpa is None and isinstance(duty, Spill):
            if duty.supply.kind == "hydrant":
                faults.append(found("intake_not_stated", subject, line.name))
        elif line.kind == "batch" and task.minutes:
            water_l = vehicle.water_l if vehicle is not None else None
            lasts = tankful_min(water_l, flow) if water_l is not None and flow else None
            if lasts is None or not meets_flow(lasts, task.minutes):
                faults.append(found("batch_ends", subject, line.name, "time", lasts, task.minutes))
    return faults


def _setup_faults(
    bench: Bench, duty: Duty, task: Task, runs: tuple[Running, ...], flow: float, rate: float
) -> list[Deficiency]:
    """What is wrong with the lines run together: each line's own, the shared feed, the flow, the crew."""
    faults = [fault for run in runs for fault in run.faults]
    feed = _feed_fault(bench, runs, task.pct)
    if feed is not None:
        faults.append(feed)
    faults += _supply_faults(bench, duty, task, runs, flow)
    if not meets_flow(rate, task.required_lpm):
        faults.append(found("rate_short", ("duty", duty.id), duty.name, "flow", rate, task.required_lpm))
    largest = max(runs, key=lambda run: run.rate_lpm)
    if largest.rate_lpm < task.monitor_lpm * (1 - 1e-9):
        subject, measured = ("line", largest.line.id), largest.rate_lpm
        faults.append(found("monitor_small", subject, largest.line.name, "flow", measured, task.monitor_lpm))
    rig = bench.rig
    if rig.lines_staffed is not None and len(runs) > rig.lines_staffed:
        crew, asked = rig.lines_staffed, len(runs)
        faults.append(found("lines_not_staffed", ("unit", rig.unit_id), rig.name, "lines", crew, asked))
    return faults


def _listing_faults(fitted: Fit, concentrate: Concentrate) -> list[Deficiency]:
    if not fitted.by_group and not fitted.plain_on_e10:
        return []
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
    if len(runs) == 1:
        return (Pool(1.0, bench.pile(runs[0].line.id, concentrate_id)),)
    draws: dict[tuple[int, ...], float] = {}
    stock: dict[tuple[int, ...], tuple[Held, ...]] = {}
    for run in runs:
        held = bench.pile(run.line.id, concentrate_id).held
        key = tuple(each.container.id for each in held)
        draws[key] = draws.get(key, 0.0) + run.flow_lpm * run.draw
        stock[key] = held
    total = sum(draws.values())
    pools = []
    for size in range(len(draws), 0, -1):
        for part in combinations(draws, size):
            merged = {held.container.id: held for key in part for held in stock[key]}
            drawn = sum(draws[key] for key in part)
            pools.append(Pool(total / drawn if drawn else 1.0, Stockpile(tuple(merged.values()))))
    return tuple(pools)


class _Needs(NamedTuple):
    """Needs [L], and the blanket of a vapor duty."""

    textbook_l: float
    need_l: float
    rich_need_l: float  # at the rich end
    blanket: Blanket | None = None


def _needs(duty: Duty, task: Task, flow: float, draws: tuple[float, float], say: Say) -> _Needs:
    """Textbook need, line need and line need at the rich end [L]."""
    if task.fixed_l is not None:
        return _Needs(task.fixed_l, task.fixed_l, task.fixed_l)
    if task.cover is not None and isinstance(duty, Spill):
        return _cover_needs(duty, task, flow, draws, say)
    textbook = textbook_need_l(task.required_lpm, task.pct, task.minutes, say)
    need = line_need_l(task.required_lpm, flow, draws[0], task.minutes, say)
    return _Needs(textbook, need, line_need_l(task.required_lpm, flow, draws[1], task.minutes))


def textbook_of(duty: Duty, task: Task) -> float:
    """The textbook need of a task, whatever line meets it [L]."""
    return _needs(duty, task, 0.0, (task.pct, task.pct), None).textbook_l


def _cover_needs(duty: Spill, task: Task, flow: float, draws: tuple[float, float], say: Say) -> _Needs:
    """Vapor kept down: blanket and upkeep come first and are the textbook need; the line need adds the fire run.

    Source: design section 5 step 11; the county's S7 holds a blanket with the fire cover short to be limited.
    """
    assert task.cover is not None
    needs, made = [], None
    for draw, tell in ((draws[1], None), (draws[0], say)):
        made = planned(task.cover, duty.area_m2, draw, tell)
        fire = line_need_l(task.required_lpm, flow, draw, task.minutes, tell, "Fire run kept back")
        needs.append(made.total_l + fire)
    assert made is not None
    if say is not None:
        numbers = (("blanket and upkeep", made.total_l, "L"), ("fire run", needs[1] - made.total_l, "L"))
        say("Need", "blanket and upkeep + fire run", numbers, needs[1], "L", "a blanket may light: design rule")
    return _Needs(made.total_l, needs[1], needs[0], made)


def flowing_min(option_task: Task, blanket: Blanket | None, flow_lpm: float) -> float:
    """Minutes for which the lines flow: the run, and what a blanket and its upkeep take of them [min]."""
    laid = blanket.laid_l / flow_lpm if blanket is not None and flow_lpm else 0.0
    return option_task.minutes + laid


def _flows(bench: Bench, runs: tuple[Running, ...]) -> tuple[float, float, float]:
    """(flow of solution [L/min], draw, rich draw [1/100 point, weighted by flow]), up to what the pump gives."""
    if len(runs) == 1:
        flow, draw, rich = runs[0].flow_lpm, float(runs[0].draw), float(runs[0].rich)
    else:
        flow = sum(run.flow_lpm for run in runs)
        draw = sum(run.flow_lpm * run.draw for run in runs) / flow if flow else 0.0
        rich = sum(run.flow_lpm * run.rich for run in runs) / flow if flow else 0.0
    return _pumped(bench, flow), draw, rich


def _pumped(bench: Bench, flow_lpm: float) -> float:
    """So much, or what the pump gives [L/min]."""
    pump = bench.rig.vehicle.pump_lpm if bench.rig.vehicle is not None else None
    return flow_lpm if pump is None else min(flow_lpm, pump)


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
    paired = zip(lines, nozzles, strict=True)
    runs = tuple([bench.run(line, nozzle, concentrate, task, say) for line, nozzle in paired])
    flow, draw, rich = _flows(bench, runs)
    needs = _needs(duty, task, flow, (draw, rich), say)
    rate = _pumped(bench, sum([run.rate_lpm for run in runs]))
    faults = _setup_faults(bench, duty, task, runs, flow, rate) + _listing_faults(fitted, concentrate)
    if isinstance(duty, Spill):
        minutes = flowing_min(task, needs.blanket, flow)
        faults += water_faults(bench.rig.vehicle, duty, flow * (WHOLE - draw) / WHOLE, minutes)
    return Option(
        duty=duty,
        concentrate=concentrate,
        fit=fitted,
        task=task,
        runs=runs,
        flow_lpm=flow,
        rate_lpm=rate,
        draw_lpm=flow * draw / WHOLE,
        textbook_l=needs.textbook_l,
        need_l=needs.need_l,
        rich_need_l=needs.rich_need_l,
        pools=_pools(bench, runs, concentrate.id),
        faults=tuple(faults),
        rank=max([RANK[fault.severity] for fault in faults]) if faults else 0,
        test_through=min([run.test_through for run in runs]),
        works=not [fault for fault in faults if fault.severity == "not_ready" and fault.code not in _SHORTAGES],
        foam_through=min([run.foam_through for run in runs]),
        blanket=needs.blanket,
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


def _ask(policy: Policy, duty: Duty, concentrate: Concentrate, wind_loss: int) -> tuple[Fit, Task | None]:
    """How a concentrate suits a duty, and what the duty then asks; no task where the concentrate is refused."""
    fitted = fit_for(duty, concentrate, policy)
    return fitted, None if fitted.refused else task_for(duty, concentrate, fitted, wind_loss, policy)


def options_for(bench: Bench, duty: Duty) -> Options:
    """Every option of one duty, in the order of setups, concentrates and rings; and why others do not count."""
    fault = unanswerable(duty, bench.policy)
    if fault is not None:
        return Options(duty, (), (), (fault,), RANK["not_ready"])
    asked: dict[tuple[int, int], tuple[Fit, Task | None]] = {}
    options: list[Option] = []
    refused: dict[int, Refusal] = {}
    for lines, concentrates in bench.setups:
        wind_loss = max([line.wind_loss for line in lines])
        for concentrate in concentrates:
            known = asked.get((concentrate.id, wind_loss))
            if known is None:
                known = asked[concentrate.id, wind_loss] = _ask(bench.policy, duty, concentrate, wind_loss)
            fitted, task = known
            if task is None:
                refused[concentrate.id] = Refusal(fitted.refused or "no_listed_rate", concentrate)
                continue
            for nozzles in _nozzles(lines):
                options.append(make_option(bench, duty, task, fitted, concentrate, lines, nozzles))
    faults = duty_faults(duty, bench.rig.vehicle, bench.policy)
    rank = max([RANK[fault.severity] for fault in faults]) if faults else 0
    return Options(duty, tuple(options), tuple(refused.values()), faults, rank)
