"""Nights: today's, one to come, one that is past, told or rebuilt; a killed one; and the change of the clocks."""

from __future__ import annotations

import json
import signal
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from readiness.actions import movements
from readiness.actions.acceptances import accept
from readiness.actions.clock import StoppedClock, day_of, shift_change
from readiness.actions.evidence import record_line_test, record_sample
from readiness.actions.nights import NightOf, run_night
from readiness.actions.permissions import OWNER
from readiness.models import Appliance, Deficiency, Department, Lot, Night, Role
from readiness.models.movements import Account
from readiness.reports.nights import since_when
from tests.actions.own_database import own_database, run
from tests.actions.small_department import every_row
from tests.cast import D0, PAIL_ML, SIX, Cast, DepartmentFactory
from tests.judged import GAL, Rigged

pytestmark = pytest.mark.django_db
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    return Rigged(cast)


def night(rig: Rigged, at: datetime = SIX, day: date | None = None, rebuild: bool = False) -> NightOf:
    (told,) = run_night(day=day, departments=[rig.department], rebuild=rebuild, clock=StoppedClock(at))
    return told


def told(night: NightOf) -> tuple[str, str, float]:
    """(how, status, usable gallons) of the one unit."""
    (unit,) = night.units
    return night.how, unit.verdict.status, round(unit.verdict.answers[0].usable_l / GAL, 1)


# -- today -------------------------------------------------------------------------------------------------------------


def test_todays_night_judges_at_the_shift_change_and_writes(rig: Rigged) -> None:
    done = night(rig, SIX + 3 * HOUR)
    assert told(done) == ("judged", "ready", 45.0)
    row = Night.objects.get()
    assert (row.day, row.judged, row.changed, row.failed) == (D0, 1, 1, [])
    assert (row.started_at, row.finished_at) == (SIX + 3 * HOUR, SIX + 3 * HOUR)
    assert (rig.current().day, rig.current().because) == (D0, "night")


def test_the_night_judges_as_of_the_shift_change_however_late_it_runs(rig: Rigged) -> None:
    """Checked 22 hours before the shift change: good then, out three hours later."""
    rig.checked(at=SIX + 2 * HOUR)
    assert told(night(rig, SIX + DAY + 3 * HOUR)) == ("judged", "ready", 45.0)
    rig.judge(SIX + DAY + 3 * HOUR)
    assert rig.open_codes() == {"check_overdue"}


def test_the_second_night_of_a_day_changes_no_row(rig: Rigged) -> None:
    night(rig)
    before = every_row()
    done = night(rig, SIX + HOUR)
    assert (done.changed, told(done)) == (0, ("judged", "ready", 45.0))
    assert every_row() == before


def test_before_the_shift_change_it_is_still_yesterdays_night(rig: Rigged) -> None:
    night(rig, SIX + DAY - timedelta(seconds=1))
    assert Night.objects.get().day == D0
    night(rig, SIX + DAY)
    assert list(Night.objects.order_by("day").values_list("day", flat=True)) == [D0, D0 + DAY]


def test_every_department_that_is_open(rig: Rigged) -> None:
    DepartmentFactory(name="Closed County", closed_on=D0)
    done = run_night(clock=StoppedClock(SIX))
    assert {each.department.name for each in done} == {"Quay County Fire Department", "Far County Fire Department"}


def test_a_failed_unit_is_kept_with_the_night_until_it_is_mended(rig: Rigged) -> None:
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct="3x6")
    done = night(rig)
    assert [unit for unit, _ in done.failed] == ["Engine 1"]
    assert Night.objects.get().failed == [{"unit": "Engine 1", "why": done.failed[0][1]}]
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=[300, 600])
    night(rig, SIX + HOUR)
    assert (Night.objects.get().failed, Night.objects.get().changed) == ([], 1)


# -- a day to come -----------------------------------------------------------------------------------------------------


def test_a_forecast_shows_what_will_have_run_out_and_writes_nothing(rig: Rigged) -> None:
    Lot.objects.filter(pk=rig.cast.lot.pk).update(makers_date=D0 + 20 * DAY)
    night(rig)
    before = every_row()
    assert told(night(rig, day=D0 + 20 * DAY)) == ("forecast", "ready", 45.0)
    assert told(night(rig, day=D0 + 21 * DAY)) == ("forecast", "not_ready", 0.0)
    assert every_row() == before


def test_a_forecast_leaves_the_morning_check_out(rig: Rigged) -> None:
    """It would always be overdue tomorrow; what is accepted only until then is not accepted any more."""
    rig.line.unflushed_since = SIX
    rig.line.save()
    night(rig)
    flush = Deficiency.objects.get(code="flush_not_logged")
    accept(
        rig.department,
        deficiency=flush,
        until=D0 + 2 * DAY,
        note="known",
        acting=rig.cast.acting(Role.CHIEF),
        clock=StoppedClock(SIX),
    )
    for days, accepted in ((2, True), (3, False)):
        (unit,) = night(rig, day=D0 + days * DAY).units
        assert [(each.code, each.accepted) for each in unit.verdict.deficiencies] == [("flush_not_logged", accepted)]


# -- a day that is past ------------------------------------------------------------------------------------------------


def uses_a_pail(rig: Rigged, n: int, at: datetime) -> None:
    entry = rig.entry(StoppedClock(at))
    movements.use(entry, container=rig.pails[n], ml=PAIL_ML, account=Account.INCIDENT)


def test_a_past_day_is_told_as_it_was_stored(rig: Rigged) -> None:
    night(rig)
    uses_a_pail(rig, 0, SIX + HOUR)
    rig.checked(at=SIX + DAY)
    night(rig, SIX + DAY)
    rig.checked(at=SIX + 2 * DAY)
    night(rig, SIX + 2 * DAY)
    before = every_row()
    later = SIX + 5 * DAY
    assert told(night(rig, later, day=D0)) == ("stored", "ready", 45.0)
    assert told(night(rig, later, day=D0 + DAY)) == ("stored", "not_ready", 40.0)
    assert told(night(rig, later, day=D0 + 2 * DAY)) == ("stored", "not_ready", 40.0)
    assert night(rig, later, day=D0 - DAY).units == ()
    assert night(rig, later, day=D0 + 4 * DAY).units == ()  # nobody judged after the second day
    assert every_row() == before


def test_what_was_open_then_is_told_as_it_stood_then(rig: Rigged) -> None:
    rig.line.unflushed_since = SIX
    rig.line.save()
    night(rig)
    rig.line.unflushed_since = None
    rig.line.save()
    night(rig, SIX + DAY)
    rig.line.unflushed_since = SIX + 2 * DAY
    rig.line.save()
    night(rig, SIX + 2 * DAY)
    key = ("flush_not_logged", "line", rig.line.pk)
    since = {
        days: since_when(rig.department, D0 + days * DAY).get(rig.unit.pk, {}).get(key) for days in (-1, 0, 1, 2, 9)
    }
    assert since == {-1: None, 0: D0, 1: None, 2: D0 + 2 * DAY, 9: D0 + 2 * DAY}


def test_a_past_day_is_rebuilt_from_the_ledger_and_marked_so(rig: Rigged) -> None:
    """Like a ledger. D0: nine pails. D0 + 1 h: one used. D0 + 1: one more in. D0 + 2: one moved to the store."""
    uses_a_pail(rig, 0, SIX + HOUR)
    rig.pail("P9", at=SIX + DAY)
    movements.move(rig.entry(StoppedClock(SIX + 2 * DAY)), containers=[rig.pails[1]], place=rig.cast.store)
    movements.quarantine(rig.entry(StoppedClock(SIX + 3 * DAY), reason="seal cut"), container=rig.pails[2])
    movements.release(rig.entry(StoppedClock(SIX + 4 * DAY), reason="seal is whole"), container=rig.pails[2])
    for days in (1, 2, 3, 4):
        rig.checked(at=SIX + days * DAY, clock=StoppedClock(SIX + 9 * DAY))
    before = every_row()
    rebuilt = {days: told(night(rig, SIX + 9 * DAY, day=D0 + days * DAY, rebuild=True)) for days in range(5)}
    assert rebuilt == {
        0: ("rebuilt", "ready", 45.0),  # 9 x 5 at the shift change, an hour before one is used
        1: ("rebuilt", "ready", 45.0),  # 8 + 1, the new one in at that very moment
        2: ("rebuilt", "not_ready", 40.0),  # 9 - 1
        3: ("rebuilt", "not_ready", 35.0),  # one of the eight is set aside
        4: ("rebuilt", "not_ready", 40.0),  # and back
    }
    assert every_row() == before
    assert night(rig, SIX + 9 * DAY, day=D0).units == ()  # no night of that day was ever stored


def test_before_anything_was_aboard_there_was_nothing(rig: Rigged) -> None:
    (unit,) = night(rig, SIX, day=D0 - 60 * DAY, rebuild=True).units
    codes = {each.code for each in unit.verdict.deficiencies}
    assert {"no_stock", "check_never"} <= codes
    assert unit.vehicle == "vehicle 201"  # it ran on it 330 days before D0


def test_later_evidence_does_not_count_in_a_rebuilt_day(rig: Rigged) -> None:
    """A sample that fails and a test that is lean, both two days later, leave the day before as it was."""
    clock, on = StoppedClock(SIX + 2 * DAY), D0 + 2 * DAY
    record_sample(rig.department, lot=rig.cast.lot, taken_on=on, passed=False, acting=OWNER, clock=clock)
    record_line_test(
        rig.department,
        line=rig.line,
        concentrate=rig.cast.ar,
        tested_on=on,
        set_pct=300,
        measured_pct=250,
        passed=False,
        acting=OWNER,
        clock=clock,
    )
    assert told(night(rig, SIX + 4 * DAY, day=D0, rebuild=True)) == ("rebuilt", "ready", 45.0)
    assert told(night(rig, SIX + 4 * DAY, day=on, rebuild=True))[1] == "not_ready"


def test_the_reading_of_that_day_counts_in_a_rebuilt_day(rig: Rigged) -> None:
    """An opened pail read half empty on D0 and, after a look at the right one, full on the day after."""
    movements.open_container(rig.entry(StoppedClock(SIX - HOUR)), container=rig.pails[0])
    for days, ml in ((0, 9_000), (1, PAIL_ML)):
        at = SIX + days * DAY
        rig.checked(rig.reading(rig.pails[0], ml), at=at, name=f"pail read {days}")
    later = SIX + 4 * DAY
    # 8 pails and 9,000 mL: 40 gal + 2.378 gal = 42.4; then nine pails
    assert told(night(rig, later, day=D0, rebuild=True)) == ("rebuilt", "limited", 42.4)
    assert told(night(rig, later, day=D0 + DAY, rebuild=True)) == ("rebuilt", "ready", 45.0)


def test_the_vehicle_of_that_day(rig: Rigged) -> None:
    from readiness.actions.change_overs import change_over

    change_over(
        rig.department,
        unit=rig.unit,
        vehicle=rig.cast.spare_vehicle,
        acting=OWNER,
        clock=StoppedClock(SIX + HOUR),
    )
    (then,) = night(rig, SIX + 2 * DAY, day=D0, rebuild=True).units
    (after,) = night(rig, SIX + 2 * DAY, day=D0 + DAY, rebuild=True).units
    assert (then.vehicle, after.vehicle) == ("vehicle 201", "vehicle 209")
    assert (then.verdict.status, after.verdict.status) == ("ready", "unverified")


# -- a night that is killed --------------------------------------------------------------------------------------------

KILLED = """
import os, signal
import django
django.setup()
from readiness.actions import judging
from readiness.actions.nights import run_night
{patch}
child = os.fork()
if child == 0:
    run_night()
    os._exit(0)
print(os.waitpid(child, 0)[1])
"""
BEFORE_WRITING = "judging._Writer.write = lambda *_: os.kill(os.getpid(), signal.SIGKILL)"
WHILE_WRITING = "judging._Writer._write_assessments = lambda *_: os.kill(os.getpid(), signal.SIGKILL)"


@pytest.mark.parametrize("patch", [BEFORE_WRITING, WHILE_WRITING], ids=["before writing", "while writing"])
def test_a_killed_night_leaves_the_last_one_standing_and_the_next_one_runs(tmp_path: Path, patch: str) -> None:
    with own_database(tmp_path) as url:
        run(url, "-m", "django", "demo", "--no-serve")
        whole = json.loads(run(url, "-m", "django", "nightly", "--json"))
        shell = "from readiness.models import *; "
        # something changed since, so that the next night has something to write
        run(
            url,
            "-c",
            f"import django; django.setup(); {shell}Unit.objects.filter(designation='Brush 4').update(state='out')",
        )
        dump = (
            f"import django; django.setup(); {shell}"
            "print([list(m.objects.order_by('pk').values_list()) for m in (Assessment, Deficiency)])"
        )
        before = run(url, "-c", dump)
        ended = int(run(url, "-c", KILLED.format(patch=patch)))
        assert ended == signal.SIGKILL
        assert run(url, "-c", dump) == before
        after = json.loads(run(url, "-m", "django", "nightly", "--json"))
    changed = {
        unit["unit"]: unit["status"] for unit, old in zip(after["units"], whole["units"], strict=True) if unit != old
    }
    assert changed == {"Brush 4": "not ready"}


# -- the clocks change -------------------------------------------------------------------------------------------------

# (zone, the day on which clocks go an hour ahead, shift change at 07:00 the day before and on the day, in UTC)
# America/Chicago: 14 March 2027, UTC-6 to UTC-5. Europe/Berlin: 28 March 2027, UTC+1 to UTC+2.
ZONES = [
    ("America/Chicago", date(2027, 3, 14), time(13), time(12)),
    ("Europe/Berlin", date(2027, 3, 28), time(6), time(5)),
]


@pytest.mark.parametrize(("zone", "change", "before", "on"), ZONES, ids=[zone for zone, *_ in ZONES])
def test_the_shift_change_on_both_sides_of_a_change_of_clocks(
    rig: Rigged, zone: str, change: date, before: time, on: time
) -> None:
    """Day begins at 07:00 by the clock on the wall; a check is good for 24 hours by the hour, whatever clocks do."""
    Department.objects.filter(pk=rig.department.pk).update(time_zone=zone, day_starts_at=time(7))
    rig.department.refresh_from_db()
    first, second = datetime.combine(change - DAY, before, UTC), datetime.combine(change, on, UTC)
    assert second - first == timedelta(hours=23)
    for day, at in ((change - DAY, first), (change, second), (change + DAY, second + DAY)):
        assert shift_change(rig.department, day) == at
        assert day_of(rig.department, at) == day
        assert day_of(rig.department, at - timedelta(seconds=1)) == day - DAY

    rig.checked(at=first, clock=StoppedClock(second))
    assert night(rig, second).units[0].verdict.status == "ready"  # 23 hours old
    assert night(rig, second).units[0].verdict.check_good_until == first + DAY
    rig.judge(first + DAY)  # 08:00 by the clock on the wall
    assert rig.open_codes() == set()
    rig.judge(first + DAY + timedelta(minutes=1))
    assert rig.open_codes() == {"check_overdue"}


def test_a_day_of_25_hours(rig: Rigged) -> None:
    """Chicago goes back on 7 November 2027: from 07:00 to 07:00 are 25 hours, and a check of 24 has run out."""
    Department.objects.filter(pk=rig.department.pk).update(time_zone="America/Chicago", day_starts_at=time(7))
    rig.department.refresh_from_db()
    first, second = datetime(2027, 11, 6, 12, tzinfo=UTC), datetime(2027, 11, 7, 13, tzinfo=UTC)
    assert (shift_change(rig.department, date(2027, 11, 6)), shift_change(rig.department, date(2027, 11, 7))) == (
        first,
        second,
    )
    rig.checked(at=first, clock=StoppedClock(second))
    night(rig, second)
    assert rig.open_codes() >= {"check_overdue"}


def test_two_departments_in_two_zones_have_their_own_day(rig: Rigged) -> None:
    """At 05:30 UTC on 16 June it is 07:30 in Berlin, the 16th, and 00:30 in Chicago, the 15th until 06:00."""
    Department.objects.filter(pk=rig.department.pk).update(time_zone="America/Chicago")
    rig.cast.other_department.time_zone = "Europe/Berlin"
    rig.cast.other_department.save()
    run_night(clock=StoppedClock(datetime(2026, 6, 16, 5, 30, tzinfo=UTC)))
    days = dict(Night.objects.values_list("department__name", "day"))
    assert days == {
        "Quay County Fire Department": date(2026, 6, 15),
        "Far County Fire Department": date(2026, 6, 16),
    }
