"""What the book says of a container since it was last read: a reading counts on, as foam is drawn and poured.

By when things happened, a correction counting from what it corrects (two deep). What was written off or gained since
only brings the book nearer to what had been read, or went after the reading: nobody knows which, so it stands apart.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Final, NamedTuple

from django.db.models import Case, OuterRef, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from readiness.models import MovementLine
from readiness.models.movements import MovementKind

SINCE: Final = ("moved_since_ml", "found_since_ml", "received_since_ml")
_FOUND: Final = (MovementKind.LOST, MovementKind.GAINED)
_RECEIVED: Final = (MovementKind.RECEIVED,)
_HAPPENED: Final = Coalesce(
    "movement__corrects__corrects__happened_at", "movement__corrects__happened_at", "movement__happened_at"
)


class Since(NamedTuple):
    """What was drawn and poured, what was written off or gained, and what was received [mL], more being above 0."""

    moved_ml: int = 0
    found_ml: int = 0
    received_ml: int = 0


def since_read() -> dict[str, Case]:
    """The columns of SINCE for a query of containers; nothing is summed for what was never read."""
    lines = MovementLine.objects.filter(container=OuterRef("pk")).annotate(on=_HAPPENED)
    lines = lines.filter(on__gt=OuterRef("reading_at")).order_by()
    each = (
        lines.exclude(movement__kind__in=(*_FOUND, *_RECEIVED)),
        lines.filter(movement__kind__in=_FOUND),
        lines.filter(movement__kind__in=_RECEIVED),
    )
    return dict(zip(SINCE, map(_summed, each), strict=True))


def _summed(lines: QuerySet[MovementLine]) -> Case:
    total = Subquery(lines.values("container").annotate(ml_since=Sum("ml")).values("ml_since"))
    return Case(When(reading_ml__isnull=False, then=Coalesce(total, 0)), default=Value(0))


def since_read_then(read_at: Mapping[int, datetime], at: datetime) -> dict[int, Since]:
    """The same up to a past moment, of containers by when each had been read last."""
    if not read_at:
        return {}
    found: dict[int, list[int]] = defaultdict(lambda: [0, 0, 0])
    rows = MovementLine.objects.filter(
        container__isnull=False, movement__happened_at__gt=min(read_at.values()), movement__happened_at__lte=at
    )
    columns = rows.annotate(on=_HAPPENED).order_by().values_list("container", "movement__kind", "on", "ml")
    for container, kind, on, ml in columns.iterator(chunk_size=5000):
        if container in read_at and on > read_at[container]:
            found[container][1 if kind in _FOUND else 2 if kind in _RECEIVED else 0] += ml
    return {container: Since(*each) for container, each in found.items()}
