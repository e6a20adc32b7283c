"""A dry run: the entry is made inside a transaction, looked at, and undone; units are judged in memory.

Nothing is left behind: the transaction is rolled back whatever the entry wrote, and judging that waits for a commit
never comes. What the entry would be refused for is refused here with the same sentence.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions.clock import SYSTEM_CLOCK, Clock, day_of
from readiness.actions.judging import judge_fleet
from readiness.actions.once import Act
from readiness.engineering.records import Moment
from readiness.models import Department, Marking, MovementLine, Relocation, Unit
from readiness.reports.fleet import Fleet, load_rigs
from readiness.reports.foreseen import ContainerThen, Foreseen, container_changes, standing, unit_changes
from readiness.reports.journal import movements_of, told
from readiness.reports.verdicts import Kept

_NO_UNITS = Fleet((), {}, {}, ())


class _Undo(Exception):
    """Leaves the transaction without keeping anything."""


class _After(NamedTuple):
    """What was seen inside the transaction."""

    words: tuple[str, ...]
    containers: dict[int, ContainerThen]
    units: frozenset[int]
    fleet: Fleet


def foresee(
    department: Department, act: Act, *, containers: Collection[int] = (), clock: Clock = SYSTEM_CLOCK
) -> Foreseen:
    """What `act` would do to containers and to the status of units. Raises what `act` raises.

    containers: those to be shown beside the ones that its movements name.
    """
    at = clock.now()
    moment = Moment(at, day_of(department, at))
    after = _tried(department, act, containers, moment)
    before = standing(department, after.containers)
    was = _judged(_fleet(department, after.units, moment), moment)
    return Foreseen(
        after.words,
        container_changes(before, after.containers),
        unit_changes(was, _judged(after.fleet, moment)),
    )


def _tried(department: Department, act: Act, containers: Collection[int], moment: Moment) -> _After:
    found: list[_After] = []
    try:
        with transaction.atomic():
            movements = act()
            touched = _touched(movements) | set(containers)
            units = frozenset(Unit.objects.filter(department=department, judge_due=True).values_list("pk", flat=True))
            words = _words(department, movements)
            found.append(_After(words, standing(department, touched), units, _fleet(department, units, moment)))
            raise _Undo
    except _Undo:
        return found[0]


def _touched(movements: Sequence[UUID]) -> set[int]:
    """The containers that the movements name."""
    ids: set[int] = set()
    for part in (MovementLine, Relocation, Marking):
        rows = part._default_manager.filter(movement__in=movements, container__isnull=False)
        ids.update(rows.values_list("container", flat=True))
    return ids


def _words(department: Department, movements: Sequence[UUID]) -> tuple[str, ...]:
    rows = movements_of(department).filter(pk__in=movements)
    return tuple(words for row in rows for words in told(row).words)


def _fleet(department: Department, units: Collection[int], moment: Moment) -> Fleet:
    return load_rigs(day=moment.day, departments=[department.pk], units=units) if units else _NO_UNITS


def _judged(fleet: Fleet, moment: Moment) -> list[Kept]:
    verdicts, _ = judge_fleet(fleet, moment)
    return [kept for _, kept in verdicts]
