"""Transfers in two steps: sent by one person, received by another; what did not come is kept until it is explained.

What is in transit stands at the transfer's own place. So the ledger alone says what was sent, what came and what is
still on the way, and a correction of any of it needs nothing else.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date
from typing import NamedTuple

from django.db import transaction

from readiness.actions import leaving
from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import calendar_day_of
from readiness.actions.drafts import Draw, Move, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry, refuse_away
from readiness.actions.permissions import require
from readiness.actions.places import Owner, place_at
from readiness.engineering.wording import volume_text
from readiness.models import Container, Place, Transfer, TransferDifference
from readiness.models.movements import Account, MovementKind

LATEST_DAYS = 366  # an expected day further ahead than a year is a slip of the pen; common practice, no source


class Came(NamedTuple):
    """A container that came, and how much was in it; None: as by the book."""

    container: Container
    ml: int | None = None


class Receipt(NamedTuple):
    """What the person at the destination found. missing: their words on what did not come."""

    came: tuple[Came, ...]
    unlisted: tuple[Container, ...] = ()
    missing: str = ""


def send(
    entry: Entry, *, containers: Sequence[Container], owner: Owner, compartment: str = "", expected_on: date
) -> Posted:
    """Containers leave for a store, a unit or a vehicle; they count nowhere until they are received there."""
    require(entry.acting, entry.department, "move")
    _expected(entry, expected_on)
    refuse_away(containers)
    with transaction.atomic():
        goal = place_at(entry, owner, compartment)
        for each in containers:
            if each.place_id == goal.pk:
                raise Refused(f"{each} is at {goal} already: leave it out.")
        sent = _made(entry, goal, expected_on)
        place = Place.objects.create(department=entry.department, transfer=sent, compartment=sent.destination)
        draft = entry.draft(MovementKind.MOVED)
        moves = tuple(Move(each.pk, each.place_id, place.pk) for each in containers)
        return entry.post(draft._replace(moves=moves))


def _expected(entry: Entry, day: date) -> None:
    sent = calendar_day_of(entry.department, entry.at)
    if not 0 <= (day - sent).days <= LATEST_DAYS:
        raise Refused(f"{day} was read as the day it is expected; it is sent on {sent}: write that day or a later one.")


def _made(entry: Entry, goal: Place, expected_on: date) -> Transfer:
    made = Transfer.objects.create(
        department=entry.department,
        station=goal.station,
        unit=goal.unit,
        vehicle=goal.vehicle,
        compartment=goal.compartment,
        sent_by=entry.acting.user,
        sent_at=entry.at,
        expected_on=expected_on,
        note=entry.reason.strip(),
    )
    new = {"to": made.destination, "expected_on": expected_on.isoformat()}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("send transfer", made, None, new)])
    return made


def receive(entry: Entry, *, transfer: Transfer, receipt: Receipt) -> Posted:
    """Somebody else than the sender says what came. What did not stays in transit, with their words kept."""
    require(entry.acting, entry.department, "receive transfer")
    if receipt.unlisted:
        require(entry.acting, entry.department, "move")
    with transaction.atomic():
        locked, on_the_way = _open(entry, transfer)
        _another_person(entry, locked)
        came = [_of(on_the_way, each.container, locked) for each in receipt.came]
        if not came:
            raise Refused("Nothing was read as come: tick what came. If all of it is lost, its sender enters that.")
        late = [each for each in on_the_way.values() if each.pk not in {row.pk for row in came}]
        if late and not receipt.missing.strip():
            raise Refused(f"{_names(late)} did not come and no word was read on it: say what is known of it.")
        refuse_away(receipt.unlisted)
        goal = _goal(entry, locked)
        draft = entry.draft(MovementKind.MOVED)
        short = _short(entry, receipt.came)
        moved = [*came, *receipt.unlisted]
        posted = entry.post(
            draft._replace(
                draws=tuple(Draw(each.pk, Account.LEAK, ml) for each, ml in short),
                moves=tuple(Move(each.pk, each.place_id, goal.pk) for each in moved),
            )
        )
        if not posted.again:
            _note(entry, locked, posted, late, short, receipt)
        return posted


def _open(entry: Entry, transfer: Transfer) -> tuple[Transfer, dict[int, Container]]:
    """The transfer under lock, and what is in transit of it now."""
    locked = Transfer.objects.select_for_update(of=("self",)).filter(department=entry.department, pk=transfer.pk)
    found = locked.select_related("station", "unit", "vehicle").first()
    if found is None:
        raise Refused(f"There is no such transfer in {entry.department}.")
    rows = Container.objects.filter(place__transfer=found).select_related("department").order_by("code")
    on_the_way = {row.pk: row for row in rows}
    if not on_the_way:
        raise Refused(f"Nothing of {found} is in transit any more: it was received, recalled or corrected.")
    return found, on_the_way


def _another_person(entry: Entry, transfer: Transfer) -> None:
    if entry.acting.user is not None and entry.acting.user.pk == transfer.sent_by_id:
        raise Refused(
            "You sent this transfer, so somebody else says what came. If you carry it yourself, recall it and enter "
            "a move."
        )


def _of(on_the_way: dict[int, Container], container: Container, transfer: Transfer) -> Container:
    found = on_the_way.get(container.pk)
    if found is None:
        raise Refused(f"{container} is not in transit with {transfer} any more: open the transfer again.")
    return found


def _goal(entry: Entry, transfer: Transfer) -> Place:
    owner = transfer.station or transfer.unit or transfer.vehicle
    assert owner is not None  # the table's own rule: it goes to one of the three
    return place_at(entry, owner, transfer.compartment)


def _short(entry: Entry, came: Sequence[Came]) -> list[tuple[Container, int]]:
    """Which came with less than the book has, and by how much."""
    found = []
    for container, ml in came:
        if ml is None or ml == container.contents_ml:
            continue
        if ml > container.contents_ml:
            had, said = (volume_text(each, entry.department.units) for each in (container.contents_ml, ml))
            raise Refused(
                f"{said} was read in {container}, and it was sent with {had}: receive it as by the book, then mark it "
                "diluted if something got in."
            )
        found.append((container, container.contents_ml - ml))
    return found


def _note(
    entry: Entry,
    transfer: Transfer,
    posted: Posted,
    late: Collection[Container],
    short: Collection[tuple[Container, int]],
    receipt: Receipt,
) -> None:
    """Keep each difference with its words."""
    units = entry.department.units
    said = [(each, f"did not come: {receipt.missing.strip()}") for each in late]
    said += [(each, f"came with {volume_text(ml, units)} less, booked as leaked") for each, ml in short]
    said += [(each, f"came unlisted, from {each.place or 'outside the book'}") for each in receipt.unlisted]
    _differences(entry, transfer, posted, said)


def _differences(entry: Entry, transfer: Transfer, posted: Posted, said: Sequence[tuple[Container, str]]) -> None:
    made = TransferDifference.objects.bulk_create(
        TransferDifference(
            transfer=transfer,
            container=container,
            what=words[:160],
            noted_by=entry.acting.user,
            noted_at=entry.clock.now(),
            movement_id=posted.movement_id,
        )
        for container, words in said
    )
    changes = [
        Changed("transfer difference", each, None, {"container": str(each.container), "what": each.what})
        for each in made
    ]
    record_changes(entry.department, entry.acting, entry.clock.now(), changes)


def recall(entry: Entry, *, transfer: Transfer) -> Posted:
    """What is still in transit goes back to where it came from: it was not sent after all, or was brought back."""
    require(entry.acting, entry.department, "move")
    if not entry.reason.strip():
        raise Refused("No reason was read: a recall says why it comes back.")
    with transaction.atomic():
        locked, on_the_way = _open(entry, transfer)
        draft = entry.draft(MovementKind.MOVED)
        moves = tuple(Move(each.pk, each.place_id, _came_from(each)) for each in on_the_way.values())
        posted = entry.post(draft._replace(moves=moves))
        if not posted.again:
            said = [(each, f"brought back: {entry.reason.strip()}") for each in on_the_way.values()]
            _differences(entry, locked, posted, said)
        return posted


def _came_from(container: Container) -> int:
    """The place it was sent from: where its last relocation began."""
    last = container.relocations.order_by("-id").values_list("from_place", flat=True)[0]
    if last is None:
        raise Refused(f"{container} was sent from outside the book: receive it, or correct the entry that sent it.")
    return int(last)


def lose(entry: Entry, *, transfer: Transfer, containers: Sequence[Container]) -> Posted:
    """What is in transit is lost for good: what was in it is written off, and it leaves the book."""
    require(entry.acting, entry.department, "correct")
    if not entry.reason.strip():
        raise Refused("No reason was read: what is lost on the way is explained.")
    with transaction.atomic():
        locked, on_the_way = _open(entry, transfer)
        lost = [_of(on_the_way, each, locked) for each in containers]
        draft = entry.draft(MovementKind.LOST)
        posted = entry.post(
            draft._replace(
                draws=leaving.emptied_into(lost, Account.INVENTORY_DIFFERENCE), moves=leaving.out_of_the_book(lost)
            )
        )
        if not posted.again:
            leaving.retire(entry, lost)
            _differences(entry, locked, posted, [(each, f"lost: {entry.reason.strip()}") for each in lost])
        return posted


def _names(containers: Sequence[Container]) -> str:
    few = ", ".join(str(each) for each in containers[:5])
    return few if len(containers) <= 5 else f"{few} and {len(containers) - 5} more"
