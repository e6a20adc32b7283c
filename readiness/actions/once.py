"""What a form asks for is done once, under the id that was minted when the form was drawn.

The form's body is kept in the same transaction as what it does. The same id with the same body again does nothing; with
another body it is refused with a sentence. What the book refuses leaves nothing behind, so that the form can be mended.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple
from uuid import UUID

from django.db import IntegrityError, transaction

from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import SameIdOtherBody, digest
from readiness.actions.permissions import Acting
from readiness.models import Department, Submission
from readiness.models.submissions import Outcome

Act = Callable[[], Sequence[UUID]]  # does it, and says which movements it posted


class Asked(NamedTuple):
    """What a form asks for: the id it minted, its kind, and its body (JSON)."""

    id: UUID
    kind: str
    body: Mapping[str, Any]


class Done(NamedTuple):
    """The first movement it posted, if any; `again` when it had been done before this call."""

    movement_id: UUID | None
    again: bool


def once(department: Department, asked: Asked, act: Act, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Done:
    """Do `act` and keep what was asked, both or neither. Raises Refused, NotAllowed, or SameIdOtherBody."""
    try:
        with transaction.atomic():
            return _once(department, asked, act, acting, clock)
    except IntegrityError:
        # The same form came twice in one instant: the other copy has been kept while this one waited.
        done = _done_before(department, asked)
        if done is None:
            raise
        return done


def _once(department: Department, asked: Asked, act: Act, acting: Acting, clock: Clock) -> Done:
    done = _done_before(department, asked)
    if done is not None:
        return done
    # The row goes in first: a copy arriving in the same instant then waits for it at the unique index.
    kept = Submission.objects.create(
        department=department,
        client_id=asked.id,
        kind=asked.kind,
        body=dict(asked.body),
        body_sha256=_body(asked),
        sent_by=acting.user,
        identity=acting.identity,
        device=acting.device,
        received_at=clock.now(),
        outcome=Outcome.POSTED,
    )
    movements = act()
    if movements:
        kept.movement_id = movements[0]
        kept.save(update_fields=["movement"])
    return Done(kept.movement_id, again=False)


def _body(asked: Asked) -> str:
    return digest([asked.kind, dict(asked.body)])


def _done_before(department: Department, asked: Asked) -> Done | None:
    rows = list(Submission.objects.filter(department=department, client_id=asked.id).order_by("id"))
    for row in rows:
        if row.body_sha256 == _body(asked):
            return Done(row.movement_id, again=True)
    if rows:
        raise SameIdOtherBody(
            "This form was confirmed before with another content, and that stands in the book: nothing was changed "
            "now. Correct that entry if it is wrong, or open the form anew for a further one."
        )
    return None
