"""The one writer of the ledger.

1. Lock every container that the drafts touch, in the order of their ids, and only then look.
2. A movement whose id is in the book already is not posted again; with another body it is refused.
3. Apply each draft in turn to what the containers hold, refusing what cannot be.
4. Write holdings and containers, then lines, relocations and markings, and the headers last.

All of it happens in one transaction: either every draft is in the book, or none.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions.book import BATCH, Book
from readiness.actions.clock import CLOCK_SKEW, SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Draft, Refused, SameIdOtherBody
from readiness.actions.inserting import insert_rows
from readiness.actions.judging import judge_soon, units_at
from readiness.actions.permissions import Acting
from readiness.actions.progress import EVERY, Told, nobody
from readiness.models import Container, Department, Movement


class Posted(NamedTuple):
    """A movement in the book; `again` when it had been there before this call."""

    movement_id: UUID
    again: bool


def post(department: Department, draft: Draft, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Posted:
    """Post one movement. Raises Refused with a sentence; then nothing has changed."""
    return post_many(department, (draft,), acting=acting, clock=clock)[0]


def post_many(
    department: Department,
    drafts: Sequence[Draft],
    *,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
    judge: bool = True,
    unborn: Sequence[Container] = (),
    told: Told = nobody,
) -> list[Posted]:
    """Post movements in the order given, all or none. Raises Refused with a sentence; then nothing has changed.

    The units they touch are judged again after the commit, unless the caller sees to it for the whole department.
    unborn: containers that come into the book by these movements, numbered (inserting.number) and in no table yet;
    told: is told how far it is.
    """
    with transaction.atomic():
        book = Book(department, drafts, unborn)
        known = _known(drafts)
        now = clock.now()
        fresh: list[Draft] = []
        posted: list[Posted] = []
        for n, draft in enumerate(drafts):
            if not n % EVERY:
                told("rows checked against the book", n, len(drafts))
            again = draft.id in known
            if again:
                _same_body(draft, known[draft.id])
            else:
                _not_ahead(draft, now)
                _apply(book, draft)
                known[draft.id] = draft.digest
                fresh.append(draft)
            posted.append(Posted(draft.id, again))
        book.write(told)
        told("entries closed", 0, len(fresh))
        headers = [_header(department, draft, known[draft.id], acting, now) for draft in fresh]
        insert_rows(Movement, _HEADER, headers)
        if judge:
            judge_soon(department, units_at(book.places_touched), because=_because(fresh), clock=clock)
    return posted


def _apply(book: Book, draft: Draft) -> None:
    try:
        book.apply(draft)
    except Refused as refused:
        refused.draft = draft
        raise


def _because(fresh: Sequence[Draft]) -> str:
    """Why units are judged again, as their history will say it."""
    kinds = {str(draft.kind) for draft in fresh}
    return f"foam {kinds.pop()}" if len(kinds) == 1 else "entries in the book"


def _known(drafts: Sequence[Draft]) -> dict[UUID, str]:
    """Ids that are in the book, whichever department's: an id is used once in the world."""
    ids = [draft.id for draft in drafts]
    found: dict[UUID, str] = {}
    for start in range(0, len(ids), BATCH):
        rows = Movement.objects.filter(id__in=ids[start : start + BATCH]).order_by()
        found.update(rows.values_list("id", "body_sha256"))
    return found


def _same_body(draft: Draft, known: str) -> None:
    if draft.digest != known:
        raise SameIdOtherBody(
            f"An entry with the id {draft.id} is in the book already, with another content: nothing was changed."
        )


def _not_ahead(draft: Draft, now: datetime) -> None:
    if draft.happened_at > now + CLOCK_SKEW:
        raise Refused(
            f"{draft.happened_at:%Y-%m-%d %H:%M} UTC was read, which lies in the future: "
            f"it is {now:%Y-%m-%d %H:%M} UTC. Enter when it happened."
        )


_HEADER = (
    "id",
    "department_id",
    "kind",
    "happened_at",
    "recorded_at",
    "recorded_by_id",
    "identity",
    "device_id",
    "reason",
    "incident",
    "corrects_id",
    "partner_id",
    "body_sha256",
)


def _header(department: Department, draft: Draft, body: str, acting: Acting, now: datetime) -> tuple[Any, ...]:
    """The row of a movement, in the order of _HEADER."""
    return (
        draft.id,
        department.pk,
        str(draft.kind),
        draft.happened_at,
        now,
        acting.user.pk if acting.user else None,
        acting.identity,
        acting.device.pk if acting.device else None,
        draft.reason,
        draft.incident,
        draft.corrects,
        draft.partner,
        body,
    )
