"""What each unit is planned for: design spills, Class A tankfuls, airport duties."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, NamedTuple

from readiness.actions.keeping import Desk, Fault, Noun, one_line, taken
from readiness.actions.listings import rate_columns, rate_faults, rate_of
from readiness.models import Duty, Fuel, Unit
from readiness.models.catalogue import ListingUse
from readiness.models.duties import DutyKind, Purpose, Supply
from readiness.workbooks.rows import Rate

NEEDED = {  # the facts that a duty of each kind states
    DutyKind.SPILL: ("fuel", "area_m2", "use"),
    DutyKind.CLASS_A: ("tankfuls",),
    DutyKind.AIRPORT: ("fuel", "required_water_l"),
}
STATED = {  # the facts that a duty of each kind may state, beside those that all have
    DutyKind.SPILL: (*("fuel", "area_m2", "use", "purpose", "rate", "minutes", "supply", "supply_lpm"),),
    DutyKind.CLASS_A: ("tankfuls", "setting_pct"),
    DutyKind.AIRPORT: ("fuel", "required_water_l", "other_agent_kg"),
}
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


DUTIES = Duties()
