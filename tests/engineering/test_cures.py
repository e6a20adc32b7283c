"""Cures and alternatives of the county worked by hand: each comes out of the judge with the figures written there."""

import pytest

from readiness.engineering.cures import (
    Gear,
    Nozzle,
    Proportioner,
    at_flow,
    score,
    second_line,
    shorter_lengths_m,
    trials,
)
from readiness.engineering.hydraulics import hose
from readiness.engineering.operating import fed_pct
from readiness.engineering.records import Hose, Lay, Policy
from readiness.engineering.units import from_si, to_si
from tests.engineering.county import AR_AFFF, AR_F3, FP, GASOLINE, County, gpm, psi

POLICY = Policy()


def gal(litres):
    return from_si(litres, "gal")


def in_gpm(lpm):
    return from_si(lpm, "gpm")


@pytest.fixture
def county():
    return County()


def tried(county, rig, duty_id, gear=Gear(), line=None):  # noqa: B008 - a frozen record
    return trials(rig, line or rig.lines[0], duty_id, POLICY, county.moment(), gear)


def only(found, kind):
    (one,) = [each for each in found if each.kind == kind]
    return one


def codes(trial):
    return {each.code for each in trial.answer.deficiencies if each.severity != "note"}


def test_engine_5_drops_one_length(county):
    """100 ft: 124.22 psi = 62.1 %: draws; 60 ÷ (125 × .03) = 16.0 min; longest 123.9 ft."""
    trial = only(tried(county, county.engine_5(), 1), "length")
    answer = trial.answer
    assert (trial.cures, trial.aboard, trial.dropped) == (True, True, 1)
    assert from_si(trial.length_m, "ft") == pytest.approx(100)
    assert answer.status == "ready"
    assert from_si(answer.back_pressure_kpa, "psi") == pytest.approx(124.22, abs=0.005)
    assert 100 * answer.back_pressure_share == pytest.approx(62.1, abs=0.05)
    assert answer.minutes == pytest.approx(16.0, abs=0.001)
    assert from_si(answer.longest_m, "ft") == pytest.approx(123.9, abs=0.05)
    assert gal(answer.need_l) == pytest.approx(56.25)


def test_engine_5_with_a_75_psi_tip(county):
    """75 + 24.22 × 1.5 = 111.33 psi = 55.7 %. Aboard only where such a tip is."""
    trial = only(tried(county, county.engine_5(), 1), "tip")
    assert (trial.cures, trial.aboard) == (True, False)
    assert from_si(trial.answer.back_pressure_kpa, "psi") == pytest.approx(111.33, abs=0.005)
    assert 100 * trial.answer.back_pressure_share == pytest.approx(55.7, abs=0.05)
    low = Nozzle(9, "low-pressure tip", gpm(125), psi(75))
    with_tip = tried(county, county.engine_5(), 1, Gear(nozzles=(low,)))
    assert only(with_tip, "tip").aboard
    own = only(with_tip, "nozzle")
    assert (own.cures, own.name) == (True, "low-pressure tip")
    assert own.answer.back_pressure_kpa == pytest.approx(trial.answer.back_pressure_kpa)


def test_a_lay_that_no_length_cures_offers_none(county):
    """A 140-psi tip is above 130 psi bare: dropping hose does not help."""
    assert not [each for each in tried(county, county.engine_5(150, 140), 1) if each.kind == "length"]


def test_engine_4_with_a_second_set(county):
    """190 × .03 × 15 = 85.5 ≤ 100; 100 ÷ 5.7 = 17.5 min; 52.6 s a pail. A second set is not aboard."""
    trial = only(tried(county, county.engine_4(), 1), "second_line")
    answer = trial.answer
    assert (trial.cures, trial.aboard, answer.status) == (True, False, "ready")
    assert in_gpm(answer.flow_lpm) == pytest.approx(190)
    assert gal(answer.need_l) == pytest.approx(85.5)
    assert answer.minutes == pytest.approx(17.54, abs=0.005)
    assert 60 * 5 / gal(answer.draw_lpm) == pytest.approx(52.6, abs=0.05)


def test_engine_2_with_other_concentrates(county):
    """3×6: 60 × .06 = 3.6 > 3.0 → 5.0 %, lean. 3×3 at .24: required 48, need 27 ≤ 29. FP has no listing for E85.

    Listed for ethanol in the county; here for E85 as well, which is ethanol with a little gasoline."""
    rig = county.engine_2()
    e85 = rig.duties[1].fuel
    ethanol = next(key for key in AR_F3.listings if AR_F3.listings[key].rate.value == 0.24)
    ar_f3 = AR_F3._replace(listings={**AR_F3.listings, (e85.id, "spill"): AR_F3.listings[ethanol]})
    found = tried(county, rig, 2, Gear(concentrates=(AR_AFFF, ar_f3, FP)))
    by_name = {each.name: each for each in found if each.kind == "concentrate"}
    lean = by_name["AR-AFFF 3x6"]
    assert not lean.cures
    (fault,) = [each for each in lean.answer.deficiencies if each.code == "feed_lean"]
    assert (fault.measured, fault.required) == (pytest.approx(500), 600)
    cured = by_name["AR-F3 3x3"]
    assert cured.cures
    assert in_gpm(cured.answer.required_lpm) == pytest.approx(48)
    assert gal(cured.answer.need_l) == pytest.approx(27.0)
    assert gal(cured.answer.usable_l) == pytest.approx(29.0, abs=0.001)
    assert codes(cured) == {"converted_not_retested"}  # a change of concentrate: out of service until tested
    assert by_name["FP 3 %"].answer.setup == ()


def test_engine_2_filled_with_3x6_asks_for_a_tip_of_50_gpm(county):
    """3.0 ÷ .06 = 50 gpm: the largest tip that the feed makes 6 % in. 29 gal are then short of 50 × .06 × 15 = 45."""
    from readiness.engineering.cures import refilled

    rig = county.engine_2()
    found = tried(county, refilled(rig, rig.lines[0], AR_AFFF), 2)
    trial = next(each for each in found if each.kind == "tip" and in_gpm(each.flow_lpm) > 45)
    assert in_gpm(trial.flow_lpm) == pytest.approx(50)
    assert "feed_lean" not in codes(trial)
    assert gal(trial.answer.need_l) == pytest.approx(45)


def test_engine_6_rings(county):
    """Ring 95 at 6 % is 5.7 > 5.0 → 5.26 % lean: no cure for the ethanol. At 3 % on gasoline it is 2.85 ≤ 5.0."""
    lean = only(tried(county, county.engine_6(), 2), "ring")
    (fault,) = [each for each in lean.answer.deficiencies if each.code == "feed_lean"]
    assert (lean.cures, lean.aboard) == (False, True)
    assert fault.measured == pytest.approx(526, abs=0.5)
    assert "feed_lean" not in codes(only(tried(county, county.engine_6(), 1), "ring"))


def overdriven(county, flow=85, **more):
    """50 ft of 1¾ in and a tip at 100 psi, pumped at 150."""
    k = gpm(flow) / psi(100) ** 0.5
    lay = Lay(psi(150), psi(100), (hose("1.75", to_si(50, "ft")),), nozzle_k=k)
    return county.engine_6(lines=(county.injected(61, flow, rings=())._replace(lay=lay, **more),))


def test_a_line_that_is_driven_dry_is_pumped_at_what_its_nozzle_takes(county):
    """85 gpm × .03 × 15 = 38.25 gal of the 38.5 aboard. Pumped at 150 psi: Q² (100 ÷ 85² + 15.5 × .5 ÷ 10⁴) = 150,
    Q = 101.31, and 45.59 are needed. Its own takes 100 + 15.5 × .85² × .5 = 105.60 psi; the same nozzle again, nothing.
    """
    same = Nozzle(9, "the same again", gpm(85), psi(100))
    found = tried(county, overdriven(county, rings_lpm=(gpm(85), gpm(95))), 1, Gear(nozzles=(same,)))
    pump, nozzle, ring = only(found, "pump"), only(found, "nozzle"), only(found, "ring")
    assert (pump.cures, pump.aboard, pump.answer.status) == (True, True, "ready")
    assert from_si(pump.pressure_kpa, "psi") == pytest.approx(105.60, abs=0.005)
    assert gal(pump.answer.need_l) == pytest.approx(38.25)
    assert (nozzle.cures, codes(nozzle)) == (False, {"runs_dry"})
    assert gal(nozzle.answer.need_l) == pytest.approx(45.59, abs=0.005)
    assert not ring.cures
    assert found[0] == pump


def test_a_tip_is_worked_at_the_pump_pressure_it_will_have(county):
    """38.5 gal carry 85.56 gpm for 15 min. Hose takes 15.5 × .8556² × .5 = 5.67 of the 150 psi, and a tip that flows
    85.56 at 144.33 psi is one of 85.56 ÷ √1.4433 = 71.22 gpm at 100."""
    trial = only(tried(county, overdriven(county), 1), "tip")
    assert in_gpm(trial.flow_lpm) == pytest.approx(71.22, abs=0.005)
    assert trial.cures
    assert in_gpm(trial.answer.flow_lpm) == pytest.approx(85.56, abs=0.005)
    assert gal(trial.answer.need_l) == pytest.approx(38.5, abs=1e-3)


def test_a_pump_that_is_low_is_raised(county):
    """A nozzle that holds 100 psi, pumped at 60, flows nothing; 100 + 15.5 × .6² × .5 = 102.79 psi give its 60 gpm."""
    rig = overdriven(county, 60)
    (line,) = rig.lines
    low = line._replace(lay=line.lay._replace(inlet_kpa=psi(60), nozzle_k=None))
    trial = only(tried(county, rig._replace(lines=(low,)), 1), "pump")
    assert (trial.cures, trial.answer.status) == (True, "ready")
    assert from_si(trial.pressure_kpa, "psi") == pytest.approx(102.79, abs=0.005)


def test_engine_6_two_lines_of_95(county):
    """Two 95s at 3 % ask 5.7 of 5.0: 2.63 %, lean on both. Worked for a spill that one line cannot cover."""
    line = county.injected(61, 95, rings=())
    duty = county.spill(1, "gasoline", GASOLINE, 1500)
    rig = county.engine_6(lines=(line,))._replace(duties=(duty,))
    trial = only(tried(county, rig, 1), "second_line")
    (fault,) = [each for each in trial.answer.deficiencies if each.code == "feed_lean"]
    assert fault.measured == pytest.approx(263, abs=0.5)
    assert not trial.cures
    assert fed_pct(300, line.max_feed_lpm, 2 * line.flow_lpm) == pytest.approx(263, abs=0.5)


def test_two_eductors_each_have_a_feed_of_their_own(county):
    twin = second_line(county.engine_4().lines[0])
    assert twin.id < 0
    assert second_line(county.injected(61, 95)).proportioner_id == 6


def test_the_trailers_350_gpm_tip(county):
    """Gasoline 2,000 ft² in depth: 320 gpm × 30 min. At 500 gpm 450 gal: short 135. 315 ÷ (.03 × 30) = 350 gpm is the
    largest tip that the stock carries for the whole time: 350 × 30 × .03 = 315.0 of 315.0."""
    dike = county.spill(1, "dike", GASOLINE, 2000)._replace(use="depth")
    rig = county.foam_trailer_1(tow_ready=True)._replace(duties=(dike,))
    trial = only(tried(county, rig, 1), "tip")
    assert in_gpm(trial.flow_lpm) == pytest.approx(350, abs=1e-3)
    assert trial.cures
    assert gal(trial.answer.need_l) == pytest.approx(315.0, abs=1e-3)
    assert gal(trial.answer.usable_l) == pytest.approx(315.0, abs=1e-3)
    assert trial.answer.status == "ready"
    carried = Nozzle(9, "350 tip", gpm(350))
    own = only(tried(county, rig, 1, Gear(nozzles=(carried,))), "nozzle")
    assert (own.cures, gal(own.answer.need_l)) == (True, pytest.approx(315.0))


def test_no_tip_is_offered_below_what_the_duty_requires(county):
    """38.5 gal carry 38.5 ÷ (.06 × 15) = 42.8 gpm for the whole time, and the ethanol requires 60."""
    assert not [each for each in tried(county, county.engine_6(), 2) if each.kind == "tip"]


def test_a_refill_is_of_what_is_filled_in_and_no_longer_of_what_was(county):
    """A tank whose sample failed and that got mixed counts for nothing; drained, flushed and filled it does."""
    rig = county.engine_2()
    (tank,) = rig.containers
    bad = tank._replace(sample=tank.sample._replace(passed=False), mixed=True)
    found = tried(county, rig._replace(containers=(bad,)), 2, Gear(concentrates=(AR_AFFF,)))
    assert gal(only(found, "concentrate").answer.usable_l) == pytest.approx(29, abs=0.001)


def test_another_nozzle_brings_its_own_k(county):
    """60 gpm at 75 psi is K 6.93 in gpm and psi; a nozzle that held its pressure still does."""
    (line,) = county.engine_5().lines
    known = line._replace(lay=line.lay._replace(nozzle_k=10.0))
    changed = at_flow(known, gpm(60), psi(75)).lay
    assert changed.nozzle_k == pytest.approx(gpm(60) / psi(75) ** 0.5)
    assert at_flow(line, gpm(60), psi(75)).lay.nozzle_k is None


def test_an_inlet_off_the_plate_is_put_right(county):
    """150 psi on a plate of 200: 95 × √0.75 = 82.3 gpm and rich; 90 are required."""
    rig = county.engine_1()
    (line,) = rig.lines
    low = line._replace(lay=line.lay._replace(inlet_kpa=psi(150), rated_inlet_kpa=psi(200)))
    rig = rig._replace(lines=(low,))
    trial = only(tried(county, rig, 1), "inlet")
    assert (trial.cures, trial.answer.status) == (True, "ready")
    assert from_si(trial.pressure_kpa, "psi") == pytest.approx(200)
    assert in_gpm(trial.answer.flow_lpm) == pytest.approx(95)


def test_another_proportioner_aboard(county):
    """An eductor that offers 3 % only, for ethanol at 6: the 3×6 aboard makes it, untested."""
    rig = county.engine_3()
    (line,) = rig.lines
    rig = rig._replace(lines=(line._replace(offered=frozenset({300}), parked=300),))
    spare = Proportioner(9, "spare eductor", frozenset({300, 600}), True, gpm(95), None)
    trial = only(tried(county, rig, 1, Gear(proportioners=(spare,))), "proportioner")
    assert (trial.cures, trial.name) == (True, "spare eductor")
    assert codes(trial) == {"test_never"}


def test_engine_3_is_turned_to_six(county):
    """Parked at 6, found at 3: turned, 90 gal of 88.35 are ready."""
    trial = only(tried(county, county.engine_3(), 1), "setting")
    assert (trial.cures, trial.aboard, trial.pct) == (True, True, 600)
    assert trial.answer.status == "ready"
    assert gal(trial.answer.need_l) == pytest.approx(88.35)


def test_the_other_line_of_the_rig_run_with_it(county):
    """Engine 4 with two 95-gpm sets that nobody declared as a setup: 190 gpm together."""
    rig = county.engine_4(sets=2)
    trial = only(tried(county, rig, 1), "together")
    assert (trial.cures, trial.aboard, trial.name) == (True, True, "95 gpm line")
    assert in_gpm(trial.answer.flow_lpm) == pytest.approx(190)


def test_a_ready_line_is_offered_nothing_but_what_its_ring_can_do(county):
    assert tried(county, county.engine_1(), 1) == ()


def test_those_that_cure_come_first_and_those_aboard_before_those_to_buy(county):
    found = tried(county, county.engine_5(), 1)
    assert [(each.cures, each.aboard) for each in found] == [(True, True), (True, False)]


def test_nothing_is_offered_as_a_cure_that_leaves_it_as_it_was(county):
    """A second nozzle of the same flow and pressure changes nothing."""
    same = Nozzle(9, "the same again", gpm(125), psi(100))
    found = tried(county, county.engine_5(), 1, Gear(nozzles=(same,)))
    assert not only(found, "nozzle").cures


def test_the_last_digit_of_a_pressure_cures_nothing(county):
    """The same nozzle, its rated pressure entered in another unit."""
    rig = overdriven(county)
    same = Nozzle(9, "the same again", gpm(85), psi(100) * (1 + 1e-12))
    assert not only(tried(county, rig, 1, Gear(nozzles=(same,))), "nozzle").cures


def test_a_duty_that_the_rig_does_not_have(county):
    with pytest.raises(KeyError):
        tried(county, county.engine_1(), 99)


@pytest.mark.parametrize(
    ("length", "section", "left"),
    [(150, 50, (100, 50)), (50, 50, ()), (175, 50, (125, 75, 25)), (30, 50, ()), (100, 100, ())],
)
def test_lengths_come_off_whole_and_one_stays(length, section, left):
    """175 ft of 50-ft lengths are three and a short one: taken as four, three may go."""
    leg = Hose(15.5, to_si(length, "ft"), to_si(section, "ft"))
    assert [from_si(each, "ft") for each in shorter_lengths_m(leg)] == pytest.approx(list(left), abs=1e-4)


def test_the_score_of_an_answer_falls_as_it_gets_better(county):
    before, after = county.engine_5(150), county.engine_5(100)
    from readiness.engineering.judging import judge

    worse, better = (score(judge(rig, POLICY, county.moment()).answers[0]) for rig in (before, after))
    assert better < worse
