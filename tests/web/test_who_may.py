"""Who may open and change what: every address, role and method, and every action, by hand-written tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import transaction
from django.forms import BaseForm, ModelChoiceField
from django.test import Client, TestCase
from django.urls import reverse

from readiness.models import Role, User
from readiness.web.column_fields import RigField
from readiness.web.entries import CodeField, CodesField, OwnerField
from tests.web.doors import (
    DOORS,
    FAR,
    FILLED,
    SHARED,
    Door,
    House,
    Page,
    Posted,
    Way,
    World,
    everything,
    filled,
    patterns,
)

METHODS = ("GET", "POST")
SIGN_IN = "/sign-in/?next="


def browser(user: User | None, **values: Any) -> Client:
    """A browser of somebody, or of nobody."""
    client = Client(**values)
    if user is not None:
        client.force_login(user)
    return client


@contextmanager
def undone() -> Iterator[None]:
    """Whatever was done is taken back, so that the next person finds everything as it was."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def test_every_address_stands_in_the_table_and_nothing_else_does():
    assert set(DOORS) == set(patterns())


def test_every_number_in_an_address_is_of_a_noun_that_the_table_names():
    numbered = {name for name, pattern in patterns().items() if pattern.pattern.converters}
    assert numbered == {name for name, door in DOORS.items() if door.of}


# -- role × address × method × department --------------------------------------------------------------------------------


class WhoMayOpenWhat(TestCase):
    """A test for each address: all roles, a stranger, and the chief of another department, by GET and an empty POST."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; every request is undone."""
        cls.world = World()

    def status(self, user: User | None, method: str, address: str) -> Any:
        """The status; for a redirect to the sign-in page "sign in". An exception in a view fails the test here."""
        with undone():
            answer = browser(user).generic(method, address, content_type="application/x-www-form-urlencoded")
        if answer.status_code == 302 and answer["Location"].startswith(SIGN_IN):
            return "sign in"
        return answer.status_code

    def found(self, name: str) -> dict[tuple[str, str], Any]:
        """What everybody gets."""
        near, far = self.world.near, self.world.far
        address = near.address(name)
        people: dict[str, User | None] = {role.value: near.cast.people[role] for role in Role}
        people |= {"stranger": None, "other department": far.chief()}
        return {(who, method): self.status(user, method, address) for who, user in people.items() for method in METHODS}


def wanted(door: Door) -> dict[tuple[str, str], Any]:
    """What everybody should get, by the table."""
    ways = {"GET": door.get, "POST": door.post}
    found: dict[tuple[str, str], Any] = {}
    for method, way in ways.items():
        for role in Role:
            found[role.value, method] = _of_role(way, role)
        found["stranger", method] = _of_role(way, Role.CHIEF) if door.public else "sign in"
        owned = door.of and door.of not in SHARED
        found["other department", method] = 404 if owned and way else _of_role(way, Role.CHIEF)
    return found


def _of_role(way: Way | None, role: Role) -> int:
    if way is None:
        return 405
    return way.status if role in way.roles else 403


def _case(name: str) -> Callable[[WhoMayOpenWhat], None]:
    def test(self: WhoMayOpenWhat) -> None:
        assert self.found(name) == wanted(DOORS[name])

    return test


for _name in DOORS:
    setattr(WhoMayOpenWhat, f"test_{_name}", _case(_name))


# -- forms that are filled in --------------------------------------------------------------------------------------------

ONLY_ONESELF = {"choose_department", "choose_units", "my_unit"}  # kept in the session: nothing in the department changes


class WhoMayDoWhat(TestCase):
    """A test for each form, filled in so that it is done: by whom it may be, and by nobody else."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()

    def check(self, name: str) -> None:
        """Those who may change something; others are refused with 403, outsiders with 404, and nothing is changed."""
        near = self.world.near
        address, posted = filled(browser(near.chief()), near, name)
        before, way = everything(), DOORS[name].post
        assert way is not None
        for role in Role:
            with undone():
                answer = browser(near.cast.people[role]).post(address, posted)
                changed = everything() != before
            done = role in way.roles
            assert (answer.status_code in (200, 302)) == done, f"{role}: {answer.status_code}"
            assert changed == (done and name not in ONLY_ONESELF), f"{role}: {_said(answer)}"
        self.refused_outside(name, address, posted, before)

    def refused_outside(self, name: str, address: str, posted: Posted, before: Any) -> None:
        """A stranger has to sign in first; for the chief of another department the record does not exist."""
        with undone():
            answer = browser(None).post(address, posted)
            assert everything() == before
        assert answer.status_code == 302
        assert answer["Location"].startswith(SIGN_IN)
        if DOORS[name].of:
            with undone():
                answer = browser(self.world.far.chief()).post(address, posted)
                assert everything() == before
            assert answer.status_code == 404


def _said(answer: Any) -> str:
    """The sentences of a form that came back."""
    forms = _forms(answer) if answer.context else {}
    return f"{answer.status_code} {[dict(form.errors) for form in forms.values()]}"


def _forms(answer: Any) -> dict[str, Any]:
    """The forms that a page was drawn with, filters among them, by their names."""
    found: dict[str, Any] = {}
    for context in answer.context or ():
        for layer in context.dicts:
            for name, value in layer.items():
                form = value if isinstance(value, BaseForm) else getattr(value, "form", None)
                if isinstance(form, BaseForm):
                    found[name] = form
    return found


def _done_case(name: str) -> Callable[[WhoMayDoWhat], None]:
    def test(self: WhoMayDoWhat) -> None:
        self.check(name)

    return test


for _name in sorted(FILLED):
    setattr(WhoMayDoWhat, f"test_{_name}", _done_case(_name))


def test_every_form_is_filled_in_somewhere():
    unfilled = {name for name, door in DOORS.items() if door.post and not door.public} - set(FILLED)
    assert unfilled == {
        "password_change",  # tests/web/test_accounts.py
        "withdraw_acceptance",  # has no field
        "workbook",  # takes a file: below, and tests/web/test_workbooks.py
        "workbook_confirm",
        *(f"reference_{one}_{verb}" for one in RETIRABLE for verb in ("retire", "back")),  # have no field
    }


RETIRABLE = ("fuel", "duty", "unit", "vehicle", "foam_line", "station")


# -- another department's numbers and names ------------------------------------------------------------------------------


def foreign(form: Any, far: House) -> dict[str, str]:
    """The fields that name a record, each with what would name the other department's."""
    found: dict[str, str] = {}
    for name, field in form.fields.items():
        if field.disabled:
            continue
        value = _foreign(field, far)
        if value:
            found[form.add_prefix(name)] = value
    return found


def _foreign(field: Any, far: House) -> str:
    if isinstance(field, ModelChoiceField):  # several, and the product's own kinds, derive from it
        model = field.queryset.model
        if model is User:
            return str(far.cast.people[Role.CREW].pk)
        return str(next(each.pk for each in far.records().values() if type(each) is model))
    if isinstance(field, OwnerField | RigField):
        return f"unit-{far.unit.pk}"
    if isinstance(field, CodeField | CodesField) and not getattr(field, "new", False):
        return far.container.code
    return ""


class NamesOfOthers(TestCase):
    """Whatever names another department's record is refused with a sentence, and changes nothing."""

    world: World

    @classmethod
    def setUpTestData(cls) -> None:
        """Built once; whatever is done is undone."""
        cls.world = World()

    def test_every_field_of_every_form_refuses_them(self):
        near, far = self.world.near, self.world.far
        client, before = browser(near.chief()), everything()
        tried: set[tuple[str, str]] = set()
        for name in sorted(FILLED):
            address, posted = filled(client, near, name)
            with undone():
                drawn = client.post(address, {key: value for key, value in posted.items() if key not in ("confirm", "save")})
                forms = _forms(drawn) or _forms(client.get(address)) if DOORS[name].get else _forms(drawn)
            for field, value in {each: at for form in forms.values() for each, at in foreign(form, far).items()}.items():
                with undone():
                    answer = client.post(address, {**posted, field: [value]})
                    assert everything() == before, (name, field, value)
                said = [sentence for form in _forms(answer).values() for sentence in form.errors.get(field, [])]
                assert answer.status_code == 200, (name, field)
                assert said, (name, field)
                assert all(len(sentence) > 20 for sentence in said)
                assert FAR not in "".join(said).replace(value, "")
                tried.add((name, field))
        print(sorted(tried))
        assert tried == NAMING, "a field that names a record came or went: see that it is tried"


NAMING: set[tuple[str, str]] = set()
