"""A shared tablet in the browser: which addresses it opens, who makes an entry, and what it sees of other stations."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.drafts import new_id
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.actions.photos import keep_photo
from readiness.actions.tablets import make_tablet, retire_tablet
from readiness.models import Change, Check, Device, Membership, Movement, RaisedDeficiency, Role, Submission
from readiness.web.tablets import OPEN_AT_TABLET
from tests.cast import CLOCK, SIX, Cast, StationFactory, UnitFactory
from tests.judged import Rigged
from tests.web.doors import DOORS, PIXEL, World, everything
from tests.web.test_queue import Device as Queue
from tests.web.test_queue import used

pytestmark = pytest.mark.django_db
PIN = "2580"


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    give_pins(cast)
    return rig


def give_pins(cast: Cast) -> None:
    people = Membership.objects.filter(department=cast.department, role__in=[Role.CREW, Role.CHIEF])
    people.update(station=cast.station, pin_hash=make_password(PIN))


def signed_in(cast: Cast) -> tuple[Client, Device]:
    """A tablet's browser, signed in by its link."""
    chief = cast.acting(Role.CHIEF)
    made = make_tablet(cast.department, station=cast.station, name="bay two", acting=chief, clock=CLOCK)
    browser = Client()
    link = reverse("sign_in_tablet", args=[made.device.pk, made.key])
    assert "Sign it in as bay two" in browser.get(link).content.decode()
    assert browser.post(link)["Location"] == "/crew/"
    assert browser.post(link).status_code == 410
    return browser, made.device


@pytest.fixture
def at_tablet(rig: Rigged) -> Client:
    return signed_in(rig.cast)[0]


def who(cast: Cast, role: Role = Role.CREW, pin: str = PIN) -> dict[str, Any]:
    row = Membership.objects.get(department=cast.department, user=cast.people[role])
    return {"tablet_person": row.pk, "tablet_pin": pin}


def raised(rig: Rigged) -> dict[str, Any]:
    return {"entry_id": str(new_id()), "thing": f"unit-{rig.unit.pk}", "words": "stiff", "effect": "limited"}


def test_it_opens_the_crews_pages_and_no_other_address():
    world = World()
    give_pins(world.near.cast)
    browser, _ = signed_in(world.near.cast)
    opened = set()
    for name, door in DOORS.items():
        for method, way in (("get", door.get), ("post", door.post)):
            if way is None or name == "sign_out":
                continue
            before = everything()
            status = getattr(browser, method)(world.near.address(name)).status_code
            assert everything() == before, name
            if status != 403:
                opened.add(name)
    assert opened == OPEN_AT_TABLET - {"sign_out"}


def test_an_entry_is_the_persons_known_by_pin(rig, at_tablet):
    page = at_tablet.get(f"/deficiencies/raise/?unit={rig.unit.pk}").content.decode()
    assert "Who makes this entry" in page
    answer = at_tablet.post(f"/deficiencies/raise/?unit={rig.unit.pk}", {**raised(rig), **who(rig.cast)})
    assert answer.status_code == 302
    assert RaisedDeficiency.objects.get().raised_by == rig.cast.people[Role.CREW]
    assert Submission.objects.get().identity == "pin"
    assert Submission.objects.get().device.name == "bay two"


def test_without_a_pin_it_is_asked_for_and_what_was_typed_is_carried(rig, at_tablet):
    posted = raised(rig)
    address = f"/deficiencies/raise/?unit={rig.unit.pk}"
    page = at_tablet.post(address, posted).content.decode()
    assert "Who are you?" in page
    assert 'name="words" value="stiff"' in page
    page = at_tablet.post(address, {**posted, **who(rig.cast, pin="9999")}).content.decode()
    assert "That is not the PIN of" in page
    assert "9999" not in page
    assert not RaisedDeficiency.objects.exists()
    assert at_tablet.post(address, {**posted, **who(rig.cast)}).status_code == 302


def test_who_has_to_wait_is_told_how_long_and_what_can_be_done_at_once(rig, at_tablet):
    """Five wrong ones at 06:00 (tests/cast.py), so 06:15; what was typed is carried along all the while."""
    address, fields = used(rig)
    member = Membership.objects.get(user=rig.cast.people[Role.CREW])
    wrong = {**fields, "tablet_person": str(member.pk), "tablet_pin": "9999"}
    for _ in range(5):
        assert "That is not the PIN of" in at_tablet.post(address, wrong).content.decode()
    page = at_tablet.post(address, {**wrong, "tablet_pin": PIN})
    said = page.content.decode()
    name = member.user.get_full_name() or member.user.username
    assert f"Too many wrong PINs: {name} can try again in 15 minutes, at 06:15." in said
    assert "on another device sign in with your password and enter it there, or set a new PIN under My account" in said
    assert ("incident", fields["incident"]) in page.context["carried"]


def test_a_pin_counts_for_one_entry_from_preview_to_confirmation(rig, at_tablet):
    address, fields = used(rig)
    page = at_tablet.post(address, {**fields, **who(rig.cast)}).content.decode()
    assert "Not entered yet" in page
    assert PIN not in page
    assert at_tablet.post(address, {**fields, "confirm": "yes"}).status_code == 302
    made = Movement.objects.filter(kind="used").get()
    assert (made.recorded_by, made.identity) == (rig.cast.people[Role.CREW], "pin")
    assert "Who are you?" in at_tablet.post(address, {**fields, "entry_id": str(new_id())}).content.decode()


def test_a_chiefs_pin_overrides_nothing(rig, at_tablet):
    pail = rig.cast.pail(code="P-A")
    then = Entry(rig.department, OWNER, CLOCK)
    movements.receive(then, container=pail, lot=rig.cast.class_a_lot, ml=1_000, place=rig.cast.store)
    used(rig)  # the tank T9
    fields = {"entry_id": str(new_id()), "source": "P-A", "target": "T9", "override": "yes", "reason": "rescue"}
    answer = at_tablet.post("/refill/", {**fields, **who(rig.cast, Role.CHIEF), "confirm": "yes"})
    assert answer.status_code == 403
    assert "A PIN does not do to override" in answer.content.decode()


def test_it_sees_its_own_station_only(rig, at_tablet):
    other = UnitFactory(station=StationFactory(department=rig.department, name="Abbey"), designation="Aerial 9")
    assert at_tablet.get(f"/crew/{other.pk}/").status_code == 404
    assert at_tablet.get(f"/crew/{other.pk}/check/").status_code == 404
    assert at_tablet.post(f"/crew/{other.pk}/check/", who(rig.cast)).status_code == 404
    page = at_tablet.get("/crew/?choose=1").content.decode()
    assert "Engine 1" in page
    assert "Aerial 9" not in page


def test_what_came_of_a_check_offers_only_what_the_tablet_opens(rig, as_role, at_tablet, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    tank = rig.tank(ml=100_000)
    check = rig.checked(rig.reading(tank, 90_000), at=SIX + timedelta(minutes=1)).check
    photo = keep_photo(rig.department, data=PIXEL, acting=OWNER, clock=CLOCK)
    Check.objects.filter(pk=check.pk).update(photo=photo)
    address = f"/crew/{rig.unit.pk}/checks/{check.pk}/"
    member = as_role(Role.CREW)
    for page, words in ((f"{address}result/", ("It evaporated", "The photo of it")), (address, ("The photo of it",))):
        own, shared = (browser.get(page).content.decode() for browser in (member, at_tablet))
        assert all(each in own and each not in shared for each in words)
    assert "It was used: report the use" in at_tablet.get(f"{address}result/").content.decode()


def test_a_pin_signs_nobody_in_anywhere_else(rig, at_tablet):
    stranger = Client()
    stranger.post("/sign-in/", {"name": rig.cast.people[Role.CREW].username, "password": PIN})
    assert "_auth_user_id" not in stranger.session
    answer = stranger.post(f"/deficiencies/raise/?unit={rig.unit.pk}", {**raised(rig), **who(rig.cast)})
    assert answer["Location"].startswith("/sign-in/")
    assert not RaisedDeficiency.objects.exists()
    assert at_tablet.get("/account/").status_code == 403


def test_taken_out_of_use_it_opens_nothing(rig):
    browser, device = signed_in(rig.cast)
    assert browser.get(f"/crew/{rig.unit.pk}/").status_code == 200
    retire_tablet(device, acting=rig.cast.acting(Role.CHIEF), clock=CLOCK)
    assert browser.get(f"/crew/{rig.unit.pk}/")["Location"].startswith("/sign-in/")


def test_what_waited_at_a_tablet_asks_for_the_pin_when_it_is_sent(rig):
    browser, device = signed_in(rig.cast)
    queue = Queue(browser, f"{rig.department.pk}-tablet-{device.pk}")
    address, fields = used(rig)
    status, answer = queue.send(address, fields)
    assert (status, answer["outcome"]) == (401, "PIN")
    assert "not kept on this device" in answer["said"]
    status, answer = queue.send(address, {**fields, **who(rig.cast, pin="9999")})
    assert (status, answer["outcome"]) == (401, "PIN")
    assert "That is not the PIN of" in answer["said"]
    assert not Movement.objects.filter(kind="used").exists()
    assert queue.send(address, {**fields, **who(rig.cast)})[1]["outcome"] == "posted"
    assert Movement.objects.get(kind="used").recorded_by == rig.cast.people[Role.CREW]


def test_what_nobody_signs_is_handed_over_as_claimed(rig):
    browser, device = signed_in(rig.cast)
    queue = Queue(browser, f"{rig.department.pk}-tablet-{device.pk}")
    address, fields = used(rig)
    person = who(rig.cast)["tablet_person"]
    status, answer = queue.send(
        "/crew/queue/hold/", {**fields, "tablet_person": person, "of": address, "why": "went home"}
    )
    assert (status, answer["outcome"]) == (200, "held")
    held = Submission.objects.get(outcome="held")
    assert (held.identity, held.sent_by, held.device) == ("claimed", rig.cast.people[Role.CREW], device)


def test_the_chief_makes_and_ends_tablets(rig, as_role):
    chief = as_role(Role.CHIEF)
    page = chief.post("/people/tablets/", {"name": "bay", "station": rig.cast.station.pk}).content.decode()
    assert "It works once" in page
    device = Device.objects.get()
    assert "Make a new link" in chief.get("/people/tablets/").content.decode()
    assert "It works once" in chief.post(f"/people/tablets/{device.pk}/link/").content.decode()
    chief.post(f"/people/tablets/{device.pk}/retire/")
    assert "Out of use since" in chief.get("/people/tablets/").content.decode()
    assert Change.objects.filter(subject_kind="device").count() == 3


def test_a_person_sets_a_pin_and_the_chief_clears_it(rig, as_role):
    crew = as_role(Role.CREW)
    assert (
        "differ: type the same twice" in crew.post("/account/pin/", {"pin": "1739", "again": "1738"}).content.decode()
    )
    assert "guessed first" in crew.post("/account/pin/", {"pin": "1111", "again": "1111"}).content.decode()
    assert crew.post("/account/pin/", {"pin": "1739", "again": "1739"}).status_code == 302
    row = Membership.objects.get(user=rig.cast.people[Role.CREW])
    assert row.pin_hash
    assert "Clear the PIN" in as_role(Role.CHIEF).get(f"/people/{row.pk}/").content.decode()
    as_role(Role.CHIEF).post(f"/people/{row.pk}/clear-pin/")
    row.refresh_from_db()
    assert row.pin_hash == ""
