"""Serves the pages: behind a reverse proxy, or on this machine alone."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.core.wsgi import get_wsgi_application

from readiness.management.serving import HOST, address_of, serve, take_port


class Command(BaseCommand):
    """`serve`: bring the database up to date and serve until Ctrl-C."""

    help = "Bring the database up to date and serve the pages until Ctrl-C."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to serve."""
        parser.add_argument("--host", default=HOST, help="an address of this machine (127.0.0.1: this machine alone)")
        parser.add_argument("--port", type=int, default=8000, help="8000; 0: any free")

    def handle(self, *_: Any, **options: Any) -> None:
        """Take the port, bring the database up to date, serve."""
        with take_port(options["port"], options["host"], command="serve") as taken:
            call_command("migrate", verbosity=0)
            self.stdout.write(f"Serving at {address_of(taken)}. Ctrl-C stops.")
            self.stdout.flush()
            serve(get_wsgi_application(), taken)
