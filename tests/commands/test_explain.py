"""The working at the command line."""

from __future__ import annotations

import pytest

from readiness.models import Appliance
from tests.cast import SIX, Cast
from tests.commands.calling import refused, said
from tests.county import LOCAL_SIX, loaded, stop_clock
from tests.judged import Rigged

pytestmark = pytest.mark.django_db


def test_engine_1_of_the_county(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line of the working: label = formula [numbers] = result (source)."""
    loaded()
    stop_clock(LOCAL_SIX, monkeypatch)
    lines = said("explain", "engine 1").splitlines()
    assert lines[0] == "Engine 1 on vehicle 201: READY, holds until 2026-09-30"
    assert "gasoline E10 spill: READY" in lines
    working = [line for line in lines if line.startswith("  ") and " = " in line]
    assert len(working) >= 10
    assert all(line.endswith(")") and "   (" in line for line in working)
    (need,) = [line for line in working if "= 44.175 gal " in line]  # 95 gpm x 3.1 % x 15 min
    assert "95 gpm" in need
    assert "3.1 %" in need
    assert "15 min" in need
    assert lines[-1].startswith("This supports the officer's judgment, the product listing")


def test_an_unknown_unit_is_told_which_there_are(cast: Cast) -> None:
    mine = ["--department", cast.department.slug]
    assert refused("explain", "Engine 9", *mine) == "'Engine 9' was read; the units are: Engine 1."


def test_which_department(cast: Cast) -> None:
    assert refused("explain", "Engine 1").startswith("There are several departments; add --department and one of: ")


def test_a_unit_that_cannot_be_read(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    stop_clock(SIX, monkeypatch)
    Rigged(cast)
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=["3x6"])
    told = refused("explain", "Engine 1", "--department", cast.department.slug)
    assert told.startswith("Engine 1 could not be judged: ValueError: settings ['3x6'] were read")
