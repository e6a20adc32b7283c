"""A browser of nobody, and one signed in for each role."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from readiness.models import Role, User
from readiness.web import access
from tests.cast import CLOCK, Cast


@pytest.fixture(autouse=True)
def _six_o_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages are looked at when the cast's day begins."""
    monkeypatch.setattr(access, "CLOCK", CLOCK)


@pytest.fixture
def as_role(cast: Cast) -> Callable[[Role], Client]:
    """A browser signed in as the cast's person of that role."""

    def browser(role: Role) -> Client:
        return as_person(cast.people[role])

    return browser


def as_person(user: User) -> Client:
    """A browser signed in as anybody."""
    client = Client()
    client.force_login(user)
    return client
