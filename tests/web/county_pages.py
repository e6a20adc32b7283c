"""The demo's county on pages: loaded and judged once a module, each test undone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.db import transaction
from django.test import Client

from readiness.actions.clock import StoppedClock
from readiness.actions.nights import run_night
from readiness.models import Department, Unit, User
from readiness.web import access
from tests.county import LOCAL_SIX, loaded
from tests.web.conftest import as_person

LATER = LOCAL_SIX + timedelta(minutes=5)


@pytest.fixture(scope="module")
def county_once(django_db_setup: None, django_db_blocker: Any) -> Iterator[Department]:
    """The county after its night at D0, with its people."""
    with django_db_blocker.unblock(), transaction.atomic():
        department = loaded()
        run_night(departments=[department], clock=StoppedClock(LOCAL_SIX))
        yield department
        transaction.set_rollback(True)


@pytest.fixture
def county(county_once: Department, _six_o_clock: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[Department]:
    """The same, five minutes after the night; what a test does is undone."""
    look_at(LATER, monkeypatch)
    with transaction.atomic():
        yield county_once
        transaction.set_rollback(True)


@pytest.fixture(name="_django_db_helper")
def county_s_own_transaction(county: Department) -> None:
    """Stands in for pytest-django's transaction a test, whose end closes the connection that holds the county."""


def look_at(at: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages are looked at at that moment."""
    monkeypatch.setattr(access, "CLOCK", StoppedClock(at))


def sign_in(name: str = "chief") -> Client:
    """A browser of one of the county's people."""
    return as_person(User.objects.get(username=name))


def unit(name: str) -> Unit:
    """A unit by its designation."""
    return Unit.objects.get(designation=name, department__name="Port Ansley Fire Department")


def words(html: bytes | str) -> str:
    """What a page says, without its markup."""
    text = html.decode() if isinstance(html, bytes) else html
    text = re.sub(r"<(style|svg|title).*?</\1>", " ", text, flags=re.S)
    text = re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))
    return re.sub(r" ([,.;:”)])", r"\1", text).replace("“ ", "“").replace("( ", "(")


def row_of(html: bytes, name: str) -> str:
    """What the fleet's list says of one unit."""
    bodies = re.findall(r"<tbody.*?</tbody>", html.decode(), flags=re.S)
    return next(words(body) for body in bodies if re.search(rf">{re.escape(name)}</a>", body))


def listed(html: bytes) -> list[str]:
    """The units of the fleet's list, in its order."""
    return re.findall(r'class="who"><a [^>]*>([^<]+)</a>', html.decode())
