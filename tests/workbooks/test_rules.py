"""What must hold between cells and rows; each rule has a bad workbook, and the good one beside it passes."""

import pytest

from tests.workbooks.books import GOOD, only_fault, read, read_one

CONTAINER = GOOD["containers"]
TANK = CONTAINER | {"code": "T-1", "kind": "fixed tank", "capacity": 20, "contents": 16, "sealed": None}
OTHER = {"container": "T-1", "concentrate": "Demo AR-AFFF 3x6", "lot": "A-2", "contents": 4}

# sheet, cells of the one row, the column of the fault, words of its sentence
BETWEEN_CELLS = [
    ("vehicles", {"needs_tow": "no", "tow": "244"}, "Tow vehicle", "needs a tow"),
    ("vehicles", {"state": "in service", "out_since": "2026-06-01"}, "Out since", "in service"),
    ("units", {"no_duty_by": "fire chief"}, "No foam duty until", "reviewed"),
    ("units", {"no_duty_review_on": "2027-01-15"}, "No foam duty by", "whose decision"),
    ("concentrates", {"store_low": 100, "store_high": 40}, "Store below", "change them over"),
    ("listings", {"fuel_group": "polar"}, "Fuel group", "only one of Fuel or Fuel group"),
    ("listings", {"fuel": None}, "Fuel", "one of Fuel or Fuel group"),
    ("listings", {"percent_high": 3}, "Percent up to", "not below Percent"),
    ("listings", {"rate": None}, "Application rate", "states an application rate"),
    ("lots", {"made_on": "2025-02", "makers_date": "2025-01"}, "Good through", "before Made (2025-02)"),
    ("lots", {"made_on": "2025-02-02", "recalled_on": "2025-02-01"}, "Recalled on", "before Made"),
    ("lots", {"price": 28}, "Currency", "USD"),
    ("containers", {"unit": None}, "Store", "one of Store, Unit or Vehicle"),
    ("containers", {"vehicle": "201"}, "Vehicle", "“Engine 1” and “201”"),
    ("containers", {"contents": None}, "Contents", "0 when it is empty"),
    ("containers", {"lot": None}, "Lot no.", "contents need a concentrate and a lot"),
    ("containers", {"concentrate": None}, "Concentrate", "contents need a concentrate and a lot"),
    ("containers", {"opened_on": "2026-05-01"}, "Opened on", "sealed"),
    ("containers", {"unreachable": 6}, "Unreachable", "at most the capacity"),
    ("containers", {"gauge_resolution": 6}, "Gauge reads to", "at most the capacity"),
    ("appliances", {"unit": None}, "Unit", "one of Unit or Vehicle"),
    ("appliances", {"kind": "portable kit", "settings": "3, 6, 8"}, "Settings", "a kit’s dial runs from 0.1 % to 1 %"),
    ("lines", {"vehicle": "201"}, "Vehicle", "only one of Unit or Vehicle"),
    ("setups", {"unit": None}, "Unit", "one of Unit or Vehicle"),
    ("line_tests", {"unit": None}, "Unit", "one of Unit or Vehicle"),
    ("line_tests", {"good_through": "2026-02-28"}, "Good through", "before Tested on"),
    ("design_spills", {"fuel": None}, "Fuel", "kind spill states it"),
    ("design_spills", {"area": None}, "Area", "kind spill states it"),
    ("design_spills", {"use": None}, "Use", "kind spill states it"),
    ("design_spills", {"kind": "class a"}, "Tankfuls", "kind class a states it"),
    ("design_spills", {"kind": "airport"}, "Required water", "kind airport states it"),
    ("design_spills", {"rule": "storage tank", "application": "direct", "use": "gentle"}, "Use", "is listed as direct"),
    ("design_spills", {"rule": "storage tank", "application": "gentle", "use": "direct"}, "Use", "is listed as gentle"),
    ("samples", {"container": "T-1"}, "Lot no.", "only one of Container or Lot no."),
    ("samples", {"lot": None}, "Container", "one of Container or Lot no."),
    ("samples", {"concentrate": None}, "Concentrate", "together with its concentrate"),
    ("samples", {"good_through": "2026-02-09"}, "Good through", "before Taken on"),
]


@pytest.mark.parametrize(
    ("sheet", "cells", "title", "words"),
    BETWEEN_CELLS,
    ids=[f"{row[0]} {row[2]} {n}" for n, row in enumerate(BETWEEN_CELLS)],
)
def test_cells_that_do_not_fit_together(sheet, cells, title, words):
    fault = only_fault(read_one(sheet, **cells))
    assert fault.heading.startswith(title)
    assert words in fault.sentence


@pytest.mark.parametrize(
    ("sheet", "cells"),
    [
        ("vehicles", {"needs_tow": "yes", "tow": "244"}),
        ("vehicles", {"state": "out of service", "out_since": "2026-06-01"}),
        ("units", {"no_duty_by": "fire chief", "no_duty_review_on": "2027-01-15"}),
        ("listings", {"fuel": None, "fuel_group": "class a", "use": "class a", "percent": 0.3, "rate": None}),
        ("listings", {"percent_high": 6}),
        ("lots", {"made_on": "2025-02-03", "makers_date": "2025-02"}),  # good through the end of that month
        ("lots", {"price": 28, "currency": "USD"}),
        ("containers", {"concentrate": None, "lot": None, "contents": None, "sealed": None}),  # an empty pail
        ("containers", {"contents": 0}),
        ("containers", {"lot": None, "concentrate": None, "condition": "mixed", "sealed": "no"}),
        ("containers", {"sealed": "no", "opened_on": "2026-05-01"}),
        ("design_spills", {"kind": "class a", "fuel": None, "area": None, "use": None, "tankfuls": 5}),
        ("design_spills", {"kind": "airport", "fuel": None, "area": None, "use": None, "required_water": 1500}),
        ("samples", {"lot": None, "concentrate": None, "container": "T-1"}),
    ],
)
def test_cells_that_do(sheet, cells):
    assert [fault.sentence for fault in read_one(sheet, **cells).faults] == []


def test_a_cell_that_could_not_be_read_causes_no_second_fault():
    assert "=A1" in only_fault(read_one("containers", unit="=A1")).sentence
    assert "lots" in only_fault(read_one("containers", contents="lots")).sentence


# More than it holds


def test_more_than_a_container_holds():
    fault = only_fault(read_one("containers", contents=7))
    assert fault.heading == "Contents [gal]"
    assert fault.read == "7 gal in all"
    assert "holds 5 gal when full" in fault.right
    assert "imperial" not in fault.right


def test_six_gallons_in_a_five_gallon_pail_is_an_imperial_pail():
    """5 imperial gallons are 5 × 4.54609 ÷ 3.785411784 = 6.0047 US gallons."""
    fault = only_fault(read_one("containers", contents=6))
    assert "5 imperial gallons are 6.00 US gallons: if imperial is meant, write 5 imp gal" in fault.sentence
    assert read_one("containers", capacity="5 imp gal", contents=6).faults == []


def test_a_full_container_in_two_units_is_not_overfull():
    """5 US gal are 18,927 ml; 18.927 L and 18.928 L are the same pail within a millilitre a part and one."""
    assert read_one("containers", contents="18.927 L").faults == []
    assert read_one("containers", contents="18.929 L").faults == []
    assert len(read_one("containers", contents="18.930 L").faults) == 1


def test_all_lots_of_a_container_count():
    assert read({"containers": [TANK], "other_lots": [OTHER]}).faults == []
    fault = only_fault(read({"containers": [TANK], "other_lots": [OTHER, OTHER | {"lot": "A-3", "container": "t-1"}]}))
    assert (fault.sheet, fault.read) == ("Containers", "24 gal in all")


def test_a_second_concentrate_in_a_container_makes_it_mixed():
    foreign = OTHER | {"concentrate": "Demo Class A"}
    fault = only_fault(read({"containers": [TANK], "other_lots": [foreign]}))
    assert (fault.sheet, fault.row) == ("Other lots", 2)
    assert "two concentrates in one container are mixed" in fault.sentence
    assert read({"containers": [TANK | {"condition": "mixed"}], "other_lots": [foreign]}).faults == []


# The same twice

DOUBLES = [
    ("stations", {}, {"name": "QUAYSIDE"}, "Station"),
    ("vehicles", {}, {}, "Shop no."),
    ("units", {"runs_on": None}, {"designation": "engine  1"}, "Unit"),
    ("units", {}, {"designation": "Engine 2"}, "Runs on"),
    ("concentrates", {}, {}, "Concentrate"),
    ("listings", {}, {"percent": 3}, "Use"),
    ("lots", {}, {}, "Lot no."),
    ("containers", {}, {}, "Container"),
    ("other_lots", {}, {"contents": 2}, "Lot no."),
    ("appliances", {}, {}, "Appliance"),
    ("hoses", {}, {"coefficient": 12}, "Size [in]"),
    ("lines", {}, {}, "Line"),
    ("setups", {}, {}, "Setup"),
    ("design_spills", {}, {}, "Duty"),
    ("samples", {}, {}, "Taken on"),
    ("line_tests", {}, {}, "Set at"),
]


@pytest.mark.parametrize(("sheet", "both", "second", "title"), DOUBLES)
def test_the_same_twice_names_both_rows(sheet, both, second, title):
    row = GOOD[sheet] | both
    fault = only_fault(read({sheet: [row, {**GOOD[sheet], **both, **second}]}))
    assert fault.row == 3
    assert fault.heading == title
    assert "row 2 says the same" in fault.sentence


@pytest.mark.parametrize(
    ("sheet", "second"),
    [
        ("listings", {"use": "in depth"}),
        ("lots", {"concentrate": "Demo AFFF 3"}),
        ("appliances", {"unit": None, "vehicle": "201"}),
        ("lines", {"unit": "Engine 2"}),
        ("samples", {"taken_on": "2025-02-10"}),
        ("line_tests", {"set": 6}),
    ],
)
def test_what_only_looks_the_same(sheet, second):
    assert read({sheet: [GOOD[sheet], {**GOOD[sheet], **second}]}).faults == []


def test_two_units_without_a_vehicle_are_no_double():
    rows = [{**GOOD["units"], "designation": name, "runs_on": None} for name in ("Engine 1", "Engine 2")]
    assert read({"units": rows}).faults == []


# Settings


def line_with(appliance, line, units=()):
    eductor = GOOD["appliances"] | {"settings": "3x6"} | appliance
    return read({"appliances": [eductor], "lines": [GOOD["lines"] | line], "units": list(units)})


@pytest.mark.parametrize("key", ["parked", "present"])
def test_a_setting_that_the_proportioner_does_not_offer(key):
    fault = only_fault(line_with({}, {key: 1}))
    assert "1 % was read: its proportioner offers 3 %, 6 %" in fault.sentence
    assert line_with({}, {key: 6}).faults == []


def test_the_proportioner_may_be_on_the_vehicle_of_the_unit_or_the_other_way():
    on_vehicle = {"unit": None, "vehicle": "201"}
    assert len(line_with(on_vehicle, {"parked": 1}, [GOOD["units"]]).faults) == 1
    assert len(line_with({}, {"parked": 1} | on_vehicle, [GOOD["units"]]).faults) == 1


def test_a_proportioner_that_is_not_in_the_workbook_is_left_to_the_database():
    assert line_with({"name": "another"}, {"parked": 1}).faults == []
    assert line_with({"unit": "Engine 2"}, {"parked": 1}).faults == []
    assert line_with({"settings": None}, {"parked": 1}).faults == []
