"""Cells to typed values, and every bad input with its sentence.

Expected quantities are hand arithmetic from the definitions: 1 US gal = 3.785411784 L, 1 imp gal = 4.54609 L,
1 ft = 0.3048 m, 1 psi = 6.894757293 kPa, 1 lb = 0.45359237 kg (check values 1 to 3 of the published definitions).
"""

from datetime import date, time
from decimal import Decimal

import pytest

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.columns import Kind
from readiness.workbooks.reading import read_workbook
from readiness.workbooks.rows import HoseLeg, Price, Rate
from readiness.workbooks.sheets import BY_KEY, SHEETS
from tests.workbooks.books import (
    GOOD,
    TODAY,
    book_of,
    only_fault,
    raw_parts,
    read,
    read_one,
    refused,
    row_xml,
    saved,
    sheet_xml,
    value,
    zipped,
)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_good_rows_are_good(units):
    reading = read({key: [row] for key, row in GOOD.items() if key != "other_lots"}, units)
    assert [fault.sentence for fault in reading.faults] == []
    assert {key: len(rows) for key, rows in reading.rows.items()} == dict.fromkeys(GOOD, 1) | {"other_lots": 0}
    assert reading.sound


def test_every_key_is_there_and_empty_cells_have_the_empty_value_of_their_kind():
    row = read_one("appliances").rows["appliances"][0]
    assert set(row.values) == {column.key for column in BY_KEY["appliances"].columns}
    assert (row["vehicle"], row["rating_basis"], row["settings"]) == ("", "", ())
    assert (row["rated_flow"], row["accepts_thick"]) == (None, None)
    assert row.number == 2


@pytest.mark.parametrize(
    ("cell", "ml"),
    [
        (5, 18_927),  # 5 × 3785.411784 = 18,927.06
        (5.0, 18_927),
        ("5", 18_927),
        (" 5 gal ", 18_927),
        ("19 L", 19_000),
        ("18.9 litres", 18_900),
        ("5 imp gal", 22_730),  # 5 × 4546.09 = 22,730.45
        ("20 qt", 18_927),
        ("1,000 gal", 3_785_412),
    ],
)
def test_volumes(cell, ml):
    assert value("containers", "capacity", cell, contents=1) == ml


def test_a_bare_number_takes_the_unit_of_the_heading_and_not_of_the_department():
    data = book_of({"containers": [GOOD["containers"] | {"capacity": 20, "contents": 19}]}, "metric")
    reading = read_workbook(data, units="us", today=TODAY)
    assert reading.faults == []
    assert reading.rows["containers"][0]["capacity"] == 20_000


@pytest.mark.parametrize(
    ("sheet", "key", "cell", "si"),
    [
        ("appliances", "rated_flow", 95, 359.61411948),  # 95 × 3.785411784
        ("appliances", "rated_flow", "360 L/min", 360.0),
        ("lines", "inlet_pressure", 200, 1378.9514586),  # 200 × 6.894757293
        ("lines", "inlet_pressure", "14 bar", 1400.0),
        ("lines", "height", -10, -3.048),
        ("lines", "height", "-3 m", -3.0),
        ("vehicles", "dry_chemical", 500, 226.796185),
        ("concentrates", "lowest_use", 35, 5 / 3),  # (35 − 32) × 5 ÷ 9
        ("concentrates", "lowest_use", "-10 C", -10.0),
        ("design_spills", "area", 900, 83.612736),  # 900 × 0.09290304
        ("design_spills", "area", "30 x 30 ft", 83.612736),
        ("design_spills", "area", "30 ft × 30 ft", 83.612736),
        ("design_spills", "area", "9 x 12 m", 108.0),
        ("design_spills", "area", "3,000 sq ft", 278.70912),
    ],
)
def test_quantities_in_si(sheet, key, cell, si):
    assert value(sheet, key, cell) == pytest.approx(si, rel=1e-8)


@pytest.mark.parametrize(
    ("cell", "rate"),
    [
        (0.1, Rate(Decimal("0.1"), "gpm_ft2")),
        ("0.10", Rate(Decimal("0.10"), "gpm_ft2")),
        ("4.1 L/min/m2", Rate(Decimal("4.1"), "lpm_m2")),
        ("6.5 L/min/m²", Rate(Decimal("6.5"), "lpm_m2")),
    ],
)
def test_a_rate_keeps_its_published_unit(cell, rate):
    assert value("listings", "rate", cell) == rate


@pytest.mark.parametrize(
    ("cell", "pct", "shown"),
    [
        (3, 300, ""),
        ("3", 300, ""),
        ("3 %", 300, ""),
        (0.3, 30, ""),
        (0.5, 50, ""),
        (0.03, 300, "0%"),  # a cell that shows 3 %
        (0.005, 50, "0.0%"),
        (3.15, 315, ""),
    ],
)
def test_percentages(cell, pct, shown):
    assert value("lines", "parked", cell, number_format=shown) == pct


@pytest.mark.parametrize(
    ("cell", "offered"),
    [
        ("3x6", (300, 600)),
        ("3×6", (300, 600)),
        ("3, 6", (300, 600)),
        ("6; 3", (300, 600)),
        ("0.1, 0.3, 0.5, 1", (10, 30, 50, 100)),
        ("3x3", (300,)),
        (3, (300,)),
    ],
)
def test_settings(cell, offered):
    assert value("appliances", "settings", cell) == offered


@pytest.mark.parametrize(
    ("cell", "legs"),
    [
        ("150 ft of 1.75 in", (HoseLeg(45.72, 1.75),)),
        ("150 ft of 1 3/4 in; 50 ft of 2.5 in", (HoseLeg(45.72, 1.75), HoseLeg(15.24, 2.5))),
        ("150' x 1¾\"", (HoseLeg(45.72, 1.75),)),
    ],
)
def test_hose(cell, legs):
    read_legs = value("lines", "hose", cell)
    assert [leg.diameter_in for leg in read_legs] == [leg.diameter_in for leg in legs]
    assert [leg.length_m for leg in read_legs] == pytest.approx([leg.length_m for leg in legs])


def test_ring_flows():
    # 1 gpm = 3.785411784 L/min by definition of the gallon; bare numbers take the heading's unit
    assert value("appliances", "rings", "95; 60 gpm") == pytest.approx((60 * 3.785411784, 95 * 3.785411784))
    assert value("appliances", "rings", None) == ()


def test_metric_hose():
    (leg,) = value("lines", "hose", "45 m of 38 mm")
    assert leg.length_m == pytest.approx(45.0)
    assert leg.diameter_in == pytest.approx(38 / 25.4)


@pytest.mark.parametrize(
    ("cell", "label", "shown"),
    [
        ("2025-03-31", GoodThrough(date(2025, 3, 31), "day"), ""),
        (date(2025, 3, 31), GoodThrough(date(2025, 3, 31), "day"), "yyyy-mm-dd"),
        ("2025-03", GoodThrough(date(2025, 3, 31), "month"), ""),
        (date(2025, 3, 1), GoodThrough(date(2025, 3, 31), "month"), "mmm-yy"),  # typed as Mar-2025
        ("Mar 2025", GoodThrough(date(2025, 3, 31), "month"), ""),
        (2025, GoodThrough(date(2025, 12, 31), "year"), ""),
        ("2025", GoodThrough(date(2025, 12, 31), "year"), ""),
        ("2036", GoodThrough(date(2036, 12, 31), "year"), ""),
    ],
)
def test_makers_dates(cell, label, shown):
    assert value("lots", "makers_date", cell, number_format=shown) == label


def test_this_year_or_month_as_making_date_is_not_the_future():
    assert value("lots", "made_on", "2026").day == date(2026, 12, 31)
    assert value("lots", "made_on", "2026-06").precision == "month"


@pytest.mark.parametrize(("cell", "answer"), [("yes", True), ("Y", True), (True, True), ("No", False), (False, False)])
def test_yes_and_no(cell, answer):
    assert value("containers", "sealed", cell) is answer


@pytest.mark.parametrize("cell", ["AR-AFFF", "ar-afff", "AR AFFF", " Ar-Afff "])
def test_choices_forgive_case_and_hyphens(cell):
    assert value("concentrates", "kind", cell) == "AR-AFFF"


def test_names_that_are_numbers_are_words():
    assert value("lots", "batch", 2219) == "2219"
    assert value("vehicles", "shop_no", 201.0) == "201"


def test_names_in_a_list():
    assert value("setups", "lines", "Crosslay 1;  Crosslay 2") == ("Crosslay 1", "Crosslay 2")


def test_words_that_begin_with_an_equals_sign_are_words_when_stored_as_words():
    data = zipped(raw_parts(sheet_xml(row_xml(1, "Station") + row_xml(2, "=HYPERLINK(0)")), "Stations"))
    reading = read_workbook(data, units="us", today=TODAY)
    assert reading.faults == []
    assert reading.rows["stations"][0]["name"] == "=HYPERLINK(0)"


def test_a_price_is_per_the_unit_of_its_heading():
    assert value("lots", "price", 28.5, currency="USD") == Price(Decimal("28.5"), "gal")


def test_numbers():
    assert value("listings", "minutes", 15) == Decimal(15)
    assert value("concentrates", "density", "1.03") == Decimal("1.03")
    assert value("concentrates", "life_months", 120) == 120


# Bad inputs, each with the cell that holds it and words that its sentence must contain.
BAD = [
    # negative and absurd volumes
    ("containers", "capacity", -5, ["“-5”", "below zero"]),
    ("containers", "capacity", 0, ["more than 0"]),
    ("containers", "capacity", 900_000, ["at most 200,000 L", "check the figure and the unit"]),
    ("containers", "unreachable", "-1 gal", ["below zero"]),
    ("vehicles", "water", 1e308, ["1"]),
    ("design_spills", "area", -900, ["below zero"]),
    ("design_spills", "area", "0 x 30 ft", ["more than 0"]),
    ("lines", "lift", 200, ["at most 30 m"]),
    ("concentrates", "lowest_use", 400, ["at most 80 C"]),
    ("listings", "rate", 4.1, ["more than 40 L/min/m2", "0.41 gpm/ft2", "4.1 L/min/m2"]),  # litres typed under gpm/ft2
    ("listings", "minutes", 0, ["more than 0"]),
    # percentages as fractions and hundredfold
    ("listings", "percent", 0.03, ["0.03", "3 %"]),
    ("listings", "percent", 0.06, ["0.06", "6 %"]),
    ("listings", "percent", 300, ["300", "3"]),
    ("listings", "percent", 30, ["30", "10 %"]),
    ("listings", "percent", -3, ["below zero"]),
    ("listings", "percent", "three", ["“three”"]),
    ("lines", "parked", "3x6", ["pair of settings"]),
    ("appliances", "settings", "0.1-1", ["“0.1-1”"]),
    ("appliances", "settings", "3x300", ["300"]),
    ("line_tests", "measured", 310, ["310"]),
    # 3/6 that a spreadsheet turned into a date
    ("appliances", "settings", date(2026, 3, 6), ["6 March 2026", "3x6"]),
    ("lines", "parked", date(2026, 6, 3), ["3 June 2026", "3x6"]),
    ("lots", "batch", date(2026, 3, 6), ["the date 2026-03-06", "format the cell as text"]),
    ("containers", "contents", date(2026, 3, 6), ["date", "5 gal"]),
    # dates
    ("lots", "made_on", "2026-06-16", ["after today (2026-06-15)"]),
    ("lots", "made_on", "2027", ["after today"]),
    ("samples", "taken_on", date(2026, 6, 16), ["after today"]),
    ("line_tests", "on", "2062-03-01", ["after today"]),
    ("lots", "recalled_on", "2026-07-01", ["after today"]),
    ("vehicles", "out_since", "2026-07-01", ["after today"]),
    ("samples", "taken_on", "11/3/26", ["“11/3/26”", "2028-07-30"]),
    ("samples", "taken_on", "5/9/2022", ["day/month or month/day"]),
    ("samples", "taken_on", "Feb 2026", ["the day is needed"]),
    ("samples", "taken_on", "yesterday", ["“yesterday”"]),
    ("samples", "taken_on", "2026-02-30", ["no day in the calendar"]),
    ("lots", "makers_date", 46964, ["“46964”", "spreadsheet's number for a date"]),
    ("lots", "makers_date", "Mar-28", ["“Mar-28”"]),
    ("lots", "makers_date", time(3, 6), ["time of day"]),
    # text for numbers, and units
    ("containers", "capacity", "about five", ["“about five”", "5 gal"]),
    ("containers", "capacity", "5 or 6", ["“5 or 6”"]),
    ("containers", "capacity", "1,5", ["1.5 with a point"]),
    ("containers", "capacity", True, ["yes"]),
    ("containers", "capacity", "5 gpm", ["flow", "volume"]),
    ("containers", "capacity", "5 buckets", ["“5 buckets”"]),
    ("lines", "flow", "95 psi", ["pressure"]),
    ("appliances", "rings", "60; lots", ["“lots”"]),
    ("lines", "hose", "150 of 1.75 in", ["without a unit"]),
    ("lines", "hose", "preconnect", ["“preconnect”", "150 ft of 1.75 in"]),
    ("lines", "hose", "1.75 in of 150 ft", ["length first"]),
    ("design_spills", "area", "30 x 40", ["without a unit"]),
    ("listings", "minutes", "a while", ["“a while”", "plain number"]),
    ("listings", "minutes", "15 min", ["plain number"]),
    ("concentrates", "life_months", 12.5, ["whole number"]),
    # words that are none of the choices
    ("containers", "kind", "bucket", ["“bucket”", "pail, drum, tote"]),
    ("containers", "sealed", "?", ["yes or no"]),
    ("containers", "sealed", 1, ["yes or no"]),
    ("concentrates", "kind", "AR-SFFF (F3)", ["AR-F3"]),
    ("stations", "name", "x" * 61, ["at most 60 characters", "61"]),
    ("setups", "lines", "Crosslay 1; Crosslay 1", ["twice"]),
    # formulas and errors
    ("containers", "capacity", "=A1*5", ["the formula “=A1*5”", "paste the value"]),
    ("containers", "code", '=HYPERLINK("x")', ["formula", "paste the value"]),
    ("containers", "contents", "#REF!", ["“#REF!”", "paste the value"]),
    ("stations", "name", "#DIV/0!", ["“#DIV/0!”"]),
]


@pytest.mark.parametrize(("sheet", "key", "cell", "words"), BAD, ids=[f"{s}.{k}={c!r}"[:60] for s, k, c, _ in BAD])
def test_bad_cells_are_refused_with_a_sentence(sheet, key, cell, words):
    others = {"containers": {"contents": 0}}.get(sheet, {}) if key == "capacity" else {}
    sentence = refused(sheet, key, cell, **others)
    assert all(word in sentence for word in words), sentence


def test_a_date_without_its_year_is_refused():
    """Mar-28 typed into a spreadsheet becomes 28 March of the year in which it was typed."""
    sentence = refused("lots", "makers_date", date(2026, 3, 28), number_format="d-mmm")
    assert "28 March" in sentence
    assert "took the year from its own clock" in sentence


def test_a_month_is_no_day():
    assert "the day is needed" in refused("samples", "taken_on", date(2026, 3, 1), number_format="mmm-yy")


@pytest.mark.parametrize(
    ("sheet", "key"),
    [
        (sheet.key, column.key)
        for sheet in SHEETS
        for column in sheet.columns
        if column.required and sheet.key != "stations"
    ],
)
def test_what_each_row_needs(sheet, key):
    faults = [fault for fault in read_one(sheet, **{key: None}).faults if fault.read == "nothing"]
    assert [(fault.row, fault.heading) for fault in faults] == [
        (2, BY_KEY[sheet].column(key).title + _unit(sheet, key))
    ]


def _unit(sheet, key):
    unit = BY_KEY[sheet].column(key).unit("us")
    return f" [{unit}]" if unit else ""


@pytest.mark.parametrize("cell", ["5 gal", "95 gpm", "5 GAL."])
def test_a_metric_department_says_which_gallon(cell):
    key = ("appliances", "rated_flow") if "gpm" in cell else ("containers", "capacity")
    fault = only_fault(read_one(key[0], "metric", **{key[1]: cell}))
    assert "differ by a fifth" in fault.sentence
    assert "US" in fault.right
    assert "imp" in fault.right


@pytest.mark.parametrize("cell", ["5 US gal", "5 imp gal", "19 L", 19])
def test_a_metric_department_that_says_it(cell):
    assert read_one("containers", "metric", capacity=cell, contents=1).faults == []


def test_all_faults_at_once_with_sheet_row_and_column():
    reading = read(
        {
            "stations": [{"name": "Quayside"}, {"name": "quayside "}],
            "containers": [
                GOOD["containers"] | {"code": None, "capacity": "lots"},
                GOOD["containers"] | {"kind": "vat"},
            ],
            "lines": [GOOD["lines"] | {"parked": 0.03}],
        }
    )
    assert [(fault.sheet, fault.row, fault.column) for fault in reading.faults] == [
        ("Stations", 3, "A"),
        ("Containers", 2, "A"),
        ("Containers", 2, "C"),
        ("Containers", 3, "B"),
        ("Foam lines", 2, "O"),
    ]
    assert reading.faults[2].sentence.startswith("Containers, row 2, column C (Capacity [gal]): “lots” was read")
    assert not reading.sound


def test_a_fault_of_the_database_side_stands_at_its_cell():
    row = read_one("containers").rows["containers"][0]
    fault = row.fault("unit", "“Engine 1”", "no unit of that name is known")
    place = "Containers, row 2, column G (Unit)"
    assert fault.sentence == f"{place}: “Engine 1” was read: no unit of that name is known."


def test_a_fault_at_a_column_that_was_not_in_the_workbook():
    data = zipped(raw_parts(sheet_xml(row_xml(1, "Station") + row_xml(2, "Quayside")), "Stations"))
    row = read_workbook(data, units="us", today=TODAY).rows["stations"][0]
    assert row.fault("name", "x", "y").column == "A"
    row.spots = {}
    assert row.fault("name", "x", "y").place == "Stations, row 2, Station"


# Sheets and headings


def headed(*headings, rows=(), title="Stations"):
    xml = row_xml(1, *headings) + b"".join(row_xml(number, *row) for number, row in enumerate(rows, start=2))
    return read_workbook(zipped(raw_parts(sheet_xml(xml), title)), units="us", today=TODAY)


def test_an_unknown_sheet():
    sentence = only_fault(headed("Station", title="Foam on hand")).sentence
    assert "“Foam on hand”" in sentence
    assert "Containers" in sentence


def test_sheets_are_found_whatever_the_case():
    assert headed("station", rows=[["Quayside"]], title="STATIONS ").rows["stations"][0]["name"] == "Quayside"


def test_an_unknown_heading():
    fault = only_fault(headed("Station", "Chief", rows=[["Quayside", "x"]]))
    assert (fault.column, fault.row) == ("B", 1)
    assert "“Chief”" in fault.sentence


def test_a_heading_twice():
    assert "column A has the same heading" in only_fault(headed("Station", "station *")).sentence


def test_a_missing_heading():
    fault = only_fault(headed("Container", "Kind *", title="Containers", rows=[]))
    assert "no column “Capacity”" in fault.sentence


def test_values_under_no_heading_are_named_once():
    reading = headed("Station", rows=[["Quayside", "x"], ["Millrace", "y"]])
    assert [(fault.column, fault.row, fault.read) for fault in reading.faults] == [("B", 2, "“x”")]


def test_columns_in_another_order():
    (row,) = headed(
        "Capacity [L]", "Kind", "Container", "Store", title="Containers", rows=[[19, "pail", "P-1", "Q"]]
    ).rows["containers"]
    assert (row["code"], row["capacity"], row["station"]) == ("P-1", 19_000, "Q")
    assert row.spots["code"].letter == "C"


def test_a_heading_without_a_unit_makes_a_bare_number_a_fault():
    reading = headed("Container", "Kind", "Capacity", "Store", title="Containers", rows=[["P-1", "pail", 5, "Q"]])
    assert "without a unit" in only_fault(reading).sentence
    reading = headed("Container", "Kind", "Capacity", "Store", title="Containers", rows=[["P-1", "pail", "5 gal", "Q"]])
    assert reading.rows["containers"][0]["capacity"] == 18_927


@pytest.mark.parametrize("unit", ["gpm", "buckets"])
def test_a_heading_with_a_wrong_unit(unit):
    reading = headed(
        "Container", "Kind", f"Capacity [{unit}]", "Store", title="Containers", rows=[["P-1", "pail", 5, "Q"]]
    )
    assert "gal belongs here" in only_fault(reading).sentence


def test_a_price_whose_heading_does_not_say_for_what():
    reading = headed("Concentrate", "Lot no.", "Price", "Currency", title="Lots", rows=[["A", "1", 28, "USD"]])
    assert "Price [per gal]" in only_fault(reading).sentence


def test_examples_are_skipped_and_counted():
    reading = headed("Station", rows=[["Example: Station 1"], ["Quayside"], ["EXAMPLE: another"]])
    assert reading.skipped_examples == 2
    assert [row["name"] for row in reading.rows["stations"]] == ["Quayside"]


def test_blank_rows_between_are_skipped():
    reading = headed("Station", rows=[["Quayside"], [" "], ["Millrace"]])
    assert [row.number for row in reading.rows["stations"]] == [2, 4]
    assert reading.faults == []


def test_a_sheet_without_anything_and_a_workbook_without_most_sheets():
    assert read({"stations": []}).faults == []
    empty = read_workbook(zipped(raw_parts(sheet_xml(b""), "Containers")), units="us", today=TODAY)
    assert (empty.faults, empty.rows["containers"]) == ([], [])


def test_an_array_formula_and_a_formula_that_kept_its_answer():
    xml = row_xml(1, "Station") + b'<row r="2"><c r="A2" t="str"><f t="array" ref="A2">1+1</f><v>2</v></c></row>'
    reading = read_workbook(zipped(raw_parts(sheet_xml(xml), "Stations")), units="us", today=TODAY)
    assert "paste the value" in only_fault(reading).sentence


def test_reading_is_not_upset_by_a_row_of_any_kind_of_cell():
    """Each kind of column against each kind of cell: a value or a fault, never an exception."""
    cells = [
        5,
        -1,
        0,
        0.03,
        1e300,
        "",
        "x",
        "3x6",
        "=1+1",
        "#N/A",
        True,
        date(2026, 3, 6),
        time(1, 2),
        "\u00a0",
        "“”",
    ]
    for sheet in SHEETS:
        for cell in cells:
            rows = [{column.key: cell for column in sheet.columns}]
            assert len(read({sheet.key: rows}).rows[sheet.key]) <= 1


def test_every_kind_has_an_empty_value_and_a_parser():
    from readiness.workbooks import cells

    assert set(cells.EMPTY) == set(cells._PARSERS) == set(Kind)


def test_a_workbook_saved_with_a_1904_calendar_keeps_its_dates():
    from openpyxl import Workbook
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    book = Workbook()
    book.epoch = CALENDAR_MAC_1904
    sheet = book.active
    sheet.title = "Samples"
    sheet.append(["Concentrate", "Lot no.", "Taken on"])
    sheet.append(["A", "1", date(2026, 2, 10)])
    reading = read_workbook(saved(book), units="us", today=TODAY)
    assert reading.rows["samples"][0]["taken_on"] == date(2026, 2, 10)
