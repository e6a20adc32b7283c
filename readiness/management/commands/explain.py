"""Prints a unit's status with its working, from top to bottom as an officer would write it."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.actions.clock import SYSTEM_CLOCK, day_of
from readiness.engineering.records import Moment
from readiness.management.departments import department_named
from readiness.models import Unit
from readiness.reports.explanations import Explanation, explain


class Command(BaseCommand):
    """`explain UNIT`: every figure with formula, numbers, unit and source."""

    help = "Print a unit's status with its working."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which unit."""
        parser.add_argument("unit", help="its designation, such as 'Engine 1'")
        parser.add_argument("--department", default="", help="its name, where there are several")

    def handle(self, *_: Any, **options: Any) -> None:
        """Judge it as of now, in memory, and print."""
        department = department_named(options["department"])
        rows = Unit.objects.filter(department=department, retired_on__isnull=True)
        unit = rows.filter(designation__iexact=options["unit"]).first()
        if unit is None:
            known = ", ".join(rows.values_list("designation", flat=True)) or "none"
            raise CommandError(f"{options['unit']!r} was read; the units are: {known}.")
        now = SYSTEM_CLOCK.now()
        told = explain(unit, Moment(now, day_of(department, now)))
        if isinstance(told, Explanation):
            self.stdout.write("\n".join(told.lines))
        else:
            raise CommandError(f"{unit} could not be judged: {told}")
