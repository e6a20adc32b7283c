"""Making a department, and each refusal."""

from __future__ import annotations

from datetime import time

import pytest

from readiness.models import Change, Department, Policy
from tests.commands.calling import refused, said

pytestmark = pytest.mark.django_db


def test_a_department_with_its_policy() -> None:
    told = said(
        "department", "Quay County", "--time-zone", "America/Chicago", "--day-starts-at", "08:30", "--units", "metric"
    )
    assert told == "Quay County is made; its short name is quay-county.\n"
    made = Department.objects.get()
    assert (made.name, made.slug, made.time_zone, made.units) == (
        "Quay County",
        "quay-county",
        "America/Chicago",
        "metric",
    )
    assert (made.day_starts_at, made.demo_d0) == (time(8, 30), None)
    assert Policy.objects.get().department == made
    assert Change.objects.get().action == "make department"


def test_what_is_refused() -> None:
    said("department", "Quay County")
    assert refused("department", "quay county") == "There is a department named quay county already."
    assert refused("department", "—") == "'—' was read; a department's name has letters in it."
    zone = refused("department", "Far County", "--time-zone", "Chicago")
    assert zone == "'Chicago' was read; write a time zone such as America/Chicago."
    hour = refused("department", "Far County", "--day-starts-at", "seven")
    assert hour.endswith("'seven' was read; write a time of day like 07:00.")
    assert Department.objects.count() == 1
