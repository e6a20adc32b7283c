"""What tests of inventories share: one that is opened, counted and confirmed in a few words."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.counts import Seen, record_counts
from readiness.actions.differences import Reason, explain
from readiness.actions.drafts import MarkAs
from readiness.actions.inventories import Scope, close, close_counting, confirm, open_inventory
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Container, Count, Inventory, InventoryPlace, Role
from readiness.models.inventories import Explanation, Found, Method, Stage
from readiness.models.movements import Mark
from readiness.reports.inventories import Tally, owners_at
from readiness.reports.variances import Difference, Variance, variance
from tests.cast import PAIL_ML, SIX, Cast

MINUTE = timedelta(minutes=1)
ALL = Scope()
NIGHT_BEFORE = SIX - timedelta(hours=12)  # when the stock came in


def at(minutes: float) -> StoppedClock:
    """So many minutes after the inventory was opened, at six."""
    return StoppedClock(SIX + minutes * MINUTE)


class Taking:
    """An inventory of the cast's department; minutes are counted from its opening."""

    def __init__(self, cast: Cast, scope: Scope = ALL) -> None:
        self.cast, self.department = cast, cast.department
        self.inventory = open_inventory(cast.department, scope, acting=cast.acting(Role.LOGISTICS), clock=at(0))

    def spot(self, name: str) -> InventoryPlace:
        """A place by the name it is shown with."""
        return next(place for place in self.inventory.places.all() if str(place) == name)

    def spot_of(self, container: Container) -> InventoryPlace:
        """Where the book has a container."""
        place = container.place
        owner = (place.station_id, place.unit_id, place.vehicle_id)
        return next(each for each in self.inventory.places.all() if owner in owners_at(each))

    def see(
        self, container: Container, ml: int | None = None, role: Role = Role.CREW, minute: float = 10, **values: Any
    ) -> Count:
        """Somebody counts a container; without a volume it is sealed and full."""
        method = Method.SEALED if ml is None else Method.STICK
        spot = values.pop("spot", None) or self.spot_of(Container.objects.get(pk=container.pk))
        seen = Seen(uuid4(), spot.pk, Found.SEEN, container.pk, method=method, ml=ml, **values)
        return self.record(seen, role=role, minute=minute)[0]

    def miss(self, container: Container, role: Role = Role.CREW, minute: float = 10) -> Count:
        """Somebody finds that it is not where the book has it."""
        seen = Seen(uuid4(), self.spot_of(container).pk, Found.NOT_HERE, container.pk)
        return self.record(seen, role=role, minute=minute)[0]

    def find(self, spot: str, role: Role = Role.CREW, minute: float = 10, **values: Any) -> Count:
        """Somebody finds a pail whose label cannot be read."""
        facts = {"found": Found.UNREADABLE, "kind": "pail", "size_ml": PAIL_ML, "method": Method.SEALED} | values
        seen = Seen(uuid4(), self.spot(spot).pk, **facts)
        return self.record(seen, role=role, minute=minute)[0]

    def record(self, *seen: Seen, role: Role = Role.CREW, minute: float = 10) -> list[Count]:
        return record_counts(
            self.department, inventory=self.inventory, seen=seen, acting=self.cast.acting(role), clock=at(minute)
        )

    def end_counting(self, minute: float = 60) -> int:
        """The logistics officer ends the first count."""
        acting = self.cast.acting(Role.LOGISTICS)
        return close_counting(self.department, inventory=self.inventory, acting=acting, clock=at(minute))

    def confirm(self, role: Role = Role.OFFICER, minute: float = 120) -> None:
        confirm(self.department, inventory=self.inventory, acting=self.cast.acting(role), clock=at(minute))
        self.inventory.refresh_from_db()

    def same_again(self, role: Role = Role.OFFICER, minute: float = 70) -> None:
        """A second person sees of everything that is asked for what the first one saw."""
        tally = Tally(Inventory.objects.get(pk=self.inventory.pk))
        for pk in sorted(tally.outstanding):
            first = tally.standing(pk).last.made
            method = Method(first.method) if first.method else None
            again = Seen(uuid4(), first.place_id, Found(first.found), pk, method=method, ml=first.ml)
            self.record(again._replace(compartment=first.compartment), role=role, minute=minute)

    def to_explaining(self) -> Variance:
        """End the count, have it confirmed, and see what it differs by."""
        self.end_counting()
        self.same_again()
        self.confirm()
        return self.variance()

    def variance(self) -> Variance:
        return variance(Inventory.objects.get(pk=self.inventory.pk))

    def difference(self, container: Container, what: str = "volume") -> Difference:
        return next(
            each for each in self.variance().differences if (each.container_id, each.what) == (container.pk, what)
        )

    def explain(
        self,
        container: Container,
        explanation: Explanation,
        what: str = "volume",
        words: str = "as the test says",
        role: Role = Role.CHIEF,
        **values: Any,
    ) -> Any:
        entry = Entry(self.department, self.cast.acting(role), at(180))
        reason = Reason(explanation, words, **values)
        return explain(entry, inventory=self.inventory, container=container, what=what, reason=reason)

    def close(self, reason: str = "", role: Role = Role.CHIEF, minute: float = 240) -> None:
        acting = self.cast.acting(role)
        close(self.department, inventory=self.inventory, reason=reason, acting=acting, clock=at(minute))
        self.inventory.refresh_from_db()

    @property
    def stage(self) -> Stage:
        return Stage(Inventory.objects.get(pk=self.inventory.pk).stage)


def stand(
    cast: Cast, container: Container, ml: int, place: Any = None, *, sealed: bool = False, when: datetime = NIGHT_BEFORE
) -> Container:
    """A container of lot AR-1, in the book since the night before."""
    entry = Entry(cast.department, OWNER, StoppedClock(SIX), happened_at=when)
    place = place or cast.store
    if ml:
        movements.receive(entry, container=container, lot=cast.lot, ml=ml, place=place)
    else:
        container.refresh_from_db()
        movements.move(entry, containers=[container], place=place)
    if sealed:
        draft = entry.draft("marked")
        entry.post(draft._replace(marks=(MarkAs(container.pk, Mark.SEALED, "yes"),)))
    container.refresh_from_db()
    return container
