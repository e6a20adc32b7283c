"""One night at a time: in one process, between processes, and after the one that held it was killed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from readiness.actions.night_lock import AnotherNight, one_night_at_a_time
from readiness.actions.nights import run_night
from readiness.models import Night
from tests.actions.own_database import ROOT, environment, own_database, run
from tests.actions.small_department import every_row
from tests.cast import CLOCK, Cast

pytestmark = pytest.mark.django_db


def test_a_second_one_is_refused_while_the_first_runs_and_let_in_afterwards() -> None:
    with one_night_at_a_time(), pytest.raises(AnotherNight), one_night_at_a_time():
        raise AssertionError("two nights at a time")
    with one_night_at_a_time():
        pass


def test_a_night_that_fails_lets_go() -> None:
    with pytest.raises(ZeroDivisionError), one_night_at_a_time():
        raise ZeroDivisionError
    with one_night_at_a_time():
        pass


def test_a_night_that_is_refused_writes_nothing(cast: Cast) -> None:
    before = every_row()
    with one_night_at_a_time(), pytest.raises(AnotherNight):
        run_night(departments=[cast.department], clock=CLOCK)
    assert every_row() == before
    run_night(departments=[cast.department], clock=CLOCK)
    assert Night.objects.count() == 1


def test_no_file_is_left_in_the_folder_where_the_tests_run() -> None:
    with one_night_at_a_time():
        assert not [each.name for each in Path.cwd().iterdir() if "memory" in each.name]


HOLDS = """
import django, sys, time
django.setup()
from readiness.actions.night_lock import one_night_at_a_time
with one_night_at_a_time():
    print("held", flush=True)
    time.sleep(60)
"""


def test_between_processes_and_after_a_kill(tmp_path: Path) -> None:
    """The command ends with 75 while another process holds the lock, and runs as soon as that one is killed."""
    with own_database(tmp_path) as url:
        holder = subprocess.Popen(
            [sys.executable, "-c", HOLDS], env=environment(url), cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        try:
            assert holder.stdout is not None
            assert holder.stdout.readline() == "held\n"
            night = [sys.executable, "-m", "django", "nightly"]
            refused = subprocess.run(night, env=environment(url), cwd=ROOT, capture_output=True, text=True, check=False)
            assert (refused.returncode, refused.stdout) == (75, "")
            assert refused.stderr == "Another night is running; this one did nothing.\n"
        finally:
            holder.kill()
            holder.communicate()
        assert run(url, "-m", "django", "nightly") == ""  # no department, nothing to say
