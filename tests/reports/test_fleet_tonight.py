"""The status at this moment, said in SQL, against the same rule written out case by case."""

from __future__ import annotations

from datetime import timedelta
from itertools import product

import pytest

from readiness.engineering.deficiencies import sentence
from readiness.engineering.freezing import plain
from readiness.engineering.records import Answer
from readiness.engineering.records import Deficiency as Found
from readiness.models import Assessment, Deficiency, Inputs, Role, Unit
from readiness.reports.duty_figures import duty_figures, need_bar
from readiness.reports.fleet_tonight import FleetRows, count_units, units_tonight
from readiness.reports.forecasts import coming_falls
from readiness.reports.remembered import Remembered
from readiness.reports.verdicts import DutyFacts
from tests.cast import D0, PAIL_ML, SIX, Cast, UnitFactory

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
NO_ANSWERS = {"written": "by another engine"}


def assessed(cast: Cast, status: str, *, check=SIX, holds=D0, due=False, at=SIX):
    unit = UnitFactory(station=cast.station, designation=f"Unit {Unit.objects.count()}", judge_due=due)
    inputs, _ = Inputs.objects.get_or_create(digest=f"{unit.pk}", body=b"")
    Assessment.objects.create(
        department=cast.department,
        unit=unit,
        day=D0,
        at=at,
        because="test",
        status=status,
        holds_until=holds,
        check_good_until=check,
        answers=NO_ANSWERS,
        digest="",
        inputs=inputs,
        engine="1",
        confirmed_on=D0,
    )
    return unit


def effective(cast: Cast) -> dict[int, tuple[str, bool]]:
    rows = units_tonight(cast.department, SIX, D0).values_list("pk", "effective", "accepted")
    return {pk: (status, accepted) for pk, status, accepted in rows}


CHECKS = {"just good": SIX, "a second ago": SIX - timedelta(seconds=1), "none": None}
HOLDS = {"today": D0, "yesterday": D0 - DAY, "no date": None}


def test_every_combination_of_what_can_have_run_out(cast):
    """Nothing gets better by waiting: only ready and limited turn, and to unverified."""

    expected = {cast.unit.pk: "not_judged"}
    for status, check, holds, due in product(
        ("ready", "limited", "unverified", "not_ready", "no_foam_duty"), CHECKS, HOLDS, (False, True)
    ):
        unit = assessed(cast, status, check=CHECKS[check], holds=HOLDS[holds], due=due)
        stale = check == "a second ago" or holds == "yesterday" or due
        expected[unit.pk] = "unverified" if stale and status in ("ready", "limited") else status
    assert {pk: status for pk, (status, _) in effective(cast).items()} == expected


def test_a_unit_without_an_assessment_is_not_judged_and_a_superseded_one_does_not_count(cast):
    unit = assessed(cast, "ready")
    assert effective(cast)[cast.unit.pk] == ("not_judged", False)
    Assessment.objects.filter(unit=unit).update(superseded_at=SIX)
    assert effective(cast)[unit.pk] == ("not_judged", False)


def test_counts_and_retired_ones_left_out(cast):
    for status in ("ready", "ready", "limited"):
        assessed(cast, status)
    retired = assessed(cast, "ready")
    retired.retired_on = D0
    retired.save()
    assessed(cast, "not_ready", at=SIX + timedelta(minutes=1))
    counted = count_units(units_tonight(cast.department, SIX, D0), SIX)
    found = {each.status: each.units for each in counted.tallies}
    assert found == {"ready": 2, "limited": 1, "not_ready": 1, "not_judged": 1, "unverified": 0, "no_foam_duty": 0}
    assert (counted.units, counted.new_answers) == (5, 1)


def deficient(cast, unit, code, severity, accepted_until=None):
    chief = cast.people[Role.CHIEF] if accepted_until else None
    return Deficiency.objects.create(
        department=cast.department,
        unit=unit,
        code=code,
        subject_kind="unit",
        subject_id=unit.pk,
        severity=severity,
        opened_at=SIX,
        seen_on=D0,
        accepted_until=accepted_until,
        accepted_by=chief,
    )


def test_accepted_is_who_has_nothing_left_of_its_own_severity(cast):
    all_of_it, a_part, past, other, stale = (assessed(cast, "limited") for _ in range(5))
    deficient(cast, all_of_it, "a", "limited", D0)
    deficient(cast, all_of_it, "b", "note")
    deficient(cast, a_part, "a", "limited", D0)
    deficient(cast, a_part, "b", "limited")
    deficient(cast, past, "a", "limited", D0 - DAY)
    deficient(cast, other, "a", "note", D0)
    deficient(cast, stale, "a", "limited", D0)
    stale.judge_due = True
    stale.save()
    found = effective(cast)
    assert [pk for pk, (_, accepted) in found.items() if accepted] == [all_of_it.pk]
    assert found[stale.pk] == ("unverified", False)


def test_an_assessment_of_another_engine_is_shown_as_unreadable_and_keeps_its_status(cast):
    unit = assessed(cast, "ready")
    rows = FleetRows(units_tonight(cast.department, SIX, D0).order_by("pk"), cast.department, SIX, D0, "us")
    one = next(each for each in rows if each.id == unit.pk)
    assert (one.status, one.unreadable, one.duties, len(rows)) == ("ready", True, (), 2)


def test_nine_pails_read_45_of_45_and_never_less(cast):
    """Nine pails are 170,343 ml, 45.00 gal is 170,343.53 ml by the definition of the gallon."""
    usable_l = 9 * PAIL_ML / 1000
    answer = Answer(1, "spill", "ready", (), setup=(1,), usable_l=usable_l, need_l=170.34353, containers=9)
    figures = duty_figures(DutyFacts(1, "spill", "spill", "", 1.0, "hydrant"), answer, "us")
    assert (figures.short_ml, figures.kept_in, figures.places) == (0.0, 9, 1)


def test_a_shortage_of_a_few_milliliters_is_not_hidden_by_the_tolerance(cast):
    answer = Answer(
        1, "spill", "not_ready", (), setup=(1,), usable_l=170.3, need_l=170.34353, containers=9, short_l=0.04353
    )
    figures = duty_figures(DutyFacts(1, "spill", "spill", "", 1.0, "hydrant"), answer, "us")
    assert (figures.kept_in, figures.short_ml) == (0, pytest.approx(43.53))


def test_the_bar_s_scale_is_the_greatest_of_the_three():
    bar = need_bar(Answer(1, "spill", "limited", (), textbook_l=2.25, need_l=13.5, usable_l=2.5))  # county 13
    assert bar == (pytest.approx(100 * 2.5 / 13.5, abs=0.05), pytest.approx(100 * 2.25 / 13.5, abs=0.05), 100.0)
    assert need_bar(Answer(1, "spill", "not_ready", ())) is None


def test_keeping_costs_no_figure():
    """95 gpm is 359.614 119 48 L/min: what an assessment keeps of it still reads 95.0, and a limit of a day a day."""
    flows = plain(359.61411948), plain(454.24941408)
    kept = Found("rate_short", ("duty", 1), "not_ready", *flows, "flow", words="x")
    assert "95.0 gpm of 120.0 gpm" in sentence(kept, "us")
    late = Found("check_overdue", ("unit", 1), "unverified", 11.0, plain(1.0), "days", words="Engine 7")
    assert sentence(late, "us").endswith("11 days ago; the limit is 1 day.")


def test_the_days_on_which_answers_fall(cast):
    """holds_until is the last good day: they fall on the day after, in the month of that day."""
    last_of_june = assessed(cast, "ready", holds=D0.replace(day=30))
    first, second, third = (assessed(cast, "ready", holds=D0.replace(month=8, day=10)) for _ in range(3))
    assessed(cast, "ready", holds=D0.replace(year=2027, month=7, day=1))  # beyond twelve months
    assessed(cast, "ready", holds=D0 - DAY)  # past
    assessed(cast, "not_ready", holds=None)
    strip = coming_falls(cast.department, D0)
    days = [(each.day.isoformat(), each.units, [unit.id for unit in each.named], each.more) for each in strip.days]
    assert days == [
        ("2026-07-01", 1, [last_of_june.pk], 0),
        ("2026-08-11", 3, [first.pk, third.pk], 1),
    ]
    assert [(each.first.month, each.units) for each in strip.months if each.units] == [(7, 1), (8, 3)]
    assert second.pk not in days[1][2]
    assert (strip.units, len(strip.months), strip.months[0].first) == (4, 12, D0.replace(day=1))


def test_remembered_keeps_the_latest_and_makes_each_once():
    made: list[str] = []

    def make(word: str) -> str:
        made.append(word)
        return word.upper()

    memory: Remembered[str] = Remembered(2)
    for word in ("a", "b", "a", "c", "a", "b"):
        assert memory.get(word, lambda word=word: make(word)) == word.upper()
    assert made == ["a", "b", "c", "b"]  # "a" was asked for again before "c" came, so "b" went
