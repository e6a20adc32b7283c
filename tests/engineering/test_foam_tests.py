"""Expansion and drainage of finished foam: rows F1 and F2, numpy's interpolation, and arithmetic written out."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.foam_tests import (
    Drained,
    below_declared,
    drained_at_min,
    expansion,
    expansion_class,
    quarter_ml,
)

SERIES = [Drained(float(minute), ml) for minute, ml in enumerate([0, 8, 20, 33, 45, 55])]


def test_a_worked_drainage():
    """Reference list, no. 19: 0 8 20 33 45 55 mL at 0 to 5 min, a quarter of 200 mL: 4.5 min (4 + 5 ÷ 10)."""
    assert drained_at_min(SERIES, quarter_ml(200)) == pytest.approx(4.5)


@given(st.lists(st.floats(0.01, 20), min_size=2, max_size=9), st.floats(0.01, 0.999))
def test_same_as_numpys_interpolation(steps, share):
    ml = [0.0, *numpy.cumsum(steps)]
    wanted = share * ml[-1]
    series = [Drained(0.5 * n, each) for n, each in enumerate(ml)]
    expected = numpy.interp(wanted, ml, [each.minutes for each in series])
    assert drained_at_min(series, wanted) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("ml", "minute"),
    [(0, 0.0), (8, 1.0), (20, 2.0), (55, 5.0), (55.01, None)],
)
def test_at_and_beyond_the_readings(ml, minute):
    """A reading itself is met exactly; beyond the last nothing is guessed."""
    assert drained_at_min(SERIES, ml) == minute


def test_a_level_stretch_and_a_late_first_reading():
    """20 mL stood from minute 2 to 3: it had drained at 2. A first reading at 1 min begins from 0 mL at 0 min."""
    assert drained_at_min([Drained(1, 10), Drained(2, 20), Drained(3, 20)], 20) == 2.0
    assert drained_at_min([Drained(1, 10), Drained(2, 20)], 5) == 0.5


@pytest.mark.parametrize(
    ("series", "words"),
    [
        ([Drained(0, 0)], "two readings or more"),
        ([Drained(0, 0), Drained(2, 9), Drained(2, 10)], "go on in time"),
        ([Drained(0, 0), Drained(1, 9), Drained(2, 8)], "does not go back"),
        ([Drained(-1, 0), Drained(1, 9)], "begins at 0 min"),
    ],
)
def test_series_that_cannot_be(series, words):
    with pytest.raises(ValueError, match=words):
        drained_at_min(series, 5)


@given(st.floats(1, 5000), st.floats(1, 1000))
def test_expansion_is_inverted(cylinder, expanded):
    assert expansion(cylinder, cylinder / expanded) == pytest.approx(expanded)


@pytest.mark.parametrize(("cylinder", "grams"), [(1000, 0), (0, 200), (1000, 1200)])
def test_masses_that_cannot_be(cylinder, grams):
    with pytest.raises(ValueError, match="was read"):
        expansion(cylinder, grams)


@pytest.mark.parametrize(
    ("expanded", "name"),
    [(1, "low"), (20, "low"), (20.01, "medium"), (200, "medium"), (200.01, "high"), (1000, "high")],
)
def test_classes(expanded, name):
    """Row F2: up to 20, 20 to 200, 200 to 1000; the limit itself belongs to the lower class."""
    assert expansion_class(expanded) == name


@pytest.mark.parametrize("expanded", [0.9, 1000.1])
def test_no_class_outside(expanded):
    with pytest.raises(ValueError, match="between 1 and 1000"):
        expansion_class(expanded)


@pytest.mark.parametrize(("measured", "declared", "below"), [(5.9, 6.0, True), (6.0, 6.0, False), (5.0, None, False)])
def test_against_what_is_declared(measured, declared, below):
    assert below_declared(measured, declared) is below
