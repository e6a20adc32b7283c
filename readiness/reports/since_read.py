"""What the book says of a container since it was last read: a reading counts on, as foam is drawn and poured.

By when things happened, a correction counting from what it corrects (two deep). What was written off or gained since
only brings the book nearer to what had been read, or went after the reading: nobody knows which, so it stands apart.
Once the book says that the container was emptied, what was read before, unless it was above the book, says nothing of
what went in afterwards.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Final, NamedTuple

from django.db.models import Case, Exists, OuterRef, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from readiness.models import MovementLine
from readiness.models.movements import MovementKind

SINCE: Final = ("moved_since_ml", "found_since_ml", "received_since_ml", "emptied_since")
_FOUND: Final = (MovementKind.LOST, MovementKind.GAINED)
_RECEIVED: Final = (MovementKind.RECEIVED,)
_HAPPENED: Final = Coalesce(
    "movement__corrects__corrects__happened_at", "movement__corrects__happened_at", "movement__happened_at"
)


class Since(NamedTuple):
    """What was drawn and poured, what was written off or gained, and what was received [mL], more being above 0.

    ``emptied``: whether it held nothing at some moment after it was read.
    """

    moved_ml: int = 0
    found_ml: int = 0
    received_ml: int = 0
    emptied: bool = False


def since_read() -> dict[str, Case]:
    """The columns of SINCE for a query of containers; nothing is summed for what was never read."""
    lines = MovementLine.objects.filter(container=OuterRef("pk")).annotate(on=_HAPPENED)
    lines = lines.filter(on__gt=OuterRef("reading_at")).order_by()
    each = (
        lines.exclude(movement__kind__in=(*_FOUND, *_RECEIVED)),
        lines.filter(movement__kind__in=_FOUND),
        lines.filter(movement__kind__in=_RECEIVED),
    )
    return dict(zip(SINCE, (*map(_summed, each), _emptied(lines)), strict=True))


def _emptied(lines: QuerySet[MovementLine]) -> Case:
    """Whether all that it holds now came after one of these lines: nothing was left in it then."""
    later = MovementLine.objects.filter(container=OuterRef("container")).annotate(later=_HAPPENED)
    later = later.filter(later__gt=OuterRef("on")).order_by()
    came = Coalesce(Subquery(later.values("container").annotate(came_ml=Sum("ml")).values("came_ml")), 0)
    nothing_left = Exists(lines.annotate(came=came).filter(came=OuterRef("contents_ml")))
    return Case(When(reading_ml__isnull=False, then=nothing_left), default=Value(False))


def _summed(lines: QuerySet[MovementLine]) -> Case:
    total = Subquery(lines.values("container").annotate(ml_since=Sum("ml")).values("ml_since"))
    return Case(When(reading_ml__isnull=False, then=Coalesce(total, 0)), default=Value(0))


def since_read_then(read_at: Mapping[int, datetime], at: datetime, books_ml: Mapping[int, int]) -> dict[int, Since]:
    """The same up to a past moment, of containers by when each had been read last and by what they held then."""
    if not read_at:
        return {}
    found: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    moments: dict[int, dict[datetime, int]] = defaultdict(lambda: defaultdict(int))
    rows = MovementLine.objects.filter(
        container__isnull=False, movement__happened_at__gt=min(read_at.values()), movement__happened_at__lte=at
    )
    columns = rows.annotate(on=_HAPPENED).order_by().values_list("container", "movement__kind", "on", "ml")
    for container, kind, on, ml in columns.iterator(chunk_size=5000):
        if container in read_at and on > read_at[container]:
            found[container][1 if kind in _FOUND else 2 if kind in _RECEIVED else 0] += ml
            moments[container][on] += ml
    return {
        container: Since(moved_ml, found_ml, received_ml, _was_empty(moments[container], books_ml.get(container, 0)))
        for container, (moved_ml, found_ml, received_ml) in found.items()
    }


def _was_empty(moments: Mapping[datetime, int], book_ml: int) -> bool:
    """Whether the book says 0 at one of the moments, going back from what it says at the last."""
    for moment in sorted(moments, reverse=True):
        if book_ml == 0:
            return True
        book_ml -= moments[moment]
    return False
