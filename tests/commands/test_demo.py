"""The demo's command: it prepares, says what it did, and a second start is harmless."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from readiness.models import Container
from tests.actions.own_database import ROOT, environment
from tests.cast import DepartmentFactory
from tests.commands.calling import refused, said

pytestmark = pytest.mark.django_db


def test_prepare_and_prepare_again() -> None:
    told = said("demo", "--no-serve").splitlines()
    assert "120 containers came into the book." in told
    assert "Recount: 120 containers, no differences." in told
    again = said("demo", "--no-serve")
    assert "was loaded before" in again
    assert "Recount: 120 containers, no differences." in again.splitlines()
    assert Container.objects.count() == 120


def test_it_stays_out_of_a_department_s_database() -> None:
    DepartmentFactory()
    assert refused("demo", "--no-serve").startswith("This database holds a department of your own")


def test_it_touches_nothing_of_another_program(tmp_path: Path) -> None:
    file = tmp_path / "other.sqlite3"
    with sqlite3.connect(file) as other:
        other.execute("CREATE TABLE other (a)")
    other.close()
    demo = [sys.executable, "-m", "django", "demo", "--no-serve"]
    done = subprocess.run(
        demo, env=environment(f"sqlite:///{file}"), cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert "tables of another program, so the demo stays out of it" in done.stderr
    with sqlite3.connect(file) as other:
        assert other.execute("SELECT name FROM sqlite_master").fetchall() == [("other",)]
    other.close()
