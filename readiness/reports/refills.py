"""Whether a container may be poured into another, or stowed on a unit: yes, or no and why; where the right stock is.

What the book itself would refuse is said here in the same sense before anybody lifts a pail; what the book would take
(a recalled lot is poured like any other) is refused here.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Final, NamedTuple

from django.db.models import Q

from readiness.engineering.percentages import percent_text
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text, volumes_text
from readiness.models import Assignment, CompatibilityGroup, Concentrate, Container, Listing, Unit
from readiness.reports.inventory import COUNTS, STORE, Item, load_inventory

MOST_STORES: Final = 5
_FEW: Final = 6
_WORN: Final = {  # states of what would be poured that an officer may override: its sentence
    "recalled": "{code} holds a recalled lot: nothing of it goes onto a rig.",
    "expired": "{code} is past its date ({through}): it would be out of the count.",
    "sample failed": "{code} failed its sample: it would be out of the count.",
    "open too long": "{code} has been open too long: it would be out of the count.",
    "reads above the book": "{code} reads above the book: water may have got in.",
    "unlike concentrates": "{code} holds unlike concentrates.",
    "mixed": "{code} is mixed: nothing from it goes into another container.",
    "diluted": "{code} is diluted: nothing from it goes into another container.",
}
_DOUBTS: Final = {
    "date not known": "The date of {code} is not known: what it is poured into becomes unverified.",
    "sample overdue": "The sample of {code} is overdue: what it is poured into becomes unverified.",
    "opening day not known": "Nobody knows since when {code} is open: what it is poured into becomes unverified.",
}


class Reason(NamedTuple):
    """Why not, and whether a company officer may override it with a reason."""

    sentence: str
    overridable: bool = True


class Nearby(NamedTuple):
    """Matching stock in one store: the sealed that run out first before the others."""

    concentrate: str
    station: str
    own_station: bool
    containers: int
    ml: int
    codes: tuple[str, ...]


class Guarded(NamedTuple):
    """The answer: no reasons is yes. `ml`: what would be poured; `mixes`: an override marks the target mixed."""

    reasons: tuple[Reason, ...]
    doubts: tuple[str, ...]
    ml: int
    mixes: bool
    wanted: tuple[Concentrate, ...]
    nearby: tuple[Nearby, ...]

    @property
    def yes(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.reasons

    @property
    def overridable(self) -> bool:
        """Whether an officer may do it all the same."""
        return bool(self.reasons) and all(each.overridable for each in self.reasons)


def guard_pour(source: Container, target: Container, ml: int | None, day: date, units: str) -> Guarded:
    """Pour `ml` (None: all that is in the source and goes in) from one container into another."""
    item = _item(source, day)
    free = target.capacity_ml - target.contents_ml
    asked = min(source.contents_ml, free) if ml is None else ml
    unlike = _unlike(source, target)
    reasons = [
        *_of_pair(source, target, asked, free, units),
        *_of_source(source, item),
        *_of_target(target),
        *unlike,
    ]
    wanted = (target.concentrate,) if target.concentrate else ()
    mixes = bool(unlike) or target.mixed
    return _guarded(reasons, source, item, asked, mixes, wanted, _station_of(target), day)


def guard_stow(source: Container, unit: Unit, day: date) -> Guarded:
    """Take a pail from a store aboard a unit as it is."""
    item = _item(source, day)
    aboard = _loose_aboard(unit)
    reasons = [*_of_source(source, item)]
    if source.place is None or source.place.station_id is None:
        where = source.place or "outside the book"
        reasons.append(Reason(f"{source} is at {where} by the book, not in a store: have it moved there first.", False))
    names = ", ".join(each.name for each in aboard)
    if aboard and source.concentrate not in aboard and source.contents_ml:
        said = (
            f"{unit} carries {names} in pails; {source} holds {source.concentrate}: the two get mistaken on the ground."
        )
        reasons.append(Reason(said))
    return _guarded(reasons, source, item, source.contents_ml, False, aboard, unit.station_id, day)


def _guarded(
    reasons: list[Reason],
    source: Container,
    item: Item | None,
    ml: int,
    mixes: bool,
    wanted: tuple[Concentrate, ...],
    station: int | None,
    day: date,
) -> Guarded:
    doubt = _DOUBTS.get(item.state) if item else None
    doubts = (doubt.format(code=source.code),) if doubt else ()
    near = _nearby(source, wanted, station, day) if reasons else ()
    return Guarded(tuple(reasons), doubts, ml, mixes, wanted, near)


def _item(row: Container, day: date) -> Item | None:
    only = Container.objects.filter(pk=row.pk).values("pk")
    return next(iter(load_inventory(row.department, day, only).items), None)


def _of_pair(source: Container, target: Container, ml: int, free: int, units: str) -> Iterable[Reason]:
    if source.pk == target.pk:
        yield Reason(f"{source} cannot be poured into itself: name two containers.", False)
    elif free <= 0:
        yield Reason(f"{target} is full by the book: {volume_text(target.contents_ml, units)}.", False)
    elif ml > free + tolerance_ml(1):
        asked, takes = volumes_text(ml, free, units)
        yield Reason(f"{asked} does not go into {target}: {takes} more is all it takes.", False)
    if ml > source.contents_ml > 0:
        asked, held = volumes_text(ml, source.contents_ml, units)
        yield Reason(f"{asked} was read, but {source} holds {held} by the book.", False)


def _of_source(source: Container, item: Item | None) -> Iterable[Reason]:
    if not source.contents_ml:
        yield Reason(f"{source} is empty by the book.", False)
        return
    if source.quarantined:
        yield Reason(f"{source} is quarantined: an officer releases it first.", False)
    state = item.state if item else ""
    if state in _WORN:
        yield Reason(_WORN[state].format(code=source.code, through=item.through if item else ""))


def _of_target(target: Container) -> Iterable[Reason]:
    if target.quarantined:
        yield Reason(f"{target} is quarantined: an officer releases it first.", False)
    if target.mixed:
        yield Reason(f"{target} is mixed: empty, flush and inspect it before anything goes in.")
    elif target.diluted:
        yield Reason(f"{target} is diluted: empty, flush and inspect it before anything goes in.")


def _unlike(source: Container, target: Container) -> list[Reason]:
    """Different concentrates never meet in one container, but for a compatibility group with its evidence."""
    ours, theirs = source.concentrate, target.concentrate
    if ours is None or theirs is None or ours.pk == theirs.pk or _compatible(ours, theirs):
        return []
    held = "holds" if target.contents_ml else "held, and has not been flushed and inspected since,"
    said = f"Wrong concentrate: {target} {held} {_described(theirs)}; {source} holds {_described(ours)}."
    if ours.kind != theirs.kind:
        said += f" Another class: {ours.kind} into {theirs.kind}."
    return [Reason(said)]


def _described(concentrate: Concentrate) -> str:
    """Its name, with the percentages that it is listed for."""
    rows = Listing.objects.filter(concentrate=concentrate, retired_on__isnull=True)
    listed = sorted(set(rows.values_list("pct", flat=True)))
    return f"{concentrate} ({', '.join(map(percent_text, listed))})" if listed else str(concentrate)


def _compatible(one: Concentrate, other: Concentrate) -> bool:
    groups = CompatibilityGroup.objects.filter(department=one.department_id, concentrates=one)
    return groups.filter(concentrates=other).exists()


def _loose_aboard(unit: Unit) -> tuple[Concentrate, ...]:
    rows = Container.objects.filter(place__unit=unit, retired_on__isnull=True, contents_ml__gt=0)
    ids = rows.exclude(concentrate__isnull=True).order_by().values("concentrate").distinct()
    return tuple(Concentrate.objects.filter(pk__in=ids).order_by("name"))


def _station_of(row: Container) -> int | None:
    """The station from which the unit under a container runs."""
    place = row.place
    if place is None:
        return None
    if place.vehicle_id:
        run = Assignment.objects.filter(vehicle=place.vehicle_id, to_at__isnull=True).select_related("unit").first()
        return run.unit.station_id if run else place.vehicle.station_id if place.vehicle else None
    return place.unit.station_id if place.unit else place.station_id


def _nearby(source: Container, wanted: tuple[Concentrate, ...], station: int | None, day: date) -> tuple[Nearby, ...]:
    """Stores with what matches, the unit's own first, then the fullest: the book knows no road distances."""
    if not wanted:
        return ()
    found = Container.objects.filter(concentrate__in=wanted, place__station__isnull=False).exclude(pk=source.pk)
    only = found.filter(Q(contents_ml__gt=0), department=source.department_id)
    inventory = load_inventory(source.department, day, only.values("pk"))
    own = next(iter(only.filter(place__station=station).values_list("place__station__name", flat=True)[:1]), None)
    stores: dict[tuple[str, str], list[Item]] = {}
    for item in inventory.items:
        if item.where == STORE and item.state == COUNTS and item.counted_ml:
            stores.setdefault((item.concentrate, item.station), []).append(item)
    near = [_near(name, at, at == own, items) for (name, at), items in stores.items()]
    return tuple(sorted(near, key=lambda each: (not each.own_station, -each.ml, each.station))[:MOST_STORES])


def _near(concentrate: str, station: str, own: bool, items: list[Item]) -> Nearby:
    first = sorted(items, key=lambda item: (not item.sealed, str(item.through or ""), item.code))
    ml = sum(item.counted_ml for item in items)
    return Nearby(concentrate, station, own, len(items), ml, tuple(item.code for item in first[:_FEW]))
