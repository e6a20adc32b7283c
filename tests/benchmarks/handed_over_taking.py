"""How long a handed-over sheet takes from being sent to being in the book, beside openpyxl's own read of it.

    .venv/bin/python -m tests.benchmarks.handed_over_taking --rows 10000 --json taking.json

1. The sheet has a pail a row, in fifty store rooms of five stations, of forty lots; its questions (stations,
   concentrate, label codes) are answered as proposed, in as many rounds as the page would take.
2. *Map* is sending, guessing the columns, understanding every row and answering; *take in* is the rest: every container
   made, received by a movement of its own, and every row written into the report.
3. The program is loaded before the clock starts, as a server has loaded it, and so is openpyxl.
4. It makes a database of its own, on SQLite or on the server that DATABASE_URL names, and removes it afterwards.

Run it alone, on an idle machine. Mapping without a database is measured by handed_over.py.
"""

from __future__ import annotations

import argparse
import io
import os
import pickle
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Sequence
from functools import partial
from pathlib import Path

import django

from tests.benchmarks.harness import Compared, Pair, Step, compare, machine, table, write_json

ROUNDS = 5  # of questions, after which something is wrong with the sheet


def main(arguments: Sequence[str]) -> None:
    """Measure in a process of its own on a database of its own; print the table."""
    options = _options(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "readiness.settings")
    django.setup()
    if options.answer:
        options.answer.write_bytes(pickle.dumps(_measured(options.rows, options.repeats)))
        return
    from tests.actions.own_database import ROOT, environment, own_database  # needs Django set up

    with tempfile.TemporaryDirectory(dir=options.folder) as folder, own_database(Path(folder)) as url:
        answer = Path(folder) / "answer"
        sizes = ["--rows", str(options.rows), "--repeats", str(options.repeats), "--answer", str(answer)]
        command = [sys.executable, "-m", "tests.benchmarks.handed_over_taking", *sizes]
        subprocess.run(command, env=environment(url), cwd=ROOT, check=True)
        title, compared = pickle.loads(answer.read_bytes())
    print(title)
    print(table(compared))
    if options.json:
        write_json(options.json, title, compared)


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure taking a handed-over sheet in beside its floor.")
    parser.add_argument("--rows", type=int, default=10_000, help="rows of the sheet, a container each")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each, of which the median is shown")
    parser.add_argument("--json", type=Path, help="write every run to this file")
    parser.add_argument("--folder", type=Path, help="where the database lies; on a real disk")
    parser.add_argument("--answer", type=Path, help=argparse.SUPPRESS)  # set for the process that measures
    return parser.parse_args(arguments)


def _measured(rows: int, repeats: int) -> tuple[str, list[Compared]]:
    from django.db import connection

    import readiness.actions.handed_over  # noqa: F401 - loaded once, as a server has it; children share it
    from tests.handed_sheet import plain_rows, sheet_bytes

    data = sheet_bytes(plain_rows(rows))
    opened = connection.ensure_connection
    floor = Step(partial(_values, data), int)
    works = {
        "map": Step(partial(_mapped, data), _department, opened),
        "map and take in": Step(partial(_taken, data), _department, opened),
    }
    found = []
    for name, work in works.items():
        print(f"{name} …", file=sys.stderr, flush=True)
        found.append(compare(Pair(name, rows, work, "openpyxl, values", floor), repeats))
    return f"{connection.display_name}, {machine()}; a sheet of {len(data):,} bytes; median of {repeats}", found


def _department() -> int:
    from readiness.models import Department, Policy

    made = Department.objects.create(name="Mossgate Fire District", slug=f"mossgate-{uuid.uuid4().hex}")
    Policy.objects.create(department=made)
    return made.pk


def _values(data: bytes, _: object) -> int:
    """Every value, looked at and let go; the rows of stock are counted."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(data), read_only=True)
    found = sum(1 for values in book.worksheets[0].iter_rows(values_only=True) if any(values))
    book.close()
    return found - 3  # the title, the remark and the headings


def _answered(data: bytes, department: int):
    """A draft with everything answered as proposed."""
    from readiness.actions import handed_over as actions
    from readiness.actions.clock import SYSTEM_CLOCK, calendar_day_of
    from readiness.actions.permissions import OWNER
    from readiness.models import Department
    from readiness.reports.handed_over import guessed, worked

    ours = Department.objects.get(pk=department)
    draft = actions.send_sheet(ours, data, name="stock.xlsx", acting=OWNER)
    actions.choose_layout(ours, draft, guessed(draft, ours).layout, acting=OWNER)
    for _ in range(ROUNDS):
        draft.refresh_from_db()
        asked = worked(draft, ours, calendar_day_of(ours, SYSTEM_CLOCK.now())).open
        if not asked:
            return ours, draft
        actions.answer_questions(ours, draft, {each.group: each.proposed or "" for each in asked}, acting=OWNER)
    raise RuntimeError("\n".join(each.words for each in asked[:5]))


def _mapped(data: bytes, department: int) -> int:
    from readiness.actions.clock import SYSTEM_CLOCK, calendar_day_of
    from readiness.reports.handed_over import worked

    ours, draft = _answered(data, department)
    return worked(draft, ours, calendar_day_of(ours, SYSTEM_CLOCK.now())).containers


def _taken(data: bytes, department: int) -> int:
    from readiness.actions import handed_over as actions
    from readiness.actions.permissions import OWNER

    ours, draft = _answered(data, department)
    actions.begin_work(ours, draft, actions.TAKING, acting=OWNER)
    actions.do_work(ours, draft, acting=OWNER)
    draft.refresh_from_db()
    return draft.containers


if __name__ == "__main__":
    main(sys.argv[1:])
