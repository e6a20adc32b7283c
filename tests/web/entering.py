"""What tests of entries share: a form sent once to see what it does, and once more to confirm it."""

from __future__ import annotations

import html
import re
from typing import Any

from django.test import Client
from django.urls import reverse

from readiness.actions import movements
from readiness.actions.drafts import new_id
from readiness.actions.movements import Entry
from readiness.models import Container, Holding, Role
from readiness.reports.recounts import recount
from tests.cast import CLOCK, PAIL_ML, Cast


def words(response: Any) -> str:
    """A page's text, without its tags and with single spaces."""
    text = re.sub(r"<[^>]+>", " ", response.content.decode())
    return " ".join(html.unescape(text).split())


def fields(**values: Any) -> dict[str, Any]:
    """A form's fields with an entry number of its own."""
    return {"entry_id": str(new_id()), **values}


def gallons(number: str, name: str = "volume") -> dict[str, str]:
    """A volume as the form posts it, with its unit beside it."""
    return {f"{name}_number": number, f"{name}_unit": "gal"}


def send(client: Client, url: str, form: dict[str, Any], *args: Any) -> Any:
    """See what it will do."""
    return client.post(reverse(url, args=args), form)


def confirm(client: Client, url: str, form: dict[str, Any], *args: Any) -> Any:
    """Enter it."""
    return client.post(reverse(url, args=args), {**form, "confirm": "yes"}, follow=True)


def book(container: Container) -> dict[str, int]:
    """What a container holds, by batch; and the book must be true whenever a test looks at it."""
    assert recount().differences == ()
    return dict(Holding.objects.filter(container=container).order_by("lot").values_list("lot__batch", "ml"))


def stocked(cast: Cast, code: str = "P1", lot: Any = None, place: Any = None, ml: int = PAIL_ML) -> Container:
    """A pail of the cast's first lot in the store, unless told otherwise."""
    made = cast.pail(code=code)
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.receive(entry, container=made, lot=lot or cast.lot, ml=ml, place=place or cast.store)
    made.refresh_from_db()
    return made
