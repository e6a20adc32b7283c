"""Many rows into one table at once, several times faster than an INSERT built anew for every value.

An INSERT of ten thousand rows spends most of its time not in the database but in working out, value by value, how a
column is written, and in making a record of every row. Here each column is asked once whether its values have to be
adapted at all, and rows may be plain tuples. Whoever hands over tuples names every column of the table: a column that
was added to a model and is missing is refused, and never filled in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from itertools import chain
from operator import attrgetter
from typing import Any, Final

from django.db import DEFAULT_DB_ALIAS, connection, connections, models

_MANY: Final = 500  # rows, from which on a statement of all their values takes longer than another way
VALUES: Final = 30_000  # to a statement; SQLite takes 32,766 and PostgreSQL 65,535
_ALIKE: Final = (models.DateField, models.DecimalField)  # adapted once a value; a DateTimeField is a DateField
_FREE_SQLITE: Final = "SELECT seq FROM sqlite_sequence WHERE name = %s"
_FREE_POSTGRESQL: Final = "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)"


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
        if len(rows) >= _MANY and not end:
            through = _insert_by_way_of if connection.vendor == "sqlite" else _copy
            through(cursor, model._meta.db_table, columns, rows)
            return found
        for first in range(0, len(rows), at_once):
            part = rows[first : first + at_once]
            cursor.execute(f"{start}{', '.join([hole] * len(part))} {end}", list(chain.from_iterable(part)))
            if cursor.description:
                found += [pk for (pk,) in cursor.fetchall()]
    return found


def _insert_by_way_of(cursor: Any, table: str, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Insert by way of a table that nobody else sees: SQLite reads a statement of so many values more slowly.

    It goes into the table itself in one statement, in the order of the rows, past the same guards.
    """
    columns, hole = ", ".join(names), f"({', '.join(['%s'] * len(names))})"
    cursor.execute(f"CREATE TEMP TABLE readiness_coming AS SELECT {columns} FROM {table} WHERE 0")  # noqa: S608
    cursor.executemany(f"INSERT INTO temp.readiness_coming VALUES {hole}", rows)  # noqa: S608
    cursor.execute(f"INSERT INTO {table} ({columns}) SELECT * FROM temp.readiness_coming ORDER BY rowid")  # noqa: S608
    cursor.execute("DROP TABLE temp.readiness_coming")


def _copy(cursor: Any, table: str, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """The same for PostgreSQL, which takes rows as a stream, past the same guards."""
    with connection.wrap_database_errors, cursor.cursor.copy(f"COPY {table} ({', '.join(names)}) FROM STDIN") as stream:
        for row in rows:
            stream.write_row(row)


def insert_rows(
    model: type[models.Model], names: Sequence[str], rows: Sequence[Sequence[Any]], *, end: str = ""
) -> list[int]:
    """Insert rows of values as Python has them; `names`: every column of the table, as attributes of the model.

    Only a number that the database gives may be left out. Raises TypeError where a column is missing.
    """
    fields = {field.attname: field for field in model._meta.concrete_fields}
    missing = {name for name, field in fields.items() if not isinstance(field, models.AutoField)} - set(names)
    if missing:
        raise TypeError(f"{model.__name__} has columns that the rows do not name: {', '.join(sorted(missing))}.")
    if not rows:
        return []
    columns = [connection.ops.quote_name(str(fields[name].column)) for name in names]
    adapted = [_adapt(fields[name]) for name in names]
    if any(adapted):
        by_column = zip(*rows, strict=True)
        rows = list(zip(*(map(adapt, each) if adapt else each for adapt, each in zip(adapted, by_column, strict=True))))  # noqa: B905 - all are as long
    return insert_values(model, columns, rows, end=end)


def insert(records: Collection[models.Model], *, numbered: bool = False) -> None:
    """Insert records of one model that are not in the database yet; `numbered`: give each its number from there.

    Records that have a number, by `number`, keep it.
    """
    first = next(iter(records), None)
    if first is None:
        return
    model = type(first)
    given = first.pk is not None
    names = [field.attname for field in model._meta.concrete_fields if given or not isinstance(field, models.AutoField)]
    numbers = insert_rows(model, names, [*map(attrgetter(*names), records)], end="RETURNING id" if numbered else "")
    for record, pk in zip(records, numbers, strict=False):
        record.pk = pk
    for record in records:
        record._state.adding, record._state.db = False, connection.alias


def number(records: Collection[models.Model]) -> None:
    """Give records that are to be inserted later in this transaction their numbers; nobody else gets the same."""
    model = next((type(record) for record in records), None)
    if model is None:
        return
    for record, pk in zip(records, _free(model._meta.db_table, len(records)), strict=True):
        record.pk = pk


def _free(table: str, many: int) -> Sequence[int]:
    """So many numbers of a table that none had and none will get."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_FREE_POSTGRESQL, [table, many])
            return [pk for (pk,) in cursor.fetchall()]
        cursor.execute(_FREE_SQLITE, [table])
        known = cursor.fetchone()
        last = known[0] if known else 0
        kept = "UPDATE sqlite_sequence SET seq = %s WHERE name = %s" if known else _FIRST_SQLITE
        cursor.execute(kept, [last + many, table])
        return range(last + 1, last + many + 1)


_FIRST_SQLITE: Final = "INSERT INTO sqlite_sequence (seq, name) VALUES (%s, %s)"


def _adapt(field: models.Field[Any, Any]) -> Callable[[Any], Any] | None:
    """How a column's values become what the driver takes; None where they are that already."""
    kind = field.target_field if isinstance(field, models.ForeignKey) else field
    database = connections[DEFAULT_DB_ALIAS]  # looked up once: the name that all share is looked up for every value
    if isinstance(kind, models.UUIDField):
        return None if database.features.has_native_uuid_field else attrgetter("hex") if not field.null else _hex
    if isinstance(kind, models.JSONField):
        return lambda value: None if value is None else database.ops.adapt_json_value(value, kind.encoder)
    if not isinstance(kind, _ALIKE):
        return None
    known: dict[Any, Any] = {}

    def once(value: Any) -> Any:
        if value not in known:
            known[value] = kind.get_db_prep_save(value, database)
        return known[value]

    return once


def _hex(value: Any) -> str | None:
    return None if value is None else value.hex
