"""The arithmetic of an inventory, against a public audit and figures worked by hand."""

from __future__ import annotations

import pytest

from readiness.engineering.inventories import (
    Limits,
    above_limit,
    above_total,
    agreed,
    sample_size,
    share_of_book,
    shared_among,
    value_minor,
)

LIMITS = Limits(share=500, least_ml=1_000, total_share=200)  # 5 % and 1 L a container, 2 % in all


@pytest.mark.parametrize(
    ("difference", "book", "share"),
    [
        (-600, 6_300, -952),  # a city's audit of its stores: 6,300 gal in the book, 5,700 on field check
        (0, 6_300, 0),
        (300, 400, 7_500),
        (-5, 5, -10_000),  # all of it
        (-1, 3, -3_333),
        (5, 0, None),  # nothing in the book is no share
    ],
)
def test_the_share_of_the_book(difference, book, share):
    assert share_of_book(difference, book) == share


@pytest.mark.parametrize(
    ("difference", "book", "above"),
    [
        (-5_000, 100_000, False),  # exactly 5 %
        (-5_001, 100_000, True),
        (5_001, 100_000, True),
        (-999, 1_000, False),  # nearly all of it, and less than a liter
        (-1_000, 1_000, False),
        (1_001, 0, True),
    ],
)
def test_above_the_limit_is_above_both(difference, book, above):
    assert above_limit(difference, book, LIMITS) is above


@pytest.mark.parametrize(("difference", "above"), [(-126, False), (-127, True), (127, True)])
def test_the_limit_of_the_whole(difference, above):
    """2 % of 6,300 is 126."""
    assert above_total(difference, 6_300, LIMITS) is above


def test_nothing_counted_and_nothing_in_the_book_is_within():
    assert not above_total(0, 0, LIMITS)
    assert above_total(1, 0, LIMITS)


@pytest.mark.parametrize(
    ("looks", "alike"),
    [
        ([0], True),
        ([0, 0], True),
        ([0, 10], True),  # just what two looks may differ by
        ([0, 11], False),
        ([0, 11, 11], True),
        ([0, 11, 30], False),
        ([0, 0, 30], False),  # the last says otherwise: somebody looks again
        ([0, 30, 0], True),
        ([0, 30, 0, 30], False),  # two against two
        ([None, None], True),
        ([None, 0], False),
        ([0, None, None], True),
    ],
)
def test_most_looks_say_the_same(looks, alike):
    assert agreed(looks, gauge_ml=10) is alike


@pytest.mark.parametrize(("counted", "wanted"), [(0, 0), (1, 1), (10, 1), (11, 2), (400, 40)])
def test_one_in_ten_rounded_up(counted, wanted):
    assert sample_size(counted, 1_000) == wanted


def test_a_gain_is_shared_in_proportion():
    assert shared_among({1: 1_000, 2: 3_000}, 100) == {1: 25, 2: 75}
    assert shared_among({1: 1_000, 2: 3_000}, 8_000) == {1: 2_000, 2: 6_000}  # twice all that is in it
    assert shared_among({1: 1, 2: 2}, 10) == {1: 3, 2: 7}  # thrice 1 and 2, and the one left over to the larger share
    assert shared_among({1: 0, 2: 5}, 3) == {2: 3}


def test_money_at_the_lots_prices():
    """10 L at 7.26 a liter and 2.5 L at 8.00 are 72.60 and 20.00."""
    assert value_minor({1: -10_000, 2: -2_500}, {1: 726, 2: 800}) == -9_260
    assert value_minor({1: -10_000, 2: -2_500}, {1: 726, 2: None}) is None
    assert value_minor({}, {}) is None
