"""Rows written as plain tuples are the rows that the ORM writes, past the same guards, whichever database it is."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from readiness.actions import inserting, ledger
from readiness.actions.drafts import Draft, Line, MarkAs, Move, new_id
from readiness.actions.inserting import insert, insert_rows, number
from readiness.actions.permissions import OWNER
from readiness.models import (
    Change,
    Container,
    HandedOver,
    HandedOverRow,
    Holding,
    Marking,
    Movement,
    MovementLine,
    Relocation,
)
from readiness.models.movements import Account, Mark, MovementKind
from readiness.reports.recounts import recount
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast

pytestmark = pytest.mark.django_db
OWN = ("id", "movement_id", "container_id", "code", "number")  # what cannot be the same in two rows


@pytest.fixture(params=["in one statement", "by way of another table"])
def way(request: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """On SQLite many rows go another way than few; both are looked at with few."""
    monkeypatch.setattr(inserting, "_MANY", 1 if request.param == "by way of another table" else 1_000)


def stored(model: Any, **where: Any) -> list[dict[str, Any]]:
    """The rows as the database holds them, apart from what must differ."""
    fields = [field.column for field in model._meta.concrete_fields if field.column not in OWN]
    columns = [connection.ops.quote_name(column) for column in fields]
    pks = list(model.objects.filter(**where).order_by("pk").values_list("pk", flat=True))
    with connection.cursor() as cursor:
        found = []
        for pk in pks:
            sql = f"SELECT {', '.join(columns)} FROM {model._meta.db_table} WHERE id = %s"
            cursor.execute(sql, [pk.hex if connection.vendor == "sqlite" and hasattr(pk, "hex") else pk])
            found.append(dict(zip(fields, cursor.fetchone(), strict=True)))
    return found


def received(cast: Cast, container: Container) -> Draft:
    return Draft(
        new_id(),
        MovementKind.RECEIVED,
        SIX,
        lines=(Line(Account.SUPPLIER, cast.lot.pk, -PAIL_ML), Line(container.pk, cast.lot.pk, PAIL_ML)),
        moves=(Move(container.pk, None, cast.store.pk),),
        marks=(MarkAs(container.pk, Mark.SEALED, "yes"),),
        reason="a “delivery”",
    )


def written_by_the_orm(cast: Cast, draft: Draft, container: Container) -> None:
    """The same entry, row by row."""
    of = {"movement_id": draft.id}
    MovementLine.objects.create(**of, n=1, account="supplier", lot=cast.lot, ml=-PAIL_ML)
    MovementLine.objects.create(**of, n=2, container=container, lot=cast.lot, ml=PAIL_ML)
    Relocation.objects.create(**of, container=container, to_place=cast.store)
    Marking.objects.create(**of, container=container, mark="concentrate", new=str(cast.ar.pk))
    Marking.objects.create(**of, container=container, mark="sealed", old="no", new="yes")
    Movement.objects.create(
        id=draft.id,
        department=cast.department,
        kind="received",
        happened_at=SIX,
        recorded_at=SIX,
        identity=OWNER.identity,
        reason="a “delivery”",
        body_sha256=draft.digest,
    )
    Holding.objects.create(container=container, lot=cast.lot, ml=PAIL_ML)


@pytest.mark.usefixtures("way")
def test_an_entry_is_written_as_the_orm_writes_it(cast: Cast) -> None:
    """A container new with its entry, beside one made by the ORM and then received."""
    by_rows = Container(department=cast.department, code="P1", kind="pail", capacity_ml=PAIL_ML)
    with transaction.atomic():
        number([by_rows])
        draft = received(cast, by_rows)
        ledger.post_many(cast.department, [draft], acting=OWNER, clock=CLOCK, unborn=[by_rows])
    by_orm = cast.pail(code="P2")
    other = received(cast, by_orm)
    with transaction.atomic():
        written_by_the_orm(cast, other, by_orm)
        kept = {"contents_ml": PAIL_ML, "place": cast.store, "concentrate": cast.ar, "sealed": True, "version": 1}
        Container.objects.filter(pk=by_orm.pk).update(**kept)
    assert recount(cast.department).differences == ()
    for model in (MovementLine, Relocation, Marking):
        rows = stored(model, movement=draft.id)
        assert rows == stored(model, movement=other.id)
        assert rows
    one, two = stored(Movement, pk=draft.id), stored(Movement, pk=other.id)
    assert {**one[0], "body_sha256": ""} == {**two[0], "body_sha256": ""}
    assert stored(Holding, container=by_rows) == stored(Holding, container=by_orm)
    assert stored(Container, pk=by_rows.pk) == stored(Container, pk=by_orm.pk)


@pytest.mark.usefixtures("way")
def test_texts_days_moments_and_json_are_written_as_the_orm_writes_them(cast: Cast) -> None:
    sheet = HandedOver.objects.create(department=cast.department, name="stock.xlsx", sent_at=SIX)
    names = ("handed_over_id", "number", "fate", "said", "became", "left", "codes", "ml")
    same = {"fate": "stock", "said": "“5 gal”; 100 %", "became": "", "left": "x", "codes": ["P-1", "Größe"], "ml": 7}
    insert_rows(HandedOverRow, names, [(sheet.pk, n, *same.values()) for n in (1, 2)])
    HandedOverRow.objects.create(handed_over=sheet, number=3, **same)
    first, second, third = stored(HandedOverRow)
    assert first == second == third
    change = {"department": cast.department, "at": SIX, "action": "do", "subject_kind": "x", "subject_id": "1"}
    for old, new in ((None, {"a": 1, "b": None}), ({"c": "é"}, None)):
        Change.objects.create(**change, old=old, new=new)
        columns = ("department_id", "at", "by_id", "action", "subject_kind", "subject_id", "old", "new")
        insert_rows(Change, columns, [(cast.department.pk, SIX, None, "do", "x", "1", old, new)])
        *_, by_orm, by_rows = stored(Change)
        assert by_orm == by_rows
    opened = Container(department=cast.department, code="O1", kind="pail", capacity_ml=9, opened_on=D0, reading_at=SIX)
    insert([opened], numbered=True)
    like = {"kind": "pail", "capacity_ml": 9, "opened_on": D0, "reading_at": SIX}
    by_orm = Container.objects.create(department=cast.department, code="O2", **like)
    assert stored(Container, pk=opened.pk) == stored(Container, pk=by_orm.pk)


def test_a_column_that_rows_do_not_name_is_refused(cast: Cast) -> None:
    """So that a column added to a table cannot be forgotten where its rows are written."""
    with pytest.raises(TypeError, match="Holding has columns that the rows do not name: ml"):
        insert_rows(Holding, ("container_id", "lot_id"), [(1, 1)])


def test_a_number_given_beforehand_is_nobody_elses(cast: Cast) -> None:
    def pails(*codes: str) -> list[Container]:
        return [Container(department=cast.department, code=code, kind="pail", capacity_ml=9) for code in codes]

    first, second = pails("N1", "N2"), pails("N3")
    with transaction.atomic():
        number(first)
        number(second)
        third = cast.pail(code="N4")
        insert(second)
        insert(first)
    numbers = [each.pk for each in (*first, *second, third, cast.pail(code="N5"))]
    assert len(set(numbers)) == len(numbers)
    assert numbers == sorted(numbers)
    assert Container.objects.get(code="N3").pk == second[0].pk


@pytest.mark.usefixtures("way")
def test_the_guards_look_at_every_row(cast: Cast) -> None:
    lines = [(new_id(), 1, None, "supplier", cast.lot.pk, ml) for ml in (5, 7)]
    insert_rows(MovementLine, ("movement_id", "n", "container_id", "account", "lot_id", "ml"), lines)
    header = (cast.department.pk, "received", SIX, SIX, None, OWNER.identity, None, "", "", None, None, "0" * 64)
    with pytest.raises(IntegrityError, match="sum to zero"), transaction.atomic():
        insert_rows(Movement, ledger._HEADER, [(line[0], *header) for line in lines])
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:  # what was on the way is not left behind
            cursor.execute("SELECT count(*) FROM sqlite_temp_master")
            assert cursor.fetchone() == (0,)
    transaction.set_rollback(True)  # the lines without a header would be refused at the end
