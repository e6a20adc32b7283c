"""Par lists and store limits: what a unit should carry, and what a store should hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final, NamedTuple

from django.db import transaction

from readiness.actions.drafts import Refused
from readiness.actions.keeping import Desk, Fault, Noun, one_line, others
from readiness.actions.permissions import require
from readiness.engineering.wording import volume_text
from readiness.models import Appliance, Assignment, Concentrate, Container, ParLine, Station, StoreLimit, Unit
from readiness.models.catalogue import ConcentrateKind
from readiness.models.containers import ContainerKind
from readiness.models.fleet import ApplianceKind
from readiness.models.par import ANY_RESISTANT

EDIT_PAR: Final = "edit par lists and store limits"
MOST_CONTAINERS, MOST_PIECES = 500, 500
MOST_ML: Final = 1_000_000_000  # a thousand cubic meters: beyond it something was typed wrongly


_KINDS: Final = {
    "concentrate_kind": frozenset({"", ANY_RESISTANT, *ConcentrateKind.values}),
    "container_kind": frozenset({"", *ContainerKind.values}),
    "appliance_kind": frozenset({"", *ApplianceKind.values}),
}


class ParFacts(NamedTuple):
    """One line of a unit's list: foam (a concentrate or a kind of it, containers or volume) or gear (pieces)."""

    unit: Unit
    compartment: str = ""
    concentrate: Concentrate | None = None
    concentrate_kind: str = ""
    container_kind: str = ""
    containers: int | None = None
    volume_ml: int | None = None
    gear: str = ""
    appliance_kind: str = ""
    pieces: int | None = None
    note: str = ""


class ParLines(Noun[ParLine, ParFacts]):
    """The lines of all par lists."""

    name = "par line"
    asks = EDIT_PAR
    model, facts = ParLine, ParFacts

    def tidy(self, desk: Desk, facts: ParFacts, row: ParLine | None) -> ParFacts:
        """Names on one line; gear without a number is one piece."""
        gear = one_line(facts.gear)
        pieces = 1 if gear and facts.pieces is None else facts.pieces
        compartment, note = one_line(facts.compartment), one_line(facts.note)
        return facts._replace(gear=gear, pieces=pieces, compartment=compartment, note=note)

    def faults(self, desk: Desk, facts: ParFacts, row: ParLine | None) -> Iterator[Fault]:
        """Foam or gear, each with its number, and each thing once in a compartment."""
        if row is not None and row.unit_id != facts.unit.pk:
            yield Fault("unit", f"“{facts.unit}” was read: the line stays with {row.unit}.")
        if facts.unit.retired_on:
            yield Fault("unit", f"“{facts.unit}” was read, which was retired on {facts.unit.retired_on}.")
        for name, known in _KINDS.items():
            if getattr(facts, name) not in known:
                yield Fault(name, f"“{getattr(facts, name)}” was read: choose from the list.")
        foam = facts.concentrate is not None or bool(facts.concentrate_kind)
        yield from _gear(facts, foam) if facts.gear else _foam(facts, foam)
        if self._twice(desk, facts, row):
            yield Fault("", "The list has such a line in that compartment already: change its number instead.")

    def _twice(self, desk: Desk, facts: ParFacts, row: ParLine | None) -> bool:
        same = self.of(desk.department).filter(
            retired_on__isnull=True,
            unit=facts.unit,
            compartment__iexact=facts.compartment,
            concentrate=facts.concentrate,
            concentrate_kind=facts.concentrate_kind,
            container_kind=facts.container_kind,
            gear__iexact=facts.gear,
        )
        return others(same, row).exists()

    def missing(self, row: ParLine) -> Iterator[str]:
        """A unit that is gone."""
        if row.unit.retired_on:
            yield f"{row.unit} was retired on {row.unit.retired_on}."


def _gear(facts: ParFacts, foam: bool) -> Iterator[Fault]:
    if foam or facts.container_kind or facts.containers is not None or facts.volume_ml is not None:
        yield Fault("gear", f"“{facts.gear}” was read beside concentrate: a line is for one of them. Make two lines.")
    if not 1 <= (facts.pieces or 0) <= MOST_PIECES:
        yield Fault("pieces", f"“{facts.pieces}” was read: from 1 to {MOST_PIECES} pieces belong here.")


def _foam(facts: ParFacts, foam: bool) -> Iterator[Fault]:
    if not foam:
        yield Fault("concentrate", "Nothing was read: choose a concentrate or a kind of it, or write the name of gear.")
        return
    if facts.concentrate is not None and facts.concentrate_kind:
        both = f"“{facts.concentrate}” and “{facts.concentrate_kind}”"
        yield Fault("concentrate_kind", f"{both} were read: only one of them belongs here.")
    if facts.appliance_kind or facts.pieces is not None:
        yield Fault("pieces", "Pieces were read beside concentrate: they are for gear. Make two lines.")
    if (facts.containers is None) == (facts.volume_ml is None):
        yield Fault("containers", "Give how many containers or how much volume, one of them: nine pails, or 30 gal.")
    if facts.containers is not None and not 1 <= facts.containers <= MOST_CONTAINERS:
        yield Fault("containers", f"“{facts.containers}” was read: from 1 to {MOST_CONTAINERS} belong here.")
    if facts.volume_ml is not None and not 1 <= facts.volume_ml <= MOST_ML:
        yield Fault("volume_ml", "More than nothing, and at most 1,000 m³, belongs here.")


PAR_LINES = ParLines()


class LimitFacts(NamedTuple):
    """Store minimum and maximum [mL]."""

    station: Station
    concentrate: Concentrate
    least_ml: int
    most_ml: int | None = None


class StoreLimits(Noun[StoreLimit, LimitFacts]):
    """One pair of limits for each concentrate in a store."""

    name = "store limit"
    asks = EDIT_PAR
    model, facts = StoreLimit, LimitFacts

    def faults(self, desk: Desk, facts: LimitFacts, row: StoreLimit | None) -> Iterator[Fault]:
        """The right way round, once for a store and concentrate, in a store that is open."""
        if facts.station.closed_on:
            yield Fault("station", f"“{facts.station}” was read, which was closed on {facts.station.closed_on}.")
        units = desk.department.units
        if facts.most_ml is not None and facts.most_ml < max(facts.least_ml, 1):
            read = f"“{volume_text(facts.most_ml, units)}” was read"
            yield Fault("most_ml", f"{read}, which is below the minimum of {volume_text(facts.least_ml, units)}.")
        same = self.of(desk.department).filter(
            retired_on__isnull=True, station=facts.station, concentrate=facts.concentrate
        )
        if others(same, row).exists():
            yield Fault("concentrate", f"{facts.station} has limits for {facts.concentrate} already: change those.")

    def missing(self, row: StoreLimit) -> Iterator[str]:
        """Others that have taken its place."""
        same = StoreLimit.objects.filter(station=row.station_id, concentrate=row.concentrate_id, retired_on=None)
        if same.exists():
            yield f"{row.station} has other limits for {row.concentrate} now."


STORE_LIMITS = StoreLimits()


# -- a first list from what is aboard ----------------------------------------------------------------------------------


def take_par_from_aboard(desk: Desk, unit: Unit) -> int:
    """Make a unit's first par list of what it carries now: a line for each sort of container, and its appliances.

    Only for a unit without a list: what somebody decided is never overwritten. Gives how many lines were made.
    """
    require(desk.acting, desk.department, EDIT_PAR)
    with transaction.atomic():
        unit = _locked_unit(desk, unit)
        if unit.par_lines.filter(retired_on__isnull=True).exists():
            raise Refused(f"{unit} has a par list already: change its lines.")
        stated = [*_foam_aboard(unit), *_gear_aboard(unit)]
        if not stated:
            raise Refused(f"By the book {unit} carries nothing: there is nothing to make a list of.")
        for facts in stated:
            PAR_LINES.save(desk, facts)
    return len(stated)


def copy_par(desk: Desk, unit: Unit, like: Unit) -> int:
    """Give a unit the par list of another one. Only for a unit without a list. Gives how many lines were made."""
    require(desk.acting, desk.department, EDIT_PAR)
    with transaction.atomic():
        unit, like = _locked_unit(desk, unit), _locked_unit(desk, like)
        if unit.par_lines.filter(retired_on__isnull=True).exists():
            raise Refused(f"{unit} has a par list already: change its lines.")
        lines = list(like.par_lines.filter(retired_on__isnull=True).select_related("unit", "concentrate"))
        if not lines:
            raise Refused(f"{like} has no par list to copy.")
        for line in lines:
            PAR_LINES.save(desk, PAR_LINES.read(line)._replace(unit=unit))
    return len(lines)


def _locked_unit(desk: Desk, unit: Unit) -> Unit:
    found = Unit.objects.select_for_update().filter(department=desk.department, pk=unit.pk, retired_on=None).first()
    if found is None:
        raise Refused(f"There is no such unit in {desk.department}.")
    return found


def _foam_aboard(unit: Unit) -> Iterator[ParFacts]:
    """Loose containers by their number, fixed ones by what they take."""
    vehicle = Assignment.objects.filter(unit=unit, to_at__isnull=True).values("vehicle")
    aboard = Container.objects.filter(retired_on__isnull=True, concentrate__isnull=False, contents_ml__gt=0)
    aboard = aboard.filter(place__unit=unit) | aboard.filter(place__vehicle__in=vehicle)
    loose: Counter[tuple[str, Concentrate, str]] = Counter()
    for each in aboard.select_related("place", "concentrate").order_by("code"):
        assert each.place is not None and each.concentrate is not None  # noqa: PT018 - both are asked for above
        key = each.place.compartment, each.concentrate, each.kind
        loose[key] += each.capacity_ml if each.kind in FIXED else 1
    for (compartment, concentrate, kind), number in loose.items():
        facts = ParFacts(unit, compartment, concentrate, container_kind=kind)
        yield facts._replace(volume_ml=number) if kind in FIXED else facts._replace(containers=number)


FIXED: Final = frozenset({"fixed tank", "kit reservoir"})


def _gear_aboard(unit: Unit) -> Iterator[ParFacts]:
    for name, kind in Appliance.objects.filter(unit=unit).order_by("name").values_list("name", "kind"):
        yield ParFacts(unit, gear=name, appliance_kind=kind, pieces=1)
