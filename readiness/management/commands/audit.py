"""Writes the audit workbook of a department."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.actions.clock import SYSTEM_CLOCK, day_of
from readiness.engineering.deficiencies import System
from readiness.engineering.records import Moment
from readiness.management.departments import department_named
from readiness.management.words import counted
from readiness.reports.audit import audit
from readiness.workbooks.audit import write_audit


class Command(BaseCommand):
    """`audit FILE`: stock, containers, lots, movements, deficiencies, statuses with working, in one workbook."""

    help = "Write the audit workbook: stock, containers, lots, movements, deficiencies, statuses with working."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to, of whom, in which units."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--department", default="", help="its name, where there are several")
        parser.add_argument("--units", choices=["us", "metric"], help="the department's own unless said")

    def handle(self, *_: Any, **options: Any) -> None:
        """Write it, never over a file that is there."""
        file: Path = options["file"]
        department = department_named(options["department"])
        now = SYSTEM_CLOCK.now()
        units: System = "metric" if (options["units"] or department.units) == "metric" else "us"
        moment = Moment(now, day_of(department, now))
        found = audit(department, moment, "the command line of this installation", units)
        try:
            with file.open("xb") as opened:
                written = write_audit(opened, found.facts, found.sheets, found.charts)
        except FileExistsError as there:
            raise CommandError(f"{file} is there already; name another file.") from there
        except OSError as failed:
            raise CommandError(f"{file} could not be written: {failed.strerror}.") from failed
        for title, rows in written.rows.items():
            self.stdout.write(f"{title}: {counted(rows, 'row')}")
        self.stdout.write(f"{file} is written.")
