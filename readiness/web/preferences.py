"""Which units a person reads; nothing that is posted ever depends on it."""

from __future__ import annotations

from typing import Literal, cast

from django.http import HttpRequest

from readiness.models import Department

Units = Literal["us", "metric"]
CHOSEN = "units"
CHOICES: tuple[tuple[Units, str], ...] = (("us", "US units"), ("metric", "metric units"))


def chosen_units(request: HttpRequest, department: Department) -> Units:
    """The units chosen in this session, else the department's."""
    chosen = request.session.get(CHOSEN)
    return cast(Units, chosen if chosen in ("us", "metric") else department.units)


def choose_units(request: HttpRequest, units: str) -> None:
    """Remember the choice for this session; anything that is no choice is left out."""
    if units in ("us", "metric"):
        request.session[CHOSEN] = units
