"""What every sheet of a workbook needs when it is taken in: names resolved, rows kept once, faults gathered.

Names are compared as people read them: case and double spaces make no difference.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Model

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Draft
from readiness.actions.permissions import Acting
from readiness.models import Department
from readiness.workbooks.rows import Fault, Reading, Row, quoted
from readiness.workbooks.rules import folded
from readiness.workbooks.sheets import BY_KEY

Key = tuple[Any, ...]
BATCH = 500


class Wanted(NamedTuple):
    """A record as a row wants it: its natural key, and the columns that the row states."""

    row: Row
    key: Key
    values: Mapping[str, Any]


class Intake:
    """A workbook on its way in: what is known, what was made, what is wrong, and the movements to post."""

    def __init__(self, department: Department, reading: Reading, acting: Acting, now: datetime) -> None:
        self.department = department
        self.rows = reading.rows
        self.acting = acting
        self.now = now
        self.faults: list[Fault] = []
        self.known: dict[str, dict[Key, Any]] = {}
        self.counts: dict[str, Counter[str]] = {}
        self.drafts: list[Draft] = []
        self.opening: dict[UUID, Row] = {}  # the row that each draft comes from
        self.running: dict[int, int] = {}  # unit to the vehicle it runs on

    # -- names ------------------------------------------------------------------------------------------------------

    def know(self, sheet: str, records: Iterable[Any], key: Callable[[Any], Key]) -> None:
        """Remember the records that the department has already, by their natural keys."""
        self.known[sheet] = {key(record): record for record in records}

    def find(self, sheet: str, row: Row, column: str, *key: Any) -> Any:
        """The record that a cell names, or None where it names none; a name that nothing has is a fault."""
        name = row[column]
        if name in ("", None) or not row.sound(column):
            return None
        found = self.known[sheet].get(key or (folded(str(name)),))
        if found is None:
            self.fault(row, column, quoted(name), f"nothing has this name; add it on the sheet {sheet_title(sheet)}")
        return found

    def fault(self, row: Row, column: str, read: str, right: str) -> None:
        """Add a fault at a cell: what was read, and what would be right."""
        self.faults.append(row.fault(column, read, right))

    # -- records ----------------------------------------------------------------------------------------------------

    def keep(self, sheet: str, model: type[Any], wanted: Sequence[Wanted]) -> None:
        """Make what is new, alter what differs, leave the rest; each with its row in the table of changes."""
        counts = self.counts.setdefault(sheet, Counter())
        new, altered, changes = [], [], []
        known = self.known.setdefault(sheet, {})
        for _, key, values in wanted:
            record = known.get(key)
            if record is None:
                record = known[key] = model(**values)
                new.append(record)
                continue
            old = {name: getattr(record, name) for name in values if getattr(record, name) != values[name]}
            counts["altered" if old else "unchanged"] += 1
            if old:
                for name in old:
                    setattr(record, name, values[name])
                altered.append((record, old))
                changes.append(Changed("workbook", record, _json(old), _json({n: values[n] for n in old})))
        model.objects.bulk_create(new, batch_size=BATCH)
        for record, old in altered:
            record.save(update_fields=list(old))
        counts["new"] += len(new)
        changes += [Changed("workbook", record, None, {"name": str(record)}) for record in new]
        record_changes(self.department, self.acting, self.now, changes)


def sheet_title(sheet: str) -> str:
    """The sheet's title as people read it."""
    return BY_KEY[sheet].title if sheet in BY_KEY else sheet


def _json(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in values.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, Model):
        return value.pk
    return value if value is None or isinstance(value, bool | int | float | str | list) else str(value)
