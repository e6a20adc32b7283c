"""What a lot reached: every container that holds or held any of it."""

from __future__ import annotations

from typing import NamedTuple

from django.db.models import Q, Sum

from readiness.models import Container, Lot, MovementLine


class Reached(NamedTuple):
    """A container that the lot went into: what it still holds of it, and whether it went through it."""

    container_id: int
    code: str
    place: str
    holds_ml: int
    passed_through_ml: int


def reached(lot: Lot) -> tuple[Reached, ...]:
    """Every container with a line of the lot; a tank it was poured into counts like the pail it came from."""
    went = MovementLine.objects.filter(lot=lot, container__isnull=False).values("container")
    sums = went.annotate(holds=Sum("ml"), went_in=Sum("ml", filter=Q(ml__gt=0)))
    by_container = {row["container"]: row for row in sums}
    rows = Container.objects.filter(pk__in=by_container).select_related(
        "place__station", "place__unit", "place__vehicle"
    )
    return tuple(
        Reached(
            container_id=row.pk,
            code=row.code,
            place=str(row.place or "outside the book"),
            holds_ml=by_container[row.pk]["holds"],
            passed_through_ml=(by_container[row.pk]["went_in"] or 0) - by_container[row.pk]["holds"],
        )
        for row in rows.order_by("code")
    )
