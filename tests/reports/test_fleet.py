"""Rigs as they are read: one alone and in the fleet, one department's and no other's, and rows that cannot be read."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions.clock import StoppedClock
from readiness.actions.evidence import record_sample
from readiness.actions.permissions import OWNER
from readiness.engineering import records as r
from readiness.engineering.lines import FoamAsked, foam_tested
from readiness.models import (
    Appliance,
    Container,
    Department,
    Duty,
    FoamLine,
    FoamTest,
    HoseLeg,
    Place,
    Policy,
    Unit,
    Vehicle,
)
from readiness.reports.fleet import load_rigs
from tests.cast import D0, SIX, Cast, DepartmentFactory, StationFactory, UnitFactory
from tests.county import loaded
from tests.judged import Rigged

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def test_one_unit_alone_is_the_same_as_in_the_whole_fleet() -> None:
    department = loaded()
    fleet = load_rigs(day=D0, departments=[department.pk])
    assert len(fleet.rigs) == 14
    assert fleet.broken == ()
    for rig in fleet.rigs:
        alone = load_rigs(day=D0, departments=[department.pk], units=[rig.unit_id])
        assert alone.rigs == (rig,)
        assert alone.policies == fleet.policies
    several = [fleet.rigs[3].unit_id, fleet.rigs[8].unit_id]
    assert load_rigs(day=D0, units=several).rigs == (fleet.rigs[3], fleet.rigs[8])
    assert load_rigs(day=D0).rigs == fleet.rigs


def test_what_is_read_of_a_unit_in_si(cast: Cast) -> None:
    """5 gal are 18,927 mL; 95 gpm are 359.61 L/min (95 x 3.785411784); 1.75 in has C 15.5."""
    rig = Rigged(cast, pails=1)
    FoamLine.objects.filter(pk=rig.line.pk).update(inlet_kpa=1378.95, nozzle_kpa=689.48, wind_loss_pct=10)
    HoseLeg.objects.create(line=rig.line, n=1, length_m=45.72, diameter_in="1.75")
    Vehicle.objects.filter(pk=rig.vehicle.pk).update(water_l=2839.06)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    assert (found.name, found.vehicle.name, found.vehicle.water_l) == ("Engine 1", "vehicle 201", 2839.06)
    assert found.checked_at == SIX
    (pail,) = found.containers
    assert (pail.code, pail.kind, pail.book_ml, pail.sealed) == ("P0", "pail", 18_927, True)
    assert pail.parts[0].lot.concentrate.kind == "ar_afff"
    (line,) = found.lines
    assert (line.offered, line.pails, line.sources) == (frozenset({300, 600}), True, ())
    assert line.flow_lpm == pytest.approx(359.614, abs=0.001)
    assert line.rated_lpm == line.flow_lpm
    assert (line.lay.inlet_kpa, line.lay.hose[0].coefficient, line.lay.hose[0].length_m) == (1378.95, 15.5, 45.72)
    (spill,) = found.duties
    assert (spill.fuel.name, spill.use, spill.duty, spill.minutes) == ("gasoline", "spill", "fire", 15)
    assert spill.area_m2 == pytest.approx(83.613, abs=0.001)  # 900 x 0.09290304


def test_another_departments_rows_never_appear(cast: Cast) -> None:
    """Two departments with the same names: each reads its own, alone and together."""
    mine = Rigged(cast, pails=2)
    other = DepartmentFactory(name="Third County Fire Department")
    Policy.objects.create(department=other, check_interval_h=12)
    station = StationFactory(department=other, name="Quayside")
    theirs = UnitFactory(station=station, designation="Engine 1")
    fleet = load_rigs(day=D0, departments=[cast.department.pk])
    assert [rig.unit_id for rig in fleet.rigs] == [mine.unit.pk]
    assert set(fleet.policies) == {cast.department.pk}
    (their_rig,) = load_rigs(day=D0, departments=[other.pk]).rigs
    assert (their_rig.unit_id, their_rig.containers, their_rig.lines, their_rig.duties) == (theirs.pk, (), (), ())
    assert load_rigs(day=D0, departments=[other.pk], units=[mine.unit.pk]).rigs == ()
    both = load_rigs(day=D0)
    assert both.rigs == (*fleet.rigs, their_rig)
    assert both.policies[other.pk].check_interval_h == 12
    assert both.department_of == {mine.unit.pk: cast.department.pk, theirs.pk: other.pk}


BROKEN = {
    "settings": (Appliance, {"settings_pct": ["3x6"]}, "a list of hundredths of a percent is needed"),
    "rings": (Appliance, {"rings_lpm": ["wide"]}, "could not convert string to float"),
    "no flow": (Appliance, {"rated_flow_lpm": None}, "the line states no flow, nor does its nozzle or proportioner"),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_a_row_that_cannot_be_read_isolates_its_unit(cast: Cast, fault: str) -> None:
    rig = Rigged(cast)
    UnitFactory(station=cast.station, designation="Engine 2")
    model, values, why = BROKEN[fault]
    model.objects.update(**values)
    if fault == "no flow":
        FoamLine.objects.update(flow_lpm=None)
    fleet = load_rigs(day=D0, departments=[cast.department.pk])
    assert [each.name for each in fleet.rigs] == ["Engine 2"]
    ((unit, said),) = fleet.broken
    assert unit == rig.unit.pk
    assert why in said


def test_retired_things_are_not_there(cast: Cast) -> None:
    rig = Rigged(cast)
    Container.objects.filter(pk=rig.pails[0].pk).update(retired_on=D0)
    Duty.objects.update(retired_on=D0)
    FoamLine.objects.update(retired_on=D0)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    assert (len(found.containers), found.lines, found.duties, found.setups) == (8, (), (), ())
    Unit.objects.update(retired_on=D0)
    assert load_rigs(day=D0, departments=[cast.department.pk]).rigs == ()


def test_a_lot_recalled_tomorrow_counts_today(cast: Cast) -> None:
    Rigged(cast)
    cast.lot.recalled_on = D0 + DAY
    cast.lot.save()

    def recalled(days: int) -> bool:
        (rig,) = load_rigs(day=D0 + days * DAY, departments=[cast.department.pk]).rigs
        return rig.containers[0].parts[0].lot.recalled

    assert (recalled(0), recalled(1)) == (False, True)


def test_the_day_of_a_reading_is_the_departments(cast: Cast) -> None:
    """Read above the book at 20:00 in Chicago on 15 June, which is 01:00 UTC on the 16th; sampled on the 15th too."""
    Department.objects.filter(pk=cast.department.pk).update(time_zone="America/Chicago")
    cast.department.refresh_from_db()
    rig = Rigged(cast)
    tank = rig.tank()
    at = datetime(2026, 6, 16, 1, 0, tzinfo=UTC)
    rig.checked(rig.reading(tank, 110_000), at=at)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    (read,) = [each for each in found.containers if each.code == "T1"]
    assert (read.reading_ml, read.reading_on) == (110_000, D0)
    rig.judge(at)
    assert "reading_above_book" in rig.open_notes()
    record_sample(cast.department, container=tank, taken_on=D0, passed=True, acting=OWNER, clock=StoppedClock(at))
    rig.judge(at)
    assert "reading_above_book" not in rig.open_notes()


def test_the_cold_place_of_a_unit_is_read(cast: Cast) -> None:
    Rigged(cast, pails=1)
    Place.objects.filter(pk=cast.on_unit.pk).update(expected_low_c=-5)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    assert found.containers[0].place_low_c == -5


def test_a_stations_own_interval_is_read(cast: Cast) -> None:
    Rigged(cast)
    cast.station.check_interval_h = 48
    cast.station.save()
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    assert found.check_good_until == SIX + 2 * DAY


def test_reads_do_not_grow(cast: Cast) -> None:
    def reads() -> int:
        with CaptureQueriesContext(connection) as seen:
            load_rigs(day=D0, departments=[cast.department.pk])
        return len(seen)

    Rigged(cast)
    few = reads()
    for _ in range(30):
        UnitFactory(station=cast.station)
    assert reads() == few <= 22


def test_foam_tests_are_read_with_the_proportioning_tests(cast: Cast) -> None:
    """The latest of each concentrate, one made before a conversion too; in no further query."""
    rig = Rigged(cast)

    def reads() -> int:
        with CaptureQueriesContext(connection) as seen:
            load_rigs(day=D0, departments=[cast.department.pk])
        return len(seen)

    before = reads()
    made = {"department": cast.department, "line": rig.line, "concentrate": cast.ar, "foam_ml": 1000, "foam_g": 200}
    older = {"tested_on": D0 - 90 * DAY, "expansion": 9.0}
    newest = {"tested_on": D0 - 30 * DAY, "expansion": 5.0, "quarter_min": 4.5, "watched_min": 5.0}
    FoamTest.objects.create(**made, **newest, declared_expansion=6.0)
    FoamTest.objects.create(**made, **older)
    FoamTest.objects.create(**made, **older, quarter_min=9.0, watched_min=9.0)  # a quarter was measured since
    FoamLine.objects.update(converted_on=D0 - DAY)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    (test,) = found.lines[0].foam_tests
    assert (test.concentrate_id, test.on, test.expansion) == (cast.ar.pk, D0 - 30 * DAY, 5.0)
    assert (test.quarter_min, test.watched_min, test.declared_expansion) == (4.5, 5.0, 6.0)
    assert found.lines[0].tests == ()  # the proportioning test was made before the conversion
    FoamLine.objects.update(converted_on=None)
    (found,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    assert [each.measured for each in found.lines[0].tests] == [310]
    assert reads() == before


def test_the_foam_tests_that_are_read_say_what_all_of_them_do(cast: Cast) -> None:
    """Whatever was measured and declared in four tests, two on one day: the rows that are left out change nothing.

    All of them are judged as records; the read ones as they come out of the database.
    """
    rig = Rigged(cast)
    made = {"department": cast.department, "line": rig.line, "concentrate": cast.ar, "foam_ml": 1000, "foam_g": 200}
    drawn = random.Random(7)
    policy, faults = r.Policy(foam_test_interval_d=365), 0
    for _ in range(60):
        FoamTest.objects.all().delete()
        every = []
        for age in (90, 60, 60, 30):
            quarter = drawn.choice((None, 2.0, 2.5, 3.0))
            read = {
                "tested_on": D0 - age * DAY,
                "expansion": drawn.choice((4.0, 6.0)),
                "quarter_min": quarter,
                "watched_min": quarter or drawn.choice((None, 2.5, 3.0)),
                "declared_expansion": drawn.choice((None, None, 5.0, 6.0)),
                "declared_quarter_min": drawn.choice((None, None, 2.5, 3.0)),
            }
            FoamTest.objects.create(**made, **read)
            every.append(r.FoamTest(cast.ar.pk, *read.values()))
        (line,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs[0].lines
        told = [
            foam_tested(line._replace(foam_tests=tests), cast.ar.pk, FoamAsked(), policy)
            for tests in (line.foam_tests, tuple(every))
        ]
        assert told[0] == told[1], every
        faults += bool(told[0][1])
    assert 0 < faults < 60


def test_a_foam_test_that_was_left_out_still_declares(cast: Cast) -> None:
    """A quarter drained at 2.0 min of a declared 3.0, the next day at 2.5 with the field left empty."""
    rig = Rigged(cast)
    made = {"department": cast.department, "line": rig.line, "concentrate": cast.ar, "foam_ml": 1000, "foam_g": 200}
    failed = {"tested_on": D0 - 2 * DAY, "quarter_min": 2.0, "declared_quarter_min": 3.0, "declared_expansion": 6.0}
    FoamTest.objects.create(**made, **failed, expansion=4.0)
    FoamTest.objects.create(**made, tested_on=D0 - DAY, quarter_min=2.5, expansion=4.0)
    (test,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs[0].lines[0].foam_tests
    assert (test.quarter_min, test.declared_quarter_min, test.declared_expansion) == (2.5, 3.0, 6.0)


def test_what_a_duty_states_of_its_cover_and_of_its_region_s_rule(cast: Cast) -> None:
    rig = Rigged(cast)
    cover = {"hold_min": 120, "interval_min": 15, "blanket_depth_m": 0.1016, "blanket_expansion": 7}
    Duty.objects.update(purpose="vapor suppression", drained_pct=2500, blanket_wind_pct=2400, **cover)
    Policy.objects.update(region_packs=["marine"], foam_test_interval_d=90, vehicle_3_least=290)
    fleet = load_rigs(day=D0, departments=[cast.department.pk])
    (spill,) = fleet.rigs[0].duties
    assert (spill.duty, spill.rule) == ("vapor", None)
    assert tuple(spill.cover) == (120, 15, 0.1016, 7, 2500, 2400)
    policy = fleet.policies[cast.department.pk]
    assert (policy.region_packs, policy.foam_test_interval_d) == (frozenset({"marine"}), 90)
    assert policy.vehicle_bands == {300: (290, 350), 600: (550, 700)}
    Duty.objects.update(purpose="fire", rule="deck", largest_tank_m2=480, monitor_area_m2=1000, inert_gas=False)
    (spill,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs[0].duties
    assert (spill.cover, tuple(spill.rule)) == (None, (480, 1000, False))
    Duty.objects.update(rule="tank", application="indirect", mobile_means=True)
    (spill,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs[0].duties
    assert tuple(spill.rule) == ("indirect", True)
    Duty.objects.update(kind="airport", required_water_l=5678, category=4)
    (airport,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs[0].duties
    assert (airport.category, airport.water_l) == (4, 5678)
    assert rig.unit.pk == fleet.rigs[0].unit_id
