"""Duties: each kind states its own need, and the unit is judged by it at once."""

from __future__ import annotations

from decimal import Decimal

import pytest

from readiness.actions.drafts import Refused
from readiness.actions.duties import DUTIES, DutyFacts
from readiness.models import Duty, Fuel, Policy
from readiness.workbooks.rows import Rate
from tests.cast import D0, StationFactory, UnitFactory
from tests.judged import FT2, Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db


@pytest.fixture
def rigged(cast):
    return Rigged(cast)


def spill(rigged, **values):
    facts = {"unit": rigged.unit, "kind": "spill", "name": "second spill", "source": "pre-plan, 2026"}
    return DutyFacts(**{**facts, "fuel": rigged.fuel, "area_m2": 2000 * FT2, "use": "spill", **values})


def test_a_larger_spill_is_added_and_decides_the_status(cast, rigged, django_capture_on_commit_callbacks):
    assert rigged.status() == "ready"
    with django_capture_on_commit_callbacks(execute=True):
        made = DUTIES.save(desk(cast), spill(rigged, supply="hydrant"))
    # 2,000 ft² × 0.10 gpm/ft² = 200 gpm against a line of 95 gpm: the rate is short
    assert rigged.current().status == "not_ready"
    assert rigged.current().because == "new duty"
    assert (made.department, made.kind) == (cast.department, "spill")
    assert last_change()[2]["fuel"] == rigged.fuel.pk
    with django_capture_on_commit_callbacks(execute=True):
        DUTIES.retire(desk(cast), made)
    assert rigged.current().status == "ready"


def test_a_change_keeps_old_and_new(cast, rigged):
    all_judged()
    facts = DUTIES.read(rigged.duty)._replace(rate=Rate(Decimal("0.13"), "gpm_ft2"), minutes=20.0)
    DUTIES.save(desk(cast), facts, rigged.duty)
    old = {"rate": None, "minutes": 15.0, "rate_unit": ""}
    assert last_change() == ("change duty", old, {"rate": "0.13", "minutes": 20.0, "rate_unit": "gpm_ft2"})
    assert due() == {"Engine 1"}


def test_a_spill_is_refused(cast, rigged):
    good = spill(rigged)
    assert set(faults(DUTIES, cast, good._replace(fuel=None, area_m2=None, use=""))) == {"fuel", "area_m2", "use"}
    assert set(faults(DUTIES, cast, good._replace(area_m2=0.0))) == {"area_m2"}
    assert set(faults(DUTIES, cast, good._replace(minutes=0.0))) == {"minutes"}
    assert set(faults(DUTIES, cast, good._replace(name="Gasoline Spill"))) == {"name"}
    assert set(faults(DUTIES, cast, good._replace(source=""))) == {"source"}
    assert set(faults(DUTIES, cast, good._replace(use="class a"))) == {"use"}
    assert set(faults(DUTIES, cast, good._replace(kind="flood"))) == {"kind"}
    assert set(faults(DUTIES, cast, good._replace(tankfuls=2.0))) == {"tankfuls"}
    assert "name where the water comes from" in faults(DUTIES, cast, good._replace(supply_lpm=900.0))["supply"]
    Fuel.objects.filter(pk=rigged.fuel.pk).update(retired_on=D0)
    rigged.fuel.refresh_from_db()
    assert "retired on 2026-06-15" in faults(DUTIES, cast, good)["fuel"]
    DUTIES.save(desk(cast), DUTIES.read(rigged.duty)._replace(minutes=20.0), rigged.duty)


def test_class_a_and_airport_duties_state_their_own_need(cast, rigged):
    common = {"unit": rigged.unit, "source": "rule"}
    class_a = DutyFacts(**common, kind="class-a", name="wildland", tankfuls=5.0, setting_pct=30)
    assert DUTIES.save(desk(cast), class_a).tankfuls == 5.0
    assert set(faults(DUTIES, cast, class_a._replace(name="x", tankfuls=None))) == {"tankfuls"}
    airport = DutyFacts(**common, kind="airport", name="index B", fuel=rigged.fuel, required_water_l=5678.0)
    assert DUTIES.save(desk(cast), airport).required_water_l == 5678.0
    # without a fuel the unit could not be judged at all
    assert set(faults(DUTIES, cast, airport._replace(name="x", fuel=None))) == {"fuel"}
    assert set(faults(DUTIES, cast, airport._replace(name="x", required_water_l=0.0))) == {"required_water_l"}
    assert rigged.judge().failed == ()


def test_a_duty_stays_with_its_unit_and_of_its_kind(cast, rigged):
    other = UnitFactory(station=cast.station, designation="Engine 9")
    facts = DUTIES.read(rigged.duty)
    assert "retire gasoline spill, and add another" in faults(DUTIES, cast, facts._replace(unit=other), rigged.duty)[""]


def test_a_retired_unit_gets_no_duty(cast, rigged):
    gone = UnitFactory(station=cast.station, designation="Engine 9", retired_on=D0)
    assert set(faults(DUTIES, cast, spill(rigged, unit=gone))) == {"unit"}
    row = Duty.objects.create(department=cast.department, unit=gone, name="old", kind="class-a", tankfuls=1, source="x")
    Duty.objects.filter(pk=row.pk).update(retired_on=D0)
    with pytest.raises(Refused, match="bring the unit back first"):
        DUTIES.bring_back(desk(cast), row)


def test_units_and_fuels_of_another_department_are_refused(cast, rigged):
    other = UnitFactory(station=StationFactory(department=cast.other_department))
    theirs = Fuel.objects.create(department=cast.other_department, name="mix", group="polar", source="x")
    assert set(faults(DUTIES, cast, spill(rigged, unit=other, fuel=theirs))) == {"unit", "fuel"}


# -- vapor kept down, and rules of a region ----------------------------------------------------------------------------

BLANKET = {  # site S7 of the county worked by hand, without wind
    "hold_min": 120.0,
    "interval_min": 15.0,
    "blanket_depth_m": 0.1016,
    "blanket_expansion": 7.0,
    "drained_pct": 2500,
    "blanket_wind_pct": 0,
}


def test_a_duty_that_keeps_vapor_down_is_judged_by_its_blanket(cast, rigged, django_capture_on_commit_callbacks):
    """900 ft² × 4 in = 2,244 gal of foam ÷ 7 = 320.6 × 3.1 % = 9.94 gal, and 7 quarters of it: 27.33 gal.

    With the fire run of 44.175 gal 71.5 gal are needed, and 45 gal are aboard.
    """
    facts = spill(rigged, area_m2=900 * FT2, supply="hydrant", purpose="vapor suppression", minutes=15.0, **BLANKET)
    with django_capture_on_commit_callbacks(execute=True):
        DUTIES.save(desk(cast), facts)
    assert rigged.current().status == "limited"
    assert rigged.open_codes() == {"fire_cover_short"}
    answer = rigged.current().answers["verdict"]["answers"][1]
    assert answer["textbook_l"] / 3.785411784 == pytest.approx(27.33, abs=0.01)
    assert answer["need_l"] / 3.785411784 == pytest.approx(27.33 + 44.175, abs=0.01)


def test_a_duty_that_keeps_vapor_down_states_all_of_its_blanket(cast, rigged):
    good = spill(rigged, purpose="vapor suppression", **BLANKET)
    assert DUTIES.save(desk(cast), good).hold_min == 120.0
    good = good._replace(name="another")
    assert set(faults(DUTIES, cast, spill(rigged, name="another", purpose="vapor suppression"))) == set(BLANKET)
    for name, value in {"blanket_expansion": 21.0, "hold_min": 0.0, "drained_pct": 10_001}.items():
        assert set(faults(DUTIES, cast, good._replace(**{name: value}))) == {name}
    assert set(faults(DUTIES, cast, good._replace(purpose="fire"))) == set(BLANKET)


def test_a_region_s_rule_asks_for_its_pack_and_its_facts(cast, rigged):
    deck = spill(rigged, rule="deck", largest_tank_m2=480.0, monitor_area_m2=1000.0, inert_gas=True)
    assert "the region pack marine is off" in faults(DUTIES, cast, deck)["rule"]
    tank = spill(rigged, use="direct", rule="tank", application="indirect", mobile_means=False)
    Policy.objects.update(region_packs=["marine", "storage"])
    assert DUTIES.save(desk(cast), deck._replace(name="deck")).inert_gas is True
    assert DUTIES.save(desk(cast), tank._replace(name="tank")).mobile_means is False
    asked = {"largest_tank_m2", "monitor_area_m2", "inert_gas"}
    assert set(faults(DUTIES, cast, spill(rigged, rule="deck"))) == asked
    assert set(faults(DUTIES, cast, deck._replace(rule=""))) == asked
    assert set(faults(DUTIES, cast, deck._replace(largest_tank_m2=0.0))) == {"largest_tank_m2"}
    assert set(faults(DUTIES, cast, tank._replace(application=""))) == {"application"}
    assert "is listed as gentle" in faults(DUTIES, cast, tank._replace(application="gentle"))["use"]
    assert set(faults(DUTIES, cast, deck._replace(rule="dock"))) >= {"rule"}


def test_a_category_asks_for_its_pack_and_is_one_of_the_table(cast, rigged):
    airport = DutyFacts(rigged.unit, "airport", "category 4", "rule", fuel=rigged.fuel, required_water_l=2400.0)
    assert "the region pack airport categories is off" in faults(DUTIES, cast, airport._replace(category=4))["category"]
    Policy.objects.update(region_packs=["airport"])
    assert DUTIES.save(desk(cast), airport._replace(category=4)).category == 4
    airport = airport._replace(name="another")
    assert "the table has 3 to 9" in faults(DUTIES, cast, airport._replace(category=2))["category"]
