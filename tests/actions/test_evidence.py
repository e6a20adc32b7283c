"""Samples and proportioning tests: what each does to a unit's status, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from readiness.actions import movements
from readiness.actions.drafts import Refused
from readiness.actions.evidence import (
    record_flush_of_line,
    record_foam_test,
    record_line_test,
    record_sample,
    record_sample_result,
    record_use_of_line,
)
from readiness.actions.keeping import Desk
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.actions.policies import set_sample_limits
from readiness.engineering.sample_limits import L1
from readiness.models import Change, Concentrate, FoamLine, FoamTest, LineTest, Listing, Lot, Policy, Role, Sample
from tests.actions.small_department import every_row
from tests.cast import CLOCK, D0, SIX, Cast, ConcentrateFactory, DepartmentFactory, LotFactory
from tests.judged import GAL, Rigged

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    made = Rigged(cast)
    made.judge()
    return made


def sample(rig: Rigged, passed: bool | None, days: int = 0, **values: object) -> Sample:
    of = values or {"lot": rig.cast.lot}
    return record_sample(
        rig.department, taken_on=D0 + days * DAY, passed=passed, report="LAB-1", acting=OWNER, clock=CLOCK, **of
    )


def line_test(rig: Rigged, measured: int, days: int = 0, **values: object) -> LineTest:
    given = {"line": rig.line, "concentrate": rig.cast.ar, "set_pct": 300, "passed": True, **values}
    return record_line_test(
        rig.department,
        tested_on=D0 + days * DAY,
        measured_pct=measured,
        acting=OWNER,
        clock=CLOCK,
        **given,
    )


# -- samples -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("passed", "values", "recorded"),
    [
        (None, {"ph": 6.9}, False),  # row L1: 7.0 to 8.5
        (None, {"ph": 7.0}, None),  # within: proves no pass, still awaited
        (True, {"ph": 6.9}, True),  # the laboratory's answer goes first
        (False, {"ph": 7.5}, False),
        (None, {"density": 1.08, "declared_density": 1.02}, False),  # ±5 % is 0.969 to 1.071
        (None, {"density": 1.08}, None),  # declared nowhere
    ],
)
def test_values_of_a_report(rig: Rigged, passed: bool | None, values: dict[str, float], recorded: bool | None) -> None:
    made = sample(rig, passed, lot=rig.cast.lot, measured=values)
    assert made.passed is recorded
    assert made.measured == values
    assert (rig.status() == "ready") is (recorded is not False)


def test_the_declared_density_is_the_concentrate_s_own(rig: Rigged) -> None:
    """1.02 declared: 1.08 is above 1.071 (±5 %)."""
    Concentrate.objects.filter(pk=rig.cast.ar.pk).update(density_kg_l=1.02)
    lot = Lot.objects.get(pk=rig.cast.lot.pk)
    made = sample(rig, None, lot=lot, measured={"density": 1.08})
    assert (made.passed, made.measured["declared_density"]) == (False, 1.02)


def test_a_department_s_own_limits(rig: Rigged) -> None:
    """Row L2 allows pH 6.0 to 9.5: a department that takes it over has 6.9 within."""
    desk = Desk(rig.department, OWNER, CLOCK)
    set_sample_limits(desk, L1._replace(ph_low=6.0, ph_high=9.5))
    assert Policy.objects.get(department=rig.department).sample_limits == {"ph_low": 6.0, "ph_high": 9.5}
    assert sample(rig, None, lot=rig.cast.lot, measured={"ph": 6.9}).passed is None
    assert sample(rig, None, lot=rig.cast.lot, measured={"ph": 5.9}).passed is False
    set_sample_limits(desk, L1)
    assert Policy.objects.get(department=rig.department).sample_limits == {}
    with pytest.raises(Refused, match="the lower comes first"):
        set_sample_limits(desk, L1._replace(ph_low=9.0))
    with pytest.raises(NotAllowed):
        set_sample_limits(desk._replace(acting=rig.cast.acting(Role.LOGISTICS)), L1)


def test_values_that_cannot_be_are_refused(rig: Rigged) -> None:
    with pytest.raises(Refused, match="cannot be"):
        sample(rig, None, lot=rig.cast.lot, measured={"ph": 15.0})
    assert not Sample.objects.exists()


def test_the_answer_brings_its_values(rig: Rigged) -> None:
    waiting = sample(rig, None)
    given = {"passed": True, "report": "LAB-2", "measured": {"ph": 7.4}}
    made = record_sample_result(rig.department, sample=waiting, acting=OWNER, clock=CLOCK, **given)
    assert (made.passed, made.measured) == (True, {"ph": 7.4})


def test_a_failed_sample_ends_a_lot_at_once(rig: Rigged) -> None:
    sample(rig, False)
    assert rig.status() == "not_ready"
    assert rig.usable_gal() == 0
    assert "sample_failed" in rig.open_notes()


def test_a_failed_sample_of_one_pail_ends_that_pail(rig: Rigged) -> None:
    sample(rig, False, container=rig.pails[0])
    rig.judge()
    assert rig.usable_gal() == pytest.approx(40, abs=0.003)  # eight pails


def test_a_sample_that_waits_changes_nothing_until_its_result(rig: Rigged) -> None:
    waiting = sample(rig, None)
    assert rig.judge().changed == 0
    record_sample_result(rig.department, sample=waiting, passed=False, report="LAB-2", acting=OWNER, clock=CLOCK)
    assert rig.status() == "not_ready"
    waiting.refresh_from_db()
    assert (waiting.passed, waiting.report) == (False, "LAB-2")
    assert Change.objects.filter(action="sample result").get().new == {"passed": False, "report": "LAB-2"}


def test_a_newer_sample_that_waits_leaves_the_older_result_standing(rig: Rigged) -> None:
    sample(rig, False, days=-10)
    sample(rig, None)
    assert rig.status() == "not_ready"
    sample(rig, True)
    assert rig.status() == "ready"


def test_a_passed_sample_carries_a_lot_past_the_makers_date(rig: Rigged) -> None:
    """Maker's date yesterday: out. Sampled today: good for 365 days, so through D0 + 365."""
    Lot.objects.filter(pk=rig.cast.lot.pk).update(makers_date=D0 - DAY)
    assert rig.status() == "not_ready"
    sample(rig, True)
    assert rig.status() == "ready"
    answer = rig.current().answers["verdict"]["answers"][0]
    assert answer["usable_l"] / GAL == pytest.approx(45, abs=0.003)


def test_an_answer_comes_once(rig: Rigged) -> None:
    done = sample(rig, True)
    before = every_row()
    with pytest.raises(Refused, match="has its answer already: record a new sample"):
        record_sample_result(rig.department, sample=done, passed=False, report="", acting=OWNER, clock=CLOCK)
    assert every_row() == before


def test_a_sample_is_of_one_thing_of_this_department(rig: Rigged) -> None:
    far = LotFactory(concentrate=ConcentrateFactory(department=DepartmentFactory()))
    before = every_row()
    with pytest.raises(Refused, match="A sample is of a lot or of one container: name one of them"):
        sample(rig, True, lot=rig.cast.lot, container=rig.pails[0])
    with pytest.raises(Refused, match="A sample is of a lot or of one container: name one of them"):
        sample(rig, True, lot=None)
    with pytest.raises(Refused, match="There is no such lot or container in Quay County Fire Department"):
        sample(rig, True, lot=far)
    with pytest.raises(Refused, match=r"2026-06-16 was read, which lies in the future \(today is 2026-06-15\)"):
        sample(rig, True, days=1)
    assert every_row() == before


# -- proportioning tests -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("measured", "status", "codes", "need_gal"),
    [
        (300, "ready", set(), 42.75),  # 95 x 3.0 % x 15
        (310, "ready", set(), 44.175),  # 95 x 3.1 % x 15
        (299, "not_ready", {"test_lean"}, 42.75),  # lean never shrinks the need: still 95 x 3.0 % x 15
        (390, "limited", {"runs_dry"}, 55.575),  # 95 x 3.9 % x 15; 45 of it, textbook 40.5; 3.9 = 1.3 x 3 is allowed
        (391, "not_ready", {"test_rich"}, 55.7175),  # 95 x 3.91 % x 15
    ],
)
def test_what_a_test_does(rig: Rigged, measured: int, status: str, codes: set[str], need_gal: float) -> None:
    """Band of an engine's line at 3 %: 3.0 to 3.9 % (p to the lesser of 1.3 p and p + 1 point)."""
    line_test(rig, measured)
    assert rig.status() == status
    assert rig.open_codes() >= codes
    assert rig.current().answers["verdict"]["answers"][0]["need_l"] / GAL == pytest.approx(need_gal, abs=1e-4)


def test_a_lean_test_with_one_concentrate_leaves_the_other_alone(rig: Rigged) -> None:
    """The line is tested lean with Class A, which nobody counts on for gasoline."""
    line_test(rig, 250, concentrate=rig.cast.class_a)
    assert rig.status() == "ready"


def test_a_lean_test_at_another_setting_leaves_this_one_alone(rig: Rigged) -> None:
    line_test(rig, 500, set_pct=600)
    assert rig.status() == "ready"


@pytest.mark.parametrize(("band", "status"), [("standard", "not_ready"), ("vehicle", "ready")])
def test_which_band_a_test_is_held_against(rig: Rigged, band: str, status: str) -> None:
    """2.9 % passes an airport vehicle's 2.8 to 3.5 (from memory) and fails an engine's 3.0 to 3.9."""
    line_test(rig, 290, band=band)
    assert rig.status() == status


def test_a_test_recorded_as_failed_fails_whatever_it_measured(rig: Rigged) -> None:
    line_test(rig, 310, passed=False)
    assert rig.status() == "not_ready"
    assert "test_failed" in rig.open_codes()


def test_the_newest_test_counts_even_when_it_is_entered_first(rig: Rigged) -> None:
    line_test(rig, 250, days=0)
    line_test(rig, 310, days=-5)
    assert rig.status() == "not_ready"


def test_what_was_converted_is_tested_again(rig: Rigged) -> None:
    """The test of 60 days ago says nothing of a line converted 10 days ago; one made since does."""
    FoamLine.objects.filter(pk=rig.line.pk).update(converted_on=D0 - 10 * DAY)
    assert rig.status() == "unverified"
    line_test(rig, 310, days=-10)
    assert rig.status() == "ready"


def test_a_test_runs_out(rig: Rigged) -> None:
    """Tested on D0 - 60, good for 365 days: through D0 + 305."""
    last = SIX + 305 * DAY
    rig.checked(at=last)
    assert rig.status(last) == "ready"
    rig.checked(at=last + DAY)
    assert rig.status(last + DAY) == "unverified"
    assert rig.open_codes() == {"test_overdue"}


def test_tests_of_tomorrow_and_of_others_are_refused(rig: Rigged) -> None:
    far: Concentrate = ConcentrateFactory(department=DepartmentFactory())
    before = every_row()
    with pytest.raises(Refused, match="2026-06-16 was read, which lies in the future"):
        line_test(rig, 310, days=1)
    with pytest.raises(Refused, match="There is no such line or concentrate in Quay County Fire Department"):
        line_test(rig, 310, concentrate=far)
    assert every_row() == before


def test_a_use_and_its_flush(rig: Rigged) -> None:
    record_use_of_line(rig.department, line=rig.line, at=SIX, acting=rig.cast.acting(Role.CREW), clock=CLOCK)
    assert rig.status() == "limited"
    record_flush_of_line(rig.department, line=rig.line, acting=rig.cast.acting(Role.CREW), clock=CLOCK)
    assert rig.status() == "ready"
    assert list(Change.objects.order_by("id").values_list("action", flat=True))[-2:] == ["use line", "flush line"]


SAMPLERS, TESTERS, HANDS = (
    {Role.LOGISTICS, Role.CHIEF},
    {Role.OFFICER, Role.LOGISTICS, Role.INSTRUCTOR, Role.CHIEF},
    set(Role) - {Role.OBSERVER},
)


@pytest.mark.parametrize("role", list(Role))
def test_who_may(rig: Rigged, role: Role) -> None:
    """Design section 7: evidence is logistics' and the chief's; tests also officers' and instructors'."""
    acting = rig.cast.acting(role)
    of = rig.department

    def may(may_they: bool, does: Callable[[], object]) -> None:
        if may_they:
            does()
        else:
            with pytest.raises(NotAllowed):
                does()

    may(
        role in SAMPLERS,
        lambda: record_sample(of, lot=rig.cast.lot, taken_on=D0, passed=True, acting=acting, clock=CLOCK),
    )
    may(
        role in TESTERS,
        lambda: record_line_test(
            of,
            line=rig.line,
            concentrate=rig.cast.ar,
            tested_on=D0,
            set_pct=300,
            measured_pct=310,
            passed=True,
            acting=acting,
            clock=CLOCK,
        ),
    )
    may(role in HANDS, lambda: record_flush_of_line(of, line=rig.line, acting=acting, clock=CLOCK))


def test_a_sample_of_a_lot_in_the_store_judges_nobody(rig: Rigged, django_capture_on_commit_callbacks: Any) -> None:
    spare = rig.cast.pail(code="S1")
    movements.receive(rig.entry(), container=spare, lot=rig.cast.other_lot, ml=1_000, place=rig.cast.store)
    with django_capture_on_commit_callbacks() as callbacks:
        sample(rig, False, lot=rig.cast.other_lot)
    assert callbacks == []


# -- foam tests --------------------------------------------------------------------------------------------------------


def foam_test(rig: Rigged, grams: float, days: int = 0, **values: object) -> FoamTest:
    """A 1,000 mL cylinder; a quarter drains by reading no. 19 of the reference list."""
    read = {"drained": [(0.0, 0.0), (1.0, 8.0), (2.0, 20.0), (3.0, 33.0), (4.0, 45.0), (5.0, 55.0)], **values}
    return record_foam_test(
        rig.department,
        line=rig.line,
        concentrate=rig.cast.ar,
        tested_on=D0 + days * DAY,
        foam_ml=1000.0,
        foam_g=grams,
        acting=OWNER,
        clock=CLOCK,
        **read,
    )


def test_a_foam_test_that_fails_the_listing_is_not_ready_at_once(
    rig: Rigged, django_capture_on_commit_callbacks: Any
) -> None:
    """250 g in 1,000 mL is expansion 4 where the listing states 5; a passed test of a later day answers it."""
    Listing.objects.update(expansion=5.0, quarter_min=3.0)
    with django_capture_on_commit_callbacks(execute=True):
        made = foam_test(rig, 250.0, -10)
    assert made.watched_min == 5.0
    assert (rig.current().status, rig.current().because) == ("not_ready", "foam test")
    assert rig.open_codes() == {"foam_thin"}
    with django_capture_on_commit_callbacks(execute=True):
        foam_test(rig, 200.0)
    assert (rig.current().status, rig.open_codes()) == ("ready", set())


def test_a_failed_drainage_stands_until_a_drainage_answers_it(
    rig: Rigged, django_capture_on_commit_callbacks: Any
) -> None:
    """200 g: 50 mL is a quarter, drained at 4.5 min where 5 are asked. Weighed again without a drainage; then 5.5."""
    Listing.objects.update(expansion=5.0, quarter_min=5.0)
    with django_capture_on_commit_callbacks(execute=True):
        foam_test(rig, 200.0, -10)
    assert rig.open_codes() == {"foam_drains"}
    with django_capture_on_commit_callbacks(execute=True):
        foam_test(rig, 200.0, -8, drained=[])
        foam_test(rig, 200.0, -7, drained=[(0.0, 0.0), (2.0, 20.0)])
    assert rig.open_codes() == {"foam_drains"}
    with django_capture_on_commit_callbacks(execute=True):
        foam_test(rig, 200.0, -5, drained=[(0.0, 0.0), (5.0, 45.0), (6.0, 55.0)])
    assert (rig.current().status, rig.open_codes()) == ("ready", set())


def test_an_older_foam_test_does_not_answer_a_failed_one(rig: Rigged, django_capture_on_commit_callbacks: Any) -> None:
    Listing.objects.update(expansion=5.0)
    with django_capture_on_commit_callbacks(execute=True):
        foam_test(rig, 250.0)
        foam_test(rig, 200.0, -10)
    assert rig.open_codes() == {"foam_thin"}


def test_foam_tests_are_asked_for_by_policy_alone(rig: Rigged) -> None:
    assert rig.status() == "ready"
    Policy.objects.update(foam_test_interval_d=365)
    assert (rig.status(), rig.open_codes()) == ("unverified", {"foam_test_never"})
    foam_test(rig, 200.0, -10)
    assert rig.status() == "ready"
    Policy.objects.update(foam_test_interval_d=5)
    assert (rig.status(), rig.open_codes()) == ("unverified", {"foam_test_overdue"})
