"""Commands as people start them: what they print, and the code they end with."""

from __future__ import annotations

import io
import json
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError


def said(*arguments: str) -> str:
    """What a command prints that ends well."""
    out = io.StringIO()
    call_command(*arguments, stdout=out)
    return out.getvalue()


def refused(*arguments: str) -> str:
    """The sentence of a command that refuses; manage.py prints it and ends with code 1."""
    with pytest.raises(CommandError) as refusal:
        call_command(*arguments, stdout=io.StringIO())
    assert refusal.value.returncode == 1
    return str(refusal.value)


def failed(*arguments: str) -> str:
    """What a command prints that ends with code 1."""
    out = io.StringIO()
    with pytest.raises(SystemExit) as ending:
        call_command(*arguments, stdout=out)
    assert ending.value.code == 1
    return out.getvalue()


def answered(*arguments: str) -> dict[str, Any]:
    """A worksheet's answer as JSON has it."""
    found: dict[str, Any] = json.loads(said("worksheet", *arguments, "--json"))
    return found
