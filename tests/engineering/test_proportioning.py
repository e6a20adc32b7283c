"""Draw test, flow meters, and what an instrument may say about a band. Bands by rows P1 and P6, instruments by P4."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.judging import judge
from readiness.engineering.proportioning import (
    against_baseline,
    band,
    cannot_tell,
    draw_seconds,
    drawn_pct,
    metered_pct,
    outcome,
)
from readiness.engineering.records import Policy
from tests.engineering.county import County

some = st.floats(0.1, 5000)


@pytest.mark.parametrize(("gpm", "pct", "seconds"), [(95, 300, 21.1), (95, 600, 10.5), (125, 300, 16.0)])
def test_seconds_per_gallon(gpm, pct, seconds):
    """Trade notes: seconds per gallon = 60 ÷ (gpm × p): 95 gpm 3 % 21.1 s; 6 % 10.5 s; 125 gpm 3 % 16 s."""
    assert draw_seconds(1.0, pct, gpm) == pytest.approx(seconds, abs=0.05)
    assert drawn_pct(1.0, seconds, gpm) == pytest.approx(pct, rel=0.003)


@given(some, st.floats(10, 1000), some)
def test_draw_test_is_inverted(volume, pct, flow):
    seconds = draw_seconds(volume, pct, flow)
    assert drawn_pct(volume, seconds, flow) == pytest.approx(pct)
    concentrate_lpm = volume / (seconds / 60)  # the meter's way to the same percentage
    assert metered_pct(concentrate_lpm, flow - concentrate_lpm) == pytest.approx(pct)


@pytest.mark.parametrize("wrong", [(0, 20, 95), (1, 0, 95), (1, 20, 0)])
def test_draw_test_refuses_nothing(wrong):
    with pytest.raises(ValueError, match="above 0"):
        drawn_pct(*wrong)
    with pytest.raises(ValueError, match="above 0"):
        draw_seconds(*wrong)


def test_two_meters():
    """Row D7: 2.5 gpm into 247.5 gpm of water is 1 %, 7.5 into 242.5 is 3 %; divided by the water it would be 3.09."""
    assert metered_pct(2.5, 247.5) == pytest.approx(100)
    assert metered_pct(7.5, 242.5) == pytest.approx(300)


@pytest.mark.parametrize(
    ("low", "high", "answer"),
    [
        (300, 390, "passed"),
        (310, 350, "passed"),
        (290, 310, "too near to tell"),
        (380, 395, "too near to tell"),
        (200, 500, "too near to tell"),
        (250, 299, "failed"),
        (391, 420, "failed"),
    ],
)
def test_an_interval_against_the_band(low, high, answer):
    """Row P1: 3 % passes from 3.0 to 3.9; an interval over a limit says nothing."""
    assert outcome(low, high, 300) == answer


@given(st.sampled_from([100, 300, 600]), st.floats(50, 900), st.floats(0, 300), st.floats(0, 100))
def test_a_wider_interval_never_decides_more(pct, low, wide, more):
    narrow, wider = outcome(low, low + wide, pct), outcome(low - more, low + wide + more, pct)
    assert wider in (narrow, "too near to tell")


def test_the_airport_band_is_another():
    """Row P6: 2.9 passes on a crash truck (2.8 to 3.5), fails on an engine (3.0 to 3.9)."""
    assert outcome(285, 295, 300, vehicle=True) == "passed"
    assert outcome(285, 295, 300) == "failed"


@pytest.mark.parametrize(
    ("instrument", "pct", "vehicle", "can"),
    [
        ("refractometer", 100, False, False),  # band 0.3 wide, ±0.3
        ("refractometer", 300, False, True),  # 0.9 wide
        ("refractometer", 600, False, True),  # 1.0 wide
        ("refractometer", 300, True, True),  # 0.7 wide
        ("conductivity", 100, False, True),  # 0.3 wide, ±0.05
        ("conductivity", 30, False, False),  # 0.3 %: 0.09 wide
    ],
)
def test_instruments_that_cannot_tell(instrument, pct, vehicle, can):
    """Rows P1, P4, P6 by hand: an instrument tells where its ± on both sides is narrower than the band."""
    least, greatest = band(pct, vehicle=vehicle)
    said = cannot_tell(instrument, pct, vehicle=vehicle)
    assert (said == "") is can
    if said:
        assert f"{least / 100:g} %" in said
        assert f"{greatest / 100:g} %" in said


def test_water_is_compared_with_its_own_baseline():
    """Row P5: 3.6 % of water then, 3.78 now: 5 % more; nothing is said of concentrate."""
    assert against_baseline(378, 360) == pytest.approx(0.05)
    with pytest.raises(ValueError, match="above 0"):
        against_baseline(0, 360)


def test_a_department_s_own_band_goes_before_the_remembered_one():
    """Row P6 is from memory: 2.9 % passes by it, and fails where a department holds its trucks to 2.95."""
    own = Policy(vehicle_3_least=295)
    assert band(300, vehicle=own.vehicle_bands) == (295, 350)
    assert band(600, vehicle=own.vehicle_bands) == (550, 700)
    assert band(100, vehicle=own.vehicle_bands) == band(100)  # a setting that no vehicle band names
    county = County()
    assert judge(county.crash_1(), Policy(), county.moment()).status == "ready"
    verdict = judge(county.crash_1(), own, county.moment())
    assert {each.code for each in verdict.deficiencies if each.severity == "not_ready"} == {"test_lean"}
