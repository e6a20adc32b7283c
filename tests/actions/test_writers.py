"""Thirty-two writers on one tank and on crossing pairs, some killed midway: the fold is exact and nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.actions.own_database import own_database, run

WRITERS, ROUNDS, KILLS = 32, 6, 20


@pytest.mark.django_db
def test_thirty_two_writers_with_kills(tmp_path: Path) -> None:
    with own_database(tmp_path) as url:
        found = json.loads(run(url, "-m", "tests.actions.writers", str(WRITERS), str(ROUNDS), str(KILLS)))
    assert found["killed"] == KILLS
    assert found["differences"] == []
    assert (found["draws"], found["pours"]) == (WRITERS * ROUNDS, WRITERS * ROUNDS)
    assert found["tank_ml"] == 100_000 - 7 * WRITERS * ROUNDS  # by hand: each draw takes 7 mL
    assert found["crossing_ml"] == 4 * 500_000  # pours among the four change no sum
