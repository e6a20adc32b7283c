"""A process that forks people who receive one transfer in the same instant; run by test_transfers.py."""

from __future__ import annotations

import json
import os
from datetime import timedelta

import django

django.setup()

from django.db import connections  # noqa: E402 - Django must be set up first

from readiness.actions import movements, transfers  # noqa: E402
from readiness.actions.clock import calendar_day_of  # noqa: E402
from readiness.actions.drafts import Refused  # noqa: E402
from readiness.actions.movements import Entry  # noqa: E402
from readiness.actions.permissions import OWNER  # noqa: E402
from readiness.models import Container, Department, Relocation, Transfer  # noqa: E402
from readiness.reports.recounts import recount  # noqa: E402
from tests.cast import Cast  # noqa: E402

PEOPLE = 8


def prepare() -> None:
    """A pail on its way to the engine."""
    cast = Cast()
    entry = Entry(cast.department, OWNER)
    pail = cast.pail(code="P1")
    movements.receive(entry, container=pail, lot=cast.lot, ml=1_000, place=cast.store)
    pail.refresh_from_db()
    day = calendar_day_of(cast.department, entry.at) + timedelta(days=1)
    transfers.send(entry, containers=[pail], owner=cast.unit, expected_on=day)


def receive() -> int:
    """Receive it; 0: received, 1: refused with a sentence."""
    department = Department.objects.get(name="Quay County Fire Department")
    receipt = transfers.Receipt((transfers.Came(Container.objects.get(code="P1")),))
    try:
        transfers.receive(Entry(department, OWNER), transfer=Transfer.objects.get(), receipt=receipt)
    except Refused:
        return 1
    return 0


def fork() -> int:
    """Somebody in a child process with connections of their own."""
    connections.close_all()
    child = os.fork()
    if child:
        return child
    status = 9
    try:
        status = receive()
    finally:
        os._exit(status)


def main() -> None:
    """All at once, and what each was told."""
    prepare()
    children = [fork() for _ in range(PEOPLE)]
    statuses = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    words = {0: "received", 1: "refused"}
    print(
        json.dumps(
            {
                "answers": [words.get(status, f"failed with {status}") for status in statuses],
                "relocations": Relocation.objects.filter(container__code="P1", from_place__isnull=False).count(),
                "differences": recount().differences,
            }
        )
    )


if __name__ == "__main__":
    main()
