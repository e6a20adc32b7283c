"""Nozzles: published rows H5 and H6, orifice flow of an independent library, inverses, refusals."""

import csv
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from readiness.engineering.nozzles import (
    LOW_PRESSURE_KPA,
    k_factor,
    nozzle_flow_lpm,
    nozzle_pressure_kpa,
    smooth_bore_k,
)
from readiness.engineering.units import from_si, to_si

ORIFICES = Path(__file__).parents[2] / "fixtures" / "worked_examples" / "orifice_flow.csv"


def bore_gpm(inches, pounds, discharge=None):
    k = smooth_bore_k(to_si(inches, "in"), discharge)
    return from_si(nozzle_flow_lpm(k, to_si(pounds, "psi")), "gpm")


@pytest.mark.parametrize(("inches", "pounds", "gpm"), [(1, 50, 210.0), (15 / 16, 50, 184.6), (1.25, 80, 415.1)])
def test_h5_smooth_bore(inches, pounds, gpm):
    """H5. gpm = 29.7 d² √psi, as taught (from memory, unconfirmed)."""
    assert bore_gpm(inches, pounds) == pytest.approx(gpm, abs=0.1)


def test_h6_an_open_outlet():
    """H6. A public calculator: 2.5 in, pitot 10 psi, c 0.9: 530.6 gpm (published 525 to 535)."""
    assert bore_gpm(2.5, 10, 0.9) == pytest.approx(530.6, abs=0.1)


def test_orifices_of_an_independent_library():
    """Flow through an orifice without approach speed, water of 999 kg/m³, from the library named in the fixture's note.

    Band: 29.83 c lies within 0.1 % of it, and 29.7 within 0.1 % at c = 0.9956.
    """
    rows = list(csv.DictReader(ORIFICES.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 45
    for row in rows:
        theory = float(row["flow_gpm"])
        bore, pounds = float(row["bore_in"]), float(row["pressure_psi"])
        assert bore_gpm(bore, pounds, 1.0) == pytest.approx(theory, rel=1e-3), row
        assert bore_gpm(bore, pounds) == pytest.approx(0.9956 * theory, rel=1e-3), row


def test_k_by_hand():
    """95 gpm at 100 psi is K 9.5 in gpm and psi; at 25 psi a quarter of the pressure is half the flow, 47.5 gpm."""
    k = k_factor(to_si(95, "gpm"), to_si(100, "psi"))
    assert k == pytest.approx(9.5 * 3.785411784 / sqrt(6.894757293168361))
    assert from_si(nozzle_flow_lpm(k, to_si(25, "psi")), "gpm") == pytest.approx(47.5)
    assert from_si(nozzle_pressure_kpa(k, to_si(190, "gpm")), "psi") == pytest.approx(400)


def test_a_ring_rated_at_75_psi():
    """The same 95 gpm from 75 psi is K 10.97: at 100 psi it would flow 95 × √(100 ÷ 75) = 109.7 gpm."""
    assert from_si(LOW_PRESSURE_KPA, "psi") == pytest.approx(75)
    k = k_factor(to_si(95, "gpm"), LOW_PRESSURE_KPA)
    assert from_si(nozzle_flow_lpm(k, to_si(100, "psi")), "gpm") == pytest.approx(109.70, abs=0.005)


def test_nothing_flows_without_pressure():
    assert nozzle_flow_lpm(10.0, 0.0) == 0.0
    assert nozzle_flow_lpm(10.0, -5.0) == 0.0


@given(st.floats(5, 15_000), st.floats(50, 2000))
def test_flow_and_pressure_give_each_other_back(flow_lpm, pressure_kpa):
    k = k_factor(flow_lpm, pressure_kpa)
    assert nozzle_flow_lpm(k, pressure_kpa) == pytest.approx(flow_lpm)
    assert nozzle_pressure_kpa(k, flow_lpm) == pytest.approx(pressure_kpa)


@given(st.floats(0.005, 0.1), st.floats(50, 2000), st.one_of(st.none(), st.floats(0.5, 1.0)))
def test_the_bore_comes_back_from_its_flow(bore_m, pressure_kpa, discharge):
    flow = nozzle_flow_lpm(smooth_bore_k(bore_m, discharge), pressure_kpa)
    found = brentq(lambda bore: nozzle_flow_lpm(smooth_bore_k(bore, discharge), pressure_kpa) - flow, 1e-4, 1.0)
    assert found == pytest.approx(bore_m)


@pytest.mark.parametrize("value", [0, -1, float("inf"), float("nan")])
def test_what_is_no_nozzle_is_refused(value):
    with pytest.raises(ValueError, match=r"A flow of .* was read: it is more than 0"):
        k_factor(value, 700)
    with pytest.raises(ValueError, match=r"A pressure of .* was read: it is more than 0"):
        k_factor(360, value)
    with pytest.raises(ValueError, match=r"A bore of .* was read: it is more than 0"):
        smooth_bore_k(value)


@pytest.mark.parametrize("discharge", [0.0, -0.5, 1.01])
def test_a_coefficient_of_discharge_is_at_most_one(discharge):
    with pytest.raises(ValueError, match="above 0 and at most 1"):
        smooth_bore_k(0.0254, discharge)
