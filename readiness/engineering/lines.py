"""One foam line with one concentrate at one setting: what it flows, what it draws, and what is wrong with it."""

from datetime import date, timedelta
from math import isclose
from typing import NamedTuple

from readiness.engineering.deficiencies import found
from readiness.engineering.foam_tests import below_declared
from readiness.engineering.hydraulics import LineDraw, back_pressure_kpa, line_draw
from readiness.engineering.nozzles import nozzle_pressure_kpa
from readiness.engineering.operating import (
    INLET_BAND,
    Point,
    branch_flows,
    direction_of,
    eductor_flow_lpm,
    pump_for_kpa,
    pumped_point,
)
from readiness.engineering.proportioning import Airport, band, fault_of, good_through, solution_flow_lpm
from readiness.engineering.records import RANK, Concentrate, Deficiency, FoamTest, Lay, Line, LineTest, Policy
from readiness.engineering.steps import Numbers, Say

_NEARLY = 1 - 1e-9
BRANCH_SHARE = 0.9  # of a nozzle's own flow; below it its reach suffers visibly [inference]
NO_TEST = date.min  # never made: out of date on every day


class Running(NamedTuple):
    """A line as it would run. ``rank`` is the worst severity of its faults that no date changes."""

    line: Line
    nozzle_lpm: float
    flow_lpm: float  # what it really flows: concentrate and water go with this
    rate_lpm: float  # what of it counts toward the required flow
    draw: int  # max(p, last measured however old) [1/100 point]
    rich: int  # the rich end of the band, or what was measured if more
    test_through: date  # last day on which a test is in date; NO_TEST without one; date.max where none is asked
    faults: tuple[Deficiency, ...]
    rank: int
    lay: LineDraw | None
    test_fault: bool  # whether its tests are at fault whatever the day
    foam_through: date = date.max  # the same of its foam test; date.max where none is asked for


class FoamAsked(NamedTuple):
    """What the listing states of finished foam: least expansion, least quarter-drainage time [min]. None: nothing."""

    expansion: float | None = None
    quarter_min: float | None = None


class Tested(NamedTuple):
    """What the tests of a line say about one concentrate at one setting."""

    draw: int
    through: date
    fault: Deficiency | None


def _newest(tests: tuple[LineTest, ...], concentrate_id: int, pct: int) -> LineTest | None:
    mine = [test for test in tests if test.concentrate_id == concentrate_id and test.setting == pct]
    if len(mine) <= 1:
        return mine[0] if mine else None
    return max(mine, key=lambda test: test.on)


def _converted(line: Line, concentrate_id: int, since: date) -> bool:
    """Whether a fixed line was last tested with another concentrate. A pick-up tube changes pails by the minute."""
    if line.pails:
        return False
    return bool([test for test in line.tests if test.concentrate_id != concentrate_id and test.on > since])


def _missing_test(line: Line, concentrate_id: int, pct: int) -> Deficiency:
    subject = ("line", line.id)
    if _converted(line, concentrate_id, date.min) and all(t.concentrate_id != concentrate_id for t in line.tests):
        return found("converted_not_retested", subject, line.name)
    return found("test_never", subject, line.name, quantity="pct", required=pct)


def band_of(line: Line, policy: Policy) -> Airport:
    """By whose band the line is tested."""
    return policy.vehicle_bands if line.vehicle_band else False


def _test_fault(line: Line, test: LineTest, policy: Policy) -> Deficiency | None:
    code = fault_of(test, vehicle=band_of(line, policy))
    if code:
        least, greatest = band(test.setting, vehicle=band_of(line, policy))
        bound = greatest if code == "test_rich" else least
        subject = ("line", line.id)
        return found(code, subject, line.name, "pct", test.measured, bound, test.on)
    if _converted(line, test.concentrate_id, test.on):
        return found("converted_not_retested", ("line", line.id), line.name)
    return None


def tested(line: Line, concentrate_id: int, pct: int, policy: Policy) -> Tested:
    """Draw = max(p, last measured, however old); the day its test lasts; a lean, rich or missing test.

    A lean test never shrinks the need, and a failed one stays failed when it grows old.
    """
    test = _newest(line.tests, concentrate_id, pct)
    if test is None:
        return Tested(pct, NO_TEST, _missing_test(line, concentrate_id, pct))
    fault = _test_fault(line, test, policy)
    return Tested(max(pct, test.measured), good_through(test, policy), fault)


def _greater(one: float | None, other: float | None) -> float | None:
    return max((each for each in (one, other) if each is not None), default=None)


def _as_declared(tests: list[FoamTest]) -> list[FoamTest]:
    """The tests in the order made; one whose paper declares nothing is held against what was last declared before."""
    found: list[FoamTest] = []
    for test in tests:
        before = found[-1] if found else test
        expansion, quarter = test.declared_expansion, test.declared_quarter_min
        if expansion is None:
            expansion = before.declared_expansion
        if quarter is None:
            quarter = before.declared_quarter_min
        found.append(test._replace(declared_expansion=expansion, declared_quarter_min=quarter))
    return found


def foam_faults(line: Line, tests: list[FoamTest], asked: FoamAsked) -> list[Deficiency]:
    """How finished foam falls short of the greater of what the listing and a test's own paper state.

    Asked without a date: a failed test stays failed when it grows old. tests: in the order made. Every test measures
    expansion, so the last one speaks for it; a drainage that failed is answered only by one that measured drainage.
    """
    subject, test, faults = ("line", line.id), tests[-1], []
    least = _greater(asked.expansion, test.declared_expansion)
    if below_declared(test.expansion, least):
        faults.append(found("foam_thin", subject, line.name, "ratio", test.expansion, least, test.on))
    drains = _drains(line, tests, asked)
    return faults if drains is None else [*faults, drains]


def _drains(line: Line, tests: list[FoamTest], asked: FoamAsked) -> Deficiency | None:
    """The drainage that failed and that no later test has answered.

    A quarter that had not drained when it was last read has taken at least so long, and answers a failed one if that
    is as long as was asked then.
    """
    fault = None
    for test in tests:
        least = _greater(asked.quarter_min, test.declared_quarter_min)
        if test.quarter_min is not None:
            short = below_declared(test.quarter_min, least)
            measured = ("time", test.quarter_min, least, test.on)
            fault = found("foam_drains", ("line", line.id), line.name, *measured) if short else None
        elif fault is not None and not below_declared(test.watched_min or 0.0, _greater(least, fault.required)):
            fault = None
    return fault


def _proves(test: FoamTest, asked: FoamAsked) -> bool:
    """Whether a test that found no fault was read for as long as what is stated asks."""
    least = _greater(asked.quarter_min, test.declared_quarter_min)
    return least is None or test.quarter_min is not None or not below_declared(test.watched_min or 0.0, least)


def foam_tested(line: Line, concentrate_id: int, asked: FoamAsked, policy: Policy) -> tuple[date, list[Deficiency]]:
    """(the last day of its foam test, what is wrong with it). date.max where the department asks for none.

    A foam test that failed counts whatever the department asks; one that is missing counts only where it asks for them.
    """
    mine = [each for each in line.foam_tests if each.concentrate_id == concentrate_id]
    tests = _as_declared(sorted(mine, key=lambda test: test.on))
    faults = foam_faults(line, tests, asked) if tests else []
    if faults or not policy.foam_test_interval_d:
        return date.max, faults
    if not tests or not _proves(tests[-1], asked):
        return NO_TEST, [found("foam_test_never", ("line", line.id), line.name)]
    return tests[-1].on + timedelta(days=policy.foam_test_interval_d), []


def _made_for(line: Line, concentrate: Concentrate, pct: int, aspirating: bool, faults: list[Deficiency]) -> None:
    """Setting offered, viscosity accepted, nozzle as the listing asks, in service."""
    subject = ("line", line.id)
    if not line.in_service:
        faults.append(found("line_out_of_service", subject, line.name))
    if pct not in line.offered:
        faults.append(found("setting_not_offered", subject, line.name, quantity="pct", required=pct))
    if concentrate.shear_thinning and not line.thick_ok:
        faults.append(found("too_thick", subject, line.name))
    if aspirating and not line.aspirating:
        faults.append(found("aspirating_missing", subject, line.name))


def _in_hand(line: Line, nozzle_lpm: float, faults: list[Deficiency]) -> None:
    """What a hand at the scene cures: setting, gallonage ring; and the flush that was not logged."""
    subject = ("line", line.id)
    if line.present is not None and line.parked is not None and line.present != line.parked:
        faults.append(found("setting_not_parked", subject, line.name, "pct", line.present, line.parked))
    if nozzle_lpm != line.flow_lpm:
        faults.append(found("ring_to_turn", subject, line.name, "flow", line.flow_lpm, nozzle_lpm))
    if not line.flushed:
        faults.append(found("flush_not_logged", subject, line.name))


def _flow(line: Line, nozzle_lpm: float, pct: int, faults: list[Deficiency], say: Say) -> float:
    """Flow of solution [L/min]: of an eductor what its plate gives at its inlet, of all else what the nozzle takes."""
    if line.rated_lpm is None:
        return _pumped_flow(line, nozzle_lpm, faults, say)
    if nozzle_lpm < line.rated_lpm * _NEARLY:
        faults.append(found("nozzle_below_eductor", ("line", line.id), line.name, "flow", nozzle_lpm, line.rated_lpm))
        return nozzle_lpm
    if nozzle_lpm * _NEARLY > line.rated_lpm:
        faults.append(found("nozzle_above_eductor", ("line", line.id), line.name, "flow", nozzle_lpm, line.rated_lpm))
    return flow_by_plate_lpm(line, line.rated_lpm, pct)


def flow_by_plate_lpm(line: Line, rated_lpm: float, pct: int) -> float:
    """Flow of solution through an eductor at a setting and at its inlet pressure, where that is known [L/min]."""
    flow = solution_flow_lpm(rated_lpm, line.basis, pct)
    return flow if line.lay is None else eductor_flow_lpm(flow, line.lay.inlet_kpa, line.lay.rated_inlet_kpa)


def _pumped_flow(line: Line, nozzle_lpm: float, faults: list[Deficiency], say: Say) -> float:
    """What the pump gives the nozzle [L/min], where the lay is known; else the nozzle's own flow."""
    subject, flow = ("line", line.id), nozzle_lpm
    lay = with_nozzle(line, nozzle_lpm)
    if lay is not None:
        flow = driven_lpm(lay, nozzle_lpm)
        _say_pumped(line, lay, nozzle_lpm, flow, say)
        if flow < nozzle_lpm * _NEARLY:
            faults.append(found("pump_low", subject, line.name, "flow", flow, nozzle_lpm))
    if line.least_lpm is not None and flow < line.least_lpm * _NEARLY:
        faults.append(found("below_range", subject, line.name, "flow", flow, line.least_lpm))
    if line.kind == "around" and line.intake_kpa is not None and line.intake_kpa > line.intake_limit_kpa:
        measured, limit = line.intake_kpa, line.intake_limit_kpa
        faults.append(found("intake_pressurized", subject, line.name, "pressure", measured, limit))
    return flow


def driven_lpm(lay: Lay, nozzle_lpm: float) -> float:
    """What a pump drives through a lay and the nozzle at its end [L/min].

    Unlike branches flow what the pressure at the wye drives, be it more than their nozzles' own. A nozzle that holds
    its pressure flows no more than its own. One of a known opening does; but a pump pressure above the one that its own
    flow takes, by no more than a panel gauge is good for, gives its own.
    """
    flow = pumped_point(lay, nozzle_lpm).flow_lpm
    if lay.branches:
        return flow
    return min(flow, nozzle_lpm) if lay.nozzle_k is None or _by_gauge(lay, nozzle_lpm) else flow


def _by_gauge(lay: Lay, nozzle_lpm: float) -> bool:
    """Whether the pump's pressure is, as far as a panel gauge tells, the one that the nozzle's own flow takes."""
    return not direction_of(lay.inlet_kpa, pump_for_kpa(lay, nozzle_lpm))


def _say_pumped(line: Line, lay: Lay, nozzle_lpm: float, flow_lpm: float, say: Say) -> None:
    """What the pump drives, where that is not simply the nozzle's own, and what of it counts toward the rate."""
    if say is None:
        return
    point = pumped_point(lay, nozzle_lpm)
    own_by_gauge = lay.nozzle_k is not None and not isclose(point.flow_lpm, nozzle_lpm)
    if isclose(flow_lpm, nozzle_lpm) and not own_by_gauge:
        return
    own: Numbers = (("nozzle’s own", nozzle_lpm, "L/min"),)
    formula, numbers, source = _way_pumped(lay, own, point, flow_lpm)
    say(f"Flow of {line.name}", formula, numbers, flow_lpm, "L/min", source)
    if flow_lpm * _NEARLY > nozzle_lpm:
        source = (
            "concentrate and water are worked with all it flows, the rate with its own: it may be throttled to that"
        )
        say(f"{line.name}, toward the required flow", "the nozzle’s own at most", own, nozzle_lpm, "L/min", source)


def _way_pumped(lay: Lay, own: Numbers, point: Point, flow_lpm: float) -> tuple[str, Numbers, str]:
    """(formula, numbers, source) of what a pump drives through a lay."""
    source, pump = "Q = K √p, at the pump pressure stated", ("pump", lay.inlet_kpa, "kPa")
    if lay.branches:
        return "what the branches flow at the pressure left at the wye", (pump, *own), source
    nozzle_lpm = own[0][1]
    if lay.nozzle_k is None:
        holds = ("nozzle holds", lay.nozzle_kpa, "kPa")
        formula = "what the pressure above the nozzle’s drives through the hose, the nozzle’s own at most"
        return formula, (pump, holds, *own), "a nozzle that holds its pressure flows less instead"
    if flow_lpm < point.flow_lpm:
        needs = ("pump for its own", pump_for_kpa(lay, nozzle_lpm), "kPa")
        stated = ("at the pressure stated", point.flow_lpm, "L/min")
        band = f"the pump is within {100 * INLET_BAND:g} %, about what a panel gauge is good for"
        return "the nozzle’s own", (*own, pump, needs, stated), band
    tips = (("tip", point.nozzle_kpa, "kPa"), ("of its own", nozzle_pressure_kpa(lay.nozzle_k, nozzle_lpm), "kPa"))
    return "own × √(pressure at the tip ÷ pressure of its own flow)", (*own, *tips), source


def with_nozzle(line: Line, nozzle_lpm: float) -> Lay | None:
    """The lay with the nozzle turned to another of its flows: K grows with the flow at one pressure."""
    lay = line.lay
    if lay is None or lay.nozzle_k is None or lay.branches or nozzle_lpm == line.flow_lpm:
        return lay
    return lay._replace(nozzle_k=lay.nozzle_k * nozzle_lpm / line.flow_lpm)


def _starved(line: Line, lay: Lay, flow_lpm: float, faults: list[Deficiency]) -> None:
    """The branch behind a wye whose nozzle gets the least of what it is meant for, where that is too little."""
    pairs = zip(branch_flows(lay, flow_lpm), [each.nozzle_lpm for each in lay.branches], strict=True)
    flow, asked = min(pairs, key=lambda pair: pair[0] / pair[1])
    if flow < asked * BRANCH_SHARE * _NEARLY:
        faults.append(found("branch_low", ("line", line.id), line.name, "flow", flow, asked))


def _suction(line: Line, lay: Lay, faults: list[Deficiency]) -> None:
    """How high a tube lifts, and whose tube it is: of an eductor, and of a nozzle that draws by itself."""
    subject = ("line", line.id)
    if lay.plate_lift_m is not None and lay.lift_m > lay.plate_lift_m:
        faults.append(found("lift_too_high", subject, line.name, "length", lay.lift_m, lay.plate_lift_m))
    if not lay.tube_original:
        faults.append(found("tube_not_original", subject, line.name))


def _inlet(line: Line, lay: Lay, faults: list[Deficiency]) -> None:
    """Rich below the plate's inlet pressure, lean above."""
    way = direction_of(lay.inlet_kpa, lay.rated_inlet_kpa)
    if way:
        code = "inlet_low" if way == "rich" else "inlet_high"
        subject = ("line", line.id)
        faults.append(found(code, subject, line.name, "pressure", lay.inlet_kpa, lay.rated_inlet_kpa))


def _laid(
    line: Line, nozzle_lpm: float, flow_lpm: float, policy: Policy, faults: list[Deficiency], say: Say
) -> LineDraw | None:
    """Back pressure, inlet, lift and pick-up tube of an eductor whose lay is known."""
    lay = with_nozzle(line, nozzle_lpm)
    if lay is None:
        return None
    if lay.branches:
        _starved(line, lay, flow_lpm, faults)
    if line.rated_lpm is None:
        if line.kind == "self":
            _suction(line, lay, faults)
        return None
    drawn, subject = line_draw(lay, flow_lpm, policy.back_pressure_share), ("line", line.id)
    if not drawn.draws:
        faults.append(found("no_pick_up", subject, line.name, "pressure", drawn.back_pressure_kpa, drawn.limit_kpa))
    _suction(line, lay, faults)
    _inlet(line, lay, faults)
    if say is not None:
        back_pressure_kpa(lay, flow_lpm, say)
        _say_limit(drawn, lay.inlet_kpa, say)
    return drawn


def _say_limit(drawn: LineDraw, inlet_kpa: float, say: Say) -> None:
    if say is None:
        return
    numbers = (("inlet", inlet_kpa, "kPa"), ("limit of inlet", 100 * drawn.limit_kpa / inlet_kpa, "%"))
    say(
        "Back-pressure limit",
        "plate, else share × inlet",
        numbers,
        drawn.limit_kpa,
        "kPa",
        "plate, else the department's share",
    )
    if drawn.longest_m is not None:
        formula = "(limit − nozzle − appliances − elevation) ÷ friction each meter"
        say(
            "Longest stretch",
            formula,
            (("limit", drawn.limit_kpa, "kPa"),),
            drawn.longest_m,
            "m",
            "the same, solved for the length",
        )


def run_line(
    line: Line,
    nozzle_lpm: float,
    concentrate: Concentrate,
    pct: int,
    *,
    aspirating: bool,
    policy: Policy,
    asks_test: bool = True,
    foam: FoamAsked | None = None,
    say: Say = None,
) -> Running:
    """The line with this nozzle flow [L/min], concentrate and setting [1/100 point].

    asks_test: a Class B line without a test is unverified; a Class A line is not, though a failed test still counts.
    foam: what is stated of finished foam; None where nobody asks (Class A).
    """
    faults: list[Deficiency] = []
    _made_for(line, concentrate, pct, aspirating, faults)
    _in_hand(line, nozzle_lpm, faults)
    flow = _flow(line, nozzle_lpm, pct, faults, say)
    rate = flow if line.rated_lpm is not None else min(flow, nozzle_lpm)
    lay = _laid(line, nozzle_lpm, flow, policy, faults, say)
    draw, through, fault = tested(line, concentrate.id, pct, policy)
    if not asks_test and (fault is None or fault.severity != "not_ready"):
        through, fault = date.max, None
    if fault is not None:
        faults.append(fault)
    foam_through = date.max
    if foam is not None and (line.foam_tests or policy.foam_test_interval_d):
        foam_through, foamed = foam_tested(line, concentrate.id, foam, policy)
        faults += foamed
    rank = max([RANK[each.severity] for each in faults]) if faults else 0
    rich = max(draw, band(pct, vehicle=band_of(line, policy))[1])
    if say is not None:
        numbers = (("p", pct / 100, "%"), ("last measured or p", draw / 100, "%"))
        say(
            f"Draw of {line.name}",
            "max(p, last measured)",
            numbers,
            draw / 100,
            "%",
            "last proportioning test, however old",
        )
    test_fault = fault is not None
    return Running(
        line, nozzle_lpm, flow, rate, draw, rich, through, tuple(faults), rank, lay, test_fault, foam_through
    )
