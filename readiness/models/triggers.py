"""The ledger's guards inside the database, laid again after every migration.

Lines, relocations and markings are inserted first (their foreign key to the header is deferred), the header last: it
is refused unless something names it and every lot sums to zero, and it seals what names it. From then on the database
refuses UPDATE, DELETE, TRUNCATE, REPLACE and late INSERT, whoever asks. Definitions stand here and not in migrations,
because SQLite drops triggers when a later migration remakes a table.
"""

from __future__ import annotations

from django.db import connections
from django.db.utils import DEFAULT_DB_ALIAS

HEADER = "readiness_movement"
PARTS = ("readiness_movementline", "readiness_relocation", "readiness_marking")
CHANGES = "readiness_change"
COUNTS = ("readiness_count", "readiness_inventoryresult")
TABLES = (HEADER, *PARTS, CHANGES, *COUNTS)
PREFIX = "readiness_guard_"

_NO_PARTS = " AND ".join(f"NOT EXISTS (SELECT 1 FROM {part} WHERE movement_id = NEW.id)" for part in PARTS)
# "+ 0", so that PostgreSQL sorts the few lines of the movement instead of walking all lines in the order of their lots.
_UNBALANCED = (
    "EXISTS (SELECT 1 FROM readiness_movementline WHERE movement_id = NEW.id GROUP BY lot_id + 0 HAVING SUM(ml) <> 0)"
)
_USED_ID = "EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id)"
_CORRECTED_TWICE = "EXISTS (SELECT 1 FROM readiness_movement WHERE corrects_id = NEW.corrects_id)"
_SEALED = "EXISTS (SELECT 1 FROM readiness_movement WHERE id = NEW.movement_id)"
_LATE = "EXISTS (SELECT 1 FROM readiness_change WHERE id > NEW.id)"

# table -> (condition under which an INSERT is refused, sentence)
INSERT_RULES: dict[str, tuple[tuple[str, str], ...]] = {
    HEADER: (
        (_USED_ID.format(table=HEADER), "a movement id is used once"),
        (_CORRECTED_TWICE, "a movement is corrected once"),
        (_NO_PARTS, "a movement needs a line, a relocation or a marking, inserted before it"),
        (_UNBALANCED, "the lines of a movement sum to zero for each lot"),
    ),
    **{
        part: (
            (_USED_ID.format(table=part), "a ledger row is never replaced"),
            (_SEALED, "nothing is added to a movement after its header"),
        )
        for part in PARTS
    },
    CHANGES: ((_USED_ID.format(table=CHANGES), "a change is never replaced"),),
    **{table: ((_USED_ID.format(table=table), "what was counted is never replaced"),) for table in COUNTS},
}


def _sqlite() -> dict[str, str]:
    made: dict[str, str] = {}
    for table in TABLES:
        for verb in ("UPDATE", "DELETE"):
            name = f"{PREFIX}{table}_{verb.lower()}"
            made[name] = (
                f"CREATE TRIGGER {name} BEFORE {verb} ON {table} BEGIN "
                f"SELECT RAISE(ABORT, 'ledger: {table} is append-only, {verb} refused'); END"
            )
        name = f"{PREFIX}{table}_insert"
        checks = " ".join(
            f"SELECT RAISE(ABORT, 'ledger: {sentence}') WHERE {condition};"
            for condition, sentence in INSERT_RULES[table]
        )
        made[name] = f"CREATE TRIGGER {name} BEFORE INSERT ON {table} BEGIN {checks} END"
    # Before an insert SQLite does not know an automatic id yet, so the order of changes is checked after it.
    name = f"{PREFIX}{CHANGES}_late"
    made[name] = (
        f"CREATE TRIGGER {name} AFTER INSERT ON {CHANGES} BEGIN "
        f"SELECT RAISE(ABORT, 'ledger: a change is not added behind a later one') WHERE {_LATE}; END"
    )
    return made


def _raise(condition: str, sentence: str) -> str:
    return (
        f"IF {condition} THEN RAISE EXCEPTION 'ledger: {sentence}' USING ERRCODE = 'integrity_constraint_violation'; "
        "END IF;"
    )


def _postgresql() -> dict[str, str]:
    made: dict[str, str] = {}
    for table in TABLES:
        rules = INSERT_RULES[table]
        volatility = ""
        if table == CHANGES:
            # STABLE: the look at other rows uses the statement's own snapshot, taken before its id was drawn, so a
            # row that another session commits meanwhile never makes an honest insert look late.
            rules = (*rules, (_LATE, "a change is not added behind a later one"))
            volatility = " STABLE"
        checks = " ".join(_raise(condition, sentence) for condition, sentence in rules)
        insert, refuse = f"{PREFIX}{table}_insert", f"{PREFIX}{table}_refuse"
        # Without statistics, as in one transaction of many rows, the planner would read whole tables for every row.
        made[f"{insert}()"] = (
            f"CREATE OR REPLACE FUNCTION {insert}() RETURNS trigger LANGUAGE plpgsql{volatility} "
            "SET enable_seqscan = off AS "
            f"$guard$ BEGIN {checks} RETURN NEW; END $guard$"
        )
        made[insert] = f"CREATE TRIGGER {insert} BEFORE INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION {insert}()"
        made[f"{refuse}()"] = (
            f"CREATE OR REPLACE FUNCTION {refuse}() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN "
            f"RAISE EXCEPTION 'ledger: {table} is append-only, % refused', TG_OP "
            "USING ERRCODE = 'integrity_constraint_violation'; END $guard$"
        )
        for verb in ("UPDATE", "DELETE"):
            name = f"{PREFIX}{table}_{verb.lower()}"
            made[name] = f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH ROW EXECUTE FUNCTION {refuse}()"
        name = f"{PREFIX}{table}_truncate"
        made[name] = f"CREATE TRIGGER {name} BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION {refuse}()"
    return made


def definitions(vendor: str) -> dict[str, str]:
    """Name to SQL of every guard on that database; a name that ends in () is a function."""
    return _sqlite() if vendor == "sqlite" else _postgresql()


def _table_of(name: str) -> str:
    return next(table for table in sorted(TABLES, key=len, reverse=True) if name.startswith(f"{PREFIX}{table}_"))


def install(using: str = DEFAULT_DB_ALIAS) -> None:
    """Drop and create every guard; does nothing for tables that do not exist (yet)."""
    connection = connections[using]
    present = set(connection.introspection.table_names())
    if not present.issuperset(TABLES):
        return
    remove(using)
    with connection.cursor() as cursor:
        for sql in definitions(connection.vendor).values():
            cursor.execute(sql)


def remove(using: str = DEFAULT_DB_ALIAS) -> None:
    """Drop every guard: for the tear-down of tests that flush, and before guards are laid again."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for name in definitions(connection.vendor):
            if name.endswith("()"):
                continue
            on = f" ON {_table_of(name)}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


def census(using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """What is missing, altered or switched off among the guards, a sentence each; empty when all stand."""
    connection = connections[using]
    standing = _standing_sqlite(using) if connection.vendor == "sqlite" else _standing_postgresql(using)
    return [
        f"guard {name} is missing, altered or switched off"
        for name, sql in definitions(connection.vendor).items()
        if standing.get(name) != (sql if connection.vendor == "sqlite" else _body(sql))
    ]


def _standing_sqlite(using: str) -> dict[str, str]:
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        return dict(cursor.fetchall())


def _standing_postgresql(using: str) -> dict[str, str]:
    with connections[using].cursor() as cursor:
        cursor.execute(
            "SELECT t.tgname, 'on' FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "JOIN pg_namespace n ON n.oid = c.relnamespace "
            "WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A') AND n.nspname = current_schema()"
        )
        triggers = dict(cursor.fetchall())
        cursor.execute(
            "SELECT p.proname || '()', p.prosrc FROM pg_proc p JOIN pg_namespace n ON n.oid = p.pronamespace "
            "WHERE n.nspname = current_schema()"
        )
        return {**triggers, **dict(cursor.fetchall())}


def _body(sql: str) -> str:
    """What PostgreSQL keeps of a definition: a function's text, or for a trigger that it is on."""
    return sql.split("$guard$")[1] if "$guard$" in sql else "on"
