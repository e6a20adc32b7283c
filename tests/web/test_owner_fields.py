"""A field that offers a department's places keeps nothing of the department that was shown it before."""

from __future__ import annotations

import pytest

from readiness.models import Role, User
from readiness.web import access
from readiness.web.column_fields import RigField
from readiness.web.entries import OwnerField
from tests.cast import Cast, StationFactory, UnitFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("field_class", [OwnerField, RigField])
def test_one_department_s_places_are_not_another_s(cast: Cast, rf, field_class: type) -> None:
    UnitFactory(station=StationFactory(department=cast.other_department))
    declared, found = field_class(), []
    for user in (cast.people[Role.CHIEF], User.objects.get(username="rex.marsh")):
        request = rf.get("/")
        request.user, request.session = user, {}
        field = declared.__deepcopy__({})  # as Django makes one for each form
        field.settle(access.here(request))
        found.append({owner.department_id for owner in field.owners.values()})
    assert found == [{cast.department.pk}, {cast.other_department.pk}]
