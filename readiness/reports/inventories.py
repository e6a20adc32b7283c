"""Inventories as they go: what to look for and where, who has seen it, and what has to be looked at again.

The records for counters hold no volume of the book, so a page that is made from them cannot show one: whoever counts
reads the gauge and not the page. Differences are reports/variances.py, for those who may see them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any, Final, NamedTuple

from django.db.models import F, Q, QuerySet, Window
from django.db.models.functions import Coalesce, RowNumber

from readiness.engineering.inventories import agreed
from readiness.models import Container, Count, Department, FurtherLook, Inventory, InventoryPlace, Place, Policy
from readiness.models.inventories import Because, Found, Stage
from readiness.reports.book_then import BookThen, Then
from readiness.reports.journal import person_name

Owner = tuple[int | None, int | None, int | None]  # station, unit, vehicle: one of them
FIXED: Final = frozenset({"fixed tank", "kit reservoir"})  # they have a gauge or a lid, and no seal
GAUGE_ML: Final = 1  # whole millilitres: what two measurements of the same volume may differ by in any case
_SEEN: Final = (Found.SEEN.value, Found.UNREADABLE.value, Found.UNKNOWN.value)


class Thing(NamedTuple):
    """A container to look for. `size_ml` stands on its label; what is in it the counter finds out."""

    id: int
    code: str
    kind: str
    size_ml: int
    resolution_ml: int
    concentrate_id: int | None
    concentrate: str
    compartment: str
    owner: Owner
    place: str

    @property
    def fixed(self) -> bool:
        """Whether it is read on a gauge: it goes where its vehicle goes."""
        return self.kind in FIXED


class Look(NamedTuple):
    """A count, the book of its moment, and what it differs by [mL]; None: it was not there."""

    made: Count
    then: Then
    difference_ml: int | None


class Standing(NamedTuple):
    """What the looks at one container come to so far."""

    looks: tuple[Look, ...]
    disputed: bool  # the last look says otherwise than most
    people: frozenset[int | None]

    @property
    def last(self) -> Look | None:
        """The look that stands."""
        return self.looks[-1] if self.looks else None

    @property
    def confirmed(self) -> bool:
        """Two people said the same."""
        return len(self.people) > 1 and not self.disputed


class Tally:
    """All of one inventory, read in a number of queries that does not grow with it."""

    def __init__(self, inventory: Inventory) -> None:
        self.inventory = inventory
        self.places = list(inventory.places.select_related("station", "unit", "vehicle"))
        self.place_of = {owner: place for place in self.places for owner in owners_at(place)}
        rows = inventory.counts.select_related("by", "container", "concentrate", "match").order_by("id")
        self.counts: list[Count] = list(rows)
        places = {place.pk: place for place in self.places}
        for count in self.counts:
            count.place = places[count.place_id]  # with its names, read once
        self.booked = self._booked()
        self.taken_in = {count: container for container, count in self.booked}
        self.by_container: dict[int, list[Count]] = defaultdict(list)
        for count in self.counts:
            if (container := self.container_of(count)) is not None:
                self.by_container[container].append(count)
        self.asked: list[FurtherLook] = list(inventory.further_looks.all())
        self.things = self._things()
        policy = Policy.objects.filter(department=inventory.department_id).values("dead_band_ml").first()
        self.dead_band_ml = policy["dead_band_ml"] if policy else 0

    def _things(self) -> dict[int, Thing]:
        """What the book has there now, and whatever was counted or asked for."""
        also = {*self.by_container, *(each.container_id for each in self.asked)}
        rows = containers_at(self.inventory.department_id, self.places) | Container.objects.filter(pk__in=also)
        return {thing.id: thing for thing in things_of(rows)}

    def _booked(self) -> list[tuple[int, int]]:
        """(container, count) of what was explained, the movement of which stands."""
        rows = self.inventory.results.filter(movement__isnull=False, movement__corrected_by__isnull=True)
        return [(container, count or 0) for container, count in rows.values_list("container", "count")]

    def container_of(self, count: Count) -> int | None:
        """The container that a count is of: by its label, by elimination, or since it was taken into the book."""
        match = getattr(count, "match", None)
        return match.container_id if match is not None else count.container_id or self.taken_in.get(count.pk)

    @cached_property
    def then(self) -> BookThen:
        """The book, at any moment since the first count or the opening."""
        since = min([self.inventory.opened_at, *(count.counted_at for count in self.counts)])
        return BookThen(self.by_container.keys(), since)

    @cached_property
    def owners(self) -> Mapping[int, Owner]:
        """Whose each place of the department is."""
        rows = Place.objects.filter(department=self.inventory.department_id).order_by()
        columns = rows.values_list("pk", "station", "unit", "vehicle")
        return {pk: (station, unit, vehicle) for pk, station, unit, vehicle in columns}

    @cached_property
    def expected(self) -> list[Thing]:
        """What the book has at the inventory's places now."""
        return [thing for thing in self.things.values() if thing.owner in self.place_of]

    def gauge_ml(self, thing: Thing) -> int:
        """What two measurements of it may differ by."""
        return max(thing.resolution_ml, self.dead_band_ml) + GAUGE_ML

    @cached_property
    def standings(self) -> dict[int, Standing]:
        """Each container that somebody looked at."""
        return {container: self._standing(container) for container in self.by_container}

    def standing(self, container: int) -> Standing:
        """What the looks at a container come to; nobody may have looked."""
        return self.standings.get(container) or Standing((), disputed=False, people=frozenset())

    def _standing(self, container: int) -> Standing:
        looks = self._looks(container)
        disputed = bool(looks) and not agreed(
            [look.difference_ml for look in looks], self.gauge_ml(self.things[container])
        )
        return Standing(tuple(looks), disputed, frozenset(person for look in looks for person in _people(look.made)))

    def _looks(self, container: int) -> list[Look]:
        """Those that bear on where it is and what is in it.

        Of each person the last: who looks again takes back what they said before. What was misread is left out. That
        it was not at a place says something only while the book had it there, and nothing once it was seen elsewhere.
        """
        after = max((each.after for each in self.misread(container)), default=0)
        counts = [count for count in self.by_container[container] if count.pk > after]
        every = sorted(map(self._look, counts), key=lambda look: (look.made.counted_at, look.made.pk))
        seen = [look for look in every if look.difference_ml is not None]
        absent = [look for look in every if look.difference_ml is None and self._had(look)]
        at = next((look.made.place_id for look in reversed(seen or absent)), None)
        telling = [look for look in every if look in seen or (look in absent and look.made.place_id == at)]
        last = {look.made.by_id: look.made.pk for look in telling}
        return [look for look in telling if last[look.made.by_id] == look.made.pk]

    def _look(self, count: Count) -> Look:
        container = self.container_of(count)
        assert container is not None  # only counts of containers come here
        then = self.then.at(container, count.counted_at)
        return Look(count, then, None if count.ml is None else count.ml - then.ml)

    def _had(self, look: Look) -> bool:
        """Whether the book had it there at that moment."""
        then = look.then.place_id
        return then is not None and self.owners[then] in owners_at(look.made.place)

    def misread(self, container: int) -> list[FurtherLook]:
        """Where somebody said that the counts before were misread."""
        return [each for each in self.asked if each.container_id == container and each.because == Because.MISREAD]

    @cached_property
    def outstanding(self) -> set[int]:
        """Containers at which somebody has to look once more: asked for, two looks that do not agree, or seen by one
        person after the count was closed."""
        asked = [each for each in self.asked if self.explained.get(each.container_id, -1) <= each.after]
        disputed = {pk for pk, standing in self.standings.items() if standing.disputed}
        late = {pk for pk, standing in self.standings.items() if _late(standing) and pk not in self.explained}
        return disputed | late | {each.container_id for each in asked if not self.standing(each.container_id).confirmed}

    @cached_property
    def explained(self) -> dict[int, int]:
        """The last count of each container that was explained."""
        return dict(sorted(self.booked, key=lambda pair: pair[1]))

    @cached_property
    def unmatched(self) -> list[Count]:
        """What was found and is no container of the book yet: no readable label, or a code that it does not know."""
        return [count for count in self.counts if self.container_of(count) is None]

    def labelled(self, container: int) -> bool:
        """Whether somebody saw it with its own label: then it is none of those without."""
        counts = self.by_container.get(container, ())
        return any(count.container_id == container and count.ml is not None for count in counts)

    @cached_property
    def sheets(self) -> dict[int, list[Thing]]:
        """What stands on the sheet of each place, by its number."""
        found: dict[int, dict[int, Thing]] = defaultdict(dict)
        confirming = {each.container_id for each in self.asked} - self.outstanding
        for thing in self.things.values():
            if self.inventory.stage == Stage.COUNTING or thing.id in self.outstanding:
                here = self.place_of.get(thing.owner)
                counted = {count.place_id for count in self.by_container.get(thing.id, ())}
                places = counted | ({here.pk} if here else set())
            else:
                last = self.place_for(thing.id) if thing.id in confirming else None
                places = {last.pk} if last else set()
            for place in places:
                found[place][thing.id] = thing
        return {place: list(things.values()) for place, things in found.items()}

    def place_for(self, container: int) -> InventoryPlace | None:
        """Where to look for it: where it was seen last, else where the book has it."""
        last = self.standing(container).last
        return last.made.place if last else self.place_of.get(self.things[container].owner)


def owners_at(place: InventoryPlace) -> frozenset[Owner]:
    """Whose store it is, or the unit and the vehicle of the rig."""
    if place.station_id:
        return frozenset({(place.station_id, None, None)})
    unit = {(None, place.unit_id, None)} if place.unit_id else set()
    vehicle = {(None, None, place.vehicle_id)} if place.vehicle_id else set()
    return frozenset(unit | vehicle)


def _late(standing: Standing) -> bool:
    """Whether one person alone saw it, and only after the first count was closed."""
    first = any(look.made.stage == Stage.COUNTING for look in standing.looks)
    return bool(standing.looks) and not first and len(standing.people) == 1


def _people(count: Count) -> set[int | None]:
    """Who counted it; and who found out which one it is, having looked at it for that."""
    match = getattr(count, "match", None)
    return {count.by_id} if match is None else {count.by_id, match.by_id}


def containers_at(department: int, places: Iterable[InventoryPlace]) -> QuerySet[Container]:
    """The containers that the book has at some places of an inventory."""
    where = Q(pk__in=[])
    for name in ("station", "unit", "vehicle"):
        ids = [getattr(place, f"{name}_id") for place in places if getattr(place, f"{name}_id")]
        where |= Q(**{f"place__{name}__in": ids})
    return Container.objects.filter(where, department=department, retired_on__isnull=True)


_OF_THING: Final = (
    *("pk", "code", "kind", "capacity_ml", "resolution_ml", "concentrate", "concentrate__name", "place__compartment"),
    *("place__station", "place__unit", "place__vehicle"),
    *("place__station__name", "place__unit__designation", "place__vehicle__shop_no"),
)


def things_of(rows: QuerySet[Container]) -> list[Thing]:
    """Containers by their label codes; what is in them is not read."""
    return [_thing(row) for row in rows.order_by("code").values_list(*_OF_THING)]


def _thing(row: tuple[Any, ...]) -> Thing:
    pk, code, kind, size, resolution, concentrate, name, compartment, *rest = row
    station, unit, vehicle = rest[3:]
    place = f"{station} store" if station else unit or (f"vehicle {vehicle}" if vehicle else "")
    owner = (rest[0], rest[1], rest[2])
    return Thing(pk, code, kind, size, resolution, concentrate, name or "", compartment or "", owner, place)


# -- for counters ------------------------------------------------------------------------------------------------------

SEEN_HERE: Final = "seen here before"
TO_DO, SEEN, NOT_HERE, ELSEWHERE, AGAIN = "to look for", "seen", "not here", "seen elsewhere", "look again"


class Row(NamedTuple):
    """A container on the sheet of a place: how far it is, who looked last, and whether it is for this person."""

    thing: Thing
    state: str
    by: str
    at: datetime | None
    elsewhere: str
    own: bool  # this person alone counted it: another one has to look
    shelf: str  # the compartment, where the book has it here

    @property
    def open(self) -> bool:
        """Whether somebody has to look at it."""
        return self.state in (TO_DO, AGAIN)


class Sheet(NamedTuple):
    """One place of an inventory, in the order of its compartments."""

    place: InventoryPlace
    rows: tuple[Row, ...]
    found: tuple[Count, ...]  # there without a label that the book knows


def sheet_for(tally: Tally, place: InventoryPlace, person: int | None) -> Sheet:
    """What to look for at a place, while it is counted or confirmed."""
    rows = [_row(tally, thing, place, person) for thing in tally.sheets.get(place.pk, ())]
    found = [count for count in tally.unmatched if count.place_id == place.pk]
    shelves = sorted(rows, key=lambda row: (row.shelf == SEEN_HERE, row.shelf, row.thing.code))
    return Sheet(place, tuple(shelves), tuple(found))


def _row(tally: Tally, thing: Thing, place: InventoryPlace, person: int | None) -> Row:
    standing = tally.standing(thing.id)
    last = standing.last
    shelf = thing.compartment if thing.owner in owners_at(place) else SEEN_HERE
    if last is None:
        return Row(thing, TO_DO, "", None, "", own=False, shelf=shelf)
    row = Row(thing, SEEN, person_name(last.made.by), last.made.counted_at, "", own=False, shelf=shelf)
    if thing.id in tally.outstanding:
        own = standing.people == {person} and not standing.disputed and tally.inventory.stage != Stage.COUNTING
        return row._replace(state=AGAIN, own=own)
    if last.made.place_id != place.pk:
        return row._replace(state=ELSEWHERE, elsewhere=str(last.made.place))
    return row if last.difference_ml is not None else row._replace(state=NOT_HERE)


class Going(NamedTuple):
    """How far the count of a place is, and who was there last."""

    place: InventoryPlace
    name: str
    things: int
    done: int
    again: int
    found: int
    by: str
    at: datetime | None

    @property
    def of(self) -> str:
        """How many of how many."""
        return f"{self.done} of {self.things}"

    @property
    def share(self) -> float:
        """The part that is done; a place with nothing to look for is done once somebody was there."""
        return self.done / self.things if self.things else float(self.at is not None)


def progress(tally: Tally) -> list[Going]:
    """Every place in the order of the walk."""
    return [_going(tally, place) for place in tally.places]


def _going(tally: Tally, place: InventoryPlace) -> Going:
    rows = sheet_for(tally, place, None)
    here = [count for count in tally.counts if count.place_id == place.pk]
    last = here[-1] if here else None
    return Going(
        place=place,
        name=str(place),
        things=len(rows.rows),
        done=sum(not row.open for row in rows.rows),
        again=sum(row.state == AGAIN for row in rows.rows),
        found=len(rows.found),
        by=person_name(last.by) if last else "",
        at=last.counted_at if last else None,
    )


# -- when was it counted last ------------------------------------------------------------------------------------------


class LastCounted(NamedTuple):
    """When somebody last saw a container in an inventory; nobody ever may have."""

    container_id: int
    code: str
    kind: str
    concentrate: str
    place: str
    compartment: str
    inventory_id: int | None
    counted_at: datetime | None
    counted_by: str
    confirmed_by: str
    overdue: bool

    @property
    def standing(self) -> str:
        """In words."""
        return "due" if self.overdue else "counted in time"


def last_counted(department: Department, day: date) -> tuple[LastCounted, ...]:
    """Every container that is in the book and not retired, the longest not counted first.

    overdue: nobody saw it within the department's interval before `day`. What was abandoned counts: it was seen.
    """
    policy = Policy.objects.filter(department=department).first()
    since = day - timedelta(days=policy.inventory_interval_d if policy else 31)
    seen = _last_seen(department)
    things = things_of(Container.objects.filter(department=department, retired_on=None, place__isnull=False))
    rows = [_last(thing, seen.get(thing.id), since) for thing in things]
    return tuple(sorted(rows, key=lambda row: (row.counted_at.timestamp() if row.counted_at else 0, row.code)))


def last_seen(container: Container) -> Count | None:
    """The last time that somebody saw it in an inventory, whoever has confirmed it since."""
    mine = Q(container=container) | Q(match__container=container) | Q(results__container=container)
    rows = Count.objects.filter(mine, found__in=_SEEN).select_related("by", "inventory")
    return rows.order_by("-counted_at", "-id").first()


def _last_seen(department: Department) -> dict[int, Count]:
    of = Coalesce(F("match__container"), F("container"), F("results__container"))
    turn = Window(RowNumber(), partition_by=[F("of")], order_by=[F("counted_at").desc(), F("id").desc()])
    rows = Count.objects.filter(inventory__department=department, found__in=_SEEN).annotate(of=of)
    chosen = rows.filter(of__isnull=False).annotate(turn=turn).filter(turn=1).order_by()
    return {row.of: row for row in chosen.select_related("by", "inventory__confirmed_by")}


def _last(thing: Thing, count: Count | None, since: date) -> LastCounted:
    return LastCounted(
        container_id=thing.id,
        code=thing.code,
        kind=thing.kind,
        concentrate=thing.concentrate,
        place=thing.place,
        compartment=thing.compartment,
        inventory_id=count.inventory_id if count else None,
        counted_at=count.counted_at if count else None,
        counted_by=person_name(count.by) if count else "",
        confirmed_by=person_name(count.inventory.confirmed_by) if count else "",
        overdue=count is None or count.counted_at.date() < since,
    )
