"""Runoff and dikes: site S6 of the county worked by hand, pint, and arithmetic."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.containment import cooling_l, depth_m, standing, volume_at_l
from readiness.engineering.steps import Recorder
from readiness.engineering.units import from_si, to_si

UNITS = pint.UnitRegistry()


def dike(gallons, wall=24, cooling=0.0):
    area = to_si(2000, "ft2")
    product = volume_at_l(to_si(14, "in"), area)
    return standing(
        area, product_l=product, solution_l=to_si(gallons, "gal"), cooling_l=cooling, wall_m=to_si(wall, "in")
    )


def inches(metres):
    return from_si(metres, "in")


def test_s6_over_the_wall():
    """S6: 500 × 30 = 15,000 gal on 2,000 ft² = 12.03 in, on 14 in of product 26.03 in, over a 24-in wall."""
    found = dike(15_000)
    assert inches(found.added_m) == pytest.approx(12.03, abs=0.005)
    assert inches(found.depth_m) == pytest.approx(26.03, abs=0.005)
    assert not found.holds
    assert inches(found.over_m) == pytest.approx(2.03, abs=0.005)


def test_s6_with_a_smaller_tip_holds():
    """S6: 350 × 30 = 10,500 gal = 8.42 in, 22.42 in: holds."""
    found = dike(10_500)
    assert inches(found.added_m) == pytest.approx(8.42, abs=0.005)
    assert inches(found.depth_m) == pytest.approx(22.42, abs=0.005)
    assert (found.holds, found.over_m, found.over_l) == (True, 0.0, 0.0)


def test_trade_notes():
    """9,000 gal on 3,000 ft² stand 4.8 in deep before the product; pint: 1 gal on 1 ft² is 231/144 in."""
    assert inches(depth_m(to_si(9000, "gal"), to_si(3000, "ft2"))) == pytest.approx(4.8, abs=0.02)
    one = (UNITS.Quantity(1, "gallon") / UNITS.Quantity(1, "ft**2")).to("inch").magnitude
    assert inches(depth_m(to_si(1, "gal"), to_si(1, "ft2"))) == pytest.approx(one)


@given(st.floats(0.01, 5), st.floats(1, 100_000))
def test_depth_is_inverted(depth, area):
    assert depth_m(volume_at_l(depth, area), area) == pytest.approx(depth)


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0, 1e6), st.floats(1, 10_000), st.floats(0, 3))
def test_what_does_not_fit_is_what_is_over(product, solution, cooling, area, wall):
    found = standing(area, product_l=product, solution_l=solution, cooling_l=cooling, wall_m=wall)
    room = wall * area * 1000
    assert found.over_l == pytest.approx(max(0.0, found.total_l - room), rel=1e-6, abs=1e-2)


def test_cooling_water_counts():
    """100 gpm for 30 min is 3,000 gal more: 2.406 in (3,000 × 231 ÷ 144 ÷ 2,000)."""
    more = dike(10_500, cooling=cooling_l(to_si(100, "gpm"), 30))
    assert inches(more.added_m - dike(10_500).added_m) == pytest.approx(2.40625)


def test_working_and_refusals():
    say = Recorder()
    found = standing(10.0, product_l=500, solution_l=300, cooling_l=200, wall_m=0.2, say=say)
    assert [step.result for step in say.steps] == [500, 0.05, 0.1]
    assert found.depth_m == 0.1
    for wrong in ({"product_l": -1}, {"solution_l": -1}, {"wall_m": -1}):
        values = {"product_l": 0.0, "solution_l": 0.0, "wall_m": 0.0, **wrong}
        with pytest.raises(ValueError, match="0 or more"):
            standing(10.0, **values)
    with pytest.raises(ValueError, match="above 0"):
        depth_m(10, 0)
    with pytest.raises(ValueError, match="0 or more"):
        cooling_l(-1, 3)
