"""Folds the book again from nothing."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from readiness.management.departments import department_named
from readiness.management.words import counted
from readiness.reports.recounts import recount


class Command(BaseCommand):
    """`recount`: exit code 1 and a sentence for every difference."""

    help = "Fold the ledger again from nothing and report any difference with what is kept beside it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """One department, or all."""
        parser.add_argument("--department", default="", help="its name; without it every department")

    def handle(self, *_: Any, **options: Any) -> None:
        """Recount and say what was found."""
        found = recount(department_named(options["department"]) if options["department"] else None)
        for difference in found.differences:
            self.stdout.write(difference)
        self.stdout.write(
            f"{counted(found.containers, 'container')}, {counted(found.movements, 'movement')}, "
            f"{counted(found.lines, 'line')}: {counted(len(found.differences), 'difference')}."
        )
        if found.differences:
            sys.exit(1)
