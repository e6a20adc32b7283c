"""When a unit falls short in the coming years, and what would prevent it. Dates of the worked county."""

from datetime import date, timedelta

from readiness.engineering.forecast import forecast
from readiness.engineering.records import Policy
from readiness.engineering.units import from_si
from tests.engineering.county import D0, County

POLICY = Policy()
COUNTY = County()
NOW = COUNTY.moment()


def test_engine_1_falls_short_on_the_first_of_october():
    """Two of nine pails end 30 September: usable 35, short 9.175; the cure is a sample of their lot or two pails."""
    first = forecast(COUNTY.engine_1(), POLICY, NOW)[0]
    assert (first.day, first.was, first.becomes) == (date(2026, 10, 1), "ready", "not_ready")
    assert abs(from_si(first.short_l, "gal") - 9.175) < 0.001
    assert [(each.kind, each.subject_id, each.words) for each in first.prevents] == [
        ("container", 1008, "P1008, lot B-102"),
        ("container", 1009, "P1009, lot B-102"),
    ]


def test_engine_7_loses_its_stock_when_the_sample_runs_out():
    """Sample good to 10 Feb 2027, maker's date long past: all eight pails go at once."""
    turns = forecast(COUNTY.engine_7(), POLICY, NOW)
    assert (turns[0].day, turns[0].becomes, len(turns[0].prevents)) == (date(2027, 2, 11), "not_ready", 8)


def test_a_test_that_runs_out_is_named():
    """Foam Tender 1: test and the tank's sample both 60 days old at D0, good for 365: unverified from day 306."""
    turn = forecast(COUNTY.foam_tender_1(), POLICY, NOW)[0]
    assert (turn.day, turn.was, turn.becomes) == (D0 + timedelta(days=306), "ready", "unverified")
    assert {each.kind for each in turn.prevents} == {"test", "container"}


def test_nothing_beyond_the_years_asked():
    assert forecast(COUNTY.engine_1(), POLICY, NOW, years=0.25) == ()
    assert len(forecast(COUNTY.engine_1(), POLICY, NOW, years=0.5)) == 1


def test_a_duty_that_is_not_ready_cannot_get_worse():
    assert forecast(COUNTY.engine_5(), POLICY, NOW) == ()


def test_a_decision_is_due_for_review():
    turns = forecast(COUNTY.ladder_2(), POLICY, NOW)
    assert [(turn.day, turn.becomes) for turn in turns] == [(date(2027, 2, 1), "unverified")]
    assert forecast(COUNTY.ladder_2(), POLICY, NOW, years=0.5) == ()
