"""Units, vehicles and appliances: what is kept, what is refused, and who is judged again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.fleet_records import (
    APPLIANCES,
    UNITS,
    VEHICLES,
    ApplianceFacts,
    UnitFacts,
    VehicleFacts,
)
from readiness.actions.keeping import NotKept
from readiness.models import Appliance, Assignment, Change, Deficiency, Unit, Vehicle
from tests.cast import D0, SIX, StationFactory, UnitFactory, VehicleFactory
from tests.judged import GPM, Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db


@pytest.fixture
def running(cast):
    """Engine 1 on vehicle 201."""
    return Assignment.objects.create(
        department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX - timedelta(days=9)
    )


def unit(cast, **values):
    return UnitFacts(**{"designation": "Engine 2", "station": cast.station, **values})


def vehicle(cast, **values):
    return VehicleFacts(**{"shop_no": "210", "kind": "engine", "station": cast.station, **values})


# Units


def test_a_unit_is_added_with_its_vehicle(cast):
    all_judged()
    made = UNITS.save(desk(cast), unit(cast, runs_on=cast.spare_vehicle, lines_staffed=2))
    assert Assignment.objects.get(unit=made, to_at=None).vehicle == cast.spare_vehicle
    assert due() == {"Engine 2"}
    action, old, new = last_change()
    assert (action, old) == ("add unit", None)
    assert new == {
        "designation": "Engine 2",
        "station": cast.station.pk,
        "state": "in",
        "lines_staffed": 2,
        "runs_on": cast.spare_vehicle.pk,
    }


def test_a_vehicle_runs_as_one_unit(cast, running):
    sentence = faults(UNITS, cast, unit(cast, runs_on=cast.vehicle))["runs_on"]
    assert sentence.startswith("“vehicle 201” was read, and Engine 1 runs on it: choose another vehicle")


def test_a_retired_vehicle_runs_as_none(cast):
    Vehicle.objects.filter(pk=cast.spare_vehicle.pk).update(retired_on=D0)
    cast.spare_vehicle.refresh_from_db()
    assert "which was retired on 2026-06-15" in faults(UNITS, cast, unit(cast, runs_on=cast.spare_vehicle))["runs_on"]


def test_on_another_vehicle_by_change_over_only(cast, running):
    stays = UNITS.read(cast.unit)
    for other in (cast.spare_vehicle, None):
        sentence = faults(UNITS, cast, stays._replace(runs_on=other), cast.unit)["runs_on"]
        assert sentence == "Engine 1 runs on vehicle 201: it goes on another vehicle by a change-over."


def test_a_decision_for_no_foam_duty_has_a_name_and_a_day_to_come(cast):
    day = D0 + timedelta(days=365)
    made = UNITS.save(desk(cast), unit(cast, no_duty_by="fire chief", no_duty_review_on=day))
    assert (made.no_duty_by, made.no_duty_review_on) == ("fire chief", day)
    again = unit(cast, designation="Engine 3")
    assert set(faults(UNITS, cast, again._replace(no_duty_by="fire chief"))) == {"no_duty_review_on"}
    assert set(faults(UNITS, cast, again._replace(no_duty_review_on=day))) == {"no_duty_by"}
    past = faults(UNITS, cast, again._replace(no_duty_by="fire chief", no_duty_review_on=D0))
    assert past["no_duty_review_on"] == "“2026-06-15” was read: a day after today (2026-06-15) belongs here."


def test_a_day_of_review_that_has_passed_does_not_stand_in_the_way_of_another_change(cast):
    Unit.objects.filter(pk=cast.unit.pk).update(no_duty_by="fire chief", no_duty_review_on=D0 - timedelta(days=1))
    cast.unit.refresh_from_db()
    UNITS.save(desk(cast), UNITS.read(cast.unit)._replace(state="out"), cast.unit)
    assert last_change() == ("change unit", {"state": "in"}, {"state": "out"})


def test_a_unit_is_refused(cast):
    assert set(faults(UNITS, cast, unit(cast, designation="engine 1"))) == {"designation"}
    assert set(faults(UNITS, cast, unit(cast, lines_staffed=21))) == {"lines_staffed"}
    assert set(faults(UNITS, cast, unit(cast, state="asleep"))) == {"state"}
    closed = StationFactory(department=cast.department, closed_on=D0)
    assert "closed on 2026-06-15" in faults(UNITS, cast, unit(cast, station=closed))["station"]


def test_records_of_another_department_are_refused_in_every_field(cast):
    station = StationFactory(department=cast.other_department)
    foreign = VehicleFactory(station=station)
    assert set(faults(UNITS, cast, unit(cast, station=station, runs_on=foreign))) == {"station", "runs_on"}
    assert set(faults(VEHICLES, cast, vehicle(cast, station=station, tow=foreign, needs_tow=True))) == {
        "station",
        "tow",
    }
    other = UnitFactory(station=station)
    sentence = faults(APPLIANCES, cast, ApplianceFacts(other, "nozzle", "fog nozzle"))["owner"]
    assert sentence == "A unit was read that is not Quay County Fire Department’s: choose one from the list."


def test_a_unit_with_stock_aboard_is_not_retired(cast, running):
    cast.pail(place=cast.on_unit, code="P1")
    with pytest.raises(NotKept, match=r"Containers on Engine 1: P1\. Move them first"):
        UNITS.retire(desk(cast), cast.unit)


def test_a_retired_unit_leaves_its_vehicle_and_its_deficiencies_close(
    cast, running, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        UNITS.save(desk(cast), UNITS.read(cast.unit)._replace(lines_staffed=1), cast.unit)
    assert Deficiency.objects.filter(unit=cast.unit, closed_on=None).exists()
    with django_capture_on_commit_callbacks(execute=True):
        UNITS.retire(desk(cast), cast.unit)
    running.refresh_from_db()
    assert running.to_at == SIX
    assert list(Change.objects.order_by("-id").values_list("action", flat=True)[:2]) == ["retire unit", "leave vehicle"]
    assert not Deficiency.objects.filter(unit=cast.unit, closed_on=None).exists()
    UNITS.bring_back(desk(cast), cast.unit)
    assert not Assignment.objects.filter(unit=cast.unit, to_at=None).exists(), "somebody says on which vehicle"


# Vehicles


def test_a_vehicle_is_changed_and_the_unit_on_it_is_judged(cast, running):
    UnitFactory(station=cast.station, designation="Engine 9")
    all_judged()
    VEHICLES.save(desk(cast), VEHICLES.read(cast.vehicle)._replace(water_l=2839.0, state="out"), cast.vehicle)
    assert due() == {"Engine 1"}
    old = {"water_l": 0.0, "state": "in", "out_since": None}
    assert last_change() == ("change vehicle", old, {"water_l": 2839.0, "state": "out", "out_since": "2026-06-15"})


def test_back_in_service_there_is_no_day_out_of_it(cast):
    Vehicle.objects.filter(pk=cast.vehicle.pk).update(state="out", out_since=D0)
    cast.vehicle.refresh_from_db()
    VEHICLES.save(desk(cast), VEHICLES.read(cast.vehicle)._replace(state="in"), cast.vehicle)
    cast.vehicle.refresh_from_db()
    assert (cast.vehicle.state, cast.vehicle.out_since) == ("in", None)


def test_a_vehicle_is_refused(cast):
    assert set(faults(VEHICLES, cast, vehicle(cast, shop_no="201"))) == {"shop_no"}
    assert set(faults(VEHICLES, cast, vehicle(cast, water_l=-1.0))) == {"water_l"}
    assert set(faults(VEHICLES, cast, vehicle(cast, pump_lpm=float("nan")))) == {"pump_lpm"}
    tomorrow = D0 + timedelta(days=1)
    assert set(faults(VEHICLES, cast, vehicle(cast, state="out", out_since=tomorrow))) == {"out_since"}


def test_what_tows(cast):
    trailer = VEHICLES.save(desk(cast), vehicle(cast, shop_no="T1", needs_tow=True, tow=cast.spare_vehicle))
    assert "only what needs a tow" in faults(VEHICLES, cast, vehicle(cast, tow=cast.vehicle))["tow"]
    assert "needs a tow itself" in faults(VEHICLES, cast, vehicle(cast, needs_tow=True, tow=trailer))["tow"]
    itself = VEHICLES.read(trailer)._replace(tow=trailer)
    assert "does not tow itself" in faults(VEHICLES, cast, itself, trailer)["tow"]
    towing = VEHICLES.read(cast.spare_vehicle)._replace(needs_tow=True)
    assert "It tows vehicle T1" in faults(VEHICLES, cast, towing, cast.spare_vehicle)["needs_tow"]


def test_a_tow_out_of_service_judges_the_trailers_unit(cast):
    trailer = VEHICLES.save(desk(cast), vehicle(cast, shop_no="T1", needs_tow=True, tow=cast.spare_vehicle))
    UNITS.save(desk(cast), unit(cast, designation="Foam Trailer 1", runs_on=trailer))
    all_judged()
    facts = VEHICLES.read(cast.spare_vehicle)._replace(state="out")
    VEHICLES.save(desk(cast), facts, cast.spare_vehicle)
    assert due() == {"Foam Trailer 1"}


def test_a_vehicle_in_use_is_not_retired(cast, running):
    VEHICLES.save(desk(cast), vehicle(cast, shop_no="T1", needs_tow=True, tow=cast.vehicle))
    cast.tank(place=cast.on_vehicle, code="T-201")
    with pytest.raises(NotKept) as refused:
        VEHICLES.retire(desk(cast), cast.vehicle)
    assert [fault.sentence for fault in refused.value.faults] == [
        "Engine 1 runs on vehicle 201: change Engine 1 over to another vehicle first.",
        "Containers on vehicle 201: T-201. Move them first.",
        "vehicle 201 tows vehicle T1: name another tow vehicle first.",
    ]
    assert VEHICLES.retire(desk(cast), cast.spare_vehicle).retired_on == D0


# Appliances


def test_an_appliance_is_added_with_rising_settings(cast):
    facts = ApplianceFacts(cast.unit, "95 eductor", "in-line eductor", 95 * GPM, settings_pct=(600, 300, 300))
    all_judged()
    made = APPLIANCES.save(desk(cast), facts)
    assert (made.unit, made.vehicle, made.settings_pct) == (cast.unit, None, [300, 600])
    assert due() == {"Engine 1"}
    assert last_change()[2]["settings_pct"] == [300, 600]


def test_an_appliance_is_refused(cast):
    proportioner = ApplianceFacts(cast.unit, "eductor", "in-line eductor")
    assert set(faults(APPLIANCES, cast, proportioner)) == {"settings_pct"}
    nozzle = ApplianceFacts(cast.unit, "nozzle", "fog nozzle", settings_pct=(300,))
    assert faults(APPLIANCES, cast, nozzle)["settings_pct"].startswith("“3 %” was read: only a proportioner")
    APPLIANCES.save(desk(cast), nozzle._replace(settings_pct=()))
    assert (
        "Engine 1 has one of that name"
        in faults(APPLIANCES, cast, nozzle._replace(settings_pct=(), name="Nozzle"))["name"]
    )
    assert APPLIANCES.save(desk(cast), nozzle._replace(settings_pct=(), owner=cast.vehicle)).vehicle == cast.vehicle


def test_what_a_line_rests_on_stays(cast):
    rigged = Rigged(cast)
    eductor, nozzle = rigged.line.proportioner, rigged.line.nozzle
    facts = APPLIANCES.read(eductor)
    assert "parked at 3 %" in faults(APPLIANCES, cast, facts._replace(settings_pct=(600,)), eductor)["settings_pct"]
    assert (
        "the proportioner of Crosslay 1 of Engine 1"
        in faults(APPLIANCES, cast, facts._replace(kind="fog nozzle", settings_pct=()), eductor)["kind"]
    )
    assert (
        "It is part of Crosslay 1 of Engine 1"
        in faults(APPLIANCES, cast, facts._replace(owner=cast.vehicle), eductor)["owner"]
    )
    of_nozzle = APPLIANCES.read(nozzle)
    assert (
        "the nozzle of Crosslay 1 of Engine 1"
        in faults(APPLIANCES, cast, of_nozzle._replace(kind="transfer pump"), nozzle)["kind"]
    )
    rigged.line.flow_lpm = None
    rigged.line.save()
    Appliance.objects.filter(pk=eductor.pk).update(rated_flow_lpm=None)
    found = faults(APPLIANCES, cast, of_nozzle._replace(rated_flow_lpm=None), nozzle)
    assert set(found) == {"rated_flow_lpm"}, "a line without any flow could not be judged"


def test_a_nozzle_out_of_service_judges_the_rig(cast, django_capture_on_commit_callbacks):
    rigged = Rigged(cast)
    assert rigged.status() == "ready"
    nozzle = rigged.line.nozzle
    with django_capture_on_commit_callbacks(execute=True):
        APPLIANCES.save(desk(cast), APPLIANCES.read(nozzle)._replace(state="out"), nozzle)
    assert rigged.current().status == "not_ready"
    assert rigged.current().because == "change of appliance"


def test_an_appliance_cannot_be_retired_it_goes_out_of_service(cast):
    assert APPLIANCES.retired == ""
    with pytest.raises(Refused, match="no such appliance"):
        APPLIANCES.save(desk(cast), ApplianceFacts(cast.unit, "x", "fog nozzle"), Appliance(pk=10**6))


# What a nozzle and a plate say


@pytest.mark.parametrize(
    ("kind", "changed", "fact", "said"),
    [
        ("in-line eductor", {"bore_m": 0.0254}, "bore_m", "A bore was read, which no in-line eductor has"),
        (
            "in-line eductor",
            {"holds_pressure": True},
            "holds_pressure",
            "no in-line eductor is a nozzle: leave it unticked.",
        ),
        ("portable kit", {"settings_pct": (300, 800)}, "settings_pct", "“8 %” was read: a kit’s dial runs from 0.1 %"),
        ("smooth-bore tip", {"discharge": 0.9}, "discharge", "“0.9” was read, and no bore: state the bore"),
        ("smooth-bore tip", {"bore_m": 0.0254, "discharge": 1.2}, "discharge", "is above 0 and at most 1."),
        ("in-line eductor", {"least_flow_lpm": 90.0}, "least_flow_lpm", "no in-line eductor has a least flow"),
        ("fog nozzle", {"greatest_intake_kpa": 60.0}, "greatest_intake_kpa", "only around the pump"),
        ("fog nozzle", {"rated_pressure_kpa": 0.0}, "rated_pressure_kpa", "“0” was read: it is more than 0"),
    ],
)
def test_what_only_one_kind_of_appliance_states(cast, kind, changed, fact, said):
    settings = (300, 600) if "eductor" in kind else ()
    facts = ApplianceFacts(cast.unit, "an appliance", kind, **{"settings_pct": settings, **changed})
    assert said in faults(APPLIANCES, cast, facts)[fact]


def test_an_automatic_nozzle_and_a_smooth_bore_are_kept(cast):
    tip = ApplianceFacts(cast.unit, "1 in tip", "smooth-bore tip", bore_m=0.0254, discharge=0.97)
    assert APPLIANCES.read(APPLIANCES.save(desk(cast), tip)) == tip
    automatic = ApplianceFacts(
        cast.unit, "automatic", "fog nozzle", 360.0, rated_pressure_kpa=689.5, holds_pressure=True
    )
    assert APPLIANCES.read(APPLIANCES.save(desk(cast), automatic)) == automatic
