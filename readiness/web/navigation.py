"""The frame around every page: who, which department, what time, and the doors of the role."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
_SETTLERS = _STOCK | {Role.OFFICER}


class Door(NamedTuple):
    """A page of the navigation: its word, the name of its url, and for whom it is shown."""

    word: str
    url: str
    roles: frozenset[Role]


DOORS = (  # in the order of the page; a door is shown only when a page of that name exists
    (
        "Tonight",
        (
            Door("My unit", "my_unit", _HANDS),
            Door("Fleet", "fleet", _ALL),
            Door("Deficiencies", "deficiencies", _ALL),
            Door("Inspections", "inspections", _ALL),
            Door("Held entries", "held", _SETTLERS),
        ),
    ),
    (
        "Foam",
        (
            Door("Stock", "stock", _ALL),
            Door("Receiving and moving", "moving", _ALL),
            Door("Inventories", "inventories", _ALL),
            Door("Movements", "movements", _ALL - _HANDS),
            Door("Labels", "labels", _SETTLERS),
            Door("Workbook", "workbook", _STOCK),
        ),
    ),
    (
        "Sums and plans",
        (
            Door("Worksheet", "worksheets", _ALL),
            Door("Planning", "planning", _ALL - _HANDS),
            Door("Drills", "drills", frozenset({Role.INSTRUCTOR, Role.CHIEF})),
        ),
    ),
    (
        "Records",
        (
            Door("Reference", "reference", _ALL),
            Door("Policy", "policy", _ALL - _HANDS),
            Door("Changes", "changes", _STOCK),
            Door("People", "people", frozenset({Role.CHIEF})),
        ),
    ),
)
_CREW_OPENS = ("my_unit", "fleet", "deficiencies", "inspections", "worksheets")
OPENS = {  # what a role opens most stands beside the list of all pages; a phone has room for the first three
    Role.CREW: _CREW_OPENS,
    Role.OFFICER: _CREW_OPENS,
    Role.LOGISTICS: ("fleet", "stock", "inventories", "moving", "planning", "deficiencies"),
    Role.INSTRUCTOR: ("fleet", "drills", "worksheets", "stock", "planning"),
    Role.CHIEF: ("fleet", "deficiencies", "planning", "stock", "inspections", "policy"),
    Role.OBSERVER: ("fleet", "stock", "deficiencies", "planning"),
}


class Shown(NamedTuple):
    """A door as drawn."""

    word: str
    address: str
    current: bool


class Frame(NamedTuple):
    """What base.html shows around a page: what the role opens most, and all its doors under their headings."""

    here: Here
    opens: tuple[Shown, ...]
    doors: tuple[tuple[str, tuple[Shown, ...]], ...]
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
    doors = _doors(present, request.path)
    known = {name: shown for _, under in doors for name, shown in under}
    first = OPENS[present.role]
    return Frame(
        here=present,
        opens=tuple(shown for name, shown in _first(known, first) if name in first or shown.current),
        doors=tuple((heading, tuple(shown for _, shown in under)) for heading, under in doors),
        as_of=moment_text(present.department, present.now),
        units=tuple((key, word, key == present.units) for key, word in CHOICES),
    )


def _first(known: Mapping[str, Shown], first: Sequence[str]) -> list[tuple[str, Shown]]:
    """All doors by name, those of `first` in its order before the others."""
    return sorted(known.items(), key=lambda each: first.index(each[0]) if each[0] in first else len(first))


def _doors(here: Here, path: str) -> list[tuple[str, list[tuple[str, Shown]]]]:
    """The headings with a door for the role, and under each the doors with the names of their urls."""
    found = []
    for heading, doors in DOORS:
        open_here = [door for door in doors if here.role in door.roles and (not here.tablet or door.url == "my_unit")]
        addresses = [(door, address_of(door.url)) for door in open_here]
        under = [(door.url, Shown(door.word, at, path.startswith(at))) for door, at in addresses if at]
        if under:
            found.append((heading, under))
    return found
