"""Percentages: reading, refusing, mixing. Ids in capitals are rows of fixtures/reference/published_values.csv."""

import csv
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.percentages import (
    PercentError,
    concentrate_for_water_l,
    fraction,
    parse_percent,
    percent_text,
    solution_made_l,
    solution_percent,
)

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"


def published(row_id):
    with (REFERENCE / "published_values.csv").open(encoding="utf-8", newline="") as rows:
        return next(row for row in csv.DictReader(rows) if row["id"] == row_id)


@pytest.mark.parametrize(
    ("read", "pct"),
    [
        ("3", 300),
        ("3%", 300),
        ("3 %", 300),
        ("3.0", 300),
        ("3 percent", 300),
        (3, 300),
        (3.0, 300),
        (Decimal("3"), 300),
        ("0.3", 30),  # a Class A setting
        (0.5, 50),  # a Class A setting
        ("0.1", 10),  # the leanest Class A setting, K2
        ("6", 600),
        ("3.15", 315),
        (0.1 + 0.2, 30),  # 0.30000000000000004 in the cell
        ("10", 1000),
        ("0.03 %", 3),  # with its sign it is taken as written
        ("+3", 300),
    ],
)
def test_one_percentage(read, pct):
    assert parse_percent(read) == pct


@pytest.mark.parametrize(
    ("read", "words"),
    [
        ("0.03", ["0.03 was read", "write 3 %", "0.03 % with its sign"]),
        (0.03, ["0.03 was read", "write 3 %"]),
        (0.06, ["0.06 was read", "write 6 %"]),
        (0.0999, ["write 9.99 %"]),
        ("300", ["300 was read", "at most 10 %", "write 3 if 3 % was meant"]),
        (300, ["300 was read", "write 3"]),
        ("15", ["15 was read", "at most 10 %"]),
        ("0", ["0 was read", "at least"]),
        ("-3", ["“-3” was read", "never below zero"]),
        ("3/6", ["“3/6” was read", "pair of settings", "write one"]),
        ("3x6", ["pair of settings"]),
        ("3×6 %", ["pair of settings"]),
        ("3,5", ["not one percentage", "with a point"]),
        ("3.125", ["at most two decimals"]),
        ("three", ["“three” was read", "not one percentage"]),
        ("", ["Nothing was read"]),
        (None, ["Nothing was read"]),
        (True, ["“yes” was read"]),
        (float("nan"), ["no percentage"]),
        (float("inf"), ["no percentage"]),
        (1e308, ["no percentage"]),
        pytest.param(10**5000, ["no percentage"], id="a bomb of figures"),
        (date(2026, 3, 6), ["A date was read (6 March 2026)", "turned 3/6 into a date", "write 3x6"]),
        (datetime(2026, 3, 6, 0, 0), ["A date was read (6 March 2026)", "write 3x6"]),  # noqa: DTZ001 (a cell has no zone)
        (date(2026, 6, 3), ["A date was read (3 June 2026)", "write 3x6"]),  # where the day comes first
        ("2026-03-06 00:00:00", ["which is a date", "write 3x6"]),
        ("3/6/2026", ["which is a date"]),
        ("6-Mar", ["which is a date"]),
        ("Mar 6", ["which is a date"]),
        ("x" * 100, ["was read"]),
    ],
)
def test_refused_with_a_sentence(read, words):
    with pytest.raises(PercentError) as refusal:
        parse_percent(read)

    assert str(refusal.value).endswith(".")
    for word in words:
        assert word in str(refusal.value)


def test_measured_values_and_shares_are_given_more_room():
    assert parse_percent("12.5", greatest=10_000) == 1250
    assert parse_percent("20 %", least=0, greatest=10_000) == 2000
    assert parse_percent(0, least=0, greatest=10_000) == 0
    with pytest.raises(PercentError, match="at most 100 %"):
        parse_percent("250", greatest=10_000)


@pytest.mark.parametrize(("pct", "text"), [(300, "3 %"), (50, "0.5 %"), (315, "3.15 %"), (10_000, "100 %"), (0, "0 %")])
def test_percent_text(pct, text):
    assert percent_text(pct) == text


@given(st.integers(10, 1000))
def test_what_is_shown_is_read_back(pct):
    assert parse_percent(percent_text(pct)) == pct


@given(
    st.one_of(
        st.text(max_size=20),
        st.text(alphabet="0123456789.,/x× %-", max_size=8),
        st.floats(),
        st.integers(),
        st.decimals(),
        st.dates(),
        st.none(),
    )
)
def test_whatever_is_read_gives_a_setting_or_a_sentence(read):
    found, sentence = 0, ""
    try:
        found = parse_percent(read)
    except PercentError as refusal:
        sentence = str(refusal)

    assert "was read" in sentence or 1 <= found <= 1000


# Mixing


def test_batch_mixing_in_a_tank_of_water():
    # B1: 3 % in 750 gal: added to 750 gal of water 23.20 gal; made up to 750 gal 22.50 gal
    assert "23.20 gal" in published("B1")["expected"]
    assert concentrate_for_water_l(750, 300) == pytest.approx(23.20, abs=0.005)
    assert solution_made_l(22.50, 300) == pytest.approx(750)


def test_airport_rule_states_water():
    # A6: twice W·p/(1−p): 1,500 gal at 3 % 92.78 gal; 6,000 gal at 6 % 765.96 gal
    assert 2 * concentrate_for_water_l(1500, 300) == pytest.approx(92.78, abs=0.005)
    assert 2 * concentrate_for_water_l(6000, 600) == pytest.approx(765.96, abs=0.005)


def test_three_gallons_added_to_a_hundred_are_not_three_percent():
    # check value 9: 300 ÷ 103 = 2.9126 %
    assert solution_percent(3, 100) == pytest.approx(300 / 103, rel=1e-15)
    assert solution_percent(3, 97) == pytest.approx(3, rel=1e-15)


@given(st.floats(0.001, 1e7), st.integers(1, 9_999))
def test_solve_for_each_and_get_the_others_back(water_l, pct):
    concentrate_l = concentrate_for_water_l(water_l, pct)

    assert solution_made_l(concentrate_l, pct) == pytest.approx(water_l + concentrate_l, rel=1e-9)
    assert solution_percent(concentrate_l, water_l) == pytest.approx(pct / 100, rel=1e-9)


@pytest.mark.parametrize("pct", [0, -1, 10_000, 30_000])
def test_a_share_outside_0_to_100_percent_is_refused(pct):
    with pytest.raises(ValueError, match="was read"):
        fraction(pct)


@pytest.mark.parametrize("mix", [(0, 0), (-1, 5), (5, -1)])
def test_a_mix_of_nothing_is_refused(mix):
    with pytest.raises(ValueError, match="was read"):
        solution_percent(*mix)
