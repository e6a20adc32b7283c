"""The policy: changed by a chief, kept with old and new, and everybody is judged by it."""

from __future__ import annotations

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.permissions import NotAllowed
from readiness.actions.policies import BOUNDS, POLICIES, PolicyFacts, change_policy, turn_pack
from readiness.models import Assessment, Duty, Policy, Role
from readiness.models.policy import RULES
from tests.cast import UnitFactory
from tests.judged import Rigged
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


def test_an_airport_vehicle_s_band_holds_its_setting(cast, facts):
    """From memory 2.8 to 3.5 and 5.5 to 7.0; a band that does not hold 3 %, or is turned round, is refused."""
    change_policy(desk(cast), facts._replace(vehicle_3_least=290))
    assert Policy.objects.get(department=cast.department).vehicle_3_least == 290
    facts = facts._replace(vehicle_3_least=290)
    for wrong in ({"vehicle_3_least": 310}, {"vehicle_3_most": 290}, {"vehicle_6_least": 700, "vehicle_6_most": 550}):
        (name,) = faults(POLICIES, cast, facts._replace(**wrong), cast.department.policy)
        assert name in ("vehicle_3_least", "vehicle_6_least")


def test_turning_a_pack_judges_what_is_planned_by_it(cast, django_capture_on_commit_callbacks):
    rigged = Rigged(cast)
    Duty.objects.update(rule="deck", largest_tank_m2=10, monitor_area_m2=10, inert_gas=True)
    assert rigged.status() == "unverified"
    assert "pack_off" in rigged.open_codes()
    with django_capture_on_commit_callbacks(execute=True):
        turn_pack(desk(cast), "marine", on=True)
    assert rigged.current().because == "region pack"
    assert "pack_off" not in rigged.open_codes()
    # 95 gpm where the code asks for 1,250 L/min; and 20 min of it take 58.9 gal of the 45 aboard
    assert rigged.open_codes() == {"monitor_small", "runs_dry"}
    with django_capture_on_commit_callbacks(execute=True):
        turn_pack(desk(cast), "fluorine", on=True)  # a calendar: nobody is judged by it
    assert rigged.open_codes() == {"monitor_small", "runs_dry"}
