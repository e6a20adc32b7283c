"""The demo county's files against the county worked by hand (its table of fourteen units, column "aboard")."""

import csv
from collections import Counter
from datetime import date, timedelta
from pathlib import Path

import pytest

from readiness.engineering.dates import GoodThrough
from readiness.workbooks.demo_rows import demo_rows
from readiness.workbooks.reading import read_workbook
from readiness.workbooks.template import write_rows

FIXTURES = Path(__file__).parents[2] / "fixtures"
DEMO = FIXTURES / "demo"
D0 = date(2026, 6, 15)

# Gallons aboard by unit, and the heel where the county names one.
ABOARD = {
    "Engine 1": (45, 0),  # 9 sealed pails
    "Engine 2": (30, 1),
    "Engine 3": (90, 0),  # 18 pails
    "Engine 4": (100, 0),  # 20 pails
    "Engine 5": (60, 0),  # 12 pails
    "Engine 6": (60, 2),  # tank A 20 and tank B 40, heel of B 1.5 (of A 0.5 is ours)
    "Engine 7": (40, 0),  # 8 pails on Reserve 9
    "Foam Tender 1": (1000, 25),
    "Hazmat 1": (40, 0.5),  # 16 + 4 in the tank (its heel is ours) and 4 pails
    "Crash 1": (210, 5),
    "Foam Trailer 1": (330, 15),
    "Brush 4": (10, 0.5),
    "Kit on Brush 4": (2.5, 0),
    "Ladder 2": (0, 0),
}
ML_PER_GAL = 3785.411784


def read_demo(d0=D0):
    reading = read_workbook(write_rows(demo_rows(DEMO, d0), "us"), units="us", today=d0)
    assert [fault.sentence for fault in reading.faults] == []
    return reading.rows


@pytest.fixture(scope="module", name="rows")
def fixture_rows():
    return read_demo()


def of_unit(rows, designation):
    vehicle = {row["designation"]: row["runs_on"] for row in rows["units"]}[designation]
    return [row for row in rows["containers"] if row["unit"] == designation or row["vehicle"] == vehicle]


@pytest.mark.parametrize("shift", [0, 107, 400, -900])
def test_the_filled_workbook_has_no_fault_on_any_day(shift):
    read_demo(D0 + timedelta(days=shift))


def test_the_fourteen_units_each_run_on_one_vehicle(rows):
    assert [row["designation"] for row in rows["units"]] == list(ABOARD)
    vehicles = [row["runs_on"] for row in rows["units"]]
    assert len(set(vehicles)) == 14
    assert set(vehicles) <= {row["shop_no"] for row in rows["vehicles"]}


@pytest.mark.parametrize("designation", ABOARD)
def test_aboard(rows, designation):
    containers = of_unit(rows, designation)
    codes = {row["code"] for row in containers}
    others = [row for row in rows["other_lots"] if row["container"] in codes]
    aboard_gal, heel_gal = ABOARD[designation]
    within_ml = len(containers) + 1
    assert sum(row["contents"] for row in containers + others) == pytest.approx(aboard_gal * ML_PER_GAL, abs=within_ml)
    assert sum(row["unreachable"] or 0 for row in containers) == pytest.approx(heel_gal * ML_PER_GAL, abs=within_ml)


def test_about_120_containers_with_spare_stock_in_four_stores(rows):
    assert len(rows["containers"]) == 120
    assert {row["station"] for row in rows["containers"]} - {""} == {row["name"] for row in rows["stations"]}


def test_nine_pails_of_engine_1_two_of_which_expire_unsampled(rows):
    pails = of_unit(rows, "Engine 1")
    assert [row["kind"] for row in pails] == ["pail"] * 9
    assert all(row["sealed"] for row in pails)
    assert sum(row["contents"] for row in pails) == 170_343  # 9 × 18,927
    dates = {row["batch"]: row["makers_date"] for row in rows["lots"]}
    first = GoodThrough(date(2026, 9, 30), "day")
    assert Counter(dates[row["lot"]] == first for row in pails) == {False: 7, True: 2}
    sampled = {row["lot"] for row in rows["samples"]}
    assert all(row["lot"] not in sampled for row in pails)


def test_nothing_else_expires_before_engine_1s_two_pails(rows):
    """Engine 1 holds until 30 Sep 2026; the lot of Engine 7 is good by its sample, until 10 Feb 2027."""
    by_date = sorted((row["makers_date"].day, row["batch"]) for row in rows["lots"])
    assert by_date[:2] == [(date(2025, 3, 31), "AR-0544"), (date(2026, 9, 30), "AR-0590")]
    assert by_date[2][0] > date(2028, 1, 1)
    assert {row["lot"] for row in of_unit(rows, "Engine 7")} == {"AR-0544"}
    samples = [row for row in rows["samples"] if row["lot"] == "AR-0544"]
    assert [(row["taken_on"], row["passed"]) for row in samples] == [(date(2026, 2, 10), True)]
    assert all(row["taken_on"] + timedelta(days=365) > date(2026, 9, 30) for row in rows["samples"])
    assert all(row["on"] + timedelta(days=365) > date(2026, 9, 30) for row in rows["line_tests"])


def test_measured_percentages(rows):
    """All tests at 3.0 % (6.0) unless shown: 3.1 Engine 1, 6.2 Engine 3, 3.2 Foam Tender 1, 2.9 Crash 1."""
    off = {
        (row["unit"] or row["vehicle"], row["set"], row["measured"])
        for row in rows["line_tests"]
        if row["measured"] != row["set"]
    }
    assert off == {("Engine 1", 300, 310), ("Engine 3", 600, 620), ("211", 300, 320), ("221", 300, 290)}
    assert [row["vehicle"] for row in rows["line_tests"] if row["band"] == "vehicle"] == ["221"]


def test_engine_3_is_parked_at_6_and_was_found_at_3(rows):
    apart = [(row["unit"], row["parked"], row["present"]) for row in rows["lines"] if row["parked"] != row["present"]]
    assert apart == [("Engine 3", 600, 300)]


def test_hazmat_1s_tank_is_mixed(rows):
    mixed = [row for row in rows["containers"] if row["condition"]]
    assert [(row["code"], row["condition"], row["contents"]) for row in mixed] == [("T-212", "mixed", 60_567)]
    assert [(row["container"], row["contents"]) for row in rows["other_lots"]] == [("T-212", 15_142)]


def test_the_trailers_tow_is_out_since_three_days(rows):
    vehicles = {row["shop_no"]: row for row in rows["vehicles"]}
    assert (vehicles["231"]["needs_tow"], vehicles["231"]["tow"]) == (True, "244")
    assert (vehicles["244"]["state"], vehicles["244"]["out_since"]) == ("out of service", date(2026, 6, 12))


def test_the_ladders_decision_is_reviewed_in_january(rows):
    ladder = {row["designation"]: row for row in rows["units"]}["Ladder 2"]
    assert ladder["no_duty_by"] == "fire chief"
    assert (ladder["no_duty_review_on"].year, ladder["no_duty_review_on"].month) == (2027, 1)


# The county's listings in gpm/ft2, in hundredths; fuel names as in the fuel table.
LISTED = {
    ("Demo AFFF 3", "diesel fuel", "spill", 300, "0.10"),
    ("Demo AR-AFFF 3x6", "gasoline, E10", "spill", 300, "0.10"),
    ("Demo AR-AFFF 3x6", "gasoline without oxygenate", "spill", 300, "0.10"),
    ("Demo AR-AFFF 3x6", "ethanol", "spill", 600, "0.20"),
    ("Demo AR-AFFF 3x6", "denatured ethanol", "spill", 600, "0.20"),
    ("Demo AR-AFFF 3x6", "E85", "spill", 600, "0.20"),
    ("Demo AR-AFFF 3x6", "acetone", "spill", 600, "0.20"),
    ("Demo AR-F3 3x3", "gasoline, E10", "spill", 300, "0.16"),
    ("Demo AR-F3 3x3", "ethanol", "spill", 300, "0.24"),
    ("Demo AR-F3 3x3", "denatured ethanol", "spill", 300, "0.24"),
    ("Demo FP 3", "gasoline without oxygenate", "spill", 300, "0.16"),
    ("Demo FP 3", "gasoline without oxygenate", "in depth", 300, "0.16"),
}


def test_listings(rows):
    listed = {
        (row["concentrate"], row["fuel"], row["use"], row["percent"], str(row["rate"].value if row["rate"] else ""))
        for row in rows["listings"]
    }
    assert listed >= LISTED
    assert {row["aspirating"] for row in rows["listings"] if row["concentrate"] == "Demo AR-F3 3x3"} == {True}
    assert {int(row["minutes"]) for row in rows["listings"] if row["use"] == "spill"} == {15}
    assert [int(row["minutes"]) for row in rows["listings"] if row["use"] == "in depth"] == [30]
    with (DEMO / "listings.csv").open(encoding="utf-8", newline="") as file:
        assert not any(row["percent"] in {"0.03", "300"} for row in csv.DictReader(file))


def test_fuels_are_those_of_the_fuel_table(rows):
    with (FIXTURES / "reference" / "fuels.csv").open(encoding="utf-8", newline="") as file:
        known = {row["name"] for row in csv.DictReader(file)}
    named = {row["fuel"] for key in ("listings", "design_spills") for row in rows[key]} - {""}
    assert named <= known


def test_duties(rows):
    """Footprints in ft2 by the county: area ÷ 0.09290304."""
    areas = {(row["unit"], row["name"].split()[0]): row["area"] for row in rows["design_spills"] if row["area"]}
    expected_ft2 = {
        ("Engine 1", "gasoline"): 900,
        ("Engine 2", "diesel"): 500,
        ("Engine 2", "E85"): 200,
        ("Engine 3", "denatured"): 400,
        ("Engine 4", "gasoline"): 1200,
        ("Engine 5", "gasoline"): 1250,
        ("Engine 6", "gasoline"): 600,
        ("Engine 6", "ethanol"): 300,
        ("Engine 7", "gasoline"): 600,
        ("Foam Tender 1", "ethanol"): 2000,
        ("Hazmat 1", "acetone"): 200,
        ("Foam Trailer 1", "gasoline"): 3000,
        ("Kit on Brush 4", "gasoline"): 50,
    }
    assert {key: round(area / 0.09290304, 6) for key, area in areas.items()} == expected_ft2
    (airport,) = [row for row in rows["design_spills"] if row["kind"] == "airport"]
    assert airport["required_water"] == round(1500 * ML_PER_GAL)
    assert airport["other_agent"] == pytest.approx(226.796185)  # 500 lb
    (class_a,) = [row for row in rows["design_spills"] if row["kind"] == "class a"]
    assert (class_a["unit"], class_a["tankfuls"]) == ("Brush 4", 5)


def test_references_between_the_files_all_hit(rows):
    """What the database side will look up."""
    lots = {(row["concentrate"], row["batch"]) for row in rows["lots"]}
    held = rows["containers"] + rows["other_lots"]
    assert {(row["concentrate"], row["lot"]) for row in held} <= lots
    owners = {row["designation"] for row in rows["units"]} | {row["shop_no"] for row in rows["vehicles"]}
    for key in ("containers", "appliances", "lines", "setups", "line_tests"):
        assert {row["unit"] or row["vehicle"] for row in rows[key]} - {""} <= owners
    gear = {(row["unit"] or row["vehicle"], row["name"]) for row in rows["appliances"]}
    lines = {(row["unit"] or row["vehicle"], row["name"]): row for row in rows["lines"]}
    for (owner, _), line in lines.items():
        assert {(owner, line["proportioner"]), (owner, line["nozzle"])} <= gear
    codes = {row["code"] for row in rows["containers"]}
    assert {code for line in lines.values() for code in line["sources"]} <= codes
    assert {(row["unit"] or row["vehicle"], row["line"]) for row in rows["line_tests"]} <= set(lines)
    run = {(row["unit"] or row["vehicle"], name) for row in rows["setups"] for name in row["lines"]}
    assert run == set(lines) - {("212", "Bumper line")}  # a spare, which no duty counts on


def test_days_from_d0(tmp_path):
    (tmp_path / "lots.csv").write_text("batch,made_on,makers_date\nD0-9 x,D0-125,D0+107\nB,D0,\n", encoding="utf-8")
    rows = demo_rows(tmp_path, D0)["lots"]
    assert rows == [
        {"batch": "D0-9 x", "made_on": "2026-02-10", "makers_date": "2026-09-30"},
        {"batch": "B", "made_on": "2026-06-15", "makers_date": ""},
    ]


def test_a_column_that_the_sheet_does_not_have(tmp_path):
    (tmp_path / "lots.csv").write_text("batch,colour\nA,red\n", encoding="utf-8")
    with pytest.raises(KeyError, match="colour"):
        demo_rows(tmp_path, D0)
