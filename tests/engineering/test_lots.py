"""Draws from a container with several lots."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.lots import DrawError, draw_in_proportion


@pytest.mark.parametrize(
    ("holdings", "ml", "drawn"),
    [
        ({1: 500}, 200, {1: 200}),
        ({1: 1_000, 2: 3_000}, 400, {1: 100, 2: 300}),
        # shares 2.5 and 7.5: equal remainders, the smallest lot gives first
        ({1: 1_000, 2: 3_000}, 10, {1: 3, 2: 7}),
        ({2: 1_000, 1: 3_000}, 10, {2: 3, 1: 7}),
        # shares 3.33 each: one left over, equal lots, the lowest id
        ({7: 5, 3: 5, 9: 5}, 10, {3: 4, 7: 3, 9: 3}),
        # shares 0.999… and 999.000…: the trace's remainder is the largest and it comes to zero
        ({1: 1, 2: 100_000}, 99_999, {1: 1, 2: 99_998}),
        # shares 0.1 and 9.9: the trace gives nothing and is left out
        ({1: 10, 2: 990}, 10, {2: 10}),
        # emptied
        ({1: 3, 2: 4}, 7, {1: 3, 2: 4}),
        ({1: 0, 2: 4}, 4, {2: 4}),
    ],
)
def test_largest_remainder_by_hand(holdings, ml, drawn):
    assert draw_in_proportion(holdings, ml) == drawn


@pytest.mark.parametrize(
    ("holdings", "ml", "words"),
    [
        ({1: 5}, 6, "6 ml was read and 5 ml is there"),
        ({}, 1, "0 ml is there"),
        ({1: 5}, 0, "0 ml was read"),
        ({1: 5}, -3, "-3 ml was read"),
        ({1: 5, 2: -1}, 2, "less than nothing"),
    ],
)
def test_refused(holdings, ml, words):
    with pytest.raises(DrawError, match=words):
        draw_in_proportion(holdings, ml)


HOLDINGS = st.dictionaries(st.integers(1, 10_000), st.integers(0, 4_000_000), min_size=1, max_size=12).filter(
    lambda holdings: sum(holdings.values()) > 0
)


@given(HOLDINGS, st.data())
def test_any_draw(holdings, data):
    total = sum(holdings.values())
    ml = data.draw(st.integers(1, total))

    drawn = draw_in_proportion(holdings, ml)

    assert sum(drawn.values()) == ml
    assert all(0 < each <= holdings[lot] for lot, each in drawn.items())
    assert all(abs(drawn.get(lot, 0) - Fraction(ml * held, total)) < 1 for lot, held in holdings.items())


@given(HOLDINGS, st.data(), st.randoms())
def test_the_order_of_lots_does_not_matter(holdings, data, random):
    ml = data.draw(st.integers(1, sum(holdings.values())))
    shuffled = list(holdings.items())
    random.shuffle(shuffled)

    assert draw_in_proportion(dict(shuffled), ml) == draw_in_proportion(holdings, ml)


@given(HOLDINGS)
def test_draws_one_after_another_empty_the_container(holdings):
    left = dict(holdings)
    while (total := sum(left.values())) > 0:
        for lot, each in draw_in_proportion(left, max(1, total // 3)).items():
            left[lot] -= each
        assert min(left.values()) >= 0
    assert set(left.values()) == {0}
