"""The policy: changed by a chief, kept with old and new, and everybody is judged by it."""

from __future__ import annotations

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.permissions import NotAllowed
from readiness.actions.policies import BOUNDS, POLICIES, PolicyFacts, change_policy
from readiness.models import Assessment, Policy, Role
from readiness.models.policy import RULES
from tests.cast import UnitFactory
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db


@pytest.fixture
def facts(cast):
    return POLICIES.read(cast.department.policy)


def test_every_rule_is_a_fact_of_the_policy():
    assert set(PolicyFacts._fields) == set(RULES)
    numbers = {
        name for name, rule in RULES.items() if isinstance(rule.default, int) and not isinstance(rule.default, bool)
    }
    assert set(BOUNDS) == numbers
    assert all(least <= RULES[name].default <= most for name, (least, most) in BOUNDS.items())


def test_a_change_is_kept_and_everybody_is_judged(cast, facts, django_capture_on_commit_callbacks):
    UnitFactory(station=cast.station, designation="Engine 9")
    all_judged()
    with django_capture_on_commit_callbacks(execute=False) as later:
        change_policy(desk(cast), facts._replace(check_interval_h=12, plain_on_e10="limited"))
        assert due() == {"Engine 1", "Engine 9"}
    for each in later:
        each()
    assert set(Assessment.objects.values_list("because", flat=True)) == {"change of policy"}
    assert last_change() == (
        "change policy",
        {"check_interval_h": 24, "plain_on_e10": "no"},
        {"check_interval_h": 12, "plain_on_e10": "limited"},
    )
    assert Policy.objects.get(department=cast.department).check_interval_h == 12


@pytest.mark.parametrize("role", [role for role in Role if role != Role.CHIEF])
def test_only_a_chief_changes_the_policy(cast, facts, role):
    with pytest.raises(NotAllowed):
        change_policy(desk(cast, role), facts._replace(check_interval_h=12))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *((name, most + 1) for name, (_, most) in BOUNDS.items()),
        *((name, least - 1) for name, (least, _) in BOUNDS.items()),
        ("rich_end", "rich"),
        ("plain_on_e10", "yes"),
    ],
)
def test_a_rule_beyond_reason_is_refused(cast, facts, name, value):
    assert name in faults(POLICIES, cast, facts._replace(**{name: value}), cast.department.policy)


def test_two_chiefs_do_not_overwrite_each_other(cast, facts):
    seen = POLICIES.seen(cast.department.policy)
    change_policy(desk(cast), facts._replace(check_interval_h=12), seen=seen)
    with pytest.raises(Refused, match="Somebody changed it since"):
        change_policy(desk(cast), facts._replace(test_interval_d=100), seen=seen)
    assert Policy.objects.get(department=cast.department).test_interval_d == 365
