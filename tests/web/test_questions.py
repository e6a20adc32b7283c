"""Haste and disagreement: asked of the company officer alone, never an accusation; the same for months asks nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.checks import CheckDraft, record_check
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused, new_id
from readiness.actions.questions import answer_question
from readiness.models import Answered, Check, Role
from readiness.models.movements import Account
from readiness.reports.questions import questions
from tests.cast import SIX, Cast
from tests.judged import Rigged
from tests.web.entering import words


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    """Four pails and a tank of 100,000 mL whose gauge is good to 2,000 mL."""
    made = Rigged(cast, pails=4)
    made.tank("T1")
    return made


def check(rig: Rigged, seconds: int, tank_ml: int = 100_000, days: int = 0) -> Check:
    """A whole check that took so many seconds."""
    at = SIX + timedelta(days=days, minutes=1)  # after the fixture's own
    readings = rig.reading(rig.cast.department.containers.get(code="T1"), tank_ml)
    draft = CheckDraft(new_id(), rig.unit.pk, readings, at, at - timedelta(seconds=seconds))
    crew = rig.cast.acting(Role.CREW)
    return record_check(rig.department, draft, acting=crew, clock=StoppedClock(at)).check


def asked(rig: Rigged, days: int = 0) -> list[str]:
    return [each.sentence for each in questions(rig.unit, SIX + timedelta(days=days, minutes=1), "us")]


@pytest.mark.parametrize(("seconds", "count"), [(14, 1), (20, 1), (21, 0), (110, 0)])
def test_a_whole_rig_in_twenty_seconds(rig, seconds, count):
    check(rig, seconds)
    assert len(asked(rig)) == count
    if count:
        assert f"took {seconds} s, with gauges to read" in asked(rig)[0]


def test_sealed_pails_alone_are_looked_over_in_a_moment(cast):
    rig = Rigged(cast, pails=4)
    draft = CheckDraft(new_id(), rig.unit.pk, rig.good(), SIX, SIX - timedelta(seconds=9))
    record_check(rig.department, draft, acting=cast.acting(Role.CREW), clock=StoppedClock(SIX))
    assert asked(rig) == []


def test_a_full_sealed_rig_that_reads_the_same_for_months_asks_nothing(rig):
    for day in range(90):
        check(rig, 100 + day % 7, days=day)
    assert asked(rig, 89) == []


def test_two_readings_apart_with_nothing_entered_between(rig):
    check(rig, 100)
    check(rig, 100, 98_000, days=1)  # within the 2,000 mL of its gauge
    assert asked(rig, 1) == []
    check(rig, 100, 92_000, days=2)
    # 98,000 mL are 25.89 gal and 92,000 mL 24.30 gal
    assert asked(rig, 2) == ["T1 was read at 25.89 gal and then at 24.30 gal, and nothing was entered between."]
    assert asked(rig, 17) == [], "after a fortnight nobody remembers"


def test_what_was_used_between_explains_it(rig):
    check(rig, 100)
    tank = rig.cast.department.containers.get(code="T1")
    entry = rig.entry(StoppedClock(SIX + timedelta(days=1)))
    movements.use(entry, container=tank, ml=8_000, account=Account.INCIDENT)
    check(rig, 100, 92_000, days=2)
    assert asked(rig, 2) == []


def test_the_officer_is_asked_and_answers_and_nobody_else_sees_it(cast, rig, as_role):
    made = check(rig, 12)
    page = reverse("crew_unit", args=[rig.unit.pk])
    assert "no accusation" not in words(as_role(Role.CREW).get(page))
    officer = as_role(Role.OFFICER)
    assert "took 12 s, with gauges to read" in words(officer.get(page))
    address = reverse("answer_question", args=[rig.unit.pk, made.pk])
    assert "say what was found out" in words(officer.post(address, {"words": " "}, follow=True))
    done = words(officer.post(address, {"words": "two of them shared it"}, follow=True))
    assert "no accusation" not in done
    officer.post(address, {"words": "again"})
    assert Answered.objects.get().words == "two of them shared it"
    with pytest.raises(Refused):
        answer_question(cast.department, check=made, words="", acting=cast.acting(Role.CHIEF))
    assert rig.status() == "ready" or "short_of_textbook" in rig.open_codes(), "a question changes no status"


def test_a_check_that_came_in_after_a_later_one_replaces_nothing_and_is_asked_about(rig, as_role):
    check(rig, 110, 90_000)
    earlier, came_in = SIX - timedelta(hours=3), StoppedClock(SIX + timedelta(hours=1))
    readings = rig.reading(rig.cast.department.containers.get(code="T1"), 100_000)
    draft = CheckDraft(new_id(), rig.unit.pk, readings, earlier)
    made = record_check(rig.department, draft, acting=rig.cast.acting(Role.CREW), clock=came_in).check
    assert rig.cast.department.containers.get(code="T1").reading_ml == 90_000
    late = [each for each in questions(rig.unit, came_in.at, "us") if each.check == made.pk and not each.container_id]
    assert ["came in after a later one" in each.sentence for each in late] == [True]
    officer = rig.cast.acting(Role.OFFICER)
    answer_question(rig.department, check=made, words="the same leak", acting=officer, clock=came_in)
    assert not [each for each in questions(rig.unit, came_in.at, "us") if each.check == made.pk]
