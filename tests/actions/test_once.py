"""A form is done once, under the id that it minted."""

from __future__ import annotations

import pytest

from readiness.actions import movements
from readiness.actions.drafts import Refused, SameIdOtherBody, new_id
from readiness.actions.movements import Entry
from readiness.actions.once import Asked, once
from readiness.models import Movement, Role, Submission
from tests.cast import CLOCK, PAIL_ML

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked():
    return Asked(new_id(), "move", {"codes": ["P1"]})


def do(cast, asked, act):
    return once(cast.department, asked, act, acting=cast.acting(Role.CHIEF), clock=CLOCK)


def opening(cast, pail):
    entry = Entry(cast.department, cast.acting(Role.CHIEF), CLOCK)
    return lambda: [movements.receive(entry, container=pail, lot=cast.lot, ml=PAIL_ML).movement_id]


def test_a_second_time_does_nothing_and_names_the_same_movement(cast, asked):
    pail = cast.pail()
    first = do(cast, asked, opening(cast, pail))
    second = do(cast, asked, opening(cast, pail))
    assert (first.again, second.again) == (False, True)
    assert second.movement_id == first.movement_id == Movement.objects.get().pk
    kept = Submission.objects.get()
    assert (kept.client_id, kept.outcome, kept.movement_id) == (asked.id, "posted", first.movement_id)


def test_the_same_id_with_another_body_is_refused(cast, asked):
    pail = cast.pail()
    do(cast, asked, opening(cast, pail))
    with pytest.raises(SameIdOtherBody, match="confirmed before with another content"):
        do(cast, asked._replace(body={"codes": ["P2"]}), opening(cast, cast.pail()))
    assert Movement.objects.count() == Submission.objects.count() == 1


def test_what_is_refused_leaves_nothing_and_may_be_mended(cast, asked):
    def refuse():
        raise Refused("no")

    with pytest.raises(Refused):
        do(cast, asked, refuse)
    assert not Submission.objects.exists()
    assert do(cast, asked, opening(cast, cast.pail())).again is False


def test_what_posts_no_movement_is_kept_too(cast, asked):
    done = [do(cast, asked, list) for _ in range(2)]
    assert [(each.movement_id, each.again) for each in done] == [(None, False), (None, True)]
