"""A container's life in words, and what it was at any past moment, folded from the ledger."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q

from readiness.engineering.wording import volume_text
from readiness.models import Concentrate, Container, Marking, Movement, MovementLine, Relocation
from readiness.models.movements import Mark
from readiness.models.organisation import PLACE_NAMED_BY


class Event(NamedTuple):
    """One movement as it concerns the container."""

    movement_id: UUID
    kind: str
    happened_at: datetime
    recorded_at: datetime
    by: str
    words: tuple[str, ...]
    reason: str
    corrects: UUID | None
    corrected_by: UUID | None
    contents_ml: int
    late: bool


class History(NamedTuple):
    """A container as of a moment: its events in the order recorded, and what they come to."""

    code: str
    as_of: datetime | None
    known_at: datetime | None
    events: tuple[Event, ...]
    contents_ml: int
    lots_ml: Mapping[str, int]
    place: str
    marks: Mapping[str, str]


LATE_S = 3600  # recorded more than an hour after it happened; from memory, unconfirmed


def history(container: Container, *, as_of: datetime | None = None, known_at: datetime | None = None) -> History:
    """What happened to a container until `as_of` (by when it happened) as far as recorded by `known_at`."""
    parts = _Parts(container, as_of, known_at)
    events = tuple(parts.event(movement) for movement in parts.movements)
    return History(
        code=container.code,
        as_of=as_of,
        known_at=known_at,
        events=events,
        contents_ml=parts.contents_ml,
        lots_ml={lot: ml for lot, ml in parts.lots_ml.items() if ml},
        place=parts.place,
        marks=dict(parts.marks),
    )


class _Parts:
    """The rows of one container's life, and the running fold over them."""

    def __init__(self, container: Container, as_of: datetime | None, known_at: datetime | None) -> None:
        self.units = container.department.units
        self.known_at = known_at
        self.lines = _grouped(
            MovementLine.objects.filter(movement__lines__container=container)
            .select_related("container", "lot__concentrate")
            .distinct()
        )
        self.relocations = _grouped(
            Relocation.objects.filter(container=container).select_related(*_PLACES).order_by("id")
        )
        self.markings = _grouped(Marking.objects.filter(container=container).order_by("id"))
        self.container = container
        self.concentrates = dict(
            Concentrate.objects.filter(department=container.department_id).values_list("id", "name")
        )
        self.contents_ml = 0
        self.lots_ml: dict[str, int] = defaultdict(int)
        self.place = "outside the book"
        self.marks: dict[str, str] = {}
        self.movements = self._movements(as_of, known_at)

    def _movements(self, as_of: datetime | None, known_at: datetime | None) -> list[Movement]:
        ids = {*self.lines, *self.relocations, *self.markings}
        chosen = Q(pk__in=ids)
        if as_of:
            chosen &= Q(happened_at__lte=as_of)
        if known_at:
            chosen &= Q(recorded_at__lte=known_at)
        return list(
            Movement.objects.filter(chosen).select_related("recorded_by", "corrected_by").order_by("recorded_at", "id")
        )

    def event(self, movement: Movement) -> Event:
        words = [*self._volumes(movement), *self._relocations(movement), *self._markings(movement)]
        return Event(
            movement_id=movement.pk,
            kind=movement.kind,
            happened_at=movement.happened_at,
            recorded_at=movement.recorded_at,
            by=str(movement.recorded_by) if movement.recorded_by else f"({movement.identity})",
            words=tuple(words),
            reason=movement.reason,
            corrects=movement.corrects_id,
            corrected_by=self._corrected_by(movement),
            contents_ml=self.contents_ml,
            late=(movement.recorded_at - movement.happened_at).total_seconds() > LATE_S,
        )

    def _corrected_by(self, movement: Movement) -> UUID | None:
        """The correction, as far as it was known by then."""
        later: Movement | None = getattr(movement, "corrected_by", None)
        if later is None or (self.known_at and later.recorded_at > self.known_at):
            return None
        return later.pk

    def _volumes(self, movement: Movement) -> list[str]:
        rows: list[MovementLine] = self.lines.get(movement.pk, [])
        words = []
        for line in rows:
            if line.container_id != self.container.pk:
                continue
            self.contents_ml += line.ml
            self.lots_ml[line.lot.batch] += line.ml
            others = {_name(other) for other in rows if other.lot_id == line.lot_id and other.ml * line.ml < 0}
            way = "from" if line.ml > 0 else "to"
            sign = "+" if line.ml > 0 else "−"
            volume = volume_text(abs(line.ml), self.units)
            words.append(f"{sign}{volume} of {line.lot} {way} {', '.join(sorted(others))}")
        return words

    def _relocations(self, movement: Movement) -> list[str]:
        words = []
        for each in self.relocations.get(movement.pk, []):
            self.place = str(each.to_place) if each.to_place else "outside the book"
            words.append(f"moved from {each.from_place or 'outside the book'} to {self.place}")
        return words

    def _markings(self, movement: Movement) -> list[str]:
        words = []
        for each in self.markings.get(movement.pk, []):
            new = self._value(each)
            self.marks[each.mark] = new
            words.append(_SENTENCES[Mark(each.mark)].format(new=new, not_="" if new == "yes" else "no longer "))
        return [word.strip() for word in words]

    def _value(self, marking: Marking) -> str:
        if marking.mark == Mark.CONCENTRATE:
            return self.concentrates.get(int(marking.new), "?") if marking.new else "nothing"
        return marking.new


_PLACES = tuple(f"{end}__{owner}" for end in ("from_place", "to_place") for owner in PLACE_NAMED_BY)
_SENTENCES = {
    Mark.SEALED: "{not_}sealed",
    Mark.OPENED_ON: "opened on {new}",
    Mark.MIXED: "{not_}mixed",
    Mark.DILUTED: "{not_}diluted",
    Mark.QUARANTINED: "{not_}quarantined",
    Mark.FLUSHED: "{not_}flushed and waiting for inspection",
    Mark.CONCENTRATE: "set aside for {new}",
}


def _name(line: MovementLine) -> str:
    return line.container.code if line.container else line.account


def _grouped(rows: object) -> dict[UUID, list]:  # type: ignore[type-arg]
    found: dict[UUID, list] = defaultdict(list)  # type: ignore[type-arg]
    for row in rows:  # type: ignore[attr-defined]
        found[row.movement_id].append(row)
    return found
