"""Sheets that claim to be huge, or are: seconds and little memory, never a hang."""

import resource
import time

import pytest

from readiness.workbooks import reading as reading_module
from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.reading import read_workbook
from tests.workbooks.books import TODAY, raw_parts, row_xml, sheet_xml, zipped

HEADINGS = row_xml(1, "Station")


def read_stations(rows_xml, dimension="A1:A3"):
    return read_workbook(zipped(raw_parts(sheet_xml(rows_xml, dimension), "Stations")), units="us", today=TODAY)


def timed(call):
    start = time.perf_counter()
    result = call()
    return result, time.perf_counter() - start


@pytest.mark.parametrize("dimension", ["A1:XFD1048576", "A1:XFD10000000", "A1", "ZZ9:ZZ9"])
def test_a_wrong_size_in_the_file_is_not_believed(dimension):
    rows = HEADINGS + row_xml(2, "Quayside") + row_xml(3, "Millrace")
    result, seconds = timed(lambda: read_stations(rows, dimension))
    assert [row["name"] for row in result.rows["stations"]] == ["Quayside", "Millrace"]
    assert result.faults == []
    assert seconds < 2


def test_a_row_far_below_the_others_keeps_its_number():
    result = read_stations(HEADINGS + row_xml(150_000, "Quayside"))
    assert [(row.number, row["name"]) for row in result.rows["stations"]] == [(150_000, "Quayside")]


def test_a_row_number_beyond_every_sheet_ends_the_reading():
    result, seconds = timed(lambda: read_stations(HEADINGS + row_xml(2, "Quayside") + row_xml(10**12, "Millrace")))
    assert [row["name"] for row in result.rows["stations"]] == ["Quayside"]
    assert ["delete the rows below row 2" in fault.sentence for fault in result.faults] == [True]
    assert seconds < 10


@pytest.mark.parametrize("count", [100_000, 1_000_000])
def test_formatted_empty_rows_below_the_last_entry(count):
    empty = b"".join(b'<row r="%d" ht="15"/>' % number for number in range(3, count + 3))
    rows = HEADINGS + row_xml(2, "Quayside") + empty
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    result, seconds = timed(lambda: read_stations(rows))
    grown_mb = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    assert [row["name"] for row in result.rows["stations"]] == ["Quayside"]
    assert [fault.row for fault in result.faults] == ([] if count == 100_000 else [200_003])
    assert seconds < 10
    assert grown_mb < 300


def test_ten_million_empty_rows_are_refused_in_seconds():
    start = time.perf_counter()
    with pytest.raises(NotAWorkbook, match="delete the empty rows"):
        read_stations(HEADINGS + b"<row/>" * 10_000_000)
    assert time.perf_counter() - start < 10


def test_more_filled_rows_than_a_sheet_may_hold(monkeypatch):
    monkeypatch.setattr(reading_module, "MOST_ROWS", 2)
    result = read_stations(HEADINGS + b"".join(row_xml(number, f"Station {number}") for number in range(2, 6)))
    assert len(result.rows["stations"]) == 2
    assert ["more than 2 rows" in fault.sentence for fault in result.faults] == [True]
