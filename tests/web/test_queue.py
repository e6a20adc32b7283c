"""The one answer that a device's queue understands, at the addresses of the forms themselves."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from readiness.actions import movements
from readiness.actions.drafts import new_id
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Check, Movement, QueuedEntry, RaisedDeficiency, Role, Submission
from tests.cast import CLOCK, SIX, Cast
from tests.judged import Rigged
from tests.web.conftest import as_person
from tests.web.doors import PIXEL

pytestmark = pytest.mark.django_db
EARLIER = SIX - timedelta(hours=3)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    rig = Rigged(cast)
    rig.judge()
    return rig


class Device:
    """A device's queue: sends a form as its script does."""

    def __init__(self, client: Client, whose: str) -> None:
        self.client, self.whose = client, whose

    def send(self, address: str, fields: dict[str, Any], **headers: str) -> tuple[int, dict[str, str]]:
        """(status, answer) of one entry entered three hours ago."""
        said = {
            "Queued-Entry": str(fields.get("entry_id", uuid4())),
            "Queued-For": self.whose,
            "Queued-At": EARLIER.isoformat(),
            "Queued-Sent-At": SIX.isoformat(),
            **headers,
        }
        answer = self.client.post(address, {"confirm": "yes", **fields}, headers=said)
        return answer.status_code, answer.json()


@pytest.fixture
def device(rig: Rigged, as_role) -> Device:
    return Device(as_role(Role.CREW), f"{rig.department.pk}-{rig.cast.people[Role.CREW].pk}")


def used(rig: Rigged, entry: Any = None, gallons: str = "1") -> tuple[str, dict[str, Any]]:
    """The after-use form of the rig: so much out of its first measured container."""
    tank = rig.cast.tank(code="T9")
    then = Entry(rig.department, OWNER, CLOCK, happened_at=SIX - timedelta(days=2))
    movements.receive(then, container=tank, lot=rig.cast.lot, ml=10_000, place=rig.cast.on_vehicle)
    fields = {
        "entry_id": str(entry or new_id()),
        "account": "incident",
        "incident": "26-7",
        f"c{tank.pk}_number": gallons,
        f"c{tank.pk}_unit": "gal",
    }
    return f"/crew/{rig.unit.pk}/after-use/", fields


def test_an_entry_is_posted_once_with_the_time_of_the_device(rig, device):
    address, fields = used(rig)
    before = Movement.objects.filter(kind="used").count()
    assert device.send(address, fields)[1]["outcome"] == "posted"
    status, answer = device.send(address, fields)
    assert (status, answer["outcome"], answer["id"]) == (200, "posted before", fields["entry_id"])
    made = Movement.objects.filter(kind="used").order_by("recorded_at").last()
    assert Movement.objects.filter(kind="used").count() == before + 1
    assert (made.happened_at, made.recorded_at) == (EARLIER, SIX)
    assert made.recorded_by == rig.cast.people[Role.CREW]
    row = QueuedEntry.objects.get()
    assert (row.outcome, row.times, row.device_at) == ("posted before", 2, EARLIER)


def test_what_came_directly_and_then_out_of_the_queue_is_one_entry(rig, device):
    address, fields = used(rig)
    answer = device.client.post(address, {**fields, "confirm": "yes"})
    assert answer.status_code == 302
    assert device.send(address, fields)[1]["outcome"] == "posted before"
    assert Submission.objects.filter(client_id=fields["entry_id"]).count() == 1


def test_a_check_that_came_directly_and_then_out_of_the_queue_is_one_check(rig, device):
    address = f"/crew/{rig.unit.pk}/check/"
    page = device.client.get(address)
    form = page.context["form"]
    fields = {"entry_id": str(new_id()), "started_at": SIX.isoformat()}
    fields |= {name: "good" for name in form.fields if name.startswith("g") and name[1:].isdecimal()}
    assert device.client.post(address, fields).status_code == 302
    assert device.send(address, fields)[1]["outcome"] == "posted before"
    assert Check.objects.filter(pk=fields["entry_id"]).count() == 1


def test_a_check_out_of_the_queue_was_made_when_the_device_says(rig, device):
    address = f"/crew/{rig.unit.pk}/check/"
    form = device.client.get(address).context["form"]
    fields = {"entry_id": str(new_id())}
    fields |= {name: "good" for name in form.fields if name.startswith("g") and name[1:].isdecimal()}
    answer = device.send(address, fields)[1]
    result = f"/crew/{rig.unit.pk}/checks/{fields['entry_id']}/result/"
    assert (answer["outcome"], answer["came_to"]) == ("posted", result), "where it is told what differs from the book"
    made = Check.objects.get(pk=fields["entry_id"])
    assert (made.finished_at, made.recorded_at) == (EARLIER, SIX)


def test_what_is_refused_comes_back_with_its_sentence_and_leaves_nothing(rig, device):
    address, fields = used(rig, gallons="55")
    before = Movement.objects.count()
    status, answer = device.send(address, fields)
    assert (status, answer["outcome"]) == (422, "refused")
    assert "55.00 gal was read, but T9 holds" in answer["said"]
    status, answer = device.send(address, {**fields, "incident": ""})
    assert answer["said"].startswith("Incident number: Nothing was read")
    assert Movement.objects.count() == before
    assert QueuedEntry.objects.get().outcome == "refused"
    mended = {name: "1" if value == "55" else value for name, value in fields.items()}
    assert device.send(address, mended)[1]["outcome"] == "posted"


def test_what_is_refused_is_handed_over_whole(rig, device, as_role):
    address, fields = used(rig, gallons="55")
    said = device.send(address, fields)[1]["said"]
    picture = SimpleUploadedFile("a.png", PIXEL, "image/png")
    status, answer = device.send("/crew/queue/hold/", {**fields, "of": address, "why": said, "photo": picture})
    assert (status, answer["outcome"]) == (200, "held")
    held = Submission.objects.get(outcome="held")
    assert held.body["form"] == address
    assert held.body["incident"] == "26-7"
    assert held.body["photo"].startswith("photo ")
    assert "csrfmiddlewaretoken" not in held.body
    assert held.why == said
    page = as_role(Role.OFFICER).get(f"/held/{held.pk}/").content.decode()
    assert "Open that form" in page
    assert address in page
    assert "Try again" not in page


def test_nobody_and_somebody_else_are_told_apart_and_nothing_is_entered(rig, device, as_role):
    address, fields = used(rig)
    before = Movement.objects.count()
    status, answer = Device(Client(), device.whose).send(address, fields)
    assert (status, answer["outcome"]) == (401, "sign in")
    status, answer = Device(as_role(Role.OFFICER), device.whose).send(address, fields)
    assert (status, answer["outcome"]) == (409, "somebody else's")
    assert (Movement.objects.count(), QueuedEntry.objects.count()) == (before, 0)


def test_an_old_token_is_sent_again_later(rig, device):
    address, fields = used(rig)
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(rig.cast.people[Role.CREW])
    status, answer = Device(strict, device.whose).send(address, fields)
    assert (status, answer["outcome"]) == (503, "later")
    token = strict.get("/crew/queue/token/").json()
    assert token["whose"] == device.whose
    status, answer = Device(strict, device.whose).send(address, fields, **{"X-CSRFToken": token["token"]})
    assert answer["outcome"] == "posted"


@pytest.mark.parametrize("name", ["Queued-Entry", "Queued-At", "Queued-Sent-At"])
@pytest.mark.parametrize("read", ["", "x", "2026-06-15", "0001-01-01T00:00+23:59"])
def test_headers_that_cannot_be_read_are_refused(rig, device, name, read):
    address, fields = used(rig)
    status, answer = device.send(address, fields, **{name: read})
    assert (status, answer["outcome"]) == (400, "refused")
    assert not QueuedEntry.objects.exists()


def test_a_refill_that_asks_for_a_decision_stays_and_says_so(rig, device):
    class_a = rig.cast.pail(code="P-A")
    then = Entry(rig.department, OWNER, CLOCK)
    movements.receive(then, container=class_a, lot=rig.cast.class_a_lot, ml=1_000, place=rig.cast.store)
    used(rig)  # the tank T9
    status, answer = device.send("/refill/", {"entry_id": str(new_id()), "source": "P-A", "target": "T9"})
    assert (status, answer["outcome"]) == (422, "refused")
    assert answer["said"].startswith("No: ")


def test_a_refill_that_is_in_the_book_came_before_however_empty_its_pail_is_now(rig, device):
    tank = rig.cast.tank(code="T9")
    pail = rig.cast.pail(code="P-9")
    then = Entry(rig.department, OWNER, CLOCK, happened_at=SIX - timedelta(days=2))
    movements.receive(then, container=tank, lot=rig.cast.lot, ml=10_000, place=rig.cast.on_vehicle)
    movements.receive(then, container=pail, lot=rig.cast.lot, ml=1_000, place=rig.cast.store)
    asked = {"entry_id": str(new_id()), "source": "P-9", "target": "T9"}
    assert device.send("/refill/", asked)[1]["outcome"] == "posted"
    poured = Movement.objects.count()
    status, answer = device.send("/refill/", asked)
    assert (status, answer["outcome"]) == (200, "posted before")
    assert Movement.objects.count() == poured
    status, answer = device.send("/refill/", {**asked, "reason": "another tank"})
    assert (status, answer["outcome"]) == (422, "refused"), "what was mended since is not in the book"
    assert "confirmed before with another content" in answer["said"]


def test_what_is_refused_once_it_is_in_the_book_says_that_it_is(rig, device):
    address, fields = used(rig)
    device.send(address, fields)
    status, answer = device.send(address, {**fields, "incident": ""})
    assert (status, answer["outcome"]) == (422, "refused")
    assert answer["said"].startswith("An entry of this number is in the book already. Incident number: Nothing was ")


def test_what_is_gone_and_what_a_role_may_not_are_refused(rig, device, as_role):
    _, fields = used(rig)
    assert "not there any more" in device.send("/crew/987654321/after-use/", fields)[1]["said"]
    observer = Device(as_role(Role.OBSERVER), f"{rig.department.pk}-{rig.cast.people[Role.OBSERVER].pk}")
    address, fields = f"/crew/{rig.unit.pk}/after-use/", {**fields, "entry_id": str(new_id())}
    status, answer = observer.send(address, fields)
    assert (status, answer["outcome"]) == (422, "refused")
    assert "is for: " in answer["said"]


def test_a_form_that_a_device_may_keep_is_not_sent_to_the_sign_in_page(rig):
    answer = Client().post(f"/crew/{rig.unit.pk}/after-use/", {"on_device": "{}"})
    assert (answer.status_code, answer["Keep-Entry"]) == (401, "yes")
    strict = Client(enforce_csrf_checks=True)
    answer = strict.post(f"/crew/{rig.unit.pk}/after-use/", {"on_device": "{}"})
    assert (answer.status_code, answer["Keep-Entry"]) == (403, "yes")
    assert Client().post(f"/crew/{rig.unit.pk}/after-use/", {}).status_code == 302


def test_pages_say_for_whom_they_may_be_kept(rig, device, as_role):
    pages = {
        f"/crew/{rig.unit.pk}/": device.whose,
        f"/crew/{rig.unit.pk}/check/": device.whose,
        "/refill/": device.whose,
        "/crew/queue/": "everybody",
        "/sign-in/": "nobody",
        "/fleet/": None,
        "/crew/": None,
    }
    assert {address: device.client.get(address).headers.get("Keep-For") for address in pages} == pages
    everybodys = [device.client.get("/crew/queue/").content, Client().get("/crew/queue/").content]
    assert everybodys[0] == everybodys[1], "it tells nobody who was here"


def test_a_copy_for_later_asks_for_no_scan(rig, device):
    device.client.get("/refill/", headers={"Keep-Copy": "yes"})
    assert "refill" not in device.client.session
    device.client.get("/refill/")
    assert "refill" in device.client.session


def test_the_worker_and_the_manifest_are_our_own(client):
    worker = client.get("/sw.js")
    assert worker["Content-Type"] == "text/javascript"
    assert worker["Cache-Control"] == "no-store"
    assert "worker-src 'self'" in worker["Content-Security-Policy"]
    assert "http" not in worker.content.decode(), "it names no address but its own"
    icons = client.get("/app.webmanifest").json()["icons"]
    for icon in icons:
        answer = client.get(icon["src"])
        assert answer.status_code == 200
        answer.close()


def test_what_is_raised_out_of_the_queue_is_raised_once(rig, device):
    fields = {
        "entry_id": str(new_id()),
        "thing": f"unit-{rig.unit.pk}",
        "words": "ring is stiff",
        "effect": "limited",
    }
    for _ in range(3):
        picture = SimpleUploadedFile("a.png", PIXEL, "image/png")
        device.send(f"/deficiencies/raise/?unit={rig.unit.pk}", {**fields, "photo": picture})
    assert RaisedDeficiency.objects.filter(words="ring is stiff").count() == 1


def test_another_person_of_the_same_tablet_does_not_take_over_a_number(rig, device, as_role):
    address, fields = used(rig)
    device.send(address, {**fields, "incident": ""})
    officer = rig.cast.people[Role.OFFICER]
    other = Device(as_person(officer), f"{rig.department.pk}-{officer.pk}")
    assert "under another sign-in" in other.send(address, fields)[1]["said"]
