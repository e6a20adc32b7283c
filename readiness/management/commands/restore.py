"""Puts a backup into an empty database."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.actions.backup_files import NotABackup
from readiness.actions.backups import NotRestored, check, restore
from readiness.management.words import counted


class Command(BaseCommand):
    """`restore FILE [--check]`: exit code 1 and a sentence when it cannot be restored; then nothing is kept."""

    help = "Put a backup into an empty database and prove it: fingerprints, guards, recount, and every unit's status."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which file."""
        parser.add_argument("file", type=Path, help="a file that `backup` wrote")
        parser.add_argument("--check", action="store_true", help="only read the file from end to end")

    def handle(self, *_: Any, **options: Any) -> None:
        """Check, or restore and say what was proved."""
        try:
            if options["check"]:
                found = check(options["file"])
                rows = sum(found.rows.values())
                self.stdout.write(f"Whole: {rows:,} rows and {counted(found.units, 'unit')} as of {found.made_at}.")
                return
            done = restore(options["file"], say=self.stdout.write)
        except (NotABackup, NotRestored) as refused:
            raise CommandError(str(refused)) from refused
        for sentence in done.differently:
            self.stdout.write(f"This version judges otherwise: {sentence}")
        alike = "but for those named above as before" if done.differently else "as before"
        self.stdout.write(
            f"Restored as of {done.backup.made_at}: every row read again and alike, every guard in place, "
            f"no difference in the recount, {counted(done.backup.units, 'unit')} judged {alike}."
        )
