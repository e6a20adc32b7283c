"""Foam lines with their hose and sources, and the setups in which lines run together."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date
from typing import Any, Final, NamedTuple

from readiness.actions.fleet_records import (
    NOZZLES,
    PROPORTIONERS,
    Owner,
    on_rig_of,
    owner_columns,
    owner_of,
)
from readiness.actions.hoses import sizes_of
from readiness.actions.judging import units_at
from readiness.actions.keeping import Desk, Fault, Noun, one_line, plain, same, taken
from readiness.engineering.percentages import percent_text
from readiness.models import Appliance, Container, FoamLine, HoseLeg, LineSource, Setup, SetupLine
from readiness.models.containers import ContainerKind
from readiness.models.foam_lines import LegPart
from readiness.workbooks.rows import HoseLeg as Leg

FEEDERS: Final = (ContainerKind.FIXED_TANK, ContainerKind.KIT_RESERVOIR)
NOZZLE_OF: Final = {
    "branch_1_legs": "branch_1_nozzle",
    "branch_2_legs": "branch_2_nozzle",
    "branch_3_legs": "branch_3_nozzle",
}
HOSE: Final[Mapping[str, tuple[LegPart, int]]] = {  # fact: where it lies, and in which of unlike branches
    "supply_legs": (LegPart.BEFORE, 0),
    "legs": (LegPart.LINE, 0),
    "wye_legs": (LegPart.WYE, 0),
    **{name: (LegPart.WYE, n) for n, name in enumerate(NOZZLE_OF, 1)},
}
_MOST_WYE: Final = 6
_METRIC: Final = 0.03  # a hose of 45 mm is one of 1¾ in: 1.2 % apart; the next sizes are 14 % apart or more


class LineFacts(NamedTuple):
    """What is kept of a foam line [L/min, kPa, m]; hose from the proportioner on, sources in no order."""

    owner: Owner
    name: str
    proportioner: Appliance
    nozzle: Appliance | None = None
    flow_lpm: float | None = None
    parked_pct: int | None = None
    pails: bool = False
    sources: tuple[Container, ...] = ()
    legs: tuple[Leg, ...] = ()
    inlet_kpa: float | None = None
    pump_kpa: float | None = None
    supply_legs: tuple[Leg, ...] = ()
    wye_lines: int = 1
    wye_legs: tuple[Leg, ...] = ()
    branch_1_legs: tuple[Leg, ...] = ()
    branch_1_nozzle: Appliance | None = None
    branch_2_legs: tuple[Leg, ...] = ()
    branch_2_nozzle: Appliance | None = None
    branch_3_legs: tuple[Leg, ...] = ()
    branch_3_nozzle: Appliance | None = None
    intake_kpa: float | None = None
    nozzle_kpa: float | None = None
    appliance_loss_kpa: float = 0.0
    height_m: float = 0.0
    lift_m: float = 0.0
    wind_loss_pct: int = 0
    tube_original: bool = True
    converted_on: date | None = None


class Lines(Noun[FoamLine, LineFacts]):
    """Lines from the source of concentrate to the nozzle."""

    name = "foam line"
    model, facts = FoamLine, LineFacts
    signed = frozenset({"height_m"})

    def tidy(self, desk: Desk, facts: LineFacts, row: FoamLine | None) -> LineFacts:
        """Nominal hose sizes; another proportioner is a conversion from today on: tests before it prove nothing."""
        converted = facts.converted_on
        if row is not None and row.proportioner_id != facts.proportioner.pk and converted == row.converted_on:
            converted = desk.today
        sizes = sizes_of(desk.department)
        hose: dict[str, Any] = {part: _nominal(getattr(facts, part), sizes) for part in HOSE}
        return facts._replace(
            **hose,
            name=one_line(facts.name),
            wye_lines=facts.wye_lines or 1,
            sources=tuple(sorted(set(facts.sources), key=lambda each: each.code)),
            appliance_loss_kpa=facts.appliance_loss_kpa or 0.0,
            height_m=facts.height_m or 0.0,
            lift_m=facts.lift_m or 0.0,
            wind_loss_pct=facts.wind_loss_pct or 0,
            converted_on=converted,
        )

    def faults(self, desk: Desk, facts: LineFacts, row: FoamLine | None) -> Iterator[Fault]:
        """A name once, parts of the same rig, a flow, a setting that is offered, hose of a known size."""
        same = self.of(desk.department).filter(**owner_columns(facts.owner))
        yield from taken(same, row, "name", facts.name, str(facts.owner))
        if row is not None and owner_of(row) != facts.owner:
            yield Fault("owner", f"“{facts.owner}” was read: a line stays with {owner_of(row)}; add one there instead.")
        yield from _parts(facts)
        yield from _flow(facts)
        yield from _parked(facts)
        yield from _hose(facts, sizes_of(desk.department))
        yield from _pressures(facts)
        yield from _sources(facts)
        if facts.converted_on and facts.converted_on > desk.today:
            read = f"“{facts.converted_on}” was read"
            yield Fault("converted_on", f"{read}: today ({desk.today}) or a day before belongs here.")

    def touched(self, row: FoamLine) -> Collection[int]:
        """The rig that has it."""
        return units_at([(row.unit_id, row.vehicle_id)])

    def read(self, row: FoamLine) -> LineFacts:
        """With its hose and its sources."""
        own = set(self.names()) - {"owner", "sources", *HOSE, *NOZZLE_OF.values()}
        legs = list(row.legs.select_related("nozzle").order_by("n"))
        hose: dict[str, Any] = {
            name: tuple(Leg(leg.length_m, float(leg.diameter_in)) for leg in legs if (leg.part, leg.branch) == where)
            for name, where in HOSE.items()
        }
        for name, nozzle in NOZZLE_OF.items():
            hose[nozzle] = next((leg.nozzle for leg in legs if (leg.part, leg.branch) == HOSE[name]), None)
        sources = tuple(Container.objects.filter(feeds__line=row).order_by("code"))
        columns = {name: getattr(row, name) for name in own}
        return LineFacts(**columns, **hose, owner=owner_of(row), sources=sources)

    def columns(self, facts: LineFacts) -> dict[str, Any]:
        """The owner as two columns; without hose and sources."""
        apart = ("owner", "sources", *HOSE, *NOZZLE_OF.values())
        rest = {name: value for name, value in facts._asdict().items() if name not in apart}
        return {**owner_columns(facts.owner), **rest}

    def members(self, facts: LineFacts) -> dict[str, Any]:
        """Hose and sources, each as a whole."""
        hose: dict[str, Any] = {"hose": facts.legs, "supply_hose": facts.supply_legs, "wye_hose": facts.wye_legs}
        for name, nozzle in NOZZLE_OF.items():
            hose[name], hose[nozzle] = getattr(facts, name), str(getattr(facts, nozzle) or "")
        return {**hose, "sources": facts.sources}

    def put_members(self, desk: Desk, row: FoamLine, old: LineFacts | None, facts: LineFacts) -> None:
        """What is no longer stated goes from the line; what it was stands in the table of changes."""
        parts = (*HOSE, *NOZZLE_OF.values())
        if old is None or not same(*(plain([getattr(each, part) for part in parts]) for each in (old, facts))):
            row.legs.all().delete()
            laid = [(name, leg) for name in HOSE for leg in getattr(facts, name)]
            HoseLeg.objects.bulk_create(
                HoseLeg(
                    line=row,
                    n=n,
                    part=HOSE[name][0],
                    branch=HOSE[name][1],
                    nozzle=getattr(facts, NOZZLE_OF[name]) if name in NOZZLE_OF else None,
                    length_m=leg.length_m,
                    diameter_in=leg.diameter_in,
                )
                for n, (name, leg) in enumerate(laid, 1)
            )
        before = {each.pk for each in old.sources} if old else set()
        after = {each.pk for each in facts.sources}
        row.sources.filter(container__in=before - after).delete()
        LineSource.objects.bulk_create(LineSource(line=row, container_id=pk) for pk in sorted(after - before))


def nominal_in(diameter_in: float, sizes: Collection[float]) -> float:
    """The nominal size of a hose [in]: 45 mm is 1¾ in; itself where it is near none of the sizes."""
    nearest = min(sizes, key=lambda size: abs(diameter_in / size - 1))
    return nearest if abs(diameter_in / nearest - 1) <= _METRIC else round(diameter_in, 2)


def _nominal(legs: tuple[Leg, ...], sizes: Collection[float]) -> tuple[Leg, ...]:
    return tuple(Leg(round(leg.length_m, 6), nominal_in(leg.diameter_in, sizes)) for leg in legs)


def _parts(facts: LineFacts) -> Iterator[Fault]:
    on_rig = Appliance.objects.filter(on_rig_of(facts.owner))
    for fact, part, kinds, what in (
        ("proportioner", facts.proportioner, PROPORTIONERS, "a proportioner"),
        ("nozzle", facts.nozzle, NOZZLES, "a nozzle"),
        *((name, getattr(facts, name), NOZZLES, "a nozzle") for name in NOZZLE_OF.values()),
    ):
        if part is None:
            continue
        if part.kind not in kinds:
            yield Fault(fact, f"“{part}” was read, which is of the kind {part.kind}: {what} belongs here.")
        elif not on_rig.filter(pk=part.pk).exists():
            yield Fault(fact, f"“{part}” was read, which belongs to {owner_of(part)}: choose one of this rig.")


def _flow(facts: LineFacts) -> Iterator[Fault]:
    parts = [part for part in (facts.nozzle, facts.proportioner) if part is not None]
    rated = [part.rated_flow_lpm for part in parts]
    bored = facts.nozzle_kpa is not None and any(part.bore_m for part in parts)
    if facts.flow_lpm is None and not bored and all(each is None for each in rated):
        yield Fault(
            "flow_lpm", "Nothing was read, and neither nozzle nor proportioner states a rated flow: state it here."
        )
    if facts.flow_lpm == 0:
        yield Fault("flow_lpm", "“0” was read: a line that flows nothing is none; state what it flows.")


def _parked(facts: LineFacts) -> Iterator[Fault]:
    offered = facts.proportioner.settings_pct
    if facts.parked_pct is not None and facts.parked_pct not in offered:
        offers = ", ".join(percent_text(pct) for pct in offered) or "nothing"
        read = percent_text(facts.parked_pct)
        yield Fault("parked_pct", f"“{read}” was read: {facts.proportioner} offers {offers}.")


def _hose(facts: LineFacts, sizes: Collection[float]) -> Iterator[Fault]:
    known = ", ".join(f"{size:g}" for size in sizes)
    for part in HOSE:
        for leg in getattr(facts, part):
            if leg.diameter_in not in sizes:
                read = f"“{leg.diameter_in:g} in” was read as a hose size"
                yield Fault(part, f"{read}: one of {known} in is known; another is added to the table of hose.")
            if not leg.length_m > 0:
                yield Fault(part, f"“{leg.length_m:g} m” was read: a leg of hose is longer than 0.")
    if facts.wye_lines > 1 and not facts.wye_legs:
        yield Fault("wye_legs", f"Nothing was read, and {facts.wye_lines} lines behind the wye: state each one’s hose.")
    if facts.wye_legs and facts.wye_lines < 2:
        yield Fault("wye_lines", "Hose behind a wye was read, and no wye: state how many like lines it splits into.")
    yield from _branches(facts)
    if not 1 <= facts.wye_lines <= _MOST_WYE:
        yield Fault("wye_lines", f"“{facts.wye_lines}” was read: from 1 to {_MOST_WYE} lines belong here.")


def _branches(facts: LineFacts) -> Iterator[Fault]:
    """Unlike branches are two or more, stand in place of like lines, and end in nozzles whose pressure is known."""
    laid = [name for name in NOZZLE_OF if getattr(facts, name)]
    for name, nozzle in NOZZLE_OF.items():
        if getattr(facts, nozzle) is not None and name not in laid:
            yield Fault(name, f"Nothing was read, and {getattr(facts, nozzle)} at its end: state the branch’s hose.")
    if not laid:
        return
    if len(laid) == 1:
        yield Fault(laid[0], "One branch was read: a wye has two or more; state the others, or like lines.")
    if facts.wye_lines > 1 or facts.wye_legs:
        yield Fault("wye_lines", "Like lines behind the wye were read, and branches: state the one or the other.")
    for name in laid:
        tip: Appliance | None = getattr(facts, NOZZLE_OF[name]) or facts.nozzle
        if tip is not None and tip.kind not in NOZZLES:
            continue  # told already
        if tip is None or not (tip.bore_m or (tip.rated_flow_lpm and tip.rated_pressure_kpa)):
            said = f"“{tip}” was read" if tip else "Nothing was read"
            right = "the nozzle of a branch states its rated flow and pressure, or its bore"
            yield Fault(NOZZLE_OF[name], f"{said}: {right}.")
        elif tip.bore_m and not tip.rated_pressure_kpa and facts.nozzle_kpa is None:
            yield Fault("nozzle_kpa", f"Nothing was read: state the pressure at which {tip} is run.")


def _pressures(facts: LineFacts) -> Iterator[Fault]:
    """One of inlet and pump pressure; the pump's intake only where it matters."""
    if facts.inlet_kpa is not None and facts.pump_kpa is not None:
        yield Fault("pump_kpa", "A pump pressure was read, and an inlet pressure: state one; the other follows.")
    for name in ("inlet_kpa", "pump_kpa"):
        if getattr(facts, name) == 0:
            yield Fault(name, "“0” was read: it is more than 0; leave it empty where it is not known.")
    if facts.supply_legs and facts.pump_kpa is None:
        yield Fault("pump_kpa", "Nothing was read, and hose between pump and proportioner: state the pump’s pressure.")


def _sources(facts: LineFacts) -> Iterator[Fault]:
    aboard = Container.objects.filter(on_rig_of(facts.owner, "place__"), retired_on__isnull=True)
    here = set(aboard.values_list("id", flat=True))
    for each in facts.sources:
        if each.pk not in here:
            yield Fault("sources", f"“{each}” was read, which is not on this rig: choose a tank of {facts.owner}.")
        elif each.kind not in FEEDERS:
            yield Fault(
                "sources", f"“{each}” was read, which is a {each.kind}: tick From pails for what a tube draws from."
            )


class SetupFacts(NamedTuple):
    """Lines that the officer says run together; a setup without lines is out of use."""

    owner: Owner
    name: str
    lines: tuple[FoamLine, ...] = ()


class Setups(Noun[Setup, SetupFacts]):
    """Which lines run together."""

    name = "setup"
    retired = ""
    model, facts = Setup, SetupFacts

    def tidy(self, desk: Desk, facts: SetupFacts, row: Setup | None) -> SetupFacts:
        """Lines in one order."""
        lines = tuple(sorted(set(facts.lines), key=lambda each: each.pk))
        return facts._replace(name=one_line(facts.name), lines=lines)

    def faults(self, desk: Desk, facts: SetupFacts, row: Setup | None) -> Iterator[Fault]:
        """A name once, and lines of the same owner that are in use."""
        same = self.of(desk.department).filter(**owner_columns(facts.owner))
        yield from taken(same, row, "name", facts.name, str(facts.owner))
        if row is None and not facts.lines:
            yield Fault("lines", "Nothing was read: tick the lines that run together, or the one that runs alone.")
        for line in facts.lines:
            if owner_of(line) != facts.owner:
                yield Fault(
                    "lines", f"“{line}” was read, which is a line of {owner_of(line)}: choose {facts.owner}’s own."
                )
            elif line.retired_on:
                yield Fault("lines", f"“{line}” was read, which was retired on {line.retired_on}: leave it out.")

    def touched(self, row: Setup) -> Collection[int]:
        """The rig that has it."""
        return units_at([(row.unit_id, row.vehicle_id)])

    def read(self, row: Setup) -> SetupFacts:
        """With its lines in use."""
        lines = FoamLine.objects.filter(setups__setup=row, retired_on__isnull=True).order_by("id")
        return SetupFacts(owner_of(row), row.name, tuple(lines))

    def columns(self, facts: SetupFacts) -> dict[str, Any]:
        """The owner as two columns."""
        return {**owner_columns(facts.owner), "name": facts.name}

    def members(self, facts: SetupFacts) -> dict[str, Any]:
        """The lines, as a whole."""
        return {"lines": facts.lines}

    def put_members(self, desk: Desk, row: Setup, old: SetupFacts | None, facts: SetupFacts) -> None:
        """What is no longer stated goes from the setup; what it was stands in the table of changes."""
        before = {each.pk for each in old.lines} if old else set()
        after = {each.pk for each in facts.lines}
        row.members.filter(line__in=before - after).delete()
        SetupLine.objects.bulk_create(SetupLine(setup=row, line_id=pk) for pk in sorted(after - before))


LINES = Lines()
SETUPS = Setups()
