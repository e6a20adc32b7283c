"""The benchmarks run, at a size too small to time anything: each does what it says and prints every row."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks.harness import Compared, Cost, Pair, Step, compare, table

ROOT = Path(__file__).resolve().parent.parent
LEDGER = {  # row and count, as asked for below
    "recount, lines": 51,
    "post one by one, movements": 20,
    "post in one batch, movements": 20,
    "import a workbook, containers": 30,
}


def test_the_ledger_benchmark_prints_every_row(tmp_path: Path):
    file = tmp_path / "rows.json"
    sizes = ["--movements", "20", "--rows", "30", "--lines", "51", "--repeats", "2"]
    command = [sys.executable, "-m", "tests.benchmarks.ledger", *sizes, "--json", str(file), "--folder", str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, env=os.environ, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    printed = done.stdout.splitlines()[2:]  # after the title and the headings
    assert [
        " ".join(line.split()).startswith(f"{name} {count} ")
        for line, (name, count) in zip(printed, LEDGER.items(), strict=True)
    ] == [True] * 4
    rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    assert {row["work"]: row["count"] for row in rows} == LEDGER
    runs = [run for row in rows for run in (*row["runs"], *row["floor"]["runs"])]
    assert len(runs) == 4 * 2 * 2  # four rows, work and floor, two repeats
    assert all(run["seconds"] > 0 and run["peak_mb"] > 10 for run in runs)
    assert list(tmp_path.iterdir()) == [file], "its database and workbook are removed"


def test_memory_of_a_run_is_its_own():
    eat = Step(lambda _: len(b"x" * 100_000_000) // 100_000_000, int)
    hungry = Pair("hungry", 1, eat, "idle", Step(one, int))
    found = compare(hungry, 2)
    assert 80 < found.work.peak_mb - found.floor.peak_mb < 120  # 100,000,000 bytes are 100 MB


def test_work_that_does_another_number_of_things_is_not_compared():
    with pytest.raises(RuntimeError, match="1 was done, 2 was asked"):
        compare(Pair("one of two", 2, Step(one, int), "one of two", Step(one, int)), 1)


def test_work_that_fails_is_not_compared(capfd):
    broken = Step(lambda _: 1 // 0, int)
    with pytest.raises(RuntimeError, match="ended with status 256"):  # exit code 1 as the system tells it
        compare(Pair("broken", 1, broken, "idle", Step(one, int)), 1)
    assert "ZeroDivisionError" in capfd.readouterr().err


def test_medians_and_ratio():
    found = Compared(
        "work", 7, "floor", [Cost(9.0, 60.0), Cost(2.0, 80.0), Cost(3.0, 70.0)], [Cost(0.5, 50.0), Cost(1.5, 51.0)]
    )
    assert (found.work, found.floor) == (Cost(3.0, 70.0), Cost(1.0, 50.5))  # middle of three; mean of the two
    assert found.ratio == 3.0
    assert table([found]).splitlines()[1].split() == ["work", "7", "3.000", "70", "floor", "1.000", "50", "3.0"]


def one(_: object) -> int:
    return 1


def test_the_benchmark_of_taking_a_handed_over_sheet_prints_every_row(tmp_path: Path):
    file = tmp_path / "rows.json"
    sizes = ["--rows", "20", "--repeats", "1", "--json", str(file), "--folder", str(tmp_path)]
    command = [sys.executable, "-m", "tests.benchmarks.handed_over_taking", *sizes]
    done = subprocess.run(command, cwd=ROOT, env=os.environ, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    assert {row["work"]: row["count"] for row in rows} == {"map": 20, "map and take in": 20}
    assert list(tmp_path.iterdir()) == [file], "its database is removed"
