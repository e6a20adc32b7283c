"""What comes out of a device's queue: when it happened by the server's clock, and what became of it.

A form that is queued on a device is posted to its own page; here is kept only what a queue adds. Sent again, it
happened when it happened the first time it was sent, so that its body is the same and it is entered once.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Final, NamedTuple
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import F

from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused, digest
from readiness.actions.permissions import Acting
from readiness.models import Check, Department, QueuedEntry, Submission
from readiness.models.submissions import Outcome

HELD_FORM: Final = "form handed over"  # the kind of a submission that is a whole form
_SMALL_SKEW: Final = timedelta(seconds=60)  # a clock that is off by less is taken as right; common practice, no source
_LONGEST_SENTENCE: Final = 2000


class FromDevice(NamedTuple):
    """An entry as its device kept it. Times are those of the device's clock: when entered, and when sent."""

    id: UUID
    whose: str  # the sign-in under which it was made
    address: str
    device_at: datetime
    sent_at: datetime


def take_from_queue(
    department: Department, sent: FromDevice, *, acting: Acting, clock: Clock = SYSTEM_CLOCK
) -> QueuedEntry:
    """The row of an entry, made when it is first sent. Raises Refused where somebody else sent that number."""
    now = clock.now()
    row = QueuedEntry.objects.filter(department=department, client_id=sent.id).first()
    if row is None:
        row = _first(department, sent, acting, now)
    else:
        QueuedEntry.objects.filter(pk=row.pk).update(times=F("times") + 1, last_at=now)
    if row.whose != sent.whose:
        raise Refused("An entry of this number was sent under another sign-in: open the form anew and enter it there.")
    return row


def _first(department: Department, sent: FromDevice, acting: Acting, now: datetime) -> QueuedEntry:
    facts = {
        "whose": sent.whose,
        "sent_by": acting.user,
        "device": acting.device,
        "address": sent.address[:200],
        "device_at": sent.device_at,
        "skew_s": _skew_s(sent, now),
        "happened_at": None if was_entered(department, sent.id) else happened_at(sent, now),
        "first_at": now,
        "last_at": now,
    }
    try:
        with transaction.atomic():
            return QueuedEntry.objects.create(department=department, client_id=sent.id, **facts)
    except IntegrityError:  # the same entry came twice in one instant
        return QueuedEntry.objects.get(department=department, client_id=sent.id)


def _skew_s(sent: FromDevice, now: datetime) -> int:
    """The server's clock less the device's [s], within what the column holds."""
    return max(-(2**31), min(2**31 - 1, round((now - sent.sent_at).total_seconds())))


def happened_at(sent: FromDevice, now: datetime) -> datetime:
    """The device's time by the server's clock: put right where the device's is off; never after now.

    A device that had lost its clock makes an entry too old, which makes no unit ready.
    """
    off = now - sent.sent_at
    at = sent.device_at + off if abs(off) >= _SMALL_SKEW else sent.device_at
    return min(at, now)


def was_entered(department: Department, number: UUID) -> bool:
    """Whether the book has an entry of that number, by whatever way it came."""
    posted = Submission.objects.filter(department=department, client_id=number, outcome=Outcome.POSTED)
    return posted.exists() or Check.objects.filter(department=department, pk=number).exists()


def came_directly(row: QueuedEntry) -> None:
    """The form itself reached the book while the queue sent it too: from now on the book's own time stands."""
    QueuedEntry.objects.filter(pk=row.pk).update(happened_at=None)


def note_outcome(row: QueuedEntry, outcome: str, said: str, *, acting: Acting) -> None:
    """Keep what became of an entry, and who sent it in the end."""
    facts: dict[str, Any] = {"outcome": outcome, "said": said[:_LONGEST_SENTENCE]}
    if acting.user is not None:
        facts |= {"sent_by": acting.user, "device": acting.device}
    QueuedEntry.objects.filter(pk=row.pk).update(**facts)


def hold_form(
    department: Department,
    sent: FromDevice,
    fields: Mapping[str, Any],
    *,
    why: str,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> Submission:
    """Keep a queued form whole for an officer. The same form twice is held once. Raises Refused once it is entered."""
    with transaction.atomic():
        row = take_from_queue(department, sent, acting=acting, clock=clock)
        if was_entered(department, sent.id):
            raise Refused("This entry is in the book already: nothing is left to hand over.")
        body = {"form": sent.address, **{name: value for name, value in fields.items() if value not in ("", [])}}
        facts = {
            "kind": HELD_FORM,
            "body": body,
            "sent_by": acting.user,
            "identity": acting.identity,
            "device": acting.device,
            "device_at": sent.device_at,
            "received_at": clock.now(),
            "outcome": Outcome.HELD,
            "why": why[:_LONGEST_SENTENCE],
        }
        held, _ = Submission.objects.get_or_create(
            department=department, client_id=sent.id, body_sha256=digest([HELD_FORM, body]), defaults=facts
        )
        note_outcome(row, "held", held.why, acting=acting)
    return held
