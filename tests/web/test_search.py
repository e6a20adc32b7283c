"""Search: straight to the thing, or a list."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from readiness.models import Assignment, Role
from tests.cast import SIX, ContainerFactory
from tests.web.conftest import as_person
from tests.web.entering import stocked, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def officer(as_role):
    """The logistics officer's browser."""
    return as_role(Role.LOGISTICS)


def find(client, asked):
    return client.get(reverse("search"), {"q": asked})


def test_a_label_code_a_lot_and_a_unit_lead_straight_there(cast, officer):
    pail = stocked(cast, "P-0101")
    for asked, address in (
        ("p-0101", reverse("container", args=[pail.pk])),
        (" AR-2 ", reverse("lot", args=[cast.other_lot.pk])),
        ("engine 1", reverse("unit", args=[cast.unit.pk])),
    ):
        assert find(officer, asked).headers["Location"] == address, asked


def test_a_shop_number_leads_to_the_unit_that_runs_on_it_tonight(cast, officer):
    Assignment.objects.create(department=cast.department, unit=cast.unit, vehicle=cast.spare_vehicle, from_at=SIX)
    assert find(officer, "209").headers["Location"] == reverse("unit", args=[cast.unit.pk])
    # nobody runs on 201: what stands on it
    assert find(officer, "201").headers["Location"] == f"{reverse('containers')}?q=vehicle+201"


def test_an_exact_name_goes_before_those_that_only_contain_it(cast, officer):
    pail = stocked(cast, "P-01")
    stocked(cast, "P-011")
    assert find(officer, "P-01").headers["Location"] == reverse("container", args=[pail.pk])


def test_several_are_listed_and_none_is_said(cast, officer):
    for code in ("P-0101", "P-0102"):
        stocked(cast, code)
    page = words(find(officer, "P-01"))
    assert "2 things have “P-01” in the name" in page
    assert "no container, lot, unit or vehicle has it in its name" in words(find(officer, "<b>"))
    assert find(officer, "").status_code == 200


def test_another_department_is_not_searched(cast, officer):
    ContainerFactory(department=cast.other_department, code="X-9")
    assert "no container, lot, unit or vehicle" in words(find(officer, "X-9"))
    stocked(cast, "P-0101")
    assert "no container, lot, unit or vehicle" in words(find(as_person(cast.outsider), "P-0101"))


def test_everybody_may_search_and_a_stranger_may_not(cast, as_role, client):
    for role in Role:
        assert find(as_role(role), "nothing").status_code == 200
    assert find(client, "nothing").status_code == 302


def test_the_queries_do_not_grow(cast, officer):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            find(officer, "P-")
        return len(caught)

    for code in ("P-1", "P-2"):
        stocked(cast, code)
    few = queries()
    for number in range(3, 9):
        stocked(cast, f"P-{number}")
    assert queries() == few
