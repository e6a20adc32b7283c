"""A process that forks writers onto one database; run by test_writers.py with DATABASE_URL set.

Each writer posts its draws and pours with ids known beforehand, so that a writer killed at any moment is simply run
again: what it had posted is not posted twice. Prints the ids that the parent counts, then the recount.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
import uuid

import django

django.setup()

from django.db import connections  # noqa: E402 - Django must be set up first

from readiness.actions import movements  # noqa: E402
from readiness.actions.movements import Entry  # noqa: E402
from readiness.actions.permissions import OWNER  # noqa: E402
from readiness.models import Container, Department, Movement  # noqa: E402
from readiness.models.movements import Account  # noqa: E402
from readiness.reports.recounts import recount  # noqa: E402
from tests.cast import Cast  # noqa: E402

SPACE = uuid.UUID("9c1f5e0a-0000-4000-8000-000000000000")


def prepare() -> None:
    """One tank of 100 L that all draw from, and four that are poured into one another, crossing."""
    cast = Cast()
    entry = Entry(cast.department, OWNER)
    tank = cast.tank(code="T0", capacity_ml=100_000)
    movements.receive(entry, container=tank, lot=cast.lot, ml=60_000, place=cast.on_vehicle)
    tank.refresh_from_db()
    movements.receive(entry, container=tank, lot=cast.other_lot, ml=40_000)
    for n in range(1, 5):
        crossing = cast.tank(code=f"X{n}", capacity_ml=1_000_000)
        movements.receive(entry, container=crossing, lot=cast.lot, ml=500_000, place=cast.on_vehicle)


def write(writer: int, rounds: int) -> None:
    """Draw from the common tank, and pour between two crossing tanks in an order of the writer's own."""
    department = Department.objects.get(name="Quay County Fire Department")
    tank = Container.objects.get(code="T0")
    crossing = list(Container.objects.filter(code__startswith="X").order_by("code"))
    dice = random.Random(writer)
    for n in range(rounds):
        one, other = dice.sample(crossing, 2)
        draw = Entry(department, OWNER, id=uuid.uuid5(SPACE, f"draw {writer} {n}"), happened_at=tank_time())
        movements.use(draw, container=tank, ml=7, account=Account.DRILL)
        pour = Entry(department, OWNER, id=uuid.uuid5(SPACE, f"pour {writer} {n}"), happened_at=tank_time())
        movements.pour(pour, source=one, target=other, ml=11)


def tank_time() -> object:
    """When it all happened: the same at each try, since it belongs to the body of the entry."""
    return Movement.objects.order_by("recorded_at").values_list("happened_at", flat=True)[0]


def fork(writer: int, rounds: int) -> int:
    """A writer in a child process with connections of its own; returns its process id."""
    connections.close_all()
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        write(writer, rounds)
        status = 0
    finally:
        os._exit(status)


def main(writers: int, rounds: int, kills: int) -> None:
    """Start all writers, kill some of them at random moments, run those again, and report."""
    prepare()
    dice = random.Random(7)
    running = {fork(writer, rounds): writer for writer in range(writers)}
    killed = 0
    while running:
        if killed < kills:
            time.sleep(dice.uniform(0.0, 0.05))
            victim = dice.choice(sorted(running))
            os.kill(victim, signal.SIGKILL)
            killed += 1
        child, status = os.wait()
        writer = running.pop(child)
        if status:
            if not os.WIFSIGNALED(status):
                raise SystemExit(f"writer {writer} failed by itself")
            running[fork(writer, rounds)] = writer
    found = recount()
    print(
        json.dumps(
            {
                "killed": killed,
                "tank_ml": Container.objects.get(code="T0").contents_ml,
                "crossing_ml": sum(
                    Container.objects.filter(code__startswith="X").values_list("contents_ml", flat=True)
                ),
                "draws": Movement.objects.filter(kind="used").count(),
                "pours": Movement.objects.filter(kind="poured").count(),
                "differences": found.differences,
            }
        )
    )


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
