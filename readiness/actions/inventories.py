"""Inventories: opened over places, counted blind, confirmed by a second person, explained, signed.

1. Open: the places are laid down; reserve vehicles are among them unless left out. 2. Count (actions/counts.py): nobody
is shown a volume of the book. 3. Close the count: what differs and one in ten of the rest is looked at by another
person. 4. Confirm: signed by somebody who did not count alone. 5. Explain (actions/differences.py): each difference is
booked as a movement of its own. 6. Close: the result is frozen.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple

from django.db import transaction
from django.db.models import Max, Q

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.engineering.inventories import sample_size
from readiness.models import (
    Assignment,
    Container,
    Department,
    FurtherLook,
    Inventory,
    InventoryPlace,
    InventoryResult,
    Policy,
    Station,
    Unit,
    User,
    Vehicle,
)
from readiness.models.fleet import ServiceState
from readiness.models.inventories import Because, Stage, What
from readiness.reports.inventories import Tally, Thing
from readiness.reports.variances import Variance, is_corrected, variance

REOPENED_FOR: Final = timedelta(days=1)
_FEW: Final = 5  # label codes that a sentence names


class Scope(NamedTuple):
    """What is counted: one store, unit or vehicle, all of a station, or (no owner) the whole department.

    whole: of a station its rigs too; reserve: reserve vehicles and what is out of service among them.
    """

    owner: Station | Unit | Vehicle | None = None
    whole: bool = True
    reserve: bool = True

    @property
    def words(self) -> str:
        """As the pages name it."""
        if self.owner is None:
            name = "whole department"
        elif isinstance(self.owner, Station):
            name = f"{self.owner}: store and rigs" if self.whole else f"{self.owner} store"
        else:
            return str(self.owner)
        return name if self.reserve or not self.whole else f"{name}, without reserve"


class Spot(NamedTuple):
    """A place of the walk."""

    station: Station | None = None
    unit: Unit | None = None
    vehicle: Vehicle | None = None


def open_inventory(department: Department, scope: Scope, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Inventory:
    """Begin an inventory. Raises Refused where another open one covers one of its places."""
    require(acting, department, "inventory")
    if scope.owner is not None and scope.owner.department_id != department.pk:
        raise Refused(f"There is no such station, unit or vehicle in {department}.")
    with transaction.atomic():
        Department.objects.select_for_update(no_key=True).get(pk=department.pk)  # two open at once cover a place once
        spots = list(_walk(department, scope))
        if not spots:
            raise Refused("There is no store, unit or vehicle in it to count.")
        _not_covered(department, spots)
        made = Inventory.objects.create(
            department=department, scope=scope.words, opened_at=clock.now(), opened_by=acting.user
        )
        InventoryPlace.objects.bulk_create(
            InventoryPlace(inventory=made, n=n, **spot._asdict()) for n, spot in enumerate(spots, 1)
        )
        new = {"scope": made.scope, "places": len(spots)}
        record_changes(department, acting, clock.now(), [Changed("open inventory", made, None, new)])
    return made


def _walk(department: Department, scope: Scope) -> Iterator[Spot]:
    """Station by station: the store, the units on their vehicles, the vehicles that nobody runs on."""
    running = Assignment.objects.filter(department=department, to_at__isnull=True).select_related("unit", "vehicle")
    on = {each.unit_id: each.vehicle for each in running}
    under = {each.vehicle_id: each.unit for each in running}
    if isinstance(scope.owner, Unit):
        yield Spot(unit=scope.owner, vehicle=on.get(scope.owner.pk))
        return
    if isinstance(scope.owner, Vehicle):
        yield Spot(unit=under.get(scope.owner.pk), vehicle=scope.owner)
        return
    stations = Station.objects.filter(department=department, closed_on__isnull=True)
    for station in stations.filter(pk=scope.owner.pk) if scope.owner else stations:
        yield Spot(station=station)
        if scope.whole:
            yield from _rigs(station, scope, on, set(under))


def _rigs(station: Station, scope: Scope, on: dict[int, Vehicle], driven: Collection[int]) -> Iterator[Spot]:
    wanted = Q(retired_on__isnull=True) & (Q() if scope.reserve else Q(state=ServiceState.IN))
    for unit in Unit.objects.filter(wanted, station=station):
        yield Spot(unit=unit, vehicle=on.get(unit.pk))
    for vehicle in Vehicle.objects.filter(wanted, station=station).exclude(pk__in=driven):
        yield Spot(vehicle=vehicle)


def _not_covered(department: Department, spots: Iterable[Spot], but: int = 0) -> None:
    going = InventoryPlace.objects.filter(inventory__department=department, inventory__stage__in=_GOING)
    wanted = {(name, each.pk) for spot in spots for name, each in spot._asdict().items() if each is not None}
    for place in going.exclude(inventory=but).select_related("inventory", "station", "unit", "vehicle"):
        if any((name, getattr(place, f"{name}_id")) in wanted for name in ("station", "unit", "vehicle")):
            raise Refused(f"{place} is being counted already, in {place.inventory}: close or abandon that one first.")


_GOING: Final = (Stage.COUNTING, Stage.CONFIRMING, Stage.EXPLAINING)


def locked(department: Department, inventory: Inventory, *stages: Stage, clock: Clock) -> Inventory:
    """The inventory under lock, at one of some stages. Raises Refused with what it is instead."""
    row = Inventory.objects.select_for_update().filter(department=department, pk=inventory.pk).first()
    if row is None:
        raise Refused(f"There is no such inventory in {department}.")
    if row.stage not in stages:
        wanted = " or ".join(f"“{stage.label}”" for stage in stages)
        raise Refused(f"{row} is at “{row.get_stage_display()}”: this is done while it is at {wanted}.")
    if row.reopened_until is not None and clock.now() > row.reopened_until and Stage.ABANDONED not in stages:
        raise Refused(f"{row} was open again until {row.reopened_until:%Y-%m-%d %H:%M} UTC: close it, or reopen it.")
    return row


def close_counting(department: Department, *, inventory: Inventory, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> int:
    """End the first count and say what a second person looks at; returns how many containers."""
    require(acting, department, "inventory")
    with transaction.atomic():
        row = locked(department, inventory, Stage.COUNTING, clock=clock)
        tally = Tally(row)
        if not tally.counts:
            raise Refused("Nobody has counted anything yet: count first, or abandon the inventory.")
        chosen = _to_confirm(tally, variance(row, tally))
        _ask(row, chosen, Because.CONFIRM, acting, clock)
        row.stage, row.counted_at, row.counted_by = Stage.CONFIRMING, clock.now(), acting.user
        row.save(update_fields=["stage", "counted_at", "counted_by"])
        _record(row, acting, clock, "close the count", {"counts": len(tally.counts), "second looks": len(chosen)})
    return len(chosen)


def _to_confirm(tally: Tally, found: Variance) -> list[int]:
    """Everything that differs, and of the rest the policy's share; what two people saw alike already is left out."""
    policy = Policy.objects.filter(department=tally.inventory.department_id).first()
    share = policy.inventory_confirm_share if policy else 1000
    differ = {each.container_id for each in found.differences} | tally.outstanding
    rest = sorted(set(tally.standings) - differ, key=lambda pk: _turn(tally.inventory.pk, pk))
    chosen = [*sorted(differ), *rest[: sample_size(len(rest), share)]]
    return [pk for pk in chosen if tally.standing(pk).looks and not tally.standing(pk).confirmed]


def _turn(inventory: int, container: int) -> str:
    """An order that nobody can foresee from the label codes, and that is the same each time."""
    return hashlib.sha256(f"{inventory} {container}".encode()).hexdigest()


def _ask(row: Inventory, containers: Iterable[int], because: Because, acting: Acting, clock: Clock) -> None:
    last = row.counts.aggregate(last=Max("id"))["last"] or 0
    FurtherLook.objects.bulk_create(
        FurtherLook(
            inventory=row,
            container_id=container,
            because=because,
            after=last,
            asked_at=clock.now(),
            asked_by=acting.user,
        )
        for container in containers
    )


def ask_more(
    department: Department,
    *,
    inventory: Inventory,
    containers: Collection[int] | None,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> int:
    """A second person looks at more than was asked for: at some, or (None) at everything that was counted."""
    require(acting, department, "confirm an inventory")
    with transaction.atomic():
        row = locked(department, inventory, Stage.CONFIRMING, clock=clock)
        tally = Tally(row)
        counted = {pk for pk, standing in tally.standings.items() if standing.looks}
        wanted = counted if containers is None else set(containers)
        if not wanted <= counted:
            raise Refused("A container was read that nobody counted in this inventory: choose from the list.")
        asked = {each.container_id for each in tally.asked}
        more = sorted(pk for pk in wanted - asked if not tally.standing(pk).confirmed)
        _ask(row, more, Because.CONFIRM, acting, clock)
        _record(row, acting, clock, "ask for more second looks", {"containers": len(more)})
    return len(more)


def confirm(department: Department, *, inventory: Inventory, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> None:
    """Sign that a second person has looked. From here on the differences are shown."""
    require(acting, department, "confirm an inventory")
    with transaction.atomic():
        row = locked(department, inventory, Stage.CONFIRMING, clock=clock)
        tally = Tally(row)
        if tally.outstanding:
            raise Refused(
                f"{few(tally.things[pk] for pk in tally.outstanding)} still has to be looked at by another person "
                "than who counted it."
            )
        first = {count.by_id for count in tally.counts if count.stage == Stage.COUNTING}
        if first == {acting.user.pk if acting.user else None}:
            raise Refused("You counted all of it: another person confirms.")
        row.stage, row.confirmed_at, row.confirmed_by = Stage.EXPLAINING, clock.now(), acting.user
        row.save(update_fields=["stage", "confirmed_at", "confirmed_by"])
        _record(row, acting, clock, "confirm inventory", {})


def close(
    department: Department, *, inventory: Inventory, reason: str = "", acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Sign the result: every difference is explained; above the limit a chief says why it is closed all the same."""
    require(acting, department, "inventory")
    with transaction.atomic():
        row = locked_to_close(department, inventory)
        tally = Tally(row)
        found = variance(row, tally)
        if not found.settled:
            raise Refused(_unsettled(found))
        if found.above_total:
            _above_total(department, acting, reason)
        _freeze(row, tally, found, acting, clock.now())
        row.stage, row.closed_at, row.closed_by = Stage.CLOSED, clock.now(), acting.user
        row.reopened_until, row.reason = None, reason.strip()
        row.save(update_fields=["stage", "closed_at", "closed_by", "reopened_until", "reason"])
        told = {"difference_ml": found.total.difference_ml, "book_ml": found.total.book_ml, "reason": row.reason}
        _record(row, acting, clock, "close inventory", told)


def locked_to_close(department: Department, inventory: Inventory) -> Inventory:
    """The inventory under lock while its differences are explained, however long ago it was reopened."""
    row = Inventory.objects.select_for_update().filter(department=department, pk=inventory.pk).first()
    if row is None:
        raise Refused(f"There is no such inventory in {department}.")
    if row.stage != Stage.EXPLAINING:
        raise Refused(f"{row} is at “{row.get_stage_display()}”: it is closed once its differences are explained.")
    return row


def _above_total(department: Department, acting: Acting, reason: str) -> None:
    require(acting, department, "sign above the limit")
    if not reason.strip():
        raise Refused("The inventory differs by more than the policy’s limit: a chief says why it is closed.")


def _unsettled(found: Variance) -> str:
    parts = []
    if found.differences:
        parts.append(f"{few(each.code for each in found.differences)} still differs and is not explained.")
    if found.unmatched:
        parts.append(f"{len(found.unmatched)} found without a label that the book knows: say which they are.")
    if found.unconfirmed:
        parts.append(f"{few(found.unconfirmed)} still has to be looked at.")
    return " ".join(parts)


def few(things: Iterable[Thing | str]) -> str:
    """A few label codes one by one, and how many more."""
    codes = sorted({thing if isinstance(thing, str) else thing.code for thing in things})
    more = f" and {len(codes) - _FEW} more" if len(codes) > _FEW else ""
    return ", ".join(codes[:_FEW]) + more


def _freeze(row: Inventory, tally: Tally, found: Variance, acting: Acting, at: datetime) -> None:
    """A row for every container that agreed with the book, and for every one that nobody looked at."""
    told = {each.container_id for each in found.results if each.counted_ml is not None and not is_corrected(each)}
    made = []
    for pk, standing in tally.standings.items():
        if pk not in told and standing.last is not None:
            then, count = standing.last.then.ml, standing.last.made
            made.append(result_of(row, tally.things[pk], What.NOTHING, acting.user, at, book_ml=then))
            made[-1].count, made[-1].counted_ml = count, count.ml
    books = dict(
        Container.objects.filter(pk__in=[each.id for each in found.not_counted]).values_list("pk", "contents_ml")
    )
    for thing in found.not_counted:
        made.append(result_of(row, thing, What.NOT_COUNTED, acting.user, at, book_ml=books[thing.id]))
    InventoryResult.objects.bulk_create(made, batch_size=500)


def result_of(
    row: Inventory, thing: Thing, what: What, by: User | None, at: datetime, *, book_ml: int
) -> InventoryResult:
    """A line of the result, not saved yet; names are kept as they are today."""
    return InventoryResult(
        inventory=row,
        container_id=thing.id,
        what=what,
        code=thing.code,
        concentrate=thing.concentrate,
        book_place=thing.place,
        book_ml=book_ml,
        by=by,
        at=at,
    )


def abandon(
    department: Department, *, inventory: Inventory, reason: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Give an inventory up; what was counted stays, and what was booked stands."""
    require(acting, department, "inventory")
    if not reason.strip():
        raise Refused("No reason was read: say why it is given up.")
    with transaction.atomic():
        row = locked(department, inventory, *_GOING, Stage.ABANDONED, clock=clock)
        if row.stage == Stage.ABANDONED:
            raise Refused(f"{row} was abandoned already.")
        row.stage, row.closed_at, row.closed_by = Stage.ABANDONED, clock.now(), acting.user
        row.reason = reason.strip()
        row.save(update_fields=["stage", "closed_at", "closed_by", "reason"])
        _record(row, acting, clock, "abandon inventory", {"reason": row.reason})


def reopen(
    department: Department, *, inventory: Inventory, reason: str, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> None:
    """Open a signed inventory again for a day: a count that was misread, or a difference to be explained otherwise."""
    require(acting, department, "inventory")
    if not reason.strip():
        raise Refused("No reason was read: say what has to be put right.")
    with transaction.atomic():
        row = locked(department, inventory, Stage.CLOSED, clock=clock)
        places = row.places.select_related("station", "unit", "vehicle")
        _not_covered(department, [Spot(each.station, each.unit, each.vehicle) for each in places])
        row.stage, row.reopened_until = Stage.EXPLAINING, clock.now() + REOPENED_FOR
        row.reason = reason.strip()
        row.save(update_fields=["stage", "reopened_until", "reason"])
        _record(row, acting, clock, "reopen inventory", {"reason": row.reason})


def misread(
    department: Department,
    *,
    inventory: Inventory,
    container: int,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> None:
    """The counts of a container were misread: they are left out, nothing is booked, and two people look again."""
    require(acting, department, "correct")
    with transaction.atomic():
        row = locked(department, inventory, Stage.EXPLAINING, clock=clock)
        tally = Tally(row)
        if not tally.standing(container).looks:
            raise Refused("Nobody counted that container in this inventory: choose one of its differences.")
        _ask(row, [container], Because.MISREAD, acting, clock)
        _record(row, acting, clock, "ask for a new count", {"container": tally.things[container].code})


def _record(row: Inventory, acting: Acting, clock: Clock, action: str, new: dict[str, Any]) -> None:
    record_changes(row.department, acting, clock.now(), [Changed(action, row, None, {"stage": str(row.stage), **new})])
