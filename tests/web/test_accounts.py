"""Signing in, the throttle, passwords, invitations, roles and their end: the state, the change row, then the page."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from readiness.actions import people
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import MAY, NotAllowed
from readiness.models import Change, Membership, Role, SignInAttempt, User
from readiness.web import access, navigation
from tests.cast import CLOCK, D0, SIX, Cast
from tests.web.conftest import as_person

pytestmark = pytest.mark.django_db

PASSWORD = "quay-foam-2026"
OTHER_PASSWORD = "hollow-nozzle-77"


@pytest.fixture(autouse=True)
def _mail_goes_out(settings) -> None:
    """As where EMAIL_URL is set; Django keeps the mail of tests in an outbox."""
    settings.MAIL_IS_SENT = True


@pytest.fixture
def wren(cast: Cast) -> User:
    """The crew's person, with a password."""
    user = cast.people[Role.CREW]
    user.set_password(PASSWORD)
    user.email = "wren@quay.example"
    user.save()
    return user


def sign_in(client: Client, name: str, password: str, **more: str):
    return client.post("/sign-in/", {"name": name, "password": password}, **more)


def signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


# Signing in and out


def test_sign_in_leads_to_the_page_asked_for(wren, client):
    answer = client.post("/sign-in/", {"name": wren.username, "password": PASSWORD, "next": "/account/"})
    assert (answer.status_code, answer["Location"]) == (302, "/account/")
    assert signed_in(client)


@pytest.mark.parametrize("address", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_sign_in_leads_to_no_other_site(wren, client, address):
    answer = client.post("/sign-in/", {"name": wren.username, "password": PASSWORD, "next": address})
    assert answer["Location"] == "/"


def test_a_name_typed_in_capitals_is_the_same_name(wren, client):
    sign_in(client, wren.username.upper(), PASSWORD)
    assert signed_in(client)


@pytest.mark.parametrize(("name", "password"), [("", "x"), ("nobody", PASSWORD), (None, "wrong")])
def test_a_wrong_pair_is_refused_in_the_same_words(wren, client, name, password):
    answer = sign_in(client, wren.username if name is None else name, password)
    assert not signed_in(client)
    said = answer.content.decode()
    assert ("do not belong together" in said) is bool(name is None or name)
    assert answer.status_code == 200


def test_who_belongs_to_no_department_is_told_so(wren, client):
    Membership.objects.filter(user=wren).update(to_on=D0)
    answer = sign_in(client, wren.username, PASSWORD)
    assert "You belong to no department at present" in answer.content.decode()
    assert not signed_in(client)


def test_sign_out_is_posted(cast, as_role):
    client = as_role(Role.CREW)
    assert client.get("/sign-out/").status_code == 405
    assert signed_in(client)
    assert client.post("/sign-out/").status_code == 302
    assert not signed_in(client)


# The throttle


def test_the_sixth_try_has_to_wait_even_with_the_right_password(wren, client):
    for _ in range(people.MOST_OF_ONE):
        assert sign_in(client, wren.username, "wrong").status_code == 200
    answer = sign_in(client, wren.username, PASSWORD)
    assert answer.status_code == 429
    assert answer["Retry-After"] == "901", "a quarter of an hour is 900 s, and one so as not to come too early"
    assert "Try again in 16 minutes." in answer.content.decode()
    assert not signed_in(client)


def test_the_name_is_the_same_however_it_is_typed(wren, client):
    for _ in range(people.MOST_OF_ONE):
        sign_in(client, f" {wren.username.upper()}", "wrong")
    assert sign_in(client, wren.username, PASSWORD).status_code == 429


def test_another_address_is_not_made_to_wait(wren, client):
    for _ in range(people.MOST_OF_ONE + 1):
        sign_in(client, wren.username, "wrong")
    sign_in(client, wren.username, PASSWORD, REMOTE_ADDR="10.0.0.9")
    assert signed_in(client)


def test_a_forged_proxy_header_gets_no_more_tries(wren, client):
    for number in range(people.MOST_OF_ONE):
        sign_in(client, wren.username, "wrong", HTTP_X_FORWARDED_FOR=f"10.0.0.{number}")
    assert sign_in(client, wren.username, PASSWORD, HTTP_X_FORWARDED_FOR="10.0.0.99").status_code == 429


def test_behind_a_proxy_the_address_is_the_one_that_it_saw(wren, client, settings):
    settings.PROXIES = 1
    for number in range(people.MOST_OF_ONE):
        sign_in(client, wren.username, "wrong", HTTP_X_FORWARDED_FOR=f"10.0.0.{number}, 198.51.100.7")
    more = {"HTTP_X_FORWARDED_FOR": "10.0.0.99, 198.51.100.7"}
    assert sign_in(client, wren.username, PASSWORD, **more).status_code == 429
    assert sign_in(client, wren.username, PASSWORD, HTTP_X_FORWARDED_FOR="198.51.100.8").status_code == 302


def test_one_address_cannot_try_many_names(db):
    for number in range(people.MOST_OF_ADDRESS):
        assert people.note_attempt(f"person-{number}", "192.0.2.1", clock=CLOCK) is None
    assert people.note_attempt("one-more", "192.0.2.1", clock=CLOCK) == SIX + people.WINDOW
    assert people.note_attempt("one-more", "192.0.2.2", clock=CLOCK) is None


def test_who_waited_is_let_in(wren, client, monkeypatch):
    for _ in range(people.MOST_OF_ONE + 3):
        sign_in(client, wren.username, "wrong")
    monkeypatch.setattr(access, "CLOCK", StoppedClock(SIX + people.WINDOW + timedelta(seconds=1)))
    sign_in(client, wren.username, PASSWORD)
    assert signed_in(client)
    assert not SignInAttempt.objects.exists(), "a success wipes the failures, and old ones are not kept"


def test_a_success_wipes_the_failures_before_it(wren):
    for _ in range(3):
        for _ in range(people.MOST_OF_ONE - 1):
            sign_in(Client(), wren.username, "wrong")
        assert sign_in(Client(), wren.username, PASSWORD).status_code == 302


def test_what_is_kept_of_a_try_does_not_name_anybody(wren, client):
    sign_in(client, PASSWORD, "wrong")  # people type the password into the wrong field
    assert PASSWORD not in str(SignInAttempt.objects.values().get())


# Passwords


def test_change_of_password(wren, client):
    client.force_login(wren)
    elsewhere = as_person(wren)
    form = {"old_password": PASSWORD, "new_password1": OTHER_PASSWORD, "new_password2": OTHER_PASSWORD}
    assert client.post("/account/password/", form)["Location"] == "/account/"
    wren.refresh_from_db()
    assert wren.check_password(OTHER_PASSWORD)
    change = Change.objects.get(action="change password")
    assert (change.by, change.subject_id, change.old, change.new) == (wren, str(wren.pk), None, None)
    assert client.get("/account/").status_code == 200, "this session goes on"
    assert elsewhere.get("/account/").status_code == 302, "the others end"


@pytest.mark.parametrize(
    ("old", "new", "again", "sentence"),
    [
        ("wrong", OTHER_PASSWORD, OTHER_PASSWORD, "not your password until now"),
        (PASSWORD, OTHER_PASSWORD, "x", "didn’t match"),
        (PASSWORD, "short", "short", "at least 10 characters"),
        (PASSWORD, "", "", "Nothing was read: New password is needed."),
    ],
)
def test_change_of_password_refused(wren, client, old, new, again, sentence):
    client.force_login(wren)
    form = {"old_password": old, "new_password1": new, "new_password2": again}
    assert sentence in client.post("/account/password/", form).content.decode()
    wren.refresh_from_db()
    assert wren.check_password(PASSWORD)


def test_reset_by_mail(wren, client):
    assert client.post("/password/", {"email": "Wren@quay.example"})["Location"] == "/password/sent/"
    link = re.search(r"http://testserver(/password/\S+)", mail.outbox[0].body)[1]
    page = client.get(link, follow=True)
    form = {"new_password1": OTHER_PASSWORD, "new_password2": OTHER_PASSWORD}
    client.post(page.redirect_chain[-1][0], form)
    wren.refresh_from_db()
    assert wren.check_password(OTHER_PASSWORD)
    assert Change.objects.get(action="reset password").by == wren
    assert "does not work any more" in Client().get(link, follow=True).content.decode(), "once only"


def test_reset_says_the_same_of_strangers_and_is_throttled(wren, client):
    assert client.post("/password/", {"email": "stranger@quay.example"})["Location"] == "/password/sent/"
    assert mail.outbox == []
    for _ in range(people.MOST_OF_ONE):
        client.post("/password/", {"email": "wren@quay.example"})
    assert client.post("/password/", {"email": "wren@quay.example"}).status_code == 429
    assert len(mail.outbox) == people.MOST_OF_ONE


# Invitations

NEW = {"first_name": "Lio", "last_name": "Garrow", "email": "Lio@quay.example", "role": "officer"}


def invited_link(body: str) -> str:
    return re.search(r"http://testserver(/invitation/\S+)", body)[1]


def test_invitation_from_chief_to_first_page(cast, as_role):
    answer = as_role(Role.CHIEF).post("/people/invite/", {**NEW, "station": cast.station.pk})
    member = Membership.objects.get(user__username="lio@quay.example")
    assert (member.department, member.role, member.station, member.from_on) == (
        cast.department,
        "officer",
        cast.station,
        D0,
    )
    change = Change.objects.get(action="invite")
    assert (change.by, change.department, change.new["role"]) == (cast.people[Role.CHIEF], cast.department, "officer")
    assert answer["Location"] == "/people/"
    assert mail.outbox[0].to == ["lio@quay.example"]
    link = invited_link(mail.outbox[0].body)
    newcomer = Client()
    assert "lio@quay.example" in newcomer.get(link).content.decode()
    short = newcomer.post(link, {"new_password1": "short", "new_password2": "short"})
    assert "at least 10 characters" in short.content.decode()
    newcomer.post(link, {"new_password1": OTHER_PASSWORD, "new_password2": OTHER_PASSWORD})
    assert newcomer.get("/account/").context["here"].role == Role.OFFICER
    assert Change.objects.get(action="accept invitation").by == member.user
    assert Client().get(link).status_code == 410, "once only"
    sign_in(other := Client(), "Lio@quay.example", OTHER_PASSWORD)
    assert signed_in(other)


def test_without_mail_the_chief_hands_the_link_over(cast, as_role, settings):
    settings.MAIL_IS_SENT = False
    page = as_role(Role.CHIEF).post("/people/invite/", NEW).content.decode()
    link = re.search(r'value="http://testserver(/invitation/[^"]+)"', page)[1]
    assert Client().get(link).status_code == 200


def test_a_mail_that_fails_leaves_the_membership_and_the_link(cast, as_role, monkeypatch):
    def down(*_):
        raise ConnectionRefusedError

    monkeypatch.setattr(people, "send_mail", down)
    assert "Hand this link over" in as_role(Role.CHIEF).post("/people/invite/", NEW).content.decode()
    assert Membership.objects.filter(user__username="lio@quay.example").exists()


def test_an_invitation_grows_old_and_dies_with_the_membership(cast, as_role, monkeypatch):
    as_role(Role.CHIEF).post("/people/invite/", NEW)
    link = invited_link(mail.outbox[0].body)
    assert Client().get(link).status_code == 200
    monkeypatch.setattr(people, "INVITATION_DAYS", -1)
    assert Client().get(link).status_code == 410
    monkeypatch.undo()
    member = Membership.objects.get(user__username="lio@quay.example")
    people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)
    assert Client().get(link).status_code == 410
    assert Client().get("/invitation/nonsense/").status_code == 410


def test_a_link_that_one_chief_holds_opens_no_second_department(cast, as_role, settings):
    settings.MAIL_IS_SENT = False
    page = as_role(Role.CHIEF).post("/people/invite/", NEW).content.decode()
    held = re.search(r'value="http://testserver(/invitation/[^"]+)"', page)[1]
    other = as_person(cast.outsider).post("/people/invite/", NEW)
    assert other["Location"] == "/people/", "the second chief is shown no link: the account is not of their making"
    assert Client().get(held).status_code == 410
    assert Client().get(invited_link(mail.outbox[1].body)).status_code == 200


def test_who_has_a_password_gets_no_link(cast, wren):
    wren.username = wren.email
    wren.save()
    newcomer = people.Newcomer(wren.email, "Wren", "T", Role.CREW)
    acting = people.Acting(cast.outsider, people.Identity.PASSWORD)
    invited = people.invite(cast.other_department, acting, newcomer, link_of=str, clock=CLOCK)
    assert (invited.link, invited.membership.user) == ("", wren)
    assert "You have a sign-in already" in mail.outbox[0].body


def test_a_member_is_not_invited_twice_and_an_ended_one_is_taken_back(cast, as_role):
    chief = as_role(Role.CHIEF)
    chief.post("/people/invite/", NEW)
    again = chief.post("/people/invite/", NEW).content.decode()
    assert "“Lio@quay.example” was read, who is a member already, as company officer." in again
    member = Membership.objects.get(user__username="lio@quay.example")
    people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)
    chief.post("/people/invite/", {**NEW, "role": "crew"})
    member.refresh_from_db()
    assert (member.role, member.to_on) == ("crew", None)
    assert Change.objects.filter(action="invite").count() == 2
    assert Change.objects.filter(action="invite").last().old["to_on"] == D0.isoformat()


@pytest.mark.parametrize("role", [role for role in Role if role != Role.CHIEF])
def test_only_a_chief_manages_people(cast, as_role, role):
    member = Membership.objects.get(user=cast.people[Role.CHIEF], department=cast.department)
    client = as_role(role)
    for name, args in (("people", []), ("invite", []), ("person", [member.pk])):
        assert client.get(reverse(name, args=args)).status_code == 403
    for name in ("change_role", "end_membership"):
        assert client.post(reverse(name, args=[member.pk]), {"role": "crew"}).status_code == 403
    with pytest.raises(NotAllowed):
        people.end_membership(member, cast.acting(role), clock=CLOCK)
    member.refresh_from_db()
    assert (member.role, member.to_on) == (Role.CHIEF, None)


def test_an_outsiders_chief_finds_nobody_of_this_department(cast):
    member = Membership.objects.get(user=cast.people[Role.CREW])
    client = as_person(cast.outsider)
    assert client.get(f"/people/{member.pk}/").status_code == 404
    assert client.post(f"/people/{member.pk}/role/", {"role": "chief"}).status_code == 404
    assert client.post(f"/people/{member.pk}/end/").status_code == 404
    assert "crew." not in client.get("/people/").content.decode()


def test_change_of_role(cast, as_role):
    member = Membership.objects.get(user=cast.people[Role.CREW])
    as_role(Role.CHIEF).post(f"/people/{member.pk}/role/", {"role": "logistics"})
    member.refresh_from_db()
    assert member.role == Role.LOGISTICS
    change = Change.objects.get(action="change role")
    assert (change.old["role"], change.new["role"], change.by) == ("crew", "logistics", cast.people[Role.CHIEF])


def test_end_of_membership(cast, as_role):
    member = Membership.objects.get(user=cast.people[Role.CREW])
    theirs = as_role(Role.CREW)
    as_role(Role.CHIEF).post(f"/people/{member.pk}/end/")
    member.refresh_from_db()
    assert member.to_on == D0
    assert Change.objects.get(action="end membership").new["to_on"] == D0.isoformat()
    assert theirs.get("/account/").status_code == 403
    assert not signed_in(theirs)


def test_the_only_chief_stays(cast, as_role):
    member = Membership.objects.get(user=cast.people[Role.CHIEF], department=cast.department)
    client = as_role(Role.CHIEF)
    for address, form in ((f"/people/{member.pk}/role/", {"role": "crew"}), (f"/people/{member.pk}/end/", {})):
        assert "is the only chief of Quay County" in client.post(address, form).content.decode()
    people.change_role(Membership.objects.get(user=cast.people[Role.CREW]), cast.acting(Role.CHIEF), Role.CHIEF)
    people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)
    member.refresh_from_db()
    assert member.to_on == D0
    with pytest.raises(NotAllowed):
        people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)


def test_a_membership_ends_once(cast):
    member = Membership.objects.get(user=cast.people[Role.CREW])
    people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)
    with pytest.raises(Refused, match="is none any more"):
        people.end_membership(member, cast.acting(Role.CHIEF), clock=CLOCK)


# The first page, and one's own account


@pytest.mark.parametrize(
    ("role", "there_are", "first"),
    [
        (Role.CREW, {"my_unit", "fleet"}, "my_unit"),
        (Role.OFFICER, {"my_unit", "fleet"}, "my_unit"),
        (Role.CREW, {"fleet"}, "fleet"),
        (Role.CHIEF, {"my_unit", "fleet"}, "fleet"),
        (Role.OBSERVER, {"fleet"}, "fleet"),
        (Role.LOGISTICS, set(), "account"),
    ],
)
def test_the_first_page_is_the_one_the_role_needs(cast, monkeypatch, role, there_are, first):
    monkeypatch.setattr(navigation, "address_of", lambda name: f"/{name}/" if name in there_are else None)
    here = access.Here(*[None] * 4, role, *[None] * 5)
    assert navigation.first_page(here) == first


@pytest.mark.parametrize("role", Role)
def test_the_account_page_says_what_one_may_do(cast, as_role, role):
    answer = as_role(role).get("/account/")
    assert answer.context["may"] == sorted(action for action, roles in MAY.items() if role in roles)
    said = answer.content.decode()
    assert f"<dd>{role.label}</dd>" in said
    assert ("you change nothing" in said) is (role == Role.OBSERVER)


def test_units_are_a_choice_of_the_session(cast, as_role):
    client = as_role(Role.CREW)
    assert client.get("/account/").context["here"].units == "us"
    answer = client.post("/account/units/", {"units": "metric", "next": "/account/"})
    assert answer["Location"] == "/account/"
    assert client.get("/account/").context["here"].units == "metric"
    client.post("/account/units/", {"units": "furlongs"})
    assert client.get("/account/").context["here"].units == "metric"
