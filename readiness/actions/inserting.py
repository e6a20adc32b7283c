"""Many rows into one table at once, several times faster than an INSERT built anew for every value.

An INSERT of ten thousand rows spends most of its time not in the database but in working out, value by value, how a
column is written. Here each column is asked once whether its values have to be adapted at all.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any, Final

from django.db import DEFAULT_DB_ALIAS, connection, connections, models

VALUES: Final = 30_000  # to a statement; SQLite takes 32,766 and PostgreSQL 65,535
_ADAPTED: Final = (
    models.UUIDField,
    models.DateField,
    models.DecimalField,
    models.JSONField,
)  # a DateTimeField is a DateField


def insert_values(
    model: type[models.Model], columns: Sequence[str], rows: Sequence[Sequence[Any]], *, end: str = ""
) -> list[int]:
    """Insert rows of values as the database takes them, many to a statement; `end`: what stands behind the values.

    Gives what RETURNING in `end` asks for, row by row.
    """
    hole = f"({', '.join(['%s'] * len(columns))})"
    start = f"INSERT INTO {model._meta.db_table} ({', '.join(columns)}) VALUES "  # noqa: S608 - our own names
    at_once = VALUES // len(columns)
    found: list[int] = []
    with connection.cursor() as cursor:
        for first in range(0, len(rows), at_once):
            part = rows[first : first + at_once]
            cursor.execute(f"{start}{', '.join([hole] * len(part))} {end}", [value for row in part for value in row])
            if cursor.description:
                found += [pk for (pk,) in cursor.fetchall()]
    return found


def insert(records: Collection[models.Model], *, numbered: bool = False) -> None:
    """Insert records of one model that are not in the database yet; `numbered`: give each its number from there."""
    model = next((type(record) for record in records), None)
    if model is None:
        return
    fields = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    columns = [(field.attname, _adapt(field)) for field in fields]
    rows = [
        [adapt(getattr(record, name)) if adapt else getattr(record, name) for name, adapt in columns]
        for record in records
    ]
    names = [connection.ops.quote_name(str(field.column)) for field in fields]
    numbers = insert_values(model, names, rows, end="RETURNING id" if numbered else "")
    for record, number in zip(records, numbers, strict=False):
        record.pk = number
    for record in records:
        record._state.adding, record._state.db = False, connection.alias


def _adapt(field: models.Field[Any, Any]) -> Callable[[Any], Any] | None:
    """How a column's values become what the driver takes; None where they are that already."""
    kind = field.target_field if isinstance(field, models.ForeignKey) else field
    if not isinstance(kind, _ADAPTED):
        return None
    database = connections[DEFAULT_DB_ALIAS]  # looked up once: the name that all share is looked up for every value
    return lambda value: kind.get_db_prep_save(value, database)
