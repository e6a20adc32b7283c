"""A foam line as a worksheet: rows H1 to H9 of the published values, the county's Engine 5, row B2."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.cures import Gear, trials
from readiness.engineering.hydraulics import back_pressure_kpa, hose
from readiness.engineering.line_sheets import Asked, line_sheet, rig_with
from readiness.engineering.nozzles import k_factor
from readiness.engineering.operating import eductor_point, pumped_point
from readiness.engineering.records import Lay, Policy
from readiness.engineering.units import from_si, to_si
from tests.engineering.county import County

POLICY = Policy()


def psi(value):
    return to_si(value, "psi")


def gpm(value):
    return to_si(value, "gpm")


def lay(feet=150, inlet=200, nozzle=100, **more):
    return Lay(psi(inlet), psi(nozzle), (hose("1.75", to_si(feet, "ft")),), **more)


def shown(sheet, key, unit):
    return from_si(sheet.value(key), unit)


def codes(sheet):
    return {each.code for each in sheet.faults}


def test_h4_on_a_worksheet():
    """H3, H4: 136.3 psi against 130, longest 123.9 ft; at 95 gpm 120.98 psi picks up (county, Engine 1)."""
    sheet = line_sheet(Asked(lay(), gpm(125)), POLICY)
    assert shown(sheet, "back_pressure", "psi") == pytest.approx(136.33, abs=0.005)
    assert shown(sheet, "longest", "ft") == pytest.approx(123.9, abs=0.05)
    assert "65 % of inlet" in sheet.refused
    assert codes(sheet) == {"no_pick_up"}
    good = line_sheet(Asked(lay(), gpm(95)), POLICY)
    assert (good.refused, codes(good)) == ("", set())
    assert shown(good, "back_pressure", "psi") == pytest.approx(120.98, abs=0.005)
    plated = line_sheet(Asked(lay(plate_back_pressure_kpa=psi(120)), gpm(95)), POLICY)
    assert "the plate’s limit" in plated.refused
    with pytest.raises(ValueError, match="above 0"):
        line_sheet(Asked(lay(), 0.0), POLICY)


def test_the_county_s_engine_5_is_cured_by_a_length_or_a_softer_tip():
    """Two sections, 100 ft; or a 75-psi tip. As a restriction it passes 121.2 gpm of water."""
    sheet = line_sheet(Asked(lay(), gpm(125)), POLICY)
    assert shown(sheet, "cure_length", "ft") == pytest.approx(100)
    assert shown(sheet, "cure_tip", "psi") == pytest.approx(75)
    assert shown(sheet, "flow", "gpm") == pytest.approx(121.2, abs=0.1)


def test_it_settles_and_is_faulted_and_cured_as_a_unit_s_own_line():
    """The same functions: the operating point, and the cures of Engine 5's own line by length and tip."""
    county = County()
    engine = county.engine_5()
    asked = Asked(engine.lines[0].lay, engine.lines[0].rated_lpm)
    sheet, point = line_sheet(asked, POLICY), eductor_point(asked.lay, asked.flow_lpm, 6500)
    assert sheet.value("flow") == point.flow_lpm
    assert sheet.value("lowest") == -point.highest_m
    own = trials(engine, engine.lines[0], 1, POLICY, county.moment(), Gear())
    mine = trials(rig_with(asked), rig_with(asked).lines[0], 1, POLICY, county.moment(), Gear())
    facts = [(each.kind, each.length_m, each.pressure_kpa) for each in own if each.cures]
    assert facts == [(each.kind, each.length_m, each.pressure_kpa) for each in mine if each.cures]
    assert len(facts) == 2


def test_faults_of_the_plate():
    """Inlet 150 of 200: 95 × √0.75 = 82.3 gpm, rich; lift 7 of 6 ft; nozzle of 60 below the eductor's 95."""
    plate = {"rated_inlet_kpa": psi(200), "lift_m": to_si(7, "ft"), "plate_lift_m": to_si(6, "ft")}
    sheet = line_sheet(Asked(lay(50, 150, 75, **plate), gpm(95)), POLICY)
    assert codes(sheet) == {"inlet_low", "lift_too_high"}
    assert shown(sheet, "flow", "gpm") == pytest.approx(82.27, abs=0.01)
    assert any("draws rich" in note for note in sheet.notes)
    assert "nozzle_below_eductor" in codes(line_sheet(Asked(lay(50), gpm(95), nozzle_lpm=gpm(60)), POLICY))
    assert "nozzle_above_eductor" in codes(line_sheet(Asked(lay(50), gpm(95), nozzle_lpm=gpm(125)), POLICY))


def test_h8_the_plate_s_psi_go_before_the_share():
    """Row H8: 100 psi at 160 psi, where 65 % would allow 104: 102 psi does not pick up."""
    plate = lay(50, 160, 102 - 13.99 * 0.5, plate_back_pressure_kpa=psi(100))
    sheet = line_sheet(Asked(plate, gpm(95)), POLICY)
    assert shown(sheet, "back_pressure", "psi") == pytest.approx(102, abs=0.01)
    assert shown(sheet, "limit", "psi") == pytest.approx(100)
    assert "the plate’s limit" in sheet.refused
    assert line_sheet(Asked(plate._replace(plate_back_pressure_kpa=None), gpm(95)), POLICY).refused == ""


def test_b2_a_feed_that_is_too_small():
    """Row B2: 190 gpm on 5.0 gpm makes 2.63 %; 5.0 ÷ 3 % = 166.7 gpm would be fed."""
    found = Asked(lay(50), gpm(190), eductor=False, max_feed_lpm=gpm(5))
    sheet = line_sheet(found._replace(lay=found.lay._replace(nozzle_kpa=psi(75))), POLICY)
    assert sheet.value("makes") == pytest.approx(263.16, abs=0.01)
    assert codes(sheet) == {"feed_lean"}
    assert shown(sheet, "cure_flow", "gpm") == pytest.approx(166.67, abs=0.01)


def test_a_pump_that_gives_too_much_makes_it_lean():
    """150 psi on 50 ft of 1¾ in and 95 gpm at 100 psi: 95 × √(150 ÷ 106.994) = 112.48 gpm; 2.85 gpm are 2.534 %.

    2.85 ÷ 3 % = 95 gpm are fed: pumped at 106.994 psi; or at 150 through a tip that has 150 − 6.994 = 143.006 psi for
    them and is one of 95 ÷ √1.43006 = 79.44 gpm at 100 psi.
    """
    one = lay(50, 150, 100, nozzle_k=k_factor(gpm(95), psi(100)))
    sheet = line_sheet(Asked(one, gpm(95), eductor=False, max_feed_lpm=gpm(2.85)), POLICY)
    assert shown(sheet, "flow", "gpm") == pytest.approx(112.48, abs=0.005)
    assert sheet.value("makes") == pytest.approx(253.4, abs=0.05)
    assert codes(sheet) == {"feed_lean"}
    assert shown(sheet, "cure_flow", "gpm") == pytest.approx(79.44, abs=0.005)
    assert shown(sheet, "cure_pump", "psi") == pytest.approx(106.994, abs=0.001)
    assert any("more than its nozzle is meant for" in note for note in sheet.notes)
    for step in (each for each in sheet.steps if each.label.startswith("Makes")):
        numbers = {name: value for name, value, _ in step.numbers}
        assert step.result == pytest.approx(min(3.0, 100 * numbers["feed"] / numbers["flow"]))


def test_a_pump_that_gives_too_little():
    """100 ft of 1¾ in and 95 gpm at 100 psi ask 113.99 psi; 57 psi, half of it, flow 95 × √½ = 67.2 gpm."""
    one = Lay(psi(113.99 / 2), psi(100), (hose("1.75", to_si(100, "ft")),), nozzle_k=k_factor(gpm(95), psi(100)))
    sheet = line_sheet(Asked(one, gpm(95), eductor=False), POLICY)
    assert shown(sheet, "flow", "gpm") == pytest.approx(67.2, abs=0.05)
    assert shown(sheet, "pump_for_own", "psi") == pytest.approx(113.99, abs=0.005)
    assert codes(sheet) == {"pump_low"}
    assert shown(sheet, "cure_pump", "psi") == pytest.approx(113.99, abs=0.005)
    high = line_sheet(Asked(lay(50, 50, 100), gpm(95), eductor=False), POLICY)
    assert "Nothing flows" in high.refused


@given(st.floats(10, 300), st.floats(60, 300), st.floats(30, 150), st.floats(40, 130), st.booleans())
def test_its_figures_are_the_operating_point_s(feet, inlet, flow, nozzle, eductor):
    found = lay(feet, inlet, nozzle, nozzle_k=k_factor(gpm(flow), psi(nozzle)))
    sheet = line_sheet(Asked(found, gpm(flow), eductor), POLICY)
    point = eductor_point(found, gpm(flow), 6500) if eductor else pumped_point(found, gpm(flow))
    assert sheet.value("flow") == point.flow_lpm
    assert sheet.value("longest") == point.longest_m
    if eductor:
        assert sheet.value("back_pressure") == pytest.approx(back_pressure_kpa(found, gpm(flow)))
        assert (sheet.refused == "") == point.picks_up == ("no_pick_up" not in codes(sheet))
