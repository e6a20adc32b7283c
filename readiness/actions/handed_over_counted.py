"""A newer sheet becomes the first count of an inventory: what it says of each container, before anything is booked.

Only what the sheet says without a doubt is taken as counted: containers that are as the book has them, that hold
another amount each, or that the sheet does not have. What it has elsewhere, or beyond the book, people look for.
"""

from __future__ import annotations

from typing import NamedTuple

from django.db import transaction

from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.counts import Proposed, propose
from readiness.actions.drafts import Refused
from readiness.actions.inventories import Scope
from readiness.actions.permissions import Acting, require
from readiness.models import Container, Department, HandedOver, Inventory, Station
from readiness.models.handed_over import SheetState
from readiness.reports.sheet_differences import Difference, Told, told_of_containers


class Plan(NamedTuple):
    """What an inventory from a sheet would begin with."""

    scope: Scope
    proposed: tuple[Proposed, ...]
    missing: int  # of those proposed: the sheet does not have them
    differ: int  # of those proposed: another amount than the book has
    left: int  # containers of the sheet or the book that people have to look for
    gone: int  # containers that have left their places since the sheet was compared


def plan(department: Department, done: HandedOver) -> Plan:
    """What the inventory would begin with, as the book stands now."""
    kept = [Difference.read(each) for each in done.tried.get("differences", [])]
    told, left = told_of_containers(kept)
    found = _at_home(department, told)
    proposed = tuple(Proposed(found[code], said.ml) for code, said in told.items() if code in found)
    return Plan(
        _scope(department, [each.container for each in proposed]),
        proposed,
        missing=sum(each.ml is None for each in proposed),
        differ=sum(told[each.container.code].differs for each in proposed),
        left=left,
        gone=len(told) - len(proposed),
    )


def _at_home(department: Department, told: dict[str, Told]) -> dict[str, Container]:
    """The containers that stand in a store, on a unit or on a vehicle of ours."""
    rows = Container.objects.filter(department=department, retired_on=None, place__transfer=None, place__partner=None)
    rows = rows.filter(place__isnull=False, place__pallet=None).select_related("place__unit", "place__vehicle")
    return {row.code: row for row in rows if row.code in told}


def _scope(department: Department, containers: list[Container]) -> Scope:
    """The one station at which they are all at home, else the whole department."""
    homes = {home for each in containers if (home := _home(each))}
    if len(homes) != 1:
        return Scope()
    return Scope(Station.objects.filter(department=department, pk=homes.pop()).first())


def _home(container: Container) -> int | None:
    place = container.place
    if place is None:
        return None
    rig = place.unit or place.vehicle
    return rig.station_id if rig else place.station_id


def open_from_sheet(
    department: Department, handed_over: HandedOver, *, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> Inventory:
    """Open the inventory, its first count being the sheet. Raises Refused; then nothing is opened."""
    require(acting, department, "workbook")
    with transaction.atomic():
        rows = HandedOver.objects.select_for_update().defer("file")
        done = rows.get(department=department, pk=handed_over.pk)
        if done.state != SheetState.COMPARED:
            raise Refused("Only a sheet that was compared with the book can become an inventory.")
        if "inventory" in done.tried:
            raise Refused("An inventory was opened from this sheet before: go on with that one.")
        found = plan(department, done)
        if not found.proposed:
            raise Refused("The sheet says nothing of a container that stands in the book: open an inventory by itself.")
        words = f"{done.name}, compared on {done.ended_at:%Y-%m-%d}" if done.ended_at else done.name
        made = propose(department, found.scope, proposed=found.proposed, words=words, acting=acting, clock=clock)
        done.tried = {**done.tried, "inventory": made.pk}
        done.save(update_fields=["tried"])
    return made
