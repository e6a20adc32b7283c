"""The one function that writes the table of changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import Model

from readiness.actions.inserting import insert
from readiness.actions.permissions import Acting
from readiness.models import Change, Department


class Changed(NamedTuple):
    """One record's change: what was done to it, and its old and new values (JSON)."""

    action: str
    subject: Model
    old: Mapping[str, Any] | None
    new: Mapping[str, Any] | None


def record_changes(department: Department | None, acting: Acting, at: datetime, changes: Iterable[Changed]) -> None:
    """Append a row for each change, in the caller's transaction."""
    insert(
        [
            Change(
                department=department,
                at=at,
                by=acting.user,
                action=changed.action,
                subject_kind=changed.subject._meta.model_name or "",
                subject_id=str(changed.subject.pk),
                old=None if changed.old is None else dict(changed.old),
                new=None if changed.new is None else dict(changed.new),
            )
            for changed in changes
        ]
    )
