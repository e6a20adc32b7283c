"""Words of a handed-over sheet beside a department's names: what is taken, what is asked, what is proposed."""

from __future__ import annotations

from typing import Any

import pytest

from readiness.reports.sheet_matching import Matched, match, vehicle_kind
from readiness.reports.sheet_names import (
    KnownProduct,
    KnownUnit,
    Names,
    codes_from,
    first_free_code,
    near,
    station_written_out,
)
from readiness.workbooks.handed_over.records import Fate, LotSaid, Part, Portion, Settled, Spot

PAIL_ML = 18_927  # 5 US gal = 18,927.06 mL by definition of the gallon
NAMES = Names(
    stations={"station 1": "Station 1", "hilltop": "Hilltop"},
    units={
        "engine 1": KnownUnit("Engine 1", "Station 1", "212", reserve=False),
        "engine 2": KnownUnit("Engine 2", "Hilltop", "", reserve=False),
    },
    vehicles={"212": "212", "209": "209"},
    products={"larkite 3x6": KnownProduct("Larkite 3x6", "AR-AFFF")},
    lots={},
    codes={"p-0007": "pail", "p-0009": "pail", "t-212": "fixed tank"},
)
NOBODY = Names({}, {}, {}, {}, {}, {})
STORE = Spot("store room", "store", part="store room")


def row(number: int, **said: Any) -> Settled:
    """A row with one full pail in the store of Station 1, unless told otherwise."""
    portion = Portion(1, PAIL_ML, (Part("LK-1", PAIL_ML),), sealed=True)
    values: dict[str, Any] = {
        "station": "Station 1",
        "spot": STORE,
        "product": "Larkite 3x6",
        "kind": "AR-AFFF",
        "container": "pail",
        "portions": (portion,),
        "lots": (LotSaid("LK-1"),),
    }
    return Settled(number, Fate.STOCK, "", **(values | said))


def asked(found: Matched) -> dict[str, Any]:
    """The questions that are open, by what they are about."""
    return {each.group: each for each in found.questions if each.open}


def answered(rows: list[Settled], names: Names = NAMES, **answers: str) -> Matched:
    """Matched with these answers, a space in a group's name written as two underscores and | as one."""
    return match(names, rows, {key.replace("__", " ").replace("_", "|"): said for key, said in answers.items()})


def test_exact_names_are_taken_without_a_question():
    found = match(NAMES, [row(5), row(6, station="STATION  1", product="larkite 3X6")], {})
    assert set(asked(found)) == {"code|pail"}
    assert {each.place.words for each in found.rows} == {"Station 1 store, store room"}
    assert {each.product for each in found.rows} == {"Larkite 3x6"}
    assert found.stations == {}
    assert found.products == ()


def test_a_short_form_of_a_station_is_proposed_and_asked():
    found = match(NAMES, [row(5, station="Sta 1"), row(9, station="sta 1")], {})
    question = asked(found)["station|sta 1"]
    assert question.proposed == "is:Station 1"
    assert question.rows == (5, 9)
    assert all(each.place is None for each in found.rows)
    taken = answered([row(5, station="Sta 1")], station_sta__1="is:Station 1")
    assert taken.rows[0].place.name == "Station 1"
    assert taken.stations == {}


def test_two_spellings_of_a_new_station_make_one():
    rows = [row(5, station="Sta 7"), row(6, station="Stn 7")]
    found = answered(rows, station_sta__7="new:Station 7", station_stn__7="new:Station 7")
    assert found.stations == {"Station 7": 5}


@pytest.mark.parametrize(
    ("said", "others", "proposed"),
    [
        ("Hiltop", ["hilltop"], ["hilltop"]),
        ("Engine 1", ["engine 2"], []),  # a figure makes another engine
        ("FM-2219", ["fm-2291"], []),
        ("Larkite 3x6", ["larkit 3x6", "other"], ["larkit 3x6"]),
    ],
)
def test_what_is_near(said, others, proposed):
    assert near(said, others) == proposed


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Sta 1", "Station 1"),
        ("FS-02", "FS-02"),
        ("stn. 12", "Station 12"),
        ("HQ", "HQ"),
        ("  North  House ", "North House"),
    ],
)
def test_stations_are_written_out(text, written):
    assert station_written_out(text) == written


def test_a_tank_belongs_to_the_vehicle_that_its_unit_runs_on():
    spot = Spot("Engine 1 tank B", "unit", "Engine 1", part="tank B", built_in=True)
    found = match(NAMES, [row(5, spot=spot, container="fixed tank")], {})
    assert found.rows[0].place == ("vehicle", "212", "tank B")


def test_a_tank_of_a_unit_without_a_vehicle_asks_for_its_shop_number():
    spot = Spot("Engine 2 tank", "unit", "Engine 2", part="tank", built_in=True)
    rows = [row(5, spot=spot, container="fixed tank", station="Hilltop")]
    question = asked(match(NAMES, rows, {}))["vehicle|engine 2"]
    # 212 has a unit already; 209 is free
    assert [choice.key for choice in question.choices] == ["new:Engine 2", "is:209"]
    known = answered(rows, vehicle_engine__2="is:209")
    assert known.rows[0].place.name == "209"
    assert known.vehicles == ()
    typed = answered(rows, vehicle_engine__2="231")
    assert [(each.shop_no, each.kind, each.station) for each in typed.vehicles] == [("231", "engine", "Hilltop")]


def test_a_new_reserve_unit_is_made_as_such_with_its_vehicle():
    spot = Spot("Reserve Engine 9 tank", "unit", "Engine 9", reserve=True, part="tank", built_in=True)
    found = answered(
        [row(5, spot=spot, container="fixed tank")], unit_engine__9="new:Engine 9", vehicle_engine__9="231"
    )
    (unit,) = found.units
    assert (unit.name, unit.station, unit.reserve, unit.vehicle) == ("Engine 9", "Station 1", True, "231")


def test_a_unit_that_is_at_home_elsewhere_is_told():
    spot = Spot("Engine 2", "unit", "Engine 2")
    found = match(NAMES, [row(5, spot=spot)], {})
    assert found.rows[0].steps == ("Engine 2 is at home at Hilltop by the book, and “Station 1” stands here.",)


def test_a_place_that_may_be_either_is_asked_and_nothing_is_proposed():
    rows = [row(5, spot=Spot("Old Faithful", "unknown", part="Old Faithful"))]
    group = "place|station 1|old faithful"
    assert asked(match(NAMES, rows, {}))[group].proposed is None
    store = match(NAMES, rows, {group: "store"})
    assert store.rows[0].place == ("station", "Station 1", "Old Faithful")
    unit = match(NAMES, rows, {group: "Engine 1"})
    assert unit.rows[0].place == ("unit", "Engine 1", "")


def test_a_unit_without_foam_is_noted_or_made():
    spot = Spot("Tanker 4", "unit", "Tanker 4")
    bare = Settled(8, Fate.NO_FOAM, "It says that there is no foam.", station="Station 1", spot=spot)
    assert asked(match(NAMES, [bare], {}))["no foam|tanker 4"].proposed == "note"
    assert match(NAMES, [bare], {"no foam|tanker 4": "note"}).units == ()
    (made,) = match(NAMES, [bare], {"no foam|tanker 4": "new:Tanker 4"}).units
    assert (made.name, made.row) == ("Tanker 4", 8)


def test_the_pfas_of_a_new_concentrate_is_not_known_unless_somebody_says_so():
    rows = [row(5, product="Ostrey P6", kind="P")]
    question = asked(match(NAMES, rows, {}))["product|ostrey p6"]
    assert question.proposed == "new:unknown|P"
    (made,) = match(NAMES, rows, {"product|ostrey p6": "new:no|P"}).products
    assert made == ("Ostrey P6", "P", "no", 5)


def test_a_known_name_with_another_kind_is_asked():
    question = asked(match(NAMES, [row(5, kind="AFFF")], {}))["product|larkite 3x6"]
    assert question.words == "“Larkite 3x6” is AR-AFFF in the department and AFFF in the sheet. Which is right?"
    assert question.proposed is None


def test_one_name_for_two_kinds_is_asked_and_can_be_told_apart():
    rows = [row(5, product="Blue", kind="AFFF"), row(6, product="Blue", kind="P")]
    assert asked(match(NOBODY, rows, {}))["kinds|blue"].proposed is None
    found = match(NOBODY, rows, {"kinds|blue": "apart"})
    assert {"product|blue (afff)", "product|blue (p)"} <= set(asked(found))


def test_seals_are_asked_about_once_a_kind():
    loose = Portion(14, PAIL_ML, (Part("LK-1", PAIL_ML),))
    found = match(NAMES, [row(5, portions=(loose,)), row(6, portions=(loose,))], {})
    question = asked(found)["seal|pail"]
    assert question.rows == (5, 6)
    assert {held.sealed for each in found.rows for held in each.held} == {None}
    sealed = match(NAMES, [row(5, portions=(loose,))], {"seal|pail": "sealed"})
    assert {held.sealed for held in sealed.rows[0].held} == {True}


def test_opened_ones_are_not_called_sealed():
    opened = Portion(1, PAIL_ML, (Part("LK-1", 9_000),), opened=True)
    found = match(NAMES, [row(5, portions=(opened,))], {"seal|pail": "sealed"})
    assert found.rows[0].held[0].sealed is None


def test_label_codes_go_on_in_the_departments_style():
    assert first_free_code("pail", NAMES.codes) == "P-0010"
    assert first_free_code("fixed tank", NAMES.codes) == "T-213"
    assert first_free_code("drum", NAMES.codes) == "D-0001"
    assert codes_from("P-0008", 3, {"p-0009"}) == ["P-0008", "P-0010", "P-0011"]
    with pytest.raises(ValueError, match="a first label code ends in a number"):
        codes_from("pails", 1, ())


def test_codes_of_the_sheet_are_kept_and_not_given_twice():
    rows = [row(5, code="P-0010", codes=("P-0010",)), row(6)]
    found = match(NAMES, rows, {"code|pail": "P-0010"})
    assert [held.code for each in found.rows for held in each.held] == ["P-0010", "P-0011"]


def test_an_unknown_lot_is_one_of_its_own():
    nameless = Portion(1, PAIL_ML, (Part("", PAIL_ML),), sealed=True)
    rows = [row(number, portions=(nameless,), lots=(LotSaid(""),)) for number in (5, 6)]
    found = match(NAMES, rows, {"code|pail": "P-0020"})
    assert [lot.batch for lot in found.lots] == ["unknown, P-0020", "unknown, P-0021"]


def test_a_row_with_a_doubt_of_its_own_waits():
    from readiness.workbooks.handed_over.records import Doubt, OpenDoubt

    doubt = OpenDoubt(Doubt(5, "lot", "lot|??", "“??” was read.", (), None))
    found = match(NAMES, [row(5, open=(doubt,), product="New")], {})
    assert set(asked(found)) == set(), "neither its concentrate nor its label code is asked about yet"
    assert found.rows[0].held == ()


@pytest.mark.parametrize(
    ("unit", "kind"),
    [("Engine 1", "engine"), ("Foam Tender 2", "tender"), ("Truck 3", "ladder"), ("Squad 5", "other")],
)
def test_what_a_units_name_says_of_its_vehicle(unit, kind):
    assert vehicle_kind(unit) == kind
