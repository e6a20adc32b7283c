"""Who may open and change what: every address, role and method, and every action, by hand-written tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import transaction
from django.test import Client, TestCase
from django.urls import reverse

from readiness.models import Role, User
from tests.web.doors import DOORS, FAR, SHARED, Door, Way, World, patterns

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
