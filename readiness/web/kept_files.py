"""A sent workbook kept between two steps: on this machine's disk, for an hour, for who sent it alone.

The page holds a signed ticket with the file's fingerprint, the department and the person; the folder can be read by the
server's own user only. A ticket that is forged, too old, another's, or whose file is gone asks for the file anew: so a
server behind several others, or started again, loses nothing but that step.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path

from django.core import signing

from readiness.web.access import Here

KEPT_S = 3600
_SALT = "readiness.web.kept_files"
GONE = "The file is no longer kept here (that is done for an hour): choose it and send it again."


class NotKept(Exception):
    """The ticket names no file that is kept; the text is a sentence."""


def keep(here: Here, data: bytes) -> str:
    """Keep a file and give its ticket; what was kept too long goes."""
    folder = _folder()
    _clear(folder, here.now.timestamp())
    fingerprint = hashlib.sha256(data).hexdigest()
    path = folder / _name(here, fingerprint)
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(data)
    return signing.dumps([fingerprint, here.department.pk, here.user.pk], salt=_SALT, compress=True)


def kept(here: Here, ticket: str) -> bytes:
    """The file of a ticket. Raises NotKept."""
    try:
        fingerprint, department, user = signing.loads(ticket, salt=_SALT, max_age=KEPT_S)
        if (department, user) != (here.department.pk, here.user.pk):
            raise NotKept(GONE)
        data = (_folder() / _name(here, str(fingerprint))).read_bytes()
    except (signing.BadSignature, ValueError, TypeError, OSError) as unknown:
        raise NotKept(GONE) from unknown
    if hashlib.sha256(data).hexdigest() != fingerprint:
        raise NotKept(GONE)
    return data


def drop(here: Here, data: bytes) -> None:
    """The file has been taken in."""
    with suppress(OSError):
        (_folder() / _name(here, hashlib.sha256(data).hexdigest())).unlink()


def _name(here: Here, fingerprint: str) -> str:
    return f"{here.department.pk}-{here.user.pk}-{fingerprint}"


def _folder() -> Path:
    """A folder of the server's user, that nobody else reads."""
    path = Path(tempfile.gettempdir()) / f"foam-readiness-{os.getuid()}"
    path.mkdir(mode=0o700, exist_ok=True)
    found = path.lstat()
    if path.is_symlink() or found.st_uid != os.getuid() or found.st_mode & 0o077:
        raise PermissionError(f"{path} belongs to somebody else or can be read by others: remove it.")
    return path


def _clear(folder: Path, now: float) -> None:
    for path in folder.iterdir():
        with suppress(OSError):  # another request may have removed it meanwhile
            if now - path.stat().st_mtime > KEPT_S:
                path.unlink()
