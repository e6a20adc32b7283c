"""Dates on labels. Expected days are read off a calendar; leap years: 2024 and 2000 yes, 2023 and 2100 no."""

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.dates import (
    DateError,
    GoodThrough,
    good_through,
    last_day,
    parse_good_through,
)


@pytest.mark.parametrize(
    ("day", "precision", "expected"),
    [
        (date(2024, 2, 5), "month", date(2024, 2, 29)),
        (date(2023, 2, 5), "month", date(2023, 2, 28)),
        (date(2100, 2, 1), "month", date(2100, 2, 28)),
        (date(2026, 12, 31), "month", date(2026, 12, 31)),
        (date(2026, 6, 15), "year", date(2026, 12, 31)),
        (date(2026, 6, 15), "day", date(2026, 6, 15)),
    ],
)
def test_last_day(day, precision, expected):
    assert last_day(day, precision) == expected


@pytest.mark.parametrize(
    ("read", "expected", "precision"),
    [
        ("2028-07-30", date(2028, 7, 30), "day"),
        ("2028-07-30 00:00:00", date(2028, 7, 30), "day"),
        ("2028/07/30", date(2028, 7, 30), "day"),
        ("30 Jul 2028", date(2028, 7, 30), "day"),
        ("30-Jul-2028", date(2028, 7, 30), "day"),
        ("July 30, 2028", date(2028, 7, 30), "day"),
        ("Mar 2023", date(2023, 3, 31), "month"),
        ("march  2023", date(2023, 3, 31), "month"),
        ("Sept. 2023", date(2023, 9, 30), "month"),
        ("Mar-2023", date(2023, 3, 31), "month"),
        ("3/2028", date(2028, 3, 31), "month"),
        ("02/2028", date(2028, 2, 29), "month"),
        ("2028-02", date(2028, 2, 29), "month"),
        ("2009", date(2009, 12, 31), "year"),
        (2009, date(2009, 12, 31), "year"),
        (2009.0, date(2009, 12, 31), "year"),
        (date(2028, 7, 30), date(2028, 7, 30), "day"),
        (datetime(2028, 7, 30, 0, 0), date(2028, 7, 30), "day"),  # noqa: DTZ001 (a cell has no zone)
    ],
)
def test_read_as_written(read, expected, precision):
    assert parse_good_through(read) == GoodThrough(expected, precision)


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("07/30/2018", "mdy", date(2018, 7, 30)),
        ("30/07/2018", "dmy", date(2018, 7, 30)),
        ("3/6/2026", "mdy", date(2026, 3, 6)),
        ("3/6/2026", "dmy", date(2026, 6, 3)),
        ("30.07.2018", "dmy", date(2018, 7, 30)),
    ],
)
def test_day_and_month_in_the_order_the_writer_states(text, order, expected):
    assert parse_good_through(text, order=order) == GoodThrough(expected, "day")


@pytest.mark.parametrize(
    ("read", "order", "words"),
    [
        ("3/6/2026", None, ["“3/6/2026” was read", "day/month or month/day", "2028-07-30"]),
        ("07/30/2018", None, ["day/month or month/day"]),
        ("07/30/2018", "dmy", ["as day/month/year", "no month 30"]),
        ("30/07/2018", "mdy", ["as month/day/year", "no month 30"]),
        ("30-Jul-18", None, ["four-figure year"]),
        ("7/18", None, ["four-figure year"]),
        ("2023-02-29", None, ["no day in the calendar"]),
        ("31 Apr 2026", None, ["no day in the calendar"]),
        ("13/2028", None, ["no day in the calendar"]),
        ("Foo 2023", None, ["“Foo” is not a month"]),
        ("1850", None, ["1950 to 2150"]),
        (date(1900, 1, 1), None, ["1950 to 2150"]),
        ("soon", None, ["“soon” was read"]),
        ("", None, ["Nothing was read"]),
        (None, None, ["Nothing was read"]),
        (45_000, None, ["not a year"]),
        (True, None, ["not a year"]),
        (2009.5, None, ["not a year"]),
        (float("nan"), None, ["not a year"]),
        pytest.param(10**5000, None, ["not a year"], id="a bomb of figures"),
        ("2" * 100, None, ["too long"]),
    ],
)
def test_refused_with_a_sentence(read, order, words):
    with pytest.raises(DateError) as refusal:
        parse_good_through(read, order=order)
    for word in [*words, "write it like 2028-07-30"]:
        assert word in str(refusal.value)


@pytest.mark.parametrize(("precision", "text"), [("day", "2026-06-15"), ("month", "2026-06"), ("year", "2026")])
def test_written_as_exactly_as_it_is_known(precision, text):
    label = good_through(date(2026, 6, 15), precision)

    assert str(label) == text
    assert parse_good_through(str(label)) == label


@given(st.dates(date(1950, 1, 1), date(2150, 12, 30)), st.sampled_from(["day", "month", "year"]))
def test_the_last_day_is_the_last(day, precision):
    last = last_day(day, precision)
    after = last + timedelta(days=1)

    assert last >= day
    assert last_day(last, precision) == last
    assert last_day(after, precision) > last


@given(
    st.one_of(
        st.text(max_size=20),
        st.text(alphabet="0123456789/-. JanMrul", max_size=11),
        st.floats(),
        st.integers(),
        st.none(),
    ),
    st.sampled_from([None, "dmy", "mdy"]),
)
def test_whatever_is_read_gives_a_date_or_a_sentence(read, order):
    label, sentence = None, ""
    try:
        label = parse_good_through(read, order=order)
    except DateError as refusal:
        sentence = str(refusal)

    assert "was read" in sentence or last_day(label.day, label.precision) == label.day
