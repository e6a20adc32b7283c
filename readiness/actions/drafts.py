"""A movement as asked for, before the book is looked at."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

import uuid_utils

from readiness.models.movements import Account, Mark, MovementKind

_PLAIN = json.JSONEncoder(default=str, separators=(",", ":"), sort_keys=True)


class Refused(Exception):
    """What was asked cannot be in the world as the book knows it; the text is a sentence for the person.

    `draft` is the movement that was refused, where several were posted at once.
    """

    draft: Draft | None = None


class SameIdOtherBody(Refused):
    """An id that is in the book already came again with another content."""


class Draw(NamedTuple):
    """`ml` out of a container, from its lots in proportion, into another container or an outside account."""

    source: int
    target: int | Account
    ml: int


class Line(NamedTuple):
    """An exact volume of one lot into (+) or out of (−) a container or an outside account."""

    where: int | Account
    lot: int
    ml: int


class Move(NamedTuple):
    """A container changes place; None is outside the department's book."""

    container: int
    from_place: int | None
    to_place: int | None


class MarkAs(NamedTuple):
    """A container's mark becomes `new`: yes, no, an ISO date, a concentrate's id, or empty."""

    container: int
    mark: Mark
    new: str


class Draft(NamedTuple):
    """What happened. `override`: an officer pours what is refused otherwise, and the target is marked mixed."""

    id: UUID
    kind: MovementKind
    happened_at: datetime
    draws: tuple[Draw, ...] = ()
    lines: tuple[Line, ...] = ()
    moves: tuple[Move, ...] = ()
    marks: tuple[MarkAs, ...] = ()
    reason: str = ""
    incident: str = ""
    corrects: UUID | None = None
    override: bool = False
    partner: int | None = None  # the partner department whose account its lines touch
    beside: str = ""  # a fingerprint of all that is entered together, where it is more than this movement

    @property
    def containers(self) -> set[int]:
        """The ids of every container that it touches."""
        ends = {end for draw in self.draws for end in (draw.source, draw.target)} | {line.where for line in self.lines}
        found = {end for end in ends if isinstance(end, int)}
        return found | {move.container for move in self.moves} | {mark.container for mark in self.marks}

    @property
    def digest(self) -> str:
        """A fingerprint of what it asks for, so that the same id with another body is noticed.

        What is not stated is left out: an entry from before there was such a thing is known again.
        """
        if self.beside:
            return digest(self)
        return digest(self[:-1] if self.partner is not None else self[:-2])


def digest(body: object) -> str:
    """A fingerprint of anything that JSON can hold (dates and ids as text)."""
    return hashlib.sha256(_PLAIN.encode(body).encode()).hexdigest()


def new_id() -> UUID:
    """A fresh id, ordered by time (UUID version 7)."""
    return UUID(int=uuid_utils.uuid7().int)
