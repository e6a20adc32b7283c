"""Stations: their names, how often their units are checked, and their closing."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import NamedTuple

from readiness.actions.keeping import Desk, Fault, Noun, one_line, several, taken
from readiness.models import Container, Station

MOST_HOURS = 8_760  # a year


class StationFacts(NamedTuple):
    """What is kept of a station; without an interval of its own, its units are checked by the department's rule."""

    name: str
    check_interval_h: int | None = None


class Stations(Noun[Station, StationFacts]):
    """The houses with their stores."""

    name = "station"
    retired = "closed_on"
    model, facts = Station, StationFacts

    def tidy(self, desk: Desk, facts: StationFacts, row: Station | None) -> StationFacts:
        """The name on one line."""
        return facts._replace(name=one_line(facts.name))

    def faults(self, desk: Desk, facts: StationFacts, row: Station | None) -> Iterator[Fault]:
        """A name once, and an interval that somebody could keep."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        hours = facts.check_interval_h
        if hours is not None and not 1 <= hours <= MOST_HOURS:
            yield Fault(
                "check_interval_h", f"“{hours} h” was read: from 1 h to {MOST_HOURS:,} h (a year) belongs here."
            )

    def in_the_way(self, row: Station) -> Iterator[str]:
        """Units, vehicles and stock that would stand nowhere."""
        units = list(row.units_of_station.filter(retired_on__isnull=True))
        if units:
            yield f"Units that run from {row}: {several(units)}. Give them another station first."
        vehicles = list(row.vehicles.filter(retired_on__isnull=True))
        if vehicles:
            yield f"Vehicles that stand at {row}: {several(vehicles)}. Give them another station first."
        codes = Container.objects.filter(place__station=row, retired_on__isnull=True).values_list("code", flat=True)
        if codes:
            yield f"Containers in its store: {several(codes)}. Move them first."
        pallets = list(row.pallets.filter(closed_on=None))
        if pallets:
            yield f"Take-back pallets that stand there: {several(pallets)}. Close them, or name another station first."
        sent = list(row.transfers_to.filter(places__containers__isnull=False).distinct())
        if sent:
            yield f"What is on its way there: {several(sent)}. Receive it or bring it back first."

    def touched(self, row: Station) -> Collection[int]:
        """The units that run from it."""
        return set(row.units_of_station.values_list("id", flat=True))


STATIONS = Stations()
