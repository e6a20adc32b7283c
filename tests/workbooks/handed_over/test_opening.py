"""What a file holds, cell by cell: compared with the library that writes workbooks, and with text written by hand."""

import io
from datetime import date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.utils import get_column_letter

from readiness.workbooks.handed_over.opening import NotAWorkbook, open_sheets
from tests.workbooks.books import raw_parts, sheet_xml, zipped
from tests.workbooks.handed_over.books import book_of, csv_of, opened, row, saved, stored

DAYS = st.dates(date(1901, 1, 1), date(2150, 12, 31)).map(lambda day: stored(day.year, day.month, day.day))
WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")) | st.sampled_from("\n\t"), min_size=1, max_size=20
)
VALUES = (
    st.none() | WORDS | st.integers(-(10**12), 10**12) | st.floats(-1e9, 1e9, allow_nan=False) | st.booleans() | DAYS
)


def by_the_library(data):
    """Number of the row → its values by column, as openpyxl reads them; what cannot be seen left out."""
    found = {}
    book = load_workbook(io.BytesIO(data))
    for line in book.active.iter_rows():
        for each in line:
            if each.value is not None and str(each.value).strip():
                found.setdefault(each.row, {})[each.column - 1] = each.value
    return found


def by_us(data):
    sheet = open_sheets(data, name="x.xlsx").sheets[0]
    return {
        line.number: {at: each.value for at, each in enumerate(line.cells) if each is not None} for line in sheet.rows
    }


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(VALUES, min_size=1, max_size=6), min_size=1, max_size=6))
def test_the_values_are_those_of_the_library(rows):
    book = Workbook()
    book.active.append(["kept so that the sheet is never empty"])
    for line in rows:
        book.active.append(line)
    for line in book.active.iter_rows():
        for each in line:
            each.data_type = "s" if each.data_type == "f" else each.data_type  # words that begin with "="
    data = saved(book)
    assert by_us(data) == by_the_library(data)


def test_days_counted_from_1904():
    book = Workbook()
    book.epoch = datetime.combine(date(1904, 1, 1), datetime.min.time())
    book.active["A1"] = stored(2022, 5, 9)
    data = saved(book)
    assert by_us(data) == by_the_library(data) == {1: {0: stored(2022, 5, 9)}}


def test_rows_keep_the_numbers_of_the_sheet_and_empty_ones_are_left_out():
    book = Workbook()
    book.active["C3"], book.active["B9"], book.active["B10"] = "pail", 5, "   "
    sheet = open_sheets(saved(book), name="x.xlsx").sheets[0]
    assert [(line.number, len(line.cells)) for line in sheet.rows] == [(3, 3), (9, 2)]
    assert sheet.width == 3
    assert sheet.rows[0].cell(2).text == "pail"
    assert sheet.rows[0].cell(99) is None


def test_what_stands_beside_the_cells_is_said():
    book = book_of(row(), row(Qty="=SUM(G2:G2)"))
    sheet = book.active
    sheet.merge_cells("A4:C4")
    sheet["L2"].comment = Comment("check with shop", "somebody")
    sheet.row_dimensions[3].hidden = True
    sheet.column_dimensions["I"].hidden = True
    book.create_sheet("hidden one").sheet_state = "hidden"
    book["hidden one"]["A1"] = "pails"
    first, second = open_sheets(saved(book), name="x.xlsx").sheets
    said = " ".join(first.notes)
    for words in (
        "A4:C4 are merged",
        "Column I is hidden",
        "row 3",
        "G3 holds the formula “=SUM(G2:G2)”",
        "check with",
    ):
        assert words in said
    assert first.rows[1].comments == ((11, "check with shop"),)
    assert (first.rows[2].hidden, second.hidden) == (True, True)
    assert "This sheet is hidden in the workbook." in second.notes


def test_a_formula_gives_the_value_stored_with_it():
    body = b'<row r="1"><c r="A1"><f>SUM(B1:B9)</f><v>14</v></c><c r="B1"><f>A1</f></c></row>'
    cells = open_sheets(zipped(raw_parts(sheet_xml(body))), name="x").sheets[0].rows[0].cells
    assert [(cell.value, cell.formula) for cell in cells] == [(14, "=SUM(B1:B9)"), (None, "=A1")]


def test_many_of_a_sort_are_counted():
    book = Workbook()
    book.active.append([f"=A{n}" for n in range(2, 32)])
    notes = open_sheets(saved(book), name="x").sheets[0].notes
    assert notes[-1] == "There are 20 more of this sort (formula)."


TEXT = "Station,Where,Qty\nSta 1,réserve – 1,4\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (TEXT.encode(), "comma-separated text, UTF-8"),
        (TEXT.encode("utf-8-sig"), "comma-separated text, UTF-8"),
        (TEXT.encode("utf-16"), "comma-separated text, UTF-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "comma-separated text, UTF-16"),
        (TEXT.encode("cp1252"), "comma-separated text, Windows-1252"),
        (TEXT.replace(",", ";").encode(), "semicolon-separated text, UTF-8"),
        (TEXT.replace(",", "\t").encode(), "tab-separated text, UTF-8"),
        (TEXT.replace(",", "|").replace("\n", "\r").encode(), "bar-separated text, UTF-8"),
    ],
)
def test_encodings_and_delimiters(data, words):
    file = csv_of(data)
    assert (file.kind, file.words) == ("csv", words)
    assert [[cell.text for cell in line.cells] for line in file.sheets[0].rows] == [
        ["Station", "Where", "Qty"],
        ["Sta 1", "réserve – 1", "4"],
    ]


def test_a_guessed_encoding_is_said_with_a_letter_to_look_at():
    assert "“réserve – 1”" in csv_of(TEXT.encode("cp1252")).sheets[0].notes[0]
    assert csv_of(TEXT).sheets[0].notes == ()


def test_lines_of_a_csv_keep_their_row_numbers_and_the_file_its_name():
    sheet = csv_of('a,b\n\n,,\n"two\nlines",1\nlast,2\n', name="C:\\lists\\foam on hand.csv").sheets[0]
    assert [(line.number, line.cells[0].text) for line in sheet.rows] == [(1, "a"), (4, "two lines"), (5, "last")]
    assert sheet.title == "foam on hand"


def test_a_line_that_names_the_delimiter():
    sheet = csv_of("sep=;\nStation;Where, exactly\n1;shed\n").sheets[0]
    assert "first line" in sheet.notes[0]
    assert sheet.rows[1].cells[1].text == "Where, exactly"


def test_a_workbook_of_another_shape_is_refused_with_the_place():
    book = Workbook()
    book.active.cell(7, 300).value = "far out"
    with pytest.raises(NotAWorkbook, match=f"cell {get_column_letter(300)}7"):
        open_sheets(saved(book), name="x.xlsx")


def test_one_cell_is_one_object_wherever_it_returns():
    """Equal cells are shared, which is what keeps a long sheet small."""
    first, second = opened(row(), row()).rows[1:]
    assert all(one is other for one, other in zip(first.cells, second.cells, strict=True))
