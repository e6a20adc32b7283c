"""The template and the filled workbook: what people get, and that what they get reads back."""

import io

import pytest
from openpyxl import load_workbook

from readiness.workbooks.columns import Kind
from readiness.workbooks.reading import read_workbook
from readiness.workbooks.sheets import BY_KEY, SHEETS
from readiness.workbooks.template import write_rows, write_template
from tests.workbooks.books import GOOD, TODAY


def opened(data):
    return load_workbook(io.BytesIO(data))


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_empty_template_reads_back_as_nothing_but_skipped_examples(units):
    reading = read_workbook(write_template(units), units=units, today=TODAY)
    assert reading.faults == []
    assert reading.skipped_examples == len(SHEETS)
    assert not any(reading.rows.values())


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_examples_are_good_rows_once_the_mark_is_gone(units):
    book = opened(write_template(units))
    for sheet in SHEETS:
        cell = book[sheet.title]["A2"]
        assert cell.value.startswith("Example:")
        cell.value = cell.value.removeprefix("Example:").strip() or None
    out = io.BytesIO()
    book.save(out)
    reading = read_workbook(out.getvalue(), units=units, today=TODAY)
    assert [fault.sentence for fault in reading.faults] == []
    assert {len(rows) for rows in reading.rows.values()} == {1}


def test_sheets_have_headings_filters_a_frozen_row_and_notes():
    book = opened(write_template("us"))
    assert book.sheetnames == ["Instructions", *(sheet.title for sheet in SHEETS)]
    for sheet in SHEETS:
        worksheet = book[sheet.title]
        assert [cell.value for cell in worksheet[1]] == [column.heading("us") for column in sheet.columns]
        assert worksheet.freeze_panes == "B2"
        assert worksheet.auto_filter.ref.startswith("A1:")
        assert all(cell.comment is not None and cell.comment.text for cell in worksheet[1])
        assert all(worksheet.column_dimensions[cell.column_letter].width >= 12 for cell in worksheet[1])


def test_headings_carry_the_unit_of_the_department():
    column = BY_KEY["containers"].column("capacity")
    assert (column.heading("us"), column.heading("metric")) == ("Capacity [gal] *", "Capacity [L] *")
    assert BY_KEY["lots"].column("price").heading("us") == "Price [per gal]"


def test_choices_and_references_have_drop_down_lists():
    book = opened(write_template("us"))
    for sheet in SHEETS:
        lists = {
            str(each.sqref).split(":")[0]: each.formula1 for each in book[sheet.title].data_validations.dataValidation
        }
        for index, column in enumerate(sheet.columns):
            source = lists.get(f"{book[sheet.title].cell(1, index + 1).column_letter}2")
            if column.choices:
                assert source == f'"{",".join(column.choices)}"'
                assert len(source) <= 257  # 255 characters between the quotes is what the format allows
            elif column.kind is Kind.REFERENCE:
                assert source.startswith(f"'{BY_KEY[column.sheet].title}'!$")
            else:
                assert source is None
    lots = {str(each.sqref): each.formula1 for each in book["Containers"].data_validations.dataValidation}
    assert "'Lots'!$B$2:$B$5000" in lots.values()


def test_a_label_such_as_3_6_cannot_become_a_date_in_a_column_of_words():
    worksheet = opened(write_template("us"))["Lots"]
    assert worksheet.column_dimensions["B"].number_format == "@"
    assert worksheet["B2"].number_format == "@"


def test_every_column_is_explained_in_the_instructions():
    worksheet = opened(write_template("us"))["Instructions"]
    words = {cell.value for row in worksheet.iter_rows() for cell in row if cell.value}
    for sheet in SHEETS:
        assert {sheet.title, sheet.help} <= words
        assert {column.heading("us") for column in sheet.columns} <= words


def as_text(row):
    return {key: str(cell) for key, cell in row.items() if cell is not None}


@pytest.mark.parametrize("units", ["us", "metric"])
def test_filled_rows_read_back_as_they_were(units):
    rows = {key: [as_text(row)] for key, row in GOOD.items() if key != "other_lots"}
    reading = read_workbook(write_rows(rows, units), units=units, today=TODAY)
    assert [fault.sentence for fault in reading.faults] == []
    assert reading.skipped_examples == 0
    assert reading.rows["containers"][0]["capacity"] == (18_927 if units == "us" else 5_000)
    assert reading.rows["containers"][0]["code"] == "P-1"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1 x", "@SUM(A1)", '=HYPERLINK("x","y")', "\tx"])
def test_words_are_never_formulas(text):
    data = write_rows({"stations": [{"name": text}]}, "us")
    cell = opened(data)["Stations"]["A2"]
    assert cell.data_type == "s"
    assert cell.quotePrefix
    reading = read_workbook(data, units="us", today=TODAY)
    assert reading.faults == []
    assert reading.rows["stations"][0]["name"] == text.strip()


def test_characters_that_no_workbook_may_hold_are_left_out():
    data = write_rows({"stations": [{"name": "Quay\x00side\x0b"}]}, "us")
    assert opened(data)["Stations"]["A2"].value == "Quayside"


def test_names_of_figures_stay_words():
    cell = opened(write_rows({"vehicles": [{"shop_no": "0201"}]}, "us"))["Vehicles"]["A2"]
    assert (cell.value, cell.data_type) == ("0201", "s")


def test_a_column_that_does_not_exist():
    with pytest.raises(KeyError):
        write_rows({"stations": [{"chief": "x"}]}, "us")
    with pytest.raises(KeyError):
        write_rows({"chiefs": []}, "us")


def test_keys_and_titles_are_each_unique():
    for sheet in SHEETS:
        assert len({column.key for column in sheet.columns}) == len(sheet.columns)
        assert len({column.title.casefold() for column in sheet.columns}) == len(sheet.columns)
        assert len(sheet.title) <= 31  # what the format allows
        assert {column.sheet for column in sheet.columns} <= {"", *BY_KEY}
