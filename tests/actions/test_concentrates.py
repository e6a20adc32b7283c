"""Concentrates and compatibility groups: evidence where it counts, and the units that carry them are judged."""

from __future__ import annotations

import pytest

from readiness.actions.concentrates import CONCENTRATES, GROUPS, ConcentrateFacts, GroupFacts
from readiness.models import CompatibilityGroup
from tests.cast import ConcentrateFactory, UnitFactory
from tests.judged import Rigged
from tests.keeping import all_judged, desk, due, faults, last_change

pytestmark = pytest.mark.django_db


def test_a_concentrate_is_added(cast):
    all_judged()
    facts = ConcentrateFacts("Demo  F3", "F3", "no", "laboratory report 12", lowest_use_c=-10.0, life_months=120)
    made = CONCENTRATES.save(desk(cast), facts)
    assert (made.name, made.department, made.lowest_use_c) == ("Demo F3", cast.department, -10.0)
    assert due() == set(), "nobody carries it yet"
    assert last_change()[0] == "add concentrate"
    assert last_change()[2]["pfas_evidence"] == "laboratory report 12"


def test_a_change_judges_the_units_that_carry_it(cast):
    Rigged(cast)
    UnitFactory(station=cast.station, designation="Engine 9")
    all_judged()
    CONCENTRATES.save(desk(cast), CONCENTRATES.read(cast.ar)._replace(lowest_use_c=2.0), cast.ar)
    assert due() == {"Engine 1"}
    assert last_change() == ("change concentrate", {"lowest_use_c": None}, {"lowest_use_c": 2.0})


def test_a_concentrate_is_refused(cast):
    good = ConcentrateFacts("Demo F3", "F3", "unknown")
    assert set(faults(CONCENTRATES, cast, good._replace(name="demo ar-afff 3X6"))) == {"name"}
    assert (
        "or answer unknown, which counts as yes"
        in faults(CONCENTRATES, cast, good._replace(pfas="no"))["pfas_evidence"]
    )
    assert set(faults(CONCENTRATES, cast, good._replace(kind="foam", pfas="maybe"))) == {"kind", "pfas"}
    assert set(faults(CONCENTRATES, cast, good._replace(store_low_c=5.0, store_high_c=4.0))) == {"store_high_c"}
    assert set(faults(CONCENTRATES, cast, good._replace(life_months=-1))) == {"life_months"}
    assert set(faults(CONCENTRATES, cast, good._replace(density_kg_l=float("inf")))) == {"density_kg_l"}


def test_a_group_needs_evidence_and_two_concentrates(cast):
    other = ConcentrateFactory(department=cast.department, name="Demo AR-AFFF 3x3")
    both = GroupFacts("same maker", "maker's letter of 2026-01-05", (cast.ar, other))
    assert "evidence" in faults(GROUPS, cast, both._replace(evidence="  "))
    for few in ((), (cast.ar,)):
        assert "at least two" in faults(GROUPS, cast, both._replace(concentrates=few))["concentrates"]
    Rigged(cast)
    all_judged()
    made = GROUPS.save(desk(cast), both)
    assert set(made.concentrates.all()) == {cast.ar, other}
    assert due() == {"Engine 1"}
    assert last_change()[2]["concentrates"] == sorted([cast.ar.pk, other.pk])


def test_a_concentrate_is_in_one_group(cast):
    second, third = (ConcentrateFactory(department=cast.department, name=name) for name in ("Demo B", "Demo C"))
    GROUPS.save(desk(cast), GroupFacts("one", "letter", (cast.ar, second)))
    found = faults(GROUPS, cast, GroupFacts("two", "letter", (second, third)))
    assert found == {"concentrates": "“Demo B” was read, which is in the group one already: one group for each."}
    assert set(faults(GROUPS, cast, GroupFacts("ONE", "letter", (third, cast.class_a)))) == {"name"}


def test_a_withdrawn_group_lets_nothing_meet_and_judges_who_carried_it(cast):
    Rigged(cast)
    other = ConcentrateFactory(department=cast.department, name="Demo B")
    made = GROUPS.save(desk(cast), GroupFacts("one", "letter", (cast.ar, other)))
    all_judged()
    GROUPS.save(desk(cast), GroupFacts("one", "letter"), made)
    assert due() == {"Engine 1"}, "those of before, though they are in it no more"
    assert CompatibilityGroup.objects.get().concentrates.count() == 0
    assert last_change() == (
        "change compatibility group",
        {"concentrates": sorted([cast.ar.pk, other.pk])},
        {"concentrates": []},
    )


def test_concentrates_of_another_department_are_refused(cast):
    foreign = ConcentrateFactory(department=cast.other_department)
    assert set(faults(GROUPS, cast, GroupFacts("one", "letter", (cast.ar, foreign)))) == {"concentrates"}
