"""Who sees to a deficiency, and by when: state, change, then each refusal."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions.deficiencies import assign_deficiency
from readiness.actions.drafts import Refused
from readiness.actions.permissions import NotAllowed
from readiness.models import Change, Deficiency, Membership, Role
from tests.cast import CLOCK, D0, SIX, Cast

pytestmark = pytest.mark.django_db
FRIDAY = D0 + timedelta(days=4)


@pytest.fixture
def row(cast: Cast) -> Deficiency:
    return Deficiency.objects.create(
        department=cast.department,
        unit=cast.unit,
        code="setting_not_parked",
        subject_kind="line",
        subject_id=1,
        severity="limited",
        since_on=D0,
        opened_at=SIX,
        seen_on=D0,
    )


def assign(cast, row, *, role=Role.OFFICER, owner=None, due_on=None):
    return assign_deficiency(
        cast.department, deficiency=row, owner=owner, due_on=due_on, acting=cast.acting(role), clock=CLOCK
    )


def test_an_officer_names_who_and_when_and_the_change_is_kept(cast, row):
    tom = cast.people[Role.OFFICER]
    assign(cast, row, owner=tom, due_on=FRIDAY)
    row.refresh_from_db()
    assert (row.owner, row.due_on) == (tom, FRIDAY)
    change = Change.objects.get(action="assign deficiency")
    assert (change.by, change.at, change.subject_kind, change.subject_id) == (tom, SIX, "deficiency", str(row.pk))
    assert (change.old, change.new) == (
        {"owner": None, "due_on": None},
        {"owner": tom.pk, "due_on": FRIDAY.isoformat()},
    )


def test_the_same_again_is_no_change_and_nothing_takes_the_name_away(cast, row):
    tom = cast.people[Role.OFFICER]
    for _ in range(2):
        assign(cast, row, owner=tom, due_on=FRIDAY)
    assert Change.objects.count() == 1
    assign(cast, row)
    row.refresh_from_db()
    assert (row.owner, row.due_on) == (None, None)


@pytest.mark.parametrize("role", [Role.CREW, Role.INSTRUCTOR, Role.OBSERVER])
def test_who_may_not(cast, row, role):
    with pytest.raises(NotAllowed):
        assign(cast, row, role=role, due_on=FRIDAY)


def refused(cast, row, **values) -> str:
    with pytest.raises(Refused) as caught:
        assign(cast, row, **values)
    row.refresh_from_db()
    assert (row.owner, row.due_on, Change.objects.count()) == (None, None, 0)
    return str(caught.value)


def test_a_stranger_a_former_member_a_past_day_and_a_cured_one_are_refused(cast, row):
    assert "is no member" in refused(cast, row, owner=cast.outsider)
    left = cast.people[Role.CREW]
    Membership.objects.filter(user=left).update(to_on=D0)
    assert "is no member" in refused(cast, row, owner=left)
    assert "2026-06-14 was read, which is past (today is 2026-06-15)" in refused(
        cast, row, due_on=D0 - timedelta(days=1)
    )
    Deficiency.objects.update(closed_on=D0)
    assert "was cured on 2026-06-15" in refused(cast, row, due_on=FRIDAY)


def test_a_day_that_has_passed_since_may_stay_when_the_owner_changes(cast, row):
    Deficiency.objects.update(due_on=D0 - timedelta(days=3))
    assign(cast, row, owner=cast.people[Role.OFFICER], due_on=D0 - timedelta(days=3))
    row.refresh_from_db()
    assert row.owner == cast.people[Role.OFFICER]
