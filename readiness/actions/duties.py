"""What each unit is planned for: design spills, Class A tankfuls, airport duties."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from readiness.actions.keeping import Desk, Fault, Noun, one_line, taken
from readiness.actions.listings import rate_columns, rate_faults, rate_of
from readiness.engineering.airport_categories import LEVEL_B
from readiness.engineering.foam_tests import LOW_TO
from readiness.engineering.percentages import WHOLE, percent_text
from readiness.models import Department, Duty, Fuel, Policy, Unit
from readiness.models.catalogue import ListingUse
from readiness.models.duties import Application, DutyKind, Purpose, RegionRule, Supply
from readiness.models.policy import RegionPack
from readiness.workbooks.rows import Rate

NEEDED = {  # the facts that a duty of each kind states
    DutyKind.SPILL: ("fuel", "area_m2", "use"),
    DutyKind.CLASS_A: ("tankfuls",),
    DutyKind.AIRPORT: ("fuel", "required_water_l"),
}
STATED = {  # the facts that a duty of each kind may state, beside those that all have
    DutyKind.SPILL: (
        *("fuel", "area_m2", "use", "purpose", "rate", "minutes", "supply", "supply_lpm"),
        *("hold_min", "interval_min", "blanket_depth_m", "blanket_expansion", "drained_pct", "blanket_wind_pct"),
        *("rule", "largest_tank_m2", "monitor_area_m2", "inert_gas", "application", "mobile_means"),
    ),
    DutyKind.CLASS_A: ("tankfuls", "setting_pct"),
    DutyKind.AIRPORT: ("fuel", "required_water_l", "other_agent_kg", "category"),
}
COVER = {  # what a duty that keeps vapor down states of its blanket
    "hold_min": "how long it is held",
    "interval_min": "the time between two upkeeps",
    "blanket_depth_m": "the depth of the blanket",
    "blanket_expansion": "the expansion of the foam as it lies",
    "drained_pct": "what drains in an interval",
    "blanket_wind_pct": "what the wind takes, 0 where none",
}
OF_RULE = {  # what a region's rule asks of a design spill
    RegionRule.DECK: {
        "largest_tank_m2": "the section of the largest cargo tank",
        "monitor_area_m2": "the deck that the largest monitor protects",
        "inert_gas": "whether there is inert gas",
    },
    RegionRule.TANK: {
        "application": "how the foam is put on the tank",
        "mobile_means": "whether by mobile means",
    },
}
PACKS = {RegionRule.DECK: RegionPack.MARINE, RegionRule.TANK: RegionPack.STORAGE}
_USE_OF: dict[str, str] = {Application.GENTLE: ListingUse.GENTLE}  # the others as a direct stream
_NAMES = {
    "fuel": "the fuel",
    "area_m2": "the footprint",
    "use": "how the foam is put on",
    "tankfuls": "how many tankfuls of water are treated",
    "required_water_l": "the water that the airport’s rule asks for",
}


class DutyFacts(NamedTuple):
    """What is kept of a duty [m², min, L/min, L, kg]; each kind states its own part."""

    unit: Unit
    kind: str
    name: str
    source: str
    fuel: Fuel | None = None
    area_m2: float | None = None
    use: str = ""
    purpose: str = Purpose.FIRE
    rate: Rate | None = None
    minutes: float | None = None
    supply: str = Supply.NOT_NAMED
    supply_lpm: float | None = None
    tankfuls: float | None = None
    setting_pct: int | None = None
    required_water_l: float | None = None
    other_agent_kg: float | None = None
    hold_min: float | None = None
    interval_min: float | None = None
    blanket_depth_m: float | None = None
    blanket_expansion: float | None = None
    drained_pct: int | None = None
    blanket_wind_pct: int | None = None
    rule: str = RegionRule.GENERAL
    largest_tank_m2: float | None = None
    monitor_area_m2: float | None = None
    inert_gas: bool | None = None
    application: str = ""
    mobile_means: bool | None = None
    category: int | None = None


class Duties(Noun[Duty, DutyFacts]):
    """The plans that a unit's stock is judged by."""

    name = "duty"
    model, facts = Duty, DutyFacts

    def tidy(self, desk: Desk, facts: DutyFacts, row: Duty | None) -> DutyFacts:
        """Name and source on one line."""
        return facts._replace(name=one_line(facts.name), source=one_line(facts.source))

    def faults(self, desk: Desk, facts: DutyFacts, row: Duty | None) -> Iterator[Fault]:
        """A name once in the unit, what its kind needs and nothing of another, a use that foam has on a liquid."""
        yield from taken(self.of(desk.department).filter(unit=facts.unit), row, "name", facts.name, str(facts.unit))
        if row is not None and (row.unit_id, row.kind) != (facts.unit.pk, facts.kind):
            yield Fault("", f"A duty stays with its unit and of its kind: retire {row}, and add another.")
        if row is None and facts.unit.retired_on:
            yield Fault(
                "unit", f"“{facts.unit}” was read, which was retired on {facts.unit.retired_on}: choose another."
            )
        yield from _of_kind(facts)
        if facts.use == ListingUse.CLASS_A:
            yield Fault("use", "“class a” was read: that is no way to put foam on a liquid; add a Class A duty.")
        if facts.fuel is not None and facts.fuel.retired_on and (row is None or row.fuel_id != facts.fuel.pk):
            yield Fault(
                "fuel", f"“{facts.fuel}” was read, which was retired on {facts.fuel.retired_on}: choose another."
            )
        yield from rate_faults(facts.rate)
        yield from _of_cover(facts)
        yield from _of_rule(facts, packs_on(desk.department))
        if facts.supply_lpm is not None and facts.supply in (Supply.NOT_NAMED, Supply.NONE):
            yield Fault("supply", "A supply flow was read and no supply: name where the water comes from.")

    def missing(self, row: Duty) -> Iterator[str]:
        """A unit that was retired since."""
        if row.unit.retired_on:
            yield f"{row.unit} was retired on {row.unit.retired_on}: bring the unit back first."

    def touched(self, row: Duty) -> Collection[int]:
        """Its unit."""
        return {row.unit_id}

    def read(self, row: Duty) -> DutyFacts:
        """The rate as one."""
        columns = {name: getattr(row, name) for name in self.names() if name != "rate"}
        return DutyFacts(**columns, rate=rate_of(row))

    def columns(self, facts: DutyFacts) -> dict[str, Any]:
        """The rate as two columns."""
        return {**facts._asdict(), **rate_columns(facts.rate)}


def _of_kind(facts: DutyFacts) -> Iterator[Fault]:
    """What its kind needs, each more than nothing; and nothing that only another kind has."""
    if facts.kind not in DutyKind.values:
        yield Fault("kind", f"“{facts.kind}” was read: one of {', '.join(DutyKind.values)} belongs here.")
        return
    kind, values = DutyKind(facts.kind), facts._asdict()
    for name in NEEDED[kind]:
        if values[name] in (None, ""):
            yield Fault(name, f"Nothing was read: a duty of the kind {kind.label} states {_NAMES[name]}.")
    for name in ("area_m2", "tankfuls", "required_water_l", "minutes"):
        if values[name] is not None and not values[name] > 0:
            yield Fault(name, f"“{values[name]:g}” was read: more than 0 belongs here.")
    defaults = DutyFacts._field_defaults
    allowed = ("unit", "kind", "name", "source", *STATED[kind])
    for name, value in values.items():
        if name not in allowed and value != defaults[name]:
            yield Fault(name, f"“{value}” was read: a duty of the kind {kind.label} does not state this.")


def packs_on(department: Department) -> frozenset[str]:
    """The region packs that a department turned on."""
    return frozenset(Policy.objects.filter(department=department).values_list("region_packs", flat=True).first() or ())


def _of_cover(facts: DutyFacts) -> Iterator[Fault]:
    """A duty that keeps vapor down states its blanket, within what can be; a duty of fire states none."""
    if facts.purpose != Purpose.VAPOR:
        for name in COVER:
            if getattr(facts, name) is not None:
                yield Fault(name, f"“{getattr(facts, name):g}” was read: only a duty of vapor suppression states this.")
        return
    for name, words in COVER.items():
        value = getattr(facts, name)
        if value is None:
            yield Fault(name, f"Nothing was read: keeping vapor down states {words}.")
        elif name != "blanket_wind_pct" and not value > 0:
            yield Fault(name, f"“{value:g}” was read: more than 0 belongs here.")
    if facts.blanket_expansion is not None and not 1 <= facts.blanket_expansion <= LOW_TO:
        yield Fault(
            "blanket_expansion", f"“{facts.blanket_expansion:g}” was read: low-expansion foam has 1 to {LOW_TO:g}."
        )
    for name in ("drained_pct", "blanket_wind_pct"):
        value = getattr(facts, name)
        if value is not None and value > WHOLE:
            yield Fault(name, f"“{percent_text(value)}” was read: at most 100 % belongs here.")


def _of_rule(facts: DutyFacts, packs: frozenset[str]) -> Iterator[Fault]:
    """What the region's rule asks for, with its pack on; nothing of a rule that the duty is not planned by."""
    rule = RegionRule(facts.rule) if facts.rule in RegionRule.values else RegionRule.GENERAL
    asked = OF_RULE.get(rule, {})
    if rule in PACKS and PACKS[rule] not in packs:
        name = PACKS[rule].label
        yield Fault("rule", f"“{rule.label}” was read, and the region pack {name} is off: a chief turns it on.")
    for name, words in asked.items():
        value = getattr(facts, name)
        if value in (None, ""):
            yield Fault(name, f"Nothing was read: the rule asks for {words}.")
        elif not isinstance(value, str | bool) and not value > 0:
            yield Fault(name, f"“{value:g}” was read: more than 0 belongs here.")
    for name in (name for each in OF_RULE.values() for name in each if name not in asked):
        if getattr(facts, name) not in (None, ""):
            yield Fault(name, f"“{getattr(facts, name)}” was read: the rule that the duty is planned by asks for none.")
    if rule == RegionRule.TANK and facts.application and facts.use != _USE_OF.get(facts.application, ListingUse.DIRECT):
        right = _USE_OF.get(facts.application, ListingUse.DIRECT)
        yield Fault("use", f"“{facts.use}” was read: a tank by {facts.application} means is listed as {right}.")
    yield from _of_category(facts, packs)


def _of_category(facts: DutyFacts, packs: frozenset[str]) -> Iterator[Fault]:
    """A category that the table has, with its pack on."""
    if facts.category is None:
        return
    if facts.category not in LEVEL_B:
        yield Fault("category", f"“{facts.category}” was read: the table has {min(LEVEL_B)} to {max(LEVEL_B)}.")
    if RegionPack.AIRPORT not in packs:
        name = RegionPack.AIRPORT.label
        yield Fault("category", f"“{facts.category}” was read, and the region pack {name} is off: a chief turns it on.")


DUTIES = Duties()
