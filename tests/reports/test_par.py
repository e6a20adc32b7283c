"""Par lists beside what is aboard, and where what is missing lies. Expected values are counted by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import movements
from readiness.actions.checks import CheckDraft, Read, record_check
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import new_id
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Appliance, Assignment, Container, ParLine, Role
from readiness.models.checks import Answer
from readiness.reports.inventory import load_inventory
from readiness.reports.par import MORE, NOT_LISTED, par_lists, restock
from tests.cast import CLOCK, D0, PAIL_ML, SIX, ConcentrateFactory, LotFactory, StationFactory, UnitFactory
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db


def line(cast, **values):
    values.setdefault("unit", cast.unit)
    return ParLine.objects.create(department=cast.department, **values)


def pails_line(cast, containers, **more):
    return line(cast, concentrate=cast.ar, container_kind="pail", containers=containers, compartment="L3", **more)


def listed(cast):
    (found,) = par_lists(cast.department, load_inventory(cast.department, D0), cast.unit)
    return found


def only(cast):
    (row,) = listed(cast).rows
    return row


def test_three_of_nine_pails(cast):
    pails_line(cast, 9)
    for code in ("P1", "P2", "P3"):
        stocked(cast, code, place=cast.on_unit)
    row = only(cast)
    assert (row.wanted, row.aboard, row.missing, row.state, row.codes) == (9, 3, 6, "short", ("P1", "P2", "P3"))


def test_as_many_as_the_list_says_and_one_more(cast):
    pails_line(cast, 2)
    for code in ("P1", "P2"):
        stocked(cast, code, place=cast.on_unit)
    assert only(cast).state == "as listed"
    stocked(cast, "P3", place=cast.on_unit)
    found = listed(cast)
    assert (found.rows[0].state, found.rows[0].aboard) == ("over", 2)
    assert [(extra.code, extra.why) for extra in found.extras] == [("P3", MORE)]


def test_a_part_filled_pail_is_named_and_not_counted(cast):
    pails_line(cast, 2)
    stocked(cast, "P1", place=cast.on_unit)
    stocked(cast, "P2", place=cast.on_unit, ml=9_464)  # 2.5 US gal = 9,463.53 mL
    row = only(cast)
    assert (row.aboard, row.missing, row.state) == (1, 1, "short")
    assert row.remarks == ("P2 is part full: 2.50 gal",)


def test_what_is_out_of_the_count_answers_no_line(cast):
    pails_line(cast, 1)
    stocked(cast, "P1", LotFactory(concentrate=cast.ar, makers_date=D0 - timedelta(days=1)), cast.on_unit)
    Container.objects.update(sealed=True)
    row = only(cast)
    assert (row.aboard, row.state) == (0, "short")
    assert row.remarks == ("P1 is aboard and does not count: expired",)


def test_the_wrong_concentrate_is_not_on_the_list(cast):
    pails_line(cast, 1)
    stocked(cast, "A1", cast.class_a_lot, cast.on_unit)
    found = listed(cast)
    assert (found.rows[0].aboard, found.rows[0].state) == (0, "short")
    assert [(extra.code, extra.what, extra.why) for extra in found.extras] == [("A1", "Demo Class A, pail", NOT_LISTED)]


def test_a_named_concentrate_chooses_before_any_alcohol_resistant(cast):
    other = LotFactory(concentrate=ConcentrateFactory(department=cast.department, name="Demo AR-F3", kind="AR-F3"))
    any_resistant = line(cast, concentrate_kind="any AR", containers=1, compartment="L3")
    named = pails_line(cast, 1)
    stocked(cast, "A1", place=cast.on_unit)  # the first in order: the other line would take it if it were asked first
    stocked(cast, "F1", other, cast.on_unit)
    by_line = {row.id: row for row in listed(cast).rows}
    assert by_line[named.pk].codes == ("A1",)
    assert by_line[any_resistant.pk].codes == ("F1",)
    assert {row.state for row in by_line.values()} == {"as listed"}


def test_a_tank_that_was_read_below_the_book_is_short(cast):
    """100 L by the book, of which 80 were read, heel and all: 20 L are missing of 100. The gauge tells 2 L."""
    Assignment.objects.create(department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX)
    line(cast, concentrate=cast.ar, container_kind="fixed tank", volume_ml=100_000)
    tank = cast.tank(code="T1", unreachable_ml=3_785, resolution_ml=2_000)
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.receive(entry, container=tank, lot=cast.lot, ml=100_000, place=cast.on_vehicle)
    assert (only(cast).missing_ml, only(cast).state) == (0, "as listed")
    Container.objects.filter(pk=tank.pk).update(reading_ml=80_000, reading_at=SIX + timedelta(hours=1))
    row = only(cast)
    assert (row.aboard_ml, row.missing_ml, row.state) == (80_000, 20_000, "short")


def test_a_tank_is_asked_for_its_volume_heel_included(cast):
    Assignment.objects.create(department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX)
    line(cast, concentrate=cast.ar, container_kind="fixed tank", volume_ml=113_562)  # 30 US gal
    tank = cast.tank(code="T1", unreachable_ml=3_785)
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.receive(entry, container=tank, lot=cast.lot, ml=94_635, place=cast.on_vehicle)  # 25 US gal
    row = only(cast)
    assert (row.aboard_ml, row.missing_ml, row.state) == (94_635, 18_927, "short")
    tank.refresh_from_db()
    movements.receive(entry._replace(id=new_id()), container=tank, lot=cast.lot, ml=18_927)
    assert only(cast).state == "as listed"


def test_another_compartment_answers_with_a_remark(cast):
    line(cast, concentrate=cast.ar, containers=1, compartment="R1")
    stocked(cast, "P1", place=cast.on_unit)
    row = only(cast)
    assert (row.state, row.remarks) == ("as listed", ("P1 stands at Engine 1, L3",))


def test_each_compartment_is_answered_by_what_stands_in_it(cast):
    rear = cast.department.places.create(department=cast.department, unit=cast.unit, compartment="R1")
    front = pails_line(cast, 1)
    back = line(cast, concentrate=cast.ar, container_kind="pail", containers=1, compartment="R1")
    stocked(cast, "P1", place=rear)
    stocked(cast, "P2", place=cast.on_unit)
    by_line = {row.id: (row.codes, row.remarks) for row in listed(cast).rows}
    assert by_line == {front.pk: (("P2",), ()), back.pk: (("P1",), ())}


def test_gear_that_the_book_lists_is_counted(cast):
    line(cast, gear="eductor", appliance_kind="in-line eductor", pieces=2)
    common = {"department": cast.department, "unit": cast.unit, "kind": "in-line eductor"}
    Appliance.objects.create(name="first", **common)
    Appliance.objects.create(name="second", state="out", **common)
    row = only(cast)
    assert (row.aboard, row.missing, row.state, row.codes) == (1, 1, "short", ("first",))
    assert row.remarks == ("second is out of service",)


def test_other_gear_is_as_the_last_check_found_it(cast):
    line(cast, gear="flush bucket", pieces=1)
    assert (only(cast).state, only(cast).aboard) == ("not looked at", None)

    def check(answer, hours):
        at = SIX + timedelta(hours=hours)
        draft = CheckDraft(new_id(), cast.unit.pk, (Read(answer, item="Flush bucket"),), at)
        record_check(cast.department, draft, acting=OWNER, clock=StoppedClock(at))

    check(Answer.GOOD, 1)
    assert (only(cast).state, only(cast).aboard, only(cast).looked_at) == ("as listed", 1, SIX + timedelta(hours=1))
    check(Answer.NOT_LOOKED, 2)
    assert only(cast).state == "as listed", "not looked at says nothing"
    check(Answer.NOT_CARRIED, 3)
    assert (only(cast).state, only(cast).missing) == ("short", 1)
    check(Answer.FAULT, 4)
    assert only(cast).state == "fault"


def test_what_is_missing_lies_in_the_own_station_first_then_in_the_fullest(cast):
    pails_line(cast, 2)
    far = StationFactory(department=cast.department, name="Hilltop")
    shelf = far.places.create(department=cast.department, station=far)
    late = LotFactory(concentrate=cast.ar, makers_date=D0 + timedelta(days=3000))
    for code, lot, place in (
        ("S1", cast.lot, cast.store),
        ("S2", late, cast.store),
        ("S3", late, cast.store),
        *((f"F{n}", cast.lot, shelf) for n in range(5)),
    ):
        stocked(cast, code, lot, place)
    Container.objects.update(sealed=True)
    stocked(cast, "S9", cast.lot, cast.store, ml=1_000)  # part full: no pail for the front line
    inventory = load_inventory(cast.department, D0)
    (found,) = restock(cast.department, inventory, par_lists(cast.department, inventory))
    assert [(match.station, match.own_station, match.codes) for match in found.matches] == [
        ("Quayside", True, ("S2", "S3")),  # the newest to the front line
        ("Hilltop", False, ("F0", "F1")),
    ]
    assert found.matches[0].ml == 3 * PAIL_ML


def test_the_queries_do_not_grow(cast):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            inventory = load_inventory(cast.department, D0)
            restock(cast.department, inventory, par_lists(cast.department, inventory))
        return len(caught)

    pails_line(cast, 9)
    line(cast, gear="flush bucket", pieces=1)
    stocked(cast, "P1", place=cast.on_unit)
    few = queries()
    for number in range(5):
        unit = UnitFactory(station=cast.station, designation=f"Engine {number + 20}")
        for gear in ("spanner", "pick-up tube"):
            line(cast, unit=unit, gear=gear, pieces=1)
        line(cast, unit=unit, concentrate=cast.ar, containers=4)
        stocked(cast, f"Q{number}", cast.other_lot, cast.on_unit)
    assert queries() == few
