"""One night at a time: a lock on a file beside SQLite, an advisory lock on PostgreSQL; both go with their process."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from threading import Lock

from django.db import DEFAULT_DB_ALIAS, connections

KEY = 0x666F616D  # "foam"
_HELD = Lock()


class AnotherNight(Exception):
    """Another run holds the lock."""


@contextmanager
def one_night_at_a_time() -> Iterator[None]:
    """Hold the lock while the block runs. Raises AnotherNight at once when another process has it."""
    connection = connections[DEFAULT_DB_ALIAS]
    with _by_database() if connection.vendor != "sqlite" else _beside(str(connection.settings_dict["NAME"])):
        yield


def _beside(database: str) -> AbstractContextManager[None]:
    """A database in memory has no place beside it, and no other process sees it."""
    return _in_this_process() if "memory" in database and not Path(database).exists() else _by_file(Path(database))


@contextmanager
def _in_this_process() -> Iterator[None]:
    if not _HELD.acquire(blocking=False):
        raise AnotherNight
    try:
        yield
    finally:
        _HELD.release()


@contextmanager
def _by_file(database: Path) -> Iterator[None]:
    beside = database.with_name(f"{database.name}.lock-night")
    handle = os.open(beside, os.O_RDWR | os.O_CREAT)
    try:
        _lock_file(handle)
        yield
    finally:
        os.close(handle)  # which lets go of the lock, as does the end of the process


def _lock_file(handle: int) -> None:
    try:
        if os.name == "nt":
            import msvcrt  # Windows only

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined] # Windows only
        else:
            import fcntl  # everywhere else

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as held:
        raise AnotherNight from held


@contextmanager
def _by_database() -> Iterator[None]:
    """On a connection of its own: the judge's transactions come and go, the lock stays until the run ends."""
    own = connections.create_connection(DEFAULT_DB_ALIAS)
    try:
        with own.cursor() as cursor:
            cursor.execute("SELECT pg_try_advisory_lock(%s)", [KEY])
            if not cursor.fetchone()[0]:
                raise AnotherNight
        yield
    finally:
        own.close()
