"""Inspection rules: overdue makes unverified, a log cures it, and a fault is raised."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.evidence import record_use_of_line
from readiness.actions.inspections import INSPECTION_RULES, RuleFacts, log_inspection, raise_what_was_found
from readiness.actions.permissions import OWNER
from readiness.models import Change, Deficiency, Inspection, InspectionRule, RaisedDeficiency, Role
from readiness.models.movements import Account
from readiness.reports.inspections import inspections_due
from tests.cast import D0, SIX, Cast, StationFactory
from tests.judged import Rigged
from tests.keeping import desk, faults


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    made = Rigged(cast)
    made.tank("T1")
    made.checked(name="with the tank")
    return made


def rule(cast: Cast, of: str, rhythm: str, **more: Any) -> InspectionRule:
    facts = RuleFacts(name=f"{rhythm} {of}", of=of, rhythm=rhythm, clause="our rule 7", **more)
    return INSPECTION_RULES.save(desk(cast), facts)


def log(cast: Cast, of: InspectionRule, thing: Any, at: Any = SIX, words: str = "", passed: bool = True) -> Inspection:
    by = {"acting": cast.acting(Role.CREW), "clock": StoppedClock(at)}
    return log_inspection(cast.department, rule=of, thing=thing, passed=passed, words=words, **by)


def codes(rig: Rigged, day: int) -> set[str]:
    """What is open after so many days, checks and stock apart."""
    rig.checked(at=SIX + timedelta(days=day), name=f"day {day}")
    rig.judge(SIX + timedelta(days=day))
    return {code for code in rig.open_codes() if code.startswith("inspection")}


def test_overdue_makes_unverified_and_a_log_cures_it(cast, rig):
    weekly = rule(cast, "line", "week")
    assert codes(rig, 7) == set(), "due on the seventh day, and still in time"
    assert codes(rig, 8) == {"inspection_overdue"}
    assert rig.current().status == "unverified"
    row = Deficiency.objects.get(code="inspection_overdue", closed_on=None)
    assert (row.words, row.since_on) == ("week line: Crosslay 1", D0 + timedelta(days=7))
    log(cast, weekly, rig.line, SIX + timedelta(days=8))
    assert rig.status(SIX + timedelta(days=8)) == "ready"
    assert Change.objects.filter(action="log inspection").get().new == {
        "passed": True,
        "words": "",
        "line": rig.line.pk,
    }


def test_an_answer_holds_no_longer_than_its_next_inspection(cast, rig):
    before = rig.status(), rig.current().holds_until
    assert before[0] == "ready"
    rule(cast, "unit", "shift")
    rig.judge()
    assert rig.current().holds_until == before[1], "like the morning check, it would always be tomorrow"
    rule(cast, "fixed tank", "month")
    rig.judge()
    assert rig.current().holds_until == D0 + timedelta(days=30)  # 15 June to 15 July


def test_after_a_use(cast, rig):
    after = rule(cast, "line", "after use")
    of_tank = rule(cast, "fixed tank", "after use")
    tank = cast.department.containers.get(code="T1")
    assert codes(rig, 1) == set()
    by = {"acting": OWNER, "clock": StoppedClock(SIX + timedelta(days=2))}
    record_use_of_line(cast.department, line=rig.line, at=SIX + timedelta(days=2), **by)
    entry = rig.entry(StoppedClock(SIX + timedelta(days=2)))
    movements.use(entry, container=tank, ml=100, account=Account.INCIDENT)
    assert codes(rig, 2) == set(), "due on the day of the use"
    assert codes(rig, 3) == {"inspection_overdue"}
    assert Deficiency.objects.filter(code="inspection_overdue", closed_on=None).count() == 2
    for each, thing in ((after, rig.line), (of_tank, tank)):
        log(cast, each, thing, SIX + timedelta(days=3))
    assert codes(rig, 4) == set()


def test_on_a_change_over(cast, rig):
    rule(cast, "vehicle", "on change")
    assert codes(rig, 1) == set(), "the change came before the rule"
    rig.assignment.from_at = SIX + timedelta(days=1)
    rig.assignment.save()
    assert codes(rig, 3) == {"inspection_overdue"}


def test_a_rule_of_one_station_is_no_matter_of_another(cast, rig):
    other = StationFactory(department=cast.department, name="Hilltop")
    rule(cast, "line", "week", station=other)
    assert codes(rig, 20) == set()
    INSPECTION_RULES.save(desk(cast), RuleFacts("here", "line", "week", station=cast.station))
    assert codes(rig, 21) == {"inspection_overdue"}


def test_a_fault_that_was_found_is_raised(cast, rig):
    yearly = rule(cast, "fixed tank", "year")
    tank = cast.department.containers.get(code="T1")
    with pytest.raises(Refused, match="no words were read"):
        log(cast, yearly, tank, passed=False)
    made = log(cast, yearly, tank, passed=False, words="sludge")
    raise_what_was_found(cast.department, inspection=made, acting=cast.acting(Role.CREW), clock=StoppedClock(SIX))
    row = RaisedDeficiency.objects.get()
    assert (row.container, row.words, row.effect) == (tank, "year fixed tank: sludge", "unverified")
    for thing in (rig.line, rig.pails[0]):
        with pytest.raises(Refused, match="is for every fixed tank"):
            log(cast, yearly, thing)


def test_the_due_list_by_person_and_station(cast, rig, django_assert_num_queries):
    rule(cast, "pail", "month", owner=cast.people[Role.LOGISTICS])
    rule(cast, "unit", "week")
    with django_assert_num_queries(7):
        found = inspections_due(cast.department, D0 + timedelta(days=9))
    assert [(each.thing, each.state, each.who, each.station) for each in found[:1]] == [
        ("Engine 1", "overdue", "nobody named", "Quayside")
    ]
    assert {(each.thing, each.state, each.who) for each in found[1:]} == {
        (f"P{n}", "due later", cast.people[Role.LOGISTICS].username) for n in range(9)
    }
    for n in range(20):
        cast.pail(code=f"X{n}", place=cast.store)
    with django_assert_num_queries(7):
        assert len(inspections_due(cast.department, D0)) == 30


def test_what_a_rule_cannot_be(cast):
    rule(cast, "unit", "week")
    assert set(faults(INSPECTION_RULES, cast, RuleFacts("Week UNIT", "unit", "week"))) == {"name"}
    assert set(faults(INSPECTION_RULES, cast, RuleFacts("x", "ladder", "hourly"))) == {"of", "rhythm"}
    assert set(faults(INSPECTION_RULES, cast, RuleFacts("y", "unit", "week", owner=cast.outsider))) == {"owner"}
