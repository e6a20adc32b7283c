"""What ledger.py measures, and the floors beside it; it runs this as a process, with DATABASE_URL set.

A floor writes or reads the same rows with the database's own driver, into tables without guards, foreign keys or
further indexes. The processes that measure are forked before any connection is open.
"""

from __future__ import annotations

import pickle
import sys
import uuid
from collections.abc import Iterator
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import django

django.setup()

from django.db import connection  # noqa: E402 - Django must be set up first
from openpyxl import load_workbook  # noqa: E402

from readiness.actions import ledger, movements  # noqa: E402
from readiness.actions.clock import SYSTEM_CLOCK  # noqa: E402
from readiness.actions.drafts import Draft, Draw, Line, Move, new_id  # noqa: E402
from readiness.actions.imports import import_workbook  # noqa: E402
from readiness.actions.movements import Entry  # noqa: E402
from readiness.actions.permissions import OWNER, Acting  # noqa: E402
from readiness.models import (  # noqa: E402
    Concentrate,
    Container,
    Department,
    Lot,
    Membership,
    MovementLine,
    Place,
    Policy,
    Role,
    Station,
    User,
)
from readiness.models.movements import Account, Identity, MovementKind  # noqa: E402
from readiness.reports.recounts import recount  # noqa: E402
from readiness.workbooks.template import write_rows  # noqa: E402
from tests.benchmarks.harness import Pair, Step, compare, machine  # noqa: E402

TANK_ML = 1_000_000_000  # 1,000,000 L: no number of draws empties it or fills it
DRAW_ML = 10
BATCH = 5_000  # movements posted together when a book is made


class Stock(NamedTuple):
    """A department with tanks half full of one lot, and a chief who acts: ids only, since it goes between processes."""

    department: int
    user: int
    lot: int
    tanks: list[int]


def make_department() -> Department:
    """An empty department, another one each time: what is in the book cannot be taken out again."""
    department = Department.objects.create(name="Quay County Fire Department", slug=f"quay-{uuid.uuid4().hex}")
    Policy.objects.create(department=department, drill_with_pfas=True)
    return department


def make_stock(tanks: int) -> Stock:
    """Tanks on the book, received at one store."""
    department = make_department()
    user = User.objects.create(username=department.slug)
    Membership.objects.create(user=user, department=department, role=Role.CHIEF, from_on=date(2020, 1, 1))
    station = Station.objects.create(department=department, name="Quayside")
    place = Place.objects.create(department=department, station=station)
    product = Concentrate.objects.create(department=department, name="Demo AR-AFFF 3x6", kind="AR-AFFF", pfas="yes")
    lot = Lot.objects.create(department=department, concentrate=product, batch="AR-1")
    made = Container.objects.bulk_create(
        Container(department=department, code=f"T{n}", kind="fixed tank", capacity_ml=TANK_ML) for n in range(tanks)
    )
    ids = [tank.pk for tank in made]
    ledger.post_many(department, [_receipt(tank, lot.pk, place.pk) for tank in ids], acting=OWNER)
    return Stock(department.pk, user.pk, lot.pk, ids)


def _receipt(tank: int, lot: int, place: int) -> Draft:
    half = TANK_ML // 2
    lines = (Line(Account.SUPPLIER, lot, -half), Line(tank, lot, half))
    return Draft(new_id(), MovementKind.RECEIVED, SYSTEM_CLOCK.now(), lines=lines, moves=(Move(tank, None, place),))


def pairs_of_tanks(stock: Stock, count: int) -> Iterator[tuple[bool, int, int]]:
    """For each movement whether it is a use (else a pour), the tank it draws from, and the next one."""
    tanks = len(stock.tanks)
    for n in range(count):
        yield n % 2 == 0, stock.tanks[n % tanks], stock.tanks[(n + 1) % tanks]


# -- posting -----------------------------------------------------------------------------------------------------------


def post_one_by_one(count: int, stock: Stock) -> int:
    """Half uses, half pours, each through its action as a person who signed in."""
    department = Department.objects.get(pk=stock.department)
    acting = Acting(User.objects.get(pk=stock.user), Identity.PASSWORD)
    containers = Container.objects.in_bulk(stock.tanks)
    posted = 0
    for used, source, target in pairs_of_tanks(stock, count):
        entry = Entry(department, acting)
        if used:
            movements.use(entry, container=containers[source], ml=DRAW_ML, account=Account.DRILL)
        else:
            movements.pour(entry, source=containers[source], target=containers[target], ml=DRAW_ML)
        posted += 1
    return posted


def post_in_one_batch(count: int, stock: Stock) -> int:
    """The same movements as drafts, all in one transaction."""
    department = Department.objects.get(pk=stock.department)
    acting = Acting(User.objects.get(pk=stock.user), Identity.PASSWORD)
    drafts = [_draft(*each) for each in pairs_of_tanks(stock, count)]
    return len(ledger.post_many(department, drafts, acting=acting))


def _draft(used: bool, source: int, target: int) -> Draft:
    kind = MovementKind.USED if used else MovementKind.POURED
    draw = Draw(source, Account.DRILL if used else target, DRAW_ML)
    return Draft(new_id(), kind, SYSTEM_CLOCK.now(), draws=(draw,))


_LINE = ("movement_id", "n", "container_id", "account", "lot_id", "ml")
_HEADER = (
    "id",
    "department_id",
    "kind",
    "happened_at",
    "recorded_at",
    "recorded_by_id",
    "identity",
    "device_id",
    "reason",
    "incident",
    "corrects_id",
    "body_sha256",
)
_NUMBERS = {"n", "container_id", "lot_id", "ml", "department_id", "recorded_by_id", "device_id"}


def bare_stock(tanks: int) -> Stock:
    """The same stock, and the floor's tables: the ledger's columns and one key, nothing else."""
    with connection.cursor() as cursor:
        for name, columns, key in (("floor_line", _LINE, "movement_id, n"), ("floor_header", _HEADER, "id")):
            typed = ", ".join(f"{column} {'bigint' if column in _NUMBERS else 'text'}" for column in columns)
            cursor.execute(f"CREATE TABLE IF NOT EXISTS {name} ({typed}, PRIMARY KEY ({key}))")
    return make_stock(tanks)


def insert_one_by_one(count: int, stock: Stock) -> int:
    """Three rows and a commit for each movement."""
    driver = connection.connection
    line, header = _insert("floor_line", _LINE), _insert("floor_header", _HEADER)
    written = 0
    for first, second, head in bare_rows(stock, count):
        driver.execute("BEGIN")
        driver.execute(line, first)
        driver.execute(line, second)
        driver.execute(header, head)
        driver.execute("COMMIT")
        written += 1
    return written


def insert_in_one_batch(count: int, stock: Stock) -> int:
    """All lines, then all headers, one commit."""
    rows = list(bare_rows(stock, count))
    cursor = connection.connection.cursor()
    cursor.execute("BEGIN")
    cursor.executemany(_insert("floor_line", _LINE), [line for row in rows for line in row[:2]])
    cursor.executemany(_insert("floor_header", _HEADER), [row[2] for row in rows])
    cursor.execute("COMMIT")
    return len(rows)


def bare_rows(stock: Stock, count: int) -> Iterator[tuple[tuple[Any, ...], tuple[Any, ...], tuple[Any, ...]]]:
    """Two lines and a header for each movement."""
    now = SYSTEM_CLOCK.now().isoformat()
    for used, source, target in pairs_of_tanks(stock, count):
        pk = new_id().hex
        kind, into, account = ("used", None, "drill") if used else ("poured", target, "")
        out_of = (pk, 1, source, "", stock.lot, -DRAW_ML)
        head = (pk, stock.department, kind, now, now, stock.user, "password", None, "", "", None, "0" * 64)
        yield out_of, (pk, 2, into, account, stock.lot, DRAW_ML), head


def _insert(table: str, columns: tuple[str, ...]) -> str:
    mark = "?" if connection.vendor == "sqlite" else "%s"
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join(mark for _ in columns)})"


# -- workbooks ---------------------------------------------------------------------------------------------------------

LOTS, STORES, RACKS = 50, 20, 10


def make_workbook(path: Path, count: int) -> Path:
    """A workbook of containers in stores, written once: pails and drums of three products."""
    if not path.exists():
        products = ("Demo AR-AFFF 3x6", "Demo AFFF 3", "Demo FP 3")
        kinds = ("AR-AFFF", "AFFF", "FP")
        rows = {
            "stations": [{"name": f"Store {n}"} for n in range(STORES)],
            "concentrates": [{"name": n, "kind": k, "pfas": "yes"} for n, k in zip(products, kinds, strict=True)],
            "lots": [{"concentrate": products[n % 3], "batch": f"L{n}", "makers_date": "2034"} for n in range(LOTS)],
            "containers": [_container_row(n, products[n % LOTS % 3]) for n in range(count)],
        }
        path.write_bytes(write_rows(rows, "us"))
    return path


def _container_row(n: int, product: str) -> dict[str, str]:
    kind, capacity = ("drum", "55") if n % 10 == 0 else ("pail", "5")
    return {
        "code": f"C{n:06}",
        "kind": kind,
        "capacity": capacity,
        "station": f"Store {n % STORES}",
        "compartment": f"rack {n // STORES % RACKS}",
        "concentrate": product,
        "lot": f"L{n % LOTS}",
        "contents": capacity,
        "sealed": "yes",
    }


def fresh_department_and_workbook(path: Path, count: int) -> tuple[int, Path]:
    """A department that has nothing yet."""
    return make_department().pk, make_workbook(path, count)


def take_in(state: tuple[int, Path]) -> int:
    """Read, check and post the whole workbook; every container comes into the book by a movement."""
    department = Department.objects.get(pk=state[0])
    imported = import_workbook(department, state[1].read_bytes(), acting=OWNER)
    if not imported.saved:
        raise RuntimeError("\n".join(fault.sentence for fault in imported.faults[:5]))
    return imported.movements


def iterate(path: Path) -> int:
    """Every cell of every sheet, by the library's read-only way; the containers are counted."""
    book = load_workbook(path, read_only=True)
    filled = {sheet.title: sum(1 for row in sheet.iter_rows() if _any(row)) for sheet in book.worksheets}
    book.close()
    return filled["Containers"] - 1  # less the headings


def _any(row: tuple[Any, ...]) -> bool:
    return len([cell.value for cell in row if cell.value is not None]) > 0


# -- recount -----------------------------------------------------------------------------------------------------------


def make_book(lines: int) -> None:
    """A book of exactly so many lines of containers, made once: twenty to a container, pours save for the last."""
    held = MovementLine.objects.filter(container__isnull=False)
    if held.exists():
        return
    stock = make_stock(max(2, lines // 20))
    department = Department.objects.get(pk=stock.department)
    pours, single = divmod(lines - len(stock.tanks), 2)
    drafts = [_draft(False, source, target) for _, source, target in pairs_of_tanks(stock, pours)]
    drafts += [_draft(True, stock.tanks[0], 0)] * single
    for start in range(0, len(drafts), BATCH):
        ledger.post_many(department, drafts[start : start + BATCH], acting=OWNER)


def count_again(_: None) -> int:
    """The whole recount; a difference would be a fault of the product, not of speed."""
    found = recount()
    if found.differences:
        raise RuntimeError("\n".join(found.differences[:5]))
    return found.lines


def read_lines(_: None) -> int:
    """The same lines, row by row, and nothing done with them."""
    cursor = connection.connection.cursor()
    cursor.execute("SELECT container_id, lot_id, ml FROM readiness_movementline WHERE container_id IS NOT NULL")
    return sum(1 for _ in cursor)


# -- all ---------------------------------------------------------------------------------------------------------------


def pairs(folder: Path, movements_: int, rows: int, lines: int) -> Iterator[Pair]:
    """Everything that is measured. The recount comes first, while the book has its own lines only."""
    opened = connection.ensure_connection
    book = partial(make_book, lines)
    yield Pair(
        "recount, lines", lines, Step(count_again, book, opened), "read the lines", Step(read_lines, book, opened)
    )
    tanks = max(2, movements_ // 50)
    for name, post, floor_name, insert in (
        ("post one by one, movements", post_one_by_one, "3 bare inserts and a commit each", insert_one_by_one),
        ("post in one batch, movements", post_in_one_batch, "3 bare inserts each, one commit", insert_in_one_batch),
    ):
        work = Step(partial(post, movements_), partial(make_stock, tanks), opened)
        floor = Step(partial(insert, movements_), partial(bare_stock, tanks), opened)
        yield Pair(name, movements_, work, floor_name, floor)
    file = folder / "containers.xlsx"
    work = Step(take_in, partial(fresh_department_and_workbook, file, rows), opened)
    floor = Step(iterate, partial(make_workbook, file, rows))
    yield Pair("import a workbook, containers", rows, work, "openpyxl reads the file", floor)


def main(answer: Path, movements_: int, rows: int, lines: int, repeats: int) -> None:
    """Measure everything and leave the answer in a file for the process that asked."""
    found = []
    for pair in pairs(answer.parent, movements_, rows, lines):
        print(f"{pair.name} …", file=sys.stderr, flush=True)
        found.append(compare(pair, repeats))
    title = f"{connection.display_name}, {machine()}; median of {repeats}, work and floor in turn"
    answer.write_bytes(pickle.dumps((title, found)))


if __name__ == "__main__":
    main(Path(sys.argv[1]), *(int(each) for each in sys.argv[2:]))
