"""Region packs: marine deck, airport categories, and the reach of portable streams, beyond their published rows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.airport_categories import (
    LEVEL_B,
    critical_area,
    discharge_by_formula_lpm,
    second_share,
    tabled,
)
from readiness.engineering.marine import deck_flows_lpm, deck_foam
from readiness.engineering.steps import Recorder
from readiness.engineering.tank_attack import out_of_reach, portable_means
from readiness.engineering.units import to_si

areas = st.floats(1, 20_000)


@given(areas, areas, areas)
def test_the_greatest_of_three_governs(deck, tank, monitor):
    made = deck_foam(deck, tank, monitor, 300, inert_gas=False)
    flows = deck_flows_lpm(deck, tank, monitor)
    assert made.flow_lpm == max(flows.values()) == flows[made.governs]
    assert made.solution_l == pytest.approx(made.flow_lpm * 30)
    assert made.concentrate_l == pytest.approx(made.solution_l * 0.03)


def test_a_monitor_below_1250_is_said():
    """Row M1: the monitor at least 1250 L/min."""
    assert deck_foam(100, 0, 0, 300, inert_gas=True, monitor_lpm=1249).monitor_short
    assert not deck_foam(100, 0, 0, 300, inert_gas=True, monitor_lpm=1250).monitor_short
    with pytest.raises(ValueError, match="cargo deck"):
        deck_foam(0, 1, 1, 300, inert_gas=True)


def test_marine_working_ends_in_the_concentrate():
    say = Recorder()
    made = deck_foam(5760, 480, 1000, 300, inert_gas=True, say=say)
    assert say.steps[-1].result == made.concentrate_l


@given(st.floats(24, 80), st.floats(1, 8), st.sampled_from("ABC"), st.integers(1, 10))
def test_water_is_first_and_second(length, width, level, category):
    found = critical_area(length, width, level, category)
    assert found.total_l == pytest.approx(found.first_l * (1 + second_share(category)))
    assert discharge_by_formula_lpm(found.total_l, category) == pytest.approx(found.discharge_lpm)


@pytest.mark.parametrize(("call", "words"), [
    (lambda: critical_area(23.9, 4, "B", 4), "24 m or more|from 24 m"),
    (lambda: critical_area(30, 0, "B", 4), "width above 0"),
    (lambda: second_share(11), "1 to 10"),
    (lambda: tabled(2), "3 to 9"),
])  # fmt: skip
def test_outside_the_relations(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_the_table_rises_with_the_category():
    rows = [LEVEL_B[category] for category in sorted(LEVEL_B)]
    assert rows == sorted(rows)
    assert [row.discharge_lpm for row in rows] == sorted(row.discharge_lpm for row in rows)


@pytest.mark.parametrize(
    ("diameter", "height", "means"),
    [
        (29.9, 19.9, ("handlines", "monitors")),
        (30, 19.9, ("monitors",)),
        (29.9, 20, ("monitors",)),
        (60, 40, ("monitors",)),
        (60.1, 10, ()),
    ],
)
def test_reach_of_portable_streams(diameter, height, means):
    """Row R8: monitors up to 60 ft; handlines under 30 ft in diameter and 20 ft high."""
    feet = to_si(diameter, "ft"), to_si(height, "ft")
    assert portable_means(*feet) == means
    assert bool(out_of_reach(*feet)) is (means == ())


def test_a_tank_without_a_size():
    with pytest.raises(ValueError, match="above 0"):
        portable_means(0, 10)
