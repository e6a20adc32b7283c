"""The concentrate that counts at one place, by concentrate: on a unit with its vehicle, or in a station's store."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from django.db.models import Q

from readiness.models import Container, Department, Station, Unit
from readiness.reports.inventory import COUNTS, load_inventory


class AtHand(NamedTuple):
    """What counts of one concentrate at a place. ``doubtful_ml`` of it has a date or a sample that is missing."""

    concentrate_id: int
    ml: int
    containers: int
    doubtful_ml: int


def usable_at(department: Department, place: Unit | Station, day: date) -> dict[int, AtHand]:
    """What counts at a place on a day, by the id of its concentrate. By the rules of a status, see `inventory`."""
    only = Container.objects.filter(_stands(place), department=department, retired_on__isnull=True)
    found: dict[int, AtHand] = {}
    for item in load_inventory(department, day, only.values("pk")).items:
        if item.concentrate_id is None or not item.counted_ml:
            continue
        had = found.get(item.concentrate_id, AtHand(item.concentrate_id, 0, 0, 0))
        doubtful = 0 if item.state == COUNTS else item.counted_ml
        found[item.concentrate_id] = had._replace(
            ml=had.ml + item.counted_ml, containers=had.containers + 1, doubtful_ml=had.doubtful_ml + doubtful
        )
    return found


def _stands(place: Unit | Station) -> Q:
    """A unit's own compartments and the vehicle that it runs on tonight; of a station only its store."""
    if isinstance(place, Station):
        return Q(place__station=place)
    vehicles = place.assignments.filter(to_at__isnull=True).values("vehicle")
    return Q(place__unit=place) | Q(place__vehicle__in=vehicles)
