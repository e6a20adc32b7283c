"""The benchmark of the pages runs, at sizes too small to time anything, and no page asks more where there is more."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

from readiness.actions.nights import run_night
from readiness.models import Night
from tests.benchmarks.web import Row, table
from tests.cast import CLOCK

ROOT = Path(__file__).resolve().parent.parent
PAGES = ["fleet page", "fleet page, another each time", "unit page", "stock list, filtered", "check submission"]


def test_every_page_is_measured_and_asks_as_often_with_more_units(tmp_path: Path):
    file = tmp_path / "rows.json"
    command = [sys.executable, "-m", "tests.benchmarks.web", "--units", "12", "60", "--requests", "2"]
    command += ["--json", str(file), "--folder", str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, env=os.environ, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = {(row["page"], row["units"]): row for row in json.loads(file.read_text(encoding="utf-8"))}
    assert list(rows) == [(page, units) for units in (12, 60) for page in PAGES]
    printed = [" ".join(line.split()) for line in done.stdout.splitlines()[2:]]  # after the title and the headings
    assert [line.startswith(f"{page} {units} ") for line, (page, units) in zip(printed, rows, strict=True)] == [
        True
    ] * 10
    for page in PAGES:
        few, many = rows[page, 12], rows[page, 60]
        assert 0 < few["queries"] == many["queries"], page
        assert len(many["runs"]) == 2
    assert rows["fleet page", 60]["sent"] > rows["fleet page", 12]["sent"] > 1000
    assert rows["check submission", 60]["sent"] == 0, "a check leads on to its result"
    assert list(tmp_path.iterdir()) == [file], "its database is removed"


def test_shares_are_of_the_requests_that_there_were():
    row = Row("a page", 10, [float(n) for n in range(40, 0, -1)], 7, 1234)
    assert (row.share(50), row.share(95), row.share(100)) == (20.0, 38.0, 40.0)  # the 20th, 38th and 40th of 1 to 40
    assert Row("a page", 10, [5.0], 7, 1).share(95) == 5.0
    assert table([row]).splitlines()[1].split() == ["a", "page", "10", "7", "20.0", "38.0", "1,234"]


@pytest.mark.django_db
def test_after_a_night_sqlite_knows_how_much_its_tables_hold(cast):
    """Else it reads every container of the department for one unit's page: seen at 10,000 units."""
    run_night(departments=[cast.department], clock=CLOCK)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":  # other servers see to it by themselves
            cursor.execute("SELECT stat FROM sqlite_stat1 WHERE tbl = 'readiness_unit' LIMIT 1")
            assert cursor.fetchone()[0].startswith("1"), "one unit"
        assert Night.objects.filter(finished_at__isnull=False).count() == 1
