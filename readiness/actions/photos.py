"""Photos: kept on disk by their fingerprint, after a look at what they are."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from tempfile import NamedTemporaryFile

from django.conf import settings

from readiness.actions.clock import SYSTEM_CLOCK, Clock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import Acting, require
from readiness.engineering.photos import MOST_BYTES, TYPES, Damaged, picture_type, without_traces
from readiness.models import Department, Photo


def keep_photo(department: Department, *, data: bytes, acting: Acting, clock: Clock = SYSTEM_CLOCK) -> Photo:
    """Keep a picture without what its phone tells of place and time. Raises Refused for what is none, damaged or too
    large; the same picture is kept once.
    """
    require(acting, department, "raise a deficiency")
    media_type = picture_type(data)
    if media_type is None:
        raise Refused("A file was read that is no JPEG, PNG or WebP picture: take the photo with the phone’s camera.")
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1e6:.1f} MB"
        raise Refused(f"A photo of {size} was read: at most {MOST_BYTES // 1_000_000} MB. Take it with less detail.")
    try:
        data = without_traces(data, media_type)
    except Damaged as wrong:
        raise Refused(f"A damaged picture was read ({wrong}): take the photo again.") from wrong
    fingerprint = hashlib.sha256(data).hexdigest()
    known = Photo.objects.filter(department=department, sha256=fingerprint).first()
    if known is not None:
        return known
    _write(photo_path(department.pk, fingerprint, media_type), data)
    facts = {"sha256": fingerprint, "media_type": media_type, "size_bytes": len(data)}
    return Photo.objects.create(department=department, **facts, kept_at=clock.now(), kept_by=acting.user)


def photo_path(department: int, fingerprint: str, media_type: str) -> Path:
    """Where a picture is on disk."""
    return Path(settings.MEDIA_ROOT) / "photos" / str(department) / f"{fingerprint}.{TYPES[media_type]}"


def read_photo(photo: Photo) -> bytes | None:
    """Its bytes; None where the file is gone."""
    path = photo_path(photo.department_id, photo.sha256, photo.media_type)
    return path.read_bytes() if path.exists() else None


def put_back_photo(path: Path, data: bytes) -> None:
    """Write the file of a picture that a backup holds, unless it is there."""
    if not path.exists():
        _write(path, data)


def _write(path: Path, data: bytes) -> None:
    """Whole or not at all: a row never names half a picture."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, delete=False) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    Path(file.name).replace(path)
