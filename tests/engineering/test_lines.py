"""One line with one concentrate at one setting: tests, settings, eductor, lay. Figures by hand."""

from datetime import date, timedelta

import pytest

from readiness.engineering.hydraulics import hose, line_draw
from readiness.engineering.lines import NO_TEST, run_line
from readiness.engineering.records import Lay, Line, LineTest, Policy
from readiness.engineering.steps import Recorder
from readiness.engineering.units import from_si, to_si
from tests.engineering.county import AFFF, AR_AFFF

DAY = date(2026, 6, 15)
POLICY = Policy()
FLOW = to_si(95, "gpm")
LINE = Line(1, "line 1", (), True, frozenset({300, 600}), FLOW, rated_lpm=FLOW)


def measured(value, *, setting=300, concentrate=AR_AFFF, on=DAY, passed=True):
    return LineTest(concentrate.id, setting, value, on, passed)


def run(line, *, pct=300, nozzle=None, aspirating=False, asks_test=True, concentrate=AR_AFFF, say=None):
    flow = line.flow_lpm if nozzle is None else nozzle
    return run_line(line, flow, concentrate, pct, aspirating=aspirating, policy=POLICY, asks_test=asks_test, say=say)


def with_tests(*tests, **more):
    return LINE._replace(tests=tests, **more)


def codes(running):
    return [fault.code for fault in running.faults]


@pytest.mark.parametrize(
    ("setting", "value", "code"),
    [
        (300, 300, []),
        (300, 390, []),
        (300, 299, ["test_lean"]),
        (300, 391, ["test_rich"]),
        (600, 700, []),  # 0.06 + 0.01 < 0.07 in floats would fail it
        (600, 701, ["test_rich"]),
        (600, 599, ["test_lean"]),
    ],
)
def test_the_band_of_a_test(setting, value, code):
    """P1: 3.0 to 3.9 and 6.0 to 7.0 %."""
    assert codes(run(with_tests(measured(value, setting=setting)), pct=setting)) == code


def test_a_lean_test_never_shrinks_the_draw():
    assert run(with_tests(measured(250))).draw == 300


def test_a_rich_measurement_draws_more_however_old():
    assert run(with_tests(measured(380, on=date(2015, 1, 1)))).draw == 380


def test_a_test_recorded_as_failed_stays_failed():
    assert codes(run(with_tests(measured(310, passed=False, on=date(2015, 1, 1))))) == ["test_failed"]


def test_the_last_test_counts():
    assert codes(run(with_tests(measured(250, on=DAY - timedelta(days=9)), measured(310)))) == []


def test_a_test_is_good_for_the_interval_or_to_its_own_date():
    assert run(with_tests(measured(310))).test_through == DAY + timedelta(days=365)
    dated = measured(310)._replace(good_through=DAY)
    assert run(with_tests(dated)).test_through == DAY


def test_never_tested_at_this_setting():
    running = run(with_tests(measured(310)), pct=600)
    assert (codes(running), running.test_through) == (["test_never"], NO_TEST)
    assert running.rich == 700


def test_a_fixed_line_tested_with_another_concentrate_was_converted():
    fixed = with_tests(measured(310, concentrate=AFFF), pails=False, sources=(1,))
    assert codes(run(fixed)) == ["converted_not_retested"]
    back = with_tests(
        measured(310, on=DAY - timedelta(days=30)), measured(310, concentrate=AFFF), pails=False, sources=(1,)
    )
    assert codes(run(back)) == ["converted_not_retested"]
    both = with_tests(measured(310), measured(310, concentrate=AFFF, on=DAY - timedelta(days=30)), pails=False)
    assert codes(run(both)) == []


def test_a_pick_up_tube_is_not_converted_by_changing_pails():
    assert codes(run(with_tests(measured(310, on=DAY - timedelta(days=30)), measured(310, concentrate=AFFF)))) == []


def test_a_class_a_line_needs_no_test_but_a_lean_one_counts():
    assert codes(run(LINE, asks_test=False)) == []
    assert codes(run(with_tests(measured(250)), asks_test=False)) == ["test_lean"]


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"offered": frozenset({600})}, "setting_not_offered"),
        ({"thick_ok": False}, "too_thick"),
        ({"in_service": False}, "line_out_of_service"),
        ({"flushed": False}, "flush_not_logged"),
        ({"parked": 600, "present": 300}, "setting_not_parked"),
    ],
)
def test_what_is_wrong_with_a_line(more, code):
    assert codes(run(with_tests(measured(310), **more))) == [code]


@pytest.mark.parametrize(("parked", "present"), [(600, 600), (None, 300), (600, None)])
def test_a_setting_is_only_wrong_against_its_parked_one(parked, present):
    """A 3×6 unit with gasoline and ethanol duties has no single right setting."""
    assert codes(run(with_tests(measured(310), parked=parked, present=present))) == []


def test_an_aspirating_nozzle_where_the_listing_asks_for_one():
    assert codes(run(with_tests(measured(310)), aspirating=True)) == ["aspirating_missing"]
    assert codes(run(with_tests(measured(310), aspirating=True), aspirating=True)) == []


def test_a_nozzle_below_the_eductor_does_not_pick_up():
    small = with_tests(measured(310))
    running = run(small._replace(flow_lpm=to_si(60, "gpm")))
    assert codes(running) == ["nozzle_below_eductor"]
    assert running.flow_lpm == to_si(60, "gpm")


def test_a_nozzle_above_the_eductor_flows_what_the_eductor_passes():
    running = run(with_tests(measured(310))._replace(flow_lpm=to_si(125, "gpm")))
    assert (codes(running), running.rank) == (["nozzle_above_eductor"], 1)
    assert running.flow_lpm == FLOW


def test_a_ring_to_turn_is_cured_in_the_hand():
    ringed = with_tests(measured(310), flow_lpm=to_si(60, "gpm"), rings_lpm=(to_si(60, "gpm"), FLOW))
    running = run(ringed, nozzle=FLOW)
    assert (codes(running), running.rank) == (["ring_to_turn"], 1)


def test_a_plate_that_states_solution_at_six_percent():
    """H9: 92.06 gpm at 3 %."""
    assert from_si(run(with_tests(measured(310), basis="six")).flow_lpm, "gpm") == pytest.approx(92.06, abs=0.005)


def lay(**more):
    return Lay(to_si(200, "psi"), to_si(100, "psi"), (hose("1.75", to_si(150, "ft")),), **more)


def test_a_long_lay_a_high_lift_and_another_tube():
    high = with_tests(measured(310), lay=lay(lift_m=2.0, plate_lift_m=1.8, tube_original=False, height_m=10.0))
    # 100 + 13.99 × 1.5 + 0.434 × 32.8 = 135.2 psi > 130
    assert codes(run(high)) == ["no_pick_up", "lift_too_high", "tube_not_original"]


def test_a_lift_at_the_plate_is_allowed():
    assert codes(run(with_tests(measured(310), lay=lay(lift_m=1.8, plate_lift_m=1.8)))) == []


def test_the_longest_stretch_of_two_legs_cuts_the_last():
    """30 psi to lose at 95 gpm; 100 ft of 2.5 in take 2 × 0.9025 = 1.805; left 28.195 ÷ 13.98875 × 100 = 201.56 ft."""
    legs = (hose("2.5", to_si(100, "ft")), hose("1.75", to_si(150, "ft")))
    drawn = line_draw(lay()._replace(hose=legs), FLOW, 6500)
    assert from_si(drawn.longest_m, "ft") == pytest.approx(301.56, abs=0.01)


def test_a_bare_nozzle_of_too_much_pressure_has_no_stretch():
    assert line_draw(lay()._replace(nozzle_kpa=to_si(140, "psi")), FLOW, 6500).longest_m == 0.0
    assert line_draw(lay()._replace(hose=()), FLOW, 6500).longest_m is None


def test_a_hose_size_that_is_not_in_the_row_is_refused():
    with pytest.raises(ValueError, match=r"“2” was read as a hose size"):
        hose("2", 10)


def plated(inlet, **more):
    return Lay(to_si(inlet, "psi"), to_si(100, "psi"), (hose("1.75", to_si(50, "ft")),), **more)


@pytest.mark.parametrize(
    ("inlet", "code", "flow"), [(200, [], 95), (180, ["inlet_low"], 90.12), (220, ["inlet_high"], 99.64)]
)
def test_an_inlet_off_the_plates_flows_otherwise_and_draws_rich_or_lean(inlet, code, flow):
    """95 × √(180 ÷ 200) = 90.12 gpm, 95 × √1.1 = 99.64 gpm. Trade notes give the direction and no figure."""
    running = run(with_tests(measured(310), lay=plated(inlet, rated_inlet_kpa=to_si(200, "psi"))))
    assert codes(running) == code
    assert from_si(running.flow_lpm, "gpm") == pytest.approx(flow, abs=0.01)


INJECTED = with_tests(measured(310), rated_lpm=None, kind="injection")


def test_a_pump_that_gives_the_nozzle_too_little():
    """90 psi on 50 ft of 1¾ in and a 95-gpm tip at 100: Q² (100 ÷ 95² + 15.5 × 0.5 ÷ 10⁴) = 90: Q = 87.12 gpm."""
    lay = plated(90, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)
    running = run(INJECTED._replace(lay=lay))
    assert codes(running) == ["pump_low"]
    assert from_si(running.flow_lpm, "gpm") == pytest.approx((90 / (100 / 95**2 + 0.000775)) ** 0.5)
    assert codes(run(INJECTED._replace(lay=lay._replace(inlet_kpa=to_si(120, "psi"))))) == []


def test_a_pump_that_gives_more_flows_more_and_counts_for_the_nozzles_flow():
    """150 psi on 50 ft of 1¾ in and a 95-gpm tip at 100: Q² (100 ÷ 95² + 15.5 × 0.5 ÷ 10⁴) = 150: Q = 112.5 gpm.

    Throttled to 95 it would be short of a rate of 100; left open it is dry sooner: each is judged by what is worse.
    """
    lay = plated(150, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)
    running = run(INJECTED._replace(lay=lay))
    assert from_si(running.flow_lpm, "gpm") == pytest.approx((150 / (100 / 95**2 + 0.000775)) ** 0.5)
    assert from_si(running.flow_lpm, "gpm") == pytest.approx(112.48, abs=0.01)
    assert running.rate_lpm == FLOW


@pytest.mark.parametrize(("pump", "flow"), [(106.99, 95), (112.3, 95), (112.4, 97.37)])
def test_a_pump_within_what_a_panel_gauge_is_good_for_gives_the_nozzles_own_flow(pump, flow):
    """Its own 95 gpm takes 100 + 15.5 × .9025 × .5 = 106.99 psi, and 5 % more is 112.34; 95 × √(112.4 ÷ 106.99)."""
    lay = plated(pump, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)
    running = run(INJECTED._replace(lay=lay))
    assert from_si(running.flow_lpm, "gpm") == pytest.approx(flow, abs=0.01)


def test_the_working_says_that_within_the_gauge_it_may_flow_a_little_more():
    """110 psi where 106.99 are asked: 95 × √(110 ÷ 106.99) = 96.33 gpm, and the nozzle’s own 95 are worked with."""
    say = Recorder()
    run(INJECTED._replace(lay=plated(110, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)), say=say)
    (flow,) = [step for step in say.steps if "line 1" in step.label and step.unit == "L/min"]
    assert flow.result == FLOW
    assert from_si(flow.numbers[-1][1], "gpm") == pytest.approx(96.33, abs=0.005)
    assert "panel gauge" in flow.source


@pytest.mark.parametrize(
    ("pump", "flow", "code"), [(60, 0, ["pump_low"]), (103, 62.2, ["pump_low"]), (107, 95, []), (200, 95, [])]
)
def test_a_nozzle_that_holds_its_pressure_flows_what_the_pump_leaves_it(pump, flow, code):
    """100 psi held behind 50 ft of 1¾ in, which take 6.99 psi for 95 gpm: 103 psi leave 3, 95 × √(3 ÷ 6.994) = 62.2."""
    say = Recorder()
    running = run(INJECTED._replace(lay=plated(pump)), say=say)
    assert from_si(running.flow_lpm, "gpm") == pytest.approx(flow, abs=0.05)
    assert running.rate_lpm == running.flow_lpm
    assert codes(running) == code
    said = [step.result for step in say.steps if step.label == "Flow of line 1"]
    assert said == ([running.flow_lpm] if code else [])


def test_the_working_says_why_a_line_flows_more_than_its_nozzles_own():
    """Tip 150 − 15.5 × 1.1248² × 0.5 = 140.2 psi, and 95 × √1.402 = 112.5 gpm."""
    say = Recorder()
    lay = plated(150, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)
    run(INJECTED._replace(lay=lay), say=say)
    flow, rate = [step for step in say.steps if "line 1" in step.label][:2]
    assert [from_si(value, unit) for (_, value, _), unit in zip(flow.numbers, ("gpm", "psi", "psi"), strict=True)] == (
        pytest.approx([95, 140.2, 100], abs=0.05)
    )
    assert from_si(flow.result, "gpm") == pytest.approx(95 * 1.402**0.5, abs=0.01)
    assert rate.result == FLOW
    assert "throttled" in rate.source


def test_a_ring_turned_up_changes_the_nozzle_with_it():
    """At 60 gpm the 90 psi do for the small ring, (60 ÷ 95)² of K: 60 √(90 ÷ 102.8): 102.8 = 100 + 15.5 × .36 × .5."""
    lay = plated(102.8, nozzle_k=FLOW / to_si(100, "psi") ** 0.5)
    small = run(INJECTED._replace(lay=lay, rings_lpm=(to_si(60, "gpm"), FLOW)), nozzle=to_si(60, "gpm"))
    assert codes(small) == ["ring_to_turn"]
    lower = lay._replace(inlet_kpa=to_si(101, "psi"))
    smaller = run(INJECTED._replace(lay=lower, rings_lpm=(to_si(60, "gpm"), FLOW)), nozzle=to_si(60, "gpm"))
    assert codes(smaller) == ["ring_to_turn", "pump_low"]
    large = run(INJECTED._replace(lay=lay))
    assert codes(large) == ["pump_low"]  # 100 + 15.5 × .9025 × .5 = 106.99 psi are asked


def test_below_the_range_of_its_proportioner():
    assert codes(run(INJECTED._replace(least_lpm=to_si(100, "gpm")))) == ["below_range"]
    assert codes(run(INJECTED._replace(least_lpm=FLOW))) == []


@pytest.mark.parametrize(("intake", "limit", "code"), [(None, 0, []), (0, 0, []), (1, 0, 1), (69, 69, []), (70, 69, 1)])
def test_around_the_pump_makes_nothing_against_a_pressurized_intake(intake, limit, code):
    around = INJECTED._replace(kind="around", intake_kpa=intake, intake_limit_kpa=limit)
    assert codes(run(around)) == (["intake_pressurized"] if code else [])
    assert codes(run(around._replace(kind="injection"))) == []


def test_a_nozzle_that_draws_by_itself_has_a_tube_and_a_lift_but_no_back_pressure():
    lay = plated(110, lift_m=2.0, plate_lift_m=1.8, tube_original=False)
    assert codes(run(INJECTED._replace(kind="self", lay=lay))) == ["lift_too_high", "tube_not_original"]
    assert codes(run(INJECTED._replace(lay=lay))) == []
