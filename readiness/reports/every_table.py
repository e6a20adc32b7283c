"""Every row of every table as plain values, in an order in which they can be put back."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps as present_apps
from django.apps.registry import Apps
from django.db import connection, transaction
from django.db.models import Field, Model

APP = "readiness"
LAST = frozenset({"Movement"})  # the header seals its parts: they are put back before it
CHUNK = 2_000


def tables(apps: Apps = present_apps) -> tuple[type[Model], ...]:
    """The product's tables by name, those of the ledger's headers last."""
    models = apps.get_app_config(APP).get_models(include_auto_created=True)
    return tuple(sorted(models, key=lambda model: (model.__name__ in LAST, model.__name__)))


def columns(model: type[Model]) -> tuple[Field[Any, Any], ...]:
    """The columns of a table, in the order of the model."""
    return tuple(model._meta.concrete_fields)


def rows(model: type[Model], names: list[str] | None = None) -> Iterator[list[Any]]:
    """Each row in the order of its key, as values that JSON can hold.

    names: columns in the order of a file, which an earlier version may have written in another than the model's.
    """
    found = model._base_manager.order_by("pk").values_list(*(names or [field.attname for field in columns(model)]))
    for row in found.iterator(chunk_size=CHUNK):
        yield [plain(value) for value in row]


def plain(value: Any) -> Any:
    """A column's value as JSON can hold it."""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, UUID | Decimal):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode("ascii")
    return value


def line(value: Any) -> bytes:
    """One line of JSON."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def filled(models: tuple[type[Model], ...]) -> list[str]:
    """The names of the tables that have a row."""
    return [model._meta.verbose_name_plural.__str__() for model in models if model._base_manager.exists()]


@contextmanager
def one_moment() -> Iterator[None]:
    """Everything that is read inside is as it was at one moment, and nobody who writes meanwhile waits.

    SQLite: a read transaction of the write-ahead log; Django's own would take the lock of a writer.
    PostgreSQL: repeatable read.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("ROLLBACK")
            return
        with transaction.atomic(durable=True):
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
