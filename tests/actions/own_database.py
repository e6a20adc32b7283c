"""A database of its own for tests that need several processes, on whichever kind of server the tests run on."""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

ROOT = Path(settings.BASE_DIR)


@contextmanager
def own_database(folder: Path) -> Iterator[str]:
    """Copy an empty database with all its tables; yields its DATABASE_URL; removes it afterwards."""
    if connection.vendor == "sqlite":
        path = folder / "own.sqlite3"
        shutil.copyfile(_sqlite_template(), path)
        yield f"sqlite:///{path}"
        return
    name = _new_name()
    with _postgresql() as admin:
        admin.execute(f"CREATE DATABASE {name} TEMPLATE {_postgresql_template()}")
        try:
            yield _postgresql_url(name)
        finally:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


@cache
def _sqlite_template() -> Path:
    """Migrated once in this process: a migration takes seconds, a copy of its result does not."""
    folder = tempfile.TemporaryDirectory()
    atexit.register(folder.cleanup)
    path = Path(folder.name) / "template.sqlite3"
    run(f"sqlite:///{path}", "-m", "django", "migrate", "--verbosity", "0")
    assert [each.name for each in path.parent.iterdir()] == [path.name], "all of it is in the one file"
    return path


@cache
def _postgresql_template() -> str:
    name = _new_name()
    with _postgresql() as admin:
        admin.execute(f"CREATE DATABASE {name}")
    atexit.register(_drop, name)
    run(_postgresql_url(name), "-m", "django", "migrate", "--verbosity", "0")
    return name


def _drop(name: str) -> None:
    with _postgresql() as admin:
        admin.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _new_name() -> str:
    return f"own_{uuid.uuid4().hex[:12]}"


def _postgresql() -> Any:
    """A connection to the server under test, to make and drop databases with."""
    import psycopg  # only where PostgreSQL is under test

    given = settings.DATABASES["default"]
    server = {"host": given["HOST"], "port": given["PORT"] or 5432, "user": given["USER"], "dbname": "postgres"}
    if given["PASSWORD"]:
        server["password"] = given["PASSWORD"]
    return psycopg.connect(**server, autocommit=True)


def _postgresql_url(name: str) -> str:
    given = settings.DATABASES["default"]
    word = f":{given['PASSWORD']}" if given["PASSWORD"] else ""
    return f"postgres://{given['USER']}{word}@{given['HOST']}:{given['PORT'] or 5432}/{name}"


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
