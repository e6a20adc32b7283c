"""What a change of policy would do is what the night then says."""

from __future__ import annotations

from collections import Counter

import pytest

from readiness.actions.judging import judge_units
from readiness.actions.policies import POLICIES, change_policy
from readiness.engineering.records import Moment
from readiness.models import Assessment, Change, Deficiency, Fuel, Listing
from readiness.reports import policy_effects as module
from readiness.reports.policy_effects import judged_with, policy_effects
from tests.cast import CLOCK, D0, SIX, UnitFactory
from tests.judged import Rigged
from tests.keeping import desk

pytestmark = pytest.mark.django_db
MOMENT = Moment(SIX, D0)


@pytest.fixture
def rigged(cast):
    UnitFactory(station=cast.station, designation="Engine 9")  # no vehicle, no duty: not ready whatever the policy
    made = Rigged(cast)
    made.test.tested_on = D0.replace(day=1)  # 14 days old
    made.test.save()
    return made


def effects(cast, **rules):
    facts = POLICIES.read(cast.department.policy)._replace(**rules)
    return facts, policy_effects(cast.department, judged_with(facts._asdict(), ()), MOMENT, "us")


def counted(found, when):
    return {each.status: getattr(each, when) for each in found.counts if getattr(each, when)}


# Each rule changes Engine 1 in its own way: its test is 14 days old, its pails have no sample, hold-back 10 % of
# 44.175 gal makes 48.6 gal of 45 gal.
@pytest.mark.parametrize(
    ("rules", "status"),
    [
        ({"test_interval_d": 10}, "unverified"),
        ({"unit_hold_back": 1000}, "limited"),
        ({"expiry_warn_d": 3000}, "ready"),
        ({"check_interval_h": 1}, "ready"),
    ],
)
def test_the_preview_is_what_the_night_says(cast, rigged, rules, status, django_capture_on_commit_callbacks):
    assert rigged.status() == "ready"
    facts, found = effects(cast, **rules)
    assert counted(found, "before") == {"ready": 1, "not_ready": 1}
    with django_capture_on_commit_callbacks(execute=True):
        change_policy(desk(cast), facts)
    night = Counter(
        one.verdict.status for one in judge_units(cast.department, None, because="night", clock=CLOCK).units
    )
    assert counted(found, "after") == dict(night)
    assert rigged.current().status == status
    changed = {each.unit: (each.before, each.after) for each in found.changed}
    assert changed == ({"Engine 1": ("ready", status)} if status != "ready" else {})


def test_it_says_why(cast, rigged):
    _, found = effects(cast, test_interval_d=10)
    (effect,) = found.changed
    assert (effect.way, effect.gone) == ("worse", ())
    assert effect.new == ("The proportioning test of Crosslay 1 ran out (2026-06-11).",)  # 1 June + 10 days
    _, found = effects(cast, expiry_warn_d=3000)
    (effect,) = found.shifted
    assert (effect.way, effect.before, effect.after) == ("same", "ready", "ready")
    assert effect.new[0].endswith("is good through 2029-03-11.")  # 2026-06-15 + 1,000 days


def test_better_is_told_from_worse(cast, rigged):
    cast.department.policy.unit_hold_back = 1000
    cast.department.policy.save()
    _, found = effects(cast, unit_hold_back=0)
    (effect,) = found.changed
    assert (effect.way, effect.before, effect.after, effect.new) == ("better", "limited", "ready", ())
    assert "hold-back" in effect.gone[0]


def test_plain_foam_on_e10_by_policy(cast, rigged):
    cast.ar.kind = "AFFF"
    cast.ar.save()
    e10 = Fuel.objects.create(name="gasoline, E10", un="UN1203", group="blend", oxygenate_pct=1000, source="invented")
    Listing.objects.update(fuel=e10)
    rigged.duty.fuel = e10
    rigged.duty.save()
    _, found = effects(cast, plain_on_e10="limited")
    assert [(each.unit, each.before, each.after) for each in found.changed] == [("Engine 1", "not_ready", "limited")]


def test_nothing_is_written_and_nothing_differs_by_the_same_policy(cast, rigged):
    before = Change.objects.count(), Assessment.objects.count(), Deficiency.objects.count()
    _, found = effects(cast)
    assert (found.changed, found.shifted) == ((), ())
    assert (Change.objects.count(), Assessment.objects.count(), Deficiency.objects.count()) == before


def test_one_that_cannot_be_judged_is_counted_as_such(cast, rigged, monkeypatch):
    judged = module.judge

    def fails(rig, policy, moment):
        if rig.name == "Engine 1" and policy.test_interval_d == 10:
            raise ZeroDivisionError
        return judged(rig, policy, moment)

    monkeypatch.setattr(module, "judge", fails)
    _, found = effects(cast, test_interval_d=10)
    assert counted(found, "after") == {"not_judged": 1, "not_ready": 1}
    assert found.changed[0].new == ("It could not be judged.",)


def test_queries_do_not_grow_with_the_fleet(cast, rigged, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        effects(cast, test_interval_d=10)
    for n in range(10, 30):
        UnitFactory(station=cast.station, designation=f"Engine {n}")
    with django_assert_num_queries(len(few)):
        effects(cast, test_interval_d=10)
