"""The benchmark of the night runs and prints every row; how long anything takes is asserted nowhere."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

from tests.actions.own_database import ROOT

WORKS = ("plain read", "load", "judge, with holds-until", "first night", "quiet night", "one unit by day")


def test_the_benchmark_prints_every_row(tmp_path: Path) -> None:
    found = tmp_path / "found.json"
    sizes = ["--units", "5", "20", "--repeats", "1", "--folder", str(tmp_path), "--json", str(found)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.night", *sizes], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    printed = [
        (work, units) for work in WORKS for units in (5, 20) if re.search(rf"^{work} +{units} ", done.stdout, re.M)
    ]
    assert len(printed) == len(WORKS) * 2, done.stdout
    assert [line.split(":")[0] for line in done.stdout.splitlines() if line.startswith("growth")] == [
        f"growth of {work}" for work in WORKS
    ]
    rows = {(row["work"], row["units"]): row for row in json.loads(found.read_text(encoding="utf-8"))}
    assert len(rows) == len(WORKS) * 2
    # counted, not timed: the same number of questions whatever the fleet, and a quiet night tells nothing
    for work in ("load", "quiet night"):
        assert rows[work, 5]["reads"] == rows[work, 20]["reads"] <= 25
    assert rows["quiet night", 20]["writes"] == rows["quiet night", 20]["rows"] == 0
    assert rows["first night", 20]["rows"] > 2 * 20  # an assessment and its facts each, and what is wrong
