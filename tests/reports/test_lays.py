"""Columns of a line into its lay: nozzles by rated point, bore or held pressure; pump, supply hose and wye. By hand."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from readiness.reports.lays import (
    LayRow,
    LegRow,
    PartRow,
    TipRow,
    branches_of,
    coefficient,
    flow_of,
    hose_of,
    lay_of,
    leg_of,
    tip_of,
)

PSI, GPM, FT, IN = 6.894757293168361, 3.785411784, 0.3048, 0.0254
LINE = LayRow(200 * PSI, 100 * PSI, 0.0, 0.0, 0.0, True, None, None, 1)
EDUCTOR = PartRow(
    1, "in-line eductor", [300, 600], None, True, 95 * GPM, "solution at any setting", None, None, "in", None, None,
    False, None, None, None, False,
)  # fmt: skip
PUMP = EDUCTOR._replace(kind="direct injection", rated_flow_lpm=None)
TIP = TipRow(False, 95 * GPM, [], "in", None, None, None, False)
NONE = TipRow(None, None, None, None, None, None, None, None)
HOSE = hose_of(1, [LegRow(1, "line", Decimal("1.75"), 150 * FT)], {})


def flow(row: LayRow = LINE, part: PartRow = EDUCTOR, tip: TipRow = TIP, stated: float | None = None) -> float:
    return flow_of(stated, row, part, tip)


def lay(row: LayRow = LINE, part: PartRow = EDUCTOR, tip: TipRow = TIP, hose: Any = HOSE) -> Any:
    return lay_of(flow(row, part, tip), row, part, tip, hose)


def test_a_nozzle_of_which_only_the_pressure_is_known_holds_it() -> None:
    assert (lay().nozzle_kpa, lay().nozzle_k) == (100 * PSI, None)


def test_a_rated_point_is_a_k() -> None:
    """95 gpm at 100 psi: K 9.5; it is also what the line asks for where nothing else is entered."""
    rated = TIP._replace(rated_pressure_kpa=100 * PSI)
    made = lay(LINE._replace(nozzle_kpa=None), tip=rated)
    assert made.nozzle_kpa == 100 * PSI
    assert made.nozzle_k == pytest.approx(9.5 * GPM / PSI**0.5)


def test_an_automatic_nozzle_keeps_its_pressure() -> None:
    held = TIP._replace(rated_pressure_kpa=100 * PSI, holds_pressure=True)
    made = lay(LINE._replace(nozzle_kpa=None), tip=held)
    assert (made.nozzle_kpa, made.nozzle_k) == (100 * PSI, None)


def test_a_smooth_bore_flows_by_its_diameter() -> None:
    """H5: 1 in at 50 psi is 210.0 gpm; two of them behind a wye 420.0."""
    bore = NONE._replace(state="in", bore_m=1 * IN)
    row = LINE._replace(nozzle_kpa=50 * PSI)
    assert flow(row, PUMP, bore) / GPM == pytest.approx(210.0, abs=0.05)
    assert flow(row._replace(wye_lines=2), PUMP, bore) / GPM == pytest.approx(420.0, abs=0.1)
    unstated = lay_of(210.01 * GPM, row._replace(nozzle_kpa=None), PUMP, bore, HOSE)
    assert unstated is not None
    assert unstated.nozzle_kpa / PSI == pytest.approx(50, abs=0.01)


def test_a_nozzle_that_draws_by_itself_is_both_parts() -> None:
    part = PUMP._replace(kind="self-educting nozzle", rated_flow_lpm=350 * GPM, rated_pressure_kpa=100 * PSI)
    tip = tip_of(part, NONE)
    assert (tip.rated_flow_lpm, tip.rated_pressure_kpa) == (350 * GPM, 100 * PSI)
    assert tip_of(PUMP, NONE) == NONE
    assert tip_of(part, TIP) == TIP


def test_hose_between_pump_and_eductor_lowers_its_inlet() -> None:
    """200 psi, 50 ft of 2½ in: 200 ÷ (1 + 0.9025 ÷ 200) = 199.10 psi by the plate's 200; else 200 − 0.9025."""
    legs = [LegRow(1, "before", Decimal("2.5"), 50 * FT), LegRow(2, "line", Decimal("1.75"), 150 * FT)]
    row = LINE._replace(inlet_kpa=None, pump_kpa=200 * PSI)
    made = lay(row, EDUCTOR._replace(rated_pressure_kpa=200 * PSI), hose=hose_of(1, legs, {}))
    assert made.inlet_kpa / PSI == pytest.approx(199.10, abs=0.005)
    assert [leg.size_in for leg in made.hose] == [1.75]
    assert lay(row, hose=hose_of(1, legs, {})).inlet_kpa / PSI == pytest.approx(199.0975)


def test_a_pumped_line_has_all_its_hose_behind_the_pump() -> None:
    legs = [LegRow(1, "before", Decimal("2.5"), 50 * FT), LegRow(2, "line", Decimal("1.75"), 150 * FT)]
    made = lay(LINE._replace(inlet_kpa=None, pump_kpa=150 * PSI), PUMP, hose=hose_of(1, legs, {}))
    assert [leg.size_in for leg in made.hose] == [2.5, 1.75]
    assert made.inlet_kpa == 150 * PSI


def test_a_supply_that_takes_all_the_pressure_is_a_dead_inlet() -> None:
    legs = [LegRow(1, "before", Decimal("1.5"), 500 * FT), LegRow(2, "line", Decimal("1.75"), 150 * FT)]
    assert lay(LINE._replace(inlet_kpa=None, pump_kpa=50 * PSI), hose=hose_of(1, legs, {})).inlet_kpa == 1.0


@pytest.mark.parametrize("missing", ["inlet_kpa", "nozzle_kpa"])
def test_what_is_not_entered_leaves_the_lay_unknown(missing: str) -> None:
    assert lay(LINE._replace(**{missing: None})) is None
    assert lay(hose={}) is None
    assert lay(LINE._replace(inlet_kpa=0.0)) is None


def test_a_wye() -> None:
    legs = [LegRow(1, "line", Decimal("2.5"), 200 * FT), LegRow(2, "wye", Decimal("1.75"), 100 * FT)]
    made = lay(LINE._replace(wye_lines=2), hose=hose_of(1, legs, {}))
    assert (made.wye, [leg.size_in for leg in made.wye_hose]) == (2, [1.75])


def test_the_departments_own_table_and_a_size_that_none_has() -> None:
    own = {(1, 1.75): (14.0, 30.48)}
    legs = [LegRow(1, "line", Decimal("1.75"), 10.0)]
    assert hose_of(1, legs, own)["line"][0][:3] == (14.0, 10.0, 30.48)
    assert hose_of(2, legs, own)["line"][0].coefficient == 15.5
    with pytest.raises(ValueError, match=r"hose of 2\.25 in was read"):
        hose_of(1, [LegRow(1, "line", Decimal("2.25"), 10.0)], own)


def test_a_measurement_that_is_not_whole_is_none() -> None:
    assert coefficient(15.5, None, None, None) == coefficient(15.5, 90.0, None, 30.0) == 15.5


def test_no_flow_anywhere() -> None:
    with pytest.raises(ValueError, match="the line states no flow"):
        flow(LINE, PUMP, NONE)


def test_unlike_branches_have_their_own_hose_and_nozzle_or_the_line_s() -> None:
    """95 gpm at 100 psi on the first; the second an inch bore at 50 psi, 210.0 gpm by H5; together 305 gpm."""
    bore = NONE._replace(state="in", bore_m=1 * IN, rated_pressure_kpa=50 * PSI)
    rated = TIP._replace(rated_pressure_kpa=100 * PSI)
    legs = [
        LegRow(1, "line", Decimal("2.5"), 50 * FT),
        LegRow(2, "wye", Decimal("1.75"), 100 * FT, 1),
        LegRow(3, "wye", Decimal("1.5"), 200 * FT, 2, bore),
        LegRow(4, "wye", Decimal("1.5"), 50 * FT, 2, bore),
    ]
    hose = hose_of(1, legs, {})
    total = flow_of(999.0, LINE, EDUCTOR, rated, legs)  # what the line states does not count
    assert total / GPM == pytest.approx(305.0, abs=0.05)
    branches = branches_of(LINE, rated, legs, hose)
    made = lay_of(total, LINE, EDUCTOR, rated, hose, branches)
    assert made is not None
    one, two = made.branches
    assert one.nozzle_k == pytest.approx(9.5 * GPM / PSI**0.5)
    assert (two.nozzle_kpa, len(two.hose), two.hose[0].coefficient) == (50 * PSI, 2, 24.0)
    assert two.nozzle_lpm / GPM == pytest.approx(210.0, abs=0.05)
    assert lay_of(total, LINE, EDUCTOR, TIP, hose, branches_of(LINE._replace(nozzle_kpa=None), TIP, legs, hose)) is None


def test_a_leg_s_nozzle_is_none_where_its_columns_are_empty() -> None:
    leg = leg_of((1, "wye", Decimal("1.5"), 9.0, 2, *NONE))
    assert (leg.branch, leg.nozzle) == (2, None)
    assert leg_of((1, "wye", Decimal("1.5"), 9.0, 2, *TIP)).nozzle == TIP
