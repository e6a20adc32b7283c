"""What people do with concentrate. Each verb makes a draft; the ledger alone writes it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions import leaving, ledger
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Draft, Draw, Line, MarkAs, Move, Refused, new_id
from readiness.actions.ledger import Posted
from readiness.actions.permissions import Acting, require
from readiness.models import Container, Department, Holding, Lot, Movement, Partner, Place
from readiness.models.movements import Account, Mark, MovementKind
from readiness.models.organisation import PLACE_NAMED_BY

SPENT = {  # where volume may go when it is used or lost, and what the pages call it
    Account.INCIDENT: MovementKind.USED,
    Account.DRILL: MovementKind.USED,
    Account.FLOW_TEST: MovementKind.USED,
    Account.SAMPLE: MovementKind.USED,
    Account.LEAK: MovementKind.LOST,
    Account.EVAPORATION: MovementKind.LOST,
    Account.DISPOSAL: MovementKind.LOST,
    Account.PARTNER: MovementKind.USED,
    Account.INVENTORY_DIFFERENCE: MovementKind.LOST,
}


class Entry(NamedTuple):
    """Who enters something, when it happened, under which id: the same for every verb."""

    department: Department
    acting: Acting
    clock: Clock = SYSTEM_CLOCK
    id: UUID | None = None
    happened_at: datetime | None = None
    reason: str = ""
    incident: str = ""
    partner: Partner | None = None
    beside: str = ""  # a fingerprint of all that is entered under this id, where it is more than one movement

    @property
    def at(self) -> datetime:
        """When it happened: as entered, else now."""
        return self.happened_at or self.clock.now()

    def draft(self, kind: MovementKind) -> Draft:
        """An empty movement of this entry."""
        return Draft(
            self.id or new_id(),
            kind,
            self.at,
            reason=self.reason.strip(),
            incident=self.incident.strip(),
            partner=self.partner.pk if self.partner else None,
            beside=self.beside,
        )

    def post(self, draft: Draft) -> Posted:
        """Hand the draft to the ledger."""
        return ledger.post(self.department, draft, acting=self.acting, clock=self.clock)


def receive(entry: Entry, *, container: Container, lot: Lot, ml: int, place: Place | None = None) -> Posted:
    """Concentrate arrives from a supplier in a container that is new to the book or already in it."""
    require(entry.acting, entry.department, "receive")
    _positive(ml)
    draft = entry.draft(MovementKind.RECEIVED)
    moves = (Move(container.pk, container.place_id, place.pk),) if place and place.pk != container.place_id else ()
    return entry.post(
        draft._replace(
            lines=(Line(Account.SUPPLIER, lot.pk, -ml), Line(container.pk, lot.pk, ml)),
            moves=moves,
        )
    )


def pour(entry: Entry, *, source: Container, target: Container, ml: int, override: bool = False) -> Posted:
    """Load one container from another, a tank from a pail for instance.

    An override needs an officer and a reason; what must not meet is then recorded, and the target marked mixed.
    """
    if override:
        _may_override(entry)
    else:
        require(entry.acting, entry.department, "pour")
    draft = entry.draft(MovementKind.POURED)
    return entry.post(draft._replace(draws=(Draw(source.pk, target.pk, ml),), override=override))


def use(entry: Entry, *, container: Container, ml: int, account: Account, override: bool = False) -> Posted:
    """Concentrate leaves the department's containers: incident, drill, flow test, sample, leak, disposal.

    An override needs an officer and a reason: stock that the policy keeps out of drills was used in one.
    """
    if account not in SPENT:
        raise Refused(f"{account} was read: concentrate goes to one of {', '.join(SPENT)}.")
    require(entry.acting, entry.department, permission_for(account))
    if override:
        _may_override(entry)
    draft = entry.draft(SPENT[account])
    return entry.post(draft._replace(draws=(Draw(container.pk, account, ml),), override=override))


def _may_override(entry: Entry) -> None:
    require(entry.acting, entry.department, "override")
    if not entry.reason.strip():
        raise Refused("No reason was read: an officer who overrides says why.")


def permission_for(account: Account) -> str:
    """What is asked of who lets concentrate go there: to write off what is missing is to correct the book."""
    needs = {Account.DRILL: "drill", Account.DISPOSAL: "dispose", Account.INVENTORY_DIFFERENCE: "correct"}
    return needs.get(account, "use")


def move(entry: Entry, *, containers: Sequence[Container], place: Place) -> Posted:
    """Sealed or open, containers change place; what is in them stays in them."""
    require(entry.acting, entry.department, "move")
    refuse_away(containers)
    draft = entry.draft(MovementKind.MOVED)
    return entry.post(draft._replace(moves=tuple(Move(each.pk, each.place_id, place.pk) for each in containers)))


def refuse_away(containers: Sequence[Container]) -> None:
    """What is in transit or lent comes from there by a receipt or a return, and not by a plain move."""
    ids = [each.pk for each in containers]
    rows = Container.objects.filter(pk__in=ids).exclude(place__transfer=None, place__partner=None)
    for row in rows.select_related(*(f"place__{owner}" for owner in PLACE_NAMED_BY))[:1]:
        how = "receive or recall the transfer" if row.place and row.place.transfer_id else "enter its return"
        raise Refused(f"{row} is {row.place} by the book: {how} first.")


def correct(entry: Entry, *, movement: Movement) -> Posted:
    """Undo a movement by a further one that names it and gives a reason; what is right is then entered anew."""
    require(entry.acting, entry.department, "correct")
    if not entry.reason.strip():
        raise Refused("No reason was read: a correction says what was wrong.")
    known = Movement.objects.filter(corrects=movement).first()
    if known and known.pk != entry.id:
        raise Refused(f"This movement was corrected already ({known.reason}); a movement is corrected once.")
    if movement.department_id != entry.department.pk:
        raise Refused(f"There is no such movement in {entry.department}.")
    with transaction.atomic():
        posted = entry.post(_reversal(entry.draft(MovementKind.CORRECTED), movement))
        leaving.bring_back(entry, movement)
    return posted


def _reversal(draft: Draft, movement: Movement) -> Draft:
    lines = tuple(
        Line(line.container_id or Account(line.account), line.lot_id, -line.ml) for line in movement.lines.all()
    )
    moves = tuple(Move(each.container_id, each.to_place_id, each.from_place_id) for each in movement.relocations.all())
    marks = tuple(MarkAs(each.container_id, Mark(each.mark), each.old) for each in movement.markings.all())
    for each in movement.markings.select_related("container"):
        _unchanged_since(each.container, Mark(each.mark), each.new)
    return draft._replace(lines=lines, moves=moves, marks=marks, corrects=movement.pk, partner=movement.partner_id)


def _unchanged_since(container: Container, mark: Mark, new: str) -> None:
    later = container.markings.filter(mark=mark.value).order_by("-id").first()
    if later is not None and later.new != new:
        raise Refused(f"{container} was marked again since ({mark.value}): correct the later entry first.")


def open_container(entry: Entry, *, container: Container) -> Posted:
    """The seal is broken: from this day the opened limit counts."""
    require(entry.acting, entry.department, "open")
    if not container.sealed:
        raise Refused(f"{container} is open already.")
    day = calendar_day_of(entry.department, entry.at).isoformat()
    return _marked(entry, container, {Mark.SEALED: "no", Mark.OPENED_ON: day})


def mark_mixed(entry: Entry, *, container: Container) -> Posted:
    """Something that must not be in it is in it: out of the count until emptied, flushed and inspected."""
    require(entry.acting, entry.department, "mark mixed")
    _with_reason(entry, "says what got into it")
    return _marked(entry, container, {Mark.MIXED: "yes"})


def mark_diluted(entry: Entry, *, container: Container) -> Posted:
    """More was measured than the book has: water is getting in; out of the count until sampled."""
    require(entry.acting, entry.department, "mark mixed")
    _with_reason(entry, "says what was measured")
    return _marked(entry, container, {Mark.DILUTED: "yes"})


def empty(entry: Entry, *, container: Container, account: Account = Account.DISPOSAL) -> Posted:
    """All that is in it leaves. Empty is not clean: flush and inspect are steps of their own."""
    require(entry.acting, entry.department, permission_for(account))
    held = dict(Holding.objects.filter(container=container).values_list("lot_id", "ml"))
    if not held:
        raise Refused(f"{container} is empty by the book already.")
    draft = entry.draft(SPENT[account])
    return entry.post(draft._replace(draws=(Draw(container.pk, account, sum(held.values())),)))


def flush(entry: Entry, *, container: Container) -> Posted:
    """Tank, foam pump, manifold, strainer and pick-up were flushed with clear water, the container being empty."""
    require(entry.acting, entry.department, "flush")
    if container.flushed:
        raise Refused(f"{container} is flushed already: inspect it.")
    return _marked(entry, container, {Mark.FLUSHED: "yes"})


def inspect(entry: Entry, *, container: Container) -> Posted:
    """An officer found it clean after the flush: it may take any concentrate again."""
    require(entry.acting, entry.department, "inspect")
    if not container.flushed:
        raise Refused(f"{container} has not been flushed since it was emptied: flush it before it is inspected.")
    marks = {Mark.CONCENTRATE: "", Mark.MIXED: "no", Mark.DILUTED: "no", Mark.FLUSHED: "no"}
    return _marked(entry, container, marks)


def quarantine(entry: Entry, *, container: Container) -> Posted:
    """Set aside: out of the count, nothing in or out, until released."""
    require(entry.acting, entry.department, "quarantine")
    _with_reason(entry, "says why it is set aside")
    return _marked(entry, container, {Mark.QUARANTINED: "yes"})


def release(entry: Entry, *, container: Container) -> Posted:
    """Back from quarantine, with the reason."""
    require(entry.acting, entry.department, "quarantine")
    _with_reason(entry, "says why it may be used again")
    return _marked(entry, container, {Mark.QUARANTINED: "no"})


def _marked(entry: Entry, container: Container, marks: dict[Mark, str]) -> Posted:
    draft = entry.draft(MovementKind.MARKED)
    return entry.post(draft._replace(marks=tuple(MarkAs(container.pk, mark, new) for mark, new in marks.items())))


def _with_reason(entry: Entry, what: str) -> None:
    if not entry.reason.strip():
        raise Refused(f"No reason was read: this entry {what}.")


def _positive(ml: int) -> None:
    if ml <= 0:
        raise Refused(f"{ml} mL was read: a volume received is more than nothing.")
