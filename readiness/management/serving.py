"""Serving on this machine: the port is taken first, so that nothing is prepared in vain."""

from __future__ import annotations

import errno
import gc
import os
import socket
from typing import Any

from django.core.checks.urls import check_url_config
from django.core.management.base import CommandError
from waitress.server import create_server

HOST = "127.0.0.1"
MOST_REQUEST_BYTES = 64_000_000  # far above what the product takes, which answers with a page of its own
_LAST_PORT = 65_535


def take_port(port: int, host: str = HOST, *, command: str = "demo") -> socket.socket:
    """Bind a port of an address of this machine. Raises CommandError with the sentence that helps."""
    if not 0 <= port <= _LAST_PORT:
        raise CommandError(f"{port} was read; a port is a number from 1 to {_LAST_PORT:,}, such as 8000.")
    taken = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # on Windows this option would let two servers share one port
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        taken.bind((host, port))
        taken.listen(64)  # two of us that start at once: the second is refused here, not later
    except PermissionError as refused:
        taken.close()
        raise CommandError(f"Port {port} is not yours to take; ports from 1024 up are: --port 8000") from refused
    except OSError as refused:
        taken.close()
        if refused.errno != errno.EADDRINUSE:
            raise CommandError(
                f"{host!r} was read; that is no address of this machine ({refused.strerror})."
            ) from refused
        another = port + 1 if port < _LAST_PORT else 8000
        raise CommandError(
            f"Port {port} of this machine is taken, perhaps by a server that still runs. Nothing was changed. "
            f"Stop that one, or use another port: python3 manage.py {command} --port {another}"
        ) from refused
    return taken


def address_of(taken: socket.socket) -> str:
    """What to type into the browser."""
    host, port = taken.getsockname()[:2]
    return f"http://{host}:{port}/"


def settle_memory() -> None:
    """Keep what the program itself consists of out of the collector's rounds: each would go through all of it."""
    check_url_config(None)  # reads every page's code, which Django would leave to the first request
    gc.collect()
    gc.freeze()


def serve(application: Any, taken: socket.socket) -> None:
    """Serve until Ctrl-C."""
    server = create_server(
        application, sockets=[taken], threads=8, max_request_body_size=MOST_REQUEST_BYTES, ident="Foam Readiness"
    )
    settle_memory()
    try:
        server.run()
    finally:
        server.close()
