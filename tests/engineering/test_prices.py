"""Prices: read as people type them, and a liter's price from a container's or a gallon's, by arithmetic in the test."""

from __future__ import annotations

import pytest

from readiness.engineering.prices import (
    PriceError,
    minor_per_liter,
    minor_per_liter_of,
    minor_per_liter_together,
    price_text,
    read_price,
)


@pytest.mark.parametrize(
    ("typed", "minor"),
    [
        ("118.50", 11_850),
        ("118.5", 11_850),
        ("118", 11_800),
        ("1,182.50", 118_250),
        ("$31.00", 3_100),
        ("USD 25", 2_500),
        ("0", 0),
    ],
)
def test_a_price_as_people_type_it(typed, minor):
    assert read_price(typed) == minor


@pytest.mark.parametrize("typed", ["", "118,50", "-5", "12.345", "1.182,50", "free", "2,000,000", "1e3"])
def test_what_is_no_price_is_refused_with_what_was_read(typed):
    with pytest.raises(PriceError, match="was read"):
        read_price(typed)


def test_a_pail_and_a_gallon():
    # 118.50 ÷ 18.927 L = 6.2609 a liter
    assert minor_per_liter(11_850, 18_927) == 626
    # 25 and 31 $/gal (trade prices of 2013 to 2019) ÷ 3.785411784 = 6.6043 and 8.1893 a liter
    assert minor_per_liter_of(2_500, "gal") == 660
    assert minor_per_liter_of(3_100, "gal") == 819
    assert minor_per_liter_of(626, "L") == 626


def test_a_price_for_show():
    assert price_text(118_250, "USD") == "1,182.50 USD"
    assert price_text(5, "EUR") == "0.05 EUR"


def test_parts_at_their_own_price_a_liter():
    # 10 L at 8.00 and 30 L at 4.00 are 200.00 for 40 L; 1 L at 0.01 beside 1 L for nothing is 0.005, so 0.01
    assert minor_per_liter_together([(800, 10_000), (400, 30_000)]) == 500
    assert minor_per_liter_together([(1, 1_000), (0, 1_000)]) == 1
    assert minor_per_liter_together([(626, 18_927)]) == 626
