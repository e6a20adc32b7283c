"""Due days: counted on a calendar by hand."""

from __future__ import annotations

from datetime import date

import pytest

from readiness.engineering.inspections import due_on

MADE = date(2026, 1, 1)


@pytest.mark.parametrize(
    ("rhythm", "last", "due"),
    [
        ("shift", date(2026, 6, 15), date(2026, 6, 16)),
        ("week", date(2026, 6, 15), date(2026, 6, 22)),
        ("month", date(2026, 6, 15), date(2026, 7, 15)),
        ("month", date(2026, 1, 31), date(2026, 2, 28)),  # February 2026 has 28 days
        ("month", date(2025, 12, 31), date(2026, 1, 31)),
        ("year", date(2026, 6, 15), date(2027, 6, 15)),
        ("year", date(2028, 2, 29), date(2029, 2, 28)),  # 2028 is a leap year
    ],
)
def test_by_the_calendar(rhythm, last, due):
    assert due_on(rhythm, last, MADE) == due


@pytest.mark.parametrize(
    ("last", "due"),
    [  # 2026-06-17, -24 and 2026-07-01 are Wednesdays (2026-06-15 is a Monday)
        (date(2026, 6, 15), date(2026, 6, 17)),
        (date(2026, 6, 17), date(2026, 6, 24)),
        (date(2026, 6, 18), date(2026, 6, 24)),
        (date(2026, 6, 24), date(2026, 7, 1)),
    ],
)
def test_a_house_that_checks_on_drill_night(last, due):
    assert due_on("week", last, MADE, weekday=2) == due


def test_a_new_rule_counts_its_beginning_as_the_first_time():
    assert due_on("year", None, date(2026, 6, 15)) == date(2027, 6, 15)


@pytest.mark.parametrize("rhythm", ["after use", "on change"])
def test_what_follows_an_event_is_due_with_it_and_not_before(rhythm):
    assert due_on(rhythm, None, MADE) is None
    assert due_on(rhythm, MADE, MADE, event=date(2026, 6, 15)) == date(2026, 6, 15)
