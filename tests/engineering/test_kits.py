"""Portable kits: rows K1 and K2 of fixtures/reference/published_values.csv (common practice, no source)."""

import csv
import re
from pathlib import Path

import pytest

from readiness.engineering.kits import CLASS_A_DIAL, CLASS_B_DIAL, on_dial
from readiness.engineering.percentages import solution_made_l

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"


def published(row_id):
    with (REFERENCE / "published_values.csv").open(encoding="utf-8", newline="") as rows:
        return next(row for row in csv.DictReader(rows) if row["id"] == row_id)


def numbers(text):
    return [float(each) for each in re.findall(r"[0-9]+(?:\.[0-9]+)?", text)]


def test_solution_from_a_reservoir():
    # K1: 2.5 US gal at 0.1 / 0.5 / 1 / 3 / 6 % makes 2500 / 500 / 250 / 83.3 / 41.7 US gal, within 0.05 gal
    row = published("K1")
    reservoir_gal, *percents = numbers(row["inputs"])
    expected_gal = numbers(row["expected"])
    assert (percents, expected_gal) == ([0.1, 0.5, 1, 3, 6], [2500, 500, 250, 83.3, 41.7])

    made = [solution_made_l(reservoir_gal, round(100 * percent)) for percent in percents]

    assert made == pytest.approx(expected_gal, abs=0.05)


def test_dial_faces():
    # K2: Class A 0.1 to 1.0 %, Class B 1 to 6 %
    class_a, class_b = published("K2")["expected"].split(" / ")
    assert [CLASS_A_DIAL.least_pct / 100, CLASS_A_DIAL.greatest_pct / 100] == numbers(class_a)
    assert [CLASS_B_DIAL.least_pct / 100, CLASS_B_DIAL.greatest_pct / 100] == numbers(class_b)


@pytest.mark.parametrize(
    ("pct", "reached"),
    [(9, False), (10, True), (100, True), (300, True), (600, True), (601, False)],
)
def test_dial_ends(pct, reached):
    assert on_dial(pct) is reached


@pytest.mark.parametrize("pct", [0, 10_000])
def test_an_absurd_percentage_is_refused(pct):
    with pytest.raises(ValueError, match="was read"):
        solution_made_l(9.5, pct)
