"""Seconds and peak memory of a piece of work beside its floor: the least that any program would have to do for it.

1. Every measurement runs in a forked child of a small parent. Its peak is the greatest resident set of that child as
   the operating system counts it, so nothing is traced and nothing slows the work down. What the child shares with its
   parent (Python, Django) is part of it.
2. What must be there beforehand is prepared in a child of its own, which is not measured.
3. Work and floor take turns, and the one that goes first changes each time: a busy minute of the machine falls on both.
4. What is shown is the median; every single run goes into the JSON.
"""

from __future__ import annotations

import json
import os
import pickle
import platform
import resource
import statistics
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

Answer = TypeVar("Answer")
_BYTES = 1 if sys.platform == "darwin" else 1024  # Linux counts the resident set in KiB, macOS in bytes


class Step(NamedTuple):
    """`run` is measured and returns how many things it did; it gets what `prepare` returned."""

    run: Callable[[Any], int]
    prepare: Callable[[], Any]
    ready: Callable[[], object] = int  # in the measured child, before the clock starts: a connection is opened


class Pair(NamedTuple):
    """A piece of work and its floor, both doing `size` things."""

    name: str
    size: int
    work: Step
    floor_name: str
    floor: Step


class Cost(NamedTuple):
    """What one run, or the median of several, took."""

    seconds: float
    peak_mb: float


class Compared(NamedTuple):
    """A pair after all its runs."""

    name: str
    size: int
    floor_name: str
    work_runs: list[Cost]
    floor_runs: list[Cost]

    @property
    def work(self) -> Cost:
        """The median of the work."""
        return median(self.work_runs)

    @property
    def floor(self) -> Cost:
        """The median of the floor."""
        return median(self.floor_runs)

    @property
    def ratio(self) -> float:
        """How many times the floor's seconds the work takes."""
        return self.work.seconds / self.floor.seconds


def median(runs: Sequence[Cost]) -> Cost:
    """Seconds and memory each by itself."""
    return Cost(statistics.median(run.seconds for run in runs), statistics.median(run.peak_mb for run in runs))


def in_child(work: Callable[[], Answer]) -> Answer:
    """Do the work in a forked child and return its answer; raises RuntimeError when the child failed."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        _answer(work, write_end)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        answer = pipe.read()
    _, status = os.waitpid(child, 0)
    if status:
        raise RuntimeError(f"a measured process ended with status {status}; its own words stand above")
    found: Answer = pickle.loads(answer)
    return found


def _answer(work: Callable[[], object], write_end: int) -> None:
    """Leave the child without running anything that belongs to the parent."""
    status = 1
    try:
        with os.fdopen(write_end, "wb") as pipe:
            pipe.write(pickle.dumps(work()))
        status = 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(status)


def measure(step: Step, count: int) -> Cost:
    """One run of a step. Raises RuntimeError when it did another number of things than it should."""
    state = in_child(step.prepare)
    done, cost = in_child(lambda: _timed(step, state))
    if done != count:
        raise RuntimeError(f"{done} was done, {count} was asked: nothing is compared that differs")
    return cost


def _timed(step: Step, state: Any) -> tuple[int, Cost]:
    step.ready()
    began = time.perf_counter()
    done = step.run(state)
    seconds = time.perf_counter() - began
    return done, Cost(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _BYTES / 1e6)


def compare(pair: Pair, repeats: int) -> Compared:
    """Run work and floor in turn, `repeats` times each."""
    found = Compared(pair.name, pair.size, pair.floor_name, [], [])
    turns = [(pair.floor, found.floor_runs), (pair.work, found.work_runs)]
    for _ in range(repeats):
        for step, runs in turns:
            runs.append(measure(step, pair.size))
        turns.reverse()
    return found


def machine() -> str:
    """What the figures were taken on."""
    return f"Python {platform.python_version()}, {platform.system()} {platform.machine()}, {os.cpu_count()} processors"


_COLUMNS = ("work", "count", "seconds", "peak MB", "floor", "seconds", "peak MB", "ratio")


def table(compared: Sequence[Compared]) -> str:
    """The rows as people read them: medians, and the ratio of the seconds."""
    rows = [_COLUMNS, *(_row(each) for each in compared)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(_COLUMNS))]
    return "\n".join(_line(row, widths) for row in rows)


def _row(each: Compared) -> tuple[str, ...]:
    work = (f"{each.work.seconds:.3f}", f"{each.work.peak_mb:.0f}")
    floor = (f"{each.floor.seconds:.3f}", f"{each.floor.peak_mb:.0f}")
    return (each.name, f"{each.size:,}", *work, each.floor_name, *floor, f"{each.ratio:.1f}")


def _line(row: Sequence[str], widths: Sequence[int]) -> str:
    words = {0, 4}
    cells = [
        text.ljust(width) if column in words else text.rjust(width)
        for column, (text, width) in enumerate(zip(row, widths, strict=True))
    ]
    return "  ".join(cells).rstrip()


def write_json(path: Path, title: str, compared: Sequence[Compared]) -> None:
    """Every run, so that the spread can be seen and two machines or two days be compared."""
    body = {"title": title, "rows": [_plain(each) for each in compared]}
    path.write_text(json.dumps(body, indent=2) + "\n", encoding="utf-8")


def _plain(each: Compared) -> dict[str, Any]:
    return {
        "work": each.name,
        "count": each.size,
        **each.work._asdict(),
        "runs": [run._asdict() for run in each.work_runs],
        "floor": {"work": each.floor_name, **each.floor._asdict(), "runs": [run._asdict() for run in each.floor_runs]},
        "ratio": each.ratio,
    }
