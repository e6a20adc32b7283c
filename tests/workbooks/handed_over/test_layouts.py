"""The proposed layout: sheet, headings, what each column tells, the unit, the order of day and month."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from readiness.workbooks.handed_over import layouts
from readiness.workbooks.handed_over.headings import heading_meaning, heading_unit
from readiness.workbooks.handed_over.layouts import (
    faults_of,
    fingerprint,
    from_json,
    guess_layout,
    to_json,
)
from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.records import Layout, Meaning, SheetRows
from tests.workbooks.handed_over.books import HEADINGS, PLAIN, book_of, csv_of, opened, row, saved, stored

IN_ORDER = (
    Meaning.STATION, Meaning.WHERE, Meaning.PRODUCT, Meaning.KIND, Meaning.PERCENT, Meaning.CONTAINER, Meaning.QUANTITY,
    Meaning.SIZE, Meaning.LOT, Meaning.MADE, Meaning.GOOD_THROUGH, Meaning.NOTES,
)  # fmt: skip


def guess(*rows, units="us", **how):
    return guess_layout(opened(*rows, **how), units=units)


def test_columns_by_their_headings():
    found = guess(row(), row(Qty=2))
    assert found.layout.meanings == IN_ORDER
    assert found.layout.header_row == 1
    assert all(column.why.endswith(".") for column in found.columns)
    assert [column.letter for column in found.columns][:3] == ["A", "B", "C"]


@pytest.mark.parametrize(
    ("heading", "meaning"),
    [
        ("Lot #", Meaning.LOT), ("BATCH NO.", Meaning.LOT), (" Notes", Meaning.NOTES),
        ("Exp. Date", Meaning.GOOD_THROUGH),
        ("Good thru", Meaning.GOOD_THROUGH), ("Mfg", Meaning.MADE), ("Date of Manufacture", Meaning.MADE),
        ("%", Meaning.PERCENT), ("Qty", Meaning.QUANTITY), ("#", Meaning.QUANTITY), ("Qty (gal)", Meaning.VOLUME),
        ("Size (gal)", Meaning.SIZE), ("Gallons", Meaning.VOLUME), ("Total gal", Meaning.VOLUME),
        ("Rig", Meaning.WHERE),
        ("Container type", Meaning.CONTAINER), ("Foam type", Meaning.KIND), ("Brand", Meaning.PRODUCT),
        ("Barcode", Meaning.CODE), ("Remarks", Meaning.NOTES), ("Chief's birthday", None), ("", None),
    ],
)  # fmt: skip
def test_headings(heading, meaning):
    assert heading_meaning(heading) is meaning


@pytest.mark.parametrize(
    ("heading", "unit"),
    [("Size (gal)", "gal"), ("Capacity [L]", "L"), ("imp gallons", "imp gal"), ("Total litres", "L"), ("Size", ""),
     ("updated 3/11/26 - gallons unless noted", "gal"), ("Qty (pails)", "")],
)  # fmt: skip
def test_units_in_headings(heading, unit):
    assert heading_unit(heading) == unit


def test_columns_without_headings_by_what_stands_in_them():
    lines = [row(Lot=f"LK-{n}", Qty=n % 5 + 1, Notes=f"looked at on a Monday, shelf {n}") for n in range(20)]
    found = guess_layout(opened(*lines[1:], headings=lines[0]), units="us")
    meanings = found.layout.meanings
    assert found.layout.header_row == 0
    for at, meaning in enumerate(IN_ORDER):
        if meaning not in {Meaning.MADE, Meaning.GOOD_THROUGH, Meaning.QUANTITY, Meaning.PERCENT}:
            assert meanings[at] is meaning, at
    assert not any(column.sure for column in found.columns if column.meaning is not Meaning.IGNORED)


def test_headings_in_words_of_their_own_are_still_no_stock():
    found = guess(*[tuple(PLAIN[:4])] * 3, headings=("Wo", "Genau", "Mittel", "Sorte"))
    assert found.layout.header_row == 1
    assert "no figures" in found.header_why


def test_a_column_that_tells_nothing_known_is_kept_with_the_notes():
    found = guess((*row(), "J. at shop"), headings=(*HEADINGS, "Counted by"))
    assert (found.columns[-1].meaning, found.columns[-1].sure) == (Meaning.NOTES, False)
    assert "J. at shop" in found.columns[-1].why


def test_two_columns_of_gallons():
    both = guess((4, 5, 20, "x"), (2, 5, 10, "y"), headings=("Qty", "Size", "Total gal", "Product"))
    assert both.layout.meanings[:3] == (Meaning.QUANTITY, Meaning.SIZE, Meaning.VOLUME)
    each = guess((4, 5, "x"), (1, 55, "y"), headings=("Qty", "Gallons", "Product"))
    assert (each.layout.meanings[1], each.columns[1].sure) == (Meaning.SIZE, False)
    together = guess((4, 20.5, "x"), (3, 14, "y"), headings=("Qty", "Gallons", "Product"))
    assert together.layout.meanings[1] is Meaning.VOLUME


def test_the_unit_of_bare_numbers():
    plain = ("Station", "Product", "Qty", "Size")
    line = ("Sta 1", "Larkite", 4, 5)
    said = guess(line, headings=plain, above=("Foam list", "all figures in litres"))
    assert (said.layout.volume_unit, "all figures in litres" in said.unit_why) == ("L", True)
    assert guess(line, headings=plain).layout.volume_unit == "gal"
    assert guess(line, headings=plain, units="metric").layout.volume_unit == "L"
    assert "own unit" in guess(line, headings=plain).unit_why
    assert guess(line, headings=("Station", "Product", "Qty", "Size (imp gal)")).layout.volume_unit == "imp gal"


@pytest.mark.parametrize(
    ("rows", "day_first", "why"),
    [
        ([row(Mfg="5/9/2022"), row(Mfg="2/14/26")], False, "“2/14/26” in row 3"),
        ([row(Mfg="5/9/2022"), row(Mfg="14/2/26")], True, "“14/2/26” in row 3"),
        ([row(Mfg="5/9/2022", Notes="1 opened 2/14/26")], False, "“2/14/26” in row 2"),
        ([row(Mfg=stored(2022, 5, 9)), row(Mfg="5/9/2022")], False, "same lot in row 2"),
        ([row(Mfg=stored(2022, 5, 9)), row(Mfg="9/5/22")], True, "same lot in row 2"),
        ([row(Mfg="14/2/26"), row(Mfg="2/14/26")], None, "Both orders"),
        ([row(Mfg="5/9/2022"), row(Mfg="3/4/26")], None, "No date"),
        ([row()], None, "No date"),
    ],
)
def test_the_order_of_day_and_month(rows, day_first, why):
    found = guess(*rows)
    assert found.layout.day_first is day_first
    assert why in found.days_why


def test_the_sheet_that_is_stock():
    book = Workbook()
    book.active.title = "Rigs & nozzles"
    book.active.append(["Unit", "Water (gal)", "Eductor", "Nozzle"])
    for number in range(50):
        book.active.append([f"Engine {number}", 750, "95 gpm", "95 gpm at 100 psi"])
    stock = book.create_sheet("Sheet2")
    stock.append(HEADINGS)
    stock.append(row())
    book.create_sheet("Sheet3")
    found = layouts.guess(open_sheets(saved(book), name="x"), units="us")
    assert found.layout.sheet == "Sheet2"


def test_a_header_row_that_a_person_names():
    sheet = opened(row(), above=("Foam",))
    assert guess_layout(sheet, units="us").layout.header_row == 2
    chosen = guess_layout(sheet, units="us", header_row=1)
    assert (chosen.layout.header_row, chosen.header_why) == (1, "Row 1 was chosen.")
    assert guess_layout(sheet, units="us", header_row=0).layout.header_row == 0


LAYOUT = Layout("stock", 1, IN_ORDER, "gal", False)


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (LAYOUT._replace(meanings=(*IN_ORDER[:3], Meaning.PRODUCT, *IN_ORDER[4:])), "columns C, D"),
        (LAYOUT._replace(meanings=(Meaning.NOTES,) * 12), "No column was given for the product"),
        (LAYOUT._replace(meanings=(Meaning.PRODUCT, *(Meaning.NOTES,) * 11)), "how much there is"),
        (LAYOUT._replace(meanings=IN_ORDER[:5]), "5 columns were given a meaning and the sheet has 12"),
        (LAYOUT._replace(header_row=9), "Row 9 was given as the headings and is empty"),
        (LAYOUT._replace(volume_unit="psi"), "choose gal, imp gal or L"),
        (LAYOUT._replace(volume_unit="pails"), "choose gal, imp gal or L"),
    ],
)
def test_a_mapping_that_cannot_be_used(layout, words):
    assert any(words in sentence for sentence in faults_of(layout, opened(row(Notes="x"))))


def test_a_mapping_that_can_be_used():
    assert faults_of(LAYOUT, opened(row(Notes="x"))) == ()
    assert from_json(to_json(LAYOUT)) == LAYOUT
    assert from_json(to_json(LAYOUT._replace(day_first=None))).day_first is None
    with pytest.raises(ValueError, match="header_row"):
        from_json({"sheet": "stock"})
    with pytest.raises(ValueError, match="birthday"):
        from_json({**to_json(LAYOUT), "meanings": ["birthday"]})


def test_a_fingerprint_is_of_the_headings_alone():
    one, other = opened(row()), opened(row(Qty=9), row(), above=())
    assert fingerprint(one, 1) == fingerprint(other, 1)
    assert fingerprint(one, 1) == fingerprint(opened(row(), above=("a title",)), 2)
    assert fingerprint(one, 1) == fingerprint(csv_of(",".join(HEADINGS).upper() + "\n1,2\n").sheets[0], 1)
    assert fingerprint(one, 1) != fingerprint(opened(row(), headings=(*HEADINGS[:11], "Remarks")), 1)
    assert fingerprint(one, 1) != fingerprint(opened(row(), headings=HEADINGS[::-1]), 1)
    assert fingerprint(one, 1) != fingerprint(one, 0)


CELLS = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=12)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(CELLS.filter(str.strip), min_size=3, max_size=6, unique=True),
    st.lists(st.lists(CELLS, min_size=3, max_size=6), max_size=3),
    st.lists(st.lists(CELLS, min_size=3, max_size=6), max_size=3),
)
def test_the_same_headings_have_the_same_fingerprint(headings, rows, others):
    def sheet(lines) -> SheetRows:
        book = book_of(*lines, headings=headings)
        for line in book.active.iter_rows():
            for cell in line:
                cell.data_type = "s" if cell.value is not None else "n"
        return open_sheets(saved(book), name="x").sheets[0]

    assert fingerprint(sheet(rows), 1) == fingerprint(sheet(others), 1)


def test_of_two_headings_that_say_the_same_the_column_that_looks_like_it_counts():
    lines = [("Larkite", 4, "ask the chief", f"20{n}-05-09") for n in range(27, 35)]
    found = guess(*lines, headings=("Product", "Qty", "Exp", "Expires"))
    assert found.layout.meanings[2:] == (Meaning.NOTES, Meaning.GOOD_THROUGH)


def test_a_table_with_a_column_for_each_station_is_not_read_by_halves():
    sheet = opened(("AFFF pails", 12, 4, 16), headings=("Item", "Sta 1", "Sta 2", "Total"))
    layout = guess_layout(sheet, units="us").layout
    assert layout.header_row == 1
    assert any("B (Sta 1), C (Sta 2) are headed by places" in fault for fault in faults_of(layout, sheet))
    left = layout._replace(meanings=(layout.meanings[0], Meaning.IGNORED, Meaning.IGNORED, Meaning.VOLUME))
    assert not any("headed by places" in fault for fault in faults_of(left, sheet))


def test_headings_that_say_two_things_count_for_the_first():
    assert heading_meaning("Brand/Type") is Meaning.PRODUCT
    assert heading_meaning("Qty & size") is Meaning.QUANTITY
    assert heading_meaning("Batch/Lot") is Meaning.LOT


def test_a_column_of_remarks_is_no_product():
    found = guess(*[("Engine 1", "Class A", 4, "jt")] * 4, headings=("Unit", "Foam Type", "Amount", ""))
    assert found.layout.meanings[3] is Meaning.NOTES
