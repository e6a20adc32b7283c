"""The sums of an attack as officers do them on paper: need, spill, vapor, runoff and a line's back pressure."""

from collections.abc import Sequence
from math import inf
from typing import Final, NamedTuple

from readiness.engineering import containment, footprints, vapor
from readiness.engineering.demand import (
    area_by_rate_m2,
    area_by_stock_m2,
    concentrate_l,
    hands_on_pails,
    line_need_l,
    meets_flow,
    pails_an_hour,
    required_flow_lpm,
    seconds_a_pail,
    textbook_need_l,
)
from readiness.engineering.fuels import not_as_it_lies
from readiness.engineering.percentages import WHOLE, solution_made_l
from readiness.engineering.rates import POLAR_TRAINING_RATE
from readiness.engineering.records import Concentrate, Fuel, Policy, Rate, Spill, Step, Supply, Use
from readiness.engineering.sheets import Figure, Sheet, refusal
from readiness.engineering.steps import Numbers, Recorder
from readiness.engineering.suiting import fit
from readiness.engineering.tank_attack import out_of_reach
from readiness.engineering.tasks import rate_source, spill_minutes, spill_rate
from readiness.engineering.units import ML_PER_L, pails_for, to_si, tolerance_ml

PAIL_L: Final = to_si(5, "gal")
WRONG_FOAM: Final = "the wrong foam for this fuel: none of it counts."
NOT_LISTED: Final = "it has no listing for this fuel: none of it counts."
NO_RATE: Final = "no listed rate for this fuel and use, and none is carried over from another foam or use."


class Attack(NamedTuple):
    """What a need is worked from. ``flow_lpm``: what the line really flows; None: the required flow."""

    area_m2: float
    rate: Rate
    minutes: float
    pct: int
    flow_lpm: float | None = None
    measured: int | None = None  # last proportioning test [1/100 point]
    wind_loss: int = 0  # [1/100 point]
    pail_l: float = PAIL_L
    have_l: float | None = None  # concentrate at hand
    have_in: int = 0  # containers that it is kept in, for the tolerance of whole millilitres; 0: as typed
    source: str = "as entered"


def need_sheet(asked: Attack) -> Sheet:
    """Rate, need, water, pails and seconds a pail for a footprint.

    Required flow = area × rate; textbook need = flow × p × minutes; the line's own need by what it flows and draws;
    water = solution − concentrate. Source: rows D1, D2, D7. Raises ``ValueError`` for a footprint, rate, time or
    percentage that is not above 0.
    """
    if min(asked.area_m2, asked.rate.value, asked.minutes, asked.pct) <= 0 or asked.pct >= WHOLE:
        raise ValueError("A need is worked from an area, a rate, minutes and a percentage above 0.")
    say = Recorder()
    return Sheet("Need", *_need(asked, say))


def _need(asked: Attack, say: Recorder) -> tuple[tuple[Figure, ...], tuple[Step, ...], tuple[str, ...]]:
    required = required_flow_lpm(asked.area_m2, asked.rate, asked.wind_loss, say, asked.source)
    textbook = textbook_need_l(required, asked.pct, asked.minutes, say)
    draw = max(asked.pct, asked.measured or 0)
    flow = max(required, asked.flow_lpm or 0.0)
    need = textbook
    if asked.flow_lpm is not None or draw > asked.pct:
        need = line_need_l(required, flow, draw, asked.minutes, say)
    solution = flow * asked.minutes
    numbers: Numbers = (("flow", flow, "L/min"), ("minutes", asked.minutes, "min"))
    say("Solution, which runs off", "flow × minutes", numbers, solution, "L", "arithmetic")
    numbers = (("solution", solution, "L"), ("concentrate", need, "L"))
    say("Water", "solution − concentrate", numbers, solution - need, "L", "percentage is of solution")
    drawn = concentrate_l(flow, draw, 1.0)
    seconds = seconds_a_pail(asked.pail_l, drawn)
    numbers = (("pail", asked.pail_l, "L"), ("concentrate flow", drawn, "L/min"))
    say("A pail lasts", "60 × pail ÷ concentrate flow", numbers, seconds, "s", "arithmetic")
    figures = [
        Figure("area", "Footprint", asked.area_m2, "area"),
        Figure("required_flow", "Required flow of solution", required, "flow"),
        *([Figure("line_flow", "The line flows", asked.flow_lpm, "flow", "nearest")] if asked.flow_lpm else []),
        Figure("concentrate_flow", "Concentrate flow", drawn, "flow"),
        Figure("textbook_need", "Textbook need", textbook, "volume"),
        *([Figure("line_need", "Line need", need, "volume")] if need != textbook else []),
        Figure("water", "Water", solution - need, "volume"),
        Figure("pails", "Pails", pails_for(round(need * ML_PER_L), round(asked.pail_l * ML_PER_L)), "count"),
        Figure("pail_seconds", "A pail lasts", seconds, "seconds", "down"),
        Figure("pails_an_hour", "Pails an hour", pails_an_hour(asked.pail_l, drawn), "count"),
        Figure("hands", "People on pails", hands_on_pails(seconds), "count"),
        Figure("runoff", "Runoff to contain, without product and cooling", solution, "volume"),
    ]
    notes = []
    if asked.flow_lpm is not None and not meets_flow(asked.flow_lpm, required):
        covers = area_by_rate_m2(asked.flow_lpm, required, asked.area_m2)
        figures.append(Figure("area_by_rate", "Covered at the line’s flow", covers, "area", "down"))
        notes.append("The line flows less than is required. More concentrate is no cure: run a second line.")
    if asked.have_l is not None:
        figures += _with_stock(asked, textbook, draw, drawn, need, say)
    return tuple(figures), tuple(say.steps), tuple(notes)


def _with_stock(asked: Attack, textbook: float, draw: int, drawn: float, need: float, say: Recorder) -> list[Figure]:
    """What the concentrate at hand covers, and what is short."""
    have = asked.have_l or 0.0
    area = area_by_stock_m2(have, textbook, asked.area_m2)
    numbers: Numbers = (("area", asked.area_m2, "m²"), ("have", have, "L"), ("need", textbook, "L"))
    say("What is here covers", "area × have ÷ textbook need", numbers, area, "m²", "arithmetic")
    makes = solution_made_l(have, draw)
    say("What is here makes", "have ÷ draw", (("have", have, "L"), ("draw", draw / 100, "%")), makes, "L", "arithmetic")
    numbers = (("have", have, "L"), ("concentrate flow", drawn, "L/min"))
    say("What is here lasts", "have ÷ concentrate flow", numbers, have / drawn, "min", "arithmetic")
    kept = have + (tolerance_ml(asked.have_in) / ML_PER_L if have and asked.have_in else 0.0)
    more = kept / have if have else 1.0  # nine 5-gal pails are 0.5 mL less than 45 gal: 1,000 ft², not 999
    return [
        Figure("have", "Concentrate here", kept, "volume", "down"),
        Figure("area_by_stock", "What is here covers for the whole time", area * more, "area", "down"),
        Figure("solution_by_stock", "What is here makes, of solution", makes * more, "volume", "down"),
        Figure("minutes_by_stock", "What is here lasts", have / drawn * more, "time", "down"),
        Figure("short", "Short", max(0.0, need - kept), "volume"),
    ]


class Planned(NamedTuple):
    """A spill to size: what burns, where, and with which concentrate."""

    fuel: Fuel
    area_m2: float
    use: Use
    concentrate: Concentrate
    flow_lpm: float | None = None
    measured: int | None = None
    pail_l: float = PAIL_L
    have_l: float | None = None
    have_in: int = 0
    tank_height_m: float | None = None  # of a tank attacked by portable streams
    spread: tuple[footprints.Spread, ...] = ()  # where the footprint comes from a volume
    product_l: float | None = None
    liquid_c: float | None = None  # where it is heated
    running: bool = False  # a fire that flows or falls


def spill_sheet(plan: Planned, policy: Policy) -> Sheet:
    """Size a spill: does this concentrate suit, at which rate, for how long, how much of everything.

    1. Foam is not the agent: that is the answer. 2. The concentrate does not suit, or has no listed rate: so is that;
    fluorine-free never inherits a rate (row R4). 3. The greater of the standard's and the listing's rate (rows R1, R2,
    R7, R8), the longer of their times. 4. The need, as ``need_sheet``.
    """
    title = f"{plan.fuel.name}, {plan.concentrate.name}"
    say = Recorder()
    _tell_spread(plan, say)
    area = (Figure("area", "Footprint", plan.area_m2, "area"),)
    no = _not_the_answer(plan, policy)
    if no:
        return refusal(title, no, area, say)
    listing = fit(plan.concentrate, plan.fuel, plan.use, policy).listing
    assert listing is not None  # a fit that refuses nothing has its listing
    spill = Spill(0, title, plan.fuel, plan.area_m2, Supply("none"), plan.use)
    rate, minutes = spill_rate(spill, plan.concentrate, listing), spill_minutes(spill, listing)
    if rate is None or minutes is None:
        return refusal(title, f"{plan.concentrate.name}: {NO_RATE}", area, say)
    asked = Attack(
        plan.area_m2,
        rate,
        minutes,
        listing.pct,
        flow_lpm=plan.flow_lpm,
        measured=plan.measured,
        pail_l=plan.pail_l,
        have_l=plan.have_l,
        have_in=plan.have_in,
        source=rate_source(spill, plan.concentrate, listing),
    )
    figures, steps, notes = _need(asked, say)
    first = (
        Figure("rate", "Application rate", required_flow_lpm(1.0, rate), "rate"),
        Figure("minutes", "Minutes", minutes, "time"),
        Figure("percent", "Set the proportioner to", listing.pct, "percent", "nearest"),
    )
    return Sheet(title, (*first, *figures, *_product(plan, figures)), steps, (*notes, *_beside(plan, policy)))


def _not_the_answer(plan: Planned, policy: Policy) -> str:
    if plan.fuel.not_foam or plan.fuel.group == "not_foam":
        said = plan.fuel.not_foam.strip(" .") or plan.fuel.name
        return f"Foam is not the agent, or not alone: {said}."
    as_it_lies = not_as_it_lies(running_fuel=plan.running, liquid_c=plan.liquid_c)
    if as_it_lies:
        return as_it_lies
    if plan.use == "direct" and plan.tank_height_m is not None:
        far = out_of_reach(footprints.diameter_of_m(plan.area_m2), plan.tank_height_m)
        if far:
            return far
    refused = fit(plan.concentrate, plan.fuel, plan.use, policy).refused
    sentences = {"wrong_foam": WRONG_FOAM, "not_listed": NOT_LISTED, "no_listed_rate": NO_RATE}
    return f"{plan.concentrate.name}: {sentences[refused]}" if refused else ""


def _beside(plan: Planned, policy: Policy) -> tuple[str, ...]:
    """What has to be said beside an answer that counts."""
    fitted = fit(plan.concentrate, plan.fuel, plan.use, policy)
    notes = []
    if fitted.by_group:
        notes.append("Listed for this group of fuels only, not for this fuel by name: unverified.")
    if fitted.plain_on_e10:
        notes.append("Plain film-forming foam on gasoline with ethanol: by the department’s policy, limited at best.")
    if fitted.listing is not None and fitted.listing.aspirating:
        notes.append("Its listing asks for an aspirating nozzle: a plain one gets no credit.")
    if plan.fuel.group == "unknown":
        notes.append("The entry names no liquid: taken as polar until somebody reads the papers.")
    if plan.fuel.group in ("polar", "unknown") and plan.use == "spill":
        figure = f"{POLAR_TRAINING_RATE.value:.2f} gpm/ft²"
        notes.append(f"Training figure for polar fuels: {figure}. The listing governs; it is never put in its place.")
    if len(plan.spread) > 1:
        notes.append("The footprint comes from a volume: depth tables differ, and the greater area is taken.")
    return tuple(notes)


def _tell_spread(plan: Planned, say: Recorder) -> None:
    for each in plan.spread:
        numbers: Numbers = (("volume", plan.product_l or 0.0, "L"),)
        say("A pool may cover", each.formula, numbers, each.area_m2, "m²", each.source)


def _product(plan: Planned, figures: Sequence[Figure]) -> tuple[Figure, ...]:
    if plan.product_l is None:
        return ()
    runoff = next(each.value for each in figures if each.key == "runoff")
    least = min((each.area_m2 for each in plan.spread), default=plan.area_m2)
    return (
        Figure("least_area", "Least footprint by the tables", least, "area"),
        Figure("to_contain", "To contain with the product", runoff + plan.product_l, "volume"),
    )


class Hold(NamedTuple):
    """A vapor plan: ``fire_flow_lpm`` and ``fire_minutes`` are kept back in case it lights."""

    area_m2: float
    pct: int  # what the line really draws
    hold_min: float
    depth_m: float = vapor.DEPTH_M
    expansion: float = vapor.EXPANSION
    wind_loss: int = 0
    drained: int = vapor.DRAINED
    interval_min: float = vapor.INTERVAL_MIN
    fire_flow_lpm: float | None = None
    fire_minutes: float | None = None
    pail_l: float = PAIL_L
    have_l: float | None = None


def vapor_sheet(plan: Hold) -> Sheet:
    """First blanket, upkeep for the hours planned, and the whole fire run in case it lights (design section 5.11)."""
    say = Recorder()
    made = vapor.blanket(
        plan.area_m2,
        plan.pct,
        plan.hold_min,
        depth_m=plan.depth_m,
        expansion=plan.expansion,
        wind_loss=plan.wind_loss,
        drained=plan.drained,
        interval_min=plan.interval_min,
        say=say,
    )
    fire = _fire_run(plan, say)
    total = made.total_l + fire
    figures = [
        Figure("foam", "Finished foam of the first blanket", made.foam_l, "volume"),
        Figure("solution", "Its solution, with what the wind takes", made.solution_l, "volume"),
        Figure("first", "Concentrate for the first blanket", made.first_l, "volume"),
        Figure("upkeep", f"Concentrate for {made.top_ups} upkeeps", made.upkeep_l, "volume"),
        Figure("blanket", "Blanket and upkeep", made.total_l, "volume"),
        Figure("fire", "Kept back in case it lights", fire, "volume"),
        Figure("total", "Total", total, "volume"),
    ]
    if plan.have_l is not None:
        short = max(0.0, total - plan.have_l)
        figures.append(Figure("have", "Concentrate here", plan.have_l, "volume", "down"))
        figures.append(Figure("short", "Short", short, "volume"))
        pails = pails_for(round(short * ML_PER_L), round(plan.pail_l * ML_PER_L))
        figures.append(Figure("short_pails", "Short in pails", pails, "count"))
    notes = ["At the scene the meter decides when to lay foam again, not this interval."]
    if not fire:
        notes.append("Nothing is kept back in case it lights: enter the fire run before you count on this.")
    return Sheet("Vapor suppression", tuple(figures), tuple(say.steps), tuple(notes))


def _fire_run(plan: Hold, say: Recorder) -> float:
    if not plan.fire_flow_lpm or not plan.fire_minutes:
        return 0.0
    fire = concentrate_l(plan.fire_flow_lpm, plan.pct, plan.fire_minutes)
    numbers: Numbers = (
        ("flow", plan.fire_flow_lpm, "L/min"),
        ("p", plan.pct / 100, "%"),
        ("minutes", plan.fire_minutes, "min"),
    )
    say("In case it lights", "flow × p × minutes", numbers, fire, "L", "percentage is of solution")
    return fire


class Dike(NamedTuple):
    """A dike and what is put into it. Either ``product_l`` or the depth at which the product stands."""

    area_m2: float
    wall_m: float
    solution_lpm: float
    minutes: float
    product_l: float = 0.0
    product_depth_m: float | None = None
    cooling_lpm: float = 0.0


def runoff_sheet(dike: Dike) -> Sheet:
    """What a dike must hold, how deep it stands, and after how many minutes it is over the wall."""
    say = Recorder()
    product = dike.product_l
    if dike.product_depth_m is not None:
        product = containment.volume_at_l(dike.product_depth_m, dike.area_m2)
    solution = containment.cooling_l(dike.solution_lpm, dike.minutes)
    cooling = containment.cooling_l(dike.cooling_lpm, dike.minutes)
    numbers: Numbers = (("flow", dike.solution_lpm, "L/min"), ("minutes", dike.minutes, "min"))
    say("Solution", "flow × minutes", numbers, solution, "L", "arithmetic")
    found = containment.standing(
        dike.area_m2, product_l=product, solution_l=solution, cooling_l=cooling, wall_m=dike.wall_m, say=say
    )
    room = max(0.0, containment.volume_at_l(dike.wall_m, dike.area_m2) - product)
    pours = dike.solution_lpm + dike.cooling_lpm
    brim = room / pours if pours else inf
    figures = [
        Figure("runoff", "Solution and cooling water", found.runoff_l, "volume"),
        Figure("total", "With the product", found.total_l, "volume"),
        Figure("added_depth", "Solution and cooling water add", found.added_m, "depth"),
        Figure("depth", "All stands at", found.depth_m, "depth"),
        Figure("wall", "Wall", dike.wall_m, "depth", "down"),
    ]
    if brim < inf:
        figures.append(Figure("minutes_to_wall", "At the wall after", brim, "time", "down"))
    if found.holds:
        return Sheet("Runoff", tuple(figures), tuple(say.steps), ("It holds. Rain and freeboard are not counted.",))
    figures.append(Figure("over", "Over the wall by", found.over_m, "depth"))
    figures.append(Figure("over_volume", "Over the wall", found.over_l, "volume"))
    note = "It runs over the wall. A smaller stream, a pump or more containment comes before the foam."
    return Sheet("Runoff", tuple(figures), tuple(say.steps), (note,))
