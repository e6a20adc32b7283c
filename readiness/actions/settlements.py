"""The common pile after a joint incident, settled by counting empties per owner.

1. Whose engine drew the pile used the foam. Drawn by ours: what our pails gave was used at the incident, and what a
   partner's gave is owed back to them. Drawn by a partner's: what our pails gave is owed to us; theirs is theirs.
2. Which of our containers were emptied is the person's to say. What cannot be told is kept as an open question.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions import leaving
from readiness.actions.changes import Changed, record_changes
from readiness.actions.deliveries import NewLot, find_lot
from readiness.actions.drafts import Line, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry, refuse_away
from readiness.actions.permissions import require
from readiness.models import Concentrate, Container, Lot, Partner, Settlement, SettlementRow, Unit
from readiness.models.movements import Account, MovementKind

MOST_EMPTIES = 1_000  # of one owner and size: above it a figure slipped; common practice, no source


class PileRow(NamedTuple):
    """Empties of one owner. Ours: a unit and the containers that were emptied; a partner's: the partner and perhaps the
    lot; nobody's: neither. already: how many of them the book has as emptied at this incident."""

    concentrate: Concentrate
    kind: str
    size_ml: int
    counted: int
    unit: Unit | None = None
    partner: Partner | None = None
    containers: tuple[Container, ...] = ()
    already: int = 0
    lot: Lot | None = None


class Pile(NamedTuple):
    """What lay beside the engine. drawn_by: the partner whose engine drew it; None: ours did."""

    rows: tuple[PileRow, ...]
    drawn_by: Partner | None = None


def settle_pile(entry: Entry, pile: Pile) -> list[UUID]:
    """Book the pile. Returns the movements: ours first, then one for each partner. Raises Refused."""
    require(entry.acting, entry.department, "correct")
    _refuse_impossible(entry, pile)
    with transaction.atomic():
        made = Settlement.objects.create(
            department=entry.department,
            incident=entry.incident.strip(),
            drawn_by=pile.drawn_by,
            settled_by=entry.acting.user,
            happened_at=entry.at,
            settled_at=entry.clock.now(),
            note=entry.reason.strip(),
        )
        new = {"incident": made.incident, "empties": sum(row.counted for row in pile.rows)}
        record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("settle pile", made, None, new)])
        return _booked(entry, pile, made)


def _booked(entry: Entry, pile: Pile, made: Settlement) -> list[UUID]:
    """Post what each row says, and keep the rows with their movements."""
    posted: list[UUID] = []
    ours = _ours(entry, pile)
    if ours:
        posted.append(ours.movement_id)
    theirs: dict[int, UUID] = {}
    if pile.drawn_by is None:
        for partner in dict.fromkeys(row.partner for row in pile.rows if row.partner):
            own = entry._replace(id=None if posted else entry.id, partner=partner)
            theirs[partner.pk] = _theirs(own, [row for row in pile.rows if row.partner == partner]).movement_id
            posted.append(theirs[partner.pk])
    SettlementRow.objects.bulk_create(
        SettlementRow(
            settlement=made,
            unit=row.unit,
            partner=row.partner,
            kind=row.kind,
            size_ml=row.size_ml,
            concentrate=row.concentrate,
            counted=row.counted,
            booked=_answered(row),
            movement_id=theirs.get(row.partner.pk) if row.partner else ours and ours.movement_id if row.unit else None,
        )
        for row in pile.rows
    )
    return posted


def _answered(row: PileRow) -> int:
    """For how many of the empties it is known whose foam it was."""
    if row.partner:
        return row.counted
    return min(len(row.containers) + row.already, row.counted) if row.unit else 0


def _ours(entry: Entry, pile: Pile) -> Posted | None:
    """What our containers gave: used at the incident, or owed to us by the partner who drew it."""
    containers = [each for row in pile.rows for each in row.containers]
    if not containers:
        return None
    account = Account.PARTNER if pile.drawn_by else Account.INCIDENT
    draws = leaving.emptied_into(containers, account)
    own = entry._replace(partner=pile.drawn_by)
    return own.post(own.draft(MovementKind.USED)._replace(draws=draws))


def _theirs(entry: Entry, rows: Sequence[PileRow]) -> Posted:
    """What a partner's containers gave at our incident: from their account, and so owed back to them."""
    lines: list[Line] = []
    for row in rows:
        lot = _lot_of(entry, row)
        ml = row.counted * row.size_ml
        lines += [Line(Account.PARTNER, lot.pk, -ml), Line(Account.INCIDENT, lot.pk, ml)]
    return entry.post(entry.draft(MovementKind.USED)._replace(lines=tuple(lines)))


def _lot_of(entry: Entry, row: PileRow) -> Lot:
    """The lot that was read on the empties, else one that says nobody did."""
    if row.lot is not None:
        return row.lot
    batch = f"not read, of {row.partner}"[:60]
    known = Lot.objects.filter(department=entry.department, concentrate=row.concentrate, batch=batch).first()
    return known or find_lot(entry, NewLot(row.concentrate, batch, None))


def _refuse_impossible(entry: Entry, pile: Pile) -> None:
    if not entry.incident.strip():
        raise Refused("No incident number was read: a pile is settled for an incident.")
    if not pile.rows:
        raise Refused("No empties were read: count them by owner, size and concentrate.")
    for row in pile.rows:
        _refuse_row(entry, row)
    twice = [each for each, n in Counter(each for row in pile.rows for each in row.containers).items() if n > 1]
    if twice:
        raise Refused(f"{twice[0]} was read twice: each empty was one container.")
    refuse_away([each for row in pile.rows for each in row.containers])


def _refuse_row(entry: Entry, row: PileRow) -> None:
    records = [row.unit, row.partner, row.concentrate, row.lot, *row.containers]
    if any(record is not None and record.department_id != entry.department.pk for record in records):
        raise Refused(f"A record was read that is not {entry.department}’s: choose from the lists.")
    if not 1 <= row.counted <= MOST_EMPTIES:
        raise Refused(
            f"{row.counted} empties were read: from 1 to {MOST_EMPTIES:,} are believed of one owner and size."
        )
    if len(row.containers) + row.already > row.counted:
        raise Refused(
            f"{len(row.containers)} label codes were read for {row.unit} and {row.counted} empties were counted"
            f"{f', {row.already} of which are in the book already' if row.already else ''}: leave some out, or count "
            "again."
        )
    if row.lot is not None and row.lot.concentrate_id != row.concentrate.pk:
        raise Refused(f"{row.lot} was read for empties of {row.concentrate}: choose a lot of that concentrate.")
    for each in row.containers:
        if not each.contents_ml:
            raise Refused(f"{each} is empty by the book already: leave it out.")
        if each.concentrate_id != row.concentrate.pk:
            raise Refused(f"{each} holds {each.concentrate}, and its row says {row.concentrate}.")
