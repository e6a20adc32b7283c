"""What the book has of many containers, each at a moment of its own: as it is now, with what came later taken back.

By when things happened, so that an entry that comes in late finds its place. A correction counts from the moment of
what it corrects: the book of that moment had been wrong. The number of queries grows only with how often corrections
were corrected in turn.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple, TypeVar
from uuid import UUID

from django.db.models import Q

from readiness.models import Container, Marking, Movement, MovementLine, Relocation
from readiness.models.movements import Mark

T = TypeVar("T")
_BATCH = 500
_SKEW = timedelta(minutes=10)  # how far a phone's clock may run ahead, as actions/clock.py has it


class Then(NamedTuple):
    """A container by the book at a moment."""

    ml: int
    place_id: int | None
    sealed: bool


class BookThen:
    """The book of some containers, to be asked for any moment from `since` on."""

    def __init__(self, containers: Collection[int], since: datetime) -> None:
        self.now: dict[int, Then] = {}
        self.lines: dict[int, list[tuple[UUID, int]]] = defaultdict(list)
        self.moves: dict[int, list[tuple[UUID, int | None]]] = defaultdict(list)
        self.seals: dict[int, list[tuple[UUID, str]]] = defaultdict(list)
        self.movements: dict[UUID, tuple[datetime, UUID | None]] = {}
        for part in _batches(sorted(containers)):
            self._read(part, since)
        self._read_roots()

    def at(self, container: int, moment: datetime) -> Then:
        """The container as it was."""
        now = self.now[container]
        ml = now.ml - sum(ml for movement, ml in self.lines[container] if self._happened(movement) > moment)
        place, sealed = now.place_id, now.sealed
        for movement, before in reversed(self.moves[container]):
            place = before if self._happened(movement) > moment else place
        for movement, old in reversed(self.seals[container]):
            sealed = old == "yes" if self._happened(movement) > moment else sealed
        return Then(ml, place, sealed)

    def _read(self, containers: Sequence[int], since: datetime) -> None:
        rows = Container.objects.filter(pk__in=containers).order_by()
        columns = rows.values_list("pk", "contents_ml", "place", "sealed")
        self.now.update((pk, Then(ml, place, sealed)) for pk, ml, place, sealed in columns)
        late = Q(movement__happened_at__gt=since) | Q(movement__recorded_at__gte=since - _SKEW)
        asked = late & Q(container__in=containers)
        of = ("container", "movement", "movement__happened_at", "movement__corrects")
        for pk, movement, happened, corrects, ml in MovementLine.objects.filter(asked).values_list(*of, "ml"):
            self.lines[pk].append((movement, ml))
            self.movements[movement] = happened, corrects
        moves = Relocation.objects.filter(asked).order_by("id")
        for pk, movement, happened, corrects, place in moves.values_list(*of, "from_place"):
            self.moves[pk].append((movement, place))
            self.movements[movement] = happened, corrects
        seals = Marking.objects.filter(asked, mark=Mark.SEALED.value).order_by("id")
        for pk, movement, happened, corrects, old in seals.values_list(*of, "old"):
            self.seals[pk].append((movement, old))
            self.movements[movement] = happened, corrects

    def _read_roots(self) -> None:
        """What was corrected, and what that had corrected, until nothing is missing."""
        while missing := {of for _, of in self.movements.values() if of and of not in self.movements}:
            for part in _batches(sorted(missing)):
                rows = Movement.objects.filter(pk__in=part).order_by().values_list("pk", "happened_at", "corrects")
                self.movements.update((pk, (happened, corrects)) for pk, happened, corrects in rows)

    def _happened(self, movement: UUID) -> datetime:
        happened, corrects = self.movements[movement]
        return self._happened(corrects) if corrects else happened


def _batches(ids: Sequence[T]) -> Iterator[Sequence[T]]:
    """So many at once as every database takes in a question."""
    return (ids[start : start + _BATCH] for start in range(0, len(ids), _BATCH))
