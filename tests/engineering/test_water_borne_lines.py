"""Lines that depend on the water: batch mix in the tank, and around the pump on a hydrant. By hand."""

import pytest

from readiness.engineering.hydraulics import hose
from readiness.engineering.judging import judge, working
from readiness.engineering.records import Lay, Policy, Supply
from readiness.engineering.units import to_si
from tests.engineering.county import AR_AFFF, GASOLINE, HYDRANT, County, gpm


def answer(kind, **more):
    return judge(rig_with(kind, **more), Policy(), County().moment()).answers[0]


def rig_with(kind, *, water_gal=750, supply=HYDRANT, **more):
    county = County()
    line = county.injected(61, 95, rings=())._replace(kind=kind, max_feed_lpm=None, sources=(1,), **more)
    tank = county.tank(1, county.lot(1, AR_AFFF), 50)
    duty = county.spill(1, "gasoline", GASOLINE, 900, supply)
    return county.rig(1, "Engine 1", water=water_gal, containers=(tank,), lines=(line,), duties=(duty,))


def found(kind, **more):
    return {each.code: each for each in answer(kind, **more).deficiencies if each.severity != "note"}


def test_b1_a_tankful_never_lasts_an_unbroken_15_minutes():
    """B1. 750 gal at 95 gpm last 7.9 min of 15: mixing anew breaks the attack, so it is not covered."""
    fault = found("batch")["batch_ends"]
    assert fault.measured == pytest.approx(7.9, abs=0.01)
    assert fault.required == 15
    assert answer("batch").status == "not_ready"


def test_a_tank_that_lasts_does():
    """1,425 gal ÷ 95 = 15.0 min."""
    assert "batch_ends" not in found("batch", water_gal=1425)
    assert "batch_ends" in found("batch", water_gal=1420)


def test_a_tank_of_unknown_size_proves_nothing():
    assert found("batch", water_gal=None)["batch_ends"].measured is None


def test_around_the_pump_on_a_hydrant_has_to_say_what_the_intake_is_under():
    """Common practice, no source: a hydrant pushes into the intake, and around the pump then nothing is drawn."""
    assert set(found("around")) == {"intake_not_stated"}
    assert found("around", intake_kpa=0.0) == {}
    assert found("around", supply=Supply("draft")) == {}
    assert set(found("around", intake_kpa=to_si(10, "psi"))) == {"intake_pressurized"}
    assert found("injection") == {}


def test_an_injection_line_asks_nothing_of_the_tank():
    """95 gpm × 3 % × 15 min."""
    assert answer("injection").need_l == pytest.approx(gpm(95) * 0.03 * 15)


def test_concentrate_goes_with_what_the_line_really_flows():
    """150 psi on 50 ft of 1¾ in and a 95-gpm tip of 100 psi: Q² (100 ÷ 95² + 15.5 × 0.5 ÷ 10⁴) = 150, Q = 112.48 gpm.

    112.48 × 3 % × 15 min = 50.62 gal of the 50 aboard: dry at 14.8 min. At the tip’s own 95 it would be 42.75: ready.
    """
    tip = to_si(100, "psi")
    lay = Lay(to_si(150, "psi"), tip, (hose("1.75", to_si(50, "ft")),), nozzle_k=gpm(95) / tip**0.5)
    flows = (150 / (100 / 95**2 + 0.000775)) ** 0.5
    made = answer("injection", lay=lay)
    assert made.need_l == pytest.approx(gpm(flows) * 0.03 * 15)
    assert made.minutes == pytest.approx(50 / (flows * 0.03), rel=1e-4)
    assert (made.status, set(found("injection", lay=lay))) == ("limited", {"runs_dry"})
    assert made.area_by_rate_m2 == pytest.approx(to_si(950, "ft2"))  # its own 95 gpm at 0.10: it may be throttled
    steps = {step.label: step for step in working(rig_with("injection", lay=lay), Policy(), County().moment(), 1)}
    step, asked = steps["Area by rate"], (to_si(900, "ft2"), gpm(95), gpm(90))  # 0.10 gpm/ft² × 900 ft²
    assert [value for _, value, _ in step.numbers] == pytest.approx(asked)
    assert "counts toward the rate" in step.formula


def test_a_line_that_flows_nothing_at_its_pump_pressure_covers_nothing():
    """A fog nozzle that holds 100 psi, pumped at 60."""
    lay = Lay(to_si(60, "psi"), to_si(100, "psi"), (hose("1.75", to_si(50, "ft")),))
    made = answer("injection", lay=lay)
    assert made.status == "not_ready"
    assert {"pump_low", "rate_short"} <= set(found("injection", lay=lay))
    assert (made.flow_lpm, made.area_by_rate_m2) == (0, 0)
