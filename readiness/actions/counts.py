"""What people count in an inventory: each count is kept under the id that the form minted, and never altered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused, SameIdOtherBody, digest, new_id
from readiness.actions.inventories import Scope, close_counting, locked, open_inventory
from readiness.actions.permissions import Acting, require
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volumes_text
from readiness.models import Concentrate, Container, Count, Department, Inventory, InventoryPlace
from readiness.models.inventories import Found, Method, Stage
from readiness.reports.inventories import FIXED, Owner, Tally, owners_at


class Seen(NamedTuple):
    """One container as somebody saw it; no container: it has no label that the book knows."""

    entry: UUID
    place: int
    found: Found
    container: int | None = None
    method: Method | None = None
    ml: int | None = None
    compartment: str = ""
    code: str = ""
    kind: str = ""
    size_ml: int | None = None
    concentrate: int | None = None
    lot_words: str = ""
    words: str = ""
    counted_at: datetime | None = None


def record_counts(
    department: Department,
    *,
    inventory: Inventory,
    seen: Sequence[Seen],
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> list[Count]:
    """Keep what was counted, all of it or nothing; what is kept already is not kept twice. Raises Refused."""
    require(acting, department, "count")
    return _kept(department, inventory, seen, acting, clock)


class Proposed(NamedTuple):
    """What a sheet says of a container; no volume: the sheet does not have it."""

    container: Container
    ml: int | None


def propose(
    department: Department,
    scope: Scope,
    *,
    proposed: Sequence[Proposed],
    words: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Inventory:
    """An inventory whose first count is a sheet that somebody handed over: `words` say which.

    Whatever differs from the book is then looked at by a person, as after any first count, before it is booked.
    """
    with transaction.atomic():
        made = open_inventory(department, scope, acting=acting, clock=clock)
        tally = Tally(made)
        seen = [_as_seen(each, tally, words) for each in proposed]
        _kept(department, made, seen, acting, clock)
        close_counting(department, inventory=made, acting=acting, clock=clock)
    made.refresh_from_db()
    return made


def _as_seen(proposed: Proposed, tally: Tally, words: str) -> Seen:
    thing = tally.things.get(proposed.container.pk)
    place = tally.place_of.get(thing.owner) if thing else None
    if place is None:
        raise Refused(f"{proposed.container} is at no place of {tally.inventory} by the book: move it first.")
    found = Found.NOT_HERE if proposed.ml is None else Found.SEEN
    method = None if proposed.ml is None else Method.SHEET
    return Seen(new_id(), place.pk, found, proposed.container.pk, method=method, ml=proposed.ml, words=words)


def _kept(
    department: Department, inventory: Inventory, seen: Sequence[Seen], acting: Acting, clock: Clock
) -> list[Count]:
    """The counts in the book, in one transaction; the caller has asked for the permission."""
    with transaction.atomic():
        row = locked(department, inventory, Stage.COUNTING, Stage.CONFIRMING, Stage.EXPLAINING, clock=clock)
        known = {each.entry: each for each in Count.objects.filter(entry__in=[each.entry for each in seen])}
        fresh = [each for each in seen if each.entry not in known]
        for each in seen:
            if each.entry in known and known[each.entry].body_sha256 != digest(each):
                raise SameIdOtherBody("This count was recorded before with other answers: open the place anew.")
        desk = _Desk(row, acting, clock)
        made = [desk.count(each) for each in fresh]
        desk.refuse_own(made)
        Count.objects.bulk_create(made)
    return [*known.values(), *made]


class _Desk:
    """What is looked up for the counts of one form."""

    def __init__(self, row: Inventory, acting: Acting, clock: Clock) -> None:
        self.row, self.acting, self.now = row, acting, clock.now()
        self.places = {place.pk: place for place in row.places.select_related("station", "unit", "vehicle")}
        self.units = row.department.units

    def count(self, seen: Seen) -> Count:
        """The row, when nothing is wrong with it."""
        place = self.places.get(seen.place)
        if place is None:
            raise Refused(f"There is no such place in {self.row}.")
        container = self._container(seen)
        if container is not None and container.kind == "fixed tank":
            place = self._place_of_tank(container)
        kind, size = (container.kind, container.capacity_ml) if container else (seen.kind, seen.size_ml)
        return Count(
            entry=seen.entry,
            inventory=self.row,
            place=place,
            stage=self.row.stage,
            container=container,
            found=seen.found,
            method=seen.method or "",
            ml=self._ml(seen, container, kind, size),
            compartment=" ".join(seen.compartment.split()),
            code=seen.code.strip(),
            kind=kind,
            size_ml=size,
            concentrate=self._concentrate(seen),
            lot_words=seen.lot_words.strip(),
            words=seen.words.strip(),
            by=self.acting.user,
            identity=self.acting.identity,
            device=self.acting.device,
            counted_at=self._counted_at(seen),
            recorded_at=self.now,
            body_sha256=digest(seen),
        )

    def _container(self, seen: Seen) -> Container | None:
        labelled = seen.found in (Found.SEEN, Found.NOT_HERE)
        if labelled != (seen.container is not None):
            raise Refused("A count is of a container of the book, or says that its label is not known: one of them.")
        if seen.container is None:
            self._refuse_unlabelled(seen)
            return None
        found = Container.objects.filter(department=self.row.department, pk=seen.container).first()
        if found is None:
            raise Refused(f"There is no container number {seen.container} in {self.row.department}.")
        if found.retired_on:
            raise Refused(f"{found} was retired on {found.retired_on}: count it as not in the book, with a remark.")
        if found.kind == "fixed tank" and seen.found == Found.NOT_HERE:
            raise Refused(f"{found} is fixed to its vehicle: say what its gauge reads, 0 where it is empty.")
        return found

    def _refuse_unlabelled(self, seen: Seen) -> None:
        if not seen.kind or not seen.size_ml:
            raise Refused("What was found without a label of the book needs its kind and its size.")
        known = Container.objects.filter(
            department=self.row.department, code__iexact=seen.code.strip(), retired_on__isnull=True
        )
        if seen.code.strip() and known.exists():
            raise Refused(f"“{seen.code}” was read, which the book knows: count it under its label code.")

    def _place_of_tank(self, container: Container) -> InventoryPlace:
        """A fixed tank is where its vehicle is, at whichever place somebody typed its code."""
        at = container.place
        owner: Owner | None = (at.station_id, at.unit_id, at.vehicle_id) if at else None
        for place in self.places.values():
            if owner in owners_at(place):
                return place
        raise Refused(f"{container} is fixed to {at or 'nothing'}, which is not counted in {self.row}.")

    def _ml(self, seen: Seen, container: Container | None, kind: str, size_ml: int | None) -> int | None:
        """A whole seal answers for the size on the label; all else is measured."""
        if seen.found == Found.NOT_HERE:
            return None
        if seen.method is None:
            raise Refused("No answer was read: say whether it is sealed, or how its volume was measured.")
        if seen.method == Method.SEALED:
            if kind in FIXED:
                raise Refused(f"A {kind} has no seal that answers for its volume: read its gauge.")
            return size_ml
        if seen.method == Method.EMPTY:
            return 0
        return self._measured(seen, container, size_ml or 0)

    def _measured(self, seen: Seen, container: Container | None, size_ml: int) -> int:
        if seen.ml is None:
            raise Refused("No volume was read: say how much is in it.")
        most = size_ml + (container.resolution_ml if container else 0) + tolerance_ml(1)
        if not 0 <= seen.ml <= most:
            read, full = volumes_text(seen.ml, size_ml, self.units)
            where = container or seen.code or "it"
            raise Refused(f"{read} was read in {where}, which holds {full} when full: read it again.")
        return min(seen.ml, size_ml)

    def _concentrate(self, seen: Seen) -> Concentrate | None:
        if seen.concentrate is None:
            return None
        found = Concentrate.objects.filter(department=self.row.department, pk=seen.concentrate).first()
        if found is None:
            raise Refused(f"There is no such concentrate in {self.row.department}.")
        return found

    def _counted_at(self, seen: Seen) -> datetime:
        at = seen.counted_at or self.now
        if not self.row.opened_at <= at <= self.now + CLOCK_SKEW:
            raise Refused(
                f"{at:%Y-%m-%d %H:%M} UTC was read: it is counted after the inventory was opened "
                f"({self.row.opened_at:%Y-%m-%d %H:%M} UTC), and not in the future."
            )
        return at

    def refuse_own(self, made: Iterable[Count]) -> None:
        """Once the count is closed, who alone counted a container does not confirm it, and settled ones stay so."""
        if self.row.stage == Stage.COUNTING:
            return
        tally, me = Tally(self.row), self.acting.user.pk if self.acting.user else None
        for count in made:
            standing = tally.standing(count.container_id or 0)
            if standing.looks and standing.people == {me} and not standing.disputed:
                raise Refused(f"You counted {count.container}: another person looks at it now.")
            if self.row.stage == Stage.EXPLAINING and count.container_id not in tally.outstanding:
                raise Refused(f"{count} was not asked for: its count is closed.")
