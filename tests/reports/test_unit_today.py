"""What a unit's page is made of, beside its words: the working gathered, and what counts for which duty."""

from __future__ import annotations

from datetime import date

import pytest

from readiness.engineering.judging import judge
from readiness.engineering.records import Policy
from readiness.reports.explanations import WorkingLine
from readiness.reports.unit_today import alike, containers_today, drawn_by, gathered
from tests.engineering.county import County

COUNTY = County()


def line(label: str, result: str) -> WorkingLine:
    return WorkingLine(label, "book or reading, less heel", "", result, "ledger, checks")


def test_containers_that_count_the_same_stand_on_one_line():
    steps = [
        line("Line need", "9 gal"),
        *(line(f"Container P-{n}", "5 gal") for n in (1, 2, 3)),
        line("Container T-1", "8 gal"),
    ]
    found = [(each.label, each.result) for each in gathered(steps)]
    assert found == [("Line need", "9 gal"), ("3 containers, P-1 to P-3, each", "5 gal"), ("Container T-1", "8 gal")]


def test_other_steps_of_one_result_stay_apart():
    steps = [line("Area by rate", "5 ft²"), line("Area by stock", "5 ft²")]
    assert list(gathered(steps)) == steps


def aboard(rig, days=0):
    """Each container of a rig of the county, so many days after D0."""
    moment = COUNTY.moment(days)
    return {each.code: each for each in containers_today(rig, Policy(), moment.day, judge(rig, Policy(), moment))}


def test_a_container_says_which_duties_count_on_it():
    """County 6: Class A's 20 gal count for neither spill; tank B has 40 less a heel of 1.5."""
    found = aboard(COUNTY.engine_6())
    assert found["T6001"].counts_for == ()
    assert found["T6002"].counts_for == ("gasoline", "ethanol")
    assert found["T6002"].counted_ml / 3785.411784 == pytest.approx(38.5, abs=0.001)
    assert [(each.why, each.ml) for each in found["T6002"].out] == [("heel", 5678)]  # 1.5 gal = 5,678.1 mL


def test_what_is_mixed_and_what_ran_out_does_not_count():
    """County 9: the mixed tank is out. County 1: two pails are good through day 107 and out on day 108."""
    tank = aboard(COUNTY.hazmat_1())["T9001"]
    assert (tank.counted_ml, tank.counts_for, [each.why for each in tank.out]) == (0, (), ["mixed"])
    last, after = aboard(COUNTY.engine_1(), 107)["P1009"], aboard(COUNTY.engine_1(), 108)["P1009"]
    assert (last.counted_ml, last.good_through, last.counts_for) == (18_927, date(2026, 9, 30), ("gasoline E10",))
    assert (after.counted_ml, [(each.why, each.since) for each in after.out]) == (0, [("expired", date(2026, 10, 1))])


def test_containers_that_differ_in_nothing_but_their_codes_stand_on_one_line():
    """County 1: seven pails of one date and two of another, 45 gal; on day 108 the two are out and stand apart."""
    lines = list(alike(aboard(COUNTY.engine_1()).values()))
    assert [(line.many, line.codes[0], line.codes[-1]) for line in lines] == [
        (7, "P1001", "P1007"),
        (2, "P1008", "P1009"),
    ]
    assert sum(line.counted_ml for line in lines) == 9 * 18_927
    after = list(alike(aboard(COUNTY.engine_1(), 108).values()))
    assert [(line.many, line.counted_ml) for line in after] == [(7, 7 * 18_927), (2, 0)]


def test_back_pressure_of_a_lay_and_none_without_one():
    """County 5: 100 + 24.22 × 1.5 = 136.33 psi against 130; longest 123.9 ft."""
    (line,) = COUNTY.engine_5().lines
    drawn = drawn_by(line, Policy())
    assert drawn.back_pressure_kpa / 6.894757293 == pytest.approx(136.33, abs=0.005)
    assert drawn.limit_kpa / 6.894757293 == pytest.approx(130)
    assert drawn.longest_m / 0.3048 == pytest.approx(123.9, abs=0.05)
    assert not drawn.draws
    assert drawn_by(COUNTY.engine_2().lines[0], Policy()) is None
