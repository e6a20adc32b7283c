"""`manage.py demo` as a process: it takes its port first, prints who may sign in, and serves."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from django.conf import settings as project
from django.core.management.base import CommandError

from readiness.actions.demo import PASSWORD, PEOPLE
from readiness.management.serving import address_of, take_port


def start(database: Path, *arguments: str, by: str = "demo") -> subprocess.Popen[str]:
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}", "PYTHONUNBUFFERED": "1"}
    command = [sys.executable, str(Path(project.BASE_DIR) / "manage.py"), by, *arguments]
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_the_demo_serves_and_lets_each_role_in(tmp_path):
    server = start(tmp_path / "demo.sqlite3", "--port", "0")
    try:
        said = ""
        while "Ctrl-C stops the demo" not in said:
            line = server.stdout.readline()
            assert line, server.stderr.read()
            said += line
        address = re.search(r"http://127\.0\.0\.1:\d+/", said)[0]
        for name, first, last, _, role, _ in PEOPLE:
            assert re.search(rf"^  {name} +{first} {last}, {role.label}$", said, re.MULTILINE)
            assert f"<h1>{first} {last}</h1>" in _signed_in(address, name)
    finally:
        server.terminate()
        server.communicate(timeout=20)


def _signed_in(address: str, name: str) -> str:
    """The account page, as a browser gets it."""
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    with browser.open(address) as page:
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.read().decode())[1]
    form = {"csrfmiddlewaretoken": token, "name": name, "password": PASSWORD, "next": "/account/"}
    with browser.open(f"{address}sign-in/", urllib.parse.urlencode(form).encode()) as page:
        return page.read().decode()


def test_a_port_that_is_taken_is_said_before_anything_is_done(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        server = start(tmp_path / "demo.sqlite3", "--port", str(port))
        out, err = server.communicate(timeout=60)
    assert server.returncode == 1
    assert f"Port {port} of this machine is taken" in err
    assert f"python3 manage.py demo --port {port + 1}" in err
    assert out == ""
    assert not (tmp_path / "demo.sqlite3").exists()


def test_a_new_installation_is_served_at_the_address_that_is_asked_for(tmp_path):
    server = start(tmp_path / "new.sqlite3", "--port", "0", "--host", "127.0.0.2", by="serve")
    try:
        said = server.stdout.readline()
        address = re.fullmatch(r"Serving at (http://127\.0\.0\.2:\d+/)\. Ctrl-C stops\.\n", said)[1]
        request = urllib.request.Request(f"{address}sign-in/", headers={"Host": "localhost"})
        with urllib.request.urlopen(request) as page:
            assert "<h1>Sign in</h1>" in page.read().decode()
    finally:
        server.terminate()
        server.communicate(timeout=20)


def test_an_address_of_another_machine_is_refused():
    with pytest.raises(CommandError, match=r"'192\.0\.2\.1' was read; that is no address of this machine"):
        take_port(0, "192.0.2.1")  # an address of documentation, RFC 5737


@pytest.mark.parametrize("port", [-1, 65_536, 10**9])
def test_a_number_that_is_no_port_is_refused(port):
    with pytest.raises(CommandError, match=f"{port} was read; a port is a number from 1 to 65,535"):
        take_port(port)


def test_the_address_is_the_one_of_the_socket():
    with take_port(0) as taken:
        assert address_of(taken) == f"http://127.0.0.1:{taken.getsockname()[1]}/"
        assert taken.getsockname()[0] == "127.0.0.1", "this machine only"
