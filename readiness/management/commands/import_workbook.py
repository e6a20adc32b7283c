"""Takes in a department's workbook."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from readiness.actions.clock import SYSTEM_CLOCK
from readiness.actions.imports import Imported, import_workbook
from readiness.actions.permissions import OWNER
from readiness.actions.reference import load_fuels
from readiness.management.departments import department_named
from readiness.management.words import counted
from readiness.models import Department
from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.sheets import BY_KEY


class Command(BaseCommand):
    """`import_workbook FILE`: in whole or not at all, with every fault at once."""

    help = "Take in a department's workbook: in whole, or not at all with every fault named."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The file, whose it is, and whether to try only."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--department", default="", help="its name, where there are several")
        parser.add_argument("--dry-run", action="store_true", help="say what would happen, save nothing")

    def handle(self, *_: Any, **options: Any) -> None:
        """Take it in and say what became of it; exit code 1 with faults."""
        file: Path = options["file"]
        department = department_named(options["department"])
        try:
            data = file.read_bytes()
        except OSError as failed:
            raise CommandError(f"{file} could not be read: {failed.strerror}.") from failed
        try:
            imported = _take_in(department, data, dry_run=options["dry_run"])
        except NotAWorkbook as refused:
            raise CommandError(f"{file}: {refused}") from refused
        self._say(imported, options["dry_run"])

    def _say(self, imported: Imported, dry_run: bool) -> None:
        if imported.again:
            self.stdout.write("This workbook was taken in before: nothing was posted again.")
            return
        for fault in imported.faults:
            self.stdout.write(fault.sentence)
        if imported.faults:
            self.stdout.write(f"{counted(len(imported.faults), 'fault')}; nothing was saved.")
            sys.exit(1)
        for sheet, counts in imported.counts.items():
            said = ", ".join(f"{number} {what}" for what, number in sorted(counts.items()) if number)
            if said:
                self.stdout.write(f"{BY_KEY[sheet].title}: {said}")
        if imported.skipped_examples:
            self.stdout.write(f"{counted(imported.skipped_examples, 'example row')} skipped")
        end = "would be posted; nothing was saved" if dry_run else "posted"
        self.stdout.write(f"{counted(imported.movements, 'movement')} {end}.")


def _take_in(department: Department, data: bytes, *, dry_run: bool) -> Imported:
    """With the fuels of this version beside it; a dry run leaves those as they are, too."""
    with transaction.atomic():
        load_fuels(SYSTEM_CLOCK.now())
        imported = import_workbook(department, data, acting=OWNER, dry_run=dry_run)
        transaction.set_rollback(dry_run)
    return imported
