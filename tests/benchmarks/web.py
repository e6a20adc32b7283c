"""How long the server works on a page, how often it asks the database and what it sends: a small and a large fleet.

    .venv/bin/python -m tests.benchmarks.web --units 10 10000

1. For each size a database of its own is made, on SQLite or on the server that DATABASE_URL names, filled with a fleet
   (fleet_rows.py), judged by a night, and removed afterwards.
2. The chief's requests go through Django's test client in one process: middleware, view, database and template are in
   the figures; network, packing, the serving program and the browser are not.
3. The pages take turns, the stock list by itself after them. Each is asked three times before it is timed, as by a
   server that has been up for a minute.
   The fleet page is timed twice: the same first page, and another page of the list each time. Units change each time.
4. Statements are counted in requests of their own, so that counting slows nothing that is timed.

Run it alone, on an idle machine, and say where the folder lies: a check is committed to it.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import django

from tests.benchmarks.harness import machine

TARGETS = {"fleet page": 100.0}  # milliseconds that 95 of 100 requests take at most, at the largest size


class Row(NamedTuple):
    """One page at one size: milliseconds of each request, statements of one, bytes of the longest answer."""

    page: str
    units: int
    runs: list[float]
    queries: int
    sent: int

    def share(self, percent: int) -> float:
        """The milliseconds within which so many of a hundred requests were answered."""
        ordered = sorted(self.runs)
        return ordered[max(0, -(-len(ordered) * percent // 100) - 1)]


def main(arguments: Sequence[str]) -> None:
    """Measure each size in a process of its own on a database of its own; print the table."""
    options = _options(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "readiness.settings")
    django.setup()
    rows = [row for units in options.units for row in _in_own_database(units, options)]
    print(f"{machine()}; {options.requests} requests of each page in turn, in process by the test client")
    print(table(rows))
    if options.json:
        body = [{**row._asdict(), "p50": row.share(50), "p95": row.share(95)} for row in rows]
        options.json.write_text(json.dumps(body, indent=2) + "\n", encoding="utf-8")


def _options(arguments: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure the pages with a small and a large fleet.")
    parser.add_argument("--units", type=int, nargs="+", default=[10, 10_000], help="sizes of the fleet")
    parser.add_argument("--requests", type=int, default=40, help="how often each page is timed")
    parser.add_argument("--json", type=Path, help="write every request to this file")
    parser.add_argument("--folder", type=Path, help="where the database lies; on a real disk")
    return parser.parse_args(arguments)


def _in_own_database(units: int, options: argparse.Namespace) -> list[Row]:
    from tests.actions.own_database import ROOT, environment, own_database  # needs Django set up

    with tempfile.TemporaryDirectory(dir=options.folder) as folder, own_database(Path(folder)) as url:
        answer = Path(folder) / "answer"
        command = [sys.executable, "-m", "tests.benchmarks.web_steps", str(answer), str(units), str(options.requests)]
        subprocess.run(command, env=environment(url), cwd=ROOT, check=True)
        found: list[tuple[Any, ...]] = pickle.loads(answer.read_bytes())
    return [Row(*each) for each in found]


_COLUMNS = ("page", "units", "queries", "p50 ms", "p95 ms", "target", "bytes sent")


def table(rows: Sequence[Row]) -> str:
    """The rows as people read them."""
    largest = max(row.units for row in rows)
    cells = [_COLUMNS, *(_cells(row, largest) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(_COLUMNS))]
    return "\n".join(
        "  ".join(
            text.rjust(width) if column else text.ljust(width)
            for column, (text, width) in enumerate(zip(line, widths, strict=True))
        )
        for line in cells
    )


def _cells(row: Row, largest: int) -> tuple[str, ...]:
    target = f"{TARGETS[row.page]:g}" if row.page in TARGETS and row.units == largest else ""
    times = (f"{row.share(50):.1f}", f"{row.share(95):.1f}")
    return (row.page, f"{row.units:,}", f"{row.queries}", *times, target, f"{row.sent:,}")


if __name__ == "__main__":
    main(sys.argv[1:])
