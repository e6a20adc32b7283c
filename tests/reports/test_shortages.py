"""Units short of concentrate in the demo's county, whose figures were worked by hand (the worked county's table)."""

from __future__ import annotations

import pytest

from readiness.reports.inventory import load_inventory
from readiness.reports.shortages import shortages
from tests.cast import D0
from tests.county import loaded

pytestmark = pytest.mark.django_db

GAL_ML = 3785.411784  # by definition


def test_the_countys_short_units(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        department = loaded()
    found = {(each.unit, each.duty): each for each in shortages(department, load_inventory(department, D0))}
    engine_6, hazmat = found["Engine 6", "ethanol spill"], found["Hazmat 1", "acetone spill"]
    kit, engine_2 = found["Kit on Brush 4", "gasoline spill"], found["Engine 2", "E85 spill"]

    # Engine 6: need 54.0 gal, usable 38.5, short 15.5: 4 pails of 5 gal; its line draws from the tank
    assert engine_6.need_ml / GAL_ML == pytest.approx(54.0, abs=0.001)
    assert engine_6.short_ml / GAL_ML == pytest.approx(15.5, abs=0.001)
    assert (engine_6.pails, engine_6.by_pails, engine_6.against) == (4, False, "textbook need")
    assert ("T-206B", "Demo AR-AFFF 3x6") in {(tank.code, tank.concentrate) for tank in engine_6.tanks}

    # Hazmat 1: need 54, usable 20, short 34: 7 pails
    assert hazmat.short_ml / GAL_ML == pytest.approx(34.0, abs=0.001)
    assert (hazmat.pails, hazmat.by_pails, hazmat.concentrate) == (7, True, "Demo AR-AFFF 3x6")

    # the kit: textbook 2.25 is there, the line takes 13.5 of which 2.5 is there: short 11.0, 3 pails
    assert kit.short_ml / GAL_ML == pytest.approx(11.0, abs=0.001)
    assert (kit.against, kit.pails) == ("line need", 3)

    # Engine 2 has AFFF and E85 to meet: nothing aboard counts. AR-AFFF: 200 ft² × 0.20 × 6 % × 15 min = 36 gal; the
    # least of what would do is AR-F3: 200 × 0.24 × 3 % × 15 = 21.6 gal, 5 pails
    assert (engine_2.aboard_suits, engine_2.usable_ml, engine_2.pails) == (False, 0, 5)
    assert engine_2.short_ml / GAL_ML == pytest.approx(21.6, abs=0.001)
    assert {match.concentrate for match in engine_2.matches} == {"Demo AR-AFFF 3x6", "Demo AR-F3 3x3"}

    # AR-AFFF takes 36 gal where AR-F3 takes 21.6: of its 5-gal pails as many are named as its own need asks, not five
    named = {(match.station, len(match.codes)) for match in engine_2.matches if match.concentrate == "Demo AR-AFFF 3x6"}
    assert ("Millrace", 8) in named

    # enough for their need, whatever else is wrong with them
    assert not {"Engine 1", "Engine 3", "Engine 4", "Engine 5", "Foam Tender 1"} & {unit for unit, _ in found}


def test_the_own_station_comes_first_and_enough_pails_are_named(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        department = loaded()
    found = {each.unit: each for each in shortages(department, load_inventory(department, D0))}
    stores = found["Engine 6"].matches
    # stores by the demo's list: Hollin Ridge 6 pails (Engine 6 is at home there), Millrace 10, Quayside 8
    assert [(match.station, match.own_station, match.containers) for match in stores] == [
        ("Hollin Ridge", True, 6), ("Millrace", False, 10), ("Quayside", False, 8),
    ]  # fmt: skip
    assert [len(match.codes) for match in stores] == [4, 4, 4]  # 3 pails are 15 gal, half a gallon less than is short
