"""Backup while people work, restore to an empty place, and every file that is not whole."""

from __future__ import annotations

import gzip
import hashlib
import json
import re
import stat
import subprocess
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from django.apps import apps
from django.db.migrations.loader import MigrationLoader

from readiness.actions.backup_files import NotABackup, Rotation, Writer, lines_of, may_go, name_at
from readiness.actions.backups import check, last_migration
from readiness.actions.clock import SYSTEM_CLOCK
from readiness.reports.every_table import columns, line, tables
from tests.actions.own_database import ROOT, environment, own_database, run
from tests.web.doors import PIXEL

AN_EARLIER = "0007_current_assessments_alone"  # tables that a department may have kept a backup of
ALL_ROWS = (
    "from django.apps import apps; import django; django.setup(); "
    "print(sorted((m.__name__, repr(list(m._base_manager.order_by('pk').values_list()))) "
    "for m in apps.get_app_config('readiness').get_models(include_auto_created=True)))"
)


class Taken(NamedTuple):
    """The demo's database and a backup of it."""

    url: str
    path: Path


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory, django_db_setup: None) -> Iterator[Taken]:
    folder = tmp_path_factory.mktemp("backups")
    with own_database(folder) as url:
        run(url, "manage.py", "demo", "--no-serve")
        run(url, "manage.py", "backup", str(folder / "demo.gz"))
        yield Taken(url, folder / "demo.gz")


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[str]:
    with own_database(tmp_path) as url:
        yield url


def refused(url: str, *arguments: str) -> str:
    """The sentence of a command that ends with code 1."""
    command = [sys.executable, "manage.py", *arguments]
    done = subprocess.run(command, env=environment(url), cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stdout + done.stderr
    return done.stderr


def content(path: Path) -> list[Any]:
    return [json.loads(each) for each in gzip.decompress(path.read_bytes()).splitlines()]


def written(path: Path, lines: list[Any]) -> Path:
    """A file with these lines, its fingerprints and its seal made to fit: what a forger would do."""
    rows: list[Any] = []
    with Writer(path) as out:
        for each in lines:
            if isinstance(each, dict) and "seal" in each:
                continue
            if isinstance(each, list):
                rows.append(each)
            elif "rows" in each:
                digest = hashlib.sha256(b"".join(line(row) for row in rows)).hexdigest()
                each, rows = {"rows": len(rows), "sha256": digest}, []
            out.put(each)
    return path


def altered(lines: list[Any], table: str, column: str, change: Callable[[Any], Any]) -> list[Any]:
    """The lines with one value of the first row of a table changed."""
    at = next(n for n, each in enumerate(lines) if isinstance(each, dict) and each.get("table") == table)
    made = [*lines]
    row = [*made[at + 1]]
    place = made[at]["columns"].index(column)
    row[place] = change(row[place])
    made[at + 1] = row
    return made


def test_everything_comes_back_and_the_night_says_the_same(taken: Taken, empty: str) -> None:
    said = run(empty, "manage.py", "restore", str(taken.path))
    assert "every guard in place, no difference in the recount, 14 units judged as before." in said
    assert run(empty, "-c", ALL_ROWS) == run(taken.url, "-c", ALL_ROWS)
    assert run(empty, "manage.py", "recount") == run(taken.url, "manage.py", "recount")
    forecast = (
        "manage.py",
        "nightly",
        "--json",
        "--as-of",
        (SYSTEM_CLOCK.now() + timedelta(days=30)).date().isoformat(),
    )
    assert run(empty, *forecast) == run(taken.url, *forecast)
    assert "append-only" in refused_sql(empty, "DELETE FROM readiness_movement")
    assert "The database is not empty: it has" in refused(empty, "restore", str(taken.path))
    run(empty, "-c", NEW_ROW)  # on PostgreSQL the next id has to come after those that were put back


NEW_ROW = (
    "import django; django.setup(); from readiness.models import *; "
    "Station.objects.create(department=Department.objects.first(), name='A new house')"
)


def refused_sql(url: str, sql: str) -> str:
    code = f"import django; django.setup(); from django.db import connection; connection.cursor().execute({sql!r})"
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment(url), cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    return done.stderr


def test_a_backup_of_an_earlier_version(taken: Taken, empty: str, tmp_path: Path) -> None:
    """As that version would have written it: its tables and columns, no others."""
    old = MigrationLoader(None).project_state(("readiness", AN_EARLIER)).apps
    known = {model.__name__: {field.attname for field in columns(model)} for model in tables(old)}
    made: list[Any] = []
    places: list[int] | None = []
    for each in content(taken.path):
        if isinstance(each, dict) and "table" in each:
            there = known.get(each["table"])
            places = None if there is None else [n for n, name in enumerate(each["columns"]) if name in there]
            each = {**each, "columns": [each["columns"][n] for n in places or ()]}
        elif isinstance(each, list):
            each = [each[n] for n in places or ()]
        elif "foam_readiness_backup" in each:
            each = {**each, "migration": AN_EARLIER, "engine": "1"}
        if places is not None or "statuses" in each or "seal" in each:
            made.append(each)
    said = run(empty, "manage.py", "restore", str(written(tmp_path / "old.gz", made)))
    otherwise = re.findall(r"This version judges otherwise: (.+?) of Port Ansley", said)
    assert otherwise == ["Brush 4", "Engine 5", "Foam Trailer 1"]  # by inspections and a deficiency: it had no tables
    assert "14 units judged but for those named above as before." in said
    assert run(empty, "manage.py", "recount") == run(taken.url, "manage.py", "recount")
    assert "append-only" in refused_sql(empty, "DELETE FROM readiness_movement")


def test_a_later_versions_backup_is_refused(taken: Taken, empty: str, tmp_path: Path) -> None:
    lines = content(taken.path)
    lines[0]["migration"] = "9999_of_the_future"
    said = refused(empty, "restore", str(written(tmp_path / "later.gz", lines)))
    assert "9999_of_the_future, which this one does not know" in said
    lines[0]["foam_readiness_backup"] = 3
    with pytest.raises(NotABackup, match="a later version"):
        check(written(tmp_path / "form.gz", lines))


KEEP_TWO = """
import django; django.setup()
from datetime import time
from readiness.actions.departments import make_department
from readiness.actions.permissions import OWNER
from readiness.actions.photos import keep_photo, photo_path
from tests.web.doors import PIXEL
here = make_department("Quay County", time_zone="UTC", day_starts_at=time(6))
keep_photo(here, data=PIXEL, acting=OWNER)
gone = keep_photo(here, data=PIXEL[:-12] + b"\\0" * 4 + b"teSt" + b"\\0" * 4 + PIXEL[-12:], acting=OWNER)
photo_path(here.pk, gone.sha256, gone.media_type).unlink()
"""


def test_photos_come_back_and_a_lost_one_is_told(empty: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MEDIA_ROOT", str(tmp_path / "media"))
    run(empty, "-c", KEEP_TWO)
    file = tmp_path / "photos.gz"
    assert "With 2 photos; of 1 the file was gone." in run(empty, "manage.py", "backup", str(file))
    told = [each for each in content(file) if isinstance(each, dict) and "photo" in each]
    assert [each["data"] is None for each in told] == [False, True]
    told[0]["data"] = told[0]["data"][:-4] + "AAAA"
    spoilt = [told.pop(0) if isinstance(each, dict) and "photo" in each else each for each in content(file)]
    with pytest.raises(NotABackup, match="photo 1 does not fit its fingerprint"):
        check(written(tmp_path / "spoilt.gz", spoilt))
    monkeypatch.setenv("MEDIA_ROOT", str(tmp_path / "elsewhere"))
    (tmp_path / "other").mkdir()
    with own_database(tmp_path / "other") as url:
        run(url, "manage.py", "restore", str(file))
    (back,) = (tmp_path / "elsewhere").rglob("*.png")
    assert back.read_bytes() == PIXEL
    assert back.stem == hashlib.sha256(PIXEL).hexdigest()


@pytest.mark.parametrize(
    ("table", "column", "change", "sentence"),
    [
        ("Holding", "ml", lambda ml: ml - 1, "its lines come to"),
        ("MovementLine", "ml", lambda ml: ml + 1, "sum to zero"),
        ("LineTest", "passed", lambda passed: not passed, "is judged"),
    ],
)
def test_what_cannot_be_proved_is_not_kept(
    taken: Taken, empty: str, tmp_path: Path, table: str, column: str, change: Callable[[Any], Any], sentence: str
) -> None:
    """A forged file whose seal fits: the book, the guards and the statuses find it."""
    forged = written(tmp_path / "forged.gz", altered(content(taken.path), table, column, change))
    assert sentence in refused(empty, "restore", str(forged))
    counts = run(empty, "-c", ALL_ROWS)
    assert all(rows == "[]" for _, rows in eval(counts)), "nothing was kept"  # our own repr


def test_while_people_write(tmp_path: Path, empty: str) -> None:
    """Backups are taken while four writers draw and pour; no writer fails, and each backup is a true book."""
    busy = tmp_path / "busy"
    busy.mkdir()
    with own_database(busy) as url:
        command = [sys.executable, "-m", "tests.actions.writers", "4", "40", "0"]
        writers = subprocess.Popen(command, env=environment(url), cwd=ROOT, stdout=subprocess.DEVNULL)
        count = "import django; django.setup(); from readiness.models import Movement; print(Movement.objects.count())"
        deadline = time.monotonic() + 60
        while int(run(url, "-c", count)) < 10 and time.monotonic() < deadline:
            time.sleep(0.05)
        files = [tmp_path / f"{n}.gz" for n in range(2)]
        for file in files:
            run(url, "manage.py", "backup", str(file))
        assert writers.wait(120) == 0
        in_the_end = int(run(url, "-c", count))
    assert 10 <= check(files[0]).rows["Movement"] <= check(files[1]).rows["Movement"] <= in_the_end
    assert check(files[0]).rows["Movement"] < in_the_end, "taken while there was more to come"
    said = run(empty, "manage.py", "restore", str(files[0]))
    assert "no difference in the recount" in said


def test_a_file_that_is_not_whole(taken: Taken, tmp_path: Path) -> None:
    """Cut off anywhere, or with any byte changed: a sentence, never an answer.

    A bit of a packed file may be another and the content the same: the same words copied from another place of it.
    """
    data = taken.path.read_bytes()
    harmed = 0
    for cut in range(0, len(data), len(data) // 40):
        path = tmp_path / f"cut{cut}.gz"
        path.write_bytes(data[:cut])
        with pytest.raises(NotABackup, match=r"cut off|no backup"):
            check(path)
    for at in range(20, len(data) - 8, len(data) // 40):
        path = tmp_path / f"flipped{at}.gz"
        path.write_bytes(data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :])
        if _unpacked(path) == gzip.decompress(data):
            continue
        harmed += 1
        with pytest.raises(NotABackup, match=r"[.]$"):
            check(path)
    assert harmed >= 38


def test_damage_that_reads_like_sense_is_told_as_damage(taken: Taken, tmp_path: Path) -> None:
    """The first letter of a key is another, the seal as it was: a sentence, not the error of who looks for the key."""
    text = gzip.decompress(taken.path.read_bytes())
    path = tmp_path / "damaged.gz"
    path.write_bytes(gzip.compress(text.replace(b'"columns"', b'"bolumns"', 1)))
    with pytest.raises(NotABackup, match="its seal does not fit its lines"):
        check(path)


def _unpacked(path: Path) -> bytes | None:
    try:
        return gzip.decompress(path.read_bytes())
    except (OSError, EOFError, zlib.error):
        return None


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ([{"other": 1}], "its first line says something else"),
        ([[1, 2]], "its first line says something else"),
        ([{"foam_readiness_backup": 1, "made_at": "2026-06-15"}], "the statuses are missing"),
        ([{"foam_readiness_backup": 1, "made_at": "2026-06-15"}, {"what": 1}], "where a table begins"),
    ],
)
def test_a_sealed_file_of_something_else(tmp_path: Path, lines: list[Any], sentence: str) -> None:
    with pytest.raises(NotABackup, match=sentence):
        check(written(tmp_path / "other.gz", lines))


def test_text_after_the_seal_and_swapped_lines(taken: Taken, tmp_path: Path) -> None:
    packed = gzip.decompress(taken.path.read_bytes())
    (tmp_path / "more.gz").write_bytes(gzip.compress(packed + b"[]\n"))
    with pytest.raises(NotABackup, match="goes on after its seal"):
        list(lines_of(tmp_path / "more.gz"))
    lines = packed.splitlines(keepends=True)
    lines[2], lines[3] = lines[3], lines[2]
    (tmp_path / "swapped.gz").write_bytes(gzip.compress(b"".join(lines)))
    with pytest.raises(NotABackup, match=r"fingerprint|seal does not fit"):
        check(tmp_path / "swapped.gz")


def test_a_backup_is_never_written_over_and_only_its_owner_reads_it(taken: Taken) -> None:
    before = taken.path.read_bytes()
    assert "exists already" in refused(taken.url, "backup", str(taken.path))
    assert "is the folder there?" in refused(taken.url, "backup", str(taken.path.parent / "no" / "b.gz"))
    assert taken.path.read_bytes() == before
    assert stat.S_IMODE(taken.path.stat().st_mode) == 0o600
    assert not list(taken.path.parent.glob("*.part"))


def test_a_backup_that_breaks_off_leaves_no_file(tmp_path: Path) -> None:
    with pytest.raises(ZeroDivisionError), Writer(tmp_path / "b.gz") as out:
        out.put({"foam_readiness_backup": 1})
        out.put(1 / 0)
    assert list(tmp_path.iterdir()) == []


def test_every_table_is_in_it_and_the_headers_come_last(taken: Taken) -> None:
    every = {model.__name__ for model in apps.get_app_config("readiness").get_models(include_auto_created=True)}
    found = [each["table"] for each in content(taken.path) if isinstance(each, dict) and "table" in each]
    assert set(found) == every
    assert found[-1] == "Movement"
    assert content(taken.path)[0]["migration"] == last_migration()


def test_into_a_folder_with_rotation(taken: Taken, tmp_path: Path) -> None:
    old = tmp_path / "foam-readiness-2020-01-01T000000Z.jsonl.gz"
    old.touch()
    other = tmp_path / "kept by hand.gz"
    other.touch()
    said = run(taken.url, "manage.py", "backup", str(tmp_path), "--keep", "1", "1", "1")
    assert "Removed foam-readiness-2020-01-01T000000Z.jsonl.gz." in said
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left[1:] == [other.name]
    assert "14 units" in run(taken.url, "manage.py", "restore", str(tmp_path / left[0]), "--check")
    assert "--keep 1 1 -1 was read" in refused(taken.url, "backup", str(tmp_path), "--keep", "1", "1", "-1")


def test_which_backups_may_go() -> None:
    """Worked by hand on a calendar: two a day from Monday 1 June to Sunday 28 June 2026, and one in May."""
    days = [datetime(2026, 6, day, hour, tzinfo=UTC) for day in range(1, 29) for hour in (6, 18)]
    names = [name_at(at) for at in [*days, datetime(2026, 5, 3, 6, tzinfo=UTC)]]
    gone = may_go(names, Rotation(days=3, weeks=2, months=2))
    kept = sorted(set(names) - set(gone))
    assert kept == [
        name_at(datetime(2026, 5, 3, 6, tzinfo=UTC)),  # the newest of May
        name_at(datetime(2026, 6, 21, 18, tzinfo=UTC)),  # Sunday: the newest of the week before
        name_at(datetime(2026, 6, 26, 18, tzinfo=UTC)),
        name_at(datetime(2026, 6, 27, 18, tzinfo=UTC)),
        name_at(datetime(2026, 6, 28, 18, tzinfo=UTC)),  # the newest of its day, week and month
    ]
    assert may_go(names, Rotation(0, 0, 0)) == sorted(set(names) - {name_at(days[-1])}, reverse=True)
    assert may_go(["other.gz", "foam-readiness-old.jsonl.gz"], Rotation(0, 0, 0)) == []
