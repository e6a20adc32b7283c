"""The working of a status: each line with its formula, numbers, unit and source, in the reader's units."""

from __future__ import annotations

import pytest

from readiness.actions.acceptances import accept
from readiness.actions.clock import StoppedClock
from readiness.engineering.records import Moment
from readiness.models import Appliance, Deficiency, Role, Unit
from readiness.reports.explanations import Explanation, amount, explain
from tests.cast import D0, SIX, Cast
from tests.county import LOCAL_SIX, loaded
from tests.judged import Rigged

pytestmark = pytest.mark.django_db


def explained(name: str, units: str | None = None) -> Explanation:
    unit = Unit.objects.get(designation=name)
    told = explain(unit, Moment(LOCAL_SIX, D0), units)
    assert isinstance(told, Explanation)
    return told


def test_every_line_has_formula_result_and_source() -> None:
    loaded()
    lines = [line for unit in Unit.objects.all() for duty in explained(unit.designation).duties for line in duty.lines]
    assert len(lines) > 100
    for line in lines:
        assert line.label
        assert line.formula
        assert line.result
        assert line.source


def test_engine_1_as_worked_by_hand() -> None:
    """County: req 90; textbook 40.50; need 95 x .031 x 15 = 44.175; back pressure 120.98 psi; 101.9 %; 15.28 min."""
    loaded()
    told = explained("Engine 1")
    assert (told.unit, told.vehicle, told.verdict.status) == ("Engine 1", "vehicle 201", "ready")
    results = {line.label: line.result for line in told.duties[0].lines}
    said = " · ".join(results.values())
    for figure in ("90 gpm", "40.5 gal", "44.175 gal", "120.983 psi", "15.28"):
        assert figure in said, figure
    assert "Required flow" in " ".join(results)


def test_the_same_in_metric() -> None:
    """90 gpm x 3.785411784 = 340.687 L/min; 44.175 gal = 167.221 L."""
    loaded()
    said = " · ".join(line.result for line in explained("Engine 1", "metric").duties[0].lines)
    assert "340.687 L/min" in said
    assert "167.221 L" in said
    assert "gal" not in said


def test_a_deficiency_is_said_once_with_its_cure() -> None:
    loaded()
    told = explained("Engine 3")
    (duty,) = told.duties
    assert [(each.severity, each.cure) for each in duty.said if each.severity != "note"] == [
        ("limited", "Turn the knob.")
    ]
    assert not [each for each in told.said if "parked" in each.sentence]
    assert sum("parked at" in line for line in told.lines) == 1


def test_what_is_not_counted_is_told_with_its_volume() -> None:
    loaded()
    (tank,) = [each for each in explained("Hazmat 1").excluded if "mixed" in each]
    assert tank.startswith("T-212: 20")
    assert "gal" in tank


def test_an_accepted_deficiency_is_said_once(cast: Cast) -> None:
    rig = Rigged(cast)
    rig.line.unflushed_since = SIX
    rig.line.save()
    rig.judge()
    accept(
        cast.department,
        deficiency=Deficiency.objects.get(code="flush_not_logged"),
        until=D0,
        note="known",
        acting=cast.acting(Role.CHIEF),
        clock=StoppedClock(SIX),
    )
    told = explain(rig.unit, Moment(SIX, D0))
    assert isinstance(told, Explanation)
    assert told.said == ()
    assert [each.accepted for each in told.duties[0].said] == [True]
    (line,) = [line for line in told.lines if "flush is not logged" in line]
    assert line.endswith("(accepted)")


def test_a_unit_that_cannot_be_read_says_why(cast: Cast) -> None:
    rig = Rigged(cast)
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=["3x6"])
    told = explain(rig.unit, Moment(SIX, D0))
    assert isinstance(told, str)
    assert "['3x6'] were read" in told


@pytest.mark.parametrize(
    ("value", "unit", "units", "said"),
    [
        (3.785411784, "L", "us", "1 gal"),
        (3.785411784, "L", "metric", "3.785 L"),
        (100.0, "m²", "us", "1,076.391 ft²"),  # 100 / 0.09290304
        (15.2786, "min", "us", "15.279 min"),
        (101.868, "%", "us", "101.868 %"),
    ],
)
def test_amounts(value: float, unit: str, units: str, said: str) -> None:
    assert amount(value, unit, units) == said
