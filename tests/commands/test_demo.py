"""The demo's command: it prepares, says what it did, and a second start is harmless."""

from __future__ import annotations

import pytest

from readiness.models import Container
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
