"""What tests/benchmarks/web.py measures, in the process that it starts on a database of its own."""

from __future__ import annotations

import gc
import pickle
import sys
import time
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple
from uuid import uuid4

import django

WARM = 3  # requests before the first that counts
PER_PAGE = 50
ALONE = "stock list, filtered"  # reads every container of the department: what comes after it pays for its memory


class Request(NamedTuple):
    """A request that is ready to be sent: what was needed beforehand is not timed."""

    method: str
    address: str
    body: dict[str, Any]
    status: int


def main(answer: str, units: str, requests: str) -> None:
    """Fill the database, measure, and leave the rows as plain tuples in a file."""
    django.setup()
    Path(answer).write_bytes(pickle.dumps(measured(int(units), int(requests))))


def measured(units: int, requests: int) -> list[tuple[str, int, list[float], int, int]]:
    """(page, units, milliseconds of each request, statements, bytes) of every page."""
    from readiness.management.serving import settle_memory

    fleet = _Fleet(units)
    settle_memory()  # as the serving program does before its first request
    pages = fleet.pages()
    queries = {page: fleet.counted(make) for page, make in pages.items()}
    ready = {page: [make(n) for n in range(WARM + requests)] for page, make in pages.items()}
    for page in ready:
        for _ in range(WARM):
            fleet.send(ready[page].pop())
    gc.collect()
    runs: dict[str, list[tuple[float, int]]] = {page: [] for page in ready}
    in_turn = [page for page in ready if page != ALONE]
    for together in (in_turn, [ALONE]):
        for _ in range(requests):
            for page in together:
                runs[page].append(fleet.timed(ready[page].pop()))
    return [
        (page, units, [took for took, _ in runs[page]], queries[page], max(sent for _, sent in runs[page]))
        for page in ready
    ]


class _Fleet:
    """A judged fleet, its chief at a browser, and the clock that stands at the shift change."""

    def __init__(self, units: int) -> None:
        from django.test import Client

        from readiness.actions.clock import StoppedClock
        from readiness.actions.nights import run_night
        from readiness.models import Department, Membership, Role, Unit, User
        from readiness.web import access
        from tests.benchmarks.fleet_rows import SIX, write_fleet

        department = write_fleet(units)
        clock = access.CLOCK = StoppedClock(SIX)
        run_night(departments=Department.objects.filter(pk=department.pk), clock=clock)
        chief = User.objects.create(username="chief")
        Membership.objects.create(user=chief, department=department, role=Role.CHIEF, from_on=date(2020, 1, 1))
        self.ids = list(Unit.objects.filter(department=department).order_by("id").values_list("id", flat=True))
        self.client = Client(headers={"host": "localhost"})
        self.client.force_login(chief)

    def pages(self) -> dict[str, Callable[[int], Request]]:
        """How the n-th request of each page is made."""
        return {
            "fleet page": lambda n: Request("get", "/fleet/", {}, 200),
            "fleet page, another each time": self.another_page,
            "unit page": lambda n: Request("get", f"/units/{self.unit(n)}/", {}, 200),
            ALONE: lambda n: Request("get", "/stock/?kind=AR-AFFF&q=Station", {}, 200),
            "check submission": self.check,
        }

    def unit(self, n: int) -> int:
        """Another unit each time, spread over the fleet; the first is Engine 1 in a fleet of any size."""
        return int(self.ids[(1 + n * 7919) % len(self.ids)])  # a prime: all units of a fleet have their turn

    def another_page(self, n: int) -> Request:
        """A page of the list after another, spread over it."""
        last = -(-len(self.ids) // PER_PAGE)
        return Request("get", f"/fleet/?page={1 + n * 7919 % last}", {}, 200)

    def check(self, n: int) -> Request:
        """A whole check of a unit: the form is opened and filled in, everything good."""
        from tests.web.doors import Page

        address = f"/crew/{self.unit(n)}/check/"
        drawn = Page(self.client.get(address).content.decode()).posted(address) or {}
        return Request("post", address, {**_all_good(drawn), "entry_id": str(uuid4())}, 302)

    def send(self, request: Request) -> Any:
        """Send it. Raises RuntimeError for another answer than the page's own."""
        answer = getattr(self.client, request.method)(request.address, request.body or None)
        if answer.status_code != request.status:
            raise RuntimeError(f"{request.address} answered {answer.status_code}")
        return answer

    def timed(self, request: Request) -> tuple[float, int]:
        """Milliseconds and bytes."""
        began = time.perf_counter()
        answer = self.send(request)
        return (time.perf_counter() - began) * 1000, len(answer.content)

    def counted(self, make: Callable[[int], Request]) -> int:
        """Statements of a request that was made a moment before: what it changed then it need not change again."""
        from django.db import connection

        asked: list[str] = []

        def note(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
            asked.append(sql)
            return execute(sql, *rest)

        self.send(make(0))
        request = make(0)
        with connection.execute_wrapper(note):
            self.send(request)
        return len(asked)


def _all_good(drawn: dict[str, list[str]]) -> dict[str, Any]:
    """The form of a check filled in: 5 gal wherever a volume is asked, lines at 3 %, all good."""
    filled: dict[str, Any] = dict(drawn)
    for name in drawn:
        kind, _, part = name.partition("_")
        if kind[1:].isdecimal() and kind[0] in "cgl":
            filled[name] = {"": "good", "ml_number": "5", "set": "300"}.get(part, drawn[name])
    return filled


def _arguments(arguments: Sequence[str]) -> tuple[str, str, str]:
    answer, units, requests = arguments
    return answer, units, requests


if __name__ == "__main__":
    main(*_arguments(sys.argv[1:]))
