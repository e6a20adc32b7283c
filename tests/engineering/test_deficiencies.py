"""The one table of deficiencies, and its sentences in both systems of units."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.deficiencies import TABLE, cure, found, may_accept, sentence, worst
from readiness.engineering.units import to_si


def test_every_row_has_words_and_a_cure():
    for code, row in TABLE.items():
        assert row.code == code
        assert row.sentence
        assert row.cure.endswith(".")
        assert row.accepted_by in ("chief", "")


@pytest.mark.parametrize("code", TABLE)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_sentence_can_be_said(code, units):
    said = sentence(found(code, ("unit", 1), "Engine 1", "volume", 10.0, 20.0, date(2026, 6, 15)), units)
    assert "Engine 1" in said
    assert "{" not in said


def test_a_lean_percentage_never_reads_as_what_is_needed():
    """2.85 gpm in 95.1 gpm are 2.9968 %: 2.99, and not 3 %, where 3 % is needed. Row B2: 2.63 %."""
    said = [sentence(found("feed_lean", ("line", 1), "line 1", "pct", each, 300), "us") for each in (299.68, 263.16)]
    assert [each.split(" where")[0] for each in said] == ["line 1 makes 2.99 %", "line 1 makes 2.63 %"]


def test_the_worst_severity_decides_and_notes_change_nothing():
    """Design: not ready, unverified, limited, ready; worst first."""
    codes = ["expires_soon", "runs_dry", "check_overdue", "rate_short"]
    faults = [found(code, ("unit", 1), "x") for code in codes]
    assert [worst(faults[:count]) for count in range(5)] == ["ready", "ready", "limited", "unverified", "not_ready"]


def test_an_accepted_deficiency_keeps_its_severity():
    accepted = found("rate_short", ("duty", 1), "x")._replace(accepted=True)
    assert worst([accepted]) == "not_ready"


def test_numbers_in_the_readers_units():
    short = found("rate_short", ("duty", 1), "gasoline", "flow", to_si(95, "gpm"), to_si(120, "gpm"))
    assert sentence(short, "us").startswith("Flow 95.0 gpm of 120.0 gpm for gasoline: short 25.0 gpm")
    # 95 gpm = 359.61 L/min (down), 120 gpm = 454.25 (up), 25 gpm = 94.64 (up)
    assert sentence(short, "metric").startswith("Flow 359 L/min of 455 L/min for gasoline: short 95 L/min")


def test_needs_round_up_and_stock_rounds_down():
    """44.175 gal of need reads 44.2, 35.09 gal of stock 35.0, short 9.085 reads 9.1."""
    short = found("short_of_textbook", ("duty", 1), "gasoline", "volume", to_si(35.09, "gal"), to_si(44.175, "gal"))
    assert sentence(short, "us") == "gasoline: usable 35.0 gal of 44.2 gal needed: short 9.1 gal."


def test_nine_pails_read_45_gal():
    short = found("runs_dry", ("duty", 1), "gasoline", "volume", 170.343, to_si(50, "gal"))._replace(containers=9)
    assert "there is 45.0 gal" in sentence(short, "us")


def test_percentages_in_points():
    lean = found("test_lean", ("line", 1), "line 1", "pct", 290, 300)
    assert sentence(lean, "us") == "line 1 tested lean: 2.9 % where at least 3 % is needed."


@pytest.mark.parametrize(("code", "role"), [("runs_dry", "chief"), ("mixed", ""), ("wrong_foam", ""), ("no_tow", "")])
def test_who_may_accept(code, role):
    assert may_accept(code) == role


def test_cure():
    assert cure(found("setting_not_parked", ("line", 1), "line 1")) == "Turn the knob."


def test_an_unknown_code_is_refused():
    with pytest.raises(KeyError):
        found("no_such_code", ("unit", 1), "x")


def numbers(code, text):
    """The two numbers of a sentence as people read them."""
    head, tail = {"no_pick_up": ("back pressure ", ", limit "), "pump_low": ("flows ", ", the nozzle asks ")}[code]
    said = text.split(head)[1]
    return [float(each.split()[0].replace(",", "")) for each in said.split(tail)]


@pytest.mark.parametrize("units", ["us", "metric"])
@given(st.floats(1, 5000), st.floats(1e-6, 0.2))
def test_a_limit_that_is_exceeded_never_reads_as_kept(units, limit, over):
    """130.04 psi against 130.00 is no "130.0 of at most 130.0"; nor is a limit read as more than it is."""
    fault = found("no_pick_up", ("line", 1), "x", "pressure", limit * (1 + over), limit)
    measured, allowed = numbers("no_pick_up", sentence(fault, units))
    assert measured > allowed
    assert to_si(allowed, "psi" if units == "us" else "kPa") <= limit * (1 + 2e-9)


@pytest.mark.parametrize("units", ["us", "metric"])
@given(st.floats(1, 5000), st.floats(1e-6, 0.2))
def test_a_need_that_is_not_met_never_reads_as_met(units, need, under):
    fault = found("pump_low", ("line", 1), "x", "flow", need * (1 - under), need)
    measured, asked = numbers("pump_low", sentence(fault, units))
    assert measured < asked
    assert to_si(asked, "gpm" if units == "us" else "L/min") >= need * (1 - 2e-9)


def test_decimals_only_where_two_numbers_would_read_alike():
    """136.33 of 130 psi as ever; 130.04 of 130.00 with a second decimal."""
    told = [
        sentence(found("no_pick_up", ("line", 1), "x", "pressure", to_si(each, "psi"), to_si(130, "psi")), "us")
        for each in (136.33, 130.04)
    ]
    assert told == [
        "x does not pick up: back pressure 136.3 psi, limit 130.0 psi.",
        "x does not pick up: back pressure 130.04 psi, limit 130.00 psi.",
    ]
