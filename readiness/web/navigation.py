"""The frame around every page: who, which department, what time, and the doors of the role."""

from __future__ import annotations

from typing import Any, NamedTuple

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from readiness.models import Role
from readiness.web.access import Here, here_or_none
from readiness.web.moments import moment_text
from readiness.web.preferences import CHOICES

_ALL = frozenset(Role)
_HANDS = frozenset({Role.CREW, Role.OFFICER})
_STOCK = frozenset({Role.LOGISTICS, Role.CHIEF})


class Door(NamedTuple):
    """A page of the navigation: its word, the name of its url, and for whom it is shown."""

    word: str
    url: str
    roles: frozenset[Role]


DOORS = (  # in the order of the page; a door is shown only when a page of that name exists
    Door("My unit", "my_unit", _HANDS),
    Door("Fleet", "fleet", _ALL),
    Door("Stock", "stock", _ALL),
    Door("Inventories", "inventories", _ALL),
    Door("Receiving and moving", "moving", _ALL),
    Door("Planning", "planning", _ALL - _HANDS),
    Door("Movements", "movements", _ALL - _HANDS),
    Door("Worksheet", "worksheets", _ALL),
    Door("Deficiencies", "deficiencies", _ALL),
    Door("Inspections", "inspections", _ALL),
    Door("Held entries", "held", frozenset({Role.OFFICER, Role.LOGISTICS, Role.CHIEF})),
    Door("Labels", "labels", frozenset({Role.OFFICER, Role.LOGISTICS, Role.CHIEF})),
    Door("Workbook", "workbook", _STOCK),
    Door("Drills", "drills", frozenset({Role.INSTRUCTOR, Role.CHIEF})),
    Door("Reference", "reference", _ALL),
    Door("Policy", "policy", _ALL - _HANDS),
    Door("Changes", "changes", _STOCK),
    Door("People", "people", frozenset({Role.CHIEF})),
)


class Shown(NamedTuple):
    """A door as drawn."""

    word: str
    address: str
    current: bool


class Frame(NamedTuple):
    """What base.html shows around a page."""

    here: Here
    doors: tuple[Shown, ...]
    as_of: str
    units: tuple[tuple[str, str, bool], ...]


def address_of(name: str) -> str | None:
    """Where the page of that name is, or None while there is none."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return None


def first_page(here: Here) -> str:
    """The name of the page that the role needs first, among those there are; the account page at last."""
    wanted = ("my_unit", "fleet") if here.role in _HANDS else ("fleet",)
    return next((name for name in wanted if address_of(name)), "account")


def frame(request: HttpRequest) -> dict[str, Any]:
    """The context of every page; reads nothing until a template asks for it."""
    return {"frame": SimpleLazyObject(lambda: _frame(request)), "units": SimpleLazyObject(lambda: _units(request))}


def _units(request: HttpRequest) -> str:
    present = here_or_none(request)
    return present.units if present else "us"


def _frame(request: HttpRequest) -> Frame | None:
    present = here_or_none(request)
    if present is None:
        return None
    return Frame(
        here=present,
        doors=tuple(_doors(present, request.path)),
        as_of=moment_text(present.department, present.now),
        units=tuple((key, word, key == present.units) for key, word in CHOICES),
    )


def _doors(here: Here, path: str) -> list[Shown]:
    found = [(door.word, address_of(door.url)) for door in DOORS if here.role in door.roles]
    return [Shown(word, address, path.startswith(address)) for word, address in found if address]
