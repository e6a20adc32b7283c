"""Swaps between units and stores, and pick lists, from the book. The order is common practice, no source."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.models import Concentrate, Container, Policy
from readiness.models.policy import RULES
from readiness.reports.inventory import load_inventory
from readiness.reports.rotation import pick_for_drill, pick_for_unit, rotations
from tests.cast import D0, PAIL_ML, ConcentrateFactory, LotFactory, StationFactory
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def drills_without_pfas(cast):
    """As the policy stands in a new department."""
    Policy.objects.update(drill_with_pfas=RULES["drill_with_pfas"].default)


def pail(cast, code, days, place=None, concentrate=None, **more):
    lot = LotFactory(concentrate=concentrate or cast.ar, makers_date=D0 + timedelta(days=days))
    made = stocked(cast, code, lot, place)
    Container.objects.filter(pk=made.pk).update(**{"sealed": True, **more})
    return made


def inventory(cast):
    return load_inventory(cast.department, D0)


def swapped(cast):
    return [
        (each.unit, [item.code for item in each.old], [item.code for item in each.new], each.station)
        for each in rotations(cast.department, inventory(cast))
    ]


@pytest.fixture
def hill(cast):
    station = StationFactory(department=cast.department, name="Hilltop")
    return station.places.create(department=cast.department, station=station)


def test_the_own_station_first_then_another(cast, hill):
    pail(cast, "A1", 50, cast.on_unit)
    pail(cast, "A2", 60, cast.on_unit)
    pail(cast, "S1", 900)
    pail(cast, "H1", 3000, hill)
    assert swapped(cast) == [("Engine 1", ["A1"], ["S1"], "Quayside"), ("Engine 1", ["A2"], ["H1"], "Hilltop")]


def test_what_is_alike_is_one_row(cast):
    lot, late = (LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=days)) for days in (50, 900))
    for number in range(3):
        stocked(cast, f"A{number}", lot, cast.on_unit)
        stocked(cast, f"S{number}", late)
    Container.objects.update(sealed=True)
    (row,) = rotations(cast.department, inventory(cast))
    assert (len(row.old), len(row.new), row.days, row.compartment) == (3, 3, 850, "L3")
    assert row.why_no_drill == "holds PFAS"
    Policy.objects.update(drill_with_pfas=True)
    (row,) = rotations(cast.department, inventory(cast))
    assert row.why_no_drill == ""


def test_the_warning_time_of_the_policy_says_how_soon(cast):
    pail(cast, "A1", 365, cast.on_unit)
    pail(cast, "S1", 900)
    assert swapped(cast) == []
    Policy.objects.update(expiry_warn_d=366)
    assert len(swapped(cast)) == 1


def test_another_concentrate_takes_no_place(cast):
    pail(cast, "A1", 50, cast.on_unit)
    pail(cast, "S1", 900, concentrate=cast.class_a)
    assert swapped(cast) == []


# -- pick lists --------------------------------------------------------------------------------------------------------


def drill(cast, ml, **more):
    return pick_for_drill(cast.department, inventory(cast), ml, **more)


def picked(found):
    return [(each.item.code, each.take_ml, each.together_ml) for each in found.picked]


@pytest.fixture
def drill_stock(cast):
    f3 = ConcentrateFactory(department=cast.department, name="Demo F3", kind="F3", pfas="no")
    trainer = ConcentrateFactory(department=cast.department, name="Demo Trainer", kind="training", pfas="no")
    pail(cast, "F-late", 900, concentrate=f3)
    pail(cast, "F-soon", 40, concentrate=f3)
    pail(cast, "F-open", 900, concentrate=f3, sealed=False, opened_on=D0)
    pail(cast, "T1", 900, concentrate=trainer)
    pail(cast, "P1", 10)
    pail(cast, "A1", 10, concentrate=cast.class_a)
    return f3


def test_a_drill_takes_training_foam_then_opened_then_the_soonest_and_no_pfas(cast, drill_stock):
    found = drill(cast, 3 * PAIL_ML)
    assert [code for code, _, _ in picked(found)] == ["T1", "F-open", "F-soon"]
    assert [(each.concentrate, each.why, each.containers) for each in found.left_out] == [
        ("Demo AR-AFFF 3x6", "holds PFAS", 1)
    ]
    Policy.objects.update(drill_with_pfas=True)
    assert [code for code, _, _ in picked(drill(cast, 5 * PAIL_ML))] == ["T1", "F-open", "P1", "F-soon", "F-late"]


def test_not_known_counts_as_with_pfas(cast, drill_stock):
    Concentrate.objects.filter(pk=drill_stock.pk).update(pfas="unknown")
    found = drill(cast, 3 * PAIL_ML)
    assert [code for code, _, _ in picked(found)] == ["T1"]
    assert found.short_ml == 2 * PAIL_ML
    assert ("Demo F3", "PFAS not known: treated as with PFAS", 3) in [each[:3] for each in found.left_out]


def test_of_the_last_one_only_what_is_missing_is_taken(cast, drill_stock):
    found = drill(cast, 25_000, concentrate=drill_stock.pk)
    assert picked(found) == [("F-open", PAIL_ML, PAIL_ML), ("F-soon", 25_000 - PAIL_ML, 25_000)]


def test_class_a_is_for_a_drill_that_asks_for_it(cast, drill_stock):
    found = drill(cast, 1_000, concentrate=cast.class_a.pk)
    assert picked(found) == [("A1", 1_000, 1_000)]


def test_a_unit_gets_whole_containers_the_newest_of_its_own_station_first(cast, hill):
    pail(cast, "S1", 40)
    pail(cast, "S2", 900)
    pail(cast, "H1", 3000, hill)
    pail(cast, "old", -5)
    found = pick_for_unit(inventory(cast), 50_000, concentrate=cast.ar.pk, station="", own_station=cast.station.name)
    assert picked(found) == [("S2", PAIL_ML, PAIL_ML), ("S1", PAIL_ML, 2 * PAIL_ML), ("H1", PAIL_ML, 3 * PAIL_ML)]
    only = pick_for_unit(inventory(cast), 50_000, concentrate=cast.ar.pk, station="Hilltop", own_station="Quayside")
    assert (only.codes, only.short_ml) == (("H1",), 50_000 - PAIL_ML)


def test_the_queries_do_not_grow(cast):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            rotations(cast.department, inventory(cast))
        return len(caught)

    pail(cast, "A1", 50, cast.on_unit)
    few = queries()
    for number in range(4):
        pail(cast, f"B{number}", 50, cast.on_unit)
        pail(cast, f"S{number}", 900)
    assert queries() == few
