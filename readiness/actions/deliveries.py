"""A delivery: several containers at once, of a lot that may be new, into a place; one movement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Line, MarkAs, Move, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry
from readiness.actions.permissions import require
from readiness.actions.places import Owner, place_at
from readiness.engineering.dates import GoodThrough
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text
from readiness.models import Concentrate, Container, Lot, Place
from readiness.models.movements import Account, Mark, MovementKind


class NewLot(NamedTuple):
    """A batch that the book does not know yet."""

    concentrate: Concentrate
    batch: str
    label: GoodThrough | None


class Delivery(NamedTuple):
    """What came: so much in each of these containers. Kind, capacity and seal are of those that are new to the book."""

    codes: tuple[str, ...]
    each_ml: int
    lot: Lot | NewLot
    kind: str
    capacity_ml: int
    sealed: bool
    owner: Owner
    compartment: str = ""


def receive_delivery(entry: Entry, delivery: Delivery) -> Posted:
    """Take in a delivery. Containers that are in the book already are filled as they are. Raises Refused."""
    require(entry.acting, entry.department, "receive")
    _refuse_impossible(entry, delivery)
    with transaction.atomic():
        lot = _lot(entry, delivery.lot)
        place = place_at(entry, delivery.owner, delivery.compartment)
        known, new = _containers(entry, delivery)
        return _post(entry, delivery, lot, place, known, new)


def _refuse_impossible(entry: Entry, delivery: Delivery) -> None:
    units = entry.department.units
    if not delivery.codes:
        raise Refused("No label code was read: name each container that came.")
    if delivery.each_ml <= 0:
        raise Refused(f"{volume_text(delivery.each_ml, units)} was read: a volume received is more than nothing.")
    if delivery.each_ml > delivery.capacity_ml + tolerance_ml(1):
        raise Refused(
            f"{volume_text(delivery.each_ml, units)} in each was read, and each holds "
            f"{volume_text(delivery.capacity_ml, units)} when full: check both figures."
        )


def _lot(entry: Entry, asked: Lot | NewLot) -> Lot:
    if isinstance(asked, Lot):
        if asked.department_id != entry.department.pk:
            raise Refused(f"There is no such lot in {entry.department}.")
        return asked
    if asked.concentrate.department_id != entry.department.pk:
        raise Refused(f"There is no such concentrate in {entry.department}.")
    same = Lot.objects.filter(department=entry.department, concentrate=asked.concentrate, batch__iexact=asked.batch)
    known = same.first()
    if known is not None:
        raise Refused(f"{known} is in the book already: choose it from the list of lots instead of entering it anew.")
    made = Lot.objects.create(
        department=entry.department,
        concentrate=asked.concentrate,
        batch=asked.batch,
        makers_date=asked.label.day if asked.label else None,
        date_precision=asked.label.precision if asked.label else "day",
    )
    new = {"name": str(made), "makers_date": str(asked.label) if asked.label else None}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("make lot", made, None, new)])
    return made


def _containers(entry: Entry, delivery: Delivery) -> tuple[list[Container], list[Container]]:
    """Those that the book knows, and those that are made now."""
    rows = Container.objects.filter(department=entry.department)
    by_code = {row.code.casefold(): row for row in rows}
    known = [by_code[code.casefold()] for code in delivery.codes if code.casefold() in by_code]
    retired = [row.code for row in known if row.retired_on]
    if retired:
        raise Refused(f"{', '.join(retired)} was read: this container is retired; give the new one another label code.")
    new = [
        Container(department=entry.department, code=code, kind=delivery.kind, capacity_ml=delivery.capacity_ml)
        for code in delivery.codes
        if code.casefold() not in by_code
    ]
    made = Container.objects.bulk_create(new)
    changes = [Changed("make container", each, None, {"code": each.code, "kind": each.kind}) for each in made]
    record_changes(entry.department, entry.acting, entry.clock.now(), changes)
    return known, made


def _post(
    entry: Entry, delivery: Delivery, lot: Lot, place: Place, known: Sequence[Container], new: Sequence[Container]
) -> Posted:
    every = [*known, *new]
    each_ml = min(delivery.each_ml, delivery.capacity_ml)  # the two may differ by what rounding costs
    lines = [Line(Account.SUPPLIER, lot.pk, -each_ml * len(every)), *(Line(each.pk, lot.pk, each_ml) for each in every)]
    moves = tuple(Move(each.pk, each.place_id, place.pk) for each in every if each.place_id != place.pk)
    marks = tuple(MarkAs(each.pk, Mark.SEALED, "yes") for each in new if delivery.sealed)
    draft = entry.draft(MovementKind.RECEIVED)
    return entry.post(draft._replace(lines=tuple(lines), moves=moves, marks=marks))
