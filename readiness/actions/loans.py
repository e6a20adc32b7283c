"""Lending to partner departments and borrowing from them. What is owed is a fold of the ledger (reports/loans.py).

1. Lent containers stand at the partner's place: they are ours, and count nowhere.
2. Volume that goes to a partner for good, or comes from one, goes to or from the account of partner departments, in a
   movement that names the partner: what went more than came is owed to us, what came more than went we owe.
3. Borrowed containers stand in our places and count there; `partner` on the container says whose they are.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from django.db import transaction

from readiness.actions import leaving
from readiness.actions.away import away
from readiness.actions.deliveries import Delivery, come_in
from readiness.actions.drafts import Draw, Move, Refused
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry, refuse_away
from readiness.actions.permissions import require
from readiness.actions.places import Owner, place_at
from readiness.engineering.wording import volume_text
from readiness.models import Container, Holding, Partner, Place
from readiness.models.movements import Account, MovementKind
from readiness.reports.loans import owed


class Back(NamedTuple):
    """A container that came back, and how much was in it; None: as it was lent."""

    container: Container
    ml: int | None = None


def lend(entry: Entry, *, containers: Sequence[Container]) -> Posted:
    """Containers go to the entry's partner and stay ours."""
    partner = _partner(entry, "move")
    refuse_away(containers)
    borrowed = [each for each in containers if each.partner_id is not None]
    if borrowed:
        raise Refused(f"{borrowed[0]} is borrowed from {borrowed[0].partner}: it is not ours to lend.")
    with transaction.atomic():
        place, _ = Place.objects.get_or_create(department=entry.department, partner=partner, compartment="")
        draft = entry.draft(MovementKind.MOVED)
        return entry.post(draft._replace(moves=tuple(Move(each.pk, each.place_id, place.pk) for each in containers)))


def give_volume(entry: Entry, *, container: Container, ml: int) -> Posted:
    """A volume goes to the partner out of one of our containers: lent, or given back of what was borrowed."""
    _partner(entry, "move")
    place = Container.objects.select_related("place").get(pk=container.pk).place
    if away(place):
        raise Refused(f"{container} stands at “{place}”: a volume is given out of a container that is here.")
    draft = entry.draft(MovementKind.MOVED)
    return entry.post(draft._replace(draws=(Draw(container.pk, Account.PARTNER, ml),)))


def take_back(entry: Entry, *, back: Sequence[Back], owner: Owner, compartment: str = "") -> Posted:
    """Lent containers come back. What is not in them any more is owed by volume from now on."""
    partner = _partner(entry, "move")
    lent = _lent(partner, [each.container for each in back])
    short = _missing(entry, back, lent)
    with transaction.atomic():
        place = place_at(entry, owner, compartment)
        draft = entry.draft(MovementKind.MOVED)
        return entry.post(
            draft._replace(
                draws=tuple(Draw(pk, Account.PARTNER, ml) for pk, ml in short.items()),
                moves=tuple(Move(pk, row.place_id, place.pk) for pk, row in lent.items()),
            )
        )


def borrow(entry: Entry, *, delivery: Delivery) -> Posted:
    """Containers of the partner's come, or volume of theirs into containers of ours: ours to use, and owed back."""
    partner = _partner(entry, "receive")
    return come_in(entry, delivery, Account.PARTNER, partner)[1]


def give_back(entry: Entry, *, containers: Sequence[Container]) -> Posted:
    """Containers go to the partner for good: their own, or others of a concentrate that is owed to them."""
    partner = _partner(entry, "move")
    refuse_away(containers)
    _refuse_not_owed(partner, containers)
    with transaction.atomic():
        draft = entry.draft(MovementKind.MOVED)
        posted = entry.post(
            draft._replace(
                draws=leaving.emptied_into(containers, Account.PARTNER), moves=leaving.out_of_the_book(containers)
            )
        )
        if not posted.again:
            leaving.retire(entry, containers)
        return posted


def replaced(entry: Entry, *, delivery: Delivery, kept: Sequence[Container]) -> Posted:
    """The partner gives other containers for what was lent; those that it keeps for good leave the book."""
    partner = _partner(entry, "receive")
    lent = list(_lent(partner, kept).values())
    with transaction.atomic():
        _, posted = come_in(entry, delivery, Account.PARTNER)
        if lent and not posted.again:
            own = entry._replace(id=None)
            gone = own.draft(MovementKind.MOVED)
            own.post(
                gone._replace(draws=leaving.emptied_into(lent, Account.PARTNER), moves=leaving.out_of_the_book(lent))
            )
            leaving.retire(entry, lent)
        return posted


def _partner(entry: Entry, action: str) -> Partner:
    require(entry.acting, entry.department, action)
    partner = entry.partner
    if partner is None or partner.department_id != entry.department.pk:
        raise Refused(f"There is no such partner of {entry.department}.")
    if partner.retired_on:
        raise Refused(f"{partner} is no partner any more since {partner.retired_on}.")
    return partner


def _lent(partner: Partner, containers: Sequence[Container]) -> dict[int, Container]:
    """The containers as they stand now, every one of them lent to the partner."""
    rows = Container.objects.filter(pk__in=[each.pk for each in containers], place__partner=partner)
    found = {row.pk: row for row in rows.select_related("department")}
    strange = [each for each in containers if each.pk not in found]
    if strange:
        raise Refused(f"{strange[0]} is not lent to {partner} by the book.")
    return found


def _missing(entry: Entry, back: Sequence[Back], lent: dict[int, Container]) -> dict[int, int]:
    """How much is not in each any more."""
    short: dict[int, int] = {}
    for container, ml in back:
        held = lent[container.pk].contents_ml
        if ml is None or ml == held:
            continue
        if ml > held:
            had, said = (volume_text(each, entry.department.units) for each in (held, ml))
            raise Refused(
                f"{said} was read in {container}, and it was lent with {had}: enter it as lent, and what is more as "
                "borrowed or as found."
            )
        short[container.pk] = held - ml
    return short


def _refuse_not_owed(partner: Partner, containers: Sequence[Container]) -> None:
    """Others' containers are not ours to give; our own go for good only against what is owed of that concentrate."""
    due = {row.concentrate_id for row in owed(partner.department, partner) if row.net_ml < 0}
    held = dict(
        Holding.objects.filter(container__in=[each.pk for each in containers]).values_list(
            "container", "lot__concentrate"
        )
    )
    for each in containers:
        if each.partner_id not in (None, partner.pk):
            raise Refused(f"{each} is borrowed from {each.partner}, and not from {partner}.")
        if each.partner_id is None and held.get(each.pk) not in due:
            what = each.concentrate or "nothing"
            raise Refused(f"{each} holds {what}, and none of that is owed to {partner}: lend it instead.")
