"""The book folded again from nothing, beside what is kept: every difference, in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple
from uuid import UUID

from django.db.models import Sum, TextField
from django.db.models.functions import Cast

from readiness.models import Container, Department, Holding, Lot, Marking, Movement, MovementLine, Relocation, triggers
from readiness.models.movements import Mark


class Recount(NamedTuple):
    """What was folded, and every difference found (a sentence each); no difference means that the book is true."""

    movements: int
    lines: int
    containers: int
    differences: tuple[str, ...]


def recount(department: Department | None = None) -> Recount:
    """Fold lines, relocations and markings in the order recorded and compare with what is kept beside them."""
    containers = Container.objects.filter(**({"department": department} if department else {}))
    kept = {row.pk: row for row in containers}
    lines, volume = _volumes(kept)
    differences = [*triggers.census(), *volume, *_unbalanced(department), *_places(kept), *_marks(kept)]
    scope = {"department": department} if department else {}
    return Recount(Movement.objects.filter(**scope).count(), lines, len(kept), tuple(differences))


def _volumes(kept: dict[int, Container]) -> tuple[int, list[str]]:
    """Contents and holdings against the lines; also that no movement ever left less than zero or more than fits.

    One container after the other: its lines stand in the order of its lock, while between the lines of one movement
    another container's may have been written by somebody else.
    """
    folded: dict[tuple[int, int], int] = defaultdict(int)
    contents: dict[int, int] = defaultdict(int)
    wrong: list[str] = []
    count = 0
    for (container, movement), lines in groupby(_lines(), key=itemgetter(0, 1)):
        if container not in kept:
            continue
        for _, _, lot, ml in lines:
            folded[container, lot] += ml
            contents[container] += ml
            count += 1
        if not 0 <= contents[container] <= kept[container].capacity_ml:
            wrong.append(f"{kept[container]} came to {contents[container]} mL with movement {UUID(movement)}.")
    return count, wrong + _against_holdings(kept, folded) + _against_contents(kept, contents)


def _lines() -> Iterator[tuple[int, str, int, int]]:
    """Container, movement, lot and ml; the movement's id as text: making ids of them takes a third of all the time."""
    rows = MovementLine.objects.filter(container__isnull=False).order_by("container_id", "id")
    as_text = rows.annotate(text=Cast("movement_id", TextField()))
    return as_text.values_list("container_id", "text", "lot_id", "ml").iterator(chunk_size=5000)


def _against_holdings(kept: dict[int, Container], folded: dict[tuple[int, int], int]) -> list[str]:
    holdings = dict.fromkeys(folded, 0)
    for container, lot, ml in Holding.objects.values_list("container", "lot", "ml").iterator(chunk_size=5000):
        if container in kept:
            holdings[container, lot] = ml
    wrong = [(*of, ml, folded.get(of, 0)) for of, ml in sorted(holdings.items()) if folded.get(of, 0) != ml]
    batches = dict(Lot.objects.filter(pk__in={lot for _, lot, *_ in wrong}).values_list("pk", "batch"))
    return [
        f"{kept[container]} keeps {ml} mL of lot {batches[lot]}; its lines come to {lines} mL."
        for container, lot, ml, lines in wrong
    ]


def _against_contents(kept: dict[int, Container], contents: dict[int, int]) -> list[str]:
    return [
        f"{row} keeps {row.contents_ml} mL; its lines come to {contents.get(pk, 0)} mL."
        for pk, row in kept.items()
        if row.contents_ml != contents.get(pk, 0)
    ]


def _unbalanced(department: Department | None) -> list[str]:
    rows = MovementLine.objects.filter(**({"movement__department": department} if department else {}))
    sums = rows.values("movement", "lot__batch", "lot").annotate(total=Sum("ml")).exclude(total=0)
    return [
        f"Movement {row['movement']} does not sum to zero for lot {row['lot__batch']}: {row['total']} mL."
        for row in sums
    ]


def _places(kept: dict[int, Container]) -> list[str]:
    at: dict[int, int | None] = {}
    wrong = []
    rows = Relocation.objects.order_by("id").values_list("container", "from_place", "to_place")
    for container, from_place, to_place in rows.iterator(chunk_size=5000):
        if container not in kept:
            continue
        if at.get(container) != from_place:
            wrong.append(f"{kept[container]} was moved from a place where it was not.")
        at[container] = to_place
    wrong += [
        f"{row} is kept at another place than its last relocation."
        for pk, row in kept.items()
        if row.place_id != at.get(pk)
    ]
    return wrong


def _marks(kept: dict[int, Container]) -> list[str]:
    folded: dict[tuple[int, str], str] = {}
    for container, mark, new in Marking.objects.order_by("id").values_list("container", "mark", "new").iterator():
        folded[container, mark] = new
    return [
        f"{row} is kept as {mark.value} {kept_as!r}; its markings say {folded.get((pk, mark.value), _START[mark])!r}."
        for pk, row in kept.items()
        for mark in Mark
        if (kept_as := mark_of(row, mark)) != folded.get((pk, mark.value), _START[mark])
    ]


_START = {mark: "" if mark in (Mark.CONCENTRATE, Mark.OPENED_ON) else "no" for mark in Mark}


def mark_of(row: Container, mark: Mark) -> str:
    """A container's mark as the ledger writes it: yes or no, an ISO date, a concentrate's id, or empty."""
    if mark is Mark.CONCENTRATE:
        return str(row.concentrate_id or "")
    if mark is Mark.OPENED_ON:
        return row.opened_on.isoformat() if row.opened_on else ""
    return "yes" if getattr(row, mark.value) else "no"
