"""The places of an inventory under way lead to their sheets for who may count, and for nobody else."""

from __future__ import annotations

import pytest

from readiness.actions.inventories import Scope, open_inventory
from readiness.models import Role
from tests.cast import CLOCK


@pytest.mark.django_db
def test_places_lead_to_their_sheets_for_who_may_count(cast, as_role):
    row = open_inventory(cast.department, Scope(cast.station, whole=False), acting=cast.acting(Role.CHIEF), clock=CLOCK)
    for role, there in ((Role.CREW, True), (Role.OBSERVER, False)):
        page = as_role(role).get(f"/inventories/{row.pk}/").content.decode()
        assert (f"/inventories/{row.pk}/places/" in page) is there, role
