"""Every container of a department on a day: where it is, what is in it, what of it counts, and until when.

The same rules as in a status (engineering/holding.py) are applied to stock in stores too: a pail does not change
its worth when it is put on an engine. The number of queries does not grow with the stock.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import F, QuerySet, Window
from django.db.models.functions import RowNumber

from readiness import models as m
from readiness.engineering import records as r
from readiness.engineering.dates import GoodThrough, good_through, last_day
from readiness.engineering.holding import Ends, Holding, hold, lot_through
from readiness.engineering.suiting import ALCOHOL_RESISTANT, NO_CLASS_B_CREDIT
from readiness.models.policy import RULES
from readiness.reports.fleet import CONTAINER_KINDS, KINDS, collector_off
from readiness.reports.since_read import since_read

COUNTS, EMPTY = "counts", "empty"
WORDS: Mapping[str, str] = {
    "mixed": "mixed",
    "quarantined": "quarantined",
    "diluted": "diluted",
    "recalled": "recalled",
    "unlike": "unlike concentrates",
    "sample_failed": "sample failed",
    "reading_above_book": "reads above the book",
    "too_cold": "stands too cold",
    "expired": "expired",
    "opened_too_long": "open too long",
    "date_unknown": "date not known",
    "sample_overdue": "sample overdue",
    "opened_unknown": "opening day not known",
}
STORE, UNIT, VEHICLE, OUTSIDE = "store", "unit", "vehicle", "outside the book"
TRANSIT, LENT, PALLET = "in transit", "lent", "on a take-back pallet"  # it counts nowhere while it is there
HERE = frozenset({STORE, UNIT, VEHICLE, TRANSIT})  # the department's to use, now or once it arrives


class Share(NamedTuple):
    """So much of one lot in a container, and the date on its label."""

    lot_id: int
    batch: str
    concentrate_id: int
    ml: int
    label: GoodThrough | None


class Item(NamedTuple):
    """One container on a day. `state`: what it is worth; `through`: last day on which it surely counts; `then`: what
    it becomes after that day; `out_through`: last day on which any of it counts."""

    id: int
    code: str
    kind: str
    capacity_ml: int
    unreachable_ml: int
    contents_ml: int
    concentrate_id: int | None
    concentrate: str
    concentrate_kind: str
    pfas: str
    shares: tuple[Share, ...]
    where: str
    place_id: int | None
    place: str
    station: str
    unit_id: int | None
    unit: str
    sealed: bool
    opened_on: date | None
    flushed: bool
    state: str
    counted_ml: int
    through: date | None
    then: str
    reading_ml: int | None
    reading_at: datetime | None
    borrowed_from: str

    @property
    def lots(self) -> str:
        """The batches in it."""
        return ", ".join(share.batch for share in self.shares)

    @property
    def seal(self) -> str:
        """Sealed, open since a day, or open; nothing of an empty one."""
        if self.sealed:
            return "sealed"
        return f"open since {self.opened_on}" if self.opened_on else "open"

    @property
    def label(self) -> GoodThrough | None:
        """The earliest date on the labels of what is in it."""
        return min((share.label for share in self.shares if share.label), key=lambda each: each.day, default=None)

    @property
    def alcohol_resistant(self) -> bool:
        """Whether its concentrate is alcohol-resistant."""
        return alcohol_resistant(self.concentrate_kind)


class Product(NamedTuple):
    """What a list shows of a concentrate."""

    id: int
    name: str
    kind: str
    pfas: str


class Inventory(NamedTuple):
    """All containers of a department that are not retired, by label code, and the concentrates they may hold."""

    day: date
    items: tuple[Item, ...]
    products: Mapping[int, Product]


def alcohol_resistant(kind: str) -> bool:
    """Whether a kind of concentrate (as the database writes it) is alcohol-resistant."""
    return KINDS.get(kind) in ALCOHOL_RESISTANT


def class_b(kind: str) -> bool:
    """Whether a kind of concentrate has credit on a Class B fire at all."""
    return kind in KINDS and KINDS[kind] not in NO_CLASS_B_CREDIT


def load_inventory(department: m.Department, day: date, only: QuerySet[Any, Any] | None = None) -> Inventory:
    """Read and weigh every container of a department as of a day of its calendar.

    only: the ids of the containers that are asked for; the others are not read.
    """
    with collector_off():
        return _Stock(department, day, only).inventory()


def _latest(rows: QuerySet[Any, Any], of: str) -> dict[int, r.Sample]:
    """The latest sample with a result of each lot or container."""
    order = [F("taken_on").desc(), F("id").desc()]
    turn = Window(RowNumber(), partition_by=[F(of)], order_by=order)
    chosen = rows.filter(passed__isnull=False).annotate(turn=turn).filter(turn=1).order_by()
    columns = chosen.values_list(of, "taken_on", "passed", "good_through")
    return {pk: r.Sample(taken_on, passed, through) for pk, taken_on, passed, through in columns}


class _Stock:
    """The tables of a department's stock, each read once."""

    def __init__(self, department: m.Department, day: date, only: QuerySet[Any, Any] | None) -> None:
        self.department, self.day, self.only = department, day, only
        self.zone = ZoneInfo(department.time_zone)
        self.ends: Ends = {}
        self.policy = self._policy()
        self.products = self._products()
        self.concentrates = self._concentrates()
        self.lots, self.labels = self._lots()
        self.parts = self._parts()
        samples = m.Sample.objects.filter(department=department, container__isnull=False)
        self.samples = _latest(self._asked(samples, "container"), "container")
        self.places = self._places()
        running = m.Assignment.objects.filter(department=department, to_at__isnull=True)
        names = running.values_list("vehicle", "unit", "unit__designation", "unit__station__name")
        self.running = {vehicle: (unit, name, station) for vehicle, unit, name, station in names}
        self.spots: dict[int | None, _Spot] = {pk: self._spot(place) for pk, place in self.places.items()}
        self.spots[None] = _Spot(None, OUTSIDE, OUTSIDE, "", None, "")

    def _asked(self, rows: QuerySet[Any, Any], container: str) -> QuerySet[Any, Any]:
        """The rows of the containers that are asked for; container: the way to it."""
        return rows if self.only is None else rows.filter(**{f"{container}__in": self.only}).distinct()

    def _places(self) -> dict[int, m.Place]:
        """Once each: many containers stand at one place."""
        rows = self._asked(m.Place.objects.filter(department=self.department), "containers")
        owners = ("station", "unit__station", "vehicle__station", "partner", "pallet__station")
        return {row.pk: row for row in rows.select_related(*owners)}

    def _policy(self) -> r.Policy:
        names = [name for name in RULES if name in r.Policy._fields]
        row = m.Policy.objects.filter(department=self.department).values(*names).first()
        return r.Policy(**row) if row else r.Policy()

    def _products(self) -> dict[int, Product]:
        rows = m.Concentrate.objects.filter(department=self.department).order_by("name")
        return {row[0]: Product(*row) for row in rows.values_list("id", "name", "kind", "pfas")}

    def _concentrates(self) -> dict[int, r.Concentrate]:
        """As the rules for what counts want them; listings have no part in those."""
        groups = m.CompatibilityGroup.objects.filter(department=self.department)
        compatible = dict(groups.values_list("concentrates", "name"))
        columns = ("id", "name", "kind", "pfas", "lowest_use_c", "shear_thinning")
        rows: Any = m.Concentrate.objects.filter(department=self.department).order_by().values_list(*columns)
        return {
            pk: r.Concentrate(pk, name, KINDS[kind], pfas, low_c, thick, {}, compatible.get(pk, ""))
            for pk, name, kind, pfas, low_c, thick in rows
        }

    def _lots(self) -> tuple[dict[int, r.Lot], dict[int, GoodThrough | None]]:
        rows = self._asked(m.Lot.objects.filter(department=self.department), "holdings__container").order_by()
        samples = m.Sample.objects.filter(department=self.department, lot__isnull=False)
        sampled = _latest(self._asked(samples, "lot__holdings__container"), "lot")
        lots: dict[int, r.Lot] = {}
        labels: dict[int, GoodThrough | None] = {}
        columns = ("id", "batch", "concentrate", "makers_date", "date_precision", "recalled_on")
        for pk, batch, concentrate, makers, precision, recalled in rows.values_list(*columns):
            labels[pk] = good_through(makers, precision) if makers else None
            lots[pk] = r.Lot(
                id=pk,
                batch=batch,
                concentrate=self.concentrates[concentrate],
                makers_date=last_day(makers, precision) if makers else None,
                sample=sampled.get(pk),
                recalled=recalled is not None and recalled <= self.day,
            )
        return lots, labels

    def _parts(self) -> dict[int, list[r.Part]]:
        found: dict[int, list[r.Part]] = defaultdict(list)
        rows = self._asked(m.Holding.objects.filter(container__department=self.department), "container").order_by("id")
        for container, lot, ml in rows.values_list("container", "lot", "ml"):
            found[container].append(r.Part(self.lots[lot], ml))
        return found

    def inventory(self) -> Inventory:
        """Every container that is not retired."""
        rows = self._asked(m.Container.objects.filter(department=self.department, retired_on__isnull=True), "pk")
        since = since_read()
        rows = rows.annotate(lender=F("partner__name"), **since).order_by("code")
        columns = rows.values_list(*_COLUMNS, "lender", *since, named=True)
        return Inventory(self.day, tuple(map(self._item, columns)), self.products)

    def _item(self, row: Any) -> Item:
        parts = tuple(self.parts.get(row.id, ()))
        spot = self.spots[row.place_id]
        record = self._record(row, parts, spot.place)
        worth = _there(_worth(record, hold(record, self.policy, self.ends), self.day), spot.place)
        product = self.products.get(row.concentrate_id or 0)
        return Item(
            id=row.id,
            code=row.code,
            kind=row.kind,
            capacity_ml=row.capacity_ml,
            unreachable_ml=row.unreachable_ml,
            contents_ml=row.contents_ml,
            concentrate_id=row.concentrate_id,
            concentrate=product.name if product else "",
            concentrate_kind=product.kind if product else "",
            pfas=product.pfas if product else "",
            shares=tuple(self._share(part) for part in parts),
            where=spot.where,
            place_id=row.place_id,
            place=spot.name,
            station=spot.station,
            unit_id=spot.unit_id,
            unit=spot.unit,
            sealed=row.sealed,
            opened_on=row.opened_on,
            flushed=row.flushed,
            state=worth.state,
            counted_ml=worth.counted_ml,
            through=worth.through or self._earliest(parts),
            then=worth.then,
            reading_ml=row.reading_ml,
            reading_at=row.reading_at,
            borrowed_from=row.lender or "",
        )

    def _record(self, row: Any, parts: tuple[r.Part, ...], place: m.Place | None) -> r.Container:
        read = row.reading_ml is not None and row.reading_at is not None
        return r.Container(
            id=row.id,
            code=row.code,
            kind=CONTAINER_KINDS[row.kind],
            parts=parts,
            unreachable_ml=row.unreachable_ml,
            reading_ml=row.reading_ml,
            reading_on=row.reading_at.astimezone(self.zone).date() if read and row.reading_at else None,
            resolution_ml=row.resolution_ml,
            mixed=row.mixed,
            quarantined=row.quarantined,
            diluted=row.diluted,
            sealed=row.sealed,
            opened_on=row.opened_on,
            place_low_c=place.expected_low_c if place else None,
            sample=self.samples.get(row.id),
            moved_since_ml=row.moved_since_ml,
            found_since_ml=row.found_since_ml,
            received_since_ml=row.received_since_ml,
        )

    def _share(self, part: r.Part) -> Share:
        lot = part.lot
        return Share(lot.id, lot.batch, lot.concentrate.id, part.ml, self.labels[lot.id])

    def _earliest(self, parts: Iterable[r.Part]) -> date | None:
        """The earliest day of the lots in it, for what is out of the count and has no day of its own."""
        days = [lot_through(part.lot, self.policy) for part in parts]
        return min((day for day in days if day is not None), default=None)

    def _spot(self, place: m.Place) -> _Spot:
        return _Spot(place, str(place), *self._stands(place))

    def _stands(self, place: m.Place) -> tuple[str, str, int | None, str]:
        """Store, unit or vehicle; the station; and the unit that it stands on tonight."""
        if place.station is not None:
            return STORE, place.station.name, None, ""
        if place.transfer_id is not None or place.partner is not None:
            return LENT if place.partner else TRANSIT, "", None, ""
        if place.pallet is not None:
            return PALLET, place.pallet.station.name, None, ""
        if place.unit is not None:
            return UNIT, place.unit.station.name, place.unit_id, place.unit.designation
        assert place.vehicle is not None  # the table's own rule: a place is one of these
        unit, name, station = self.running.get(place.vehicle.pk, (None, "", place.vehicle.station.name))
        return VEHICLE, station, unit, name


class _Spot(NamedTuple):
    """A place, worked out once for all that stands there."""

    place: m.Place | None
    name: str
    where: str
    station: str
    unit_id: int | None
    unit: str


_COLUMNS: Final = (  # tuples, not records: there may be tens of thousands
    *("id", "code", "kind", "capacity_ml", "unreachable_ml", "contents_ml", "concentrate_id", "place_id"),
    *("sealed", "opened_on", "flushed", "mixed", "quarantined", "diluted", "resolution_ml", "reading_ml", "reading_at"),
)


class _Worth(NamedTuple):
    state: str
    counted_ml: int
    through: date | None
    then: str


def _there(worth: _Worth, place: m.Place | None) -> _Worth:
    """What is lent or set aside for good counts for nothing, however good it is; an empty one stays empty."""
    if place is None or worth.state == EMPTY or (place.partner_id is None and place.pallet_id is None):
        return worth
    return worth._replace(state=LENT if place.partner_id else PALLET, counted_ml=0, then="")


def _worth(record: r.Container, holding: Holding, day: date) -> _Worth:
    """What a container is worth on a day, in words."""
    if not record.parts:
        return _Worth(EMPTY, 0, None, "")
    held = holding.held
    if held is None:
        return _Worth(WORDS.get(holding.excluded[0].code, holding.excluded[0].code), 0, None, "")
    firm = held.firm_through if held.firm_through > date.min else None
    known_end = held.soft_through if held.soft_through < date.max else None
    if day > held.soft_through:
        return _Worth(WORDS[held.ends], 0, known_end, "")
    if day > held.firm_through:
        return _Worth(WORDS[held.doubt], held.ml, known_end, WORDS[held.ends])
    then = WORDS[held.ends] if held.firm_through == held.soft_through else WORDS[held.doubt]
    return _Worth(COUNTS, held.ml, firm, then)
