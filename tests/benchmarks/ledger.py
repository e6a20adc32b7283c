"""How fast the book is written, filled from a workbook and recounted, each beside the least that could be done.

    .venv/bin/python -m tests.benchmarks.ledger --movements 10000 --rows 10000 --lines 100000

It makes a database of its own, on SQLite or on the server that DATABASE_URL names, and removes it afterwards. Run it
alone, on an idle machine, and say where the folder lies: committing to a disk is most of what one movement costs.
"""

from __future__ import annotations

import argparse
import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import django

from tests.benchmarks.harness import Compared, table, write_json


def main(arguments: Sequence[str]) -> None:
    """Measure in a process of its own on a database of its own; print the table."""
    options = _options(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "readiness.settings")
    django.setup()
    from tests.actions.own_database import own_database  # needs Django set up

    with tempfile.TemporaryDirectory(dir=options.folder) as folder, own_database(Path(folder)) as url:
        title, compared = _measured(url, Path(folder), options)
    print(title)
    print(table(compared))
    if options.json:
        write_json(options.json, title, compared)


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure the ledger beside its floors.")
    parser.add_argument("--movements", type=int, default=10_000, help="how many are posted")
    parser.add_argument("--rows", type=int, default=10_000, help="containers in the workbook")
    parser.add_argument("--lines", type=int, default=100_000, help="lines of the book that is recounted")
    parser.add_argument("--repeats", type=int, default=3, help="runs of each, of which the median is shown")
    parser.add_argument("--json", type=Path, help="write every run to this file")
    parser.add_argument("--folder", type=Path, help="where the database and the workbook lie; on a real disk")
    return parser.parse_args(arguments)


def _measured(url: str, folder: Path, options: argparse.Namespace) -> tuple[str, list[Compared]]:
    from tests.actions.own_database import ROOT, environment

    answer = folder / "answer"
    sizes = [str(each) for each in (options.movements, options.rows, options.lines, options.repeats)]
    command = [sys.executable, "-m", "tests.benchmarks.ledger_steps", str(answer), *sizes]
    subprocess.run(command, env=environment(url), cwd=ROOT, check=True)
    found: tuple[str, list[Compared]] = pickle.loads(answer.read_bytes())
    return found


if __name__ == "__main__":
    main(sys.argv[1:])
