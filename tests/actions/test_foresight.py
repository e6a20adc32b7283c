"""The dry run says what the entry does, and leaves nothing behind. The county's figures were worked by hand."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions import movements
from readiness.actions.change_overs import change_over
from readiness.actions.drafts import Refused
from readiness.actions.foresight import foresee
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.actions.places import place_at
from readiness.models import Container, Unit, Vehicle
from readiness.models.movements import Account
from tests.actions.small_department import every_row
from tests.cast import CLOCK, PAIL_ML
from tests.county import LOCAL_SIX, loaded

pytestmark = pytest.mark.django_db

GAL_ML = 3785.411784


@pytest.fixture
def county(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        return loaded()


def clock_of_county():
    from readiness.actions.clock import StoppedClock

    return StoppedClock(LOCAL_SIX)


def entry(department):
    return Entry(department, OWNER, clock_of_county())


def tried(department, act):
    return foresee(department, act, clock=clock_of_county())


def pails(department, *codes):
    return list(Container.objects.filter(department=department, code__in=codes).order_by("code"))


def seven_to_hazmat(department):
    """Seven pails of the Quayside store to Hazmat 1: 20 + 35 = 55 gal for a need of 54."""
    unit = Unit.objects.get(designation="Hazmat 1")
    moved = pails(department, *(f"P-01{number}" for number in range(72, 79)))

    def act():
        place = place_at(entry(department), unit, "rear")
        return [movements.move(entry(department), containers=moved, place=place).movement_id]

    return act


def test_hazmat_1_becomes_ready_by_seven_pails_and_nothing_is_written(county):
    before = every_row()
    seen = tried(county, seven_to_hazmat(county))
    assert every_row() == before

    unit = next(each for each in seen.units if each.unit == "Hazmat 1")
    assert (unit.before, unit.after, unit.changed) == ("not_ready", "ready", True)
    duty = unit.duties[0]
    assert duty.before.usable_ml / GAL_ML == pytest.approx(20.0, abs=0.001)
    assert duty.after.usable_ml / GAL_ML == pytest.approx(55.0, abs=0.001)
    assert duty.after.need_ml / GAL_ML == pytest.approx(54.0, abs=0.001)
    assert [each.code for each in unit.vanish] == ["short_of_textbook"]
    assert unit.appear == ()
    assert [change.after.code for change in seen.containers] == [f"P-01{number}" for number in range(72, 79)]
    assert {(change.before.place, change.after.place) for change in seen.containers} == {
        ("Quayside store, store room", "Hazmat 1, rear")
    }
    assert seen.words == ("7 containers (P-0172 to P-0178) moved from Quayside store, store room to Hazmat 1, rear",)


def test_what_is_foreseen_is_what_happens(county, django_capture_on_commit_callbacks):
    seen = tried(county, seven_to_hazmat(county))
    with django_capture_on_commit_callbacks(execute=True):
        seven_to_hazmat(county)()
    stood = Unit.objects.get(designation="Hazmat 1").assessments.get(superseded_at=None)
    assert stood.status == next(each.after for each in seen.units if each.unit == "Hazmat 1") == "ready"


def test_using_one_of_nine_pails_leaves_engine_1_short(county):
    pail = pails(county, "P-0101")[0]

    def act():
        return [movements.use(entry(county), container=pail, ml=PAIL_ML, account=Account.INCIDENT).movement_id]

    unit = next(each for each in tried(county, act).units if each.unit == "Engine 1")
    # need 44.175 gal by the line, 40.5 by the textbook; 40 gal is below both
    assert (unit.before, unit.after) == ("ready", "not_ready")
    assert unit.duties[0].after.short_ml / GAL_ML == pytest.approx(4.175, abs=0.001)


def test_a_change_over_is_foreseen_without_a_movement(county):
    unit, vehicle = Unit.objects.get(designation="Engine 2"), Vehicle.objects.get(shop_no="207")

    def act():
        change_over(county, unit=unit, vehicle=vehicle, acting=OWNER, clock=clock_of_county())
        return []

    seen = tried(county, act)
    # its foam tank and its line stay with vehicle 202
    assert [(each.unit, each.after) for each in seen.units] == [("Engine 2", "not_ready")]
    assert {"no_line", "no_stock"} & {each.code for each in seen.units[0].appear}
    assert (seen.words, seen.containers) == ((), ())
    assert str(unit.assignments.get(to_at=None).vehicle) == "vehicle 202"


def test_a_refusal_comes_with_its_sentence(county):
    pail = pails(county, "P-0101")[0]

    def act():
        return [movements.use(entry(county), container=pail, ml=50_000, account=Account.DRILL).movement_id]

    with pytest.raises(Refused, match=r"P-0101 holds 5\.00 gal by the book"):
        tried(county, act)


def test_a_new_container_has_no_before(cast):
    pail = cast.pail()

    def act():
        made = cast.pail(code="N9")
        own = Entry(cast.department, OWNER, CLOCK)
        return [movements.receive(own, container=made, lot=cast.lot, ml=PAIL_ML, place=cast.store).movement_id]

    (change,) = foresee(cast.department, act, clock=CLOCK).containers
    assert (change.before, change.after.code, change.after.contents_ml) == (None, "N9", PAIL_ML)
    assert [row.pk for row in Container.objects.all()] == [pail.pk]


def test_the_queries_do_not_grow_with_the_containers(county):
    unit = Unit.objects.get(designation="Hazmat 1")

    def queries(*codes):
        moved = pails(county, *codes)
        place = unit.places.get()

        def act():
            return [movements.move(entry(county), containers=moved, place=place).movement_id]

        with CaptureQueriesContext(connection) as caught:
            tried(county, act)
        return len(caught)

    assert queries("P-0172") == queries(*(f"P-01{number}" for number in range(72, 80)))
