"""What an auditor asks for, sheet by sheet: stock, containers, lots, movements, deficiencies, statuses with working.

Each sheet is made of the report that its page shows; a new one (a blind inventory, for instance) joins in `sheets`.
Volumes are in the asked unit and not rounded, so that sums by formula come out.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from itertools import chain
from tempfile import TemporaryFile
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from readiness.engineering.deficiencies import System, sentence
from readiness.engineering.records import Moment
from readiness.engineering.units import from_ml, from_si
from readiness.models import Deficiency, Department, InventoryResult, Marking, Movement, MovementLine, Relocation
from readiness.models.inventories import Stage
from readiness.reports.ageing import Ageing, ageing
from readiness.reports.explanations import Explanation, explain_rig
from readiness.reports.fleet import load_rigs
from readiness.reports.inventory import Inventory, load_inventory
from readiness.reports.journal import person_name
from readiness.reports.lots import lots
from readiness.reports.ordering import Ordering, ordering
from readiness.reports.par import ParList, par_lists
from readiness.reports.prices import Money
from readiness.reports.stock import stock
from readiness.reports.unit_today import recorded_deficiency
from readiness.reports.verdicts import word
from readiness.workbooks.audit import Chart, Column, Sheet, Value

CHUNK: Final = 2_000
VOLUME: Final[dict[System, str]] = {"us": "gal", "metric": "L"}
FLOW: Final[dict[System, str]] = {"us": "gpm", "metric": "L/min"}


class Audit(NamedTuple):
    """What the workbook is made of: facts for the first sheet, the sheets (rows are read when written), the charts."""

    facts: tuple[tuple[str, str], ...]
    sheets: Iterable[Sheet]
    charts: tuple[Chart, ...]


def audit(department: Department, moment: Moment, made_by: str, system: System) -> Audit:
    """The whole department as of a moment."""
    at = moment.at.astimezone(ZoneInfo(department.time_zone))
    facts = (
        ("Workbook", "Foam Readiness: audit workbook"),
        ("Department", department.name),
        ("As of", f"{at:%Y-%m-%d %H:%M} ({department.time_zone})"),
        ("Made by", made_by),
        ("Volumes", f"in {VOLUME[system]}, not rounded; counted in whole milliliters"),
        ("Moments", f"in the department’s time zone, {department.time_zone}"),
        ("Totals", "by formula, of the rows that the filter leaves"),
    )
    return Audit(facts, _Book(department, moment, system).sheets(), _charts(system))


def _charts(system: System) -> tuple[Chart, ...]:
    unit = VOLUME[system]
    return (
        Chart(f"Stock by concentrate and station [{unit}]", "Stock", 0, (5, 6), unit, stacked=True),
        Chart("Cost by budget year", "Budget", 0, (3, 4), "money", stacked=True),
    )


OWNERS: Final = ("station", "unit", "vehicle", "transfer", "partner", "pallet")  # what a place is, or is of


class _Book:
    """The sheets of one department."""

    def __init__(self, department: Department, moment: Moment, system: System) -> None:
        self.department, self.moment, self.system = department, moment, system
        self.zone = ZoneInfo(department.time_zone)
        self.unit = VOLUME[system]

    def sheets(self) -> Iterator[Sheet]:
        """One after the other; what a sheet needs is read when its turn comes."""
        inventory = load_inventory(self.department, self.moment.day)
        yield self._stock(inventory)
        yield self._containers(inventory)
        yield self._lots(inventory)
        yield self._movements()
        yield self._inventories()
        yield self._deficiencies()
        yield from self._statuses()
        aged = ageing(self.department, inventory)
        yield self._budget(aged)
        yield self._ageing(aged)
        yield self._par(par_lists(self.department, inventory))
        yield self._order_points(ordering(self.department, inventory))

    # columns and values

    def _volume(self, title: str, *, total: bool = True) -> Column:
        return Column(title, "number", self.unit, total)

    def _in(self, ml: float | None) -> float | None:
        return None if ml is None else from_ml(ml, self.unit)

    def _local(self, at: datetime | None) -> datetime | None:
        """On the department's wall: spreadsheets know no time zones."""
        return at.astimezone(self.zone).replace(tzinfo=None) if at else None

    # stock

    def _stock(self, inventory: Inventory) -> Sheet:
        columns = (
            Column("Concentrate and station", width=34),
            Column("Concentrate", width=24),
            Column("Kind"),
            Column("PFAS"),
            Column("Station", width=18),
            self._volume("In the store"),
            self._volume("On units and vehicles"),
            self._volume("Together"),
            self._volume("Of it out of the count"),
            Column("Containers", "whole"),
        )
        rows = (
            (
                f"{row.concentrate}, {row.station}",
                row.concentrate,
                row.kind,
                row.pfas,
                row.station,
                self._in(row.store_ml),
                self._in(row.units_ml),
                self._in(row.total_ml),
                self._in(row.out_ml),
                row.containers,
            )
            for row in stock(inventory).rows
        )
        return Sheet(
            "Stock", "By concentrate and station, by the book; what is outside the book is left out", columns, rows
        )

    def _containers(self, inventory: Inventory) -> Sheet:
        columns = (
            Column("Label code", width=12),
            Column("Kind", width=13),
            Column("Concentrate", width=24),
            Column("PFAS"),
            Column("Lots", width=16),
            self._volume("Capacity", total=False),
            self._volume("Contents"),
            self._volume("Counted"),
            Column("Worth today", width=18),
            Column("Good through", "day"),
            Column("Then", width=16),
            Column("Place", width=24),
            Column("Station", width=16),
            Column("Unit tonight", width=16),
            Column("Seal", width=20),
            self._volume("Last reading", total=False),
            Column("Read at", "moment"),
        )
        rows = (
            (
                item.code,
                item.kind,
                item.concentrate,
                item.pfas,
                item.lots,
                self._in(item.capacity_ml),
                self._in(item.contents_ml),
                self._in(item.counted_ml),
                item.state,
                item.through,
                item.then,
                item.place,
                item.station,
                item.unit,
                item.seal if item.shares else "",
                self._in(item.reading_ml),
                self._local(item.reading_at),
            )
            for item in inventory.items
        )
        return Sheet("Containers", "Every container that is not retired, and what it is worth today", columns, rows)

    def _lots(self, inventory: Inventory) -> Sheet:
        columns = (
            Column("Lot", width=14),
            Column("Concentrate", width=24),
            Column("Kind"),
            Column("PFAS"),
            Column("Made", width=12),
            Column("Maker’s date", width=13),
            Column("Good through", "day"),
            Column("Last sample", "day"),
            Column("Its answer", width=11),
            self._volume("Left"),
            Column("Containers", "whole", total=True),
            Column("Where", width=30),
            Column("Recalled", "day"),
            Column("Maker’s notice", width=18),
        )
        rows = (
            (
                row.batch,
                row.concentrate,
                row.kind,
                row.pfas,
                str(row.made or ""),
                str(row.label or ""),
                row.label.day if row.label else None,
                row.sampled_on,
                row.sample,
                self._in(row.left_ml),
                row.containers,
                row.places,
                row.recalled_on,
                row.recall_reference,
            )
            for row in lots(self.department, inventory)
        )
        about = "Every lot, those used up too; a label’s date as it stands, and the last day that it means"
        return Sheet("Lots", about, columns, rows)

    # the ledger

    def _movements(self) -> Sheet:
        columns = (
            Column("Movement", width=37),
            Column("Happened", "moment"),
            Column("Recorded", "moment"),
            Column("Kind", width=13),
            Column("By", width=18),
            Column("What", width=9),
            Column("Container or account", width=20),
            Column("Lot", width=14),
            Column("Concentrate", width=24),
            self._volume("Volume"),
            Column("From", width=24),
            Column("To", width=24),
            Column("Reason", width=30),
            Column("Incident", width=12),
            Column("Corrects", width=37),
        )
        about = (
            "The ledger line by line, as recorded: + into, − out of. Each movement’s volumes come to 0 for every lot, "
            "and so does the total"
        )
        return Sheet("Movements", about, columns, self._ledger())

    def _ledger(self) -> Iterator[Sequence[Value]]:
        """Every part of every movement; a slice of the headers at a time."""
        headers = Movement.objects.filter(department=self.department).order_by("recorded_at", "id")
        for some in _slices(headers.select_related("recorded_by")):
            parts: dict[Any, list[tuple[Any, ...]]] = {header.pk: [] for header in some}
            for part in chain(self._lines(parts), self._places(parts), self._marks(parts)):
                parts[part[0]].append(part[1:])
            for header in some:
                head = (
                    str(header.pk),
                    self._local(header.happened_at),
                    self._local(header.recorded_at),
                    header.kind,
                    person_name(header.recorded_by) or f"({header.identity})",
                )
                tail = (header.reason, header.incident, str(header.corrects_id or ""))
                for part in parts[header.pk]:
                    yield (*head, *part, *tail)

    def _lines(self, of: Iterable[Any]) -> Iterator[tuple[Any, ...]]:
        rows = MovementLine.objects.filter(movement__in=list(of)).order_by("movement", "n")
        columns = ("movement", "container__code", "account", "lot__batch", "lot__concentrate__name", "ml")
        for movement, code, account, batch, concentrate, ml in rows.values_list(*columns):
            yield movement, "volume", code or account, batch, concentrate, self._in(ml), None, None

    def _places(self, of: Iterable[Any]) -> Iterator[tuple[Any, ...]]:
        ends = [f"{end}_place__{owner}" for end in ("from", "to") for owner in OWNERS]
        rows = Relocation.objects.filter(movement__in=list(of)).select_related("container", *ends).order_by("id")
        for row in rows:
            start, end = (str(place) if place else "outside the book" for place in (row.from_place, row.to_place))
            yield row.movement_id, "place", row.container.code, None, None, None, start, end

    def _marks(self, of: Iterable[Any]) -> Iterator[tuple[Any, ...]]:
        rows = Marking.objects.filter(movement__in=list(of)).order_by("id")
        for movement, code, mark, old, new in rows.values_list("movement", "container__code", "mark", "old", "new"):
            name = mark.replace("_", " ")
            yield movement, "mark", code, None, None, None, f"{name}: {old or 'nothing'}", f"{name}: {new or 'nothing'}"

    # inventories

    def _inventories(self) -> Sheet:
        columns = (
            Column("Inventory", width=30),
            Column("Signed", "moment"),
            Column("Label code", width=12),
            Column("Concentrate", width=24),
            Column("Differs in", width=12),
            Column("Book has it at", width=24),
            Column("Found at", width=24),
            self._volume("Book", total=False),
            self._volume("Counted", total=False),
            self._volume("Counted less book"),
            Column("Explanation", width=20),
            Column("In words", width=30),
            Column("Booked as movement", width=37),
            Column("Explained by", width=18),
        )
        about = "Signed inventories, container by container; the book is that of the moment of each count"
        return Sheet("Inventories", about, columns, self._results())

    def _results(self) -> Iterator[Sequence[Value]]:
        rows = InventoryResult.objects.filter(inventory__department=self.department, inventory__stage=Stage.CLOSED)
        for row in rows.select_related("inventory", "by").order_by("inventory__closed_at", "inventory_id", "id"):
            less = None if row.counted_ml is None else row.counted_ml - row.book_ml
            yield (
                str(row.inventory),
                self._local(row.inventory.closed_at),
                row.code,
                row.concentrate,
                row.get_what_display(),
                row.book_place,
                row.found_place,
                self._in(row.book_ml),
                self._in(row.counted_ml),
                self._in(less),
                row.get_explanation_display(),
                row.words,
                str(row.movement_id or ""),
                person_name(row.by),
            )

    # what is wrong, and what follows

    def _deficiencies(self) -> Sheet:
        columns = (
            Column("Unit", width=18),
            Column("Severity", width=12),
            Column("What is wrong", width=60),
            Column("Code", width=20),
            Column("Since", "day"),
            Column("Found", "moment"),
            Column("Cured", "day"),
            Column("Who sees to it", width=18),
            Column("Due", "day"),
            Column("Accepted until", "day"),
            Column("Accepted by", width=18),
            Column("Remark", width=30),
        )
        known = Deficiency.objects.filter(department=self.department).select_related("unit", "owner", "accepted_by")
        rows = (self._deficiency(row) for row in known.order_by("unit__designation", "opened_at", "id").iterator(CHUNK))
        return Sheet("Deficiencies", "Everything that was ever found, open ones without a day of cure", columns, rows)

    def _deficiency(self, row: Deficiency) -> Sequence[Value]:
        return (
            row.unit.designation,
            word(row.severity),
            sentence(recorded_deficiency(row), self.system),
            row.code,
            row.since_on,
            self._local(row.opened_at),
            row.closed_on,
            person_name(row.owner),
            row.due_on,
            row.accepted_until,
            person_name(row.accepted_by),
            row.note,
        )

    def _statuses(self) -> Iterator[Sheet]:
        """Every unit judged from the book as it stands, and how each figure came about."""
        fleet = load_rigs(day=self.moment.day, departments=[self.department.pk])
        policy = fleet.policies[self.department.pk]
        rigs = sorted(fleet.rigs, key=lambda rig: rig.name)
        with TemporaryFile("w+", encoding="utf-8") as aside:  # a thousand workings would fill the memory

            def told() -> Iterator[Explanation]:  # each is worked once, for both sheets
                for rig in rigs:
                    explained = explain_rig(rig, policy, self.moment, self.system)
                    aside.write(json.dumps(list(_working(explained))) + "\n")
                    yield explained

            about = "Every unit and duty, judged from the book at that moment"
            yield Sheet("Statuses", about, self._status_columns(), chain.from_iterable(map(self._status, told())))
            columns = tuple(Column(name, width=width) for name, width in _WORKING)
            about = "How each figure of a status came about"
            aside.seek(0)
            yield Sheet("Working", about, columns, chain.from_iterable(map(json.loads, aside)))

    def _status_columns(self) -> tuple[Column, ...]:
        flow = FLOW[self.system]
        return (
            Column("Unit", width=18),
            Column("Vehicle", width=14),
            Column("Unit’s status", width=13),
            Column("Holds until", "day"),
            Column("Duty", width=26),
            Column("Fuel", width=22),
            Column("Duty’s status", width=13),
            Column("Required flow", "number", flow),
            self._volume("Textbook need", total=False),
            self._volume("Line need", total=False),
            self._volume("Usable", total=False),
            self._volume("Short", total=False),
            self._volume("Kept back in case it lights", total=False),
            Column("Minutes of foam", "number", "min"),
            Column("Good through", "day"),
            Column("What is wrong", width=60),
        )

    def _status(self, told: Explanation) -> Iterator[Sequence[Value]]:
        head = (told.unit, told.vehicle, word(told.verdict.status), told.verdict.holds_until)
        own = "; ".join(said.sentence for said in told.said)
        if not told.duties:
            yield (*head, "no duty", *[None] * 10, own)
        for duty in told.duties:
            answer = duty.answer
            litres = (answer.textbook_l, answer.need_l, answer.usable_l, answer.short_l)
            yield (
                *head,
                duty.facts.name,
                duty.facts.fuel,
                word(answer.status),
                from_si(answer.required_lpm, FLOW[self.system]),
                *(from_si(each, self.unit) for each in litres),
                from_si(answer.cover.fire_l, self.unit) if answer.cover else None,
                answer.minutes,
                answer.good_through,
                "; ".join(filter(None, [own, *(said.sentence for said in duty.said)])),
            )

    # planning

    def _budget(self, aged: Ageing) -> Sheet:
        columns = (
            Column("Budget year", width=16),
            Column("To replace", "whole", total=True),
            self._volume("Volume"),
            Column("Replacement", "money", total=True),
            Column("Disposal", "money", total=True),
            Column("Currency"),
            Column("To sample", "whole", total=True),
        )
        rows = (
            (
                year.year,
                year.replace_containers,
                self._in(year.replace_ml),
                *_money(year.replacement, year.disposal),
                year.sample_containers,
            )
            for year in aged.years
        )
        return Sheet(
            "Budget", "What falls due by budget year, with what it costs where a price is known", columns, rows
        )

    def _ageing(self, aged: Ageing) -> Sheet:
        columns = (
            Column("Month", width=10),
            Column("From", "day"),
            Column("Concentrate", width=24),
            Column("To do", width=10),
            Column("Because", width=18),
            Column("Containers", "whole", total=True),
            self._volume("Volume"),
            self._volume("Of it on units"),
            Column("Replacement", "money", total=True),
            Column("Disposal", "money", total=True),
            Column("Currency"),
            Column("Label codes", width=40),
        )
        rows = (
            (
                row.period,
                row.first_day,
                row.concentrate,
                row.what,
                row.why,
                row.containers,
                self._in(row.volume_ml),
                self._in(row.on_units_ml),
                *_money(row.replacement, row.disposal),
                ", ".join(row.codes),
            )
            for row in aged.months
        )
        return Sheet("Ageing", "What falls due by month: the day after the last good day", columns, rows)

    def _par(self, lists: Iterable[ParList]) -> Sheet:
        columns = (
            Column("Unit", width=18),
            Column("Compartment", width=14),
            Column("What", width=30),
            Column("Should be", "whole", "containers or pieces"),
            self._volume("Should be", total=False),
            Column("Aboard", "whole", "containers or pieces"),
            self._volume("Aboard", total=False),
            Column("State", width=14),
            Column("Which", width=40),
            Column("Remarks", width=40),
        )
        rows = (
            (
                row.unit,
                row.compartment,
                row.what,
                row.wanted,
                self._in(row.wanted_ml),
                None if row.wanted is None else row.aboard,
                self._in(row.aboard_ml) if row.sort == "foam" else None,
                row.state,
                ", ".join(row.codes),
                "; ".join(row.remarks),
            )
            for each in lists
            for row in each.rows
        )
        return Sheet("Par lists", "What units should carry beside what is aboard", columns, rows)

    def _order_points(self, found: Ordering) -> Sheet:
        columns = (
            Column("Concentrate", width=24),
            self._volume("Largest planned need", total=False),
            Column("Of", width=34),
            self._volume("Use in the window", total=False),
            Column("Window", "whole", "days"),
            Column("Lead time", "whole", "days"),
            self._volume("Use in lead time", total=False),
            self._volume("Safety stock", total=False),
            self._volume("Order point", total=False),
            self._volume("Usable on hand", total=False),
            self._volume("Expires in lead time", total=False),
            self._volume("On order", total=False),
            self._volume("Position", total=False),
            Column("Order", "whole", "containers"),
            Column("Container", width=12),
        )
        days = found.usage.window.days
        rows = (
            (
                point.concentrate,
                self._in(point.planned_ml),
                f"{point.planned.unit}: {point.planned.duty}" if point.planned else "no duty counts on it",
                self._in(point.used.total_ml),
                days,
                point.supply.lead_time_d,
                self._in(point.lead_use_ml),
                self._in(point.safety_ml),
                self._in(point.point_ml),
                self._in(point.usable_ml),
                self._in(point.lapsing_ml),
                self._in(point.on_order_ml),
                self._in(point.position_ml),
                point.containers,
                point.supply.pack_kind,
            )
            for point in found.points
        )
        return Sheet("Order points", "When to order which concentrate, with the working", columns, rows)


_WORKING: Final = (
    ("Unit", 18),
    ("Duty", 26),
    ("Figure", 26),
    ("Formula", 34),
    ("Numbers", 50),
    ("Result", 16),
    ("Source", 40),
)


def _working(told: Explanation) -> Iterator[Sequence[Value]]:
    for duty in told.duties:
        for line in duty.lines:
            yield told.unit, duty.facts.name, line.label, line.formula, line.numbers, line.result, line.source


def _money(replacement: Money, disposal: Money) -> tuple[Value, Value, Value]:
    """Two amounts and their currency; words where there are several or a price is missing."""
    currencies = sorted({*replacement.cents, *disposal.cents})
    if len(currencies) > 1:
        return replacement.words, disposal.words, "several"
    unpriced = "not priced" if replacement.unpriced_ml or disposal.unpriced_ml else ""
    if not currencies:
        return (None, None, unpriced)
    amounts = [sum(each.cents.values()) / 100 for each in (replacement, disposal)]
    return amounts[0], amounts[1], f"{currencies[0]}, partly not priced" if unpriced else currencies[0]


def _slices(rows: QuerySet[Movement, Movement]) -> Iterator[list[Movement]]:
    some: list[Movement] = []
    for row in rows.iterator(CHUNK):
        some.append(row)
        if len(some) == CHUNK:
            yield some
            some = []
    if some:
        yield some
