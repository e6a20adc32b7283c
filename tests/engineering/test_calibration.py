"""The line through known mixes against NIST's Norris set, scipy, and a confidence band turned round by root finding."""

import re
from math import sqrt
from pathlib import Path

import numpy
import pytest
import scipy.stats
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from readiness.engineering.calibration import (
    LEAST_CORRELATION,
    Standard,
    fit_line,
    outside_standards,
    poor_fit,
    read_off,
    reading_at,
    student_t,
)

NORRIS = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"  # NIST StRD, ships with scipy
COURSE = [Standard(200, 2.1), Standard(300, 3.0), Standard(400, 4.1), Standard(500, 5.0)]  # row P2: 2 3 4 5 %


def norris():
    """NIST StRD, Linear Least Squares, Norris: lines 61 to 96 hold y and x, as its header says."""
    lines = NORRIS.read_text(encoding="ascii").splitlines()
    assert re.search(r"Data +\(lines 61 to 96\)", "\n".join(lines[:20]))
    return [Standard(float(x), float(y)) for y, x in (line.split() for line in lines[60:96])]


def test_norris_certified_values():
    """NIST certifies intercept, slope, residual standard deviation and R² of the Norris set to 15 figures."""
    line = fit_line(norris())
    assert line.mixes == 36
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.correlation**2 == pytest.approx(0.999993745883712, rel=1e-12)


def test_norris_standard_error_of_the_slope():
    """NIST certifies 0.429796848199937E-03; it is the residual SD over the root of the spread."""
    line = fit_line(norris())
    assert line.residual_sd / sqrt(line.spread) == pytest.approx(0.429796848199937e-03, rel=1e-10)


mixes = st.lists(
    st.tuples(st.integers(50, 1000), st.floats(0.5, 50, allow_nan=False)),
    min_size=3,
    max_size=8,
    unique_by=lambda e: e[0],
)


@given(mixes)
def test_same_line_as_scipy(points):
    standards = [Standard(float(x), y) for x, y in points]
    assume(numpy.ptp([y for _, y in points]) > 0.1)
    expected = scipy.stats.linregress([x for x, _ in points], [y for _, y in points])
    assume(abs(expected.rvalue) > 1e-6)
    line = fit_line(standards)
    assert line.slope == pytest.approx(expected.slope, rel=1e-6, abs=1e-12)
    assert line.intercept == pytest.approx(expected.intercept, rel=1e-6, abs=1e-8)
    assert line.correlation == pytest.approx(expected.rvalue, rel=1e-6, abs=1e-9)
    assert sum(line.residuals) == pytest.approx(0, abs=1e-8)  # least squares: residuals sum to zero


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 6, 7, 10, 30, 101])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.99])
def test_student_t_is_scipys(freedom, confidence):
    assert student_t(freedom, confidence) == pytest.approx(scipy.stats.t.ppf((1 + confidence) / 2, freedom), rel=1e-9)


def test_student_t_of_three_and_four_mixes():
    """Published tables and scipy: 12.7062047362 with one degree of freedom, 4.3026527297 with two."""
    assert student_t(1) == pytest.approx(12.7062047362, rel=1e-10)
    assert student_t(2) == pytest.approx(4.3026527297, rel=1e-10)


@pytest.mark.parametrize(("freedom", "confidence"), [(0, 0.95), (2, 0.0), (2, 1.0)])
def test_student_t_refuses(freedom, confidence):
    with pytest.raises(ValueError, match="degrees of freedom"):
        student_t(freedom, confidence)


def band_crossing(standards, y0, readings, low, high):
    """Where the edge of the 95 % band of a new mean reading passes y0, by scipy's fit and brentq."""
    x = numpy.array([each.pct for each in standards])
    y = numpy.array([each.reading for each in standards])
    fit = scipy.stats.linregress(x, y)
    n = len(x)
    s = sqrt(((y - fit.intercept - fit.slope * x) ** 2).sum() / (n - 2))
    t = scipy.stats.t.ppf(0.975, n - 2)
    sxx = ((x - x.mean()) ** 2).sum()

    def excess(at):
        wide = t * s * sqrt(1 / readings + 1 / n + (at - x.mean()) ** 2 / sxx)
        return abs(y0 - fit.intercept - fit.slope * at) - wide

    return brentq(excess, low, high, xtol=1e-9)


@pytest.mark.parametrize("sample", [[3.2], [3.15, 3.25], [4.4, 4.5, 4.6]])
def test_interval_is_where_the_band_is_crossed(sample):
    """Inverse regression is the calibration band read sideways: both ends found by a root finder on scipy's fit."""
    measured = read_off(fit_line(COURSE), sample)
    y0 = sum(sample) / len(sample)
    assert measured.low == pytest.approx(band_crossing(COURSE, y0, len(sample), -2000, measured.pct), abs=1e-5)
    assert measured.high == pytest.approx(band_crossing(COURSE, y0, len(sample), measured.pct, 3000), abs=1e-5)
    assert measured.low < measured.pct < measured.high


def test_interval_by_hand_in_the_middle():
    """At x̄ the interval is symmetric, half = t s √((1−g)(1 + 1/n)) ÷ (b (1−g)), g = t² s² ÷ (b² Sxx).

    Three mixes 200 300 400 read 2.0 3.1 4.0: b = 2 × 100 ÷ 20000 = 0.01, ȳ = 3.0333, residuals −0.0333 0.0667 −0.0333,
    s = √0.0066667 = 0.0816497, t = 12.7062: g = 161.4476 × 0.0066667 ÷ (0.0001 × 20000) = 0.538159,
    half = 12.7062 × 0.0816497 × √(0.461841 × 1.333333) ÷ (0.01 × 0.461841) = 176.276.
    """
    measured = read_off(fit_line([Standard(200, 2.0), Standard(300, 3.1), Standard(400, 4.0)]), [9.1 / 3])
    assert measured.pct == pytest.approx(300)
    assert measured.high - measured.pct == pytest.approx(176.276, abs=0.001)
    assert measured.pct - measured.low == pytest.approx(176.276, abs=0.001)


@given(st.floats(200, 500))
def test_reading_is_read_off_again(pct):
    line = fit_line(COURSE)
    assert read_off(line, [reading_at(line, pct)]).pct == pytest.approx(pct)


@given(st.floats(200, 500), st.integers(1, 6))
def test_more_readings_never_widen_the_interval(pct, readings):
    line = fit_line(COURSE)
    once, more = (read_off(line, [reading_at(line, pct)] * n) for n in (readings, readings + 1))
    assert more.high - more.low <= once.high - once.low + 1e-9


def test_conductivity_that_falls_with_percentage_is_a_line_too():
    """A slope below zero: the interval still has its low end first."""
    falling = [Standard(each.pct, 10 - each.reading) for each in COURSE]
    rising, fallen = read_off(fit_line(COURSE), [3.2]), read_off(fit_line(falling), [6.8])
    assert (fallen.pct, fallen.low, fallen.high) == pytest.approx((rising.pct, rising.low, rising.high))


@pytest.mark.parametrize(
    ("standards", "words"),
    [
        (COURSE[:2], "2 known mixes were read: a line needs 3"),
        ([Standard(300, 3.0), Standard(300, 3.1), Standard(300, 2.9)], "All known mixes have one percentage"),
        ([Standard(200, 3.0), Standard(300, 3.0), Standard(400, 3.0)], "reads no difference"),
    ],
)
def test_no_line_through_these(standards, words):
    with pytest.raises(ValueError, match=words):
        fit_line(standards)


def test_no_reading_and_no_slope_are_refused():
    with pytest.raises(ValueError, match="No reading of the sample"):
        read_off(fit_line(COURSE), [])
    scattered = [Standard(200, 3.0), Standard(300, 1.0), Standard(400, 3.1)]
    with pytest.raises(ValueError, match="not told from a level one"):
        read_off(fit_line(scattered), [3.0])


def test_poor_fit_is_refused():
    """Row P3: correlation of at least 0.997 (from memory). COURSE has 0.99881 by scipy; one slip of 0.4 has 0.98."""
    slipped = [*COURSE[:3], Standard(500, 4.6)]
    assert scipy.stats.linregress([e.pct for e in COURSE], [e.reading for e in COURSE]).rvalue > LEAST_CORRELATION
    assert scipy.stats.linregress([e.pct for e in slipped], [e.reading for e in slipped]).rvalue < LEAST_CORRELATION
    assert poor_fit(fit_line(COURSE)) == ""
    assert "do not lie on a line" in poor_fit(fit_line(slipped))


@pytest.mark.parametrize(("pct", "where"), [(199, "below"), (200, ""), (350, ""), (500, ""), (501, "above")])
def test_a_sample_outside_the_mixes_is_refused(pct, where):
    line = fit_line(COURSE)
    said = outside_standards(COURSE, read_off(line, [reading_at(line, pct)]))
    assert (where in said) if where else said == ""
    assert bool(said) == bool(where)
