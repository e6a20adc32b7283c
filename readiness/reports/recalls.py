"""What a lot reached: every container that holds or held any of it, where those stood meanwhile, and where it went."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from itertools import zip_longest
from typing import NamedTuple

from django.db.models import Max, Min, Q, Sum

from readiness.models import Assignment, Container, Lot, MovementLine, Place, Relocation
from readiness.models.organisation import PLACE_NAMED_BY

TO_PULL, PULLED, LENT, NOTHING_LEFT = "to pull", "pulled", "lent: tell them", "nothing of it left"


class Reached(NamedTuple):
    """A container that the lot went into: what it holds of it, what went through it, and what is to be done.

    unit: on which it is carried tonight; places: where else it stood while it held any of it; pulled_by: how the book
    knows that it is pulled.
    """

    container_id: int
    code: str
    kind: str
    place: str
    holds_ml: int
    passed_through_ml: int
    unit: str
    places: tuple[str, ...]
    state: str
    pulled_by: str


class Spent(NamedTuple):
    """So much of the lot went out of the book: to an account, at an incident if one was named."""

    account: str
    incident: str
    ml: int


class Reach(NamedTuple):
    """All that a lot reached."""

    containers: tuple[Reached, ...]
    units: tuple[str, ...]  # that carry or carried any of it
    spent: tuple[Spent, ...]

    @property
    def held(self) -> tuple[Reached, ...]:
        """Those that hold any of it now."""
        return tuple(each for each in self.containers if each.holds_ml)

    @property
    def to_pull(self) -> tuple[Reached, ...]:
        """Those that somebody has to fetch."""
        return tuple(each for each in self.containers if each.state in (TO_PULL, LENT))

    @property
    def pulled(self) -> tuple[Reached, ...]:
        """Those that are pulled by the book."""
        return tuple(each for each in self.containers if each.state == PULLED)


def reached(lot: Lot) -> tuple[Reached, ...]:
    """Every container with a line of the lot; a tank it was poured into counts like the pail it came from."""
    return reach(lot).containers


def reach(lot: Lot) -> Reach:
    """All that the lot reached, in a number of queries that does not grow."""
    went = MovementLine.objects.filter(lot=lot, container__isnull=False).order_by().values("container")
    sums = went.annotate(
        holds=Sum("ml"),
        went_in=Sum("ml", filter=Q(ml__gt=0)),
        first=Min("movement__happened_at"),
        last=Max("movement__happened_at"),
    )
    columns = ("container", "holds", "went_in", "first", "last")
    by_container = {pk: _Facts(*facts) for pk, *facts in sums.values_list(*columns)}
    rows = Container.objects.filter(pk__in=by_container).order_by("code")
    rows = rows.select_related(*(f"place__{owner}" for owner in PLACE_NAMED_BY))
    stays = _stays(by_container)
    running = _Running(lot)
    found = tuple(_reached(row, by_container[row.pk], stays[row.pk], running) for row in rows)
    units = {running.tonight(row.place) for row in rows if by_container[row.pk].holds_ml}
    units |= {unit for stay in stays.values() for each in stay for unit in running.units(*each)}
    return Reach(found, tuple(sorted(units - {""})), _spent(lot))


class _Facts(NamedTuple):
    """Of one container: what it holds of the lot, what ever went in, when it first and last had to do with it."""

    holds_ml: int
    went_in_ml: int | None
    first: datetime
    last: datetime


_Stay = tuple[Place, datetime, datetime | None]  # at a place from then until then; None: still


def _stays(by_container: Mapping[int, _Facts]) -> dict[int, list[_Stay]]:
    """Where each container stood while it held any of the lot."""
    moves: dict[int, list[Relocation]] = defaultdict(list)
    rows = Relocation.objects.filter(container__in=list(by_container)).order_by("id")
    names = ("movement", *(f"to_place__{owner}" for owner in PLACE_NAMED_BY))
    for each in rows.select_related(*names):
        moves[each.container_id].append(each)
    found: dict[int, list[_Stay]] = defaultdict(list)
    for pk, facts in by_container.items():
        until = None if facts.holds_ml else facts.last
        for here, after in _pairs(moves[pk]):
            stay = _overlap(here, after, facts.first, until)
            if stay is not None:
                found[pk].append(stay)
    return found


def _pairs(moves: list[Relocation]) -> Iterable[tuple[Relocation, Relocation | None]]:
    """Each with the one after it."""
    return zip_longest(moves, moves[1:])


def _overlap(here: Relocation, after: Relocation | None, first: datetime, until: datetime | None) -> _Stay | None:
    """The part of a stay in which the lot was in it, if any."""
    if here.to_place is None:
        return None
    start = max(here.movement.happened_at, first)
    left = after.movement.happened_at if after else None
    end = min((at for at in (left, until) if at is not None), default=None)
    return None if end is not None and end < start else (here.to_place, start, end)


class _Running:
    """Which unit ran on which vehicle when."""

    def __init__(self, lot: Lot) -> None:
        rows = Assignment.objects.filter(department=lot.department_id).select_related("unit")
        self.of_vehicle: dict[int, list[Assignment]] = defaultdict(list)
        for row in rows:
            self.of_vehicle[row.vehicle_id].append(row)

    def units(self, place: Place, start: datetime, end: datetime | None) -> list[str]:
        """The units that a container was on at a place within a time."""
        if place.unit is not None:
            return [place.unit.designation]
        runs = self.of_vehicle.get(place.vehicle_id or 0, [])
        return [
            run.unit.designation
            for run in runs
            if (end is None or run.from_at <= end) and (run.to_at is None or run.to_at >= start)
        ]

    def tonight(self, place: Place | None) -> str:
        """The unit that carries it now."""
        if place is None:
            return ""
        if place.unit is not None:
            return place.unit.designation
        runs = self.of_vehicle.get(place.vehicle_id or 0, [])
        return next((run.unit.designation for run in runs if run.to_at is None), "")


def _reached(row: Container, facts: _Facts, stays: list[_Stay], running: _Running) -> Reached:
    here = str(row.place) if row.place else "outside the book"
    state, pulled_by = _state(row, facts.holds_ml)
    return Reached(
        container_id=row.pk,
        code=row.code,
        kind=row.kind,
        place=here,
        holds_ml=facts.holds_ml,
        passed_through_ml=(facts.went_in_ml or 0) - facts.holds_ml,
        unit=running.tonight(row.place),
        places=tuple(dict.fromkeys(str(place) for place, *_ in stays if str(place) != here)),
        state=state,
        pulled_by=pulled_by,
    )


def _state(row: Container, holds_ml: int) -> tuple[str, str]:
    """What is to be done with it, and how the book knows that it is done."""
    if not holds_ml:
        return NOTHING_LEFT, ""
    if row.quarantined:
        return PULLED, "quarantined"
    if row.place is not None and row.place.pallet is not None:
        return PULLED, "on a take-back pallet"
    if row.place is not None and row.place.partner is not None:
        return LENT, ""
    return TO_PULL, ""


def _spent(lot: Lot) -> tuple[Spent, ...]:
    """What left the containers for good, by account and incident."""
    rows = MovementLine.objects.filter(lot=lot).exclude(account__in=("", "supplier")).order_by()
    sums = rows.values("account", "movement__incident").annotate(went=Sum("ml"))
    found = [Spent(row["account"], row["movement__incident"], row["went"]) for row in sums if row["went"]]
    return tuple(sorted(found))
