"""A vapor duty in a unit's status. Site S7 of the county worked by hand: acetone unlit, 450 ft², held 2 h.

4 in at expansion 7 with 25 % for wind: 200.4 gal of solution; at 6.2 % 12.42 gal, and a quarter of it seven times:
34.16 gal. If it lights 95 × .062 × 15 = 88.35 gal. Together 122.51 gal.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.judging import judge, working
from readiness.engineering.records import CoverPlan, Policy, Supply
from readiness.engineering.units import from_si, to_si
from readiness.engineering.vapor import not_stated
from tests.engineering.county import ACETONE, AR_AFFF, HYDRANT, County, ft2

COUNTY = County()
POLICY = Policy()
S7 = CoverPlan(120.0, 15.0, to_si(4, "in"), 7.0, 2500, 2500)
WHOLE_NEED = 34.16 + 88.35


def rig(pails=22, cover=S7, area=450, supply=HYDRANT, **line):
    """Engine 3 of the county with its measured 6.2 %, standing at 6, and so many 5-gal pails."""
    engine = COUNTY.engine_3()
    spill = engine.duties[0]._replace(
        name="dock", fuel=ACETONE, area_m2=ft2(area), duty="vapor", cover=cover, supply=supply
    )
    set_at = {"present": 600, "parked": 600, **line}
    lines = (engine.lines[0]._replace(**set_at),)
    stock = COUNTY.pails(1, pails, COUNTY.lot(1, AR_AFFF))
    return engine._replace(lines=lines, duties=(spill,), containers=stock)


def answer(*args, **given_):
    return judge(rig(*args, **given_), POLICY, COUNTY.moment()).answers[0]


def gal(litres):
    return from_si(litres, "gal")


def codes(found):
    return {each.code for each in found.deficiencies if each.severity != "note"}


def test_s7_enough_for_the_blanket_and_short_of_the_fire_cover():
    """S7: 90 and 20 gal aboard: blanket yes; fire cover short 12.51 gal, limited."""
    found = answer(22)
    assert (found.status, codes(found)) == ("limited", {"fire_cover_short"})
    assert gal(found.need_l) == pytest.approx(WHOLE_NEED, abs=0.005)
    assert gal(found.textbook_l) == pytest.approx(34.16, abs=0.005)
    assert gal(found.short_l) == pytest.approx(12.51, abs=0.005)
    assert found.cover.top_ups == 7
    parts = (found.cover.first_l, found.cover.upkeep_l, found.cover.fire_l)
    assert [gal(each) for each in parts] == pytest.approx([12.42, 21.74, 88.35], abs=0.005)


@pytest.mark.parametrize(
    ("pails", "status", "code"),
    [
        (6, "not_ready", "short_of_textbook"),  # 30 gal of the blanket's 34.16
        (7, "limited", "fire_cover_short"),  # 35
        (24, "limited", "fire_cover_short"),  # 120 of 122.51
        (25, "ready", ""),  # 125: three pails more than 110
    ],
)
def test_where_the_states_part(pails, status, code):
    found = answer(pails)
    assert (found.status, codes(found)) == (status, {code} if code else set())


def test_the_fire_s_rate_is_asked_for_too():
    """1,000 ft² of acetone ask 200 gpm if they light; the line gives 95."""
    found = answer(200, area=1000)
    assert (found.status, codes(found)) == ("not_ready", {"rate_short"})


@pytest.mark.parametrize("name", CoverPlan._fields)
def test_what_is_not_stated_is_unverified_and_named(name):
    found = answer(30, S7._replace(**{name: None}))
    assert (found.status, codes(found)) == ("unverified", {"vapor_not_worked"})
    assert found.cover is None
    assert gal(found.need_l) == pytest.approx(88.35)
    words = found.deficiencies[0].words
    assert words == f"dock without {not_stated(S7._replace(**{name: None}))[0]}"


@pytest.mark.parametrize(
    "given_", [{"expansion": 25.0}, {"expansion": 0.5}, {"drained": 10_001}, {"hold_min": 0.0}, {"depth_m": -0.1}]
)
def test_what_cannot_be_is_not_worked(given_):
    assert codes(answer(30, S7._replace(**given_))) == {"vapor_not_worked"}


def test_without_any_plan_nothing_is_worked():
    assert codes(answer(30, None)) == {"vapor_not_worked"}


def test_a_fire_duty_asks_for_no_plan():
    engine = rig(22)
    fire = engine._replace(duties=(engine.duties[0]._replace(duty="fire"),))
    found = judge(fire, POLICY, COUNTY.moment()).answers[0]
    assert (found.cover, gal(found.need_l)) == (None, pytest.approx(88.35))


def test_own_water_has_to_last_for_the_blanket_too():
    """750 gal ÷ (95 × .938) = 8.4 min; 15 min of fire and 200.4 × 2.75 ÷ 95 = 5.8 min of blanket: 20.8 min."""
    found = answer(30, supply=Supply("none"))
    fault = next(each for each in found.deficiencies if each.code == "no_named_water")
    assert (fault.measured, fault.required) == (pytest.approx(8.416, abs=0.001), pytest.approx(20.80, abs=0.01))


def test_water_and_runoff_hold_the_blanket():
    """Solution 95 × 15 + 200.4 × 2.75 = 1,976 gal, water 93.8 % of it."""
    found = answer(30)
    assert gal(found.runoff_l) == pytest.approx(95 * 15 + 200.384 * 2.75, abs=0.5)
    assert found.water_l == pytest.approx(found.runoff_l * 0.938)


def test_left_at_3_the_blanket_is_drawn_at_3():
    """(95 × 15 + 200.4 × 2.75) × .03 = 59.28 gal."""
    found = answer(30, present=300)
    assert gal(found.as_set.draw_l) == pytest.approx((95 * 15 + 200.384 * 2.75) * 0.03, abs=0.01)


def test_area_by_stock_is_one_that_could_be_fought_too():
    """450 × 110 ÷ (34.16 + 90 × .06 × 15 = 81) = 429.8 ft²."""
    assert from_si(answer(22).area_by_stock_m2, "ft2") == pytest.approx(450 * 110 / (34.16 + 81), abs=0.1)


def test_its_working_shows_every_part_and_ends_in_the_need():
    steps = {step.label: step for step in working(rig(22), POLICY, COUNTY.moment(), 1)}
    for label in (
        "First blanket",
        "Its solution",
        "Its concentrate",
        "Upkeep",
        "Blanket and upkeep",
        "Fire run kept back",
    ):
        assert label in steps
    assert gal(steps["Need"].result) == pytest.approx(WHOLE_NEED, abs=0.005)


@given(st.integers(1, 40), st.floats(15, 600), st.floats(0.02, 0.6), st.floats(1, 20))
def test_a_vapor_duty_never_asks_less_than_the_fire_alone(pails, hold, depth, expansion):
    """And more stock is never worse."""
    plan = S7._replace(hold_min=hold, depth_m=depth, expansion=expansion)
    less, more = answer(pails, plan), answer(pails + 1, plan)
    assert less.need_l >= to_si(88.35, "gal")
    ranks = ("ready", "limited", "unverified", "not_ready")
    assert ranks.index(more.status) <= ranks.index(less.status)
