"""What a form or phone sends, under an id it minted: posted once, held with a reason, or refused with a sentence.

A body that cannot be read is refused (BadBody) and nothing is kept, so that the sender can mend it. A body that can be
read but does not fit the book is held whole for an officer: it says what happened in the world, and the book may be
what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import IntegrityError, transaction

from readiness.actions import movements
from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused, digest
from readiness.actions.ledger import Posted
from readiness.actions.movements import SPENT, Entry
from readiness.actions.permissions import Acting, require
from readiness.engineering.quantities import QuantityError, parse_quantity
from readiness.engineering.units import to_ml
from readiness.models import Container, Department, Lot, Movement, Place, Submission
from readiness.models.movements import Account, Identity
from readiness.models.submissions import Outcome


class BadBody(Exception):
    """The entry cannot be read; the text says which field, what was read and what would be right."""


class Sent(NamedTuple):
    """An entry as it arrived: its kind (a key of KINDS), its body (JSON), its id and the sender's time."""

    client_id: UUID
    kind: str
    body: Mapping[str, Any]
    device_at: datetime | None = None


class _Fields:
    """Reads the fields of a body, each with its own sentence when it is wrong."""

    def __init__(self, department: Department, body: Mapping[str, Any]) -> None:
        self.department = department
        self.body = body

    def container(self, name: str) -> Container:
        found = Container.objects.filter(department=self.department, code=self.text(name)).first()
        if found is None:
            raise BadBody(f"{name}: {self.text(name)!r} was read; no container has that label code.")
        return found

    def lot(self) -> Lot:
        rows = Lot.objects.filter(department=self.department, batch=self.text("lot"))
        if self.body.get("concentrate"):
            rows = rows.filter(concentrate__name__iexact=self.text("concentrate"))
        found = list(rows[:2])
        if len(found) != 1:
            many = "several lots have" if found else "no lot has"
            raise BadBody(f"lot: {self.text('lot')!r} was read; {many} that number (name the concentrate too).")
        return found[0]

    def place(self) -> Place:
        names = {key: self.text(key) for key in ("station", "unit", "vehicle") if self.body.get(key)}
        if len(names) != 1:
            raise BadBody("place: name one of station, unit, vehicle (and a compartment if there is one).")
        field = {"station": "station__name", "unit": "unit__designation", "vehicle": "vehicle__shop_no"}
        lookup = {field[key]: value for key, value in names.items()}
        compartment = str(self.body.get("compartment", ""))
        found = Place.objects.filter(department=self.department, compartment=compartment, **lookup).first()
        if found is None:
            raise BadBody(f"place: {', '.join(names.values())} {compartment} was read; there is no such place.")
        return found

    def ml(self) -> int:
        """A volume always comes with its unit as shown on the form: "5 gal", "19 L"."""
        try:
            quantity = parse_quantity(self.text("volume"), dimension="volume")
        except QuantityError as wrong:
            raise BadBody(f"volume: {wrong}") from wrong
        return to_ml(quantity.value, quantity.unit)

    def account(self) -> Account:
        read = self.text("account")
        if read not in SPENT:
            raise BadBody(f"account: {read!r} was read; write one of {', '.join(SPENT)}.")
        return Account(read)

    def text(self, name: str) -> str:
        read = self.body.get(name)
        if not isinstance(read, str) or not read.strip():
            raise BadBody(f"{name}: {read!r} was read; a text is needed.")
        return read.strip()

    def yes(self, name: str) -> bool:
        read = self.body.get(name, False)
        if not isinstance(read, bool):
            raise BadBody(f"{name}: {read!r} was read; true or false is needed.")
        return read


Handler = Callable[[Entry, _Fields], Callable[[], Posted]]


def _receive(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
    container, lot, ml = fields.container("container"), fields.lot(), fields.ml()
    return lambda: movements.receive(entry, container=container, lot=lot, ml=ml)


def _pour(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
    source, target, ml = fields.container("source"), fields.container("target"), fields.ml()
    override = fields.yes("override")
    return lambda: movements.pour(entry, source=source, target=target, ml=ml, override=override)


def _use(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
    container, ml, account = fields.container("container"), fields.ml(), fields.account()
    override = fields.yes("override")
    return lambda: movements.use(entry, container=container, ml=ml, account=account, override=override)


def _move(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
    container, place = fields.container("container"), fields.place()
    return lambda: movements.move(entry, containers=[container], place=place)


def _correct(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
    read = fields.text("movement")
    try:
        found = Movement.objects.filter(department=fields.department, pk=UUID(read)).first()
    except ValueError:
        found = None
    if found is None:
        raise BadBody(f"movement: {read!r} was read; no movement has that id.")
    return lambda: movements.correct(entry, movement=found)


def _on_container(verb: Callable[..., Posted]) -> Handler:
    def read(entry: Entry, fields: _Fields) -> Callable[[], Posted]:
        container = fields.container("container")
        return lambda: verb(entry, container=container)

    return read


KINDS: dict[str, Handler] = {
    "receive": _receive,
    "pour": _pour,
    "use": _use,
    "move": _move,
    "correct": _correct,
    "open": _on_container(movements.open_container),
    "mark mixed": _on_container(movements.mark_mixed),
    "mark diluted": _on_container(movements.mark_diluted),
    "empty": _on_container(movements.empty),
    "flush": _on_container(movements.flush),
    "inspect": _on_container(movements.inspect),
    "quarantine": _on_container(movements.quarantine),
    "release": _on_container(movements.release),
}


def submit(department: Department, sent: Sent, *, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Submission:
    """Post an entry once. Returns the kept submission (posted or held). Raises BadBody or NotAllowed: nothing kept."""
    try:
        with transaction.atomic():
            return _submit(department, sent, acting, clock)
    except IntegrityError:
        # The same entry arrived twice in one instant: the other copy has been kept while this one waited.
        same = {"client_id": sent.client_id, "body_sha256": _body_digest(sent)}
        kept = Submission.objects.filter(department=department, **same).first()
        if kept is None:
            raise
        return kept


def _body_digest(sent: Sent) -> str:
    return digest([sent.kind, dict(sent.body)])


def _submit(department: Department, sent: Sent, acting: Acting, clock: Clock) -> Submission:
    body = _body_digest(sent)
    kept = list(Submission.objects.filter(department=department, client_id=sent.client_id))
    for each in kept:
        if each.body_sha256 == body:
            return each
    entry = _entry(department, sent.client_id, sent.body, sent.device_at, acting, clock)
    action = _readable(department, sent, entry)
    submission = Submission(
        department=department,
        client_id=sent.client_id,
        kind=sent.kind,
        body=dict(sent.body),
        body_sha256=body,
        sent_by=acting.user,
        identity=acting.identity,
        device=acting.device,
        device_at=sent.device_at,
        received_at=clock.now(),
        outcome=Outcome.HELD,
    )
    if kept:
        submission.why = (
            "An entry with this id came before with another content: both are kept, this one is not posted."
        )
        submission.save()
        return submission
    # The row goes in first: a copy arriving in the same instant then waits for it at the unique index.
    submission.save()
    _try_to_post(submission, action)
    return submission


def _entry(
    department: Department,
    client_id: UUID,
    body: Mapping[str, Any],
    device_at: datetime | None,
    acting: Acting,
    clock: Clock,
) -> Entry:
    return Entry(
        department,
        acting,
        clock,
        id=client_id,
        happened_at=_happened_at(body) or device_at,
        reason=str(body.get("reason", "")),
        incident=str(body.get("incident", "")),
    )


def _happened_at(body: Mapping[str, Any]) -> datetime | None:
    read = body.get("happened_at")
    if read is None:
        return None
    try:
        at = datetime.fromisoformat(read)
    except (TypeError, ValueError):
        at = None
    if at is None or at.tzinfo is None:
        raise BadBody(f"happened_at: {read!r} was read; write a date and time with its zone, 2026-06-15T06:00+00:00.")
    return at


def _readable(department: Department, sent: Sent, entry: Entry) -> Callable[[], Posted]:
    handler = KINDS.get(sent.kind)
    if handler is None:
        raise BadBody(f"kind: {sent.kind!r} was read; write one of {', '.join(KINDS)}.")
    return handler(entry, _Fields(department, sent.body))


def _try_to_post(submission: Submission, action: Callable[[], Posted]) -> None:
    try:
        with transaction.atomic():
            posted = action()
    except Refused as refused:
        submission.outcome, submission.why = Outcome.HELD, str(refused)
    else:
        submission.outcome, submission.why, submission.movement_id = Outcome.POSTED, "", posted.movement_id
    submission.save(update_fields=["outcome", "why", "movement"])


def settle(
    submission: Submission, *, acting: Acting, close_because: str = "", clock: Clock = SYSTEM_CLOCK
) -> Submission:
    """An officer tries a held entry again (the book may have been put right) or closes it with a reason."""
    department = submission.department
    require(acting, department, "settle")
    with transaction.atomic():
        held = Submission.objects.select_for_update().get(pk=submission.pk)
        if held.outcome != Outcome.HELD:
            raise Refused(f"This entry is {held.outcome} already.")
        now = clock.now()
        if close_because.strip():
            held.outcome, held.why = Outcome.CLOSED, close_because.strip()
        else:
            _post_again(held, clock)
        if held.outcome != Outcome.HELD:
            held.settled_by, held.settled_at = acting.user, now
        held.save()
        new = {"outcome": str(held.outcome), "why": held.why}
        record_changes(department, acting, now, [Changed("settle", held, {"outcome": "held"}, new)])
    return held


def _post_again(held: Submission, clock: Clock) -> None:
    """In the sender's name: they say what happened, the officer only that the book is right now."""
    acting = Acting(held.sent_by, Identity(held.identity), held.device)
    entry = _entry(held.department, held.client_id, held.body, held.device_at or held.received_at, acting, clock)
    action = _readable(held.department, Sent(held.client_id, held.kind, held.body), entry)
    _try_to_post(held, action)
