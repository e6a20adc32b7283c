"""The night's command: what it prints, its JSON, and the code it ends with."""

from __future__ import annotations

import io
import json
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from readiness.actions.night_lock import one_night_at_a_time
from readiness.models import Appliance, Policy, Unit
from tests.cast import SIX, Cast, StationFactory, UnitFactory
from tests.commands.calling import refused, said
from tests.county import LOCAL_SIX, by_name, loaded, nightly, stop_clock
from tests.judged import Rigged

pytestmark = pytest.mark.django_db


@pytest.fixture
def at_six(monkeypatch: pytest.MonkeyPatch) -> None:
    stop_clock(SIX, monkeypatch)


def test_the_county_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded()
    stop_clock(LOCAL_SIX, monkeypatch)
    lines = said("nightly").splitlines()
    assert lines[0] == "Port Ansley Fire Department, 2026-06-15 (judged)"
    assert "  Engine 1: READY, holds until 2026-09-30" in lines
    assert "  Engine 2: NOT READY" in "\n".join(lines)
    assert "      diesel spill ready · E85 spill not ready" in lines
    assert lines[-1] == "  2 limited, 1 no foam duty, 6 not ready, 4 ready, 1 unverified; 14 answers changed"
    assert said("nightly").splitlines()[-1].endswith("; 0 answers changed")


def test_the_same_night_in_both_forms(monkeypatch: pytest.MonkeyPatch) -> None:
    loaded()
    told = nightly(LOCAL_SIX)
    stop_clock(LOCAL_SIX, monkeypatch)
    words = said("nightly")
    for unit in told["units"]:
        assert f"  {unit['unit']}: {unit['status'].upper()}" in words
    assert told["not_judged"] == []


@pytest.mark.usefixtures("at_six")
def test_a_unit_that_cannot_be_judged_ends_with_3(cast: Cast) -> None:
    rig = Rigged(cast)
    assert said("nightly", "--department", cast.department.slug)
    UnitFactory(station=cast.station, designation="Engine 2")
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=["3x6"])
    for form in ([], ["--json"]):
        out = io.StringIO()
        with pytest.raises(SystemExit) as ending:
            call_command("nightly", *form, department=cast.department.name, stdout=out)
        assert ending.value.code == 3
        if form:
            told = json.loads(out.getvalue())
            assert [each["unit"] for each in told["units"]] == ["Engine 2"]
            assert told["not_judged"][0]["unit"] == "Engine 1"
        else:
            assert "  Engine 1: could not be judged (ValueError: settings ['3x6'] were read" in out.getvalue()
            assert "; its last assessment stands" in out.getvalue()
            assert "Engine 2: NOT READY" in out.getvalue()
    assert rig.current().status == "ready"
    Appliance.objects.filter(kind="in-line eductor").update(settings_pct=[300, 600])
    assert "Engine 1: READY" in said("nightly", "--department", cast.department.name)


def test_another_run_ends_with_75(cast: Cast) -> None:
    out, err = io.StringIO(), io.StringIO()
    with one_night_at_a_time(), pytest.raises(SystemExit) as ending:
        call_command("nightly", stdout=out, stderr=err)
    assert ending.value.code == 75
    assert (out.getvalue(), err.getvalue()) == ("", "Another night is running; this one did nothing.\n")


def test_several_departments_are_a_list(cast: Cast) -> None:
    Rigged(cast)
    Policy.objects.create(department=cast.other_department)
    UnitFactory(station=StationFactory(department=cast.other_department), designation="Engine 1")
    told = nightly(SIX)
    assert {each["department"]: [unit["unit"] for unit in each["units"]] for each in told["departments"]} == {
        "Quay County Fire Department": ["Engine 1"],
        "Far County Fire Department": ["Engine 1"],
    }
    one = nightly(SIX, "--department", "Quay County Fire Department")
    assert (one["department"], by_name(one)["Engine 1"]["status"]) == ("Quay County Fire Department", "ready")


def test_as_of_past_and_rebuilt(cast: Cast) -> None:
    rig = Rigged(cast)
    Unit.objects.exclude(pk=rig.unit.pk).delete()
    mine = ["--department", cast.department.slug]
    nightly(SIX, *mine)
    later, day = SIX + timedelta(days=3), ["--as-of", "2026-06-15"]
    stored, rebuilt = nightly(later, *mine, *day), nightly(later, *mine, *day, "--rebuild")
    assert (stored["how"], rebuilt["how"]) == ("stored", "rebuilt")
    assert (stored["as_of"], rebuilt["as_of"]) == ("2026-06-15", "2026-06-15")
    assert by_name(stored) == by_name(rebuilt)


def test_a_day_that_is_none_and_a_department_that_is_not_there(cast: Cast) -> None:
    with pytest.raises(CommandError, match="yesterday"):
        call_command("nightly", "--as-of", "yesterday")
    assert refused("nightly", "--department", "Elsewhere").startswith("'Elsewhere' was read; the departments are: ")
