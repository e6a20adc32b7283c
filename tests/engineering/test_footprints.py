"""Footprints and spreads: rows S1 to S3, circles by their own area, pint for gallons and feet."""

from math import pi

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.footprints import (
    SURFACES,
    by_depth_m2,
    circle_m2,
    coated_concrete_m2,
    diameter_of_m,
    planned_m2,
    regulatory_m2,
    spreads,
)

UNITS = pint.UnitRegistry()
litres = st.floats(0.1, 1_000_000)


def test_5_mm_in_us_units():
    """Reference list, no. 8, by pint: 1,000 gal at 5 mm cover 8,149.16667 ft²."""
    feet = UNITS.Quantity(by_depth_m2(3785.411784, "sand"), "m**2").to("ft**2").magnitude
    assert feet == pytest.approx(8149.16667, abs=1e-5)


@pytest.mark.parametrize(
    ("litres_spilled", "area"),
    [(50, 70.0), (94.999, 132.9986), (95, 133.0), (369.4, 133.0), (370, 133.2), (1000, 360.0)],
)
def test_the_step_at_95_litres_goes_up_not_down(litres_spilled, area):
    """S2: 1.4 × 95 = 133 m² just below the step and 0.36 × 95 = 34.2 m² above it. We keep 133 until 0.36 V is more
    (369.4 L): a planner who adds a litre must not be told a quarter of the ground."""
    assert coated_concrete_m2(litres_spilled) == pytest.approx(area, abs=0.05)


@given(litres, litres)
def test_more_liquid_never_covers_less(one, other):
    low, high = sorted((one, other))
    for surface in SURFACES:
        assert planned_m2(spreads(low, surface)) <= planned_m2(spreads(high, surface)) + 1e-9


@given(litres)
def test_the_greater_is_planned_for(volume):
    for surface in SURFACES:
        found = spreads(volume, surface)
        assert planned_m2(found) == max(each.area_m2 for each in found)
        assert all(planned_m2(found) >= each.area_m2 for each in found)
        assert {each.confirmed for each in found} == {True, False}  # one read in a source, the others from memory


def test_which_relation_governs_where():
    """1000 L by hand: sand 1000 ÷ 5 = 200 m² over 100; gravel 100 = 100; farmland 50 < 100; concrete 0.36 × 1000."""
    areas = {surface: planned_m2(spreads(1000, surface)) for surface in SURFACES}
    assert areas == {"concrete": 360, "sand": 200, "gravel": 100, "farmland": 100, "overgrown": 100}
    assert regulatory_m2(1000) == 100


@given(st.floats(0.1, 500))
def test_a_circle_is_inverted(diameter):
    assert diameter_of_m(circle_m2(diameter)) == pytest.approx(diameter)
    assert circle_m2(diameter) == pytest.approx(pi * (diameter / 2) ** 2)


@pytest.mark.parametrize(("make", "given"), [(circle_m2, (0,)), (spreads, (0, "sand"))])
def test_nothing_has_no_footprint(make, given):
    with pytest.raises(ValueError, match="above 0"):
        make(*given)
