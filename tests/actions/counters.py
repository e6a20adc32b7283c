"""A process that forks phones onto one database; run by test_counters.py with DATABASE_URL set.

Each phone counts every pail under ids of its own, and the first pail under an id that all phones share, as one that
sends again what may have arrived already. Prints what is in the book afterwards.
"""

from __future__ import annotations

import json
import os
import sys
import uuid

import django

django.setup()

from django.db import connections  # noqa: E402 - Django must be set up first

from readiness.actions.counts import Seen, record_counts  # noqa: E402
from readiness.actions.inventories import Scope, open_inventory  # noqa: E402
from readiness.actions.movements import Entry, receive  # noqa: E402
from readiness.actions.permissions import OWNER, Acting  # noqa: E402
from readiness.models import Container, Count, Department, Inventory, Role, User  # noqa: E402
from readiness.models.inventories import Found, Method  # noqa: E402
from readiness.models.movements import Identity  # noqa: E402
from readiness.reports.inventories import Tally  # noqa: E402
from tests.cast import PAIL_ML, Cast  # noqa: E402

SPACE = uuid.UUID("5d0c7c3e-0000-4000-8000-000000000000")


def prepare(pails: int) -> None:
    """An open inventory over some pails in the store."""
    cast = Cast()
    for n in range(pails):
        receive(
            Entry(cast.department, OWNER), container=cast.pail(code=f"P{n}"), lot=cast.lot, ml=PAIL_ML, place=cast.store
        )
    open_inventory(cast.department, Scope(cast.station, whole=False), acting=OWNER)


def count(phone: int) -> None:
    """Every pail, the first one twice."""
    inventory, department = Inventory.objects.get(), Department.objects.get(name="Quay County Fire Department")
    spot, roles = inventory.places.get().pk, [Role.CREW, Role.OFFICER, Role.INSTRUCTOR, Role.CHIEF]
    acting = Acting(
        User.objects.get(memberships__role=roles[phone % 4], memberships__department=department), Identity.PASSWORD
    )
    rows = list(Container.objects.order_by("code"))
    shared = Seen(uuid.uuid5(SPACE, "shared"), spot, Found.SEEN, rows[0].pk, Method.SEALED)
    for n, row in enumerate(rows):
        own = Seen(uuid.uuid5(SPACE, f"{phone} {n}"), spot, Found.SEEN, row.pk, Method.SEALED)
        record_counts(department, inventory=inventory, seen=[own, shared], acting=acting)


def fork(phone: int) -> int:
    """A phone in a child process with connections of its own; returns its process id."""
    connections.close_all()
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        count(phone)
        status = 0
    finally:
        os._exit(status)


def main(phones: int, pails: int) -> None:
    """Start all phones at once, wait for them, and report."""
    prepare(pails)
    running = [fork(phone) for phone in range(phones)]
    statuses = [os.waitpid(child, 0)[1] for child in running]
    tally = Tally(Inventory.objects.get())
    print(
        json.dumps(
            {
                "failed": sum(map(bool, statuses)),
                "counts": Count.objects.count(),
                "shared": Count.objects.filter(entry=uuid.uuid5(SPACE, "shared")).count(),
                "seen": sum(bool(standing.looks) for standing in tally.standings.values()),
                "disputed": sum(standing.disputed for standing in tally.standings.values()),
            }
        )
    )


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
