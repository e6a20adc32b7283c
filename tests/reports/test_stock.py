"""Stock and its totals: three pails and a tank, summed by hand."""

from __future__ import annotations

import pytest

from readiness.actions import movements
from readiness.models import Station
from readiness.reports.inventory import load_inventory
from readiness.reports.stock import stock
from tests.cast import D0, PAIL_ML, ConcentrateFactory, LotFactory
from tests.reports.test_inventory import entry, filled

pytestmark = pytest.mark.django_db


@pytest.fixture
def stocked(cast):
    """In the store two AR pails, one of them mixed; on Engine 1 a Class A pail and a pail nobody knows the PFAS of."""
    filled(cast, cast.lot)
    mixed = filled(cast, cast.lot)
    movements.mark_mixed(entry(cast, reason="seen"), container=mixed)
    filled(cast, cast.class_a_lot, cast.on_unit, ml=10_000)
    plain = ConcentrateFactory(department=cast.department, name="Demo AFFF", kind="AFFF", pfas="unknown")
    filled(cast, LotFactory(concentrate=plain), cast.on_unit, ml=12_000)
    return cast


def test_a_row_for_each_concentrate_and_station(stocked):
    rows = stock(load_inventory(stocked.department, D0)).rows
    said = [(row.concentrate, row.station, row.store_ml, row.units_ml, row.out_ml, row.containers) for row in rows]
    assert said == [
        ("Demo AFFF", "Quayside", 0, 12_000, 0, 1),
        ("Demo AR-AFFF 3x6", "Quayside", 2 * PAIL_ML, 0, PAIL_ML, 2),  # one of the two is mixed
        ("Demo Class A", "Quayside", 0, 10_000, 0, 1),
    ]
    assert [row.alcohol_resistant for row in rows] == [False, True, False]


def test_totals_by_what_it_resists_and_what_is_in_it(stocked):
    totals = {each.name: each.total_ml for each in stock(load_inventory(stocked.department, D0)).totals}
    assert totals == {
        "Class B, alcohol-resistant": 37_854,  # 2 × 18,927
        "Class B, not alcohol-resistant": 12_000,
        "No Class B credit (Class A, training and the like)": 10_000,
        "With PFAS": 37_854,
        "PFAS not known (treated as with PFAS)": 12_000,
        "Without PFAS": 10_000,
        "All concentrates": 59_854,  # 37,854 + 12,000 + 10,000
    }


def test_a_mixed_tank_is_told_by_its_lots_and_wholly_out(cast):
    tank = cast.tank()
    movements.receive(entry(cast), container=tank, lot=cast.lot, ml=60_567, place=cast.on_vehicle)
    pail = filled(cast, cast.class_a_lot, ml=15_142)
    movements.pour(entry(cast, reason="wrong pail"), source=pail, target=tank, ml=15_142, override=True)
    rows = {row.concentrate: row for row in stock(load_inventory(cast.department, D0)).rows}
    assert (rows["Demo AR-AFFF 3x6"].units_ml, rows["Demo AR-AFFF 3x6"].out_ml) == (60_567, 60_567)
    assert (rows["Demo Class A"].units_ml, rows["Demo Class A"].out_ml) == (15_142, 15_142)
    everything = stock(load_inventory(cast.department, D0)).totals[-1]
    assert (everything.containers, everything.total_ml) == (1, 75_709)  # the pail is empty; 60,567 + 15,142


def test_stations_stand_apart_and_what_left_the_book_is_left_out(cast):
    other = Station.objects.create(department=cast.department, name="Millrace")
    other_store = other.places.create(department=cast.department)
    filled(cast, cast.lot)
    filled(cast, cast.lot, other_store)
    gone = cast.pail()
    movements.receive(entry(cast), container=gone, lot=cast.lot, ml=PAIL_ML)  # received, placed nowhere
    found = stock(load_inventory(cast.department, D0))
    assert [(row.station, row.total_ml) for row in found.rows] == [("Millrace", PAIL_ML), ("Quayside", PAIL_ML)]
    assert found.totals[-1].total_ml == 2 * PAIL_ML
