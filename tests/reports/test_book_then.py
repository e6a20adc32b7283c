"""The book of a past moment: for any interleaving of movements, late entries, corrections and counts."""

from __future__ import annotations

from datetime import timedelta
from typing import NamedTuple

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import MarkAs
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER
from readiness.models import Container, Movement
from readiness.models.movements import Account, Mark
from readiness.reports.book_then import BookThen, Then
from readiness.reports.variances import variance
from tests.cast import SIX, Cast
from tests.taking import Taking

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)
START_ML = 50_000


class Step(NamedTuple):
    """Something that is entered: what, how many minutes before its entry it happened, and how much [mL] or which."""

    kind: str
    late: int
    n: int


STEPS = st.lists(
    st.builds(
        Step,
        st.sampled_from(["use", "receive", "correct", "count"]),
        st.sampled_from([0, 0, 1, 3, 20]),
        st.integers(1, 900),
    ),
    max_size=14,
)


class Oracle:
    """A list of what happened when; a correction takes its entry out, and a correction of that puts it back."""

    def __init__(self) -> None:
        self.entries: list[tuple[int, int]] = []  # (minute, ml)
        self.corrects: dict[int, int] = {}  # entry → the entry that it undoes

    def stands(self, n: int) -> bool:
        undone = [by for by, of in self.corrects.items() if of == n]
        return not any(self.stands(by) for by in undone)

    def book(self, minute: int) -> int:
        """By hand: what stands and had happened by then. A correction has no volume of its own here."""
        standing = (entry for n, entry in enumerate(self.entries) if n not in self.corrects and self.stands(n))
        return START_ML + sum(ml for at, ml in standing if at <= minute)


@given(STEPS)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_difference_is_what_was_counted_less_the_book_of_that_moment(steps: list[Step]) -> None:
    with transaction.atomic():
        _walk(steps)
        transaction.set_rollback(True)


def _walk(steps: list[Step]) -> None:
    cast = Cast()
    tank = cast.tank(capacity_ml=200_000)
    start = Entry(cast.department, OWNER, StoppedClock(SIX), happened_at=SIX - 60 * MINUTE)
    movements.receive(start, container=tank, lot=cast.lot, ml=START_ML, place=cast.on_vehicle)
    taking, oracle, posted = Taking(cast), Oracle(), []
    counted: dict[int, int] = {}
    for minute, step in enumerate(steps, 1):
        happened = minute - step.late
        entry = Entry(cast.department, OWNER, StoppedClock(SIX + minute * MINUTE), reason="as the test says")
        entry = entry._replace(happened_at=SIX + happened * MINUTE)
        if step.kind == "count":
            counted[minute] = 40_000 + step.n
            taking.see(tank, counted[minute], minute=minute)
        elif step.kind == "correct":
            _correct(entry, oracle, posted, step.n)
        else:
            ml = step.n if step.kind == "receive" else -step.n
            posted.append(_post(entry, tank, cast, ml))
            oracle.entries.append((happened, ml))
    book = BookThen([tank.pk], SIX)
    for minute in range(len(steps) + 1):
        assert book.at(tank.pk, SIX + minute * MINUTE).ml == oracle.book(minute)
    if counted:
        last = max(counted)  # one person: who looks again takes back what they said
        found = variance(taking.inventory)
        off = counted[last] - oracle.book(last)
        assert [each.difference_ml for each in found.differences] == ([off] if abs(off) > 1 else [])


def _post(entry: Entry, tank: Container, cast: Cast, ml: int) -> object:
    if ml > 0:
        return movements.receive(entry, container=tank, lot=cast.lot, ml=ml).movement_id
    return movements.use(entry, container=tank, ml=-ml, account=Account.INCIDENT).movement_id


def _correct(entry: Entry, oracle: Oracle, posted: list[object], n: int) -> None:
    """One that was not corrected yet, if there is any; corrections among them."""
    free = [index for index in range(len(posted)) if index not in oracle.corrects.values()]
    if free:
        chosen = free[n % len(free)]
        made = movements.correct(entry, movement=Movement.objects.get(pk=posted[chosen]))
        posted.append(made.movement_id)
        oracle.corrects[len(oracle.entries)] = chosen
        oracle.entries.append((0, 0))


def test_place_and_seal_go_back_too(cast: Cast) -> None:
    """In the store sealed at six, opened at 6:10, moved at 6:20, and the move corrected at 6:40."""
    pail = cast.pail()

    def entry(minute: int, **values: object) -> Entry:
        return Entry(cast.department, OWNER, StoppedClock(SIX + minute * MINUTE), **values)

    movements.receive(entry(0), container=pail, lot=cast.lot, ml=9_000, place=cast.store)
    sealed = entry(0).draft("marked")
    entry(0).post(sealed._replace(marks=(MarkAs(pail.pk, Mark.SEALED, "yes"),)))
    pail.refresh_from_db()
    movements.open_container(entry(10), container=pail)
    moved = movements.move(entry(20), containers=[pail], place=cast.on_unit)
    store, unit = cast.store.pk, cast.on_unit.pk

    def then(minute: int) -> Then:
        return BookThen([pail.pk], SIX).at(pail.pk, SIX + minute * MINUTE)

    assert [then(minute) for minute in (5, 15, 25)] == [
        Then(9_000, store, True),
        Then(9_000, store, False),
        Then(9_000, unit, False),
    ]
    movements.correct(entry(40, reason="it never went"), movement=Movement.objects.get(pk=moved.movement_id))
    assert then(25) == Then(9_000, store, False), "what was corrected had never been so"
    assert then(15) == Then(9_000, store, False), "and both are taken back in turn"
