"""The benchmark of handed-over sheets runs, at a size too small to time anything, and prints every row."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
WORKS = ["open", "open, lay out, understand", "open, lay out, understand, settle"]


def test_the_benchmark_of_handed_over_sheets(tmp_path: Path):
    file = tmp_path / "rows.json"
    command = [sys.executable, "-m", "tests.benchmarks.handed_over", "--rows", "70", "--repeats", "2"]
    done = subprocess.run(
        [*command, "--json", str(file)], cwd=ROOT, env=os.environ, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    rows = json.loads(file.read_text(encoding="utf-8"))["rows"]
    assert [(row["work"], row["count"]) for row in rows] == [(work, 70) for work in WORKS]
    runs = [run for row in rows for run in (*row["runs"], *row["floor"]["runs"])]
    assert len(runs) == 3 * 2 * 2  # three rows, work and floor, two repeats
    assert all(run["seconds"] > 0 for run in runs)
