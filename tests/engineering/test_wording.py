"""Volumes side by side: different ones read differently, so that no sentence contradicts itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.wording import volumes_text


@given(st.integers(0, 10_000_000), st.integers(-50, 50), st.sampled_from(["us", "metric"]))
def test_different_volumes_read_differently(ml, more, units):
    one, other = (float(each.split()[0].replace(",", "")) for each in volumes_text(ml, max(0, ml + more), units))
    assert (one < other) == (ml < ml + more)
    assert (one == other) == (ml == max(0, ml + more))


@pytest.mark.parametrize(
    ("first", "second", "units", "said"),
    [
        (18_930, 18_927, "us", ("5.001 gal", "5.000 gal")),  # 18,930 ÷ 3,785.411784 = 5.0008
        (22_712, 18_927, "us", ("6.00 gal", "5.00 gal")),
        (5_001, 5_000, "metric", ("5.001 L", "5.000 L")),
        (18_928, 18_927, "us", ("5.0002 gal", "5.0000 gal")),  # 18,928 ÷ 3,785.411784 = 5.00025
    ],
)
def test_by_hand(first, second, units, said):
    assert volumes_text(first, second, units) == said
