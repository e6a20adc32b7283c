"""Sets up the demo and serves it on this machine."""

from __future__ import annotations

import socket
from argparse import ArgumentParser
from collections import Counter
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.wsgi import get_wsgi_application

from readiness.actions.clock import SYSTEM_CLOCK
from readiness.actions.demo import PASSWORD, PEOPLE, Loaded, NotTheDemo, load_demo, only_the_demo
from readiness.actions.demo_traps import PINS, TABLET_OF
from readiness.actions.night_lock import AnotherNight
from readiness.actions.nights import run_night
from readiness.management.serving import address_of, serve, take_port
from readiness.management.words import counted
from readiness.models import Department
from readiness.reports.recounts import recount
from readiness.reports.verdicts import word


class Command(BaseCommand):
    """`demo`: database, county, recount, and then its pages. Again is harmless."""

    help = "Set up the demo, an invented county with fourteen units, and serve it on this machine."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whether and where to serve."""
        parser.add_argument("--no-serve", action="store_true", help="prepare and stop")
        parser.add_argument("--port", type=int, default=8000, help="where to serve on this machine (8000); 0: any free")

    def handle(self, *_: Any, **options: Any) -> None:
        """Take the port, prepare saying each step, serve."""
        taken = None if options["no_serve"] else take_port(options["port"])
        try:
            self._prepare()
            if taken:
                self._serve(taken)
        finally:
            if taken:
                taken.close()

    def _prepare(self) -> None:
        try:
            only_the_demo()  # before anything in the database is touched
            self.stdout.write("Preparing the database …")
            call_command("migrate", verbosity=0)
            self.stdout.write("Loading the county of Port Ansley …")
            loaded = load_demo(SYSTEM_CLOCK)
        except NotTheDemo as other:
            raise CommandError(str(other)) from other
        self._say(loaded)
        self._run_night(loaded.department)

    def _run_night(self, department: Department) -> None:
        try:
            (night,) = run_night(departments=[department])
        except AnotherNight:
            self.stdout.write("Another night is running; its answers will be shown.")
            return
        counts = Counter(one.verdict.status for one in night.units)
        said = ", ".join(f"{number} {word(status)}" for status, number in sorted(counts.items()))
        self.stdout.write(f"The night of {night.day}: {said}.")

    def _serve(self, taken: socket.socket) -> None:
        width = max(len(name) for name, *_ in PEOPLE)
        self.stdout.write(f"\nOpen {address_of(taken)} and sign in as one of:")
        for name, first, last, _, role, _ in PEOPLE:
            self.stdout.write(f"  {name:<{width}}  {first} {last}, {role.label}")
        self.stdout.write(f"The password of all is {PASSWORD}. Ctrl-C stops the demo.")
        self._say_pins()
        self.stdout.flush()
        serve(get_wsgi_application(), taken)

    def _say_pins(self) -> None:
        pins = " and ".join(f"{PINS[role]} for {first} {last}" for _, first, last, _, role, _ in PEOPLE if role in PINS)
        self.stdout.write(
            f"{TABLET_OF} has a shared tablet; the chief makes its link under People, Shared tablets.\n"
            f"The PINs there are {pins}."
        )

    def _say(self, loaded: Loaded) -> None:
        if loaded.again:
            self.stdout.write(
                f"{loaded.department} was loaded before (D0 = {loaded.department.demo_d0}): left as it is."
            )
        elif loaded.imported:
            self.stdout.write(f"{counted(loaded.imported.movements, 'container')} came into the book.")
        found = recount(loaded.department)
        for difference in found.differences:
            self.stdout.write(difference)
        self.stdout.write(
            f"Recount: {counted(found.containers, 'container')}, {counted(len(found.differences), 'difference')}."
        )
