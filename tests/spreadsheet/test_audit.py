"""The audit workbook converted headless: cells equal the report, totals agree, no cell is an error, charts stand."""

from __future__ import annotations

import zipfile
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.db import transaction

from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry, use
from readiness.actions.nights import run_night
from readiness.actions.permissions import OWNER
from readiness.engineering.records import Moment
from readiness.models import Container, Department, Inventory, InventoryResult
from readiness.models.inventories import Explanation, Stage, What
from readiness.models.movements import Account
from readiness.reports.audit import Audit, audit
from readiness.reports.inventory import load_inventory
from readiness.workbooks.audit import Column, write_audit
from tests.cast import D0
from tests.county import LOCAL_SIX, loaded
from tests.reports.test_audit import GAL_ML, SHEETS

pytestmark = pytest.mark.django_db  # or pytest-django makes no tables

ERRORS = ("#REF!", "#NAME?", "#VALUE!", "#DIV/0!", "#NULL!", "#NUM!", "#N/A", "Err:")


class Told(NamedTuple):
    """What the reports say, sheet by sheet, and the same as the spreadsheet program reads it."""

    sheets: dict[str, tuple[tuple[Column, ...], list[tuple[Any, ...]]]]
    held_ml: int
    book: Any


def county() -> Department:
    """The demo's county after its night, with one movement whose reason looks like a formula."""
    department = loaded()
    run_night(departments=[department], clock=StoppedClock(LOCAL_SIX))
    entry = Entry(department, OWNER, StoppedClock(LOCAL_SIX), reason='=HYPERLINK("http://x","y")', incident="+1")
    use(entry, container=Container.objects.get(code="T-211"), ml=20_000, account=Account.INCIDENT)
    signed_inventory(department)
    return department


def signed_inventory(department: Department) -> None:
    """Three containers counted, one of them 2 L less than the book; how it comes about is tested elsewhere."""
    taken = {"opened_at": LOCAL_SIX, "closed_at": LOCAL_SIX, "stage": Stage.CLOSED}
    inventory = Inventory.objects.create(department=department, scope="Quayside store", **taken)
    for number, container in enumerate(Container.objects.filter(contents_ml__gt=2_000).order_by("code")[:3]):
        less = 2_000 if number == 1 else 0
        InventoryResult.objects.create(
            inventory=inventory,
            container=container,
            code=container.code,
            what=What.VOLUME if less else What.NOTHING,
            explanation=Explanation.LEAK if less else "",
            book_ml=container.contents_ml,
            counted_ml=container.contents_ml - less,
            at=LOCAL_SIX,
        )


def audit_of(department: Department) -> Audit:
    return audit(department, Moment(LOCAL_SIX, D0), "Odile Marsh, logistics officer", "us")


@pytest.fixture(scope="module")
def told(django_db_setup: None, django_db_blocker: Any, opened: Any, tmp_path_factory: Any) -> Told:
    """Written once, read once more from the reports, and opened."""
    file: Path = tmp_path_factory.mktemp("audit") / "audit.xlsx"
    with django_db_blocker.unblock(), transaction.atomic():
        department = county()
        found = audit_of(department)
        with file.open("wb") as written:
            write_audit(written, found.facts, found.sheets, found.charts)
        sheets = {sheet.title: (sheet.columns, list(map(tuple, sheet.rows))) for sheet in audit_of(department).sheets}
        held = sum(item.contents_ml for item in load_inventory(department, D0).items)
        transaction.set_rollback(True)
    return Told(sheets, held, opened(file))


def same(read: str, value: Any) -> bool:
    """Whether a cell of the program says what the report says."""
    if value is None or value == "":
        return read == ""
    if isinstance(value, datetime):
        return datetime.fromisoformat(read) == value.replace(second=0, microsecond=0)
    if isinstance(value, date):
        return date.fromisoformat(read) == value
    if isinstance(value, int | float | Decimal):
        return bool(float(read) == pytest.approx(float(value), rel=1e-9, abs=1e-9))
    return read == str(value)


def test_every_cell_of_every_sheet_is_what_the_report_says(told: Told) -> None:
    assert set(told.book.sheets) == set(SHEETS)
    compared = 0
    for title, (columns, rows) in told.sheets.items():
        head, *read = told.book.sheets[title]
        assert head == [column.heading for column in columns], title
        for number, row in enumerate(rows):
            wrong = [(h, r, v) for h, r, v in zip(head, read[number], row, strict=True) if not same(r, v)]
            assert wrong == [], (title, number + 2)
            compared += len(row)
    assert compared > 10_000, "the county has 120 containers and their movements"
    assert all(rows for _, rows in told.sheets.values()), "each sheet has something to compare"


def test_totals_by_formula_agree_with_the_values(told: Told) -> None:
    tried = 0
    for title, (columns, rows) in told.sheets.items():
        if not any(column.total for column in columns):
            continue
        last = told.book.sheets[title][len(rows) + 1]
        assert last[0] == "Total of the rows shown", title
        for number, column in enumerate(columns):
            if column.total:
                values = [row[number] for row in rows if isinstance(row[number], int | float | Decimal)]
                assert float(last[number]) == pytest.approx(float(sum(values)), abs=1e-6), (title, column.heading)
                tried += 1
    assert tried >= 15


def test_the_ledger_comes_to_nothing_and_the_containers_to_what_the_book_holds(told: Told) -> None:
    assert float(told.book.sheets["Movements"][-1][9]) == pytest.approx(0, abs=1e-6)
    assert float(told.book.sheets["Containers"][-1][6]) == pytest.approx(told.held_ml / GAL_ML)


def test_no_cell_is_an_error_and_no_text_became_a_formula(told: Told) -> None:
    cells = [cell for rows in told.book.sheets.values() for row in rows for cell in row]
    assert [cell for cell in cells if cell.startswith(ERRORS)] == []
    assert '=HYPERLINK("http://x","y")' in cells
    assert "+1" in cells


def test_both_charts_are_drawn(told: Told) -> None:
    (made,) = told.book.convert("ods")
    with zipfile.ZipFile(made) as book:
        charts = [name for name in book.namelist() if name.startswith("Object") and name.endswith("content.xml")]
        texts = [book.read(name).decode() for name in charts]
    drawn = [text for text in texts if 'chart:class="chart:bar"' in text]
    assert len(drawn) == 2
    assert any("Stock by concentrate and station [gal]" in text for text in drawn)
    assert any("Cost by budget year" in text for text in drawn)
    assert all(text.count("<chart:series ") == 2 for text in drawn)


def test_it_prints(told: Told) -> None:
    (made,) = told.book.convert("pdf")
    data = made.read_bytes()
    assert data.startswith(b"%PDF")
    assert data.count(b"/Type/Page") > 5
