"""Entries that are sent again and again: of each kind that a form or a phone sends, with what the book must have then.

A `Sender` knows nothing of what was sent before. Each entry takes 1 mL out of the tank, or is a check.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import timedelta
from typing import NamedTuple
from uuid import UUID, uuid5

from readiness.actions import movements
from readiness.actions.checks import CheckDraft, Read, record_check
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import SameIdOtherBody
from readiness.actions.movements import Entry
from readiness.actions.once import Asked, once
from readiness.actions.permissions import Acting
from readiness.actions.queue import FromDevice, take_from_queue
from readiness.actions.submissions import Sent, submit
from readiness.models import Container, Department, Unit, User
from readiness.models.checks import Answer
from readiness.models.movements import Account, Identity
from tests.cast import SIX, Cast

SPACE = UUID("7a1f5e0a-0000-4000-8000-000000000000")
TANK_ML = 1_000_000


def prepare(cast: Cast) -> None:
    """A tank that holds enough for every entry."""
    tank = cast.tank(code="T0", capacity_ml=TANK_ML)
    long_ago = StoppedClock(SIX - timedelta(days=30))
    entry = Entry(cast.department, Acting(None, Identity.COMMAND), long_ago)
    movements.receive(entry, container=tank, lot=cast.lot, ml=TANK_ML, place=cast.on_unit)


class Sender(NamedTuple):
    """Somebody's phone."""

    department: Department
    user: User
    unit: Unit
    tank: Container
    dice: random.Random

    @property
    def acting(self) -> Acting:
        return Acting(self.user, Identity.PASSWORD)

    def send(self, n: int) -> None:
        """The n-th entry, at a moment of its own; now and then with another content under the same number."""
        self._kinds()[n % 4](n, self._clock())

    def _kinds(self) -> tuple[Callable[[int, StoppedClock], None], ...]:
        return (self._json, self._form, self._queued, self._check)

    def _clock(self) -> StoppedClock:
        return StoppedClock(SIX + timedelta(seconds=self.dice.randrange(100_000)))

    def _json(self, n: int, clock: StoppedClock) -> None:
        body = {"container": "T0", "volume": "0.001 L", "account": "incident", "incident": f"26-{n}"}
        submit(self.department, Sent(number(n), "use", body, SIX), acting=self.acting, clock=clock)

    def _form(self, n: int, clock: StoppedClock) -> None:
        asked = Asked(number(n), "use", {"happened_at": None, "n": n})
        once(self.department, asked, lambda: [self._use(n, clock, None)], acting=self.acting, clock=clock)

    def _queued(self, n: int, clock: StoppedClock) -> None:
        """The device's clock is off, by something else each time that it sends."""
        off = timedelta(seconds=self.dice.randrange(-5_000, 5_000))
        entered = SIX - timedelta(minutes=n % 500)
        sent = FromDevice(number(n), "1-1", "/crew/1/after-use/", entered, clock.at + off)
        row = take_from_queue(self.department, sent, acting=self.acting, clock=clock)
        asked = Asked(number(n), "use", {"happened_at": str(row.happened_at), "n": n})
        deed = lambda: [self._use(n, clock, row.happened_at)]  # noqa: E731 - done at once or not at all
        once(self.department, asked, deed, acting=self.acting, clock=clock)
        if self.dice.random() < 0.1:
            self._otherwise(n, clock)

    def _otherwise(self, n: int, clock: StoppedClock) -> None:
        asked = Asked(number(n), "use", {"happened_at": None, "n": -n})
        try:
            once(self.department, asked, lambda: [self._use(n, clock, None)], acting=self.acting, clock=clock)
        except SameIdOtherBody:
            return
        raise AssertionError(f"entry {n} was taken with another content")

    def _use(self, n: int, clock: StoppedClock, at: object) -> UUID:
        entry = Entry(self.department, self.acting, clock, id=number(n), happened_at=at)
        return movements.use(entry, container=self.tank, ml=1, account=Account.INCIDENT).movement_id

    def _check(self, n: int, clock: StoppedClock) -> None:
        made = SIX - timedelta(minutes=n % 500)
        reads = (Read(Answer.GOOD, container=self.tank.pk, ml=TANK_ML, sealed=False),)
        record_check(self.department, CheckDraft(number(n), self.unit.pk, reads, made), acting=self.acting, clock=clock)


def number(n: int) -> UUID:
    """The number of the n-th entry, known to every phone."""
    return uuid5(SPACE, f"entry {n}")


def shuffled(entries: int, sends: int, dice: random.Random) -> list[int]:
    """Each entry once at least, `sends` in all, in any order."""
    order = [*range(entries), *(dice.randrange(entries) for _ in range(sends - entries))]
    dice.shuffle(order)
    return order
