"""From a lot to every container that holds or held any of it, through every container it went through."""

from __future__ import annotations

import pytest

from readiness.actions import movements
from readiness.actions.movements import Entry
from readiness.models.movements import Account
from readiness.reports.recalls import Reached, reached
from tests.cast import CLOCK, PAIL_ML, Cast

pytestmark = pytest.mark.django_db


def test_a_lot_is_followed_through_tanks_and_back_into_pails(cast: Cast) -> None:
    """By hand: P1 18,927 → T1; T1 (all AR-1) gives 5,000 to P2; P2 uses 1,000. P9 holds another lot and is left out."""
    entry = Entry(cast.department, cast.acting("chief"), CLOCK)
    first, second, ninth = (cast.pail(code=code) for code in ("P1", "P2", "P9"))
    tank = cast.tank(code="T1")
    movements.receive(entry, container=first, lot=cast.lot, ml=PAIL_ML, place=cast.store)
    movements.receive(entry, container=ninth, lot=cast.other_lot, ml=PAIL_ML, place=cast.store)
    movements.pour(entry, source=first, target=tank, ml=PAIL_ML)
    movements.pour(entry, source=tank, target=second, ml=5_000)
    movements.use(entry, container=second, ml=1_000, account=Account.DRILL)
    assert reached(cast.lot) == (
        Reached(first.pk, "P1", "Quayside store", 0, PAIL_ML),
        Reached(second.pk, "P2", "outside the book", 4_000, 1_000),
        Reached(tank.pk, "T1", "outside the book", PAIL_ML - 5_000, 5_000),
    )
    assert reached(cast.class_a_lot) == ()
