"""What runs out when, by months counted by hand from June 2026."""

from __future__ import annotations

from datetime import date

import pytest

from readiness.actions import movements
from readiness.reports.expiries import expiries
from readiness.reports.inventory import load_inventory
from tests.cast import D0, PAIL_ML, LotFactory
from tests.reports.test_inventory import entry, filled

pytestmark = pytest.mark.django_db


def lot_until(cast, day, batch):
    return LotFactory(concentrate=cast.ar, batch=batch, makers_date=day)


def test_by_month_with_what_is_wrong_today_first_and_what_lasts_last(cast):
    filled(cast, lot_until(cast, date(2026, 9, 30), "S"), cast.on_unit, sealed=True, code="P1")
    filled(cast, lot_until(cast, date(2026, 9, 1), "T"), sealed=True, code="P2")
    filled(
        cast, lot_until(cast, date(2028, 5, 31), "U"), sealed=True, code="P3"
    )  # the 24th month: June 2026 is the 1st
    filled(cast, lot_until(cast, date(2028, 6, 1), "V"), sealed=True, code="P4")
    filled(cast, lot_until(cast, date(2026, 6, 14), "W"), sealed=True, code="P5")  # yesterday
    filled(cast, lot_until(cast, None, "X"), sealed=True, code="P6")
    found = expiries(load_inventory(cast.department, D0))
    assert [(each.month, each.codes, each.then) for each in found] == [
        ("already", ("P6",), "date not known"),
        ("already", ("P5",), "expired"),
        ("2026-09", ("P1", "P2"), "expired"),
        ("2028-05", ("P3",), "expired"),
        ("later", ("P4",), "expired"),
    ]
    september = found[2]
    assert (september.first_day, september.volume_ml, september.on_units_ml, september.units) == (
        date(2026, 9, 1), 2 * PAIL_ML, PAIL_ML, "Engine 1",
    )  # fmt: skip
    assert (september.share, found[3].share) == (1.0, 0.5)


def test_a_tank_goes_into_doubt_when_its_sample_runs_out_and_not_out(cast):
    tank = cast.tank(code="T1")
    movements.receive(entry(cast), container=tank, lot=cast.lot, ml=50_000, place=cast.on_vehicle)
    tank.samples.create(department=cast.department, taken_on=date(2026, 2, 10), passed=True)
    only = expiries(load_inventory(cast.department, D0))
    # 365 days after 10 February 2026; the lot itself lasts until D0 + 1000 days
    assert [(each.month, each.first_day, each.then) for each in only] == [
        ("2027-02", date(2027, 2, 10), "sample overdue")
    ]


def test_empty_containers_are_left_out(cast):
    cast.pail()
    assert expiries(load_inventory(cast.department, D0)) == ()
