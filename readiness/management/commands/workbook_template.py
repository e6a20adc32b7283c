"""Writes an empty workbook to fill in."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from readiness.workbooks.template import write_template


class Command(BaseCommand):
    """`workbook_template FILE`: instructions, drop-down lists and example rows."""

    help = "Write an empty workbook with instructions, drop-down lists and example rows."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to write it and in which units its headings are."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--units", choices=["us", "metric"], default="us")

    def handle(self, *_: Any, **options: Any) -> None:
        """Write it, never over a file that is there."""
        file: Path = options["file"]
        if file.exists():
            raise CommandError(f"{file} is there already; name another file.")
        try:
            file.write_bytes(write_template(options["units"]))
        except OSError as failed:
            raise CommandError(f"{file} could not be written: {failed.strerror}.") from failed
        self.stdout.write(f"{file} is written. Fill it in, then: python manage.py import_workbook {file} --dry-run")
