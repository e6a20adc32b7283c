"""The one function that writes the table of changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import Model

from readiness.actions.inserting import insert_rows
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
    where, who = department.pk if department else None, acting.user.pk if acting.user else None
    rows = [
        (
            where,
            at,
            who,
            changed.action,
            changed.subject._meta.model_name or "",
            str(changed.subject.pk),
            None if changed.old is None else dict(changed.old),
            None if changed.new is None else dict(changed.new),
        )
        for changed in changes
    ]
    insert_rows(Change, _CHANGE, rows)


_CHANGE = ("department_id", "at", "by_id", "action", "subject_kind", "subject_id", "old", "new")
