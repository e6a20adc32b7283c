"""The product as a person starts it: `manage.py demo`, a process with a database file and a port of its own."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
_ADDRESS = re.compile(r"^Open (http://127\.0\.0\.1:\d+)/", re.MULTILINE)
_PATIENCE_S = 60


class Server(NamedTuple):
    """Where it answers, and what it has said so far."""

    address: str
    log: Path

    def faults(self) -> list[str]:
        """Lines that no server should write while people use it."""
        lines = self.log.read_text(encoding="utf-8").splitlines()
        return [line for line in lines if re.search(r"Traceback|\bERROR\b|\bCRITICAL\b|Error:", line)]


def _demo(database: Path, *words: str) -> tuple[list[str], dict[str, str]]:
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}", "PYTHONUNBUFFERED": "1"}
    return [sys.executable, str(ROOT / "manage.py"), "demo", *words], environment


def prepare(database: Path) -> None:
    """Load the demo into a new database file."""
    command, environment = _demo(database, "--no-serve")
    done = subprocess.run(command, env=environment, check=False, text=True, capture_output=True)
    assert done.returncode == 0, done.stdout + done.stderr


@contextmanager
def serving(template: Path, folder: Path) -> Iterator[Server]:
    """Serve a copy of a prepared database; at the end nothing that the server said may be a fault."""
    database, log = folder / "served.sqlite3", folder / "server.log"
    shutil.copyfile(template, database)
    command, environment = _demo(database, "--port", "0")
    with log.open("w", encoding="utf-8") as written:
        process = subprocess.Popen(command, env=environment, stdout=written, stderr=subprocess.STDOUT, cwd=ROOT)
    try:
        server = Server(_address(process, log), log)
        yield server
    finally:
        process.terminate()
        process.wait(timeout=_PATIENCE_S)
    assert server.faults() == []


def _address(process: subprocess.Popen[bytes], log: Path) -> str:
    """Where it says that it answers: the port is taken before that line is written."""
    for _ in range(_PATIENCE_S * 20):
        said = log.read_text(encoding="utf-8")
        if found := _ADDRESS.search(said):
            return found[1]
        assert process.poll() is None, said
        time.sleep(0.05)
    raise AssertionError(f"The server did not say where it answers: {said}")
