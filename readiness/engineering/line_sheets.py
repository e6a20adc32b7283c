"""A foam line as a worksheet: where it settles, what is wrong with it, how long and how high it may be, what cures it.

The faults and cures are those of a unit's own line: the line is put on a rig with more foam than it needs and a small
spill, and judged there.
"""

from datetime import UTC, date, datetime
from typing import Final, NamedTuple

from readiness.engineering.cures import Gear, Trial, trials
from readiness.engineering.hydraulics import back_pressure_kpa
from readiness.engineering.judging import judge
from readiness.engineering.lines import driven_lpm
from readiness.engineering.operating import (
    Point,
    eductor_flow_lpm,
    eductor_point,
    fed_pct,
    pump_for_kpa,
    pumped_point,
)
from readiness.engineering.percentages import percent_text
from readiness.engineering.records import (
    Concentrate,
    Container,
    Fuel,
    Lay,
    Line,
    LineTest,
    Listing,
    Lot,
    Moment,
    Part,
    Policy,
    Rate,
    Rig,
    Sample,
    Spill,
    Supply,
)
from readiness.engineering.sheets import Figure, Sheet
from readiness.engineering.steps import Numbers, Recorder

TITLE: Final = "Foam line"
_DAY: Final = date(2000, 1, 1)  # any: nothing on the rig below runs out
_MOMENT: Final = Moment(datetime(2000, 1, 1, tzinfo=UTC), _DAY)
_ML: Final = 10**12  # more than any line draws


class Asked(NamedTuple):
    """A line as somebody describes it. ``flow_lpm``: of an eductor's plate, else what the nozzle is meant for."""

    lay: Lay
    flow_lpm: float
    eductor: bool = True
    nozzle_lpm: float | None = None  # where an eductor's nozzle is of another flow
    pct: int = 300
    max_feed_lpm: float | None = None


def line_sheet(asked: Asked, policy: Policy) -> Sheet:
    """The operating point, the faults and the cures of a line. Raises ``ValueError`` for what flows nothing.

    Source: rows H1 to H8, K by H5 and H6, and the three simplifications of ``operating``.
    """
    lay, flow = asked.lay, asked.flow_lpm
    if flow <= 0 or lay.inlet_kpa <= 0:
        raise ValueError("A line has a flow and a pressure above 0.")
    say = Recorder()
    point = eductor_point(lay, flow, policy.back_pressure_share) if asked.eductor else pumped_point(lay, flow)
    figures = _eductor(asked, point, policy, say) if asked.eductor else _pumped(asked, point, say)
    if point.longest_m is not None:
        label = "Longest stretch that picks up" if asked.eductor else "Longest stretch for its own flow"
        figures.append(Figure("longest", label, point.longest_m, "length", "down"))
    if point.highest_m is not None and point.highest_m >= 0:
        figures.append(Figure("highest", "Nozzle at most so high above", point.highest_m, "length", "down"))
    elif point.highest_m is not None:
        figures.append(Figure("lowest", "Nozzle at least so far below", -point.highest_m, "length", "up"))
    figures += [
        Figure(f"branch_{n}", f"Branch {n} flows", each, "flow", "down") for n, each in enumerate(point.branches, 1)
    ]
    rig = rig_with(asked)
    answer = judge(rig, policy, _MOMENT).answers[0]
    faults = tuple(each for each in answer.deficiencies if each.severity != "note")
    figures += _cures(trials(rig, rig.lines[0], 1, policy, _MOMENT, Gear()))
    return Sheet(TITLE, tuple(figures), tuple(say.steps), _notes(asked, point), _refused(asked, point, policy), faults)


def _eductor(asked: Asked, point: Point, policy: Policy, say: Recorder) -> list[Figure]:
    """Back pressure at the eductor's flow against its limit."""
    lay = asked.lay
    at_lpm = eductor_flow_lpm(asked.flow_lpm, lay.inlet_kpa, lay.rated_inlet_kpa)
    if lay.rated_inlet_kpa is not None:
        numbers: Numbers = (
            ("plate’s flow", asked.flow_lpm, "L/min"),
            ("inlet", lay.inlet_kpa, "kPa"),
            ("plate’s inlet", lay.rated_inlet_kpa, "kPa"),
        )
        say("Flow", "plate’s flow × √(inlet ÷ plate’s inlet)", numbers, at_lpm, "L/min", "square-root law [inference]")
    back = back_pressure_kpa(lay, at_lpm, say)
    assert point.limit_kpa is not None
    by_plate = lay.plate_back_pressure_kpa is not None
    numbers = (("inlet", lay.inlet_kpa, "kPa"), ("share", policy.back_pressure_share / 100, "%"))
    formula = "as its plate states, less below the plate’s inlet" if by_plate else "inlet × share"
    source = "plate" if by_plate else "trade article"
    say("Limit", formula, () if by_plate else numbers, point.limit_kpa, "kPa", source)
    flow = "Flows, solution" if point.picks_up else "Flows, water without foam"
    return [
        Figure("flow", flow, point.flow_lpm, "flow", "down"),
        Figure("back_pressure", "Back pressure at the eductor’s flow", back, "pressure"),
        Figure("limit", "Limit", point.limit_kpa, "pressure", "down"),
        Figure("share", "Share of inlet pressure", back / lay.inlet_kpa, "share"),
        Figure("nozzle_pressure", "Pressure at the nozzle", point.nozzle_kpa, "pressure", "down"),
    ]


def _pumped(asked: Asked, point: Point, say: Recorder) -> list[Figure]:
    """What the pump's pressure drives through the lay, and what its feed makes of it."""
    lay = asked.lay
    back_pressure_kpa(lay, point.flow_lpm, say)
    figures = [
        Figure("flow", "Flows", point.flow_lpm, "flow", "down"),
        Figure("own_flow", "Its nozzle’s own flow", asked.flow_lpm, "flow", "nearest"),
        Figure("nozzle_pressure", "Pressure at the nozzle", point.nozzle_kpa, "pressure", "down"),
        Figure(
            "pump_for_own", "Pump pressure for the nozzle’s own flow", pump_for_kpa(lay, asked.flow_lpm), "pressure"
        ),
    ]
    if asked.max_feed_lpm is not None:
        flow = driven_lpm(lay, asked.flow_lpm)
        made = fed_pct(asked.pct, asked.max_feed_lpm, flow)
        numbers: Numbers = (("feed", asked.max_feed_lpm, "L/min"), ("flow", flow, "L/min"))
        say("Makes", "setting, or feed ÷ flow", numbers, made / 100, "%", "percentage is of solution")
        figures.append(Figure("makes", "Makes", made, "percent", "down"))
    return figures


def _overdriven(asked: Asked) -> bool:
    """Whether the pump drives more through the nozzle than it is meant for."""
    return driven_lpm(asked.lay, asked.flow_lpm) > asked.flow_lpm


def _notes(asked: Asked, point: Point) -> tuple[str, ...]:
    notes = ["It picks up."] if asked.eductor and point.picks_up else []
    if not asked.eductor and _overdriven(asked):
        notes.append(
            "At this pump pressure it flows more than its nozzle is meant for. A status works concentrate and water "
            "with all of it, and counts the nozzle’s own toward the rate."
        )
    if point.direction:
        words = {"rich": "below the plate’s inlet pressure it draws rich", "lean": "above it, it draws lean"}
        notes.append(f"How far is not known, but {words[point.direction]}: a proportioning test tells.")
    if point.fast:
        sizes = " and ".join(dict.fromkeys(f"{leg.size_in:g} in" for leg in point.fast))
        notes.append(
            f"In the {sizes} hose the water runs slower or faster than where the friction table was compared with "
            "another formula: measure the loss."
        )
    return tuple(notes)


def _refused(asked: Asked, point: Point, policy: Policy) -> str:
    if point.picks_up:
        return ""
    if not asked.eductor:
        return "Nothing flows: height and nozzle ask for more than the pump gives."
    by_plate = asked.lay.plate_back_pressure_kpa is not None
    allowed = "the plate’s limit" if by_plate else f"{percent_text(policy.back_pressure_share)} of inlet pressure"
    return f"It does not pick up: back pressure is above {allowed}. Shorten the stretch, or lower the nozzle pressure."


def _cures(tried: tuple[Trial, ...]) -> list[Figure]:
    """What would cure it, each with the figure that is to be changed; a tip's with its back pressure too."""
    figures = []
    for each in (trial for trial in tried if trial.cures):
        if each.kind == "length" and each.length_m is not None:
            figures.append(Figure("cure_length", "Cure: cut the last leg to", each.length_m, "length", "down"))
        elif each.kind == "inlet" and each.pressure_kpa is not None:
            figures.append(Figure("cure_inlet", "Cure: inlet pressure", each.pressure_kpa, "pressure", "nearest"))
        elif each.kind == "pump" and each.pressure_kpa is not None:
            figures.append(Figure("cure_pump", "Cure: pump pressure", each.pressure_kpa, "pressure"))
        elif each.kind == "tip" and each.pressure_kpa is not None:
            label = "Cure: a tip of the same flow at"
            figures.append(Figure("cure_tip", label, each.pressure_kpa, "pressure", "nearest"))
        elif each.kind == "tip" and each.flow_lpm is not None:
            figures.append(Figure("cure_flow", "Cure: a nozzle of at most", each.flow_lpm, "flow", "down"))
    return figures


def rig_with(asked: Asked) -> Rig:
    """The line on a rig where nothing else is wrong: tested, fed from a full tank, with a spill it covers at once."""
    oil = Fuel(1, "fuel", "", "hydrocarbon", None, None)
    listing = Listing(asked.pct, Rate(1e-6, "lpm_m2"), 15.0, False, False, "")
    foam = Concentrate(1, "foam", "ar_afff", "unknown", None, False, {(1, "spill"): listing})
    lot = Lot(1, "", foam, date.max, None, False)
    tank = Container(1, "tank", "tank", (Part(lot, _ML),), sample=Sample(_DAY, True, date.max))
    own = asked.nozzle_lpm if asked.nozzle_lpm is not None else asked.flow_lpm
    line = Line(
        id=1,
        name="The line",
        sources=(1,),
        pails=False,
        offered=frozenset({asked.pct}),
        flow_lpm=own,
        max_feed_lpm=asked.max_feed_lpm,
        tests=(LineTest(1, asked.pct, asked.pct, _DAY, True, date.max),),
        rated_lpm=asked.flow_lpm if asked.eductor else None,
        lay=asked.lay,
        kind="in_line" if asked.eductor else "injection",
    )
    spill = Spill(1, "the spill", oil, 1.0, Supply("hydrant"), rate=Rate(1e-6, "lpm_m2"))
    return Rig(1, "rig", None, (tank,), (line,), (spill,))
