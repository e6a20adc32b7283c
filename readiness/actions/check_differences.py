"""What a check measured beside the book is settled: it evaporated, it leaked, or water got in. Each is an entry."""

from __future__ import annotations

from enum import StrEnum
from typing import Any
from uuid import uuid5

from django.db import transaction

from readiness.actions import movements
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Line, MarkAs, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry
from readiness.actions.permissions import Acting, require
from readiness.actions.raised_deficiencies import raise_deficiency
from readiness.engineering.inventories import shared_among
from readiness.engineering.wording import volume_text
from readiness.models import Check, Container, Department, Holding
from readiness.models.movements import Account, Mark, MovementKind
from readiness.models.raised_deficiencies import Effect
from readiness.reports.check_sheets import beyond_the_gauge, read_ml, two_disagree


class Cause(StrEnum):
    """Why a container reads otherwise than the book."""

    EVAPORATED = "evaporated"
    LEAKED = "leaked"
    GAINED = "gained"


MAY = {Cause.EVAPORATED: "use", Cause.LEAKED: "use", Cause.GAINED: "mark mixed"}


def settle_difference(
    department: Department,
    *,
    check: Check,
    container: Container,
    cause: Cause,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Posted:
    """Book what a check read, so that book and tank agree. Raises Refused; then nothing has changed.

    A leak is raised as a deficiency as well. Water that got in is out of the count until sampled. One check settles a
    container once: a second tap does nothing, another cause is refused.
    """
    require(acting, department, MAY[cause])
    with transaction.atomic():
        row = Container.objects.select_for_update().get(pk=container.pk, department=department)
        reading = check.readings.filter(container=row).first()
        ml = read_ml(reading.ml, reading.stick_ml) if reading else None
        if check.department_id != department.pk or reading is None or ml is None or reading.book_ml is None:
            raise Refused(f"{row} was not measured in that check: read it first.")
        entry = Entry(
            department,
            acting,
            clock,
            id=uuid5(check.pk, f"difference of container {row.pk}"),
            happened_at=check.finished_at,
            reason=f"{cause}, measured at the check of {check.unit}",
        )
        if two_disagree(reading):
            raise Refused(f"Gauge and stick of {row} disagree: have both read once more before anything is booked.")
        off = ml - reading.book_ml
        _refuse(department, row, off, reading.book_ml, cause, entry)
        posted = _gain(entry, row, off) if cause == Cause.GAINED else _loss(entry, row, -off, cause)
        if cause == Cause.LEAKED and not posted.again:
            _raise(entry, check, row, volume_text(-off, department.units))
    return posted


def _refuse(department: Department, row: Container, off: int, book_ml: int, cause: Cause, entry: Entry) -> None:
    known = department.movements.filter(pk=entry.id).first() if entry.id else None
    if known is not None:
        if known.reason != entry.reason:
            raise Refused(f"That difference of {row} was settled already: {known.reason}. Correct that entry instead.")
        return
    if not beyond_the_gauge(book_ml + off, book_ml, row.resolution_ml):
        raise Refused(f"{row} differs by no more than its gauge tells apart: there is nothing to settle.")
    if (off > 0) != (cause == Cause.GAINED):
        way = "more" if off > 0 else "less"
        raise Refused(f"“{cause}” was read, and {row} holds {way} than the book says: choose another cause.")
    if row.contents_ml != book_ml:
        now = volume_text(row.contents_ml, department.units)
        raise Refused(f"The book of {row} was changed since the check and says {now} by now: read it once more.")


def _loss(entry: Entry, row: Container, ml: int, cause: Cause) -> Posted:
    account = Account.LEAK if cause == Cause.LEAKED else Account.EVAPORATION
    return movements.use(entry, container=row, ml=ml, account=account)


def _gain(entry: Entry, row: Container, ml: int) -> Posted:
    """Water shared among the lots in it, and the mark that keeps it out of the count; never more than it takes."""
    held = dict(Holding.objects.filter(container=row).values_list("lot", "ml"))
    if not held:
        raise Refused(f"{row} is empty by the book: have the logistics officer enter what is in it.")
    gained = min(ml, row.capacity_ml - row.contents_ml)
    parts: dict[int, int] = shared_among(held, gained) if gained else {}
    lines: list[Line] = [
        line for lot, each in parts.items() for line in (Line(Account.GAIN, lot, -each), Line(row.pk, lot, each))
    ]
    draft = entry.draft(MovementKind.GAINED if gained else MovementKind.MARKED)
    marks = (MarkAs(row.pk, Mark.DILUTED, "yes"),)
    aside: dict[str, Any] = {"override": row.mixed or row.quarantined}
    return entry.post(draft._replace(lines=tuple(lines), marks=marks, **aside))


def _raise(entry: Entry, check: Check, row: Container, volume: str) -> None:
    raise_deficiency(
        entry.department,
        subject=row,
        words=f"leaks: {volume} gone by the check",
        effect=Effect.UNVERIFIED,
        check=check,
        acting=entry.acting,
        clock=entry.clock,
    )
