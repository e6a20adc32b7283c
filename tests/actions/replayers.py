"""A process that forks phones onto one database, all sending the same entries; run by test_replays.py.

Some are killed midway and begin again from the start. Prints what the parent counts.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
import traceback

import django

django.setup()

from django.db import connections  # noqa: E402 - Django must be set up first

from readiness.models import Check, Container, Department, Movement, Submission, Unit, User  # noqa: E402
from readiness.reports.recounts import recount  # noqa: E402
from tests.actions.replaying import Sender, prepare, shuffled  # noqa: E402
from tests.cast import Cast  # noqa: E402


def send_all(phone: int, entries: int, sends: int) -> None:
    """Everything, in an order of its own."""
    department = Department.objects.get(name="Quay County Fire Department")
    user = User.objects.filter(memberships__department=department, memberships__role="crew").get()
    dice = random.Random(phone)
    unit, tank = Unit.objects.get(designation="Engine 1"), Container.objects.select_related("department").get(code="T0")
    sender = Sender(department, user, unit, tank, dice)
    for n in shuffled(entries, sends, dice):
        sender.send(n)


def fork(phone: int, entries: int, sends: int) -> int:
    """A phone in a child process with connections of its own; returns its process id."""
    connections.close_all()
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        send_all(phone, entries, sends)
        status = 0
    except Exception:
        traceback.print_exc()  # the parent shows it
    finally:
        os._exit(status)


def main(phones: int, entries: int, sends: int, kills: int) -> None:
    """Start all phones, kill some at random moments, begin those again, and report."""
    prepare(Cast())
    dice = random.Random(11)
    running = {fork(phone, entries, sends): phone for phone in range(phones)}
    killed = 0
    while running:
        if killed < kills:
            time.sleep(dice.uniform(0.1, 0.3))
            os.kill(dice.choice(sorted(running)), signal.SIGKILL)
            killed += 1
        child, status = os.wait()
        phone = running.pop(child)
        if status:
            if not os.WIFSIGNALED(status):
                raise SystemExit(f"phone {phone} failed by itself")
            running[fork(phone, entries, sends)] = phone
    found = {
        "killed": killed,
        "tank_ml": Container.objects.get(code="T0").contents_ml,
        "used": Movement.objects.filter(kind="used").count(),
        "checks": Check.objects.count(),
        "submissions": Submission.objects.values("client_id").distinct().count(),
        "rows": Submission.objects.count(),
        "differences": recount().differences,
    }
    print(json.dumps(found))


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
