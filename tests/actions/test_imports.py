"""A workbook goes in whole or not at all: what it makes, each fault that only the database can know, and once only."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from readiness.actions import movements
from readiness.actions.imports import import_workbook
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.models import (
    Appliance,
    Assignment,
    Change,
    Concentrate,
    Container,
    Department,
    Duty,
    FoamLine,
    Holding,
    HoseLeg,
    HoseSize,
    LineSource,
    LineTest,
    Listing,
    Lot,
    Movement,
    Place,
    Policy,
    Role,
    Sample,
    SetupLine,
    Station,
    Submission,
    Unit,
    Vehicle,
)
from readiness.models.movements import Account
from readiness.reports.fleet import load_rigs
from readiness.reports.recounts import recount
from readiness.workbooks.guard import NotAWorkbook
from readiness.workbooks.template import write_rows
from tests.actions.small_department import (
    AR,
    Rows,
    at,
    every_row,
    make_fuels,
    pail,
    saved_again,
    send,
    small,
    taken_in,
    where,
)
from tests.cast import CLOCK, PAIL_ML, SIX, Cast, DepartmentFactory

pytestmark = pytest.mark.django_db

GAL_ML = 3_785.411784  # US gallon: 231 cubic inches of 16.387064 mL


@pytest.fixture
def department() -> Department:
    make_fuels()
    made: Department = DepartmentFactory()
    Policy.objects.create(department=made, drill_with_pfas=True)
    return made


def holds(code: str) -> dict[str, int]:
    """What a container holds by batch; the book must be true whenever a test looks."""
    assert recount().differences == ()
    return dict(Holding.objects.filter(container__code=code).values_list("lot__batch", "ml"))


# -- what a good workbook makes ----------------------------------------------------------------------------------------


def test_stations_vehicles_and_units(department: Department) -> None:
    taken_in(department, small())
    assert sorted(Station.objects.values_list("name", flat=True)) == ["Millrace", "Quayside"]
    engine, trailer, utility = Vehicle.objects.order_by("shop_no")
    assert (engine.kind, engine.station.name, engine.state) == ("engine", "Quayside", "in")
    assert engine.water_l == pytest.approx(750 * GAL_ML / 1000, abs=0.001)
    assert engine.pump_lpm == pytest.approx(1500 * GAL_ML / 1000)
    assert (trailer.needs_tow, trailer.tow) == (True, utility)
    assert (utility.state, utility.out_since) == ("out", date(2026, 6, 12))
    unit = Unit.objects.get()
    assert (unit.designation, unit.station.name, unit.state) == ("Engine 1", "Quayside", "in")
    running = Assignment.objects.get()
    assert (running.unit, running.vehicle, running.from_at, running.to_at) == (unit, engine, SIX, None)


def test_concentrates_listings_and_lots(department: Department) -> None:
    taken_in(department, small())
    ar = Concentrate.objects.get(name=AR)
    assert (ar.kind, ar.pfas, ar.density_kg_l, ar.life_months) == ("AR-AFFF", "yes", 1.03, 240)
    assert ar.lowest_use_c == pytest.approx((35 - 32) * 5 / 9)
    listing = Listing.objects.get()
    assert (listing.concentrate, listing.fuel.name, listing.use, listing.pct) == (ar, "acetone", "spill", 600)
    assert (float(listing.rate), listing.rate_unit, listing.minutes) == (0.2, "gpm_ft2", 15.0)
    lot = Lot.objects.get(batch="A-1")
    assert (lot.makers_date, lot.date_precision, lot.made_precision) == (date(2034, 12, 31), "year", "month")
    assert (lot.price_minor_per_l, lot.currency) == (726, "USD")  # 27.50 USD / 3.785411784 L = 7.2647 USD a litre


def test_appliances_lines_setups_duties_and_tests(department: Department) -> None:
    taken_in(department, small())
    eductor = Appliance.objects.get(name="95 eductor")
    assert eductor.settings_pct == [300, 600]
    assert eductor.rated_flow_lpm == pytest.approx(95 * GAL_ML / 1000)
    line = FoamLine.objects.get()
    assert (line.unit.designation, line.proportioner, line.nozzle.name) == ("Engine 1", eductor, "95 nozzle")
    assert (line.parked_pct, line.present_pct, line.present_seen_at, line.pails) == (600, 300, SIX, True)
    assert line.nozzle_kpa == pytest.approx(689.475729)  # 100 psi at 6.894757293 kPa
    leg = HoseLeg.objects.get()
    assert (leg.n, leg.length_m, float(leg.diameter_in)) == (1, pytest.approx(150 * 0.3048), 1.75)
    assert LineSource.objects.get().container.code == "T-1"
    assert SetupLine.objects.get().line == line
    duty = Duty.objects.get()
    assert (duty.kind, duty.fuel.name, duty.use, duty.minutes, duty.supply) == (
        "spill",
        "acetone",
        "spill",
        15.0,
        "hydrant",
    )
    assert duty.area_m2 == pytest.approx(200 * 0.09290304)
    of_lot, of_tank = Sample.objects.order_by("taken_on")
    assert (of_lot.lot.batch, of_lot.container, of_lot.passed, of_lot.report) == ("A-1", None, True, "R-1")
    assert (of_tank.lot, of_tank.container.code, of_tank.passed) == (None, "T-1", False)
    test = LineTest.objects.get()
    assert (test.line, test.set_pct, test.measured_pct, test.tested_on) == (line, 600, 620, date(2026, 3, 1))


def test_containers_come_into_the_book_with_what_is_in_them(department: Department) -> None:
    imported = taken_in(department, small())
    assert imported.movements == 4
    assert holds("P-1") == {"A-1": PAIL_ML}
    assert holds("P-2") == {"A-1": 11_356}  # 3 gal = 11,356.24 mL
    assert holds("J-1") == {"C-1": 10_000}
    first, second = Container.objects.get(code="P-1"), Container.objects.get(code="P-2")
    assert (first.place.unit.designation, first.place.compartment) == ("Engine 1", "L3")
    assert first.place == second.place
    assert (first.sealed, first.opened_on) == (True, None)
    assert (second.sealed, second.opened_on) == (False, date(2026, 6, 1))
    jug = Container.objects.get(code="J-1")
    assert (jug.capacity_ml, jug.place.station.name) == (19_000, "Millrace")
    assert jug.place.expected_low_c == pytest.approx((40 - 32) * 5 / 9)
    assert set(Movement.objects.values_list("kind", "identity", "reason")) == {
        ("received", "command", "taken in from a workbook")
    }


def test_a_tank_that_sixteen_and_four_gallons_fill(department: Department) -> None:
    """16 gal = 60,566.6 mL and 4 gal = 15,141.6 mL round up to 1 mL more than 20 gal = 75,708.2 mL."""
    taken_in(department, small())
    tank = Container.objects.get(code="T-1")
    assert (tank.contents_ml, tank.capacity_ml, tank.unreachable_ml) == (75_708, 75_708, 3_785)
    held = holds("T-1")
    assert held.keys() == {"A-1", "A-2"}
    assert held["A-1"] == pytest.approx(16 * GAL_ML, abs=1)
    assert held["A-2"] == pytest.approx(4 * GAL_ML, abs=1)


def test_a_mixed_tank_goes_in_as_mixed_with_both_its_lots(department: Department) -> None:
    rows = small()
    rows["containers"][2]["condition"] = "mixed"
    rows["other_lots"][0] |= {"concentrate": "Demo Class A", "lot": "C-1"}
    taken_in(department, rows)
    assert Container.objects.get(code="T-1").mixed
    assert holds("T-1").keys() == {"A-1", "C-1"}


def test_a_metric_department_types_litres(department: Department) -> None:
    department.units = "metric"
    department.save()
    rows = small()
    rows["vehicles"][0] |= {"water": "2800", "pump": "5700"}
    rows["containers"][0] |= {"capacity": "19", "contents": "18.5"}
    rows["lines"][0] |= {"hose": "45 m of 45 mm", "nozzle_pressure": "700"}
    rows["lots"][0] |= {"price": "7.50"}
    rows["design_spills"][0] |= {"area": "84"}
    rows["listings"][0] |= {"rate": "8.2"}
    rows["vehicles"][0]["pump"] = "5700"
    for row, column in (("lines", "flow"), ("appliances", "rated_flow")):
        rows[row][0][column] = "360"
    rows["appliances"][1]["rated_flow"] = "360"
    for container, capacity, contents in ((1, "19", "11.356"), (2, "76", "60")):
        rows["containers"][container] |= {"capacity": capacity, "contents": contents}
    rows["containers"][2]["unreachable"] = "4"
    rows["other_lots"][0]["contents"] = "15"
    taken_in(department, rows)
    engine = Vehicle.objects.get(shop_no="201")
    assert (engine.water_l, engine.pump_lpm) == (2800.0, 5700.0)
    assert holds("P-1") == {"A-1": 18_500}
    assert holds("T-1") == {"A-1": 60_000, "A-2": 15_000}
    leg = HoseLeg.objects.get()
    assert (leg.length_m, float(leg.diameter_in)) == (45.0, 1.75)  # 45 mm is sold as 1¾ in: common practice, no source
    assert Lot.objects.get(batch="A-1").price_minor_per_l == 750
    assert Duty.objects.get().area_m2 == 84.0
    listing = Listing.objects.get()
    assert (float(listing.rate), listing.rate_unit) == (8.2, "lpm_m2")
    rows["containers"].append(pail("P-9", capacity="19", contents="19"))
    again = taken_in(department, rows)
    assert again.counts["lines"] == {"unchanged": 1, "new": 0, "altered": 0}
    assert HoseLeg.objects.get() == leg  # 1.7717 in is kept as 1.77 in, which is no difference


def test_supply_hose_a_wye_and_what_plates_say_come_in(department: Department) -> None:
    """psi and ft as typed: 200 psi 1378.95 kPa, 100 psi 689.48 kPa; 50 ft 15.24 m. A second time nothing differs."""
    rows = small()
    rows["appliances"][0] |= {"rated_pressure": "200"}
    rows["appliances"][1] |= {"rated_pressure": "100", "holds_pressure": "yes"}
    rows["lines"][0] |= {
        "inlet_pressure": "",
        "pump_pressure": "200",
        "supply_hose": "50 ft of 2.5 in",
        "hose": "100 ft of 2.5 in",
        "wye_lines": "2",
        "wye_hose": "50 ft of 1.75 in",
    }
    taken_in(department, rows)
    line = FoamLine.objects.get()
    assert line.pump_kpa == pytest.approx(1378.95, abs=0.005)
    assert (line.inlet_kpa, line.wye_lines) == (None, 2)
    laid = [(leg.part, round(leg.length_m, 2), float(leg.diameter_in)) for leg in line.legs.all()]
    assert laid == [("before", 15.24, 2.5), ("line", 30.48, 2.5), ("wye", 15.24, 1.75)]
    assert [part.rated_pressure_kpa for part in (line.proportioner, line.nozzle)] == pytest.approx(
        [1378.95, 689.48], abs=0.005
    )
    assert line.nozzle is not None
    assert line.nozzle.holds_pressure
    rows["containers"].append(pail("P-9"))
    again = taken_in(department, rows)
    for sheet in ("lines", "appliances"):
        assert (again.counts[sheet]["new"], again.counts[sheet]["altered"]) == (0, 0)


def test_sizes_of_hose_come_in_with_a_measured_loss(department: Department) -> None:
    """10 psi lost in 100 ft at 100 gpm is C = 10; a line may be laid of the size in the same workbook."""
    rows = small()
    rows["hoses"].append(
        {
            "size": "2.25", "coefficient": "4", "section": "75", "loss": "10", "loss_flow": "100",
            "loss_length": "100", "measured_on": "2026-05-01", "source": "Engine 1, on the drill ground",
        }
    )  # fmt: skip
    rows["lines"][0]["hose"] = "150 ft of 2.25 in"
    taken_in(department, rows)
    kept = HoseSize.objects.get(diameter_in="2.25")
    assert (kept.coefficient, round(kept.section_m, 2), kept.measured_on) == (4.0, 22.86, date(2026, 5, 1))
    (rig,) = load_rigs(day=date(2026, 6, 15), departments=[department.pk]).rigs
    assert rig.lines[0].lay is not None
    assert rig.lines[0].lay.hose[0].coefficient == pytest.approx(10)
    rows["containers"].append(pail("P-9"))
    again = taken_in(department, rows)
    assert (again.counts["hoses"]["new"], again.counts["hoses"]["altered"]) == (0, 0)
    rows["hoses"][1]["coefficient"] = "5"
    taken_in(department, rows)
    kept.refresh_from_db()
    assert kept.coefficient == 5.0


def test_a_blanket_a_region_s_rule_and_branches_come_in(department: Department) -> None:
    """As typed: 4 in 0.1016 m, 25 % 2500; what an empty cell does not say stays unknown."""
    rows = small()
    rows["listings"][0] |= {"expansion": "5", "quarter": "3"}
    spill = rows["design_spills"][0]
    spill |= {"purpose": "vapor suppression", "hold": "120", "interval": "15", "blanket_depth": "4 in"}
    spill |= {"blanket_expansion": "7", "drained": "25", "wind": "0"}
    tank = {**spill, "name": "tank", "purpose": "fire", "use": "direct", "rule": "storage tank", "mobile": "no"}
    tank |= {"application": "indirect", "hold": "", "interval": "", "blanket_depth": "", "blanket_expansion": ""}
    rows["design_spills"].append({**tank, "drained": "", "wind": ""})
    rows["appliances"][1] |= {"rated_pressure": "100"}
    rows["lines"][0] |= {
        "hose": "50 ft of 2.5 in",
        "branch_1_hose": "100 ft of 1.75 in",
        "branch_2_hose": "200 ft of 1.5 in",
        "branch_2_nozzle": "95 nozzle",
    }
    taken_in(department, rows)
    held, planned = Duty.objects.order_by("id")
    assert held.blanket_depth_m == pytest.approx(0.1016)
    assert (held.hold_min, held.interval_min, held.drained_pct, held.blanket_wind_pct) == (120, 15, 2500, 0)
    assert (planned.rule, planned.application, planned.mobile_means) == ("tank", "indirect", False)
    assert (planned.hold_min, planned.category) == (None, None)
    listing = Listing.objects.get()
    assert (listing.expansion, listing.quarter_min) == (5, 3)
    laid = [(leg.part, leg.branch, str(leg.nozzle or "")) for leg in HoseLeg.objects.all()]
    assert laid == [("line", 0, ""), ("wye", 1, ""), ("wye", 2, "95 nozzle")]
    rows["containers"].append(pail("P-9"))
    again = taken_in(department, rows)
    for sheet in ("lines", "design_spills", "listings"):
        assert (again.counts[sheet]["new"], again.counts[sheet]["altered"]) == (0, 0), sheet


def test_counts_changes_and_the_submission_are_kept(department: Department) -> None:
    imported = taken_in(department, small())
    new = {sheet: counts["new"] for sheet, counts in imported.counts.items()}
    expected = {sheet: len(rows) for sheet, rows in small().items() if sheet != "other_lots"}
    assert new == expected
    assert Change.objects.filter(department=department, action="workbook", old__isnull=True).count() == sum(
        expected.values()
    )
    assert set(Change.objects.values_list("by", "at")) == {(None, SIX)}
    kept = Submission.objects.get()
    assert (kept.department, kept.kind, kept.outcome, kept.identity) == (department, "workbook", "posted", "command")
    assert kept.body["rows"]["containers"] == 4


def test_what_is_stated_otherwise_is_altered_with_old_and_new(department: Department) -> None:
    taken_in(department, small())
    rows = small()
    rows["concentrates"][0]["density"] = "1.05"
    rows["units"][0]["station"] = "Millrace"
    rows["vehicles"][1]["tow"] = ""
    rows["lines"][0] |= {"hose": "100 ft of 1.75 in; 50 ft of 1.5 in", "sources": ""}
    imported = taken_in(department, rows)
    assert (imported.counts["concentrates"], imported.movements) == ({"altered": 1, "unchanged": 1, "new": 0}, 0)
    assert Concentrate.objects.get(name=AR).density_kg_l == 1.05
    assert Unit.objects.get().station.name == "Millrace"
    assert Vehicle.objects.get(shop_no="231").tow is None
    assert [round(leg.length_m, 2) for leg in HoseLeg.objects.order_by("n")] == [30.48, 15.24]
    assert not LineSource.objects.exists()
    stations = {station.name: station.pk for station in Station.objects.all()}
    tank = Container.objects.get(code="T-1").pk
    changed = list(Change.objects.exclude(old__isnull=True).order_by("id").values_list("subject_kind", "old", "new"))
    assert ("concentrate", {"density_kg_l": 1.03}, {"density_kg_l": 1.05}) in changed
    assert ("unit", {"station": stations["Quayside"]}, {"station": stations["Millrace"]}) in changed
    assert ("foamline", {"containers": [tank]}, {"containers": []}) in changed
    assert {kind for kind, *_ in changed} == {"concentrate", "unit", "vehicle", "foamline"}
    assert len(changed) == 6  # with the first tie of trailer and tow vehicle, and hose and sources apart


# -- faults ------------------------------------------------------------------------------------------------------------

Alter = Callable[[Rows], object]


def put(sheet: str, index: int, **values: str) -> Alter:
    return lambda rows: rows[sheet][index].update(values)


def add(sheet: str, **values: str) -> Alter:
    return lambda rows: rows[sheet].append(values)


def both(*alters: Alter) -> Alter:
    return lambda rows: [alter(rows) for alter in alters]


CLASS_A = {"concentrate": "Demo Class A", "lot": "C-1"}
SECOND = {"designation": "Engine 2", "station": "Quayside", "state": "in service"}

# what is changed in the rows, where the only fault then stands, what was read, and what would be right
FRESH = {
    "unknown station": (
        put("units", 0, station="Quaiside"),
        ("units", 2, "station"),
        "“Quaiside”",
        "nothing has this name; add it on the sheet Stations",
    ),
    "unknown vehicle": (put("units", 0, runs_on="999"), ("units", 2, "runs_on"), "“999”", "the sheet Vehicles"),
    "unknown tow vehicle": (put("vehicles", 1, tow="245"), ("vehicles", 3, "tow"), "“245”", "the sheet Vehicles"),
    "vehicle that two units want": (
        add("units", **SECOND, runs_on="201"),
        ("units", 3, "runs_on"),
        "“201”",
        "row 2 says the same",
    ),
    "unknown fuel": (
        put("design_spills", 0, fuel="petrol spirit"),
        ("design_spills", 2, "fuel"),
        "“petrol spirit”",
        "no fuel has this name or UN number",
    ),
    "inlet and pump pressure at once": (
        put("lines", 0, inlet_pressure="200", pump_pressure="210"),
        ("lines", 2, "pump_pressure"),
        "210 psi",
        "state the inlet or the pump pressure; the other follows",
    ),
    "supply hose without the pump's pressure": (
        put("lines", 0, inlet_pressure="200", supply_hose="50 ft of 2.5 in"),
        ("lines", 2, "pump_pressure"),
        "nothing",
        "with supply hose the pump's pressure is stated, and not the inlet's",
    ),
    "a wye without its hose": (
        put("lines", 0, wye_lines="2"),
        ("lines", 2, "wye_hose"),
        "nothing",
        "state the hose of each of the 2 lines behind the wye",
    ),
    "hose behind a wye that is none": (
        put("lines", 0, wye_hose="50 ft of 1.75 in"),
        ("lines", 2, "wye_lines"),
        "nothing",
        "state how many like lines the wye splits it into",
    ),
    "a wye of one branch": (
        put("lines", 0, branch_2_hose="50 ft of 1.75 in"),
        ("lines", 2, "branch_2_hose"),
        "one branch",
        "a wye has two or more; state the others, or like lines",
    ),
    "a loss without its flow": (
        put("hoses", 0, loss="10", loss_length="100"),
        ("hoses", 2, "loss_flow"),
        "nothing",
        "a measured loss is a pressure, at a flow, over a length; or none",
    ),
    "a day of measuring nothing": (
        put("hoses", 0, measured_on="2026-05-01"),
        ("hoses", 2, "measured_on"),
        "2026-05-01",
        "state what was measured, or empty this cell",
    ),
    "hose of a size that no table of friction has": (
        put("lines", 0, hose="150 ft of 2 in"),
        ("lines", 2, "hose"),
        "a hose of 2.00 in",
        "friction is known for 1.5, 1.75, 2.5, 3, 4, 5 in",
    ),
    "airport duty without a fuel": (
        add(
            "design_spills",
            name="index A",
            unit="Engine 1",
            kind="airport",
            required_water="1500 gal",
            source="invented",
        ),
        ("design_spills", 3, "fuel"),
        "nothing",
        "an airport duty names the fuel too",
    ),
    "number that several fuels have": (
        put("listings", 0, fuel="UN1203"),
        ("listings", 2, "fuel"),
        "“UN1203”",
        "write one of gasoline without oxygenate, gasoline, E10",
    ),
    "one fuel by name and by number": (
        add("listings", concentrate=AR, fuel="acetone", use="spill", percent="3", rate="0.1 gpm/ft2", source="demo"),
        ("listings", 3, "use"),
        "“spill”",
        "another row says the same",
    ),
    "unknown concentrate": (put("lots", 1, concentrate="AFFF"), ("lots", 3, "concentrate"), "“AFFF”", "Concentrates"),
    "unknown lot": (
        put("containers", 0, lot="A-9"),
        ("containers", 2, "lot"),
        "“A-9”",
        f"{AR} has no lot of this number on the sheet Lots",
    ),
    "lot of another concentrate": (put("containers", 0, lot="C-1"), ("containers", 2, "lot"), "“C-1”", "has no lot"),
    "lot number that two concentrates have": (
        both(
            add("lots", concentrate="Demo Class A", batch="A-1"),
            put("containers", 0, concentrate="", condition="mixed", sealed=""),
        ),
        ("containers", 2, "lot"),
        "“A-1”",
        "several concentrates have a lot of this number; name the concentrate",
    ),
    "mixed contents without a lot": (
        put("containers", 0, concentrate="", lot="", condition="mixed", sealed=""),
        ("containers", 2, "lot"),
        "nothing",
        "make a lot named unknown",
    ),
    "other lot of an unknown container": (
        add("other_lots", container="T-9", concentrate=AR, lot="A-1", contents="1 gal"),
        ("other_lots", 3, "container"),
        "“T-9”",
        "the sheet Containers",
    ),
    "source unknown": (
        put("lines", 0, sources="T-1; T-7"),
        ("lines", 2, "sources"),
        "“T-7”",
        "no container has this code",
    ),
    "appliance that is not of the rig": (
        both(
            add("appliances", name="tank pump", kind="direct injection", vehicle="231", state="in service"),
            put("lines", 0, proportioner="tank pump"),
        ),
        ("lines", 2, "proportioner"),
        "“tank pump”",
        "Engine 1 has nothing of this name; name a thing of the same rig",
    ),
    "line that is not of the rig": (
        put("setups", 0, lines="Crosslay 1; Crosslay 9"),
        ("setups", 2, "lines"),
        "“Crosslay 9”",
        "Engine 1 has no line of this name",
    ),
    "tested line that is not of the rig": (
        both(put("line_tests", 0, unit="", vehicle="231")),
        ("line_tests", 2, "line"),
        "“Crosslay 1”",
        "231 has nothing of this name",
    ),
    "test without a result": (
        put("line_tests", 0, measured="", passed=""),
        ("line_tests", 2, "measured"),
        "nothing",
        "state what was measured",
    ),
    "more than the container holds, all its lots together": (
        put("other_lots", 0, contents="5 gal"),
        ("containers", 4, "contents"),
        "21 gal in all",
        "the container holds 20 gal when full",
    ),
    "two concentrates in one container that is not said to be mixed": (
        put("other_lots", 0, **CLASS_A),
        ("other_lots", 2, "concentrate"),
        "“Demo Class A”",
        "two concentrates in one container are mixed",
    ),
    # What the tables' own rules refuse must come as a sentence, never as an error of the database.
    "a decision without its review": (
        put("units", 0, no_duty_by="fire chief"),
        ("units", 2, "no_duty_review_on"),
        "nothing",
        "the day on which it is reviewed",
    ),
    "fuel and group": (put("listings", 0, fuel_group="polar"), ("listings", 2, "fuel_group"), "“polar”", "only one of"),
    "two places": (put("containers", 0, station="Quayside"), ("containers", 2, "unit"), "“Engine 1”", "only one of"),
    "two owners": (put("appliances", 0, vehicle="201"), ("appliances", 2, "vehicle"), "“201”", "only one of"),
    "two owners of a line": (put("lines", 0, vehicle="201"), ("lines", 2, "vehicle"), "“201”", "only one of"),
    "two owners of a setup": (put("setups", 0, vehicle="201"), ("setups", 2, "vehicle"), "“201”", "only one of"),
    "out of reach more than it holds": (
        put("containers", 0, unreachable="6 gal"),
        ("containers", 2, "unreachable"),
        "22.71 L",
        "at most the capacity",
    ),
    "spill without a fuel": (put("design_spills", 0, fuel=""), ("design_spills", 2, "fuel"), "nothing", "states it"),
    "sample of two things": (
        put("samples", 1, lot="A-1", concentrate=AR),
        ("samples", 3, "lot"),
        "A-1",
        "only one of",
    ),
}


@pytest.mark.parametrize("name", FRESH)
def test_a_fault_is_named_and_nothing_is_saved(department: Department, name: str) -> None:
    alter, place, read, right = FRESH[name]
    rows = small()
    alter(rows)
    before = every_row()
    imported = send(department, rows)
    assert [where(fault) for fault in imported.faults] == [at(*place)], [each.sentence for each in imported.faults]
    (fault,) = imported.faults
    assert read in fault.read
    assert right in fault.right
    assert not imported.saved
    assert every_row() == before


def test_all_faults_come_at_once_and_in_the_order_of_the_workbook(department: Department) -> None:
    rows = small()
    add("units", **SECOND | {"station": "Quaiside"})(rows)
    put("setups", 0, unit="Engine 2")(rows)  # a unit that is not taken in: that is its own row's fault
    put("listings", 0, fuel="UN1203")(rows)
    put("containers", 0, lot="A-9", capacity="five")(rows)  # a cell that cannot be read, and a name that nothing has
    put("containers", 3, station="Milrace")(rows)
    put("other_lots", 0, lot="A-8")(rows)
    put("lines", 0, sources="T-7", proportioner="95 educator")(rows)
    put("design_spills", 0, fuel="petrol spirit")(rows)
    put("samples", 0, lot="A-7")(rows)
    before = every_row()
    imported = send(department, rows)
    assert [where(fault) for fault in imported.faults] == [
        at("units", 3, "station"),
        at("listings", 2, "fuel"),
        at("containers", 2, "capacity"),
        at("containers", 2, "lot"),
        at("containers", 5, "station"),
        at("other_lots", 2, "lot"),
        at("lines", 2, "proportioner"),
        at("lines", 2, "sources"),
        at("design_spills", 2, "fuel"),
        at("samples", 2, "lot"),
    ], "a thing whose own row has a fault is not named again by the rows that point at it"
    assert every_row() == before


def test_a_needed_column_that_is_not_there_is_one_fault(department: Department) -> None:
    book = load_workbook(io.BytesIO(write_rows(small(), "us")))
    book["Concentrates"].delete_cols(1, 2)
    out = io.BytesIO()
    book.save(out)
    before = every_row()
    found = import_workbook(department, out.getvalue(), acting=OWNER, clock=CLOCK)
    assert [(fault.sheet, fault.heading) for fault in found.faults] == [
        ("Concentrates", "Concentrate"),
        ("Concentrates", "Kind"),
    ], "and nothing that only follows from it"
    assert every_row() == before


KNOWN = {
    "other contents": (
        put("containers", 1, contents="4 gal"),
        ("containers", 3, "contents"),
        "4.00 gal of lot A-1",
        "P-2 is in the book with 3.00 gal of lot A-1: enter what happened to it, or take inventory of it",
    ),
    "another lot": (
        put("containers", 1, lot="A-2"),
        ("containers", 3, "contents"),
        "3.00 gal of lot A-2",
        "P-2 is in the book with 3.00 gal of lot A-1",
    ),
    "another place": (
        put("containers", 1, unit="", station="Quayside"),
        ("containers", 3, "code"),
        "“Quayside store, L3”",
        "P-2 is elsewhere by the book: enter the move",
    ),
    "no longer sealed": (
        put("containers", 0, sealed="no"),
        ("containers", 2, "sealed"),
        "“False”",
        "the book has yes for P-1: enter what happened to it",
    ),
    "now mixed": (put("containers", 1, condition="mixed"), ("containers", 3, "condition"), "“mixed”", "enter what"),
    "smaller than what was in it": (
        put("containers", 2, capacity="18 gal", contents="", unreachable="", lot="", concentrate=""),
        ("containers", 4, "capacity"),
        "18.00 gal",
        "T-1 has held 20.00 gal by the book; a capacity is not below that",
    ),
    "unit that runs elsewhere": (
        put("units", 0, runs_on="244"),
        ("units", 2, "runs_on"),
        "“244”",
        "Engine 1 runs on another vehicle: change it over",
    ),
    "vehicle that another unit has": (
        lambda rows: rows["units"].__setitem__(0, {**SECOND, "runs_on": "201"}),
        ("units", 2, "runs_on"),
        "“201”",
        "another unit runs on it",
    ),
    "setting that was seen otherwise": (
        put("lines", 0, present="6"),
        ("lines", 2, "present"),
        "6 %",
        "Crosslay 1 was last seen at 3 %: enter a check, or empty this cell",
    ),
}


@pytest.mark.parametrize("name", KNOWN)
def test_what_differs_from_the_book_is_a_fault(department: Department, name: str) -> None:
    taken_in(department, small())
    alter, place, read, right = KNOWN[name]
    rows = small()
    alter(rows)
    if name.startswith("smaller"):
        rows["other_lots"] = []
    before = every_row()
    imported = send(department, rows)
    assert [where(fault) for fault in imported.faults] == [at(*place)], [each.sentence for each in imported.faults]
    (fault,) = imported.faults
    assert read in fault.read
    assert right in fault.right
    assert every_row() == before


def test_another_lot_without_its_container_is_not_swallowed(department: Department) -> None:
    taken_in(department, small())
    rows = {"other_lots": [{"container": "P-2", "concentrate": AR, "lot": "A-2", "contents": "1 gal"}]}
    imported = send(department, rows)
    assert [where(fault) for fault in imported.faults] == [at("other_lots", 2, "container")]
    assert holds("P-2") == {"A-1": 11_356}


def test_a_placard_number_names_a_fuel(department: Department) -> None:
    rows = small()
    put("listings", 0, fuel="1170")(rows)
    put("design_spills", 0, fuel="un 1170")(rows)
    taken_in(department, rows)
    assert (Listing.objects.get().fuel.name, Duty.objects.get().fuel.name) == ("ethanol", "ethanol")


def test_a_file_that_is_no_workbook_is_refused(department: Department) -> None:
    before = every_row()
    with pytest.raises(NotAWorkbook, match="text or CSV file was read"):
        import_workbook(department, b"code,contents\nP-1,5\n", acting=OWNER, clock=CLOCK)
    assert every_row() == before


# -- once, and again ---------------------------------------------------------------------------------------------------


def test_a_dry_run_says_the_same_and_saves_nothing(department: Department) -> None:
    before = every_row()
    tried = send(department, small(), dry_run=True)
    assert every_row() == before
    done = taken_in(department, small())
    assert (tried.saved, tried.faults) == (False, ())
    assert (tried.counts, tried.movements) == (done.counts, done.movements)


def test_the_same_file_twice_posts_nothing_twice(department: Department) -> None:
    data = write_rows(small(), "us")
    other = saved_again(data)
    assert other != data
    first = import_workbook(department, data, acting=OWNER, clock=CLOCK)
    after = every_row()
    for same in (data, other):
        again = import_workbook(department, same, acting=OWNER, clock=CLOCK)
        assert (first.again, again.again, again.saved, again.movements) == (False, True, False, 0)
    assert every_row() == after


def test_the_same_file_after_things_have_happened(department: Department) -> None:
    taken_in(department, small())
    entry = Entry(department, OWNER, CLOCK, reason="drill")
    first, tank = Container.objects.get(code="P-1"), Container.objects.get(code="T-1")
    movements.use(entry, container=first, ml=PAIL_ML, account=Account.DRILL)
    movements.use(entry, container=tank, ml=7_000, account=Account.DRILL)
    movements.move(entry, containers=[first], place=Place.objects.get(station__name="Millrace"))
    posted = Movement.objects.count()
    assert send(department, small()).again
    rows = small()
    rows["containers"].append(pail("P-9"))
    imported = taken_in(department, rows)  # another file: what it says of the others is old news, and no fault
    assert (imported.again, imported.movements, Movement.objects.count()) == (False, 1, posted + 1)
    assert (holds("P-1"), holds("P-9")) == ({}, {"A-1": PAIL_ML})
    first.refresh_from_db()
    assert (first.sealed, first.place.station.name) == (False, "Millrace")


def test_a_file_with_one_more_pail_posts_only_that_pail(department: Department) -> None:
    taken_in(department, small())
    rows = small()
    rows["containers"].append(pail("P-9"))
    changes = Change.objects.count()
    imported = taken_in(department, rows)
    assert imported.movements == 1
    assert imported.counts["containers"] == {"new": 1, "unchanged": 4, "altered": 0}
    others = {sheet: counts for sheet, counts in imported.counts.items() if sheet != "containers"}
    assert all((counts["new"], counts["altered"]) == (0, 0) for counts in others.values()), others
    assert Change.objects.count() == changes + 1
    assert holds("T-1").keys() == {"A-1", "A-2"}


def test_a_code_typed_otherwise_is_the_same_container(department: Department) -> None:
    taken_in(department, small())
    first = Container.objects.get(code="P-1")
    movements.use(Entry(department, OWNER, CLOCK), container=first, ml=1_000, account=Account.DRILL)
    rows = small()
    rows["containers"][0]["code"] = "p-1"
    imported = taken_in(department, rows)
    assert (imported.movements, Container.objects.count()) == (0, 4)


# -- who, and whose ----------------------------------------------------------------------------------------------------


def test_who_may_send_a_workbook(cast: Cast) -> None:
    make_fuels()
    rows = small()
    before = every_row()
    for role in (Role.CREW, Role.OFFICER, Role.INSTRUCTOR, Role.OBSERVER):
        with pytest.raises(NotAllowed, match="To take in a workbook is for: chief, logistics officer"):
            send(cast.department, rows, cast.acting(role))
    stranger = cast.acting(Role.CHIEF)._replace(user=cast.outsider)
    with pytest.raises(NotAllowed):
        send(cast.department, rows, stranger)
    assert every_row() == before
    taken_in(cast.department, {"stations": [{"name": "Vesper Field"}]}, cast.acting(Role.LOGISTICS))
    kept = Submission.objects.get()
    assert (kept.sent_by, kept.identity) == (cast.people[Role.LOGISTICS], "password")
    assert Change.objects.get().by == cast.people[Role.LOGISTICS]


def test_two_departments_may_use_the_same_names(department: Department) -> None:
    other = DepartmentFactory()
    for each in (department, other):
        assert taken_in(each, small()).movements == 4
    assert list(Container.objects.filter(code="P-1").values_list("contents_ml", flat=True)) == [PAIL_ML, PAIL_ML]
    assert recount(department).movements == recount(other).movements == 4
    assert recount().differences == ()


def test_what_another_department_has_is_unknown_here(department: Department) -> None:
    taken_in(department, small())
    other = DepartmentFactory()
    rows = {
        "units": [{"designation": "Engine 9", "station": "Quayside", "state": "in service"}],
        "containers": [pail("P-1"), pail("P-2", concentrate="", condition="mixed", sealed="")],
        "samples": [{"container": "T-1", "taken_on": "2026-03-10"}],
    }
    before = every_row()
    imported = send(other, rows)
    assert [where(fault) for fault in imported.faults] == [
        at("units", 2, "station"),
        at("containers", 2, "unit"),
        at("containers", 2, "concentrate"),
        at("containers", 3, "unit"),
        at("containers", 3, "lot"),
        at("samples", 2, "container"),
    ]
    assert every_row() == before


# -- how much it asks --------------------------------------------------------------------------------------------------


def queries(department: Department, rows: Rows) -> int:
    data = write_rows(rows, "us")
    with CaptureQueriesContext(
        connection,
    ) as asked:
        imported = import_workbook(department, data, acting=OWNER, clock=CLOCK)
    assert imported.saved, [fault.sentence for fault in imported.faults]
    return len(asked)


def many(count: int, **values: str) -> Rows:
    return small() | {"containers": small()["containers"] + [pail(f"Q-{n}", **values) for n in range(count)]}


def test_queries_do_not_grow_with_the_rows(department: Department) -> None:
    """Twenty pails, two hundred pails; then both again with one more pail, and with every pail altered."""
    other = DepartmentFactory()
    few, lots = many(20), many(200)
    batches = 6  # SQLite takes a thousand values in a statement, so that rows of ten columns go a hundred at a time
    assert queries(other, lots) <= queries(department, few) + 6 * batches
    for changed in ({"code": "Q-X"}, None):
        for rows, count in ((few, 20), (lots, 200)):
            if changed:
                rows["containers"].append(pail("Q-X"))
            else:
                rows["containers"][4:] = [pail(f"Q-{n}", capacity="5.5 gal") for n in range(count)]
        assert queries(other, lots) <= queries(department, few) + 2 * batches
