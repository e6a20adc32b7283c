"""Who gets to which record: one's own department's, nobody else's, and only through web/access.py."""

from __future__ import annotations

from datetime import date

import pytest
from django.http import Http404, HttpResponse
from django.test import Client, RequestFactory, override_settings
from django.urls import path

from readiness.actions.permissions import MAY, NotAllowed, require
from readiness.models import Container, Holding, Membership, Role, Unit
from readiness.web import access, accounts, people
from tests.cast import D0, SIX, Cast, ContainerFactory
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db


def present(cast: Cast, role: Role = Role.CHIEF) -> access.Here:
    request = RequestFactory().get("/")
    request.user = cast.people[role]
    request.session = {}
    return access.here(request)


@access.may("receive")
def receiving(request, here):
    return HttpResponse(f"{here.role.label} of {here.department}")


@access.signed_in
def changing(request, here):
    require(here.acting, here.department, "receive")  # as an action does
    return HttpResponse("done")


def unguarded(request):
    return HttpResponse("seen")


urlpatterns = [
    *accounts.urlpatterns,
    *people.urlpatterns,
    path("receiving/", receiving),
    path("changing/", changing),
    path("unguarded/", unguarded),
]
handler404 = "readiness.web.errors.not_found"
here_urls = override_settings(ROOT_URLCONF=__name__)


def test_here_tells_who_where_as_what_and_when(cast):
    here = present(cast, Role.LOGISTICS)
    assert (here.user, here.department, here.role) == (cast.people[Role.LOGISTICS], cast.department, Role.LOGISTICS)
    assert (here.now, here.day, here.today, here.units) == (SIX, D0, D0, "us")
    assert (here.may("receive"), here.may("accept")) == (True, False)


def test_another_departments_record_does_not_exist(cast):
    own = cast.pail(code="P1")
    other = ContainerFactory(department=cast.other_department, code="P2")
    here = present(cast)
    assert access.get(Container, here, pk=own.pk) == own
    with pytest.raises(Http404):
        access.get(Container, here, pk=other.pk)
    with pytest.raises(Http404):
        access.get(Container, here, code="P2")
    assert list(access.rows(Container, here)) == [own]


def test_an_address_that_can_be_no_id_does_not_exist(cast):
    here = present(cast)
    for nonsense in ("x", "10" * 30, "-1"):
        with pytest.raises(Http404):
            access.get(Unit, here, pk=nonsense)


def test_rows_without_a_department_of_their_own_are_reached_by_their_owner(cast):
    own, other = cast.pail(contents_ml=0), ContainerFactory(department=cast.other_department)
    for container in (own, other):
        Holding.objects.create(container=container, lot=cast.lot, ml=5)
    found = access.rows(Holding, present(cast), by="container__department")
    assert [holding.container for holding in found] == [own]


def test_an_action_that_is_not_in_the_table_of_permissions_fails_at_once():
    with pytest.raises(KeyError):
        access.may("recieve")


@here_urls
@pytest.mark.parametrize("role", Role)
def test_a_form_opens_for_whose_role_may_and_is_403_for_others(cast, as_role, role):
    answer = as_role(role).get("/receiving/")
    assert answer.status_code == (200 if role in MAY["receive"] else 403)
    if answer.status_code == 403:
        assert f"as {role.label} you may not" in answer.content.decode()
        assert "chief, logistics officer" in answer.content.decode()


@here_urls
def test_what_an_action_refuses_becomes_a_403_with_its_sentence(cast, as_role):
    answer = as_role(Role.CREW).post("/changing/")
    assert answer.status_code == 403
    assert "To receive is for: chief, logistics officer; as crew you may not." in answer.content.decode()
    assert as_role(Role.CHIEF).post("/changing/").content == b"done"


@here_urls
def test_a_view_that_forgot_to_ask_is_still_behind_the_sign_in(cast):
    answer = Client().get("/unguarded/?a=1")
    assert (answer.status_code, answer["Location"]) == (302, "/sign-in/?next=/unguarded/%3Fa%3D1")
    assert as_person(cast.outsider).get("/unguarded/").content == b"seen"


@here_urls
def test_an_ended_membership_ends_the_session(cast, as_role):
    client = as_role(Role.CREW)
    assert client.get("/account/").status_code == 200
    Membership.objects.filter(user=cast.people[Role.CREW]).update(to_on=D0)
    answer = client.get("/account/")
    assert answer.status_code == 403
    assert "Your membership in this department has ended" in answer.content.decode()
    assert client.get("/account/").status_code == 302, "signed out, not only refused"


def test_a_closed_department_lets_nobody_in(cast, as_role):
    cast.department.closed_on = D0
    cast.department.save()
    assert as_role(Role.CHIEF).get("/account/").status_code == 403


def test_who_belongs_to_two_departments_chooses_one(cast):
    person = cast.people[Role.CHIEF]
    Membership.objects.create(user=person, department=cast.other_department, role=Role.CREW, from_on=date(2020, 1, 1))
    client = as_person(person)
    assert "Far County" in client.get("/account/").context["here"].department.name, "the first by name"
    client.post("/account/department/", {"department": cast.department.pk})
    here = client.get("/account/").context["here"]
    assert (here.department, here.role) == (cast.department, Role.CHIEF)


@pytest.mark.parametrize("nonsense", ["999999", "x", ""])
def test_a_department_of_others_cannot_be_chosen(cast, as_role, nonsense):
    client = as_role(Role.CREW)
    for asked in (cast.other_department.pk, nonsense):
        client.post("/account/department/", {"department": asked})
        assert client.get("/account/").context["here"].department == cast.department


def test_nobody_is_told_that_nobody_is_signed_in(rf):
    request = rf.get("/")
    request.user = None
    with pytest.raises(NotAllowed, match="sign in first"):
        access.here(request)
