"""Money from volumes: whole cents, rounded once. Expected values are sums done by hand."""

from decimal import Decimal

import pytest

from readiness.engineering.costs import cost_cents


@pytest.mark.parametrize(
    ("volume_ml", "price", "per", "cents"),
    [
        (170_343, 28, "gal", 126_000),  # nine pails are 44.99986 gal: 1,259.996, rounded to 1,260.00
        (18_927, Decimal("27.50"), "gal", 13_750),  # 5 gal × 27.50 = 137.50
        (1_000, Decimal("7.26"), "L", 726),
        (500, Decimal("0.01"), "L", 1),  # half a cent goes up
        (499, Decimal("0.01"), "L", 0),
        (0, 28, "gal", 0),
        (1_003_134, 38, "gal", 1_007_000),  # a tote of 265 gal × 38.00 = 10,070.00
    ],
)
def test_cost(volume_ml, price, per, cents):
    assert cost_cents(volume_ml, price, per) == cents


@pytest.mark.parametrize(("volume_ml", "price"), [(-1, 28), (1, -28)])
def test_nothing_lies_below_nothing(volume_ml, price):
    with pytest.raises(ValueError, match="neither lies below nothing"):
        cost_cents(volume_ml, price, "gal")
