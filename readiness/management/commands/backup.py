"""Writes every row to a file while people work."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.actions.backup_files import NotABackup, Rotation
from readiness.actions.backups import back_up
from readiness.management.words import counted


class Command(BaseCommand):
    """`backup FILE`, or `backup FOLDER --keep 14 8 24`: exit code 1 and a sentence when there is no whole backup."""

    help = "Write a backup of everything to a new file, or into a folder under a name of its own, while people work."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to, and which earlier ones are kept."""
        parser.add_argument("file", type=Path, help="a new file, or a folder: then the moment is its name")
        parser.add_argument(
            "--keep",
            type=int,
            nargs=3,
            metavar=("DAYS", "WEEKS", "MONTHS"),
            help="of the backups in the folder keep the newest of so many days, weeks and months; the others go",
        )

    def handle(self, *_: Any, **options: Any) -> None:
        """Back up, read it back, and say what it holds."""
        rotation = Rotation(*options["keep"]) if options["keep"] else None
        if rotation and (not options["file"].is_dir() or min(rotation) < 0):
            raise CommandError(
                f"--keep {' '.join(map(str, rotation))} was read: three numbers from 0 up, with a folder that is there "
                f"to keep them in; {options['file']} was read for it."
            )
        try:
            made = back_up(options["file"], rotation=rotation)
        except NotABackup as refused:
            raise CommandError(str(refused)) from refused
        rows = sum(made.rows.values())
        self.stdout.write(f"{made.path}: {rows:,} rows, {counted(made.units, 'unit')} judged, read back and whole.")
        if made.photos:
            lost = f"; of {made.lost_photos} the file was gone" if made.lost_photos else ""
            self.stdout.write(f"With {counted(made.photos, 'photo')}{lost}.")
        for name in made.removed:
            self.stdout.write(f"Removed {name}.")
        self.stdout.write("It holds people's names and sign-ins: keep it where only you can read it.")
