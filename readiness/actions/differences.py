"""What an inventory found is explained, and each difference booked as a movement of its own.

The movement happened when it was counted first: the book had been wrong by then, and what was booked since stands. A
gain marks the container diluted; what was not found leaves the book until its movement is corrected; what was not in
the book comes in, and is quarantined while nobody knows its lot.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Final, NamedTuple

from django.db import transaction

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import SYSTEM_CLOCK, Clock, calendar_day_of
from readiness.actions.drafts import Draft, Draw, Line, MarkAs, Move, Refused
from readiness.actions.inventories import locked, result_of
from readiness.actions.ledger import Posted, post_many
from readiness.actions.movements import Entry
from readiness.actions.permissions import Acting, require
from readiness.actions.places import place_at
from readiness.engineering.inventories import above_limit, shared_among
from readiness.models import (
    Concentrate,
    Container,
    Count,
    CountMatch,
    Department,
    Holding,
    Inventory,
    InventoryPlace,
    InventoryResult,
    Lot,
    Place,
)
from readiness.models.containers import ContainerKind
from readiness.models.inventories import Explanation, Method, Stage, What
from readiness.models.movements import Account, Mark, MovementKind
from readiness.reports.inventories import Tally
from readiness.reports.variances import Difference, found_at, limits_of, variance

LOT_NOT_KNOWN: Final = "lot not known"
_ACCOUNTS: Final[Mapping[Explanation, Account]] = {
    Explanation.UNBOOKED_USE: Account.INCIDENT,
    Explanation.LEAK: Account.LEAK,
    Explanation.EVAPORATION: Account.EVAPORATION,
    Explanation.GAIN: Account.GAIN,
    Explanation.NOT_FOUND: Account.INVENTORY_DIFFERENCE,
    Explanation.OTHER: Account.INVENTORY_DIFFERENCE,
}


class Reason(NamedTuple):
    """Why a container differs. lot: of what came to a container that the book has empty; into: where it was poured."""

    explanation: Explanation
    words: str = ""
    lot: Lot | None = None
    into: Container | None = None


class _Facts:
    """What drafts of some containers are made from, read once however many there are."""

    def __init__(self, entry: Entry, tally: Tally, containers: Collection[int]) -> None:
        self.entry, self.tally = entry, tally
        self.rows = Container.objects.in_bulk(list(containers))
        self.held: dict[int, dict[int, int]] = defaultdict(dict)
        for container, lot, ml in Holding.objects.filter(container__in=containers).values_list(
            "container", "lot", "ml"
        ):
            self.held[container][lot] = ml
        self.counts = {each.pk: each for each in tally.counts}
        self._places: dict[tuple[int, str], Place] = {}

    def found_in(self, found: Difference) -> Place:
        """Where it was found."""
        count = self.counts[found.count_id]
        key = count.place_id, " ".join(count.compartment.split()).casefold()
        if key not in self._places:
            self._places[key] = _place(self.entry, count.place, count.compartment)
        return self._places[key]


def explain(entry: Entry, *, inventory: Inventory, container: Container, what: str, reason: Reason) -> Posted:
    """Book one difference of a confirmed inventory. Raises Refused with a sentence; then nothing has changed."""
    require(entry.acting, entry.department, "correct")
    with transaction.atomic():
        row = locked(entry.department, inventory, Stage.EXPLAINING, clock=entry.clock)
        _lock(entry.department, container)
        tally = Tally(row)
        found = _difference(tally, container, what)
        _accepted(entry, found, reason)
        if reason.explanation == Explanation.UNBOOKED_POUR:
            return _poured(entry, tally, found, reason)
        posted = entry.post(_draft(entry, _Facts(entry, tally, [container.pk]), found, reason))
        _keep(entry, tally, [(found, reason, posted)])
    return posted


Which = tuple[int, str]  # a container's id, and in what it differs


class DifferencesRefused(Refused):
    """Differences that cannot be booked as asked: a sentence for each."""

    def __init__(self, sentences: Mapping[Which, str]) -> None:
        self.sentences = dict(sentences)
        super().__init__(" ".join(self.sentences.values()))


def explain_many(entry: Entry, *, inventory: Inventory, reasons: Mapping[Which, Reason]) -> list[Posted]:
    """Book several differences of a confirmed inventory, a movement each, all or none.

    Raises DifferencesRefused with a sentence for each that cannot be; then nothing has changed.
    """
    require(entry.acting, entry.department, "correct")
    with transaction.atomic():
        row = locked(entry.department, inventory, Stage.EXPLAINING, clock=entry.clock)
        containers = sorted({container for container, _ in reasons})
        list(
            Container.objects.select_for_update().filter(department=entry.department, pk__in=containers).order_by("pk")
        )
        tally = Tally(row)
        found = {(each.container_id, each.what): each for each in variance(row, tally).differences}
        drafts = _drafts(entry, _Facts(entry, tally, containers), found, reasons)
        posted = _posted(entry, drafts)
        _keep(entry, tally, [(found[which], reasons[which], each) for which, each in zip(drafts, posted, strict=True)])
    return posted


def _drafts(
    entry: Entry, facts: _Facts, found: Mapping[Which, Difference], reasons: Mapping[Which, Reason]
) -> dict[Which, Draft]:
    drafts: dict[Which, Draft] = {}
    refused: dict[Which, str] = {}
    for which, reason in sorted(
        reasons.items(), key=lambda each: each[0][1] != What.SEAL
    ):  # a draw opens what it is of
        own = entry if not drafts else entry._replace(id=None)
        if reason.explanation != Explanation.UNBOOKED_USE:
            own = own._replace(incident="")
        try:
            drafts[which] = _draft_of_many(own, facts, found.get(which), reason)
        except Refused as because:
            refused[which] = str(because)
    if refused or not drafts:
        raise DifferencesRefused(refused) if refused else Refused("No explanation was read: choose one in a row.")
    return drafts


def _draft_of_many(entry: Entry, facts: _Facts, found: Difference | None, reason: Reason) -> Draft:
    if found is None:
        raise Refused("It does not differ in this any more: look at the list as it is now.")
    _accepted(entry, found, reason)
    if reason.explanation == Explanation.UNBOOKED_POUR:
        raise Refused(f"{found.code} was poured over: its own form asks into which container.")
    return _draft(entry, facts, found, reason)


def _posted(entry: Entry, drafts: Mapping[Which, Draft]) -> list[Posted]:
    try:
        return post_many(entry.department, list(drafts.values()), acting=entry.acting, clock=entry.clock)
    except Refused as because:
        at_fault = [which for which, draft in drafts.items() if draft is because.draft]
        if not at_fault:
            raise
        raise DifferencesRefused({at_fault[0]: str(because)}) from because


def _poured(entry: Entry, tally: Tally, found: Difference, reason: Reason) -> Posted:
    """What is missing in one container is too much in another: the lots go along, so that a recall finds them.

    As much as both differ by; what is left of either is explained by itself.
    """
    if reason.into is None:
        raise Refused("No label code was read: say into which container it was poured.")
    target = _difference(tally, reason.into, What.VOLUME)
    if target.difference_ml <= 0:
        raise Refused(f"{reason.into} has not more in it than the book: nothing was poured into it.")
    _accepted(entry, target, reason._replace(explanation=Explanation.OTHER))
    ml = min(-found.difference_ml, target.difference_ml)
    draft = entry.draft(MovementKind.POURED)._replace(
        happened_at=min(found.happened_at, target.happened_at),
        reason=_said(tally, reason),
        draws=(Draw(found.container_id, target.container_id, ml),),
    )
    posted = entry.post(draft)
    both = ((found, -ml), (target, ml))
    told = [each._replace(counted_ml=each.book_ml + off, value_minor=None, currency="") for each, off in both]
    _keep(entry, tally, [(each, reason, posted) for each in told])
    return posted


def _lock(department: Department, container: Container) -> None:
    """Nothing comes between looking at the book and writing to it."""
    if not Container.objects.select_for_update().filter(department=department, pk=container.pk).exists():
        raise Refused(f"There is no such container in {department}.")


def _difference(tally: Tally, container: Container, what: str) -> Difference:
    for each in variance(tally.inventory, tally).differences:
        if each.container_id == container.pk and each.what == what:
            return each
    raise Refused(f"{container} does not differ in its {what} any more: look at the list as it is now.")


def _accepted(entry: Entry, found: Difference, reason: Reason) -> None:
    if not found.confirmed:
        raise Refused(f"Only one person counted {found.code}: another one looks at it before it is booked.")
    if reason.explanation not in found.explanations:
        offered = ", ".join(each.label for each in found.explanations)
        raise Refused(f"“{reason.explanation}” was read: what explains this difference of {found.code} is {offered}.")
    if found.above_limit:
        require(entry.acting, entry.department, "sign above the limit")
    if not reason.words.strip() and (found.above_limit or reason.explanation == Explanation.OTHER):
        why = "the difference is above the policy’s limit" if found.above_limit else "“other” explains nothing"
        raise Refused(f"No words were read: {why}, so say what happened.")


def _draft(entry: Entry, facts: _Facts, found: Difference, reason: Reason) -> Draft:
    """The movement, which had happened when it was counted first."""
    said = _said(facts.tally, reason)
    account = _ACCOUNTS.get(reason.explanation)
    draft = entry.draft(_kind(found, account))._replace(happened_at=found.happened_at, reason=said)
    if found.what == What.SEAL:
        return draft._replace(marks=_opened(entry.department, found))
    if found.what == What.PLACE and not found.missing:
        return draft._replace(moves=(_to_where_found(facts, found),))
    assert account is not None  # every explanation of a volume has its account
    if found.difference_ml > 0:
        return _gained(draft, facts, found, account, reason)
    return _lost(draft, facts, found, account)


def _said(tally: Tally, reason: Reason) -> str:
    """The movement's remark names the inventory, the explanation and what was said."""
    words = f"{tally.inventory}: {reason.explanation.label}"
    return f"{words}. {reason.words.strip()}" if reason.words.strip() else words


def _kind(found: Difference, account: Account | None) -> MovementKind:
    if account is None:
        return MovementKind.MARKED if found.what == What.SEAL else MovementKind.MOVED
    if account == Account.INCIDENT:
        return MovementKind.USED
    if found.missing and not found.book_ml:
        return MovementKind.MOVED
    return MovementKind.GAINED if found.difference_ml > 0 else MovementKind.LOST


def _opened(department: Department, found: Difference) -> tuple[MarkAs, ...]:
    """Nobody knows when its seal broke: the opened limit counts from the day it was found."""
    day = calendar_day_of(department, found.happened_at).isoformat()
    return MarkAs(found.container_id, Mark.SEALED, "no"), MarkAs(found.container_id, Mark.OPENED_ON, day)


def _to_where_found(facts: _Facts, found: Difference) -> Move:
    return Move(found.container_id, facts.tally.then.now[found.container_id].place_id, facts.found_in(found).pk)


def _place(entry: Entry, place: InventoryPlace, compartment: str) -> Place:
    """Where it stands from now on: loose on a unit, which it goes along with, unless the vehicle has no unit."""
    owner = place.station or place.unit or place.vehicle
    assert owner is not None  # the table's own rule: a store or a rig
    return place_at(entry, owner, compartment)


def _lost(draft: Draft, facts: _Facts, found: Difference, account: Account) -> Draft:
    """What is not there any more; a container that was not found leaves its place as well, its seal as it was."""
    pk = found.container_id
    if not found.missing:
        return draft._replace(draws=(Draw(pk, account, -found.difference_ml),))
    held = facts.held[pk].items()
    lines = [line for lot, ml in held for line in (Line(pk, lot, -ml), Line(account, lot, ml))]
    here = facts.tally.then.now[pk].place_id
    moves = (Move(pk, here, None),) if here is not None else ()
    return draft._replace(lines=tuple(lines), moves=moves)


def _gained(draft: Draft, facts: _Facts, found: Difference, account: Account, reason: Reason) -> Draft:
    """More than the book had, shared among the lots in it; a gain is out of the count until sampled."""
    row, held = facts.rows[found.container_id], facts.held[found.container_id]
    if not held and reason.lot is None:
        raise Refused(f"{row} is empty by the book: say of which lot it is what is in it.")
    parts = {reason.lot.pk: found.difference_ml} if not held and reason.lot else shared_among(held, found.difference_ml)
    lines = [line for lot, ml in parts.items() for line in (Line(account, lot, -ml), Line(row.pk, lot, ml))]
    marks = (MarkAs(row.pk, Mark.DILUTED, "yes"),) if account == Account.GAIN else ()
    aside = row.mixed or row.quarantined  # what is set aside takes nothing in, but it was in it all the time
    return draft._replace(lines=tuple(lines), marks=marks, override=aside)


def _keep(entry: Entry, tally: Tally, booked: Sequence[tuple[Difference, Reason, Posted]]) -> None:
    """The lines of the result."""
    now = entry.clock.now()
    lines = InventoryResult.objects.bulk_create([_line(entry, tally, *each, now) for each in booked])
    news = [
        {"container": found.code, "what": found.what, "explanation": str(reason.explanation)}
        for found, reason, _ in booked
    ]
    changes = [Changed("explain a difference", line, None, new) for line, new in zip(lines, news, strict=True)]
    record_changes(entry.department, entry.acting, now, changes)


def _line(
    entry: Entry, tally: Tally, found: Difference, reason: Reason, posted: Posted, now: datetime
) -> InventoryResult:
    """A line of the result. Only one that says something of the volume has a counted volume."""
    made = result_of(
        tally.inventory,
        tally.things[found.container_id],
        What(found.what),
        entry.acting.user,
        now,
        book_ml=found.book_ml,
    )
    made.count_id, made.explanation, made.words = found.count_id, reason.explanation, reason.words.strip()
    made.counted_ml = found.counted_ml if found.what == What.VOLUME or found.missing else None
    made.value_minor, made.currency, made.above_limit = found.value_minor, found.currency, found.above_limit
    made.book_place, made.found_place = found.book_place, found.found_place
    made.movement_id = posted.movement_id
    return made


# -- what has no label of the book -------------------------------------------------------------------------------------


def _unmatched(tally: Tally, count: Count, acting: Acting) -> Count:
    """One that is still to be settled, and not by who counted it."""
    found = next((each for each in tally.unmatched if each.pk == count.pk), None)
    if found is None:
        raise Refused("This was settled already, or is no count of this inventory: look at the list as it is now.")
    if found.by_id == (acting.user.pk if acting.user else None):
        raise Refused("You counted it: another person looks at it and says which one it is.")
    return found


def match_count(
    department: Department,
    *,
    inventory: Inventory,
    count: Count,
    container: Container,
    acting: Acting,
    clock: Clock = SYSTEM_CLOCK,
) -> None:
    """What was found without a readable label is this container, since everything else was seen with its own.

    One that was taken into the book for another such count may be it: two people found the same.
    """
    require(acting, department, "correct")
    with transaction.atomic():
        row = locked(department, inventory, Stage.CONFIRMING, Stage.EXPLAINING, clock=clock)
        _lock(department, container)
        tally = Tally(row)
        found = _unmatched(tally, count, acting)
        if tally.labelled(container.pk):
            raise Refused(f"{container} was seen with its own label in this inventory: it is another one.")
        if (found.kind, found.size_ml) != (container.kind, container.capacity_ml):
            raise Refused(f"{container} is a {container.kind} of another kind or size than what was found.")
        made = CountMatch.objects.create(count=found, container=container, at=clock.now(), by=acting.user)
        new = {"count": str(found), "container": container.code}
        record_changes(department, acting, clock.now(), [Changed("match a count", made, None, new)])


class Newcomer(NamedTuple):
    """What a container is that the book does not know: its label code from now on, and what is in it."""

    code: str
    kind: str
    size_ml: int
    concentrate: Concentrate
    lot: Lot | None  # None: it cannot be read
    words: str = ""


def take_into_book(entry: Entry, *, inventory: Inventory, count: Count, newcomer: Newcomer) -> Posted:
    """A container that was found and is not in the book comes into it, out of an inventory difference."""
    require(entry.acting, entry.department, "correct")
    with transaction.atomic():
        row = locked(entry.department, inventory, Stage.EXPLAINING, clock=entry.clock)
        tally = Tally(row)
        found = _unmatched(tally, count, entry.acting)
        ml = found.ml or 0
        above = above_limit(ml, 0, limits_of(entry.department.pk))
        if above:
            require(entry.acting, entry.department, "sign above the limit")
        _refuse_newcomer(entry, newcomer, ml, above=above)
        made = _made(entry, newcomer)
        posted = entry.post(_arrival(entry, row, found, newcomer, made))
        _keep_arrival(entry, row, found, newcomer, made, posted, above=above)
    return posted


def _refuse_newcomer(entry: Entry, newcomer: Newcomer, ml: int, *, above: bool) -> None:
    department, code = entry.department, newcomer.code.strip()
    if newcomer.concentrate.department_id != department.pk:
        raise Refused(f"There is no such concentrate in {department}.")
    if newcomer.lot is not None and newcomer.lot.concentrate_id != newcomer.concentrate.pk:
        raise Refused(f"Lot {newcomer.lot.batch} is not of {newcomer.concentrate}: choose a lot of it, or none.")
    if not code or len(code) > 24:
        raise Refused(f"“{code}” was read: a label code has 1 to 24 characters. Put a new label on it.")
    if Container.objects.filter(department=department, code__iexact=code).exists():
        raise Refused(f"“{code}” was read, which is another container’s: put a new label on it.")
    if newcomer.kind not in ContainerKind.values or newcomer.size_ml <= 0 or ml > newcomer.size_ml:
        raise Refused("Kind and size were read that do not fit what was counted in it: check them.")
    if above and not newcomer.words.strip():
        raise Refused("No words were read: it is above the policy’s limit, so say where it may have come from.")


def _made(entry: Entry, newcomer: Newcomer) -> Container:
    made: Container = Container.objects.create(
        department=entry.department, code=newcomer.code.strip(), kind=newcomer.kind, capacity_ml=newcomer.size_ml
    )
    new = {"code": made.code, "kind": made.kind}
    record_changes(entry.department, entry.acting, entry.clock.now(), [Changed("make container", made, None, new)])
    return made


def _arrival(entry: Entry, row: Inventory, found: Count, newcomer: Newcomer, made: Container) -> Draft:
    lot = newcomer.lot or _unknown_lot(entry, newcomer.concentrate)
    ml, account = found.ml or 0, Account.INVENTORY_DIFFERENCE
    marks = [MarkAs(made.pk, Mark.SEALED, "yes")] if found.method == Method.SEALED else []
    if newcomer.lot is None and ml:
        marks.append(MarkAs(made.pk, Mark.QUARANTINED, "yes"))
    said = f"{row}: {Explanation.NOT_IN_BOOK.label}. {newcomer.words.strip()}".rstrip(". ")
    place = _place(entry, found.place, found.compartment)
    kind = MovementKind.GAINED if ml else MovementKind.MOVED
    return entry.draft(kind)._replace(
        happened_at=found.counted_at,
        reason=said,
        lines=(Line(account, lot.pk, -ml), Line(made.pk, lot.pk, ml)) if ml else (),
        moves=(Move(made.pk, None, place.pk),),
        marks=tuple(marks),
    )


def _unknown_lot(entry: Entry, concentrate: Concentrate) -> Lot:
    """The lot of what has no lot: no date is known of it, so it never counts as ready."""
    lot, made = Lot.objects.get_or_create(department=entry.department, concentrate=concentrate, batch=LOT_NOT_KNOWN)
    if made:
        record_changes(
            entry.department, entry.acting, entry.clock.now(), [Changed("make lot", lot, None, {"name": str(lot)})]
        )
    return lot


def _keep_arrival(
    entry: Entry, row: Inventory, found: Count, newcomer: Newcomer, made: Container, posted: Posted, *, above: bool
) -> None:
    now: datetime = entry.clock.now()
    line = row.results.create(
        container=made,
        count=found,
        what=What.VOLUME,
        code=made.code,
        concentrate=newcomer.concentrate.name,
        found_place=found_at(found),
        book_ml=0,
        counted_ml=found.ml or 0,
        explanation=Explanation.NOT_IN_BOOK,
        words=newcomer.words.strip(),
        above_limit=above,
        movement_id=posted.movement_id,
        by=entry.acting.user,
        at=now,
    )
    new = {"container": made.code, "what": What.VOLUME.value, "explanation": Explanation.NOT_IN_BOOK.value}
    record_changes(entry.department, entry.acting, now, [Changed("explain a difference", line, None, new)])
