"""Unlike branches behind a wye: continuity, inverse, and scipy's root finder on the equations written out apart."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from readiness.engineering.branches import (
    branch_flow_lpm,
    branch_needs_kpa,
    driven_lpm,
    flows_lpm,
    wye_kpa,
)
from readiness.engineering.hydraulics import back_pressure_kpa, friction_kpa, hose
from readiness.engineering.lines import run_line
from readiness.engineering.nozzles import k_factor
from readiness.engineering.operating import branch_flows, eductor_point, pump_for_kpa, pumped_point
from readiness.engineering.records import Branch, Lay, Policy
from readiness.engineering.steps import Recorder
from readiness.engineering.units import from_si, to_si
from tests.engineering.county import AR_AFFF, County

SIZES = ("1.5", "1.75", "2.5")
C = {"1.5": 24.0, "1.75": 15.5, "2.5": 2.0}  # row H2


def psi(value):
    return to_si(value, "psi")


def gpm(value):
    return to_si(value, "gpm")


def branch(size, feet, nozzle_gpm, nozzle_psi=100, *, holds=False):
    k = None if holds else k_factor(gpm(nozzle_gpm), psi(nozzle_psi))
    return Branch((hose(size, to_si(feet, "ft")),), gpm(nozzle_gpm), psi(nozzle_psi), k)


def lay(*branches, inlet=200, feet=100, height_ft=0, appliances=10):
    main = (hose("2.5", to_si(feet, "ft")),)
    return Lay(psi(inlet), 0.0, main, psi(appliances), to_si(height_ft, "ft"), branches=branches)


SHORT, LONG = branch("1.75", 100, 95), branch("1.5", 200, 60)
drawn = st.builds(
    branch,
    st.sampled_from(SIZES),
    st.floats(25, 300),
    st.floats(20, 150),
    st.sampled_from((50, 75, 100)),
    holds=st.booleans(),
)
several = st.lists(drawn, min_size=2, max_size=3).map(tuple)


def by_hand(branches_of, inlet_psi, feet, height_ft, appliances):
    """The same in psi, gpm and feet by scipy: one unknown, the pressure at the wye."""
    from scipy.optimize import brentq

    def one(at, row):
        size, length, flow, pressure, holds = row
        friction = C[size] / 1e4 * length / 100
        head = max(0.0, at - pressure) if holds else at
        return (head / (friction + (0.0 if holds else pressure / flow**2))) ** 0.5

    def left(at):
        total = sum(one(at, row) for row in branches_of)
        return inlet_psi - appliances - 0.434 * height_ft - 2.0 / 1e4 * feet / 100 * total**2 - at

    at = brentq(left, 0.0, inlet_psi, xtol=1e-12, rtol=1e-14)
    return [one(at, row) for row in branches_of]


@pytest.mark.parametrize(
    "rows",
    [
        [("1.75", 100, 95, 100, False), ("1.5", 200, 60, 100, False)],
        [("1.75", 100, 95, 100, True), ("1.75", 300, 95, 75, False)],
        [("2.5", 50, 250, 50, False), ("1.75", 150, 125, 100, True), ("1.5", 250, 60, 75, False)],
    ],
)
def test_against_scipy_on_the_equations_written_out(rows):
    branches = tuple(branch(size, feet, flow, at, holds=holds) for size, feet, flow, at, holds in rows)
    point = pumped_point(lay(*branches, height_ft=10), gpm(1))
    expected = by_hand(rows, 200, 100, 10, 10)
    assert [from_si(each, "gpm") for each in point.branches] == pytest.approx(expected, rel=1e-8)
    assert from_si(point.flow_lpm, "gpm") == pytest.approx(sum(expected), rel=1e-8)


def test_by_hand_two_branches_at_one_pressure():
    """At 120 psi at the wye, by hand: 100 ft of 1¾ in with 95 gpm at 100 psi takes 13.99 + 100 = 113.99 psi for 95 gpm,
    so √(120 ÷ 113.99) × 95 = 97.47; 200 ft of 1½ in with 60 gpm takes 17.28 + 100, so √(120 ÷ 117.28) × 60 = 60.69."""
    flows = [from_si(each, "gpm") for each in flows_lpm((SHORT, LONG), psi(120))]
    assert flows == pytest.approx([97.47, 60.69], abs=0.005)
    held = branch("1.75", 100, 95, holds=True)  # an automatic nozzle: 95 × √((120 − 100) ÷ 13.99) = 113.6
    assert from_si(branch_flow_lpm(held, psi(120)), "gpm") == pytest.approx(113.6, abs=0.05)
    assert branch_flow_lpm(held, psi(99)) == 0


@given(several, st.floats(5, 400))
def test_continuity_and_inverse(branches, total_gpm):
    """The branches' flows add to what enters the wye, all at one pressure; more flow takes no less pressure."""
    at = wye_kpa(branches, gpm(total_gpm))
    flows = flows_lpm(branches, at)
    assert sum(flows) == pytest.approx(gpm(total_gpm), rel=1e-6)
    for each, flow in zip(branches, flows, strict=True):
        held = each.nozzle_kpa if each.nozzle_k is None else 0.0
        lost = sum(friction_kpa(leg.coefficient, flow, leg.length_m) for leg in each.hose)
        tip = held if each.nozzle_k is None else (flow / each.nozzle_k) ** 2
        if flow:
            assert lost + tip == pytest.approx(at, rel=1e-6)
        else:
            assert at <= held * (1 + 1e-9)
    assert wye_kpa(branches, gpm(total_gpm * 1.1)) >= at


@given(several, st.floats(60, 250), st.floats(0, 300), st.floats(-20, 40))
def test_the_operating_point_is_the_lay_solved_for_its_inlet(branches, inlet, feet, height):
    found = lay(*branches, inlet=inlet, feet=feet, height_ft=height)
    point = pumped_point(found, gpm(1))
    assert sum(point.branches) == pytest.approx(point.flow_lpm, rel=1e-6)
    assume(point.flow_lpm > gpm(1))
    assert back_pressure_kpa(found, point.flow_lpm) == pytest.approx(psi(inlet), rel=1e-6)


@given(drawn, st.floats(80, 250))
def test_like_branches_are_the_simple_wye(one, inlet):
    """Two like branches flow what two like lines flow."""
    both = lay(one, one, inlet=inlet)
    twice = None if one.nozzle_k is None else 2 * one.nozzle_k
    simple = both._replace(branches=(), wye=2, wye_hose=one.hose, nozzle_kpa=one.nozzle_kpa, nozzle_k=twice)
    expected = pumped_point(simple, gpm(1)).flow_lpm
    assert pumped_point(both, gpm(1)).flow_lpm == pytest.approx(expected, rel=1e-6, abs=1e-6)
    for flow in (50, 150):
        assert back_pressure_kpa(both, gpm(flow)) == pytest.approx(back_pressure_kpa(simple, gpm(flow)), rel=1e-9)


@given(several)
def test_the_pump_s_pressure_gives_every_nozzle_its_own(branches):
    """And no less would: at it one of them gets exactly its own flow."""
    at = pump_for_kpa(lay(*branches), 0.0)
    point = pumped_point(lay(*branches)._replace(inlet_kpa=at), gpm(1))
    shares = [flow / each.nozzle_lpm for flow, each in zip(point.branches, branches, strict=True)]
    assert min(shares) == pytest.approx(1.0, rel=1e-6)
    assert branch_flow_lpm(branches[0], branch_needs_kpa(branches[0])) == pytest.approx(branches[0].nozzle_lpm)


def test_nothing_flows_without_pressure():
    assert driven_lpm((SHORT, LONG), 1e-3, 0.0) == 0
    with pytest.raises(ValueError, match="a nozzle of a known opening"):
        wye_kpa((Branch((), 1.0, 1.0, None),), 1.0)


# -- in a line ---------------------------------------------------------------------------------------------------------


def eductor(*branches, inlet=200, feet=50):
    """A 155-gpm eductor with unlike branches behind a wye."""
    line = County().engine_4().lines[0]
    flow = sum(each.nozzle_lpm for each in branches)
    return line._replace(lay=lay(*branches, inlet=inlet, feet=feet), flow_lpm=flow, rated_lpm=flow)


def ran(line):
    return run_line(line, line.flow_lpm, AR_AFFF, 300, aspirating=False, policy=Policy())


def codes(running):
    return {each.code for each in running.faults}


def test_an_eductor_s_flow_divides_and_its_back_pressure_counts_the_branches():
    """155 gpm through 50 ft of 2½ in: 2.40 psi and 10 for the wye; both branches then stand at one pressure."""
    line = eductor(SHORT, LONG)
    running = ran(line)
    assert "no_pick_up" not in codes(running)
    at = running.lay.back_pressure_kpa - psi(10) - psi(2 * 1.55**2 * 0.5)
    assert sum(flows_lpm((SHORT, LONG), at)) == pytest.approx(gpm(155), rel=1e-6)
    # by hand at 115.4 psi: 95 × √(115.4 ÷ 113.99) = 95.6 and 60 × √(115.4 ÷ 117.28) = 59.5, together 155.1
    assert from_si(at, "psi") == pytest.approx(115.4, abs=0.2)


def test_a_starved_branch_is_told():
    """300 ft of 1½ in to a 95-gpm nozzle beside 50 ft of 2½ in to another: the long one gets far less."""
    line = eductor(branch("2.5", 50, 95), branch("1.5", 300, 95))
    (fault,) = [each for each in ran(line).faults if each.code == "branch_low"]
    assert fault.severity == "limited"
    assert fault.required == pytest.approx(gpm(95))
    assert fault.measured == pytest.approx(min(branch_flows(line.lay, gpm(190))))


def test_an_eductor_with_too_much_behind_the_wye_does_not_pick_up():
    line = eductor(branch("1.5", 300, 60), branch("1.5", 300, 60), inlet=160)
    assert "no_pick_up" in codes(ran(line))
    point = eductor_point(line.lay, gpm(120), 6500)
    assert not point.picks_up
    assert sum(point.branches) == pytest.approx(point.flow_lpm, rel=1e-6)
    assert point.flow_lpm < gpm(120)


def test_a_pump_that_is_low_is_told_once():
    line = eductor(SHORT, LONG, inlet=90)._replace(rated_lpm=None, kind="injection")
    found = codes(ran(line))
    assert "pump_low" in found
    assert ran(line).flow_lpm == pytest.approx(pumped_point(line.lay, line.flow_lpm).flow_lpm)


def pumped(*branches, inlet, **more):
    return eductor(*branches)._replace(lay=lay(*branches, inlet=inlet), rated_lpm=None, kind="injection", **more)


def test_unlike_branches_count_all_that_they_flow():
    """50 ft of 1¾ in and 300 ft of 1½ in, 95 gpm at 100 psi each, at the pressure at which the long one gets its own.

    It takes 100 + 24 × .95² × 3 = 164.98 psi at the wye; the short one needs 100 + 15.5 × .95² × .5 = 106.99 and flows
    95 × √(164.98 ÷ 106.99) = 117.97 there: 212.97 together. With 2 × 2.1297² = 9.07 and 10 before it the pump gives
    184.05. Three percent of that ask 6.39 gpm of concentrate.
    """
    unlike = branch("1.75", 50, 95), branch("1.5", 300, 95)
    assert from_si(pump_for_kpa(lay(*unlike), 0.0), "psi") == pytest.approx(184.05, abs=0.005)
    running = ran(pumped(*unlike, inlet=184.05))
    assert from_si(running.flow_lpm, "gpm") == pytest.approx(212.97, abs=0.01)
    assert running.rate_lpm == pytest.approx(gpm(190))
    less = ran(pumped(*unlike, inlet=0.94 * 184.05))
    assert gpm(190) < less.flow_lpm < running.flow_lpm


def test_the_working_shows_how_the_flow_divides():
    say = Recorder()
    back_pressure_kpa(lay(SHORT, LONG), gpm(155), say)
    assert [step.label for step in say.steps] == ["Back pressure", "Branch 1", "Branch 2"]
    assert sum(step.result for step in say.steps[1:]) == pytest.approx(gpm(155), rel=1e-6)
