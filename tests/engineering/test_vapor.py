"""Vapor suppression: site S7 of the county worked by hand, row D5, and arithmetic."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.demand import concentrate_l
from readiness.engineering.steps import Recorder
from readiness.engineering.units import from_si, to_si
from readiness.engineering.vapor import blanket, preventive_upkeep_lpm, top_ups


def county(**given):
    values = {"depth_m": to_si(4, "in"), "expansion": 7.0, "wind_loss": 2500, "interval_min": 15.0}
    return blanket(to_si(450, "ft2"), 620, 120, **{**values, **given})


def gal(litres):
    return from_si(litres, "gal")


def test_s7_of_the_county():
    """S7: 450 ÷ 3 × 7.4805 = 1,122.1 gal of foam; ÷ 7 = 160.3; × 1.25 = 200.4 × .062 = 12.42; 7 × 3.106 = 21.74."""
    made = county()
    assert gal(made.foam_l) == pytest.approx(1122.1, abs=0.05)
    assert gal(county(wind_loss=0).solution_l) == pytest.approx(160.3, abs=0.05)
    assert gal(made.solution_l) == pytest.approx(200.4, abs=0.05)
    assert gal(made.first_l) == pytest.approx(12.42, abs=0.005)
    assert (made.top_ups, gal(made.top_up_l)) == (7, pytest.approx(3.106, abs=0.0005))
    assert gal(made.upkeep_l) == pytest.approx(21.74, abs=0.005)
    assert gal(made.total_l) == pytest.approx(34.16, abs=0.005)


def test_s7_with_the_fire_run_kept_back():
    """S7: if it lights 95 × .062 × 15 = 88.35; total 122.51; E3 90 + pails 20 = 110: short 12.51."""
    fire = concentrate_l(95.0, 620, 15.0)
    assert fire == pytest.approx(88.35)
    assert gal(county().total_l) + fire == pytest.approx(122.51, abs=0.005)
    assert gal(county().total_l) + fire - 110 == pytest.approx(12.51, abs=0.005)


def test_d5_is_the_first_blanket():
    """Row D5: 0.40 m at expansion 6, 3 %: 2 L of concentrate per m²."""
    assert blanket(1.0, 300, 10, depth_m=0.40, expansion=6).first_l == pytest.approx(2.0)


@pytest.mark.parametrize(("hold", "times"), [(10, 0), (15, 0), (16, 1), (30, 1), (31, 2), (120, 7), (240, 15)])
def test_upkeeps(hold, times):
    """The hold ends when the last interval does: no upkeep at its end."""
    assert top_ups(hold) == times


@given(st.floats(1, 5000), st.floats(100, 600), st.floats(1, 1000), st.floats(0.01, 1), st.floats(2, 20))
def test_blanket_scales(area, pct, hold, depth, expanded):
    one = blanket(area, pct, hold, depth_m=depth, expansion=expanded)
    assert blanket(2 * area, pct, hold, depth_m=depth, expansion=expanded).total_l == pytest.approx(2 * one.total_l)
    assert blanket(area, pct, hold, depth_m=depth, expansion=expanded / 2).total_l == pytest.approx(2 * one.total_l)
    assert one.first_l == pytest.approx(one.solution_l * pct / 10_000)
    assert blanket(area, pct, hold + 15, depth_m=depth, expansion=expanded).total_l > one.total_l


def test_its_working_ends_in_its_total():
    say = Recorder()
    made = county(say=say)
    assert [step.label for step in say.steps][-1] == "Blanket and upkeep"
    assert say.steps[-1].result == made.total_l


@pytest.mark.parametrize("given_", [{"depth_m": 0}, {"expansion": 0.5}, {"expansion": 21}])
def test_blankets_that_cannot_be(given_):
    with pytest.raises(ValueError, match="expansion between 1 and 20"):
        county(**given_)
    with pytest.raises(ValueError, match="above 0 min"):
        top_ups(0)


def test_preventive_upkeep():
    """Row D6: 0.2 L/min/m²: 100 m² take 20 L/min."""
    assert preventive_upkeep_lpm(100) == pytest.approx(20)
