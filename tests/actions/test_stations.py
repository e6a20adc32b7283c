"""Stations are added, changed and closed; each change is kept, and the units that run from there are judged."""

from __future__ import annotations

import pytest
from django.db import IntegrityError

from readiness.actions.drafts import Refused
from readiness.actions.keeping import NotKept
from readiness.actions.permissions import NotAllowed
from readiness.actions.stations import STATIONS, StationFacts
from readiness.models import Assessment, Change, Role, Station
from tests.cast import D0, StationFactory, UnitFactory
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db


def test_a_station_is_added(cast):
    made = STATIONS.save(desk(cast), StationFacts("  Mill   Road ", 12))
    assert Station.objects.get(pk=made.pk).name == "Mill Road", "names are kept on one line"
    assert (made.department, made.check_interval_h) == (cast.department, 12)
    assert last_change() == ("add station", None, {"name": "Mill Road", "check_interval_h": 12})
    row = Change.objects.get()
    assert (row.by, row.department, row.subject_kind) == (cast.people[Role.CHIEF], cast.department, "station")


def test_a_change_keeps_old_and_new_and_judges_its_units_after_the_commit(cast, django_capture_on_commit_callbacks):
    UnitFactory(station=StationFactory(department=cast.department), designation="Engine 9")
    all_judged()
    with django_capture_on_commit_callbacks(execute=False) as later:
        STATIONS.save(desk(cast), StationFacts("Quayside", 12), cast.station)
        assert due() == {"Engine 1"}, "only those that run from there"
        assert not Assessment.objects.exists(), "nothing is judged before the commit"
    for each in later:
        each()
    assert due() == set()
    assert Assessment.objects.get().because == "change of station"
    assert last_change() == ("change station", {"check_interval_h": None}, {"check_interval_h": 12})


def test_the_same_again_changes_nothing(cast):
    all_judged()
    STATIONS.save(desk(cast), StationFacts("Quayside"), cast.station)
    assert not Change.objects.exists()
    assert due() == set()


@pytest.mark.parametrize("role", [role for role in Role if role != Role.CHIEF])
def test_only_a_chief_keeps_reference_data(cast, role):
    for act in (
        lambda: STATIONS.save(desk(cast, role), StationFacts("Mill Road")),
        lambda: STATIONS.retire(desk(cast, role), cast.station),
        lambda: STATIONS.bring_back(desk(cast, role), cast.station),
    ):
        with pytest.raises(NotAllowed, match="is for: chief"):
            act()
    assert not Change.objects.exists()


def test_a_name_is_taken_whatever_its_case(cast):
    assert faults(STATIONS, cast, StationFacts("QUAYSIDE")) == {
        "name": "“QUAYSIDE” was read, and the department has one of that name: choose another."
    }


def test_a_closed_station_keeps_its_name(cast):
    StationFactory(department=cast.department, name="Old House", closed_on=D0)
    sentence = faults(STATIONS, cast, StationFacts("Old House"))["name"]
    assert "retired on 2026-06-15: bring it back" in sentence


def test_another_department_may_have_the_same_name(cast):
    StationFactory(department=cast.other_department, name="Mill Road")
    assert STATIONS.save(desk(cast), StationFacts("Mill Road")).pk


@pytest.mark.parametrize("hours", [0, 8_761])
def test_an_interval_nobody_could_keep(cast, hours):
    assert "from 1 h to 8,760 h" in faults(STATIONS, cast, StationFacts("Mill Road", hours))["check_interval_h"]


def test_what_the_columns_refuse_is_refused_with_a_sentence(cast):
    found = faults(STATIONS, cast, StationFacts("x" * 81, -1))
    assert "at most 80 characters" in found["name"]
    assert found["check_interval_h"] == "“-1” was read: it is 0 or more."
    assert set(faults(STATIONS, cast, StationFacts(""))) == {"name"}


def test_another_departments_station_cannot_be_changed(cast):
    other = StationFactory(department=cast.other_department)
    for act in (
        lambda: STATIONS.save(desk(cast), StationFacts("x"), other),
        lambda: STATIONS.retire(desk(cast), other),
    ):
        with pytest.raises(Refused, match="There is no such station"):
            act()


def test_a_station_where_something_stands_is_not_closed(cast):
    cast.pail(place=cast.store, code="P1")
    with pytest.raises(NotKept) as refused:
        STATIONS.retire(desk(cast), cast.station)
    assert [fault.sentence for fault in refused.value.faults] == [
        "Units that run from Quayside: Engine 1. Give them another station first.",
        "Vehicles that stand at Quayside: vehicle 201, vehicle 209. Give them another station first.",
        "Containers in its store: P1. Move them first.",
    ]


def test_an_empty_station_is_closed_and_brought_back(cast):
    empty = StationFactory(department=cast.department, name="Old House")
    assert STATIONS.retire(desk(cast), empty).closed_on == D0
    assert last_change() == ("retire station", {"closed_on": None}, {"closed_on": "2026-06-15"})
    with pytest.raises(Refused, match="retired on 2026-06-15 already"):
        STATIONS.retire(desk(cast), empty)
    assert STATIONS.bring_back(desk(cast), empty).closed_on is None
    assert last_change() == ("bring back station", {"closed_on": "2026-06-15"}, {"closed_on": None})
    with pytest.raises(Refused, match="in use already"):
        STATIONS.bring_back(desk(cast), empty)


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(cast):
    seen = STATIONS.seen(cast.station)
    STATIONS.save(desk(cast), StationFacts("Quayside", 12), cast.station, seen=seen)
    with pytest.raises(Refused, match="Somebody changed it since"):
        STATIONS.save(desk(cast), StationFacts("Quayside", 48), cast.station, seen=seen)
    assert Station.objects.get(pk=cast.station.pk).check_interval_h == 12


def test_a_clash_in_the_database_becomes_a_sentence(cast, monkeypatch):
    def clash(*_: object) -> None:
        raise IntegrityError("UNIQUE constraint failed")

    monkeypatch.setattr(STATIONS, "_add", clash)
    with pytest.raises(Refused, match="Somebody saved the same a moment ago"):
        STATIONS.save(desk(cast), StationFacts("Mill Road"))
