"""The file of a backup: packed lines of JSON, sealed by their own fingerprint; and which of many such files may go.

{"foam_readiness_backup": 2, "made_at": …, "migration": …, "version": …, "engine": …}
{"table": "Lot", "columns": ["id", …]}
[1, …]
{"rows": 1, "sha256": "…"}
…
{"photo": 1, "sha256": "…", "data": "…"}
{"statuses": [[department, unit, status, fingerprint], …]}
{"seal": "the SHA-256 of every line above"}
"""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import re
import zlib
from collections.abc import Collection, Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from readiness.reports.every_table import line

FORM = 2  # 1 held no photos
READABLE = (1, FORM)
LONGEST_LINE = 64_000_000  # bytes; a night's inputs of one unit are a few thousand
_NAME = "foam-readiness-%Y-%m-%dT%H%M%SZ.jsonl.gz"
_NAMED = re.compile(r"foam-readiness-\d{4}-\d\d-\d\dT\d{6}Z\.jsonl\.gz")


class NotABackup(Exception):
    """The file is none, or is not whole; the text is a sentence."""


class Rotation(NamedTuple):
    """Of how many days, weeks and months the newest backup is kept."""

    days: int
    weeks: int
    months: int


class Writer:
    """Writes lines to a file beside the one that is wanted; it takes its name only when it is whole and on the disk."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.beside = path.with_name(f"{path.name}.part")
        self.digest = hashlib.sha256()

    def __enter__(self) -> Writer:
        if self.path.exists():
            raise NotABackup(f"{self.path} exists already: a backup is never written over. Give another name.")
        try:
            handle = os.open(self.beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)  # it holds people's sign-ins
        except OSError as wrong:
            raise NotABackup(f"{self.path} cannot be written ({wrong.strerror}): is the folder there?") from wrong
        self.file = os.fdopen(handle, "wb")
        self.packed = gzip.GzipFile(fileobj=self.file, mode="wb", compresslevel=6, mtime=0)
        return self

    def put(self, value: Any) -> bytes:
        """One line; gives its bytes."""
        data = line(value)
        self.digest.update(data)
        self.packed.write(data)
        return data

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if kind is None:
                self.packed.write(line({"seal": self.digest.hexdigest()}))
            self.packed.close()
            self.file.flush()
            os.fsync(self.file.fileno())
            self.file.close()
            if kind is None:
                os.link(self.beside, self.path)  # refuses a name that was taken meanwhile
        finally:
            with suppress(OSError):
                self.file.close()
            with suppress(OSError):
                self.beside.unlink()


def lines_of(path: Path) -> Iterator[Any]:
    """Every line but the seal, read one after the other. Raises NotABackup, at the latest at the end.

    Whoever uses the lines before the last has been read must be able to undo that.
    """
    digest = hashlib.sha256()
    seal = None
    try:
        with gzip.open(path, "rb") as packed:
            while data := packed.readline(LONGEST_LINE):
                if seal is not None:
                    raise NotABackup(f"{path} goes on after its seal: it is not as it was written.")
                value = json.loads(data)
                if isinstance(value, dict) and "seal" in value:
                    seal = value["seal"]
                    continue
                digest.update(data)
                yield value
    except (OSError, EOFError, zlib.error, ValueError, RecursionError) as wrong:
        raise NotABackup(_unreadable(path, wrong)) from wrong
    if seal is None:
        raise NotABackup(f"{path} ends before its seal: the backup was cut off. Take another one.")
    if seal != digest.hexdigest():
        raise NotABackup(f"{path} is not as it was written: its seal does not fit its lines. Take another one.")


def _unreadable(path: Path, wrong: Exception) -> str:
    if isinstance(wrong, FileNotFoundError):
        return f"There is no file {path}."
    if isinstance(wrong, PermissionError | IsADirectoryError):
        return f"{path} cannot be read ({wrong.strerror})."
    if isinstance(wrong, EOFError):
        return f"{path} ends before its seal: the backup was cut off. Take another one."
    return f"{path} is no backup of Foam Readiness, or is damaged ({type(wrong).__name__}). Take another one."


def head_of(lines: Iterator[Any], path: Path) -> dict[str, Any]:
    """The first line. Raises NotABackup for a file of something else or of a later form."""
    head = next(lines, None)
    if not isinstance(head, dict) or "foam_readiness_backup" not in head:
        raise NotABackup(f"{path} is no backup of Foam Readiness: its first line says something else.")
    if head["foam_readiness_backup"] not in READABLE:
        raise NotABackup(f"{path} was written by a later version of Foam Readiness: restore it with that version.")
    return head


def name_at(at: datetime) -> str:
    """The name of a backup taken at a moment."""
    return at.astimezone(UTC).strftime(_NAME)


def may_go(names: Collection[str], rotation: Rotation) -> list[str]:
    """Of the backups in a folder those that rotation does not keep; files of other names are nobody's business here.

    Kept are the newest of each of the last so many days, weeks (Monday to Sunday) and months that have a backup at
    all: a pause in backups never makes old ones go.
    """
    ours = sorted((name for name in names if _NAMED.fullmatch(name)), reverse=True)
    kept: set[str] = set(ours[:1])
    for form, count in (("%Y-%m-%d", rotation.days), ("%G-%V", rotation.weeks), ("%Y-%m", rotation.months)):
        newest: dict[str, str] = {}
        for name in ours:
            newest.setdefault(datetime.strptime(name, _NAME).replace(tzinfo=UTC).strftime(form), name)
        kept.update(list(newest.values())[:count])
    return [name for name in ours if name not in kept]
