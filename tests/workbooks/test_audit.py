"""The audit workbook's writer: real numbers and days, harmless text, totals by formula, charts, bounded memory."""

from __future__ import annotations

import io
import tempfile
import tracemalloc
from datetime import date, datetime
from decimal import Decimal

import pytest
from openpyxl import load_workbook

from readiness.workbooks import audit
from readiness.workbooks.audit import Chart, Column, Sheet, write_audit

DAY = datetime.fromisoformat("2026-06-15T00:00")  # spreadsheets know no time zones
AT = datetime.fromisoformat("2026-06-15T06:30")
COLUMNS = (
    Column("Name", width=20),
    Column("Volume", "number", "gal", total=True),
    Column("Count", "whole", total=True),
    Column("Day", "day"),
    Column("At", "moment"),
    Column("Cost", "money"),
)
ROWS = (
    ("pails", 5.000123456789, 9, date(2026, 6, 15), AT, Decimal("27.50")),
    ("=1+1", 0.25, 1, None, None, None),
)


def written(sheets, charts=()):
    file = io.BytesIO()
    counts = write_audit(file, [("Department", "Quay County"), ("As of", "=NOW()")], sheets, charts).rows
    file.seek(0)
    return load_workbook(file), counts


def test_values_are_what_they_are_and_keep_their_formats():
    book, counts = written([Sheet("Stock", "by kind", COLUMNS, ROWS)])
    sheet = book["Stock"]
    assert counts == {"Stock": 2}
    assert [cell.value for cell in sheet[1]] == ["Name", "Volume [gal]", "Count", "Day", "At", "Cost"]
    assert [cell.value for cell in sheet[2]] == [
        "pails",
        5.000123456789,
        9,
        DAY,
        AT,
        27.5,
    ]
    assert [cell.number_format for cell in sheet[2]] == [
        "General",
        "#,##0.00",
        "#,##0",
        "yyyy-mm-dd",
        "yyyy-mm-dd hh:mm",
        "#,##0.00",
    ]
    assert (sheet.freeze_panes, sheet.auto_filter.ref, sheet.column_dimensions["A"].width) == ("B2", "A1:F3", 20)


def test_text_that_begins_with_a_formula_sign_is_harmless():
    book, _ = written([Sheet("Stock", "-", COLUMNS, ROWS)])
    for cell in (book["Stock"]["A3"], book["About"]["B2"]):
        assert (cell.data_type, cell.quotePrefix) == ("s", True)


def test_totals_are_formulas_over_the_rows_that_the_filter_leaves():
    book, _ = written([Sheet("Stock", "-", COLUMNS, ROWS)])
    total = [cell.value for cell in book["Stock"][4]]
    assert total == ["Total of the rows shown", "=SUBTOTAL(109,B2:B3)", "=SUBTOTAL(109,C2:C3)", None, None, None]


def test_an_empty_sheet_has_its_head_and_no_total():
    book, counts = written([Sheet("Lots", "-", COLUMNS, ())], [Chart("none", "Lots", 0, (1,), "gal")])
    assert (book["Lots"].max_row, counts["Lots"], book["About"]._charts) == (1, 0, [])


def test_the_first_sheet_tells_of_the_others_and_holds_the_charts():
    book, _ = written([Sheet("Stock", "by kind", COLUMNS, ROWS)], [Chart("Stock", "Stock", 0, (1, 2), "gal", True)])
    about = book["About"]
    assert book.sheetnames == ["About", "Stock"]
    assert ("Stock", "by kind", 2) in list(about.iter_rows(values_only=True))
    (chart,) = about._charts
    assert [series.val.numRef.f for series in chart.series] == ["'Stock'!$B$2:$B$3", "'Stock'!$C$2:$C$3"]
    assert chart.grouping == "stacked"


def test_more_rows_than_a_sheet_has_go_on_another(monkeypatch):
    monkeypatch.setattr(audit, "MOST_ROWS", 2)
    book, counts = written([Sheet("Movements", "-", (Column("No.", "whole", total=True),), [(n,) for n in range(5)])])
    assert book.sheetnames == ["About", "Movements", "Movements 2", "Movements 3"]
    assert counts == {"Movements": 5}
    assert [row[0] for row in book["Movements 3"].iter_rows(values_only=True)] == ["No.", 4, "=SUBTOTAL(109,A2:A2)"]


@pytest.mark.parametrize("value", [object(), True, [1]])
def test_what_is_no_number_day_or_text_is_refused(value, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with pytest.raises(TypeError, match="is no number, day or text for a workbook"):
        written([Sheet("Stock", "-", (Column("Name"),), [("good",), (value,)])])
    assert list(tmp_path.iterdir()) == [], "nothing of it is left on disk"


def test_memory_does_not_grow_with_the_rows():
    def peak(rows):
        columns = (Column("Movement", width=37), Column("Volume", "number", "gal", total=True))
        tracemalloc.start()
        write_audit(io.BytesIO(), [], [Sheet("Movements", "-", columns, ((f"row {n}", n) for n in range(rows)))], [])
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(10)  # what is loaded once
    assert peak(8_000) < peak(500) + 2_000_000  # bytes: 7,500 rows as cells would be some 10 MB


@pytest.mark.parametrize(
    "text",
    [
        "pails",
        "12",
        "2026-06-15",
        "TRUE",
        "a",
        "=1+1",
        "a=1",
        "#N/A",
        "#REF! read",
        "+5",
        "-5",
        "@x",
        "“old” was read",
        "a\nb",
        "x" * 300,
        "\ttab",
        " lead",
        "Größe",
        "1e5",
        "50 %",
    ],
)
def test_text_stays_the_text_that_it_is(text):
    book, _ = written([Sheet("Stock", "by kind", (Column("Name"),), [(text,)])])
    cell = book["Stock"]["A2"]
    assert (cell.value, cell.data_type) == (text, "s")
