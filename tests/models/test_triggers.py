"""The database itself refuses what the ledger must never allow, whoever asks."""

from __future__ import annotations

import uuid

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from readiness.actions import movements
from readiness.actions.changes import Changed, record_changes
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Change, Container, Movement, MovementLine, Relocation, triggers
from readiness.models.movements import Account
from tests.cast import CLOCK, PAIL_ML, SIX, Cast
from tests.taking import Taking

pytestmark = pytest.mark.django_db

LEDGER = ("readiness_movement", "readiness_movementline", "readiness_relocation", "readiness_marking")


@pytest.fixture
def filled(cast: Cast) -> Cast:
    """A pail received, opened, counted in an inventory that was signed, and a change: every guarded table has a row."""
    pail = cast.pail(code="P1")
    entry = Entry(cast.department, OWNER, CLOCK)
    movements.receive(entry, container=pail, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    movements.use(entry, container=pail, ml=1000, account=Account.DRILL)
    record_changes(cast.department, OWNER, SIX, [Changed("test", pail, None, {"a": 1})])
    taking = Taking(cast)
    taking.see(pail, PAIL_ML - 1000)
    taking.to_explaining()
    taking.close()
    return cast


def refused(sql: str, *values: object) -> str:
    """Run the statement and its commit-time checks; return what the database said."""
    connection.check_constraints()  # PostgreSQL truncates no table that has checks pending
    with pytest.raises(DatabaseError) as caught, transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(sql, values)
        connection.check_constraints()
    assert isinstance(caught.value, IntegrityError), caught.value
    return str(caught.value)


def _columns(table: str) -> list[str]:
    with connection.cursor() as cursor:
        return [column.name for column in connection.introspection.get_table_description(cursor, table)]


@pytest.mark.parametrize("table", triggers.TABLES)
def test_no_row_is_updated_or_deleted(filled: Cast, table: str) -> None:
    column = _columns(table)[-1]
    assert "append-only" in refused(f"UPDATE {table} SET {column} = {column}")
    assert "append-only" in refused(f"DELETE FROM {table}")


@pytest.mark.parametrize("table", triggers.TABLES)
def test_no_row_is_replaced(filled: Cast, table: str) -> None:
    columns = ", ".join(f'"{column}"' for column in _columns(table))
    copy = f"INTO {table} ({columns}) SELECT {columns} FROM {table}"
    verb = "REPLACE" if connection.vendor == "sqlite" else "INSERT"
    ending = "" if connection.vendor == "sqlite" else " ON CONFLICT DO NOTHING"
    assert "ledger:" in refused(f"{verb} {copy}{ending}")


@pytest.mark.parametrize("table", triggers.TABLES)
def test_no_table_is_truncated(filled: Cast, table: str) -> None:
    if connection.vendor == "sqlite":
        assert "append-only" in refused(f"DELETE FROM {table} WHERE 1")  # SQLite's truncate optimisation is this
    else:
        assert "append-only" in refused(f"TRUNCATE {table} CASCADE")


def test_nothing_is_added_to_a_sealed_movement(filled: Cast) -> None:
    header = Movement.objects.order_by("recorded_at", "id")[0]
    pail = Container.objects.get(code="P1")
    late = "nothing is added to a movement after its header"
    line = "INSERT INTO readiness_movementline (movement_id, n, container_id, account, lot_id, ml) VALUES "
    assert late in refused(line + "(%s, 99, %s, '', %s, 5)", _id(header.pk), pail.pk, filled.lot.pk)
    relocation = "INSERT INTO readiness_relocation (movement_id, container_id, from_place_id) VALUES (%s, %s, %s)"
    assert late in refused(relocation, _id(header.pk), pail.pk, filled.store.pk)
    marking = (
        "INSERT INTO readiness_marking (movement_id, container_id, mark, old, new) VALUES (%s, %s, 'mixed', '', '')"
    )
    assert late in refused(marking, _id(header.pk), pail.pk)


def test_a_change_is_not_added_behind_a_later_one(filled: Cast) -> None:
    pail = Container.objects.get(code="P1")
    record_changes(filled.department, OWNER, SIX, [Changed("test", pail, None, {"a": 2})] * 3)
    low = Change.objects.order_by("id")[0].pk - 1
    sql = "INSERT INTO readiness_change (id, at, action, subject_kind, subject_id) VALUES (%s, %s, 'x', 'x', '1')"
    assert "behind a later one" in refused(sql, low, "2026-06-15 06:00:00")


def _id(value: uuid.UUID) -> object:
    return value.hex if connection.vendor == "sqlite" else value


def _header(cast: Cast, pk: uuid.UUID, **values: object) -> Movement:
    return Movement(
        id=pk,
        department=cast.department,
        kind="received",
        happened_at=SIX,
        recorded_at=SIX,
        identity="command",
        body_sha256="x",
        **values,
    )


def test_a_header_needs_a_part(cast: Cast) -> None:
    with pytest.raises(IntegrityError, match="needs a line"), transaction.atomic():
        _header(cast, uuid.uuid4()).save(force_insert=True)


def test_lines_sum_to_zero_for_each_lot_not_in_all(cast: Cast) -> None:
    pail, pk = cast.pail(), uuid.uuid4()
    with pytest.raises(IntegrityError, match="sum to zero"), transaction.atomic():
        MovementLine.objects.create(movement_id=pk, n=1, account="supplier", lot=cast.lot, ml=-100)
        MovementLine.objects.create(movement_id=pk, n=2, container=pail, lot=cast.other_lot, ml=100)
        _header(cast, pk).save(force_insert=True)


def test_lines_without_a_header_do_not_outlive_the_transaction(cast: Cast) -> None:
    pail = cast.pail()
    with pytest.raises(IntegrityError), transaction.atomic():
        Relocation.objects.create(movement_id=uuid.uuid4(), container=pail, to_place=cast.store)
        connection.check_constraints()


def test_a_movement_is_corrected_once_even_by_replace(filled: Cast) -> None:
    first = Movement.objects.order_by("recorded_at", "id")[0]
    entry = Entry(filled.department, OWNER, CLOCK, reason="typed twice")
    use = Movement.objects.get(kind="used")
    movements.correct(entry, movement=use)
    pk = uuid.uuid4()
    with pytest.raises(IntegrityError, match="corrected once"), transaction.atomic():
        MovementLine.objects.create(movement_id=pk, n=1, account="supplier", lot=filled.lot, ml=-1)
        MovementLine.objects.create(movement_id=pk, n=2, account="drill", lot=filled.lot, ml=1)
        _header(filled, pk, corrects=use, reason="again").save(force_insert=True)
    assert Movement.objects.filter(pk=first.pk).exists()


def test_the_census_counts_every_guard_and_notices_one_that_is_gone(db: None) -> None:
    assert triggers.census() == []
    names = [name for name in triggers.definitions(connection.vendor) if not name.endswith("()")]
    # update, delete, insert on seven tables, and order of changes (SQLite) or truncate on seven tables (PostgreSQL)
    assert len(names) == {"sqlite": 22, "postgresql": 28}[connection.vendor]
    with transaction.atomic():
        on = "" if connection.vendor == "sqlite" else " ON readiness_movement"
        with connection.cursor() as cursor:
            cursor.execute(f"DROP TRIGGER readiness_guard_readiness_movement_delete{on}")
        assert triggers.census() == [
            "guard readiness_guard_readiness_movement_delete is missing, altered or switched off"
        ]
        transaction.set_rollback(True)


def test_no_mutable_table_has_movement_in_its_name() -> None:
    tables = [name for name in connection.introspection.django_table_names() if "movement" in name]
    assert sorted(tables) == ["readiness_movement", "readiness_movementline"]
