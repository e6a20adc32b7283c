"""Foam lines and setups: parts of one rig, a setting that is offered, hose of a known size."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions.fleet_records import APPLIANCES, ApplianceFacts, lines_with
from readiness.actions.lines import LINES, SETUPS, LineFacts, SetupFacts, nominal_in
from readiness.engineering.operating import branch_flows
from readiness.models import Appliance, Container, Setup
from readiness.reports.fleet import load_rigs
from readiness.workbooks.rows import HoseLeg as Leg
from tests.cast import D0, UnitFactory
from tests.judged import GPM, Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db
FT = 0.3048


@pytest.fixture
def rigged(cast):
    return Rigged(cast)


def test_a_line_is_added_with_hose_and_sources(cast, rigged):
    tank = rigged.tank()
    all_judged()
    facts = LineFacts(
        cast.unit,
        "Crosslay 2",
        rigged.line.proportioner,
        rigged.line.nozzle,
        parked_pct=600,
        sources=(tank,),
        legs=(Leg(150 * FT, 1.75), Leg(50 * FT, 2.5)),
    )
    made = LINES.save(desk(cast), facts)
    assert [(leg.n, leg.length_m, float(leg.diameter_in)) for leg in made.legs.all()] == [
        (1, 45.72, 1.75),
        (2, 15.24, 2.5),
    ]
    assert [source.container for source in made.sources.all()] == [tank]
    assert due() == {"Engine 1"}
    action, _, new = last_change()
    assert action == "add foam line"
    assert (new["hose"], new["sources"], new["parked_pct"]) == ([[45.72, 1.75], [15.24, 2.5]], [tank.pk], 600)


def test_hose_and_sources_are_stated_as_a_whole_and_what_they_were_is_kept(cast, rigged):
    tank = rigged.tank()
    facts = LINES.read(rigged.line)._replace(legs=(Leg(30.0, 1.5),))
    LINES.save(desk(cast), facts, rigged.line)
    LINES.save(desk(cast), facts._replace(legs=(), sources=()), rigged.line)
    assert not rigged.line.legs.exists()
    assert not rigged.line.sources.exists()
    assert last_change() == (
        "change foam line",
        {"hose": [[30.0, 1.5]], "sources": [tank.pk]},
        {"hose": [], "sources": []},
    )


def test_a_line_is_refused(cast, rigged):
    good = LINES.read(rigged.line)._replace(name="Crosslay 2")
    eductor, nozzle = good.proportioner, good.nozzle
    assert set(faults(LINES, cast, good._replace(name="crosslay 1"))) == {"name"}
    assert faults(LINES, cast, good._replace(parked_pct=100)) == {
        "parked_pct": "“1 %” was read: eductor offers 3 %, 6 %."
    }
    assert (
        "a proportioner belongs here"
        in faults(LINES, cast, good._replace(proportioner=nozzle, parked_pct=None))["proportioner"]
    )
    assert "a nozzle belongs here" in faults(LINES, cast, good._replace(nozzle=eductor))["nozzle"]
    assert (
        "one of 1.5, 1.75, 2.5, 3, 4, 5 in is known"
        in faults(LINES, cast, good._replace(legs=(Leg(30.0, 2.75),)))["legs"]
    )
    assert set(faults(LINES, cast, good._replace(legs=(Leg(0.0, 2.5),)))) == {"legs"}
    assert set(faults(LINES, cast, good._replace(flow_lpm=0.0))) == {"flow_lpm"}
    assert set(faults(LINES, cast, good._replace(lift_m=-1.0))) == {"lift_m"}
    assert set(faults(LINES, cast, good._replace(converted_on=D0 + timedelta(days=1)))) == {"converted_on"}
    assert LINES.save(desk(cast), good._replace(height_m=-3.0)).height_m == -3.0, "a nozzle may stand below the pump"


def test_a_line_without_any_flow_is_refused(cast, rigged):
    for part in (rigged.line.proportioner, rigged.line.nozzle):
        part.rated_flow_lpm = None
        part.save()
    facts = LINES.read(rigged.line)._replace(name="Crosslay 2", flow_lpm=None)
    assert "neither nozzle nor proportioner states a rated flow" in faults(LINES, cast, facts)["flow_lpm"]


def test_parts_of_another_rig_are_refused(cast, rigged):
    other = UnitFactory(station=cast.station, designation="Engine 9")
    theirs = APPLIANCES.save(desk(cast), ApplianceFacts(other, "eductor", "in-line eductor", settings_pct=(300,)))
    found = faults(LINES, cast, LINES.read(rigged.line)._replace(proportioner=theirs), rigged.line)
    assert found == {"proportioner": "“eductor” was read, which belongs to Engine 9: choose one of this rig."}
    in_store = cast.tank(code="T9", place=cast.store)
    aboard = cast.pail(code="P99", place=cast.on_unit)
    facts = LINES.read(rigged.line)
    assert "not on this rig" in faults(LINES, cast, facts._replace(sources=(in_store,)), rigged.line)["sources"]
    assert (
        "which is a pail: tick From pails"
        in faults(LINES, cast, facts._replace(sources=(aboard,)), rigged.line)["sources"]
    )
    assert "a line stays with Engine 1" in faults(LINES, cast, facts._replace(owner=cast.vehicle), rigged.line)["owner"]


def test_a_part_of_the_vehicle_serves_a_line_of_the_unit_on_it(cast, rigged):
    pump = APPLIANCES.save(desk(cast), ApplianceFacts(cast.vehicle, "pump", "direct injection", settings_pct=(300,)))
    facts = LINES.read(rigged.line)._replace(name="Crosslay 2", proportioner=pump)
    assert LINES.save(desk(cast), facts).proportioner == pump


def test_another_proportioner_is_a_conversion_from_today(cast, rigged):
    spare = APPLIANCES.save(
        desk(cast), ApplianceFacts(cast.unit, "spare", "in-line eductor", 95 * GPM, settings_pct=(300, 600))
    )
    LINES.save(desk(cast), LINES.read(rigged.line)._replace(proportioner=spare), rigged.line)
    rigged.line.refresh_from_db()
    assert rigged.line.converted_on == D0, "tests of the line with its old proportioner prove nothing"
    assert rigged.status() == "unverified"


def test_a_retired_line_counts_no_more(cast, rigged, django_capture_on_commit_callbacks):
    assert rigged.status() == "ready"
    with django_capture_on_commit_callbacks(execute=True):
        LINES.retire(desk(cast), rigged.line)
    assert rigged.current().status == "not_ready"
    assert "no_line" in rigged.open_codes()
    with django_capture_on_commit_callbacks(execute=True):
        LINES.bring_back(desk(cast), rigged.line)
    assert rigged.current().status == "ready"


# 45 mm and 38 mm hose are sold as 1¾ in and 1½ in; 65 mm as 2½ in (25.4 mm an inch: 44.45, 38.1 and 63.5 mm).
@pytest.mark.parametrize(("mm", "inches"), [(45, 1.75), (38, 1.5), (65, 2.5), (75, 3.0), (70, 2.76)])
def test_metric_hose_is_of_a_nominal_size_where_one_is_near(mm, inches):
    assert nominal_in(mm / 25.4, (1.5, 1.75, 2.5, 3.0, 4.0, 5.0)) == inches


def test_setups(cast, rigged):
    second = LINES.save(desk(cast), LINES.read(rigged.line)._replace(name="Crosslay 2"))
    all_judged()
    made = SETUPS.save(desk(cast), SetupFacts(cast.unit, "both", (second, rigged.line)))
    assert {member.line for member in made.members.all()} == {rigged.line, second}
    assert due() == {"Engine 1"}
    SETUPS.save(desk(cast), SetupFacts(cast.unit, "both"), made)
    assert last_change() == ("change setup", {"lines": sorted([rigged.line.pk, second.pk])}, {"lines": []})
    assert Setup.objects.filter(pk=made.pk).exists(), "out of use, not deleted"
    assert set(faults(SETUPS, cast, SetupFacts(cast.unit, "none"))) == {"lines"}
    assert set(faults(SETUPS, cast, SetupFacts(cast.unit, "BOTH", (second,)))) == {"name"}
    assert "a line of Engine 1" in faults(SETUPS, cast, SetupFacts(cast.vehicle, "x", (second,)))["lines"]
    LINES.retire(desk(cast), second)
    second.refresh_from_db()
    assert "retired on 2026-06-15" in faults(SETUPS, cast, SetupFacts(cast.unit, "x", (second,)))["lines"]


def test_containers_and_lines_of_another_department_are_refused(cast, rigged):
    foreign = Container.objects.create(department=cast.other_department, code="T1", kind="fixed tank", capacity_ml=5)
    assert set(faults(LINES, cast, LINES.read(rigged.line)._replace(sources=(foreign,)), rigged.line)) == {"sources"}


@pytest.mark.parametrize(
    ("changed", "fact", "said"),
    [
        ({"inlet_kpa": 1300.0, "pump_kpa": 1400.0}, "pump_kpa", "state one; the other follows."),
        ({"inlet_kpa": 0.0}, "inlet_kpa", "“0” was read: it is more than 0"),
        ({"supply_legs": (Leg(15.0, 2.5),)}, "pump_kpa", "hose between pump and proportioner: state the pump’s"),
        ({"wye_lines": 2}, "wye_legs", "Nothing was read, and 2 lines behind the wye"),
        ({"wye_legs": (Leg(15.0, 1.75),)}, "wye_lines", "Hose behind a wye was read, and no wye"),
        ({"wye_lines": 9, "wye_legs": (Leg(15.0, 1.75),)}, "wye_lines", "from 1 to 6 lines belong here."),
        ({"wye_lines": 2, "wye_legs": (Leg(15.0, 2.0),)}, "wye_legs", "“2 in” was read as a hose size"),
    ],
)
def test_pressures_and_a_wye_that_cannot_be(cast, rigged, changed, fact, said):
    facts = LINES.read(rigged.line)._replace(**changed)
    assert said in faults(LINES, cast, facts, rigged.line)[fact]


def test_hose_is_kept_by_where_it_lies(cast, rigged):
    facts = LINES.read(rigged.line)._replace(
        pump_kpa=1400.0,
        supply_legs=(Leg(15.24, 2.5),),
        legs=(Leg(60.96, 2.5),),
        wye_lines=2,
        wye_legs=(Leg(30.48, 1.75),),
    )
    LINES.save(desk(cast), facts, rigged.line)
    kept = [(leg.n, leg.part, leg.length_m) for leg in rigged.line.legs.all()]
    assert kept == [(1, "before", 15.24), (2, "line", 60.96), (3, "wye", 30.48)]
    rigged.line.refresh_from_db()
    assert LINES.read(rigged.line) == facts
    _, old, new = last_change()
    assert (old["wye_hose"], new["wye_hose"]) == ([], [[30.48, 1.75]])


# -- unlike branches behind a wye --------------------------------------------------------------------------------------

PSI = 6.894757293168361


def nozzle_of(cast, name, gpm, kpa=100 * PSI):
    return Appliance.objects.create(
        department=cast.department,
        unit=cast.unit,
        name=name,
        kind="fog nozzle",
        rated_flow_lpm=gpm * GPM,
        rated_pressure_kpa=kpa,
    )


def test_unlike_branches_are_kept_with_their_nozzles_and_solved(cast, rigged):
    """95 and 60 gpm behind a wye; at one pressure of the wye by hand, see the engineering tests."""
    one, two = nozzle_of(cast, "95 fog", 95), nozzle_of(cast, "60 fog", 60)
    facts = LINES.read(rigged.line)._replace(
        legs=(Leg(30.48, 2.5),),
        inlet_kpa=200 * PSI,
        branch_1_legs=(Leg(100 * FT, 1.75),),
        branch_1_nozzle=one,
        branch_2_legs=(Leg(200 * FT, 1.5),),
        branch_2_nozzle=two,
    )
    LINES.save(desk(cast), facts, rigged.line)
    kept = LINES.read(rigged.line)
    assert (kept.branch_1_nozzle, kept.branch_2_nozzle, kept.branch_2_legs) == (one, two, (Leg(60.96, 1.5),))
    assert kept.wye_legs == ()
    new = last_change()[2]
    assert (new["branch_1_nozzle"], new["branch_2_legs"]) == ("95 fog", [[60.96, 1.5]])
    (rig,) = load_rigs(day=D0, departments=[cast.department.pk]).rigs
    (line,) = rig.lines
    assert line.flow_lpm == pytest.approx(155 * GPM)
    assert [each.nozzle_lpm / GPM for each in line.lay.branches] == pytest.approx([95, 60])
    assert [each.hose[0].coefficient for each in line.lay.branches] == [15.5, 24.0]
    flows = branch_flows(line.lay, 155 * GPM)
    assert sum(flows) == pytest.approx(155 * GPM)
    LINES.save(desk(cast), kept._replace(branch_2_nozzle=one), rigged.line)
    assert LINES.read(rigged.line).branch_2_nozzle == one
    assert appliance_lines(two) == []
    assert appliance_lines(one) == [rigged.line]


def appliance_lines(appliance):
    return list(lines_with(appliance))


def test_branches_are_refused(cast, rigged):
    fog = nozzle_of(cast, "95 fog", 95)
    unrated = nozzle_of(cast, "no plate", 95, None)
    good = LINES.read(rigged.line)._replace(
        name="Crosslay 2",
        branch_1_legs=(Leg(30.48, 1.75),),
        branch_1_nozzle=fog,
        branch_2_legs=(Leg(60.96, 1.5),),
        branch_2_nozzle=fog,
    )
    alone = good._replace(branch_2_legs=(), branch_2_nozzle=None)
    assert "a wye has two or more" in faults(LINES, cast, alone)["branch_1_legs"]
    assert "state the branch’s hose" in faults(LINES, cast, good._replace(branch_2_legs=()))["branch_2_legs"]
    assert (
        "the one or the other"
        in faults(LINES, cast, good._replace(wye_lines=2, wye_legs=(Leg(9.0, 1.5),)))["wye_lines"]
    )
    assert (
        "states its rated flow and pressure"
        in faults(LINES, cast, good._replace(branch_2_nozzle=unrated))["branch_2_nozzle"]
    )
    assert (
        "a nozzle belongs here"
        in faults(LINES, cast, good._replace(branch_2_nozzle=good.proportioner))["branch_2_nozzle"]
    )
    assert set(faults(LINES, cast, good._replace(branch_2_legs=(Leg(9.0, 2.75),)))) == {"branch_2_legs"}
    LINES.save(desk(cast), good)
