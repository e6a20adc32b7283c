"""Change-overs: what moves with a unit and is counted at each end, and what the counts said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from readiness.engineering.wording import volume_text
from readiness.models import Assignment, ChangeOverCount, Container, ParLine, Unit, Vehicle
from readiness.models.change_overs import End
from readiness.reports.check_sheets import person


class Thing(NamedTuple):
    """Something loose that goes along: how its field is called and how people call it. It holds no number."""

    key: str
    name: str


def things_of(unit: Unit) -> tuple[Thing, ...]:
    """What is counted: pails and the like by what they hold, and the gear of the par list; in two queries."""
    pails = (Thing(key, name) for key, name in sorted(set(_loose(unit))))
    return (*pails, *(thing for thing, _ in _gear(unit)))


def book_of(unit: Unit, vehicle: Vehicle) -> dict[tuple[str, str], int]:
    """By (end, key): how many the book or the par list has of each thing; aboard with what the new vehicle has."""
    own = Counter(key for key, _ in _loose(unit))
    found_there = Counter(key for key, _ in _loose(vehicle))
    pieces = {thing.key: count for thing, count in _gear(unit)}
    off = {(str(End.OFF), key): count for key, count in {**own, **pieces}.items()}
    aboard = {(str(End.ABOARD), key): count + found_there[key] for key, count in {**own, **pieces}.items()}
    return {**off, **aboard}


def _gear(unit: Unit) -> list[tuple[Thing, int]]:
    """The gear of its par list with the pieces asked for, one line a name."""
    found: dict[str, tuple[Thing, int]] = {}
    for row in ParLine.objects.filter(unit=unit, retired_on__isnull=True).exclude(gear="").order_by("id"):
        thing, pieces = found.get(row.gear, (Thing(f"i{row.pk}", row.gear), 0))
        found[row.gear] = (thing, pieces + (row.pieces or 1))
    return list(found.values())


def _loose(owner: Unit | Vehicle) -> Iterable[tuple[str, str]]:
    """Key and name of each container that a hand can carry from one vehicle to another."""
    side = "place__unit" if isinstance(owner, Unit) else "place__vehicle"
    rows = Container.objects.filter(**{side: owner}, retired_on__isnull=True).select_related("concentrate")
    units = owner.department.units
    for row in rows.exclude(kind__in=["fixed tank", "kit reservoir"]).order_by("code"):
        state = "sealed" if row.sealed else "opened"
        key = f"{row.kind}_{row.capacity_ml}_{row.concentrate_id or 0}_{state}"
        yield key, f"{state} {row.kind} of {volume_text(row.capacity_ml, units)}, {row.concentrate or 'empty'}"


class Counted(NamedTuple):
    """One thing at both ends: by the book and as counted; None: nobody counted."""

    thing: str
    book_off: int
    off: int | None
    book_aboard: int
    aboard: int | None

    @property
    def agrees(self) -> bool:
        """Whether nothing that was counted differs from the book."""
        return self.off in (None, self.book_off) and self.aboard in (None, self.book_aboard)

    @property
    def whole(self) -> bool:
        """Whether it was counted at each end."""
        return self.off is not None and self.aboard is not None


class Made(NamedTuple):
    """A change-over as it was made."""

    at: datetime
    by: str
    old: str
    new: str
    things: tuple[Counted, ...]


def change_over_made(run: Assignment) -> Made:
    """What was counted when a unit went onto a vehicle, in two queries."""
    rows = list(ChangeOverCount.objects.filter(assignment=run).select_related("by").order_by("id"))
    ends = {(row.end, row.thing): row for row in rows}
    names = dict.fromkeys(row.thing for row in rows)
    before = Assignment.objects.filter(unit=run.unit_id, to_at=run.from_at).select_related("vehicle")
    old = before.exclude(pk=run.pk).first()
    return Made(
        at=run.from_at,
        by=person(rows[0].by) if rows else "",
        old=str(old.vehicle) if old else "",
        new=str(run.vehicle),
        things=tuple(
            Counted(name, off.book, off.counted, aboard.book, aboard.counted)
            for name in names
            for off, aboard in [(ends[End.OFF, name], ends[End.ABOARD, name])]
        ),
    )
