"""The demo's county judged as people do it: the workbook goes in, the night runs, its JSON is read.

Expected figures stand in fixtures/worked_examples, each with its arithmetic.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command

from readiness.actions.clock import StoppedClock, SystemClock
from readiness.actions.demo import load_demo
from readiness.models import Department
from tests.cast import D0

LOCAL_SIX = datetime(2026, 6, 15, 11, 0, tzinfo=UTC)  # 06:00 in Chicago in June is 11:00 UTC: five hours behind


def examples(name: str) -> list[dict[str, str]]:
    """The rows of a table of worked examples."""
    with (Path(settings.FIXTURES_DIR) / "worked_examples" / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def stop_clock(at: datetime, patch: pytest.MonkeyPatch) -> None:
    """The machine's clock stands at a moment: for commands, which ask no other."""
    patch.setattr(SystemClock, "now", lambda _: at)


def loaded(days: int = 0) -> Department:
    """The county in the database, D0 moved by some days."""
    return load_demo(StoppedClock(LOCAL_SIX + timedelta(days=days))).department


def nightly(at: datetime, *arguments: str) -> dict[str, Any]:
    """What `nightly --json` prints when it is that late."""
    out = io.StringIO()
    with pytest.MonkeyPatch.context() as patch:
        stop_clock(at, patch)
        call_command("nightly", "--json", *arguments, stdout=out)
    told: dict[str, Any] = json.loads(out.getvalue())
    return told


def by_name(told: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The units of a night by their designation."""
    return {unit["unit"]: unit for unit in told["units"]}


def statuses(told: dict[str, Any]) -> dict[str, str]:
    """The status of each unit."""
    return {unit["unit"]: unit["status"] for unit in told["units"]}


def day(count: int) -> date:
    """A day counted from D0."""
    return D0 + timedelta(days=count)
