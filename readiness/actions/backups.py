"""Backup while people work; restore to an empty place, proved before it is kept.

A backup is every row as of one moment, and the status of every unit judged at that moment. A restore puts the rows back
under the guards of the database, in one transaction, and keeps them only when

1. the file's seal and each table's fingerprint fit, and the tables read again give the same fingerprints;
2. every guard stands and the ledger folded from nothing comes to what is kept beside it (`recount`);
3. every unit, judged again as of the moment of the backup, has the same answer.

A backup of an earlier version is put into tables of that version, which are then brought up to date.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import islice, zip_longest
from pathlib import Path
from typing import Any, NamedTuple

from django.apps import apps as present_apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.models import Model

from readiness.actions.backup_files import FORM, NotABackup, Rotation, Writer, head_of, lines_of, may_go, name_at
from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of
from readiness.actions.judging import judge_fleet
from readiness.actions.photos import photo_path, put_back_photo, read_photo
from readiness.engineering.records import Moment
from readiness.models import Department, Photo
from readiness.reports.every_table import APP, columns, filled, line, one_moment, rows, tables
from readiness.reports.fleet import load_rigs
from readiness.reports.recounts import recount
from readiness.reports.verdicts import ENGINE, digest

BATCH = 500
Say = Callable[[str], None]


class Backup(NamedTuple):
    """What a file holds: when it was taken, rows by table, and how many units were judged."""

    path: Path
    made_at: datetime
    rows: dict[str, int]
    units: int
    photos: int = 0
    lost_photos: int = 0
    removed: tuple[str, ...] = ()


class Restored(NamedTuple):
    """What was put back, and what this version judges otherwise than the one that took the backup."""

    backup: Backup
    differently: tuple[str, ...]


class NotRestored(Exception):
    """Nothing was kept; the text is a sentence or several."""


def back_up(path: Path, *, rotation: Rotation | None = None, clock: Clock = SYSTEM_CLOCK) -> Backup:
    """Write a backup to a new file, or into a folder under a name of its own, and read it back.

    rotation: of the backups in the folder those are removed afterwards that it does not keep. Raises NotABackup.
    """
    at = clock.now()
    target = path / name_at(at) if path.is_dir() else path
    with Writer(target) as out, one_moment():
        out.put(
            {"foam_readiness_backup": FORM, "made_at": at.isoformat(), "migration": last_migration(), "engine": ENGINE}
        )
        for model in tables():
            _write_table(out, model)
        for photo in Photo.objects.order_by("pk").iterator():
            data = read_photo(photo)
            told = None if data is None else base64.b64encode(data).decode("ascii")
            out.put({"photo": photo.pk, "sha256": photo.sha256, "data": told})
        out.put({"statuses": _statuses(at)})
    written = check(target)
    return written._replace(removed=_rotate(target.parent, rotation) if rotation else ())


def _write_table(out: Writer, model: type[Model]) -> None:
    out.put({"table": model.__name__, "columns": [field.attname for field in columns(model)]})
    count, fingerprint = 0, hashlib.sha256()
    for row in rows(model):
        fingerprint.update(out.put(row))
        count += 1
    out.put({"rows": count, "sha256": fingerprint.hexdigest()})


def _rotate(folder: Path, rotation: Rotation) -> tuple[str, ...]:
    gone = may_go([file.name for file in folder.iterdir()], rotation)
    for name in gone:
        (folder / name).unlink()
    return tuple(gone)


def last_migration() -> str:
    """The name of the last change to the tables that this version knows."""
    return str(MigrationLoader(None).graph.leaf_nodes(APP)[0][1])


def _statuses(at: datetime) -> list[list[str]]:
    """Every unit of every open department as of a moment: department, unit, status, fingerprint of the answer."""
    found = []
    for department in Department.objects.filter(closed_on__isnull=True).order_by("pk"):
        moment = Moment(at, day_of(department, at))
        fleet = load_rigs(day=moment.day, departments=[department.pk])
        verdicts, failed = judge_fleet(fleet, moment)
        names = {rig.unit_id: rig.name for rig in fleet.rigs}
        found += [[department.name, one.unit, one.verdict.status, digest(one.verdict)] for _, one in verdicts]
        found += [[department.name, names.get(unit, str(unit)), "could not be judged", ""] for unit in failed]
    return sorted(found)


def check(path: Path) -> Backup:
    """Read a backup from end to end, the seal before the meaning. Raises NotABackup for one that is not whole."""
    head_of(lines_of(path), path)  # a file of something else is told so
    for _ in lines_of(path):
        pass  # to the seal: what a damaged file seems to say is not looked into
    lines = lines_of(path)
    head = head_of(lines, path)
    counts = {name: sum(1 for _ in table) for name, _, table in _tables(lines, path, head)}
    photos = head["photos"]
    made_at, units = datetime.fromisoformat(head["made_at"]), len(head["statuses"])
    return Backup(path, made_at, counts, units, len(photos), sum(not whole for whole in photos.values()))


def _tables(
    lines: Iterator[Any], path: Path, head: dict[str, Any]
) -> Iterator[tuple[str, list[str], Iterator[list[Any]]]]:
    """Each table's name, columns and rows; photos (whether each is there) and statuses are put into `head`."""
    head["photos"] = {}
    for value in lines:
        if "statuses" in value:
            head["statuses"] = value["statuses"]
        elif "photo" in value:
            head["photos"][value["photo"]] = _picture(value, path) is not None
        elif "table" in value:
            yield value["table"], value["columns"], _rows(lines, path, value["table"])
        else:
            raise NotABackup(f"{path} is not as it was written: a line stands where a table begins.")
    if "statuses" not in head:
        raise NotABackup(f"{path} is not as it was written: the statuses are missing.")


def _picture(value: dict[str, Any], path: Path) -> bytes | None:
    """A photo's bytes; None where the file was gone already when the backup was taken."""
    if value["data"] is None:
        return None
    try:
        data = base64.b64decode(value["data"], validate=True)
    except binascii.Error as wrong:
        raise NotABackup(f"{path} is not as it was written: photo {value['photo']} cannot be read.") from wrong
    if hashlib.sha256(data).hexdigest() != value["sha256"]:
        raise NotABackup(f"{path} is not as it was written: photo {value['photo']} does not fit its fingerprint.")
    return data


def _put_back_photos(path: Path, apps: Any) -> None:
    """The files of the photos, each under its fingerprint; one that is there already stays."""
    known = {model.__name__: model for model in tables(apps)}
    for value in lines_of(path):
        if isinstance(value, dict) and "photo" in value:
            data = _picture(value, path)
            of = known["Photo"]._base_manager.filter(pk=value["photo"])
            if data is not None:
                put_back_photo(photo_path(*of.values_list("department", "sha256", "media_type")[0]), data)


def _rows(lines: Iterator[Any], path: Path, table: str) -> Iterator[list[Any]]:
    count, fingerprint = 0, hashlib.sha256()
    value = next(lines, None)
    while isinstance(value, list):
        fingerprint.update(line(value))
        count += 1
        yield value
        value = next(lines, None)
    if value != {"rows": count, "sha256": fingerprint.hexdigest()}:
        raise NotABackup(f"{path} is not as it was written: the rows of {table} do not fit their fingerprint.")


def restore(path: Path, *, say: Say = lambda said: None) -> Restored:
    """Put a backup into an empty database. Raises NotABackup or NotRestored; then nothing of it is kept."""
    say(f"Reading {path} …")
    whole = check(path)
    _refuse_filled()
    head = head_of(lines_of(path), path)
    apps = _tables_as_of(head, path)
    present = head["migration"] == last_migration()
    with transaction.atomic():
        say(f"Putting back {sum(whole.rows.values()):,} rows …")
        head = _put_back(path, apps)
        _refuse_unlike(path, apps)
        _put_back_photos(path, apps)
        if present:
            differently = _proved(head, say)
    if not present:
        say("Bringing the tables up to date …")
        call_command("migrate", verbosity=0)
        differently = _proved(head, say)
    return Restored(whole, differently)


def _refuse_filled() -> None:
    present = set(connection.introspection.table_names())
    found = filled(tuple(model for model in tables() if model._meta.db_table in present))
    if found:
        raise NotRestored(
            f"The database is not empty: it has {', '.join(found[:5])}. A backup is restored to an empty place: name "
            "a new one with DATABASE_URL. Nothing was changed."
        )


def _tables_as_of(head: dict[str, Any], path: Path) -> Any:
    """Make the empty tables as they were in the version that took the backup; gives its models."""
    loader = MigrationLoader(None)
    if (APP, head["migration"]) not in loader.graph.nodes:
        raise NotRestored(
            f"{path} was taken by another version of Foam Readiness, with tables as of {head['migration']}, which this "
            "one does not know: restore it with that version or a later one. Nothing was changed."
        )
    call_command("migrate", verbosity=0)
    if head["migration"] == last_migration():
        return present_apps
    call_command("migrate", APP, head["migration"], verbosity=0)
    return loader.project_state((APP, head["migration"])).apps


def _put_back(path: Path, apps: Any) -> dict[str, Any]:
    lines = lines_of(path)
    head = head_of(lines, path)
    known = {model.__name__: model for model in tables(apps)}
    for name, names, table in _tables(lines, path, head):
        if name not in known:
            raise NotABackup(f"{path} has a table {name}, which this version does not know.")
        _fill(known[name], names, table)
    with connection.cursor() as cursor:
        for sql in connection.ops.sequence_reset_sql(no_style(), list(known.values())):
            cursor.execute(sql)
    return head


def _fill(model: type[Model], names: list[str], table: Iterator[list[Any]]) -> None:
    fields = {field.attname: field for field in columns(model)}
    read = [fields[name].to_python for name in names]
    while some := list(islice(table, BATCH)):
        made = [
            model(**{name: turn(value) for name, turn, value in zip(names, read, row, strict=True)}) for row in some
        ]
        model._base_manager.bulk_create(made)


def _refuse_unlike(path: Path, apps: Any) -> None:
    """Read again what was written, and hold it against the file, table by table."""
    lines = lines_of(path)
    head = head_of(lines, path)
    known = {model.__name__: model for model in tables(apps)}
    for name, names, table in _tables(lines, path, head):
        for was, put in zip_longest(table, rows(known[name], names)):
            if was != json.loads(line(put)):  # not the bytes: PostgreSQL gives the keys of an object in its own order
                raise NotRestored(f"A row of {name} came back otherwise than it was written: nothing was kept.")


def _proved(head: dict[str, Any], say: Say) -> tuple[str, ...]:
    """Recount, guards and statuses; what this version judges otherwise, when it is another engine."""
    say("Folding the ledger again …")
    found = recount()
    if found.differences:
        raise NotRestored("Nothing was kept: " + " ".join(found.differences[:5]))
    say(f"Judging {len(head['statuses'])} units as of the backup …")
    differently = _differences(head["statuses"], _statuses(datetime.fromisoformat(head["made_at"])))
    if differently and head["engine"] == ENGINE:
        raise NotRestored("Nothing was kept: " + " ".join(differently[:5]))
    return differently


def _differences(was: list[list[str]], now: list[list[str]]) -> tuple[str, ...]:
    before = {(department, unit): rest for department, unit, *rest in was}
    after = {(department, unit): rest for department, unit, *rest in now}
    nothing = ["not there", ""]
    return tuple(
        f"{unit} of {department} was {before.get(key, nothing)[0]} and is judged {after.get(key, nothing)[0]}"
        + ("." if before.get(key, nothing)[0] != after.get(key, nothing)[0] else " with other figures.")
        for key in sorted(before.keys() | after.keys())
        if before.get(key) != after.get(key)
        for department, unit in [key]
    )
