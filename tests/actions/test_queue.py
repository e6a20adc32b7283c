"""What comes out of a device's queue happened when the device says, by the server's clock, however often it is sent."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.once import Asked, once
from readiness.actions.queue import HELD_FORM, FromDevice, happened_at, hold_form, take_from_queue, was_entered
from readiness.models import QueuedEntry, Role, Submission
from tests.cast import CLOCK, SIX

pytestmark = pytest.mark.django_db


def sent(entered_min: float, sent_min: float = 0.0) -> FromDevice:
    """Entered and sent so many minutes before six, on the device's clock."""
    at = [SIX - timedelta(minutes=minutes) for minutes in (entered_min, sent_min)]
    return FromDevice(uuid4(), "1-1", "/crew/1/after-use/", *at)


@pytest.mark.parametrize(
    ("entered_min", "sent_min", "happened_min"),
    [
        (180, 0, 180),  # the clock is right
        (180, 0.9, 180),  # off by less than a minute: taken as right
        (180, 60, 120),  # an hour slow: three hours before six there were two here
        (120, -60, 180),  # an hour fast
        (0, 60, 0),  # its clock was put back meanwhile: never after now
    ],
)
def test_the_devices_clock_is_put_right(entered_min: float, sent_min: float, happened_min: float) -> None:
    assert happened_at(sent(entered_min, sent_min), SIX) == SIX - timedelta(minutes=happened_min)


def test_sent_again_it_happened_when_it_happened_first(cast) -> None:
    entry, acting = sent(180), cast.acting(Role.CREW)
    first = take_from_queue(cast.department, entry, acting=acting, clock=CLOCK)
    later = StoppedClock(SIX + timedelta(hours=5))
    again = entry._replace(sent_at=entry.sent_at + timedelta(hours=4))
    second = take_from_queue(cast.department, again, acting=acting, clock=later)
    assert (second.pk, second.happened_at) == (first.pk, SIX - timedelta(hours=3))
    row = QueuedEntry.objects.get()
    assert (row.times, row.first_at, row.last_at, row.skew_s) == (2, SIX, later.at, 0)
    assert row.device_at == SIX - timedelta(hours=3)


def test_what_came_directly_before_keeps_the_books_time(cast) -> None:
    entry, acting = sent(180), cast.acting(Role.CREW)
    asked = Asked(entry.id, "after use", {"happened_at": None})
    once(cast.department, asked, list, acting=acting, clock=CLOCK)
    assert was_entered(cast.department, entry.id)
    assert take_from_queue(cast.department, entry, acting=acting, clock=CLOCK).happened_at is None


def test_a_number_belongs_to_the_sign_in_that_made_it(cast) -> None:
    entry, acting = sent(10), cast.acting(Role.CREW)
    take_from_queue(cast.department, entry, acting=acting, clock=CLOCK)
    with pytest.raises(Refused, match="sent under another sign-in"):
        take_from_queue(cast.department, entry._replace(whose="1-2"), acting=acting, clock=CLOCK)


def test_a_form_is_held_whole_and_once(cast) -> None:
    entry, acting = sent(180), cast.acting(Role.CREW)
    for _ in range(2):
        held = hold_form(
            cast.department, entry, {"incident": "26-7", "words": ""}, why="55 gal", acting=acting, clock=CLOCK
        )
    assert Submission.objects.get() == held
    assert (held.kind, held.outcome, held.why) == (HELD_FORM, "held", "55 gal")
    assert held.body == {"form": "/crew/1/after-use/", "incident": "26-7"}
    assert held.device_at == SIX - timedelta(hours=3)
    assert QueuedEntry.objects.get().outcome == "held"


def test_what_is_in_the_book_is_not_held(cast) -> None:
    entry, acting = sent(180), cast.acting(Role.CREW)
    once(cast.department, Asked(entry.id, "after use", {}), list, acting=acting, clock=CLOCK)
    with pytest.raises(Refused, match="in the book already"):
        hold_form(cast.department, entry, {}, why="x", acting=acting, clock=CLOCK)
