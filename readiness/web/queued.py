"""A request that comes out of a device's queue: what its headers say, and what is heard while it is answered."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpRequest

from readiness.actions.queue import FromDevice

if TYPE_CHECKING:
    from readiness.web.forms import Form

HEADER = "Queued-Entry"
MARK = "on_device"  # the field that the script of a page adds to a form that may be queued


class BadQueue(Exception):
    """The headers of a queued entry cannot be read; the text says which."""


class Queued:
    """A queued entry under way. The page that answers it need not know; forms and refusals are heard here."""

    def __init__(self, sent: FromDevice) -> None:
        self.sent = sent
        self.happened_at: datetime | None = None  # what an empty field for the moment means
        self.forms: list[Form] = []
        self.sentences: list[str] = []
        self.token_refused = False
        self.needs_pin = False
        self.came_to = ""  # an outcome of its own, where being answered by a redirect does not mean posted

    def said(self) -> str:
        """Every sentence of what was wrong, a field's with its label."""
        found = list(self.sentences)
        for form in self.forms:
            found += [f"{label}: {said}" if label else said for _, label, said in form.faults]
        return " ".join(dict.fromkeys(found))


def read_queued(request: HttpRequest) -> Queued | None:
    """The queued entry that a request carries, or None. Raises BadQueue."""
    if HEADER not in request.headers or request.method != "POST":
        return None
    try:
        sent = FromDevice(
            id=UUID(request.headers[HEADER]),
            whose=request.headers.get("Queued-For", "")[:40],
            address=request.get_full_path(),
            device_at=_moment(request, "Queued-At"),
            sent_at=_moment(request, "Queued-Sent-At"),
        )
    except ValueError as wrong:
        raise BadQueue(f"A queued entry cannot be read: {wrong}.") from wrong
    return Queued(sent)


def _moment(request: HttpRequest, name: str) -> datetime:
    read = request.headers.get(name, "")
    at = datetime.fromisoformat(read)
    if at.tzinfo is None or not 1971 <= at.year <= 9000:
        raise ValueError(f"{name} is no moment with its zone")
    return at


def queued_of(request: HttpRequest) -> Queued | None:
    """The queued entry that is being answered, if the request is one."""
    found: Queued | None = getattr(request, "queued", None)
    return found
