"""Judging: what is written and what is left alone, deficiencies through their life, broken units, and the day."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import judging, movements
from readiness.actions.acceptances import accept, withdraw
from readiness.actions.change_overs import change_over
from readiness.actions.clock import StoppedClock
from readiness.actions.evidence import record_flush_of_line, record_line_test, record_sample, record_use_of_line
from readiness.actions.judging import judge_units
from readiness.actions.lots import recall
from readiness.actions.nights import run_night
from readiness.actions.permissions import OWNER
from readiness.models import (
    Appliance,
    Assessment,
    Deficiency,
    Inputs,
    Movement,
    Place,
    Policy,
    Role,
    Unit,
)
from readiness.models.movements import Account
from tests.actions.small_department import every_row
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast, DepartmentFactory, StationFactory, UnitFactory
from tests.judged import GAL, Rigged

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    made = Rigged(cast)
    made.judge()
    return made


# -- what is written ---------------------------------------------------------------------------------------------------


def test_the_first_judging_writes_an_assessment_with_its_inputs(rig: Rigged) -> None:
    row = rig.current()
    assert (row.status, row.day, row.at, row.because, row.confirmed_on) == ("ready", D0, SIX, "test", D0)
    assert rig.usable_gal() == pytest.approx(45, abs=0.003)  # nine 5-gal pails
    assert row.check_good_until == SIX + DAY
    assert Inputs.objects.filter(pk=row.inputs_id).exists()
    assert not rig.due()


def test_the_same_facts_again_change_no_row_of_any_table(rig: Rigged) -> None:
    before = every_row()
    assert rig.judge().changed == 0
    assert every_row() == before


def test_a_day_later_only_the_confirmation_moves(rig: Rigged) -> None:
    rig.checked(at=SIX + DAY)
    rig.judge(SIX + DAY)  # the new check gives another good-until
    before = every_row()
    judge_units(rig.department, None, because="test", clock=StoppedClock(SIX + DAY))
    assert every_row() == before
    rig.judge(SIX + 2 * DAY)  # exactly 24 hours after the check: still good
    after = every_row()
    assert after["Assessment"][-1]["confirmed_on"] == D0 + 2 * DAY
    before["Assessment"][-1]["confirmed_on"] = D0 + 2 * DAY
    assert after == before


def test_another_answer_supersedes_the_last_one(rig: Rigged) -> None:
    first = rig.current()
    movements.use(rig.entry(), container=rig.pails[0], ml=PAIL_ML, account=Account.INCIDENT)
    rig.judge(SIX + timedelta(hours=1))
    first.refresh_from_db()
    second = rig.current()
    assert first.superseded_at == second.at == SIX + timedelta(hours=1)
    # eight pails are 40 gal: less than the textbook's 90 x 3 % x 15 = 40.5
    assert (first.status, second.status, second.inputs_id == first.inputs_id) == ("ready", "not_ready", False)
    assert rig.open_codes() == {"short_of_textbook"}


# -- deficiencies ------------------------------------------------------------------------------------------------------


def one(rig: Rigged, code: str, **values: Any) -> Deficiency:
    return Deficiency.objects.get(unit=rig.unit, code=code, **values)


def test_a_deficiency_is_opened_kept_closed_and_opened_again(rig: Rigged) -> None:
    rig.judge(SIX + 2 * DAY)  # last checked two days ago, the limit is one
    opened = one(rig, "check_overdue")
    assert (opened.severity, opened.seen_on, opened.closed_on) == ("unverified", D0 + 2 * DAY, None)
    assert opened.since_on == D0 + DAY  # the day on which the check ran out

    rig.judge(SIX + 5 * DAY)
    kept = one(rig, "check_overdue")
    assert (kept.pk, kept.since_on, kept.opened_at, kept.closed_on) == (opened.pk, D0 + DAY, SIX + 2 * DAY, None)

    rig.checked(at=SIX + 6 * DAY)
    rig.judge(SIX + 6 * DAY)
    assert one(rig, "check_overdue").closed_on == D0 + 6 * DAY
    assert rig.current().status == "ready"

    rig.judge(SIX + 9 * DAY)
    again = one(rig, "check_overdue", closed_on=None)
    assert (again.reopens_id, again.since_on) == (opened.pk, D0 + 7 * DAY)
    assert Deficiency.objects.filter(code="check_overdue").count() == 2


def test_a_deficiency_that_stays_tells_its_new_numbers(rig: Rigged) -> None:
    movements.use(rig.entry(), container=rig.pails[0], ml=PAIL_ML, account=Account.INCIDENT)
    rig.judge()
    first = one(rig, "short_of_textbook")
    assert first.measured / GAL == pytest.approx(40, abs=0.003)
    movements.use(rig.entry(), container=rig.pails[1], ml=PAIL_ML, account=Account.INCIDENT)
    rig.judge(SIX + DAY)
    second = one(rig, "short_of_textbook")
    assert (second.pk, second.since_on) == (first.pk, D0)
    assert second.measured / GAL == pytest.approx(35, abs=0.003)


def test_an_age_that_grows_is_no_change(rig: Rigged) -> None:
    rig.judge(SIX + 3 * DAY)
    before = every_row()
    assert rig.judge(SIX + 4 * DAY).changed == 0
    after = every_row()
    assert after["Deficiency"] == before["Deficiency"]
    assert len(after["Assessment"]) == len(before["Assessment"])


def test_a_unit_that_is_retired_has_nothing_open(rig: Rigged) -> None:
    rig.judge(SIX + 2 * DAY)
    assert rig.open_codes() == {"check_overdue"}
    Unit.objects.filter(pk=rig.unit.pk).update(retired_on=D0)
    rig.judge(SIX + 3 * DAY)
    assert rig.open_codes() == set()


# -- a unit that cannot be judged --------------------------------------------------------------------------------------


@pytest.fixture
def second(rig: Rigged) -> Unit:
    """Another unit without a vehicle, line or duty: not ready, but it can be judged."""
    return UnitFactory(station=rig.cast.station, designation="Engine 2")


def fails_for(unit: Unit) -> Callable[..., Any]:
    real = judging.judge

    def judge(rig: Any, policy: Any, moment: Any) -> Any:
        if rig.unit_id == unit.pk:
            raise ZeroDivisionError("a fault in the arithmetic")
        return real(rig, policy, moment)

    return judge


def test_a_unit_whose_judging_raises_does_not_stop_the_rest(
    rig: Rigged, second: Unit, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig.judge(SIX + 2 * DAY)
    stood, open_before = rig.current().pk, rig.open_codes()
    monkeypatch.setattr(judging, "judge", fails_for(rig.unit))
    Unit.objects.update(judge_due=True)
    Assessment.objects.filter(unit=second).delete()
    judged = rig.judge(SIX + 3 * DAY)

    assert judged.failed == (("Engine 1", "ZeroDivisionError: a fault in the arithmetic"),)
    assert [each.unit for each in judged.units] == ["Engine 2"]
    assert Assessment.objects.filter(unit=second).get().day == D0 + 3 * DAY
    assert rig.current().pk == stood
    assert rig.current().confirmed_on == D0 + 2 * DAY  # nobody judged it on the third day
    assert rig.open_codes() == open_before | {"not_judged"}
    assert open_before == {"check_overdue"}
    assert (rig.due(), Unit.objects.get(pk=second.pk).judge_due) == (True, False)

    monkeypatch.undo()
    assert rig.judge(SIX + 3 * DAY).failed == ()
    assert rig.open_codes() == open_before
    assert one(rig, "not_judged").closed_on == D0 + 3 * DAY
    assert not rig.due()


def test_a_settings_list_that_cannot_be_read_breaks_its_own_unit_only(rig: Rigged, second: Unit) -> None:
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=["3x6"])
    stood = rig.current().pk
    judged = rig.judge(SIX + timedelta(hours=1))
    (failed,) = judged.failed
    assert failed[0] == "Engine 1"
    assert "['3x6'] were read; a list of hundredths of a percent is needed" in failed[1]
    assert [each.unit for each in judged.units] == ["Engine 2"]
    assert rig.current().pk == stood
    assert rig.open_codes() == {"not_judged"}
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=[300, 600])
    rig.judge(SIX + timedelta(hours=2))
    assert rig.open_codes() == set()


def test_a_second_night_with_the_same_broken_unit_changes_nothing(rig: Rigged, second: Unit) -> None:
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct={"3": 6})
    run_night(departments=[rig.department], clock=CLOCK)
    before = every_row()
    (night,) = run_night(departments=[rig.department], clock=StoppedClock(SIX + timedelta(hours=1)))
    assert [name for name, _ in night.failed] == ["Engine 1"]
    assert every_row() == before


# -- two at a time -----------------------------------------------------------------------------------------------------


def while_judging(monkeypatch: pytest.MonkeyPatch, happens: Callable[[], None]) -> None:
    """Something happens after the facts were read and before the verdicts are written."""
    real, once = judging.judge_fleet, [happens]

    def judge_fleet(*facts: Any) -> Any:
        verdicts = real(*facts)
        if once:
            once.pop()()
        return verdicts

    monkeypatch.setattr(judging, "judge_fleet", judge_fleet)


def test_what_was_judged_from_older_facts_is_not_written(rig: Rigged, monkeypatch: pytest.MonkeyPatch) -> None:
    """The night has read nine pails when a crew uses one, and their unit is judged at once: theirs stands."""

    def use_one() -> None:
        movements.use(rig.entry(), container=rig.pails[0], ml=PAIL_ML, account=Account.INCIDENT)
        judge_units(rig.department, [rig.unit.pk], because="foam used", clock=CLOCK)

    while_judging(monkeypatch, use_one)
    run_night(departments=[rig.department], clock=CLOCK)
    assert (rig.current().status, rig.current().because) == ("not_ready", "foam used")
    assert rig.open_codes() == {"short_of_textbook"}


def test_a_unit_that_changed_while_it_was_judged_stays_due(rig: Rigged, monkeypatch: pytest.MonkeyPatch) -> None:
    stood = rig.current().pk
    Unit.objects.filter(pk=rig.unit.pk).update(state="out")

    def back_in_service() -> None:
        Unit.objects.filter(pk=rig.unit.pk).update(state="in", judge_due=True)

    while_judging(monkeypatch, back_in_service)
    rig.judge()
    assert (rig.current().pk, rig.due()) == (stood, True)
    rig.judge()
    assert (rig.current().status, rig.due()) == ("ready", False)


# -- how many queries --------------------------------------------------------------------------------------------------


def fleet_of(cast: Cast, count: int) -> None:
    for _ in range(count):
        UnitFactory(station=cast.station, department=cast.department)


def counted(cast: Cast) -> tuple[int, int]:
    """(reads, writes) of judging the whole department."""
    with CaptureQueriesContext(connection) as seen:
        judge_units(cast.department, None, because="test", clock=CLOCK)
    statements = [each["sql"].lstrip().upper() for each in seen.captured_queries]
    reads = sum(each.startswith("SELECT") for each in statements)
    writes = sum(each.startswith(("INSERT", "UPDATE", "DELETE")) for each in statements)
    return reads, writes


def test_queries_do_not_grow_with_the_fleet(cast: Cast) -> None:
    Rigged(cast)
    fleet_of(cast, 9)
    first, quiet = counted(cast), counted(cast)
    fleet_of(cast, 50)
    Unit.objects.update(judge_due=True)
    Assessment.objects.all().delete()
    Deficiency.objects.all().delete()
    first_of_60, quiet_at_60 = counted(cast), counted(cast)
    assert (first_of_60[0], quiet_at_60) == (first[0], quiet)
    assert first[0] <= 25
    assert quiet[0] <= 25
    assert quiet[1] == 0
    rows = Assessment.objects.count() + Inputs.objects.count() + Deficiency.objects.count()
    assert rows > 60 + 60 + 3 * 59  # each of the 59 has no vehicle, line, stock, duty or check
    # Django gives SQLite at most 999 values in a statement: some fifty rows of such width
    assert first_of_60[1] <= first[1] + rows / 40
    assert Assessment.objects.filter(superseded_at=None).count() == 60


# -- by day ------------------------------------------------------------------------------------------------------------


def uses(rig: Rigged) -> None:
    movements.use(rig.entry(), container=rig.pails[0], ml=PAIL_ML, account=Account.INCIDENT)


def receives(rig: Rigged) -> None:
    made = rig.cast.pail(code="P99")
    movements.receive(rig.entry(), container=made, lot=rig.cast.lot, ml=PAIL_ML, place=rig.cast.on_unit)


def fills_a_tank_of_its_vehicle(rig: Rigged) -> None:
    made = rig.cast.tank(code="T9")  # feeds no line
    movements.receive(rig.entry(), container=made, lot=rig.cast.lot, ml=1_000, place=rig.cast.on_vehicle)


def pours(rig: Rigged) -> None:
    movements.pour(rig.entry(), source=rig.pails[0], target=rig.spare, ml=1_000)  # into a pail in the store


def moves_away(rig: Rigged) -> None:
    movements.move(rig.entry(), containers=[rig.pails[0]], place=rig.cast.store)


def quarantines(rig: Rigged) -> None:
    movements.quarantine(rig.entry(reason="seal cut"), container=rig.pails[0])


def corrects(rig: Rigged) -> None:
    first = Movement.objects.filter(kind="received").order_by("recorded_at", "id").first()
    movements.use(rig.entry(), container=rig.pails[0], ml=100, account=Account.FLOW_TEST)
    used = Movement.objects.exclude(pk=first.pk).filter(kind="used").get()
    movements.correct(rig.entry(reason="typed twice"), movement=used)


def changes_over(rig: Rigged) -> None:
    change_over(rig.department, unit=rig.unit, vehicle=rig.cast.spare_vehicle, acting=OWNER, clock=CLOCK)


def recalls(rig: Rigged) -> None:
    recall(rig.department, lot=rig.cast.lot, recalled_on=D0, reference="notice 7", acting=OWNER, clock=CLOCK)


def checks(rig: Rigged) -> None:
    rig.checked(at=SIX + timedelta(minutes=5))


def samples(rig: Rigged) -> None:
    record_sample(rig.department, lot=rig.cast.lot, taken_on=D0, passed=False, acting=OWNER, clock=CLOCK)


def samples_a_pail(rig: Rigged) -> None:
    record_sample(rig.department, container=rig.pails[0], taken_on=D0, passed=False, acting=OWNER, clock=CLOCK)


def tests_the_line(rig: Rigged) -> None:
    record_line_test(
        rig.department,
        line=rig.line,
        concentrate=rig.cast.ar,
        tested_on=D0,
        set_pct=300,
        measured_pct=250,
        passed=False,
        acting=OWNER,
        clock=CLOCK,
    )


def uses_the_line(rig: Rigged) -> None:
    record_use_of_line(rig.department, line=rig.line, at=SIX, acting=OWNER, clock=CLOCK)


# (what a person does, the status and what is wrong right after its commit)
BY_DAY = [
    (uses, "not_ready", {"short_of_textbook"}),  # 8 pails: 40 of 40.5 gal
    (receives, "ready", set()),
    (fills_a_tank_of_its_vehicle, "ready", set()),
    (pours, "ready", set()),  # 45 gal - 1,000 mL (0.264 gal) = 44.736 gal, and 44.175 are needed
    (moves_away, "not_ready", {"short_of_textbook"}),
    (quarantines, "not_ready", {"short_of_textbook"}),
    (corrects, "ready", set()),
    (changes_over, "unverified", {"check_never"}),
    (recalls, "not_ready", {"short_of_textbook"}),
    (checks, "ready", set()),
    (samples, "not_ready", {"short_of_textbook"}),
    (samples_a_pail, "not_ready", {"short_of_textbook"}),
    (tests_the_line, "not_ready", {"test_lean"}),
    (uses_the_line, "limited", {"flush_not_logged"}),
]


@pytest.mark.parametrize(("does", "status", "codes"), BY_DAY, ids=lambda each: getattr(each, "__name__", ""))
def test_what_changes_a_unit_judges_it_after_the_commit(
    rig: Rigged,
    django_capture_on_commit_callbacks: Any,
    does: Callable[[Rigged], None],
    status: str,
    codes: set[str],
) -> None:
    rig.spare = rig.cast.pail(code="S1")
    movements.receive(rig.entry(), container=rig.spare, lot=rig.cast.lot, ml=1_000, place=rig.cast.store)
    assert not rig.due()
    with django_capture_on_commit_callbacks() as callbacks:
        does(rig)
    assert rig.due()  # told inside the transaction, so that a crash before judging is seen
    assert rig.current().status == "ready"  # nothing was judged before the commit
    assert callbacks
    for callback in callbacks:
        callback()
    assert not rig.due()
    assert (rig.current().status, rig.open_codes()) == (status, codes)


def test_a_flush_a_good_test_and_an_acceptance_judge_it_again(
    rig: Rigged, django_capture_on_commit_callbacks: Any
) -> None:
    uses_the_line(rig)
    rig.judge()
    with django_capture_on_commit_callbacks(execute=True):
        record_flush_of_line(rig.department, line=rig.line, acting=OWNER, clock=CLOCK)
    assert (rig.current().status, rig.due()) == ("ready", False)

    rig.judge(SIX + 2 * DAY)
    clock = StoppedClock(SIX + 2 * DAY)
    chief = rig.cast.acting(Role.CHIEF)
    overdue = one(rig, "check_overdue")
    with django_capture_on_commit_callbacks(execute=True):
        accept(rig.department, deficiency=overdue, until=D0 + 9 * DAY, note="known", acting=chief, clock=clock)
    assert [each["accepted"] for each in rig.current().answers["verdict"]["deficiencies"]] == [True]
    with django_capture_on_commit_callbacks(execute=True):
        withdraw(rig.department, deficiency=overdue, acting=chief, clock=clock)
    assert [each["accepted"] for each in rig.current().answers["verdict"]["deficiencies"]] == [False]


def test_a_pail_that_changes_units_judges_both(
    rig: Rigged, second: Unit, django_capture_on_commit_callbacks: Any
) -> None:
    there = Place.objects.create(department=rig.department, unit=second, compartment="L1")
    rig.judge()
    with django_capture_on_commit_callbacks(execute=True):
        movements.move(rig.entry(), containers=[rig.pails[0]], place=there)
    assert rig.current().status == "not_ready"
    wrong = Deficiency.objects.filter(unit=second, closed_on=None)
    assert "no_stock" not in set(wrong.values_list("code", flat=True))
    assert Deficiency.objects.filter(unit=second, code="no_stock").get().closed_on == D0


def test_what_happens_in_the_store_judges_nobody(rig: Rigged, django_capture_on_commit_callbacks: Any) -> None:
    spare = rig.cast.pail(code="S1")
    with django_capture_on_commit_callbacks() as callbacks:
        movements.receive(rig.entry(), container=spare, lot=rig.cast.lot, ml=1_000, place=rig.cast.store)
    assert callbacks == []
    assert not rig.due()


def test_a_judging_that_fails_leaves_the_movement_posted_and_the_unit_due(
    rig: Rigged,
    django_capture_on_commit_callbacks: Any,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def broken(**_: Any) -> None:
        raise RuntimeError("the judge is out")

    monkeypatch.setattr(judging, "load_rigs", broken)
    with django_capture_on_commit_callbacks() as callbacks:
        uses(rig)
    for callback in callbacks:
        callback()
    assert "judging Quay County Fire Department after 'foam used' failed; its units stay due" in caplog.text
    assert Movement.objects.filter(kind="used").count() == 1
    assert (rig.current().status, rig.due()) == ("ready", True)
    monkeypatch.undo()
    run_night(departments=[rig.department], clock=CLOCK)
    assert (rig.current().status, rig.due()) == ("not_ready", False)


@pytest.mark.django_db(transaction=True)
def test_a_real_commit_judges_and_a_failure_of_judging_reaches_nobody(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = Rigged(cast)
    assert rig.current().status == "ready"  # each entry judged it after its own commit
    monkeypatch.setattr(judging, "load_rigs", lambda **_: 1 / 0)
    uses(rig)
    assert (Movement.objects.filter(kind="used").count(), rig.current().status, rig.due()) == (1, "ready", True)
    monkeypatch.undo()
    run_night(departments=[rig.department], clock=CLOCK)
    assert (rig.current().status, rig.due()) == ("not_ready", False)


def test_the_inputs_are_the_facts_and_come_back_as_the_same_verdict(rig: Rigged) -> None:
    """The same functions on the kept inputs give the kept answer: the page shows the working of an old one so."""
    import json
    import zlib

    from readiness.engineering.freezing import thawed
    from readiness.engineering.judging import judge
    from readiness.engineering.records import Moment, Rig
    from readiness.engineering.records import Policy as Rules
    from readiness.reports.verdicts import digest

    row = rig.current()
    facts = json.loads(zlib.decompress(bytes(row.inputs.body)))
    verdict = judge(thawed(Rig, facts["rig"]), thawed(Rules, facts["policy"]), thawed(Moment, facts["moment"]))
    assert verdict.status == "ready"
    assert verdict.answers[0].need_l == pytest.approx(44.175 * GAL, abs=1e-4)  # 95 x 3.1 % x 15
    assert len(digest(verdict)) == 32


def test_another_departments_units_are_not_touched(rig: Rigged) -> None:
    other = DepartmentFactory(name="Far County")
    Policy.objects.create(department=other)
    theirs = UnitFactory(station=StationFactory(department=other))
    rig.judge(SIX + DAY)
    theirs.refresh_from_db()
    assert theirs.judge_due
    assert not Assessment.objects.filter(unit=theirs).exists()
    assert not Deficiency.objects.filter(unit=theirs).exists()
    judged = judge_units(rig.department, [theirs.pk], because="test", clock=CLOCK)
    assert (judged.units, judged.changed, judged.failed) == ((), 0, ())
    assert not Assessment.objects.filter(unit=theirs).exists()


def test_the_day_of_a_judging_is_the_departments(rig: Rigged) -> None:
    """Before the shift change at 06:00 it is still the day before."""
    at = SIX + DAY - timedelta(minutes=1)
    judged = judge_units(rig.department, None, because="test", clock=StoppedClock(at))
    assert judged.moment.day == date(2026, 6, 15)
