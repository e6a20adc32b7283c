"""Operating points: hand arithmetic, an independent root finder, inverses, and no jump where branches join."""

import csv
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from readiness.engineering.hydraulics import (
    COEFFICIENTS,
    back_pressure_kpa,
    back_pressure_limit_kpa,
    coefficient_of,
    friction_kpa,
    highest_m,
    hose,
    hose_kpa,
)
from readiness.engineering.nozzles import k_factor
from readiness.engineering.operating import (
    SPEEDS_M_S,
    direction_of,
    eductor_flow_lpm,
    eductor_point,
    fed_pct,
    inlet_from_pump_kpa,
    pump_for_kpa,
    pumped_point,
    speed_m_s,
    tankful_min,
)
from readiness.engineering.records import Hose, Lay
from readiness.engineering.units import from_si, to_si

DARCY = Path(__file__).parents[2] / "fixtures" / "worked_examples" / "friction_darcy.csv"
SHARE = 6500


def psi(value):
    return to_si(value, "psi")


def gpm(value):
    return to_si(value, "gpm")


def feet(value):
    return to_si(value, "ft")


def in_psi(value):
    return from_si(value, "psi")


def in_gpm(value):
    return from_si(value, "gpm")


def in_feet(value):
    return from_si(value, "ft")


def preconnect(length=150, *, inlet=200, tip=100, flow=None, **more):
    """1¾ in, as the county's; flow: the nozzle is a fixed opening of that flow at ``tip``."""
    k = None if flow is None else k_factor(gpm(flow), psi(tip))
    return Lay(psi(inlet), psi(tip), (hose("1.75", feet(length)),), nozzle_k=k, **more)


# -- friction ----------------------------------------------------------------------------------------------------------


def test_friction_against_darcy_weisbach_over_the_whole_table():
    """psi a 100 ft by Darcy-Weisbach (Colebrook, bore as named, roughness 0.01 mm, water 999 kg/m³ and 1.12 mPa·s),
    from the library named in the fixture's note.

    Band: C Q² L is 0.65 to 1.5 of it between 2 and 12 m/s. Real hose is not as wide as its name and departments enter
    measured losses: a band, never an expected value.
    """
    rows = list(csv.DictReader(DARCY.read_text(encoding="utf-8").splitlines()))
    assert {row["size_in"] for row in rows} == set(COEFFICIENTS)
    for row in rows:
        leg, flow = hose(row["size_in"], feet(100)), gpm(float(row["flow_gpm"]))
        ratio = in_psi(friction_kpa(leg.coefficient, flow, leg.length_m)) / float(row["psi_per_100_ft"])
        assert 0.65 <= ratio <= 1.5, row
        assert speed_m_s(leg.size_in, flow) == pytest.approx(float(row["velocity_m_s"]), abs=1e-4)


def test_a_departments_own_measurement():
    """13.2 psi in 100 ft of 1¾ in at 95 gpm: C = 13.2 ÷ 0.95² = 14.626, where the table has 15.5."""
    assert coefficient_of(psi(13.2), gpm(95), feet(100)) == pytest.approx(14.626, abs=5e-4)


@given(st.floats(0.05, 40), st.floats(100, 8000), st.floats(5, 300))
def test_the_coefficient_comes_back_from_its_loss(coefficient, flow_lpm, length_m):
    assert coefficient_of(friction_kpa(coefficient, flow_lpm, length_m), flow_lpm, length_m) == pytest.approx(
        coefficient
    )


@pytest.mark.parametrize(("values", "what"), [((0, 360, 30), "loss"), ((90, 0, 30), "flow"), ((90, 360, -1), "length")])
def test_a_loss_that_is_none_is_refused(values, what):
    with pytest.raises(ValueError, match=f"A {what} of .* was read: it is more than 0"):
        coefficient_of(*values)


def test_legs_in_series_and_lines_side_by_side_behind_a_wye():
    """250 gpm: 200 ft of 2½ in lose 2 × 6.25 × 2 = 25 psi; behind the wye two lines of 125 gpm, 100 ft of 1¾ in, lose
    15.5 × 1.5625 = 24.22 psi, once and not twice. 49.22 psi."""
    lay = Lay(psi(200), psi(100), (hose("2.5", feet(200)),), wye=2, wye_hose=(hose("1.75", feet(100)),))
    assert in_psi(hose_kpa(lay, gpm(250))) == pytest.approx(49.21875)
    reduced = lay._replace(hose=(*lay.hose, hose("1.75", feet(100))), wye=1, wye_hose=())
    assert in_psi(hose_kpa(reduced, gpm(250))) == pytest.approx(25 + 15.5 * 6.25)


# -- eductors ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "tip", "back", "share", "draws", "longest"),
    [
        (150, 100, 136.33, 68.2, False, 123.9),
        (100, 100, 124.22, 62.1, True, 123.9),
        (150, 75, 111.33, 55.7, True, 227.1),
    ],
)
def test_the_countys_125_gpm_line(length, tip, back, share, draws, longest):
    """Worked by hand in the county: 24.22 psi a 100 ft; (130 − tip) ÷ 24.21875 × 100 ft is the longest stretch."""
    point = eductor_point(preconnect(length, tip=tip), gpm(125), SHARE)
    assert point.picks_up is draws
    assert in_feet(point.longest_m) == pytest.approx(longest, abs=0.05)
    if draws:
        assert in_psi(point.back_kpa) == pytest.approx(back, abs=0.005)
        assert 100 * point.share == pytest.approx(share, abs=0.05)
        assert in_gpm(point.flow_lpm) == pytest.approx(125)


def test_h4_at_65_percent_it_is_a_restriction_and_at_70_it_draws():
    """H4. 136.3 psi is 68 % of 200. We go by 65 % (H1): the lesser share is printed beside the eductor, and a miss
    means no foam at all. Where it does not draw, (Q ÷ 125)² × 70 = 200 − 100 − 15.5 × 1.5 (Q ÷ 100)², which is
    100 ÷ (0.00448 + 0.002325) = 14,695: Q = 121.2 gpm of water."""
    at_65, at_70 = (eductor_point(preconnect(), gpm(125), share) for share in (6500, 7000))
    assert (at_65.picks_up, at_70.picks_up) == (False, True)
    by_hand = sqrt(100 / (70 / 125**2 + 15.5 * 1.5 / 100**2))
    assert in_gpm(at_65.flow_lpm) == pytest.approx(by_hand)
    assert by_hand == pytest.approx(121.22, abs=0.01)
    assert in_psi(at_65.back_kpa) == pytest.approx(100 + 23.25 * (by_hand / 100) ** 2)


def test_h8_the_plates_psi_go_before_a_share_and_shrink_below_its_inlet():
    """H8. A plate of 100 psi at 160 psi counts before 65 % (104 psi). At 80 psi inlet it allows 50 and not 100: a jet
    recovers a share of what drives it; at 200 psi it allows 100 still, since no more is printed. Inference, and the
    cautious side of both."""
    plated = preconnect(inlet=160, plate_back_pressure_kpa=psi(100), rated_inlet_kpa=psi(160))
    for inlet, allowed in [(160, 100), (80, 50), (200, 100)]:
        limit = back_pressure_limit_kpa(plated._replace(inlet_kpa=psi(inlet)), SHARE)
        assert in_psi(limit) == pytest.approx(allowed)


def test_the_flow_grows_with_the_root_of_the_inlet():
    """A quarter of the inlet is half the flow: 95 gpm at 200 psi, 47.5 at 50. Square-root law."""
    assert in_gpm(eductor_flow_lpm(gpm(95), psi(50), psi(200))) == pytest.approx(47.5)
    assert eductor_flow_lpm(gpm(95), psi(50), None) == gpm(95)


@given(st.floats(100, 2000), st.floats(50, 2000), st.floats(500, 2000))
def test_the_inlet_comes_back_from_its_flow(rated_lpm, inlet_kpa, rated_inlet_kpa):
    flow = eductor_flow_lpm(rated_lpm, inlet_kpa, rated_inlet_kpa)
    found = brentq(lambda inlet: eductor_flow_lpm(rated_lpm, inlet, rated_inlet_kpa) - flow, 1.0, 5000.0)
    assert found == pytest.approx(inlet_kpa)


@pytest.mark.parametrize(
    ("inlet", "way"), [(200, ""), (190, ""), (210, ""), (189, "rich"), (211, "lean"), (150, "rich"), (250, "lean")]
)
def test_rich_below_the_plates_inlet_and_lean_above(inlet, way):
    """Trade notes give the direction, and no figure; within 5 % of the plate's 200 psi we say nothing [inference]."""
    assert direction_of(psi(inlet), psi(200)) == way
    assert direction_of(psi(inlet), None) == ""


def test_a_nozzle_below_the_eductor_does_not_pick_up():
    """A 60-gpm tip on a 95-gpm eductor asks for (95 ÷ 60)² × 100 = 250.7 psi at 95 gpm: above any limit."""
    point = eductor_point(preconnect(50, flow=60), gpm(95), SHARE)
    assert not point.picks_up
    assert in_psi(back_pressure_kpa(preconnect(50, flow=60), gpm(95))) == pytest.approx(250.69 + 6.99, abs=0.01)


def test_a_nozzle_above_the_eductor_draws_and_loses_its_reach():
    """A 125-gpm tip on a 95-gpm eductor is left with (95 ÷ 125)² × 100 = 57.76 psi."""
    point = eductor_point(preconnect(50, flow=125), gpm(95), SHARE)
    assert point.picks_up
    assert in_psi(point.nozzle_kpa) == pytest.approx(57.76)


def test_the_highest_tip():
    """95 gpm, 150 ft: 130 − 120.98 = 9.02 psi are left: 20.8 ft at 0.434 psi a foot. At that height it just draws."""
    lay = preconnect()
    height = highest_m(lay, gpm(95), psi(130))
    assert in_feet(height) == pytest.approx((130 - 100 - 13.98875 * 1.5) / 0.434, abs=1e-6)
    assert back_pressure_kpa(lay._replace(height_m=height), gpm(95)) == pytest.approx(psi(130))
    assert highest_m(preconnect(tip=140), gpm(95), psi(130)) < 0


lengths = st.floats(5, 400)
inlets = st.floats(60, 300)
flows = st.sampled_from([60, 95, 125, 250])


@given(lengths, inlets, flows, st.booleans(), st.floats(-30, 60))
def test_the_point_lies_on_both_curves(length, inlet, flow, fixed, height):
    """An independent root finder on the two curves, each written out anew: what the eductor gives at a back pressure,
    and what the lay asks for."""
    lay = preconnect(length, inlet=inlet, flow=flow if fixed else None, height_m=feet(height))
    limit = 0.65 * inlet

    def gives(back):
        return flow if back <= limit else flow * sqrt(max(0.0, inlet - back) / (inlet - limit))

    def asks(rate):
        tip = 100 * (rate / flow) ** 2 if fixed else 100
        return tip + 15.5 * (rate / 100) ** 2 * length / 100 + 0.434 * height

    point = eductor_point(lay, gpm(flow), SHARE)
    if asks(0) >= inlet:
        assert point.flow_lpm == 0
        return
    found = flow if asks(flow) <= limit else brentq(lambda rate: rate - gives(asks(rate)), 0, flow)
    assert in_gpm(point.flow_lpm) == pytest.approx(found, rel=1e-6)
    assert point.picks_up is (asks(flow) <= limit * (1 + 1e-9))
    assert in_psi(point.back_kpa) == pytest.approx(asks(found), abs=1e-4)


@given(inlets, flows)
def test_no_jump_where_it_stops_picking_up(inlet, flow):
    """A foot on either side of the longest stretch flows the same within one part in a hundred."""
    longest = eductor_point(preconnect(inlet=inlet), gpm(flow), SHARE).longest_m
    assume(longest > 2)
    inside, outside = (
        eductor_point(preconnect(in_feet(longest) + more, inlet=inlet), gpm(flow), SHARE) for more in (-0.5, 0.5)
    )
    assert (inside.picks_up, outside.picks_up) == (True, False)
    assert outside.flow_lpm == pytest.approx(inside.flow_lpm, rel=0.01)
    assert outside.flow_lpm <= inside.flow_lpm


@given(lengths, inlets, flows)
def test_longer_never_flows_more(length, inlet, flow):
    short, long = (eductor_point(preconnect(length + more, inlet=inlet), gpm(flow), SHARE) for more in (0, 50))
    assert long.flow_lpm <= short.flow_lpm + 1e-9
    assert long.picks_up <= short.picks_up


@pytest.mark.parametrize("inlet", [0, -5])
def test_an_inlet_of_nothing_is_refused(inlet):
    with pytest.raises(ValueError, match="inlet and plate's inlet are more than 0"):
        eductor_point(preconnect()._replace(inlet_kpa=inlet), gpm(95), SHARE)


def test_hose_between_pump_and_eductor():
    """95 gpm at 200 psi through 50 ft of 2½ in: 2 × 0.9025 × 0.5 = 0.9025 psi at 95 gpm. From a pump of 200 psi the
    inlet is 200 ÷ (1 + 0.9025 ÷ 200) = 199.10 psi, and the flow there loses what the pump gave more."""
    before = (hose("2.5", feet(50)),)
    inlet = inlet_from_pump_kpa(psi(200), before, gpm(95), psi(200))
    assert in_psi(inlet) == pytest.approx(200 / (1 + 0.9025 / 200))
    flow = eductor_flow_lpm(gpm(95), inlet, psi(200))
    assert in_psi(inlet) + 2 * (in_gpm(flow) / 100) ** 2 * 0.5 == pytest.approx(200)
    assert in_psi(inlet_from_pump_kpa(psi(200), before, gpm(95), None)) == pytest.approx(199.0975)
    assert inlet_from_pump_kpa(psi(0.5), before, gpm(95), None) == 0.0


# -- what lets the water pass ------------------------------------------------------------------------------------------


def test_an_injection_line_by_hand():
    """150 psi at the pump, 200 ft of 1¾ in, a 95-gpm tip at 100 psi: Q² (15.5 × 2 ÷ 10⁴ + 100 ÷ 95²) = 150, so
    Q = 102.83 gpm; the tip has 117.2 psi."""
    point = pumped_point(preconnect(200, inlet=150, flow=95), gpm(95))
    assert in_gpm(point.flow_lpm) == pytest.approx(sqrt(150 / (0.0031 + 100 / 9025)))
    assert in_psi(point.nozzle_kpa) == pytest.approx(100 * (in_gpm(point.flow_lpm) / 95) ** 2)
    assert (point.limit_kpa, point.share, point.direction) == (None, None, "")
    assert in_feet(point.longest_m) == pytest.approx((150 - 100) / (15.5 * 0.9025) * 100)


@given(lengths, st.floats(40, 300), flows, st.floats(-30, 60), st.floats(0, 25))
def test_pump_pressure_and_flow_give_each_other_back(length, pump, flow, height, appliances):
    lay = preconnect(length, inlet=pump, flow=flow, height_m=feet(height), appliances_kpa=psi(appliances))
    point = pumped_point(lay, gpm(flow))
    if pump < appliances + 0.434 * height:
        assert point.flow_lpm == 0
        assert not point.picks_up
        return
    assert in_psi(pump_for_kpa(lay, point.flow_lpm)) == pytest.approx(pump)


def test_a_nozzle_that_holds_its_pressure():
    """An automatic nozzle at 100 psi behind 200 ft of 1¾ in from 150 psi: 15.5 (Q ÷ 100)² × 2 = 50, Q = 127.0 gpm."""
    assert in_gpm(pumped_point(preconnect(200, inlet=150), gpm(95)).flow_lpm) == pytest.approx(100 * sqrt(50 / 31))
    bare = Lay(psi(120), psi(100), ())
    assert pumped_point(bare, gpm(95)).flow_lpm == gpm(95)


def test_what_a_feed_makes():
    """B2. 5.0 gpm into 190 gpm at 3 % is 2.63 %, into 95 gpm at 6 % 5.26 %, into 60 gpm at 6 % all 6."""
    assert fed_pct(300, gpm(5), gpm(190)) == pytest.approx(263, abs=0.5)
    assert fed_pct(600, gpm(5), gpm(95)) == pytest.approx(526, abs=0.5)
    assert fed_pct(600, gpm(5), gpm(60)) == 600
    assert fed_pct(600, None, gpm(95)) == 600


def test_b1_a_batch_mixed_tankful():
    """B1. 750 gal at 95 gpm last 7.9 min."""
    assert tankful_min(750, 95) == pytest.approx(7.9, abs=0.01)
    with pytest.raises(ValueError, match="only where something flows"):
        tankful_min(750, 0)


def test_water_slower_or_faster_than_where_friction_was_compared_is_said():
    """1¾ in is 1.552e-3 m²: 10 gpm runs at 0.41 m/s, 95 at 3.86, 300 at 12.2."""
    assert SPEEDS_M_S == (2.0, 12.0)
    for flow, fast in [(10, True), (95, False), (300, True)]:
        pump = 100 + 15.5 * (flow / 100) ** 2 * 0.1  # so that it flows just that
        assert bool(pumped_point(preconnect(10, inlet=pump, flow=flow), gpm(flow)).fast) is fast, flow
    # 500 gpm in 2½ in is 9.96 m/s; behind the wye 250 in 1¾ in 10.2, where all of it would be 20
    wye = Lay(psi(200), psi(100), (hose("2.5", feet(10)),), wye=2, wye_hose=(hose("1.75", feet(10)),))
    assert eductor_point(wye, gpm(500), SHARE).fast == ()
    unknown = Lay(psi(200), psi(100), (Hose(15.5, feet(100)),))
    assert eductor_point(unknown, gpm(10), SHARE).fast == ()
