"""`version` says what pyproject.toml says."""

from __future__ import annotations

import re
from pathlib import Path

from tests.commands.calling import said


def test_the_version_is_the_one_that_is_released() -> None:
    project = (Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8")
    stated = re.search(r'^version = "([0-9]+(?:\.[0-9]+)+)"$', project, re.MULTILINE)
    assert said("version") == f"Foam Readiness {stated[1]}\n"
