"""A hostile user against every page: what is sent by hand, what is typed to be read by others, what is uploaded."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from typing import Any
from urllib.parse import urlencode, urlsplit
from uuid import uuid4

import pytest
from django import forms
from django.core import mail
from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms.renderers import DjangoTemplates as Plain
from django.test import Client, TestCase
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from readiness.actions import movements
from readiness.actions.checks import Read
from readiness.models import (
    Check,
    Container,
    Deficiency,
    Department,
    Membership,
    Movement,
    Role,
    Station,
    Submission,
    Unit,
    User,
)
from readiness.models.checks import Answer
from readiness.models.movements import Account
from readiness.web.forms import Renderer
from readiness.web.middleware import MOST_REQUEST_BYTES
from readiness.workbooks.guard import MOST_BYTES
from tests.web.doors import (
    DOORS,
    DRAWN_ON,
    FILLED,
    SHARED,
    House,
    Page,
    World,
    browser,
    chosen,
    everything,
    filled,
    forms_of,
    undone,
)

NUL = "\x00"
POISONS = (
    NUL,
    "a" + NUL,
    "A" * 10_000,
    "9" * 400,
    "9" * 19,  # above what a column of the database holds
    "1e309",
    "nan",
    "-inf",
    "-1",
    "0",
    "１２３",  # figures that are no figures of the keyboard
    "٣",
    "\u202ereversed",
    "Ⓔ\u200dngine \U0001f9ef",
    "' OR 1=1 --",
    "{{ 7*7 }}{% debug %}",
    "%s%n%(x)s",
    "../../etc/passwd",
    "x\r\nSet-Cookie: a=b",
    "9999-12-31",
    "0001-01-01",
    "9999-12-31T23:59-12:00",
    "0001-01-01T00:00+14:00",
    "unit-1\x00",
    "unit-" + "9" * 30,
    "[]",
    '{"a": 1}',
)


EACH = 7  # mixtures of a form: fields of a kind are many, so every kind of field gets every poison


def mixtures(names: Sequence[str]) -> Iterator[dict[str, str]]:
    """Every name with another poison, several times over."""
    for first in range(EACH):
        yield {name: POISONS[(n + first * len(POISONS) // EACH) % len(POISONS)] for n, name in enumerate(names)}


class Hostile(TestCase):
    """One department in Chicago's time, so that no moment is its own UTC, and another one."""

    world: World
    near: House

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()
        cls.near = cls.world.near
        Department.objects.update(time_zone="America/Chicago")

    def chief(self, **values: Any) -> Client:
        """Who may do most."""
        return browser(self.near.chief(), **values)


class WhatIsSentByHand(Hostile):
    """Every address and field, with what no browser would send."""

    def test_no_number_in_an_address_is_an_error(self):
        client = self.chief()
        for name, door in DOORS.items():
            if not door.of or door.of in SHARED:
                continue
            address = self.near.address(name)
            for number in (
                "0",
                "9" * 19,
                "9" * 40,
                "-1",
                "+1",
                "1.0",
                "٣",
                "１",
                "1%00",
                "%00",
                "null",
                "1/../2",
                "1;2",
            ):
                sent = re.sub(r"/(?:[0-9]+|[0-9a-f-]{36})/", f"/{number}/", address)
                assert sent != address
                for method in ("get", "post"):
                    status = getattr(client, method)(sent).status_code
                    assert status in ((404,) if getattr(door, method) else (404, 405)), (sent, method, status)

    def test_no_query_is_an_error(self):
        client = self.chief()
        for name, door in DOORS.items():
            if not door.get or door.of == "template":
                continue
            names = {"q", "page", "per_page", "sort", "export", "station", "which", "as_of", "known_at", "code", "unit"}
            names |= {"owner", "since", "until", "by", "file", "before", "next", "choose", "kind", "incident"}
            address = self.near.address(name)
            for form in forms_of(client.get(address)).values():
                names |= set(form.fields)
            for mixed in mixtures(sorted(names)):
                status = client.get(address, mixed).status_code
                assert status in (200, 302, 410, door.get.status), (address, mixed, status)

    def test_sorting_goes_by_columns_of_the_table_only(self):
        client = self.chief()
        for sort in ("__class__", "user__password", "-user__password", "pk", "department__slug", ",", "name,-name"):
            for name in ("people", "containers", "movements", "changes", "lots", "stock", "reference_units"):
                assert client.get(reverse(name), {"sort": sort}).status_code == 200

    def test_nothing_that_is_typed_is_an_error(self):
        """Every form, every field at once."""
        client = self.chief()
        for name in sorted(FILLED):
            address, posted = filled(client, self.near, name)
            fields = _fields(client, self.near, name)
            for mixed in mixtures(fields):
                with undone():
                    answer = client.post(address, {**posted, **mixed, **_units(posted)})
                    assert answer.status_code in (200, 302, 404), (name, mixed, answer.status_code)

    def test_nothing_that_is_typed_into_one_field_is_an_error(self):
        """The rest of the form is right, so that what is wrong gets as far as it can."""
        client, turn = self.chief(), 0
        for name in sorted(FILLED):
            address, posted = filled(client, self.near, name)
            for field in _fields(client, self.near, name):
                turn = (turn + 1) % len(POISONS)  # all fields together get all of them many times
                with undone():
                    answer = client.post(address, {**posted, field: POISONS[turn]})
                    assert answer.status_code in (200, 302, 404), (name, field, POISONS[turn])

    def test_what_a_form_does_not_have_is_not_set(self):
        """Names of columns beside the fields: of another department, of rights, of the record's own number."""
        far = self.world.far
        more = {
            "id": far.cast.station.pk,
            "pk": far.cast.station.pk,
            "department": far.department.pk,
            "department_id": far.department.pk,
            "closed_on": "2026-01-01",
            "retired_on": "2026-01-01",
            "is_superuser": "on",
            "is_staff": "on",
            "username": "root",
            "password": "x",
            "recorded_by": far.chief().pk,
            "identity": "command",
            "contents_ml": "999999",
            "user": far.chief().pk,
        }
        client, before = self.chief(), set(Movement.objects.values_list("pk", flat=True))
        for name in ("reference_station_add", "invite", "receive", "use", "check_unit", "reference_unit_change"):
            address, posted = filled(client, self.near, name)
            assert client.post(address, {**posted, **more}).status_code in (200, 302)
        made = Station.objects.get(name="Hilltop")
        assert (made.department, made.closed_on) == (self.near.department, None)
        ada = User.objects.get(email="ada@quay.example")
        assert (ada.is_superuser, ada.is_staff, ada.username) == (False, False, "ada@quay.example")
        assert Membership.objects.get(user=ada).department == self.near.department
        posted_now = Movement.objects.exclude(pk__in=before)
        assert set(posted_now.values_list("kind", flat=True)) == {"received", "used"}
        assert set(posted_now.values_list("department", "recorded_by", "identity")) == {
            (self.near.department.pk, self.near.chief().pk, "password")
        }
        assert Check.objects.filter(by=self.near.chief(), department=self.near.department).count() == 1
        unit = Unit.objects.get(pk=self.near.unit.pk)
        assert (unit.department, unit.retired_on, unit.designation) == (self.near.department, None, "Renamed")

    def test_more_fields_than_a_form_may_have_are_refused(self):
        many = {f"f{n}": "1" for n in range(2_600)}
        assert self.chief().post(reverse("use"), many).status_code == 400

    def test_other_verbs_do_nothing(self):
        client, before = self.chief(), everything()
        for name, door in DOORS.items():
            if door.public:
                continue
            for verb in ("PUT", "PATCH", "DELETE", "TRACE", "PROPFIND"):
                assert client.generic(verb, self.near.address(name)).status_code == 405, (name, verb)
        assert everything() == before

    def test_a_body_that_is_no_form_is_no_error(self):
        client = self.chief()
        for name in ("use", "workbook", "check_unit", "choose_units", "workbook_confirm"):
            address = self.near.address(name)
            for body, kind in (
                (b"\xff\xfe\x00", "application/x-www-form-urlencoded"),
                (b"{]", "application/json"),
                (b"--x\r\nbroken", "multipart/form-data; boundary=x"),
                (b"", "multipart/form-data"),
                (b"a=1", "text/plain; charset=nonsense"),
                (b"a=%ED%A0%80", "application/x-www-form-urlencoded; charset=utf-16"),
            ):
                answer = client.generic("POST", address, body, content_type=kind)
                assert answer.status_code in (200, 302, 400), (name, body, answer.status_code)


def _fields(client: Client, house: House, name: str) -> list[str]:
    """The names under which a form posts, from its fields."""
    address = house.address(DRAWN_ON[name]) if name in DRAWN_ON else house.address(name) + chosen(house, name)
    drawn = Page(client.get(address).content.decode())
    names = {each for form in drawn.forms if form.method == "post" for each in form.fields}
    return sorted((names | set(FILLED[name](house))) - {"csrfmiddlewaretoken"})


def _units(posted: dict[str, list[str]]) -> dict[str, list[str]]:
    """The units beside numbers: left as they are, so that the number is read."""
    return {name: value for name, value in posted.items() if name.endswith("_unit")}


class WhoSentIt(Hostile):
    """Forged requests: from other sites, under other names, with numbers of entries that were used."""

    def test_every_form_asks_for_the_browsers_own_token(self):
        before = everything()
        for name, door in DOORS.items():
            if door.post:
                client = self.chief(enforce_csrf_checks=True)
                answer = client.post(self.near.address(name), {"csrfmiddlewaretoken": "a" * 64})
                assert answer.status_code == 403, name
        assert everything() == before

    def test_the_token_is_asked_of_strangers_too(self):
        for name in ("sign_in", "sign_out", "password_reset"):
            assert Client(enforce_csrf_checks=True).post(reverse(name), {"name": "x"}).status_code == 403

    def test_a_post_from_another_site_is_refused_even_with_a_token(self):
        client = self.chief(enforce_csrf_checks=True)
        token = re.search(r'csrfmiddlewaretoken" value="([^"]+)"', client.get(reverse("use")).content.decode())
        assert token is not None
        body = {"csrfmiddlewaretoken": token[1]}
        assert client.post(reverse("use"), body).status_code == 200
        assert client.post(reverse("use"), body, headers={"Origin": "https://evil.example"}).status_code == 403

    def test_nobody_is_sent_to_another_site(self):
        elsewhere = (
            "https://evil.example/",
            "//evil.example/",
            "///evil.example/",
            "/\\evil.example/",
            "\\\\evil.example",
            "http:evil.example",
            "http:///evil.example",
            "[]",
            "people",  # the name of a page
            "sign_out",
            "javascript:alert(1)",
            "data:text/html,x",
            " //evil.example",
            "\t//evil.example",
            "//testserver@evil.example/",
            "https://testserver.evil.example/",
            "/stock/\r\nSet-Cookie: a=b",
            "/%0d%0aSet-Cookie:a=b",
            NUL,
        )
        chief = self.near.chief()
        chief.set_password("a long passphrase")
        chief.save()
        for asked in elsewhere:
            with undone():
                sign_in = {"name": chief.username, "password": "a long passphrase", "next": asked}
                for answer in (
                    Client().post(reverse("sign_in"), sign_in),
                    Client().post(f"{reverse('sign_in')}?{urlencode({'next': asked})}", {**sign_in, "next": ""}),
                    self.chief().post(reverse("choose_units"), {"units": "us", "next": asked}),
                ):
                    assert answer.status_code == 302, asked
                    where = urlsplit(answer["Location"])
                    assert (where.scheme, where.netloc) == ("", ""), asked
                    assert where.path.startswith("/")
                    assert not re.search(r"[\r\n]", answer["Location"])
                    assert "a" not in answer.cookies

    def test_the_way_back_to_a_page_is_only_ones_own_path(self):
        answer = Client().get("/stock/?q=%0d%0aSet-Cookie:a=b&next=//evil.example")
        assert answer["Location"].startswith("/sign-in/?next=/stock/")
        assert not re.search(r"[\r\n]", answer["Location"])
        assert Client().get("//evil.example/stock/").status_code in (302, 404)

    def test_the_session_changes_when_somebody_signs_in(self):
        chief = self.near.chief()
        chief.set_password("a long passphrase")
        chief.save()
        client = Client()
        client.cookies["sessionid"] = "chosenbythethief" * 2
        client.post(reverse("sign_in"), {"name": chief.username, "password": "a long passphrase"})
        mine = client.cookies["sessionid"].value
        assert mine != "chosenbythethief" * 2
        thief = Client()
        thief.cookies["sessionid"] = "chosenbythethief" * 2
        assert thief.get(reverse("account")).status_code == 302
        assert client.cookies["sessionid"]["httponly"]
        assert client.cookies["sessionid"]["samesite"] == "Lax"
        client.post(reverse("sign_out"))
        after = Client()
        after.cookies["sessionid"] = mine
        assert after.get(reverse("account")).status_code == 302, "the session is gone from the server"

    def test_what_one_person_chose_is_not_the_next_ones(self):
        client = self.chief()
        client.post(reverse("my_unit"), {"unit": self.near.unit.pk})
        client.force_login(self.world.far.chief())
        assert client.get(reverse("my_unit")).status_code == 200, "a session is emptied for another person"

    def test_another_host_is_refused(self):
        for host in ("evil.example", "testserver.evil.example", "testserver@evil.example", "evil.example:80"):
            assert Client().get(reverse("sign_in"), headers={"host": host}).status_code == 400
        answer = Client().get(reverse("sign_in"), headers={"X-Forwarded-Host": "evil.example"})
        assert b"evil.example" not in answer.content

    def test_a_mailed_link_names_no_other_host(self):
        User.objects.filter(pk=self.near.chief().pk).update(email="mara@quay.example")
        chief = User.objects.get(pk=self.near.chief().pk)
        chief.set_password("a long passphrase")
        chief.save()
        Client().post(
            reverse("password_reset"), {"email": "mara@quay.example"}, headers={"X-Forwarded-Host": "evil.example"}
        )
        Client().post(reverse("password_reset"), {"email": "mara@quay.example\r\nBcc: thief@evil.example"}, headers={})
        assert len(mail.outbox) == 1
        assert mail.outbox[0].recipients() == ["mara@quay.example"]
        assert "http://testserver/password/" in mail.outbox[0].body
        assert "evil" not in mail.outbox[0].body

    def test_an_invitation_has_no_second_recipient_and_no_second_header(self):
        client = self.chief()
        address, posted = filled(client, self.near, "invite")
        for email in (
            "a@quay.example\r\nBcc: b@evil.example",
            "a@quay.example,b@evil.example",
            "a@quay.example b@x.example",
        ):
            assert client.post(address, {**posted, "email": email}).status_code == 200
        Department.objects.filter(pk=self.near.department.pk).update(name="Quay\r\nBcc: b@evil.example")
        client.post(address, {**posted, "email": "a@quay.example"})
        for sent in mail.outbox:
            assert sent.recipients() == ["a@quay.example"]
            assert "\n" not in str(sent.message()["Subject"]).replace("\n ", "")


class NumbersOfEntries(Hostile):
    """The number that a form was drawn with, used again."""

    def use(self, client: Client, house: House, number: str, **more: str) -> Any:
        """A use of a liter under that number."""
        address, posted = filled(client, house, "use")
        return client.post(address, {**posted, **more, "entry_id": number})

    def test_by_the_same_person(self):
        client, number = self.chief(), str(uuid4())
        assert self.use(client, self.near, number).status_code == 302
        after = everything()
        assert self.use(client, self.near, number).status_code == 302, "the same again"
        assert everything() == after
        again = self.use(client, self.near, number, volume_number="2")
        assert again.status_code == 200
        assert "confirmed before with another content" in again.content.decode()
        assert everything() == after

    def test_by_another_person_of_the_department(self):
        number = str(uuid4())
        assert self.use(self.chief(), self.near, number).status_code == 302
        other, after = browser(self.near.cast.people[Role.CREW]), everything()
        assert self.use(other, self.near, number, volume_number="2").status_code == 200
        assert self.use(other, self.near, number).status_code == 302
        assert everything() == after
        assert Movement.objects.get(pk=number).recorded_by == self.near.chief()

    def test_in_another_department(self):
        number = str(uuid4())
        assert self.use(self.chief(), self.near, number).status_code == 302
        after = everything()
        answer = self.use(browser(self.world.far.chief()), self.world.far, number)
        assert answer.status_code == 200
        assert self.near.container.code not in answer.content.decode().replace(self.world.far.container.code, "")
        assert everything() == after

    def test_of_a_movement_of_another_department(self):
        before = everything()
        answer = self.use(self.chief(), self.near, str(self.world.far.movement.pk))
        assert answer.status_code == 200
        assert everything() == before

    def test_of_a_check(self):
        client = self.chief()
        address, posted = filled(client, self.near, "check_unit")
        before = everything()
        for check in (self.near.check, self.world.far.check):
            answer = client.post(address, {**posted, "entry_id": str(check.pk)})
            assert answer.status_code == 200, "another's check is not mine to repeat"
            assert "already" in answer.content.decode()
        assert everything() == before

    def test_between_two_kinds_of_entries(self):
        client, number = self.chief(), str(uuid4())
        assert self.use(client, self.near, number).status_code == 302
        after = everything()
        for name in ("quarantine", "recall", "container_sample", "move"):
            address, posted = filled(client, self.near, name)
            answer = client.post(address, {**posted, "entry_id": number})
            assert answer.status_code == 200, name
            assert everything() == after

    def test_spoilt_ones_are_said(self):
        client = self.chief()
        for number in ("", "1", "x" * 500, NUL, "00000000-0000-0000-0000-00000000000g"):
            answer = self.use(client, self.near, number)
            assert answer.status_code == 200
            assert "entry number" in answer.content.decode()


HEADERS = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


class Headers(Hostile):
    """On every answer, whatever its status."""

    def test_no_page_can_be_framed_kept_or_guessed_at(self):
        client = self.chief()
        statuses = set()
        for name, door in DOORS.items():
            for method in ("get", "post"):
                with undone():
                    answer = getattr(client if not door.public else Client(), method)(self.near.address(name))
                statuses.add(answer.status_code)
                assert {header: answer.headers.get(header) for header in HEADERS} == HEADERS, (name, method)
                assert "no-store" in answer.headers["Cache-Control"]
                policy = answer.headers["Content-Security-Policy"]
                for part in ("default-src 'self'", "script-src 'self'", "frame-ancestors 'none'", "form-action 'self'"):
                    assert part in policy
                assert "unsafe" not in policy
        assert statuses >= {200, 302, 405, 409, 410}

    def test_on_refusals_too(self):
        answers = [
            self.chief().get("/units/999999999/"),
            browser(self.near.cast.people[Role.CREW]).get(reverse("people")),
            Client().get("/", headers={"host": "evil.example"}),
            self.chief(enforce_csrf_checks=True).post(reverse("use")),
            Client().post("/sign-in/", b"x", content_type="text/plain", CONTENT_LENGTH=str(MOST_REQUEST_BYTES + 1)),
        ]
        assert [answer.status_code for answer in answers] == [404, 403, 400, 403, 413]
        for answer in answers:
            assert answer.headers["X-Frame-Options"] == "DENY"
            assert "no-store" in answer.headers["Cache-Control"]
            assert answer.headers["Content-Security-Policy"]

    def test_pages_have_no_script_or_style_of_their_own(self):
        client = self.chief()
        for name, door in DOORS.items():
            answer = client.get(self.near.address(name)) if door.get else None
            if answer is None or not answer.get("Content-Type", "").startswith("text/html"):
                continue
            html = answer.content.decode()
            page = Page(html)
            assert "style" not in page.attributes | page.tags, name
            assert not {each for each in page.attributes if each.startswith("on")}, name
            assert not re.search(r"<script(?![^>]*\bsrc=)", html), name
            assert not [each for each in page.addresses if re.match(r"(?:[a-z]+:)?//", each)], name

    def test_a_list_is_drawn_as_django_draws_it(self):
        """Its entries are written in one go, for a list of a thousand stations."""
        groups = [("<b>", [("1", "a"), ("2", TEXT)]), ("one", "\"'<zzz>"), ("", "none")]
        for chosen_one in ("1", "2", "one", "", None):
            field = forms.Select({"class": "wide", "aria-label": TEXT}, groups)
            ours, theirs = (
                re.sub(r"\s+", " ", field.render("name", chosen_one, renderer=each)) for each in (Renderer(), Plain())
            )
            assert ours.replace("> <", "><") == theirs.replace("> <", "><")

    def test_files_are_served_from_their_folder_only(self):
        for path in ("../settings.py", "%2e%2e/settings.py", "..%2fsettings.py", "readiness/../../settings.py", "%00"):
            assert Client().get(f"/static/{path}").status_code == 404


# -- what is typed to be read by others --------------------------------------------------------------------------------

TEXT = "=\"'><zzz onx=1>"  # leaves an attribute, opens an element, begins a formula


OWN_TOTAL = re.compile(r"=SUBTOTAL\(109,([A-Z]+)2:\1[0-9]+\)")  # the product's own formulas, and the only ones


class Typed(TestCase):
    """A department in which every name, note, reason and number is hostile."""

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once."""
        cls.house = House(TEXT)
        house = cls.house
        Department.objects.filter(pk=house.department.pk).update(name=TEXT)
        entry = house.rig.entry(reason=TEXT, incident=TEXT)
        movements.use(entry, container=house.container, ml=100, account=Account.INCIDENT)
        words = tuple(
            read._replace(answer=Answer.FAULT, words=TEXT) if read.container == house.tank.pk else read
            for read in house.rig.good()
        )
        cls.check = house.rig.checked((*words, Read(Answer.FAULT, item=TEXT, words=TEXT)), name="hostile").check
        Check.objects.filter(pk=cls.check.pk)
        Submission.objects.update(body={TEXT: TEXT, "container": TEXT, "list": [TEXT]}, why=TEXT, kind=TEXT[:24])
        house.rig.judge()
        Deficiency.objects.filter(unit=house.unit).update(note=TEXT, owner=house.chief(), due_on=None)
        Container.objects.filter(pk=house.container.pk).update(code=TEXT[:24])
        User.objects.filter(memberships__department=house.department).update(first_name=TEXT, last_name=TEXT)

    def pages(self) -> Iterator[tuple[str, str]]:
        """Every page for the chief, and each form posted hostile."""
        client = browser(self.house.chief())
        for name, door in DOORS.items():
            address = self.house.address(name)
            if door.get:
                for query in ("", f"?q={TEXT}&sort={TEXT}&unit={TEXT}&owner={TEXT}&code={TEXT}&as_of={TEXT}"):
                    answer = client.get(address + query)
                    if answer.get("Content-Type", "").startswith("text/html"):
                        yield f"GET {address}{query}", answer.content.decode()
        for name in sorted(FILLED):
            address, posted = filled(client, self.house, name)
            for more in (dict.fromkeys(posted, TEXT), {}):
                with undone():
                    sent = {key: value for key, value in {**posted, **more}.items() if key not in ("confirm", "save")}
                    answer = client.post(address, sent, follow=True)
                yield f"POST {address}", answer.content.decode()

    def test_it_is_read_as_text_on_every_page(self):
        hostile = 0
        for where, html in self.pages():
            page = Page(html)
            assert "zzz" not in page.tags, where
            assert not {each for each in page.attributes if each.startswith("onx")}, where
            hostile += "&lt;zzz" in html
        assert hostile > 120

    def test_it_is_text_in_every_workbook(self):
        client, texts = browser(self.house.chief()), 0
        for name, door in DOORS.items():
            if not door.get:
                continue
            answer = client.get(self.house.address(name), {"export": "xlsx"})
            if not answer.get("Content-Type", "").startswith("application/vnd"):
                continue
            book = load_workbook(io.BytesIO(answer.getvalue()))
            for sheet in book:
                for cell in (cell for row in sheet.iter_rows() for cell in row):
                    if name == "audit_workbook" and OWN_TOTAL.fullmatch(str(cell.value)):
                        continue
                    assert cell.data_type != "f", (name, cell.coordinate)
                    if str(cell.value or "x")[:1] in "=+-@\t\r" and isinstance(cell.value, str):
                        assert cell.quotePrefix, (name, cell.value)
                        texts += 1
            assert not re.search(r"[\r\n\"]", answer["Content-Disposition"].replace('"', "", 2))
        assert texts > 20

    def test_it_is_no_header_of_a_mail(self):
        client = browser(self.house.chief())
        address, posted = filled(client, self.house, "invite")
        client.post(address, posted)
        assert len(mail.outbox) == 1
        assert mail.outbox[0].message()["Subject"].count("\n") == 0


# -- what is uploaded --------------------------------------------------------------------------------------------------


def _zip(**parts: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, body in parts.items():
            archive.writestr(name.replace("__", "/").replace("_dot_", "."), body)
    return out.getvalue()


def _book() -> bytes:
    out = io.BytesIO()
    book = Workbook()
    book.active.append(["=HYPERLINK(1)", "<zzz>"])
    book.save(out)
    return out.getvalue()


UPLOADS = {
    "a bomb of zeros": _zip(xl__worksheets__sheet1_dot_xml=b"0" * 90_000_000),
    "macros": _zip(xl__vbaProject_dot_bin=b"x", xl__workbook_dot_xml=b"<workbook/>"),
    "a way out of the folder": _zip(____etc__passwd=b"x"),
    "entities": _zip(xl__workbook_dot_xml=b'<!DOCTYPE x [<!ENTITY a "aaaa">]><workbook>&a;</workbook>'),
    "no workbook": b"PK\x03\x04" + b"x" * 100,
    "a picture": b"\x89PNG\r\n\x1a\n",
    "nothing but a letter": b"a",
    "another's workbook": _book(),
}


class Uploaded(Hostile):
    """Files that are none, or worse."""

    def send(self, data: bytes, name: str = "x.xlsx") -> Any:
        """As the upload page does."""
        return self.chief().post(reverse("workbook"), {"file": SimpleUploadedFile(name, data)}, follow=True)

    def test_each_is_answered_with_a_sentence_and_changes_nothing(self):
        before = everything()
        for what, data in UPLOADS.items():
            for name in ("x.xlsx", "x.xlsm", "../../x.xlsx", "x\x00.xlsx", "<zzz>.xlsx", "con", "a" * 300):
                answer = self.send(data, name)
                assert answer.status_code == 200, (what, name)
                html = answer.content.decode()
                assert " was read" in html or "Faults" in html, (what, name)
                assert "zzz" not in Page(html).tags
            assert everything() == before, what

    def test_what_is_larger_is_refused_before_it_is_read(self):
        answer = self.chief().post(reverse("workbook"), {"file": SimpleUploadedFile("x.xlsx", b"0" * 25_000_000)})
        assert answer.status_code == 413
        assert f"{MOST_BYTES // 1_000_000} MB" in answer.content.decode()

    def test_a_form_larger_than_any_form_is_refused(self):
        answer = self.chief().post(reverse("use"), {"reason": "x" * 6_000_000})
        assert answer.status_code == 413

    def test_a_length_that_is_no_number_is_no_error(self):
        for length in ("x", "-1", "1" * 30, ""):
            answer = Client().post("/sign-in/", b"name=a", content_type="text/plain", CONTENT_LENGTH=length)
            assert answer.status_code in (200, 403, 413)

    def test_a_ticket_is_its_senders(self):
        ticket = self.chief().post(reverse("workbook"), {"file": SimpleUploadedFile("x.xlsx", _book())})["Location"]
        name = ticket.strip("/").rsplit("/", 1)[1]
        before = everything()
        for client in (browser(self.world.far.chief()), browser(self.near.cast.people[Role.LOGISTICS])):
            assert "no longer kept here" in client.get(ticket).content.decode()
            for sent in (name, name[:-2], "../" * 9 + "etc/passwd", NUL, ""):
                answer = client.post(reverse("workbook_confirm"), {"file": sent})
                assert answer.status_code == 200
                assert "no longer kept here" in answer.content.decode()
        assert everything() == before


@pytest.mark.django_db
def test_the_password_of_nobody_is_told_by_the_answer(cast):
    """A name that there is and one that there is not are answered alike."""
    known = Client().post(reverse("sign_in"), {"name": cast.people[Role.CREW].username, "password": "wrong"})
    unknown = Client().post(reverse("sign_in"), {"name": "nobody.at.all", "password": "wrong"})
    pages = [re.sub(r'value="[^"]*"', "", answer.content.decode()) for answer in (known, unknown)]
    assert pages[0] == pages[1]
