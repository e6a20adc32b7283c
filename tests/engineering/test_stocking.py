"""Order point, safety stock, order quantity and order plans against published examples and sums done by hand.

Expected values: fixtures/worked_examples/stocking.csv and order_plans.csv, each row with its source.
"""

import csv
from itertools import pairwise, product
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from readiness.engineering import stocking
from readiness.engineering.stocking import (
    StockingError,
    Use,
    containers_to_order,
    economic_order_quantity,
    lead_time_deviation,
    lead_time_use,
    measured_use,
    order_plan,
    order_point,
    safety_stock,
    stock_for_service,
    yearly_order_cost,
)

EXAMPLES = Path(__file__).parents[2] / "fixtures" / "worked_examples"
PAIL_ML = 18_927  # 5 US gal = 18,927.06 mL


def rows(name):
    """The rows of a table of worked examples."""
    with (EXAMPLES / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def numbers(text):
    return tuple(float(each) for each in text.split(";"))


@pytest.mark.parametrize("row", rows("stocking.csv"), ids=lambda row: f"{row['formula']} {row['expected']}")
def test_published_examples(row):
    arguments = dict(each.strip().split("=") for each in row["arguments"].split(";"))
    found = getattr(stocking, row["formula"])(**{name: float(value) for name, value in arguments.items()})
    assert found == pytest.approx(float(row["expected"]), abs=0.5 * 10 ** -int(row["places"]))


@pytest.mark.parametrize("row", rows("order_plans.csv"), ids=lambda row: row["demands"])
def test_published_order_plans(row):
    found = order_plan(numbers(row["demands"]), float(row["order_cost"]), float(row["holding_cost"]))
    assert found.quantities == numbers(row["quantities"])
    assert found.cost == pytest.approx(float(row["cost"]))


def test_every_formula_has_an_example_or_a_test_here():
    assert {row["formula"] for row in rows("stocking.csv")} == {
        "economic_order_quantity",
        "yearly_order_cost",
        "stock_for_service",
        "safety_stock",
        "order_point",
    }


# -- use and lead time -------------------------------------------------------------------------------------------------


def test_use_measured_over_twelve_periods():
    # by hand: 6 × 10 and 6 × 20 in periods of 30 days: 180 in 360 days is 0.5 a day;
    # each differs from the mean 15 by 5: √(12 × 25 ÷ 11) = 5.2223297
    use = measured_use([10.0, 20.0] * 6, 30)
    assert use.daily == pytest.approx(0.5)
    assert use.deviation == pytest.approx(5.2223297, abs=1e-7)
    assert lead_time_use(use, 90) == pytest.approx(45.0)
    assert lead_time_deviation(use, 120) == pytest.approx(2 * 5.2223297, abs=1e-6)  # four periods: √4 = 2


def test_one_period_says_nothing_of_the_spread():
    use = measured_use([12.0], 30)
    assert use.deviation is None
    assert lead_time_deviation(use, 90) is None


def test_a_book_that_gained_more_than_it_used_asks_for_nothing_in_advance():
    assert lead_time_use(Use(-0.2, 1.0, 30), 90) == 0


@pytest.mark.parametrize("service", [0.01, 0.25, 0.5, 0.9, 0.95, 0.99, 0.9999])
def test_the_normal_quantile_is_that_of_an_independent_library(service):
    assert stock_for_service(100, 20, service) == pytest.approx(stats.norm(100, 20).ppf(service), abs=1e-6)


@given(st.floats(0.5, 0.9999), st.floats(0, 1e4))
def test_safety_stock_is_met_with_the_stated_probability(service, deviation):
    kept = safety_stock(deviation, service)
    assert kept >= 0
    if deviation > 1e-6:
        assert stats.norm.cdf(kept / deviation) == pytest.approx(service, abs=1e-6)


# -- order quantity ----------------------------------------------------------------------------------------------------


@given(st.floats(0.01, 1e4), st.floats(0.01, 1e3), st.floats(1, 1e5), st.floats(0.2, 5).filter(lambda f: f != 1))
def test_no_other_quantity_is_cheaper_than_the_economic_one(order_cost, holding_cost, demand, factor):
    best = economic_order_quantity(order_cost, holding_cost, demand)
    least = yearly_order_cost(best, order_cost, holding_cost, demand)
    assert least == pytest.approx(sqrt(2 * order_cost * holding_cost * demand))  # the optimum's cost in one formula
    assert yearly_order_cost(best * factor, order_cost, holding_cost, demand) >= least * (1 - 1e-9)


def test_nothing_is_ordered_at_the_order_point_and_something_just_below():
    point = 45 * 3785.411784  # 45.00 gal = 170,343.53 mL: nine pails are 170,343 mL and enough
    assert containers_to_order(9 * PAIL_ML, 9, point_ml=point, most_ml=None, pack_ml=PAIL_ML) == 0
    assert containers_to_order(8 * PAIL_ML, 8, point_ml=point, most_ml=None, pack_ml=PAIL_ML) == 1


def test_up_to_the_maximum_and_not_beyond():
    # by hand: 90 L on hand, order point 120 L, maximum 200 L: (200 − 90) ÷ 18.927 = 5.8, five whole pails
    assert containers_to_order(90_000, 5, point_ml=120_000, most_ml=200_000, pack_ml=PAIL_ML) == 5
    # a tote of 1,003 L would pass the maximum, but without one the order point is not met
    assert containers_to_order(90_000, 5, point_ml=120_000, most_ml=200_000, pack_ml=1_003_134) == 1


@given(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 10**5), st.integers(0, 10**6) | st.none())
def test_what_is_ordered_meets_the_order_point(position, point, pack, most):
    ordered = containers_to_order(position, 1, point_ml=point, most_ml=most, pack_ml=pack)
    assert (ordered == 0) == (position + 2 >= point)  # 1 mL a container and 1
    assert position + ordered * pack + ordered + 2 >= point
    if most is not None and ordered and position + ordered * pack > most:
        assert position + (ordered - 1) * pack < point, "beyond the maximum only for the order point"


@given(st.lists(st.integers(0, 50), min_size=1, max_size=6), st.integers(0, 200), st.integers(0, 9))
def test_no_plan_of_all_that_can_be_made_is_cheaper(demands, order_cost, holding_cost):
    found = order_plan(demands, order_cost, holding_cost)
    assert found.cost == pytest.approx(min(every_cost(demands, order_cost, holding_cost)))
    assert sum(found.quantities) == sum(demands)
    assert plan_cost(found.quantities, demands, order_cost, holding_cost) == pytest.approx(found.cost)


def every_cost(demands, order_cost, holding_cost):
    """The cost of each set of periods to order in, each order lasting until the next: written anew, by trying all."""
    for orders in product((False, True), repeat=len(demands)):
        starts = [t for t, ordered in enumerate(orders) if ordered]
        if any(demand and not any(start <= t for start in starts) for t, demand in enumerate(demands)):
            continue
        quantities = [0] * len(demands)
        for start, end in pairwise([*starts, len(demands)]):
            quantities[start] = sum(demands[start:end])
        yield plan_cost(quantities, demands, order_cost, holding_cost)


def plan_cost(quantities, demands, order_cost, holding_cost):
    """Orders, and what is left at the end of each period."""
    left, cost = 0, 0
    for ordered, needed in zip(quantities, demands, strict=True):
        left += ordered - needed
        assert left >= 0
        cost += (order_cost if ordered else 0) + holding_cost * left
    return cost


# -- outside the range -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "outside",
    [
        lambda: measured_use([], 30),
        lambda: measured_use([1.0], 0),
        lambda: lead_time_use(Use(1.0, 1.0, 30), -1),
        lambda: lead_time_deviation(Use(1.0, 1.0, 30), -1),
        lambda: stock_for_service(1, 1, 1),
        lambda: stock_for_service(1, 1, 0),
        lambda: stock_for_service(1, -1, 0.5),
        lambda: order_point(-1, 0),
        lambda: economic_order_quantity(0, 1, 1),
        lambda: economic_order_quantity(1, 0, 1),
        lambda: yearly_order_cost(0, 1, 1, 1),
        lambda: order_plan([1, -1], 1, 1),
        lambda: order_plan([1, float("nan")], 1, 1),
        lambda: order_plan([1], -1, 1),
    ],
)
def test_numbers_out_of_range_are_refused_in_a_sentence(outside):
    with pytest.raises(StockingError, match=r"\.$"):
        outside()
