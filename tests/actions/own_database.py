"""A database of its own for tests that need several processes, on whichever kind of server the tests run on."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db import connection

ROOT = Path(settings.BASE_DIR)


@contextmanager
def own_database(folder: Path) -> Iterator[str]:
    """Make and migrate an empty database; yields its DATABASE_URL; removes it afterwards."""
    if connection.vendor == "sqlite":
        yield _migrated(f"sqlite:///{folder / 'own.sqlite3'}")
        return
    import psycopg  # only where PostgreSQL is under test

    given = settings.DATABASES["default"]
    server = {"host": given["HOST"], "port": given["PORT"] or 5432, "user": given["USER"], "dbname": "postgres"}
    if given["PASSWORD"]:
        server["password"] = given["PASSWORD"]
    name = f"own_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(**server, autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name}")
        try:
            word = f":{given['PASSWORD']}" if given["PASSWORD"] else ""
            yield _migrated(f"postgres://{given['USER']}{word}@{server['host']}:{server['port']}/{name}")
        finally:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _migrated(url: str) -> str:
    run(url, "-m", "django", "migrate", "--verbosity", "0")
    return url


def environment(url: str) -> dict[str, str]:
    """The environment of a process that uses the database."""
    return {
        **os.environ,
        "DATABASE_URL": url,
        "DJANGO_SETTINGS_MODULE": "readiness.settings",
        "PYTHONPATH": str(ROOT),
    }


def run(url: str, *arguments: str) -> str:
    """Run Python on the database and return what it printed; raises when it failed."""
    done = subprocess.run(
        [sys.executable, *arguments], env=environment(url), cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout
