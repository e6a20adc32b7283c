"""What every sheet of a workbook needs when it is taken in: names resolved, rows kept once, faults gathered.

Names are compared as people read them: case and double spaces make no difference.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cached_property
from typing import Any, NamedTuple
from uuid import UUID, uuid5

from django.db.models import Model

from readiness.actions.changes import Changed, record_changes
from readiness.actions.drafts import Draft, digest
from readiness.actions.inserting import insert, number
from readiness.actions.permissions import Acting
from readiness.models import Container, Department
from readiness.workbooks.rows import Fault, Reading, Row, quoted
from readiness.workbooks.rules import folded
from readiness.workbooks.sheets import BY_KEY

Key = tuple[Any, ...]
BATCH = 500
WORKBOOKS = UUID("0f6a4f52-5a6f-4a0b-b1a1-3c5e0f2e7d11")  # the name space of the ids of workbooks


class Wanted(NamedTuple):
    """A record as a row wants it: its natural key, and the columns that the row states."""

    row: Row
    key: Key
    values: Mapping[str, Any]


class _Altered(NamedTuple):
    """A known record that a row states otherwise: what it held before, by column."""

    record: Any
    old: Mapping[str, Any]


class Intake:
    """A workbook on its way in: what is known, what was made, what is wrong, and the movements to post."""

    def __init__(self, department: Department, reading: Reading, acting: Acting, now: datetime) -> None:
        self.department = department
        self.rows = reading.rows
        self.acting = acting
        self.now = now
        self.faults: list[Fault] = list(reading.faults)
        self._faulty = {(fault.sheet, fault.row) for fault in reading.faults}
        self._unread = {fault.sheet for fault in reading.faults if not fault.column}  # a needed column is not there
        self._lost = {(row.sheet.key, _name(row)) for row in self._every_row() if self._has_fault(row)}
        self.known: dict[str, dict[Key, Any]] = {}
        self.counts: dict[str, Counter[str]] = {}
        self.drafts: list[Draft] = []
        self.unborn: list[Container] = []  # new containers: the ledger writes them with what comes into them
        self.opening: dict[UUID, Row] = {}  # the row that each draft comes from
        self.running: dict[int, int] = {}  # unit to the vehicle it runs on

    @cached_property
    def identity(self) -> tuple[UUID, str]:
        """The same rows are the same workbook, whatever program saved the file last."""
        rows = [[key, row.number, row.values] for key, of_sheet in self.rows.items() for row in of_sheet]
        body = digest(rows)
        return uuid5(WORKBOOKS, f"{self.department.pk} {body}"), body

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
            self.unknown(sheet, row, column, str(name), f"nothing has this name; add it on the sheet {_title(sheet)}")
        return found

    def unknown(self, sheet: str, row: Row, column: str, name: str, right: str) -> None:
        """Add a fault for a name that nothing has, unless it stands in a row of its sheet that has a fault itself.

        Then this row waits for that one, and so do those that name this one.
        """
        if _title(sheet) in self._unread or (sheet, folded(name)) in self._lost:
            self._lost.add((row.sheet.key, _name(row)))
        else:
            self.fault(row, column, quoted(name), right)

    def fault(self, row: Row, column: str, read: str, right: str) -> None:
        """Add a fault at a cell: what was read, and what would be right."""
        self.faults.append(row.fault(column, read, right))
        self._faulty.add(row.place)
        self._lost.add((row.sheet.key, _name(row)))

    def whole(self, row: Row) -> bool:
        """Whether a record may be made of the row: it has no fault so far, and all that is required."""
        return not self._has_fault(row) and all(row.values[key] not in ("", None, ()) for key in row.sheet.needed)

    def _has_fault(self, row: Row) -> bool:
        return row.place in self._faulty

    def _every_row(self) -> Iterable[Row]:
        return (row for of_sheet in self.rows.values() for row in of_sheet)

    # -- records ----------------------------------------------------------------------------------------------------

    def keep(self, sheet: str, model: type[Any], wanted: Sequence[Wanted]) -> None:
        """Make what is new, alter what differs, leave the rest; each with its row in the table of changes.

        A row with a fault makes nothing: the tables' own rules would refuse it before its fault is told.
        """
        counts = self.counts.setdefault(sheet, Counter())
        new: list[Any] = []
        altered: list[_Altered] = []
        known = self.known.setdefault(sheet, {})
        made = _maker(model)
        stated: set[Key] = set()
        for row, key, values in wanted:
            if key in stated:
                self._twice(row)
            if not self.whole(row):
                continue
            stated.add(key)
            record = known.get(key)
            if record is None:
                record = known[key] = made(values)
                new.append(record)
            elif old := _differing(record, values):
                _set(record, {name: values[name] for name in old})
                altered.append(_Altered(record, old))
            else:
                counts["unchanged"] += 1
        counts["new"] += len(new)
        counts["altered"] += len(altered)
        self._save(model, new, altered)

    def _twice(self, row: Row) -> None:
        """The same thing under two names, such as a fuel by its name and by its number."""
        if self.whole(row):
            column = next(key for key in reversed(row.sheet.unique) if row[key] not in ("", None))
            self.fault(row, column, quoted(row[column]), "another row says the same; each stands in one row only")

    def _save(self, model: type[Any], new: Sequence[Any], altered: Sequence[_Altered]) -> None:
        if model is Container:
            number(new)
            self.unborn += new
        else:
            insert(new, numbered=True)
        names = sorted({name for each in altered for name in each.old})
        if names:
            model.objects.bulk_update([each.record for each in altered], names, batch_size=BATCH)
        changes = [
            Changed("workbook", record, _json(old), _json({name: _held(record, name) for name in old}))
            for record, old in altered
        ]
        changes += [Changed("workbook", record, None, {"name": str(record)}) for record in new]
        self.record(changes)

    def record(self, changes: Iterable[Changed]) -> None:
        """Append to the table of changes, in the name of who sent the workbook."""
        record_changes(self.department, self.acting, self.now, changes)


def _maker(model: type[Any]) -> Callable[[Mapping[str, Any]], Any]:
    """Makes records of a model from values by name, thousands of them in less time than by its own constructor."""
    fields = model._meta.concrete_fields
    at = {field.name: place for place, field in enumerate(fields)}
    plain = [None if callable(field.default) else field.get_default() for field in fields]
    made_anew = [(place, field.get_default) for place, field in enumerate(fields) if callable(field.default)]

    def made(values: Mapping[str, Any]) -> Any:
        row, related = plain.copy(), {}
        for place, default in made_anew:
            row[place] = default()
        for name, value in values.items():
            if isinstance(value, Model):
                related[name] = value
                row[at[name]] = value.pk
            else:
                row[at[name]] = value
        record = model(*row)
        record._state.fields_cache.update(related)
        return record

    return made


def _name(row: Row) -> str:
    """What other rows call this one: a lot by its batch, all else by the first column of its sheet."""
    return folded(str(row["batch" if row.sheet.key == "lots" else row.sheet.columns[0].key]))


def _held(record: Any, name: str) -> Any:
    """A column's value, a record by its key: to ask for the record itself would be a query a row."""
    return getattr(record, record._meta.get_field(name).attname)


def _differing(record: Any, values: Mapping[str, Any]) -> dict[str, Any]:
    """What the record holds now in the columns that are stated otherwise."""
    held = {name: _held(record, name) for name in values}
    return {name: old for name, old in held.items() if old != _plain_key(values[name])}


def _plain_key(value: Any) -> Any:
    return value.pk if isinstance(value, Model) else value


def _set(record: Any, values: Mapping[str, Any]) -> None:
    for name, value in values.items():
        setattr(record, name, value)


def _title(sheet: str) -> str:
    return BY_KEY[sheet].title


def _json(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in values.items()}


def _plain(value: Any) -> Any:
    return value if value is None or isinstance(value, bool | int | float | str | list) else str(value)
