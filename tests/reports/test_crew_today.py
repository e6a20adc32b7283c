"""A crew's unit: its status and why, what to turn, what it carries, what was left to do, and what a check changed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions.checks import Read
from readiness.models import Role
from readiness.models.checks import Answer
from readiness.reports.crew_today import changed_by, crew_today, units_offered
from tests.cast import D0, SIX, Cast, StationFactory, UnitFactory
from tests.judged import Rigged

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


def line(rig: Rigged, answer: Answer = Answer.GOOD, **values: object) -> tuple[Read, ...]:
    """A whole check but for what is said of the line."""
    return (*rig.good()[:-1], Read(answer, line=rig.line.pk, **values))


def test_own_stations_units_come_first(rig: Rigged) -> None:
    other = StationFactory(department=rig.department, name="Abbey")
    UnitFactory(station=other, designation="Engine 9")
    own, others = units_offered(rig.department, rig.cast.station.pk, SIX, D0)
    assert [(each.name, each.status) for each in own] == [("Engine 1", "ready")]
    assert [(each.name, each.station, each.status) for each in others] == [("Engine 9", "Abbey", "not_judged")]
    assert units_offered(rig.department, None, SIX, D0)[0] == ()


def test_a_ready_unit(rig: Rigged) -> None:
    """Nine pails of 18,927 mL are 170,343 mL, in one compartment, in one line."""
    today = crew_today(rig.unit, SIX, D0, "us")
    assert (today.tonight.status, today.vehicle, today.turn, today.to_do, today.faults) == (
        "ready",
        "vehicle 201",
        (),
        (),
        (),
    )
    (place,) = today.compartments
    (pails,) = place.stowed
    assert (place.name, pails.things, pails.kind, pails.ml, pails.sealed) == ("L3", 9, "pail", 170_343, True)
    assert today.last is not None
    assert (today.last.at, today.last.complete, today.last.looked) == (SIX, True, 10)


def test_a_knob_that_stands_wrong_is_what_to_turn(rig: Rigged) -> None:
    rig.checked(line(rig, setting_pct=600), at=SIX + HOUR)
    rig.judge(SIX + HOUR)
    today = crew_today(rig.unit, SIX + HOUR, D0, "us")
    assert today.tonight.status == "limited"
    assert today.turn == ("gasoline spill: turn to 3 %",)
    (open_,) = today.to_do
    assert (open_.sentence, open_.cure, open_.since) == (
        "Crosslay 1 stands at 6 % and is parked at 3 % by rule.",
        "Turn the knob.",
        D0,
    )


def test_a_check_that_ran_out_is_not_ready_by_waiting(rig: Rigged) -> None:
    today = crew_today(rig.unit, SIX + DAY + HOUR, D0 + DAY, "us")
    assert (today.tonight.status, today.tonight.was_judged) == ("unverified", "ready")


def test_a_fault_stays_until_a_later_look_finds_it_good(rig: Rigged) -> None:
    def faults(hours: int) -> list[tuple[str, bool, str]]:
        today = crew_today(rig.unit, SIX + hours * HOUR, D0, "us")
        return [(each.subject, each.missing, each.words) for each in today.faults]

    rig.checked(line(rig, Answer.FAULT, setting_pct=300, words="strainer clogged"), at=SIX + HOUR)
    assert faults(1) == [("Crosslay 1", False, "strainer clogged")]
    rig.checked(line(rig, Answer.NOT_LOOKED), at=SIX + 2 * HOUR)
    assert faults(2) == [("Crosslay 1", False, "strainer clogged")], "nobody looked: it is no better"
    rig.checked(line(rig, setting_pct=300), at=SIX + 3 * HOUR)
    assert faults(3) == []
    gone = Read(Answer.NOT_CARRIED, container=rig.pails[0].pk)
    rig.checked((gone, *line(rig, setting_pct=300)[1:]), at=SIX + 4 * HOUR)
    assert faults(4) == [("P0", True, "")]


def test_what_a_check_changed(rig: Rigged, django_capture_on_commit_callbacks: object) -> None:
    def checked(hours: int, **values: object) -> object:
        with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator] # a fixture of pytest-django
            made = rig.checked(line(rig, **values), at=SIX + hours * HOUR, acting=rig.cast.acting(Role.CREW)).check
        return changed_by(made, SIX + hours * HOUR, D0, "us")

    wrong = checked(1, setting_pct=600)
    assert (wrong.was, wrong.now, wrong.cured) == ("ready", "limited", ())  # type: ignore[attr-defined] # a Change
    said = [(each.sentence, is_new) for each, is_new in wrong.open]  # type: ignore[attr-defined] # a Change
    assert said == [("Crosslay 1 stands at 6 % and is parked at 3 % by rule.", True)]
    right = checked(2, setting_pct=300)
    assert (right.was, right.now, right.open) == ("limited", "ready", ())  # type: ignore[attr-defined] # a Change
    assert right.cured == ("Crosslay 1 stands at 6 % and is parked at 3 % by rule.",)  # type: ignore[attr-defined] # a Change


def test_a_check_after_the_last_ran_out(rig: Rigged, django_capture_on_commit_callbacks: object) -> None:
    at = SIX + DAY + HOUR
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator] # a fixture of pytest-django
        made = rig.checked(at=at).check
    change = changed_by(made, at, D0 + DAY, "us")
    assert (change.was, change.now) == ("unverified", "ready")


def test_queries_do_not_grow_with_pails(rig: Rigged) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as seen:
            crew_today(rig.unit, SIX, D0, "us")
        return len(seen)

    few = count()
    for n in range(20):
        rig.pail(f"Q{n}")
    assert count() == few
