"""A delivery: several containers of one lot, which may be new, into a place; one movement, and what the paper said.

Several lots that come together are a movement each, so that one can be corrected without the others; all or none.
What a partner lends comes in the same way, from the partner's account in place of the supplier's (actions/loans.py).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Line, MarkAs, Move, Refused, SameIdOtherBody, digest
from readiness.actions.keeping import Desk, plain
from readiness.actions.ledger import Posted
from readiness.actions.movements import Entry
from readiness.actions.permissions import require
from readiness.actions.places import Owner, place_at
from readiness.actions.supply import came_by_delivery
from readiness.engineering.dates import GoodThrough
from readiness.engineering.prices import minor_per_liter, minor_per_liter_of, minor_per_liter_together
from readiness.engineering.units import tolerance_ml
from readiness.engineering.wording import volume_text, volumes_text
from readiness.models import Concentrate, Container, Lot, Partner, Place
from readiness.models import Delivery as Kept
from readiness.models.deliveries import PricePer
from readiness.models.movements import Account, Mark, MovementKind


class NewLot(NamedTuple):
    """A batch that the book does not know yet: what its label says, and when it was made."""

    concentrate: Concentrate
    batch: str
    label: GoodThrough | None
    made: GoodThrough | None = None


class Price(NamedTuple):
    """A price as it stands on the paper, in hundredths of a currency."""

    minor: int
    per: PricePer
    currency: str

    def minor_per_l(self, each_ml: int) -> int:
        """What a liter costs, in hundredths; each_ml: what is in a container."""
        if self.per is PricePer.CONTAINER:
            return minor_per_liter(self.minor, each_ml)
        return minor_per_liter_of(self.minor, self.per.value)


class Paper(NamedTuple):
    """What order, delivery note and certificate say. turned_away: containers refused at the door."""

    order_reference: str = ""
    supplier: str = ""
    certificate: str = ""
    ordered: int | None = None
    turned_away: int = 0
    price: Price | None = None


class Delivery(NamedTuple):
    """What came: so much in each of these containers. Kind, capacity and seal are of those that are new to the book.

    owner: where it goes; None: containers that are in the book already stay where they are.

    damaged: codes among them of those that were taken in damaged; they are quarantined at once.
    """

    codes: tuple[str, ...]
    each_ml: int
    lot: Lot | NewLot
    kind: str
    capacity_ml: int
    sealed: bool
    owner: Owner | None
    compartment: str = ""
    damaged: tuple[str, ...] = ()


def receive_delivery(entry: Entry, delivery: Delivery, paper: Paper | None = None) -> Posted:
    """Take in a delivery. Containers that are in the book already are filled as they are. Raises Refused."""
    require(entry.acting, entry.department, "receive")
    with transaction.atomic():
        lot, posted = _take_in(entry, delivery, paper or Paper())
        if paper and not posted.again:
            _price_lot(entry, lot, [Arrived(delivery, paper)])
        return posted


class Arrived(NamedTuple):
    """A lot of a delivery, with what the papers say of it."""

    delivery: Delivery
    paper: Paper = Paper()


class LotsRefused(Refused):
    """Lots of one delivery that cannot come in: a sentence for each, by where it stands on the form, from 0."""

    def __init__(self, sentences: Mapping[int, str]) -> None:
        self.sentences = dict(sentences)
        super().__init__(" ".join(f"Lot {n + 1}: {said}" for n, said in self.sentences.items()))


def receive_lots(entry: Entry, arrived: Sequence[Arrived]) -> list[Posted]:
    """Take in several lots that came together, a movement each, all or none. Raises LotsRefused for those at fault.

    They are one body under one id, and of one moment: by it they are known as having come together.
    """
    require(entry.acting, entry.department, "receive")
    entry = entry._replace(clock=StoppedClock(entry.clock.now()), beside=_body(arrived))
    refused = _codes_twice(arrived)
    taken = _Taken()
    with transaction.atomic():
        for n, each in enumerate(arrived):
            own = entry if n == 0 else entry._replace(id=None)
            try:
                with transaction.atomic():
                    posted = taken.take(own, each)
            except SameIdOtherBody:
                raise
            except Refused as because:
                refused.setdefault(n, str(because))
            else:
                if posted.again:
                    return [posted]
        if refused:
            raise LotsRefused(refused)
        for lot, came in taken.lots.values():
            _price_lot(entry, lot, came)
    return taken.posted


def _body(arrived: Sequence[Arrived]) -> str:
    """A fingerprint of everything that came and of what the papers say of it."""
    owners = [type(each.delivery.owner).__name__ for each in arrived]  # a station and a unit may have one number
    return digest(plain([list(arrived), owners]))


class _Taken:
    """The lots of one delivery as they are taken in."""

    def __init__(self) -> None:
        self.posted: list[Posted] = []
        self.lots: dict[int, tuple[Lot, list[Arrived]]] = {}
        self.made: dict[tuple[int, str], tuple[NewLot, Lot]] = {}  # a new one may come in pails and in drums

    def take(self, entry: Entry, arrived: Arrived) -> Posted:
        """One of them. Called in a transaction of its own: what is refused is not remembered."""
        asked = arrived.delivery.lot
        lot, posted = _take_in(entry, arrived.delivery._replace(lot=self._lot(asked)), arrived.paper)
        came = [*self.lots.get(lot.pk, (lot, []))[1], arrived]
        _refuse_currencies(came)
        if isinstance(asked, NewLot):
            self.made.setdefault(_batch(asked), (asked, lot))
        self.lots[lot.pk] = lot, came
        self.posted.append(posted)
        return posted

    def _lot(self, asked: Lot | NewLot) -> Lot | NewLot:
        """What is asked for; of a batch that was new a moment ago, the lot that was made for it."""
        if isinstance(asked, Lot) or _batch(asked) not in self.made:
            return asked
        said, lot = self.made[_batch(asked)]
        if (said.label, said.made) != (asked.label, asked.made):
            raise Refused(f"Lot {asked.batch} was read before with other dates: a lot has one maker's date.")
        return lot


def _batch(new: NewLot) -> tuple[int, str]:
    return new.concentrate.pk, new.batch.casefold()


def _refuse_currencies(came: Sequence[Arrived]) -> None:
    """A lot is valued in one currency."""
    said = list(dict.fromkeys(each.paper.price.currency for each in came if each.paper.price))
    if len(said) > 1:
        raise Refused(
            f"A price in {said[1]} was read, and one of this lot in {said[0]} before: a lot has one currency."
        )


def _codes_twice(arrived: Sequence[Arrived]) -> dict[int, str]:
    """A container takes one lot of a delivery: a label code that is read again is a slip of the pen."""
    first: dict[str, int] = {}
    refused: dict[int, str] = {}
    for n, (delivery, _) in enumerate(arrived):
        for code in delivery.codes:
            before = first.setdefault(code.casefold(), n)
            if before != n:
                refused.setdefault(n, f"{code} was read here and in lot {before + 1}: a container takes one lot.")
    return refused


def _take_in(entry: Entry, delivery: Delivery, paper: Paper) -> tuple[Lot, Posted]:
    """Into the book, with its paper beside it; the price of the lot is left to the caller."""
    lot, posted = come_in(entry, delivery, Account.SUPPLIER)
    if not posted.again:
        _keep_paper(entry, delivery, lot, posted, paper)
    return lot, posted


def come_in(entry: Entry, delivery: Delivery, account: Account, owner: Partner | None = None) -> tuple[Lot, Posted]:
    """Containers come in full, from an account. owner: whose the new ones are, if not ours. Asked for by the caller."""
    _refuse_impossible(entry, delivery)
    with transaction.atomic():
        lot = find_lot(entry, delivery.lot)
        place = place_at(entry, delivery.owner, delivery.compartment) if delivery.owner else None
        known, new = _containers(entry, delivery, owner)
        homeless = [*new, *(row for row in known if row.place_id is None)]
        if place is None and homeless:
            raise Refused(f"No place was read, and {homeless[0]} stands nowhere yet: say where it goes.")
        return lot, _post(entry, delivery, account, lot, place, known, new)


def _refuse_impossible(entry: Entry, delivery: Delivery) -> None:
    units = entry.department.units
    if not delivery.codes:
        raise Refused("No label code was read: name each container that came.")
    if delivery.each_ml <= 0:
        raise Refused(f"{volume_text(delivery.each_ml, units)} was read: a volume received is more than nothing.")
    if delivery.each_ml > delivery.capacity_ml + tolerance_ml(1):
        read, full = volumes_text(delivery.each_ml, delivery.capacity_ml, units)
        raise Refused(f"{read} in each was read, and each holds {full} when full: check both figures.")
    came = {code.casefold() for code in delivery.codes}
    strange = [code for code in delivery.damaged if code.casefold() not in came]
    if strange:
        raise Refused(f"{', '.join(strange)} was read as damaged and is not among the label codes of what came.")


def find_lot(entry: Entry, asked: Lot | NewLot) -> Lot:
    """A lot of the book, or a new one made for what comes in. In the caller's transaction. Raises Refused."""
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
        made_on=asked.made.day if asked.made else None,
        made_precision=asked.made.precision if asked.made else "day",
        makers_date=asked.label.day if asked.label else None,
        date_precision=asked.label.precision if asked.label else "day",
    )
    new = {"name": str(made), "makers_date": str(asked.label) if asked.label else None}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("make lot", made, None, new)])
    return made


def _containers(entry: Entry, delivery: Delivery, owner: Partner | None) -> tuple[list[Container], list[Container]]:
    """Those that the book knows, and those that are made now."""
    rows = Container.objects.filter(department=entry.department)
    by_code = {row.code.casefold(): row for row in rows}
    known = [by_code[code.casefold()] for code in delivery.codes if code.casefold() in by_code]
    _take_up_again(entry, known, owner)
    new = [
        Container(
            department=entry.department,
            code=code,
            kind=delivery.kind,
            capacity_ml=delivery.capacity_ml,
            partner=owner,
        )
        for code in delivery.codes
        if code.casefold() not in by_code
    ]
    made = Container.objects.bulk_create(new)
    of = {"borrowed from": owner.name} if owner else {}
    changes = [Changed("make container", each, None, {"code": each.code, "kind": each.kind, **of}) for each in made]
    record_changes(entry.department, entry.acting, entry.clock.now(), changes)
    return known, made


def _take_up_again(entry: Entry, known: Sequence[Container], owner: Partner | None) -> None:
    """A partner's container that went back may be borrowed again; else a code that is retired is not taken."""
    retired = [row for row in known if row.retired_on]
    strange = [row.code for row in retired if owner is None or row.partner_id != owner.pk]
    if strange:
        raise Refused(f"{', '.join(strange)} was read: this container is retired; give the new one another label code.")
    changes = [
        Changed("bring back container", row, {"retired_on": str(row.retired_on)}, {"retired_on": None})
        for row in retired
    ]
    Container.objects.filter(pk__in=[row.pk for row in retired]).update(retired_on=None)
    record_changes(entry.department, entry.acting, entry.clock.now(), changes)


def _post(
    entry: Entry,
    delivery: Delivery,
    account: Account,
    lot: Lot,
    place: Place | None,
    known: Sequence[Container],
    new: Sequence[Container],
) -> Posted:
    every = [*known, *new]
    each_ml = min(delivery.each_ml, delivery.capacity_ml)  # the two may differ by what rounding costs
    lines = [Line(account, lot.pk, -each_ml * len(every)), *(Line(each.pk, lot.pk, each_ml) for each in every)]
    moves = tuple(Move(each.pk, each.place_id, place.pk) for each in every if place and each.place_id != place.pk)
    marks = [MarkAs(each.pk, Mark.SEALED, "yes") for each in new if delivery.sealed]
    damaged = {code.casefold() for code in delivery.damaged}
    marks += [MarkAs(each.pk, Mark.QUARANTINED, "yes") for each in every if each.code.casefold() in damaged]
    draft = entry.draft(MovementKind.RECEIVED)
    return entry.post(draft._replace(lines=tuple(lines), moves=moves, marks=tuple(marks)))


def _keep_paper(entry: Entry, delivery: Delivery, lot: Lot, posted: Posted, paper: Paper) -> None:
    price = paper.price
    kept = Kept.objects.create(
        department=entry.department,
        movement_id=posted.movement_id,
        lot=lot,
        order_reference=paper.order_reference.strip(),
        supplier=paper.supplier.strip(),
        certificate=paper.certificate.strip(),
        ordered=paper.ordered,
        turned_away=paper.turned_away,
        damaged=len(delivery.damaged),
        price_minor=price.minor if price else None,
        price_per=price.per.value if price else "",
        currency=price.currency if price else "",
    )
    new = {"order": kept.order_reference, "lot": str(lot), "containers": len(delivery.codes), "ordered": kept.ordered}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("receive delivery", kept, None, new)])
    if kept.order_reference:
        desk = Desk(entry.department, entry.acting, entry.clock)
        came_by_delivery(desk, kept.order_reference, lot.concentrate, len(delivery.codes))


def _price_lot(entry: Entry, lot: Lot, came: Sequence[Arrived]) -> None:
    """The lot's price is that of its latest delivery; the table of changes keeps what it was before.

    Pails and drums of one lot have a price each: the lot's is that of a liter of all that was priced.
    """
    priced = [(each.delivery, each.paper.price) for each in came if each.paper.price]
    if not priced:
        return
    currency = priced[0][1].currency
    minor_per_l = minor_per_liter_together(
        (price.minor_per_l(of.each_ml), of.each_ml * len(of.codes)) for of, price in priced
    )
    old = {"price_minor_per_l": lot.price_minor_per_l, "currency": lot.currency}
    new = {"price_minor_per_l": minor_per_l, "currency": currency}
    if old == new:
        return
    lot.price_minor_per_l, lot.currency = minor_per_l, currency
    lot.save(update_fields=["price_minor_per_l", "currency"])
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("price lot", lot, old, new)])
