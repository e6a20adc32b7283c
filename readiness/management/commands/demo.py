"""Sets up the demo."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from readiness.actions.clock import SYSTEM_CLOCK
from readiness.actions.demo import Loaded, NotTheDemo, load_demo
from readiness.reports.recounts import recount


class Command(BaseCommand):
    """`demo`: database, county, recount. Again is harmless."""

    help = "Set up the demo: an invented county with fourteen units."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whether and where to serve."""
        parser.add_argument("--no-serve", action="store_true", help="prepare and stop")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *_: Any, **options: Any) -> None:
        """Prepare, saying each step."""
        self.stdout.write("Preparing the database …")
        call_command("migrate", verbosity=0)
        self.stdout.write("Loading the county of Port Ansley …")
        try:
            loaded = load_demo(SYSTEM_CLOCK)
        except NotTheDemo as other:
            raise CommandError(str(other)) from other
        self._say(loaded)

    def _say(self, loaded: Loaded) -> None:
        if loaded.again:
            self.stdout.write(
                f"{loaded.department} was loaded before (D0 = {loaded.department.demo_d0}): left as it is."
            )
        elif loaded.imported:
            self.stdout.write(f"{loaded.imported.movements} containers came into the book.")
        found = recount(loaded.department)
        for difference in found.differences:
            self.stdout.write(difference)
        self.stdout.write(f"Recount: {found.containers} containers, {len(found.differences) or 'no'} differences.")
