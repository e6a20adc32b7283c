"""Makes a department."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.actions.departments import make_department
from readiness.actions.drafts import Refused
from readiness.management.words import time_of_day


class Command(BaseCommand):
    """`department NAME`: make a department with the default policy."""

    help = "Make a department with the default policy."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The name, and how it reads time and quantities."""
        parser.add_argument("name")
        parser.add_argument("--time-zone", default="UTC", help="such as America/Chicago")
        parser.add_argument("--day-starts-at", type=time_of_day, default=time(7, 0), help="shift change, 07:00")
        parser.add_argument("--units", choices=["us", "metric"], default="us")

    def handle(self, *_: Any, **options: Any) -> None:
        """Make it, or say why not."""
        try:
            made = make_department(
                options["name"],
                time_zone=options["time_zone"],
                day_starts_at=options["day_starts_at"],
                units=options["units"],
            )
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"{made} is made; its short name is {made.slug}.")
