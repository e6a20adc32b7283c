"""The product as a person starts it: `manage.py demo`, a process with a database file and a port of its own."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Literal, NamedTuple

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


class Line:
    """The way from the browser to the server, which can be cut, or lose the answers to forms on their way back."""

    def __init__(self) -> None:
        self.upstream = ""  # where the server answers at present
        self.state: Literal["open", "cut", "loses answers"] = "open"
        self.lost = 0  # answers
        self.at_post: Callable[[], object] | None = None  # done once, as a form is on its way to the server
        self._ends: set[socket.socket] = set()
        self._ear = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._ear.getsockname()[1]}"
        threading.Thread(target=self._listen, daemon=True).start()

    def cut(self) -> None:
        """Break off whatever is under way, and take nothing more."""
        self.state = "cut"
        for end in list(self._ends):
            _hang_up(end)

    def close(self) -> None:
        """For good."""
        self.cut()
        self._ear.close()

    def _listen(self) -> None:
        while True:
            try:
                caller, _ = self._ear.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(caller,), daemon=True).start()

    def _carry(self, caller: socket.socket) -> None:
        try:
            if self.state == "cut":
                return
            port = int(self.upstream.rpartition(":")[2])
            with socket.create_connection(("127.0.0.1", port)) as server:
                self._ends |= {caller, server}
                way = _Way()
                back = threading.Thread(target=self._pump, args=(server, caller, way, True), daemon=True)
                back.start()
                self._pump(caller, server, way, False)
                back.join(_PATIENCE_S)
                self._ends -= {caller, server}
        except OSError:
            pass
        finally:
            _hang_up(caller)

    def _pump(self, source: socket.socket, target: socket.socket, way: _Way, is_answer: bool) -> None:
        with suppress(OSError):
            while said := source.recv(65536):
                if is_answer and way.posts and self.state == "loses answers":
                    self.lost += 1
                    break
                if not is_answer:
                    self._look(said, way)
                target.sendall(said)
        _hang_up(source)
        _hang_up(target)

    def _look(self, said: bytes, way: _Way) -> None:
        if said.startswith((b"GET ", b"POST ")):
            way.posts = said.startswith(b"POST ")
        if way.posts and self.at_post:
            deed, self.at_post = self.at_post, None
            deed()


class _Way:
    """What the last request on one connection was."""

    posts = False


def _hang_up(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


class Switched:
    """A server that is stopped and started again behind one line, on one database."""

    def __init__(self, template: Path, folder: Path) -> None:
        self.database, self.log = folder / "served.sqlite3", folder / "server.log"
        shutil.copyfile(template, self.database)
        self.line = Line()
        self.start()

    def start(self) -> None:
        """On a port of its own each time; the browser's address stays."""
        command, environment = _demo(self.database, "--port", "0")
        with self.log.open("w", encoding="utf-8") as written:
            self.process = subprocess.Popen(
                command, env=environment, stdout=written, stderr=subprocess.STDOUT, cwd=ROOT
            )
        self.line.upstream = _address(self.process, self.log)
        self.line.state = "open"

    def freeze(self) -> None:
        """It takes what is sent and does nothing with it."""
        self.process.send_signal(signal.SIGSTOP)

    def kill(self) -> None:
        """It is gone from one moment to the next."""
        self.process.kill()
        self.process.wait(timeout=_PATIENCE_S)
        self.line.cut()

    def count(self, sql: str) -> int:
        """A number out of its database."""
        with closing(sqlite3.connect(self.database)) as book:
            return int(book.execute(sql).fetchone()[0])

    def close(self) -> None:
        """Stop it for good."""
        self.line.close()
        self.process.kill()
        self.process.wait(timeout=_PATIENCE_S)
