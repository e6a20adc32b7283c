"""What an inventory differs by from the book: by container, by concentrate and in all, against the policy's limits.

Only for those who may see it, once a second person has confirmed the count. Each count is held against the book of its
own moment (reports/book_then.py); what lies inside the gauge's resolution is no difference.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import Q

from readiness.engineering.inventories import (
    Limits,
    above_limit,
    above_total,
    share_of_book,
    shared_among,
    value_minor,
)
from readiness.engineering.lots import draw_in_proportion
from readiness.models import Count, Holding, Inventory, InventoryResult, Lot, Movement, Place, Policy
from readiness.models.inventories import Explanation, Method, What
from readiness.models.policy import RULES
from readiness.reports.inventories import Look, Tally, Thing, owners_at
from readiness.reports.journal import person_name

NOT_KNOWN: Final = "concentrate not known"
MISSING: Final = "in the book, not found"
OUTSIDE: Final = "outside the book"


# What may explain a difference; each is booked in its own way by actions/differences.py.
_LOSS: Final = (
    Explanation.UNBOOKED_POUR,
    Explanation.UNBOOKED_USE,
    Explanation.LEAK,
    Explanation.EVAPORATION,
    Explanation.OTHER,
)
_GAINED: Final = (Explanation.GAIN, Explanation.OTHER)
_MISSED: Final = (Explanation.NOT_FOUND, Explanation.UNBOOKED_USE, Explanation.OTHER)


class Difference(NamedTuple):
    """One thing in which a container differs from the book: its volume, its place, or its seal.

    A container that was not found differs in its place, and all of its volume with it.
    """

    container_id: int
    code: str
    kind: str
    concentrate: str
    what: str
    missing: bool
    count_id: int
    counted_at: datetime
    happened_at: datetime  # the first look: by then the book had been wrong already
    people: tuple[str, ...]
    book_ml: int
    counted_ml: int
    share: int | None  # of the book, 1/100 %
    above_limit: bool
    book_place: str
    found_place: str
    value_minor: int | None
    currency: str
    remark: str
    confirmed: bool

    @property
    def difference_ml(self) -> int:
        """Counted less book."""
        return self.counted_ml - self.book_ml

    @property
    def explanations(self) -> tuple[Explanation, ...]:
        """What may explain it."""
        if self.what == What.PLACE:
            return _MISSED if self.missing else (Explanation.UNBOOKED_MOVE,)
        if self.what == What.SEAL:
            return (Explanation.OPENED,)
        return _LOSS if self.difference_ml < 0 else _GAINED


class Total(NamedTuple):
    """What containers come to together. Inside the gauge's resolution counts as the book has it."""

    name: str
    containers: int
    book_ml: int
    counted_ml: int
    value_minor: int | None
    currency: str

    @property
    def difference_ml(self) -> int:
        """Counted less book."""
        return self.counted_ml - self.book_ml

    @property
    def share(self) -> int | None:
        """Of the book, 1/100 %."""
        return share_of_book(self.difference_ml, self.book_ml)


class Variance(NamedTuple):
    """All that an inventory differs by, what came of it so far, and what is still to be settled."""

    differences: tuple[Difference, ...]  # not explained yet
    results: tuple[InventoryResult, ...]  # explained and booked, in the order booked
    unmatched: tuple[Count, ...]
    not_counted: tuple[Thing, ...]
    unconfirmed: tuple[Thing, ...]
    totals: tuple[Total, ...]
    total: Total
    limits: Limits
    above_total: bool

    @property
    def settled(self) -> bool:
        """Whether nothing is left to explain."""
        return not (self.differences or self.unmatched or self.unconfirmed)


def limits_of(department: int) -> Limits:
    """The department's limits."""
    row = Policy.objects.filter(department=department).first()
    if row is None:
        names = ("inventory_limit_share", "inventory_limit_ml", "inventory_total_share")
        return Limits(*(int(RULES[name].default) for name in names))
    return Limits(row.inventory_limit_share, row.inventory_limit_ml, row.inventory_total_share)


def variance(inventory: Inventory, tally: Tally | None = None) -> Variance:
    """What the inventory differs by, as far as counts and entries are known now."""
    return _Variance(tally or Tally(inventory)).variance()


class _Piece(NamedTuple):
    """A container's part of the totals."""

    concentrate: str
    book_ml: int
    counted_ml: int
    value_minor: int | None
    currency: str


class _Variance:
    """Reads what the tally does not have: places, lots and their prices."""

    def __init__(self, tally: Tally) -> None:
        self.tally, self.inventory = tally, tally.inventory
        self.limits = limits_of(self.inventory.department_id)
        rows = self.inventory.results.select_related("movement__corrected_by", "by", "container").order_by("id")
        self.results = list(rows)
        self.places = self._places()
        self.holdings: dict[int, dict[int, int]] = defaultdict(dict)
        self.prices: dict[int, tuple[int | None, str]] = {}
        self._read_lots()

    def _places(self) -> Mapping[int, Place]:
        rows = Place.objects.filter(department=self.inventory.department_id)
        return {row.pk: row for row in rows.select_related("station", "unit", "vehicle")}

    def _read_lots(self) -> None:
        held = Holding.objects.filter(container__in=self.tally.by_container.keys()).order_by()
        for container, lot, ml in held.values_list("container", "lot", "ml"):
            self.holdings[container][lot] = ml
        lots = Lot.objects.filter(department=self.inventory.department_id).order_by()
        for lot, price, currency in lots.values_list("pk", "price_minor_per_l", "currency"):
            self.prices[lot] = price, currency

    def variance(self) -> Variance:
        differences = [found for thing in self.tally.things.values() for found in self._differences(thing)]
        pieces = list(self._pieces(differences))
        total = _total("all of it", pieces)
        return Variance(
            differences=tuple(sorted(differences, key=lambda each: (-abs(each.difference_ml), each.code))),
            results=tuple(self.results),
            unmatched=tuple(self.tally.unmatched),
            not_counted=tuple(thing for thing in self.tally.expected if not self.tally.standing(thing.id).looks),
            unconfirmed=tuple(self.tally.things[pk] for pk in sorted(self.tally.outstanding)),
            totals=tuple(_by_concentrate(pieces)),
            total=total,
            limits=self.limits,
            above_total=above_total(total.difference_ml, total.book_ml, self.limits),
        )

    # -- one container

    def _differences(self, thing: Thing) -> Iterator[Difference]:
        standing = self.tally.standing(thing.id)
        look = standing.last
        if look is None or standing.disputed:
            return
        if look.made.ml is None:
            yield self._difference(thing, look, What.PLACE, counted_ml=0)
            return
        if self._beyond(thing, look):
            yield self._difference(thing, look, What.VOLUME, counted_ml=look.made.ml)
        if self._elsewhere(thing, look):
            yield self._difference(thing, look, What.PLACE, counted_ml=look.then.ml)
        if self._opened(thing, look):
            yield self._difference(thing, look, What.SEAL, counted_ml=look.then.ml)

    def _beyond(self, thing: Thing, look: Look) -> bool:
        return look.difference_ml is not None and abs(look.difference_ml) > self.tally.gauge_ml(thing)

    def _opened(self, thing: Thing, look: Look) -> bool:
        """Somebody saw it without its seal, and the book has it sealed still."""
        looked = look.made.method not in (Method.SEALED, Method.SHEET)
        return looked and look.then.sealed and self.tally.then.now[thing.id].sealed

    def _elsewhere(self, thing: Thing, look: Look) -> bool:
        """Found where the book did not have it; what the book moved since then is where it says."""
        then = look.then.place_id
        if self.tally.then.now[thing.id].place_id != then:
            return False
        if then is None or self.tally.owners[then] not in owners_at(look.made.place):
            return True
        seen = " ".join(look.made.compartment.split()).casefold()
        return bool(seen) and seen != self.places[then].compartment.casefold()

    def _difference(self, thing: Thing, look: Look, what: What, *, counted_ml: int) -> Difference:
        standing, missing = self.tally.standing(thing.id), look.made.ml is None
        off = counted_ml - look.then.ml
        value, currency = self._value(thing.id, off)
        people = dict.fromkeys(person_name(each.made.by) or f"({each.made.identity})" for each in standing.looks)
        return Difference(
            container_id=thing.id,
            code=thing.code,
            kind=thing.kind,
            concentrate=thing.concentrate or NOT_KNOWN,
            what=what.value,
            missing=missing,
            count_id=look.made.pk,
            counted_at=look.made.counted_at,
            happened_at=min(each.made.counted_at for each in standing.looks),
            people=tuple(people),
            book_ml=look.then.ml,
            counted_ml=counted_ml,
            share=share_of_book(off, look.then.ml),
            above_limit=above_limit(off, look.then.ml, self.limits),
            book_place=str(self.places[look.then.place_id]) if look.then.place_id else OUTSIDE,
            found_place="" if missing else found_at(look.made, self._compartment(look)),
            value_minor=value,
            currency=currency,
            remark=look.made.words,
            confirmed=standing.confirmed,
        )

    def _compartment(self, look: Look) -> str:
        """Where in it: as the counter wrote, else where the book had it."""
        then = self.places.get(look.then.place_id or 0)
        return then.compartment if then and self.tally.owners[then.pk] in owners_at(look.made.place) else ""

    def _value(self, container: int, off_ml: int) -> tuple[int | None, str]:
        """The difference at the prices of what is in it; unknown where one of its lots has no price."""
        held = self.holdings.get(container)
        if not held or not off_ml:
            return None, ""
        parts = shared_among(held, off_ml) if off_ml > 0 else _drawn(held, -off_ml)
        currencies = {self.prices[lot][1] for lot in parts}
        value = value_minor(parts, {lot: self.prices[lot][0] for lot in parts}) if len(currencies) == 1 else None
        return value, currencies.pop() if value is not None else ""

    # -- together

    def _pieces(self, differences: Iterable[Difference]) -> Iterator[_Piece]:
        """Each counted container once: as it was booked, else as it differs, else as the book has it."""
        booked = self._booked()
        open_ones = {each.container_id: each for each in differences if each.what == What.VOLUME or each.missing}
        yield from booked.values()
        for pk, standing in self.tally.standings.items():
            if pk in booked or standing.last is None or standing.disputed:
                continue
            thing, off = self.tally.things[pk], open_ones.get(pk)
            name = thing.concentrate or NOT_KNOWN
            if off is None:
                yield _Piece(name, standing.last.then.ml, standing.last.then.ml, None, "")
            else:
                yield _Piece(name, off.book_ml, off.counted_ml, off.value_minor, off.currency)
        for count in self.tally.unmatched:
            yield _Piece(str(count.concentrate or NOT_KNOWN), 0, count.ml or 0, None, "")

    def _booked(self) -> dict[int, _Piece]:
        """What was explained in volume and stands: a corrected movement gives its difference back."""
        return _of_rows(row for row in self.results if row.explanation and not is_corrected(row))


def _of_rows(rows: Iterable[InventoryResult]) -> dict[int, _Piece]:
    """Each container once: from what the book had before the first of its lines to what the last one counted."""
    found: dict[int, _Piece] = {}
    for row in rows:
        if row.counted_ml is None:
            continue
        counted = row.book_ml if row.what == What.NOTHING else row.counted_ml  # inside the gauge as the book has it
        piece = _Piece(row.concentrate or NOT_KNOWN, row.book_ml, counted, row.value_minor, row.currency)
        before = found.get(row.container_id)
        if before is not None:
            worth = [each for each in (before.value_minor, piece.value_minor) if each is not None]
            piece = piece._replace(book_ml=before.book_ml, value_minor=sum(worth) if len(worth) > 1 else None)
        found[row.container_id] = piece
    return found


def is_corrected(row: InventoryResult) -> bool:
    """Whether the movement that it led to was undone since."""
    return row.movement is not None and getattr(row.movement, "corrected_by", None) is not None


def found_at(count: Count, compartment: str = "") -> str:
    """Where a counter found it, as places are written."""
    where = " ".join(count.compartment.split()) or compartment
    return f"{count.place}, {where}" if where else str(count.place)


def _drawn(held: Mapping[int, int], ml: int) -> dict[int, int]:
    """What left a container, lot by lot, as less than nothing; at most what is in it now."""
    return {lot: -each for lot, each in draw_in_proportion(held, min(ml, sum(held.values()))).items()}


def _total(name: str, pieces: Iterable[_Piece]) -> Total:
    pieces = list(pieces)
    valued = [piece for piece in pieces if piece.value_minor is not None]
    currencies = {piece.currency for piece in valued}
    whole = len(currencies) == 1 and len(valued) == sum(piece.counted_ml != piece.book_ml for piece in pieces)
    return Total(
        name=name,
        containers=len(pieces),
        book_ml=sum(piece.book_ml for piece in pieces),
        counted_ml=sum(piece.counted_ml for piece in pieces),
        value_minor=sum(piece.value_minor or 0 for piece in valued) if whole else None,
        currency=currencies.pop() if whole else "",
    )


def _by_concentrate(pieces: Iterable[_Piece]) -> Iterator[Total]:
    groups: dict[str, list[_Piece]] = defaultdict(list)
    for piece in pieces:
        groups[piece.concentrate].append(piece)
    for name in sorted(groups):
        yield _total(name, groups[name])


def signed_result(inventory: Inventory) -> Signed:
    """A closed inventory as it was signed: from its frozen results alone, whatever the book has become since."""
    rows = list(
        inventory.results.select_related("movement__corrected_by", "by", "count__by", "count__place").order_by("id")
    )
    pieces = list(_of_rows(row for row in rows if not _taken_back(row, inventory)).values())
    limits = limits_of(inventory.department_id)
    total = _total("all of it", pieces)
    counters = inventory.counts.order_by("by__last_name", "by__username").select_related("by")
    return Signed(
        rows=tuple(rows),
        totals=tuple(_by_concentrate(pieces)),
        total=total,
        counters=tuple(dict.fromkeys(person_name(count.by) or f"({count.identity})" for count in counters)),
        above_total=above_total(total.difference_ml, total.book_ml, limits),
        movements=tuple(row.movement_id for row in rows if row.movement_id),
    )


def late_since(inventory: Inventory) -> list[Movement]:
    """What was entered after an inventory was signed and had happened before it was counted: a difference that was
    booked may have been that, and would then stand in the book twice."""
    counts = Count.objects.filter(results__inventory=inventory, results__movement__isnull=False)
    counted = {count.pk: count.counted_at for count in counts}
    booked = inventory.results.filter(count__in=counted, movement__isnull=False).values_list("container", "count")
    until = {container: counted[count] for container, count in booked if count}
    if not until or inventory.closed_at is None:
        return []
    named = Q(lines__container__in=until) | Q(relocations__container__in=until)
    late = Movement.objects.filter(named, recorded_at__gt=inventory.closed_at, happened_at__lte=max(until.values()))
    return [
        movement
        for movement in late.filter(corrects=None).distinct().prefetch_related("lines", "relocations")
        if any(movement.happened_at <= until[pk] for pk in _containers_of(movement) if pk in until)
    ]


def _containers_of(movement: Movement) -> set[int]:
    lines = {line.container_id for line in movement.lines.all() if line.container_id}
    return lines | {each.container_id for each in movement.relocations.all()}


def _taken_back(row: InventoryResult, inventory: Inventory) -> bool:
    """Whether its movement was undone before it was signed again; what is undone later stays as it was signed."""
    later = getattr(row.movement, "corrected_by", None) if row.movement else None
    return later is not None and inventory.closed_at is not None and later.recorded_at <= inventory.closed_at


class Signed(NamedTuple):
    """The result of a closed inventory."""

    rows: tuple[InventoryResult, ...]
    totals: tuple[Total, ...]
    total: Total
    counters: tuple[str, ...]
    above_total: bool
    movements: tuple[UUID, ...]

    def of(self, *what: str) -> list[InventoryResult]:
        """The rows of some kinds."""
        return [row for row in self.rows if row.what in what]

    @property
    def differences(self) -> list[InventoryResult]:
        """What differed and was explained."""
        return [row for row in self.rows if row.explanation]

    @property
    def not_counted(self) -> list[InventoryResult]:
        """What nobody looked at."""
        return self.of(What.NOT_COUNTED)
