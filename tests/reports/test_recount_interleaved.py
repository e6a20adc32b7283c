import pytest

from readiness.actions import movements
from readiness.actions.clock import SYSTEM_CLOCK
from readiness.actions.drafts import new_id
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Movement, MovementLine
from readiness.reports.recounts import recount

pytestmark = pytest.mark.django_db


def test_lines_of_two_movements_may_interleave(cast):
    """Two sessions draw ids in turn, so a movement's lines need not stand together; each container's own do."""
    entry = Entry(cast.department, OWNER)
    tank, other = cast.tank(code="T1", capacity_ml=100), cast.tank(code="T2", capacity_ml=100)
    movements.receive(entry, container=tank, lot=cast.lot, ml=60, place=cast.on_vehicle)
    movements.receive(entry, container=other, lot=cast.lot, ml=60, place=cast.on_vehicle)
    one, two = new_id(), new_id()
    for movement, n, container, account, lot, ml in (  # one: 60 mL of lot AR-2 take the place of 60 mL of lot AR-1
        (one, 1, tank, "", cast.other_lot, 60),
        (two, 1, other, "", cast.lot, -5),
        (one, 2, tank, "", cast.lot, -60),
        (one, 3, None, "supplier", cast.other_lot, -60),
        (one, 4, None, "disposal", cast.lot, 60),
        (two, 2, None, "drill", cast.lot, 5),
    ):
        MovementLine.objects.create(movement_id=movement, n=n, container=container, account=account, lot=lot, ml=ml)
    for pk in (one, two):
        Movement.objects.create(
            id=pk,
            department=cast.department,
            kind="corrected",
            happened_at=SYSTEM_CLOCK.now(),
            recorded_at=SYSTEM_CLOCK.now(),
            identity="command",
            body_sha256="0" * 64,
        )
    tank.holdings.update(lot=cast.other_lot)
    other.holdings.update(ml=55)
    type(other).objects.filter(pk=other.pk).update(contents_ml=55)
    assert recount().differences == ()


def test_a_step_above_capacity_is_told_even_when_the_end_fits(cast):
    entry = Entry(cast.department, OWNER)
    tank = cast.tank(code="T1", capacity_ml=100)
    movements.receive(entry, container=tank, lot=cast.lot, ml=60, place=cast.on_vehicle)
    pks = [new_id(), new_id()]
    for pk, ml in zip(pks, (50, -50), strict=True):  # 60 + 50 = 110 of 100, and back to 60
        MovementLine.objects.create(movement_id=pk, n=1, container=tank, lot=cast.lot, ml=ml)
        MovementLine.objects.create(movement_id=pk, n=2, account="supplier", lot=cast.lot, ml=-ml)
        Movement.objects.create(
            id=pk,
            department=cast.department,
            kind="corrected",
            happened_at=SYSTEM_CLOCK.now(),
            recorded_at=SYSTEM_CLOCK.now(),
            identity="command",
            body_sha256="0" * 64,
        )
    assert recount().differences == (f"T1 came to 110 mL with movement {pks[0]}.",)
