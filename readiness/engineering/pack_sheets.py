"""The sums of the region packs: airport, marine deck and one national storage-tank code."""

from collections.abc import Iterable

from readiness.engineering.airport import INDEX_RULES, aboard_l
from readiness.engineering.airport_categories import Level, critical_area, discharge_by_formula_lpm, tabled
from readiness.engineering.demand import (
    blanket_concentrate_l_m2,
    concentrate_l,
    required_flow_lpm,
    textbook_need_l,
)
from readiness.engineering.foam_tests import LOW_TO
from readiness.engineering.marine import LEAST_MONITOR_LPM, deck_foam
from readiness.engineering.records import Rate
from readiness.engineering.sheets import Figure, Sheet
from readiness.engineering.steps import Numbers, Recorder
from readiness.engineering.tank_rates import (
    Application,
    Worsening,
    performance_rate_lpm_m2,
    tank_minutes,
    tank_rate_lpm_m2,
)
from readiness.engineering.units import KG_PER_LB, L_PER_US_GAL
from readiness.engineering.vapor import EXPANSION, PREVENTIVE_DEPTH_M, preventive_upkeep_lpm

AIRPORT = "Airport"


def index_sheet(index: str, pct: int, times: float = 2.0) -> Sheet:
    """Concentrate for twice the water of an airport index. Raises ``ValueError`` for an index that is not A to E."""
    rule = INDEX_RULES.get(index.strip().upper())
    if rule is None or rule.water_us_gal is None:
        raise ValueError(f"Index “{index}” was read: one of {', '.join(INDEX_RULES)} belongs here.")
    sheet = water_sheet(rule.water_us_gal * L_PER_US_GAL, pct, times)
    agents = [("sodium", "sodium-based", rule.sodium_lb), ("potassium", "potassium-based", rule.potassium_lb)]
    other = tuple(
        Figure(f"{key}_dry_chemical", f"Dry chemical, {words}", pounds * KG_PER_LB, "mass")
        for key, words, pounds in agents
        if pounds is not None
    )
    choice = ("Dry chemical: one kind or the other, not both.",) if len(other) > 1 else ()
    return sheet._replace(figures=(*sheet.figures, *other), notes=(*sheet.notes, *choice, f"Index: {rule.source}."))


def water_sheet(water_l: float, pct: int, times: float = 2.0) -> Sheet:
    """Concentrate for so many times an amount of required water: times × W × p ÷ (1 − p). Source: row A6."""
    say = Recorder()
    need = aboard_l(water_l, pct, times, say)
    figures = (
        Figure("water", "Required water", water_l, "volume"),
        Figure("concentrate", "Concentrate aboard", need, "volume"),
    )
    return Sheet(AIRPORT, figures, tuple(say.steps), ("The percentage as listed, never a lean measurement.",))


def category_sheet(category: int, pct: int) -> Sheet:
    """A category's water and discharge by the table (level B), and concentrate for twice the water."""
    row = tabled(category)
    sheet = water_sheet(row.water_l, pct)
    by_ratio = discharge_by_formula_lpm(row.water_l, category)
    figures = (*sheet.figures, Figure("discharge", "Discharge", row.discharge_lpm, "flow"))
    note = (
        f"By the table, level B. Its water ÷ (1 + Q2 ÷ Q1) would give {by_ratio:,.0f} L/min in place of "
        f"{row.discharge_lpm:,.0f}: the printed table governs."
    )
    return sheet._replace(figures=figures, notes=(*sheet.notes, note))


def aircraft_sheet(length_m: float, fuselage_m: float, level: Level, category: int, pct: int) -> Sheet:
    """An aircraft of its own size by the critical area, and concentrate for twice its water."""
    say = Recorder()
    found = critical_area(length_m, fuselage_m, level, category, say)
    need = aboard_l(found.total_l, pct, 2.0, say)
    figures = (
        Figure("practical_area", "Practical critical area", found.practical_m2, "area"),
        Figure("first", "Water for control, Q1", found.first_l, "volume"),
        Figure("second", "Water to hold and put out, Q2", found.second_l, "volume"),
        Figure("water", "Water", found.total_l, "volume"),
        Figure("discharge", "Discharge", found.discharge_lpm, "flow"),
        Figure("concentrate", "Concentrate for twice the water", need, "volume"),
    )
    return Sheet(AIRPORT, figures, tuple(say.steps), ("Where a category’s table states more, the table governs.",))


def marine_sheet(
    deck_m2: float,
    largest_tank_m2: float,
    monitor_area_m2: float,
    pct: int,
    *,
    inert_gas: bool,
    monitor_lpm: float | None = None,
) -> Sheet:
    """Deck foam of a tanker by the code for ships."""
    say = Recorder()
    found = deck_foam(
        deck_m2, largest_tank_m2, monitor_area_m2, pct, inert_gas=inert_gas, monitor_lpm=monitor_lpm, say=say
    )
    figures = (
        Figure("flow", f"Flow, governed by {found.governs}", found.flow_lpm, "flow"),
        Figure("minutes", "Minutes", found.minutes, "time"),
        Figure("solution", "Solution", found.solution_l, "volume"),
        Figure("concentrate", "Concentrate", found.concentrate_l, "volume"),
    )
    least = f"The largest monitor flows less than {LEAST_MONITOR_LPM:,.0f} L/min: it is too small by the code."
    return Sheet("Marine deck foam", figures, tuple(say.steps), (least,) if found.monitor_short else ())


def national_tank_sheet(
    area_m2: float,
    application: Application,
    pct: int,
    *,
    miscible: bool,
    mobile: bool,
    tested_rate_lpm_m2: float | None = None,
    worsening: Iterable[Worsening] = (),
) -> Sheet:
    """A storage tank by one national decree: by its table, or from a tested rate by the performance method."""
    say = Recorder()
    rate = tank_rate_lpm_m2(application, miscible=miscible)
    source = "Arrêté of 3 October 2010, annex V"
    if tested_rate_lpm_m2 is not None:
        rate = performance_rate_lpm_m2(tested_rate_lpm_m2, worsening)
        numbers: Numbers = (("Texp", tested_rate_lpm_m2, "L/min/m²"),)
        say("Rate", "Texp × K + 0.5, K = 1 + what makes it worse", numbers, rate, "L/min/m²", source)
    minutes = tank_minutes(area_m2, mobile=mobile)
    required = required_flow_lpm(area_m2, Rate(rate, "lpm_m2"), 0, say, source)
    need = textbook_need_l(required, pct, minutes, say)
    figures = (
        Figure("rate", "Application rate", rate, "rate"),
        Figure("minutes", "Minutes", minutes, "time"),
        Figure("required_flow", "Required flow of solution", required, "flow"),
        Figure("textbook_need", "Concentrate", need, "volume"),
        Figure("doubled", "Doubled for hold-back", 2 * need, "volume"),
    )
    return Sheet("Storage tank by national code", figures, tuple(say.steps))


def preventive_sheet(area_m2: float, pct: int, expansion: float = EXPANSION) -> Sheet:
    """A preventive blanket by one national decree: its least depth laid, and its least upkeep. Source: row D6."""
    if area_m2 <= 0 or not 1 <= expansion <= LOW_TO:
        raise ValueError("A blanket has an area above 0, and an expansion between 1 and 20.")
    say = Recorder()
    source = "Arrêté of 3 October 2010, art. 43-3-5"
    area = ("area", area_m2, "m²")
    first = blanket_concentrate_l_m2(PREVENTIVE_DEPTH_M, expansion, pct) * area_m2
    numbers: Numbers = (area, ("depth", PREVENTIVE_DEPTH_M, "m"), ("expansion", expansion, ""), ("p", pct / 100, "%"))
    say("First blanket", "area × depth ÷ expansion × p", numbers, first, "L", source)
    upkeep = preventive_upkeep_lpm(area_m2)
    say("Upkeep", "area × 0.2 L/min/m²", (area,), upkeep, "L/min", source)
    hourly = concentrate_l(upkeep, pct, 60.0)
    numbers = (("upkeep", upkeep, "L/min"), ("p", pct / 100, "%"), ("minutes", 60.0, "min"))
    say("Its concentrate in an hour", "upkeep × p × minutes", numbers, hourly, "L", "percentage is of solution")
    figures = (
        Figure("depth", "Depth of the blanket, at least", PREVENTIVE_DEPTH_M, "depth"),
        Figure("first", "Concentrate for the first blanket", first, "volume"),
        Figure("upkeep", "Upkeep, solution, at least", upkeep, "flow"),
        Figure("hourly", "Concentrate for an hour of upkeep", hourly, "volume"),
    )
    return Sheet("Preventive blanket by national code", figures, tuple(say.steps))
