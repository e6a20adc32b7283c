"""Par lines and store limits are kept by logistics and chief; a first list is made of what is aboard or of another."""

from __future__ import annotations

import pytest

from readiness.actions import movements
from readiness.actions.drafts import Refused
from readiness.actions.keeping import NotKept
from readiness.actions.movements import Entry
from readiness.actions.par import (
    PAR_LINES,
    STORE_LIMITS,
    LimitFacts,
    ParFacts,
    copy_par,
    take_par_from_aboard,
)
from readiness.actions.permissions import NotAllowed
from readiness.models import Appliance, Assignment, Change, ParLine, Role, StoreLimit
from tests.cast import CLOCK, D0, SIX, UnitFactory
from tests.keeping import desk, faults, last_change
from tests.web.entering import stocked

pytestmark = pytest.mark.django_db

KEEPERS = {Role.LOGISTICS, Role.CHIEF}


def nine_pails(cast):
    return ParFacts(cast.unit, "L3", cast.ar, container_kind="pail", containers=9)


def test_a_line_of_foam_is_added_by_the_logistics_officer(cast):
    made = PAR_LINES.save(desk(cast, Role.LOGISTICS), nine_pails(cast))
    assert (made.department, made.unit, made.containers) == (cast.department, cast.unit, 9)
    action, old, new = last_change()
    assert (action, old) == ("add par line", None)
    assert new == {
        "unit": cast.unit.pk,
        "compartment": "L3",
        "concentrate": cast.ar.pk,
        "container_kind": "pail",
        "containers": 9,
    }


def test_gear_without_a_number_is_one_piece(cast):
    made = PAR_LINES.save(desk(cast), ParFacts(cast.unit, " R1 ", gear=" flush   bucket "))
    assert (made.gear, made.compartment, made.pieces) == ("flush bucket", "R1", 1)


def test_a_change_keeps_old_and_new(cast):
    made = PAR_LINES.save(desk(cast), nine_pails(cast))
    PAR_LINES.save(desk(cast), nine_pails(cast)._replace(containers=12), made)
    assert last_change() == ("change par line", {"containers": 9}, {"containers": 12})


@pytest.mark.parametrize("role", [role for role in Role if role not in KEEPERS])
def test_nobody_else_keeps_them(cast, role):
    line = ParLine.objects.create(department=cast.department, unit=cast.unit, gear="spanner", pieces=1)
    limit = StoreLimit.objects.create(department=cast.department, station=cast.station, concentrate=cast.ar, least_ml=1)
    for act in (
        lambda: PAR_LINES.save(desk(cast, role), nine_pails(cast)),
        lambda: PAR_LINES.retire(desk(cast, role), line),
        lambda: STORE_LIMITS.save(desk(cast, role), LimitFacts(cast.station, cast.class_a, 1)),
        lambda: STORE_LIMITS.retire(desk(cast, role), limit),
        lambda: take_par_from_aboard(desk(cast, role), cast.unit),
        lambda: copy_par(desk(cast, role), cast.unit, cast.unit),
    ):
        with pytest.raises(NotAllowed, match="is for: chief, logistics officer"):
            act()
    assert not Change.objects.exists()


@pytest.mark.parametrize(
    ("more", "fact", "said"),
    [
        ({"concentrate": None}, "concentrate", "choose a concentrate or a kind of it, or write the name of gear"),
        ({"concentrate_kind": "AFFF"}, "concentrate_kind", "only one of them belongs here"),
        ({"containers": None}, "containers", "nine pails, or 30 gal"),
        ({"volume_ml": 100}, "containers", "one of them"),
        ({"containers": 0}, "containers", "“0” was read: from 1 to 500"),
        ({"pieces": 2}, "pieces", "they are for gear"),
        ({"gear": "eductor", "pieces": 1}, "gear", "“eductor” was read beside concentrate"),
        ({"container_kind": "bucket"}, "container_kind", "“bucket” was read"),
    ],
)
def test_what_is_no_line_gets_a_sentence(cast, more, fact, said):
    assert said in faults(PAR_LINES, cast, nine_pails(cast)._replace(**more))[fact]


def test_the_same_line_twice_is_refused(cast):
    PAR_LINES.save(desk(cast), nine_pails(cast))
    assert "has such a line in that compartment" in faults(PAR_LINES, cast, nine_pails(cast))[""]
    PAR_LINES.save(desk(cast), nine_pails(cast)._replace(compartment="R2"))


def test_a_line_stays_with_its_unit(cast):
    made = PAR_LINES.save(desk(cast), nine_pails(cast))
    other = UnitFactory(station=cast.station, designation="Engine 9")
    assert "stays with Engine 1" in faults(PAR_LINES, cast, nine_pails(cast)._replace(unit=other), made)["unit"]


def test_limits_the_wrong_way_round(cast):
    sentence = faults(STORE_LIMITS, cast, LimitFacts(cast.station, cast.ar, 75_708, 18_927))["most_ml"]
    assert sentence == "“5.00 gal” was read, which is below the minimum of 20.00 gal."


def test_a_store_has_one_pair_of_limits_for_a_concentrate(cast):
    made = STORE_LIMITS.save(desk(cast), LimitFacts(cast.station, cast.ar, 1))
    assert (
        "has limits for Demo AR-AFFF 3x6 already"
        in faults(STORE_LIMITS, cast, LimitFacts(cast.station, cast.ar, 2))["concentrate"]
    )
    STORE_LIMITS.retire(desk(cast), made)
    STORE_LIMITS.save(desk(cast), LimitFacts(cast.station, cast.ar, 2))
    with pytest.raises(NotKept, match="has other limits"):
        STORE_LIMITS.bring_back(desk(cast), made)


def lines(unit):
    rows = unit.par_lines.filter(retired_on=None).order_by("id")
    return [
        (row.compartment, str(row.concentrate or row.gear), row.container_kind, row.containers, row.volume_ml)
        for row in rows
    ]


@pytest.fixture
def loaded(cast):
    """Engine 1 with three pails at L3, a tank on its vehicle, and an eductor."""
    for code in ("P1", "P2", "P3"):
        stocked(cast, code, place=cast.on_unit)
    Assignment.objects.create(department=cast.department, unit=cast.unit, vehicle=cast.vehicle, from_at=SIX)
    tank = cast.tank(code="T1")
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    movements.receive(entry, container=tank, lot=cast.class_a_lot, ml=50_000, place=cast.on_vehicle)
    Appliance.objects.create(department=cast.department, unit=cast.unit, name="95 eductor", kind="in-line eductor")
    return cast


def test_a_first_list_of_what_is_aboard(loaded):
    assert take_par_from_aboard(desk(loaded, Role.LOGISTICS), loaded.unit) == 3
    assert lines(loaded.unit) == [
        ("L3", "Demo AR-AFFF 3x6", "pail", 3, None),
        ("", "Demo Class A", "fixed tank", None, 113_562),  # to the brim: a 30-gal tank, not the 50 L in it
        ("", "95 eductor", "", None, None),
    ]
    with pytest.raises(Refused, match="has a par list already"):
        take_par_from_aboard(desk(loaded), loaded.unit)


def test_a_list_like_another_unit_s(loaded):
    take_par_from_aboard(desk(loaded), loaded.unit)
    other = UnitFactory(station=loaded.station, designation="Engine 9")
    assert copy_par(desk(loaded), other, loaded.unit) == 3
    assert sorted(map(str, lines(other))) == sorted(map(str, lines(loaded.unit)))
    with pytest.raises(Refused, match="Engine 9 has a par list already"):
        copy_par(desk(loaded), other, loaded.unit)


def test_there_must_be_something_to_make_a_list_of(cast):
    other = UnitFactory(station=cast.station, designation="Engine 9")
    with pytest.raises(Refused, match="carries nothing"):
        take_par_from_aboard(desk(cast), cast.unit)
    with pytest.raises(Refused, match="Engine 9 has no par list to copy"):
        copy_par(desk(cast), cast.unit, other)
    other.retired_on = D0
    other.save()
    with pytest.raises(Refused, match="no such unit"):
        copy_par(desk(cast), cast.unit, other)
    assert not ParLine.objects.exists()
