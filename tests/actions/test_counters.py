"""Eight phones that count the same pails at once: every count is kept, and none twice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.actions.own_database import own_database, run

PHONES, PAILS = 8, 6


@pytest.mark.django_db
def test_eight_phones_at_once(tmp_path: Path) -> None:
    with own_database(tmp_path) as url:
        found = json.loads(run(url, "-m", "tests.actions.counters", str(PHONES), str(PAILS)))
    assert found == {"failed": 0, "counts": PHONES * PAILS + 1, "shared": 1, "seen": PAILS, "disputed": 0}
