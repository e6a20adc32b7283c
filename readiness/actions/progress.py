"""How far long work has come, told beside the database.

While a sheet goes into the book one transaction is open, and nobody sees what it writes before it ends; on SQLite a
second connection could not write at all. So what is told meanwhile lies in a small file beside the photos, which every
process of the server on this machine reads. Losing it loses nothing: the page then shows the step and no count.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

from django.conf import settings

Told = Callable[[str, int, int], object]  # what is being done, how many are done, of how many
EVERY: Final = 500  # rows between two tellings: twenty for ten thousand


class Progress(NamedTuple):
    """So many done of so many, and what: "rows checked against the book"."""

    what: str
    done: int
    of: int

    @property
    def words(self) -> str:
        """For example "4,500 of 10,000 rows checked against the book"."""
        return f"{self.done:,} of {self.of:,} {self.what}"


def nobody(what: str, done: int, of: int) -> None:
    """For work that nobody watches."""


@contextmanager
def telling(name: str) -> Iterator[Told]:
    """Tell how far the work of this name is, until it ends."""
    path = _path(name)

    def tell(what: str, done: int, of: int) -> None:
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            coming = path.with_suffix(".coming")
            coming.write_text(json.dumps([what, done, of]), encoding="utf-8")
            coming.replace(path)
        except OSError:  # a full or read-only disk is no reason to break the work off
            return

    try:
        yield tell
    finally:
        path.unlink(missing_ok=True)


def told(name: str) -> Progress | None:
    """How far it is; None where nothing was told."""
    try:
        what, done, of = json.loads(_path(name).read_text(encoding="utf-8"))
        return Progress(str(what), int(done), int(of))
    except (OSError, ValueError, TypeError):
        return None


def _path(name: str) -> Path:
    return Path(settings.MEDIA_ROOT) / "at-work" / f"{name}.json"
