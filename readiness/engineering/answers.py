"""From the best option of a duty to its answer: every figure that a page shows, and every deficiency found."""

from datetime import date

from readiness.engineering.bench import Bench
from readiness.engineering.deficiencies import found
from readiness.engineering.demand import (
    area_by_rate_m2,
    area_by_stock_m2,
    meets_flow,
    minutes_of_water,
    textbook_need_l,
)
from readiness.engineering.grading import Grade
from readiness.engineering.lines import NO_TEST, Running
from readiness.engineering.options import Option, Options
from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import STATUSES, Answer, AsSet, CoverNeed, Deficiency, Spill
from readiness.engineering.steps import Numbers, Say


def _shortage(grade: Grade) -> list[Deficiency]:
    """Short of the textbook need; else dry before the time; else short of the hold-back.

    What is asked for is the line need in each case, since less would still run dry.
    """
    option, code = grade.option, grade.shortage
    if not code:
        return []
    needed = grade.need_l
    have = -grade.unmet * needed if grade.other is not None else grade.usable_l
    if code == "hold_back_short":
        needed = needed * (WHOLE + option.task.hold_back) / WHOLE
    if code == "runs_dry" and option.blanket is not None:
        code = "fire_cover_short"
    short = found(code, ("duty", option.duty.id), option.duty.name, "volume", have, needed)
    return [short._replace(containers=grade.containers)]


def _doubts(grade: Grade, day: date) -> list[Deficiency]:
    """Containers whose date is in doubt: what the answer counts on, or a spare that it does not need."""
    doubts = []
    for option in (grade.option, grade.other):
        for held in option.pools[0].pile.held if option is not None and option.pools[0].pile.in_doubt else ():
            if held.firm_through < day <= held.soft_through:
                since = held.firm_through if held.doubt == "sample_overdue" else None
                code = held.doubt if grade.doubtful else "doubtful_spare"
                subject = ("container", held.container.id)
                doubts.append(found(code, subject, held.container.code, "volume", held.ml / 1000, None, since))
    return doubts


def _runs(grade: Grade) -> tuple[Running, ...]:
    return grade.option.runs if grade.other is None else grade.option.runs + grade.other.runs


def _overdue_tests(grade: Grade, day: date) -> list[Deficiency]:
    """Tests that have run out, where nothing worse is known of them."""
    overdue = [
        found("test_overdue", ("line", run.line.id), run.line.name, since=run.test_through)
        for run in _runs(grade)
        if NO_TEST < run.test_through < day and not run.test_fault
    ]
    return overdue + [
        found("foam_test_overdue", ("line", run.line.id), run.line.name, since=run.foam_through)
        for run in _runs(grade)
        if NO_TEST < run.foam_through < day
    ]


def _uncounted_lines(options: Options, grade: Grade) -> list[Deficiency]:
    """Lines that another option would have used and that do not work: worth knowing, though this answer stands."""
    mine = {run.line.id for run in _runs(grade)}
    notes: dict[int, Deficiency] = {}
    for option in options.options:
        for run in option.runs if option is not grade.option and not option.works else ():
            bad = next((fault for fault in run.faults if fault.severity == "not_ready"), None)
            if bad is not None and run.line.id not in mine:
                words = f"{run.line.name} does not count for this: {bad.code.replace('_', ' ')}"
                notes.setdefault(run.line.id, found("line_not_counted", ("line", run.line.id), words))
    return list(notes.values())


def _all_found(bench: Bench, options: Options, grade: Grade, day: date) -> tuple[Deficiency, ...]:
    option = grade.option
    every = [*options.faults, *option.faults]
    if grade.other is not None:
        every += grade.other.faults
    every += _shortage(grade) + _overdue_tests(grade, day) + _doubts(grade, day)
    if len(options.options) > 1:
        every += _uncounted_lines(options, grade)
    return tuple(every)


def as_set(option: Option, usable_l: float, containers: int) -> AsSet | None:
    """The same attack at the settings as they stand; None where they are known to be right, or not known.

    Draw at a setting = max(setting, last measured there). Lean below p, dry where it draws more than is usable.
    """
    off = next((run for run in option.runs if run.line.present not in (None, option.task.pct)), None)
    if off is None or off.line.present is None or not option.flow_lpm:
        return None
    draws = [run.flow_lpm * _present_draw(run, option) for run in option.runs]
    factor = max(1.0, option.task.required_lpm / option.flow_lpm)
    drawn_lpm = sum(draws) / WHOLE
    draw_l = drawn_lpm * factor * option.task.minutes
    if option.blanket is not None:
        draw_l += option.blanket.laid_l * drawn_lpm / option.flow_lpm
    lean = any((run.line.present or option.task.pct) < option.task.pct for run in option.runs)
    dry = usable_l + (containers + 1) / 1000 < draw_l
    minutes = usable_l / drawn_lpm if drawn_lpm else 0.0
    return AsSet(off.line.id, off.line.present, option.task.pct, lean, draw_l, minutes, dry)


def _present_draw(run: Running, option: Option) -> int:
    """What a line draws as it stands [1/100 point]."""
    present = run.line.present
    if present is None or present == option.task.pct:
        return run.draw
    tests = run.line.tests
    same = [test for test in tests if test.setting == present and test.concentrate_id == option.concentrate.id]
    return max([present, *(test.measured for test in same)])


def _earliest(grade: Grade, day: date) -> date | None:
    """The earliest date among the stock and tests an answer counts on; None where none is known."""
    tested = [end for run in _runs(grade) for end in (run.test_through, run.foam_through)]
    days = [end for end in tested if end >= day]
    for option in (grade.option, grade.other):
        if option is not None:
            days += [held.firm_through for held in option.pools[0].pile.held if held.firm_through >= day]
    earliest = min(days, default=date.max)
    return None if earliest == date.max else earliest


def _minutes(grade: Grade) -> float:
    """Minutes until the lines, as they flow, have drawn all that is usable [min]; two concentrates in turn."""
    if grade.other is not None:
        return -grade.unmet * grade.option.task.minutes
    return grade.usable_l / grade.option.draw_lpm if grade.option.draw_lpm else 0.0


def _areas(grade: Grade) -> tuple[float, float]:
    """(area by rate, area by stock) [m²]; 0 for a duty that is no area."""
    duty, option = grade.option.duty, grade.option
    if not isinstance(duty, Spill) or option.task.monitor_lpm:  # a deck's flow does not grow with its area
        return 0.0, 0.0
    by_rate = area_by_rate_m2(option.rate_lpm, option.task.required_lpm, duty.area_m2)
    have_l, asked_l = grade.textbook_share * option.textbook_l, option.textbook_l
    if option.blanket is not None:  # an area is covered that could be fought too, if it lights
        asked_l += textbook_need_l(option.task.required_lpm, option.task.pct, option.task.minutes)
    return by_rate, area_by_stock_m2(have_l, asked_l, duty.area_m2)


def _water(bench: Bench, option: Option) -> tuple[float | None, float, float]:
    """(minutes of own water, water for the whole run, run-off to contain) [min, L, L]."""
    vehicle, duty = bench.rig.vehicle, option.duty
    water_lpm = option.flow_lpm - option.draw_lpm
    tank = vehicle.water_l if vehicle is not None else None
    own = minutes_of_water(tank, water_lpm) if tank is not None and water_lpm else None
    used = max(option.flow_lpm, option.task.required_lpm) * option.task.minutes
    if option.blanket is not None:
        used += option.blanket.laid_l
    total = used * water_lpm / option.flow_lpm if option.flow_lpm else 0.0
    runoff = used + duty.product_l + duty.cooling_l if isinstance(duty, Spill) else used
    return own, total, runoff


def _tankfuls(grade: Grade) -> float | None:
    duty = grade.option.duty
    tankfuls = getattr(duty, "tankfuls", None)
    return None if tankfuls is None else tankfuls * grade.textbook_share


def _cover(grade: Grade) -> CoverNeed | None:
    """The parts of a vapor duty's need."""
    option, made = grade.option, grade.option.blanket
    plan = option.task.cover
    if made is None or plan is None:
        return None
    fire_l = option.need_l - made.total_l
    times = plan.hold_min or 0.0, plan.interval_min or 0.0
    return CoverNeed(*times, made.first_l, made.top_ups, made.upkeep_l, fire_l)


def _say_grade(grade: Grade, areas: tuple[float, float], say: Say) -> None:
    """The steps that depend on the day's stock."""
    if say is None:
        return
    usable, need = ("usable", grade.usable_l, "L"), ("need", grade.need_l, "L")
    for held in grade.option.pools[0].pile.held:
        say(f"Container {held.container.code}", "book or reading, less heel", (), held.ml / 1000, "L", "ledger, checks")
    say("Usable", "sum of what counts today", (), grade.usable_l, "L", "ledger, checks")
    say("Share of need", "usable ÷ need", (usable, need), -100 * grade.unmet, "%", "arithmetic")
    draw = ("concentrate flow", grade.option.draw_lpm, "L/min")
    say("Minutes of foam", "usable ÷ concentrate flow", (usable, draw), _minutes(grade), "min", "arithmetic")
    if areas[0]:
        formula = "area × flow that counts toward the rate ÷ required"
        say("Area by rate", formula, _of_rate(grade.option), areas[0], "m²", "arithmetic")
        asked = "blanket, upkeep and the textbook fire run" if grade.option.blanket else "textbook need"
        say("Area by stock", f"area × usable ÷ {asked}", (usable,), areas[1], "m²", "arithmetic")


def _of_rate(option: Option) -> Numbers:
    """What an area by rate is worked with."""
    area = option.duty.area_m2 if isinstance(option.duty, Spill) else 0.0
    counts, required = ("counts", option.rate_lpm, "L/min"), ("required", option.task.required_lpm, "L/min")
    return ("area", area, "m²"), counts, required


def answer_for(bench: Bench, options: Options, grade: Grade, day: date, say: Say = None) -> Answer:
    """Everything a page shows of one duty on one day, from its best option."""
    option, duty, task = grade.option, options.duty, grade.option.task
    by_rate, by_stock = areas = _areas(grade)
    own_min, water_l, runoff_l = _water(bench, option)
    _say_grade(grade, areas, say)
    deficiencies = _all_found(bench, options, grade, day)
    lapsed = any(run.test_through < day for run in option.runs)
    lay = max((run.lay for run in option.runs if run.lay is not None), key=lambda each: each.share, default=None)
    return Answer(
        duty_id=duty.id,
        name=duty.name,
        status=STATUSES[max(grade.rank, options.rank)],
        deficiencies=deficiencies,
        setup=tuple(run.line.id for run in _runs(grade)),
        concentrate_ids=tuple(each.concentrate.id for each in (option, grade.other) if each is not None),
        pct=task.pct,
        required_lpm=task.required_lpm,
        flow_lpm=option.flow_lpm,
        duration_min=task.minutes,
        textbook_l=option.textbook_l,
        need_l=grade.need_l,
        rich_need_l=option.rich_need_l if lapsed else None,
        hold_back_l=grade.need_l * task.hold_back / WHOLE,
        usable_l=grade.usable_l,
        containers=grade.containers,
        short_l=max(0.0, (1 + grade.unmet) * grade.need_l),
        textbook_share=grade.textbook_share,
        share=-grade.unmet,
        minutes=_minutes(grade),
        area_m2=min(by_rate, by_stock),
        area_by_rate_m2=by_rate,
        area_by_stock_m2=by_stock,
        binds="" if not by_rate else "rate" if by_rate < by_stock else "stock",
        rate_short_lpm=0.0 if meets_flow(option.rate_lpm, task.required_lpm) else task.required_lpm - option.rate_lpm,
        own_water_min=own_min,
        water_l=water_l,
        runoff_l=runoff_l,
        draw_lpm=option.draw_lpm,
        back_pressure_share=lay.share if lay is not None else None,
        back_pressure_kpa=lay.back_pressure_kpa if lay is not None else None,
        longest_m=lay.longest_m if lay is not None else None,
        as_set=as_set(option, grade.usable_l, grade.containers) if task.minutes else None,
        good_through=_earliest(grade, day),
        tankfuls=_tankfuls(grade),
        cover=_cover(grade),
    )


def refused_answer(bench: Bench, options: Options) -> Answer:
    """The answer where no concentrate aboard counts for a duty: why, for each."""
    duty = options.duty
    deficiencies = list(options.faults)
    for code in dict.fromkeys(refusal.code for refusal in options.refusals):
        names = ", ".join(refusal.concentrate.name for refusal in options.refusals if refusal.code == code)
        deficiencies.append(found(code, ("duty", duty.id), f"{names} for {duty.name}"))
    if not deficiencies or all(each.severity != "not_ready" for each in deficiencies):
        deficiencies.append(found("no_reach", ("duty", duty.id), bench.rig.name))
    return Answer(duty.id, duty.name, "not_ready", tuple(deficiencies))
