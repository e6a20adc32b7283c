"""The county as text: workbook, ledger, checks, night, JSON. Every digit that the hand-worked county prints.

Expected values: fixtures/worked_examples/county_units.csv and county_statuses.csv, with the arithmetic beside each.
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction

from readiness.models import Assessment
from tests.actions.own_database import own_database, run
from tests.county import LOCAL_SIX, by_name, day, examples, loaded, nightly, statuses

pytestmark = pytest.mark.django_db  # also tells pytest to make the database that the county's nights run in

FIGURES = examples("county_units.csv")
STATUSES = examples("county_statuses.csv")
NAMES = {row["unit"]: row["name"] for row in STATUSES}
ROUNDINGS = {"nearest": ROUND_HALF_EVEN, "down": ROUND_FLOOR, "up": ROUND_CEILING}
SPLIT = {"ready": 4, "limited": 2, "unverified": 1, "not ready": 6, "no foam duty": 1}  # the county's totals

# A volume in whole milliliters falls short of the gallons on the label by up to a milliliter a container, and one.
TOLERANCE_GAL = (20 + 1) / 3785.411784  # 20 pails is the most that a unit of the county carries

PRINTED = {
    "required": lambda duty: duty["required_gpm"],
    "textbook": lambda duty: duty["textbook_need_gal"],
    "need": lambda duty: duty["line_need_gal"],
    "usable": lambda duty: duty["usable_gal"],
    "short": lambda duty: duty["short_gal"],
    "share": lambda duty: 100 * duty["covered_share"],
    "minutes": lambda duty: duty["minutes"],
    "own_water": lambda duty: duty["own_water_minutes"],
    "rate_short": lambda duty: duty["required_gpm"] - duty["flow_gpm"],
    "rate_share": lambda duty: 100 * duty["flow_gpm"] / duty["required_gpm"],
    "back_pressure_share": lambda duty: 100 * duty["back_pressure_share"],
    "as_set_draw": lambda duty: duty["as_set"]["draw_gal"],
    "area_by_rate": lambda duty: duty["area_ft2"],
    "area_by_stock": lambda duty: duty["area_ft2"],
}


def is_printed(row: dict[str, str], duty: dict[str, Any]) -> bool:
    """Whether the JSON has the figure: of the two areas it has the lesser."""
    if row["figure"].startswith("area_by"):
        return row["figure"] == f"area_by_{duty['area_limited_by']}"
    return row["figure"] in PRINTED


def digits(row: dict[str, str], duty: dict[str, Any]) -> Decimal:
    """The figure with as many digits as the county prints."""
    value = PRINTED[row["figure"]](duty)
    if row["figure"] == "usable":
        value += TOLERANCE_GAL if value else 0
    # six places are what the JSON keeps
    return Decimal(f"{value:.6f}").quantize(Decimal(row["expected"]), rounding=ROUNDINGS[row["rounding"]])


@pytest.fixture(scope="module", params=(0, 400), ids=["at D0", "D0 moved by 400 days"])
def county(request: Any, django_db_setup: None, django_db_blocker: Any) -> dict[Any, Any]:
    """The nights of D0, of 107 and of 108 days later, as printed."""
    shift = timedelta(days=request.param)
    with django_db_blocker.unblock(), transaction.atomic():
        loaded(request.param)
        at = LOCAL_SIX + shift
        told = {"shift": shift, 0: nightly(at)}
        written = Assessment.objects.count()
        for days in (107, 108):
            told[days] = nightly(at, "--as-of", (day(days) + shift).isoformat())
        told["written by a forecast"] = Assessment.objects.count() - written
        transaction.set_rollback(True)
    return told


def test_each_printed_digit(county: dict[Any, Any]) -> None:
    units, compared = by_name(county[0]), 0
    wrong = []
    for row in FIGURES:
        duty = units[NAMES[row["unit"]]]["duties"][int(row["duty"]) - 1]
        if is_printed(row, duty):
            compared += 1
            found = digits(row, duty)
            if found != Decimal(row["expected"]):
                wrong.append((NAMES[row["unit"]], duty["name"], row["figure"], str(found), row["expected"]))
    assert wrong == []
    assert compared >= 65


def test_each_status_and_the_split(county: dict[Any, Any]) -> None:
    found = statuses(county[0])
    assert found == {row["name"]: row["status_at_d0"].replace("_", " ") for row in STATUSES}
    assert Counter(found.values()) == SPLIT


@pytest.mark.parametrize(("days", "column"), [(107, "status_30_sep"), (108, "status_1_oct")])
def test_thirtieth_of_september_and_the_day_after(county: dict[Any, Any], days: int, column: str) -> None:
    """The last day of the two pails counts; the day after they are out."""
    assert county[days]["as_of"] == (day(days) + county["shift"]).isoformat()
    assert county[days]["how"] == "forecast"
    assert statuses(county[days]) == {row["name"]: row[column].replace("_", " ") for row in STATUSES}
    assert county["written by a forecast"] == 0


def test_engine_1_on_the_first_of_october(county: dict[Any, Any]) -> None:
    """County: 1 Oct usable 35, short 9.175 (44.175 - 35)."""
    before, after = (by_name(county[days])["Engine 1"]["duties"][0] for days in (107, 108))
    assert before["usable_gal"] == pytest.approx(45, abs=0.003)
    assert after["usable_gal"] == pytest.approx(35, abs=0.003)
    assert after["short_gal"] == pytest.approx(9.175, abs=0.003)
    assert {each["code"] for each in after["deficiencies"]} == {"short_of_textbook"}
    out = [each for each in by_name(county[108])["Engine 1"]["deficiencies"] if each["code"] == "expired"]
    assert len(out) == 2


@pytest.mark.parametrize("unit", ["Engine 1", "Engine 7"])
def test_until_when(county: dict[Any, Any], unit: str) -> None:
    """Engine 1 until 30 Sep 2026 by two pails; Engine 7 until 10 Feb 2027 by its sample."""
    row = next(row for row in STATUSES if row["name"] == unit)
    until = by_name(county[0])[unit]["holds_until"]
    days = {"2026-09-30": 107, "2027-02-10": 240}[row["holds_until"]]  # 15 days of June, 31 + 31 + 30; + 31+30+31+31+10
    assert until == (day(days) + county["shift"]).isoformat()


# What the county says is wrong with each duty, in the codes of the table.
WRONG = {
    ("Engine 1", 0): ("ready", set()),
    ("Engine 2", 0): ("ready", set()),
    ("Engine 2", 1): ("not ready", {"wrong_foam"}),
    ("Engine 3", 0): ("limited", {"setting_not_parked"}),
    ("Engine 4", 0): ("not ready", {"rate_short"}),
    ("Engine 5", 0): ("not ready", {"no_pick_up"}),
    ("Engine 6", 0): ("ready", set()),
    ("Engine 6", 1): ("not ready", {"short_of_textbook"}),
    ("Engine 7", 0): ("ready", set()),
    ("Foam Tender 1", 0): ("ready", set()),
    ("Hazmat 1", 0): ("not ready", {"short_of_textbook"}),
    ("Crash 1", 0): ("ready", set()),
    ("Foam Trailer 1", 0): ("ready", set()),
    ("Brush 4", 0): ("ready", set()),
    ("Kit on Brush 4", 0): ("limited", {"runs_dry"}),
}


def test_the_split_of_each_duty_and_what_is_wrong(county: dict[Any, Any]) -> None:
    found = {
        (unit["unit"], n): (
            duty["status"],
            {each["code"] for each in duty["deficiencies"] if each["severity"] != "note"},
        )
        for unit in county[0]["units"]
        for n, duty in enumerate(unit["duties"])
    }
    assert found == WRONG


def test_what_is_wrong_with_the_units_themselves(county: dict[Any, Any]) -> None:
    units = by_name(county[0])
    overdue = next(each for each in units["Engine 7"]["deficiencies"] if each["code"] == "check_overdue")
    assert (overdue["quantity"], overdue["measured"], overdue["required"]) in (("days", 11, 1), ("hours", 264, 24))
    assert "no_tow" in {each["code"] for each in units["Foam Trailer 1"]["deficiencies"]}
    mixed = next(each for each in units["Hazmat 1"]["deficiencies"] if each["code"] == "mixed")
    assert mixed["measured"] == pytest.approx(20 * 3.785411784, abs=0.003)  # 16 + 4 gal
    assert units["Ladder 2"]["duties"] == []


def test_engine_3_turned_to_6(county: dict[Any, Any]) -> None:
    """County: found at 3, parked at 6; left at 3 it draws 42.75 gal in 15 min, half-strength."""
    as_set = by_name(county[0])["Engine 3"]["duties"][0]["as_set"]
    assert (as_set["setting_pct"], as_set["turn_to_pct"], as_set["lean"]) == (3, 6, True)


@pytest.mark.parametrize(("unit", "psi"), [("Engine 1", "120.98"), ("Engine 5", "136.33")])
def test_back_pressure(county: dict[Any, Any], unit: str, psi: str) -> None:
    """County: 100 + 13.99 x 1.5 = 120.98 psi at 95 gpm; 100 + 24.22 x 1.5 = 136.33 psi at 125 gpm."""
    found = by_name(county[0])[unit]["duties"][0]["back_pressure_psi"]
    assert Decimal(f"{found:.6f}").quantize(Decimal(psi)) == Decimal(psi)


DUTY_KEYS = {
    "name",
    "kind",
    "fuel",
    "status",
    "required_gpm",
    "textbook_need_gal",
    "textbook_need_l",
    "line_need_gal",
    "line_need_l",
    "usable_gal",
    "usable_l",
    "short_gal",
    "short_l",
    "covered_share",
    "minutes",
    "area_ft2",
    "area_limited_by",
    "own_water_minutes",
    "back_pressure_psi",
    "as_set",
    "deficiencies",
}


def test_the_shape_of_the_json(county: dict[Any, Any]) -> None:
    told = county[0]
    assert told["department"] == "Port Ansley Fire Department"
    assert told["as_of"] == (day(0) + county["shift"]).isoformat()
    assert told["how"] == "judged"
    kinds = Counter(duty["kind"] for unit in told["units"] for duty in unit["duties"])
    assert kinds == {"spill": 13, "class-a": 1, "airport": 1}
    for unit in told["units"]:
        assert {"unit", "vehicle", "status", "holds_until", "deficiencies", "duties"} <= unit.keys()
        for duty in unit["duties"]:
            assert duty.keys() >= DUTY_KEYS
            for name in ("textbook_need", "line_need", "usable", "short"):
                assert duty[f"{name}_l"] == pytest.approx(duty[f"{name}_gal"] * 3.785411784, abs=1e-5)
        for each in unit["deficiencies"]:
            assert {"code", "subject", "severity", "measured", "required", "since"} <= each.keys()
            assert each["since"] is not None


def test_the_same_by_processes_on_a_database_of_their_own(tmp_path: Path) -> None:
    """The demo's command today, then the night twice: the same county, and the second night changes nothing."""
    with own_database(tmp_path) as url:
        run(url, "-m", "django", "demo", "--no-serve")
        told = json.loads(run(url, "-m", "django", "nightly", "--json"))
        again = json.loads(run(url, "-m", "django", "nightly", "--json"))
        said = run(url, "-m", "django", "nightly")
    assert Counter(statuses(told).values()) == SPLIT
    assert again == told
    assert "Engine 1: READY, holds until" in said
    assert said.splitlines()[-1].endswith("0 answers changed")
