"""Containers that leave the book for good, or come back into it: their label codes are free for nobody meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from readiness.actions.changes import Changed, record_changes
from readiness.actions.clock import calendar_day_of
from readiness.actions.drafts import Draw, Move
from readiness.models import Container, Holding, Movement
from readiness.models.movements import Account

if TYPE_CHECKING:
    from readiness.actions.movements import Entry  # which asks here what a correction brings back


def emptied_into(containers: Sequence[Container], account: Account) -> tuple[Draw, ...]:
    """A draw for each container of all that is in it by the book."""
    held = Holding.objects.filter(container__in=[each.pk for each in containers]).values_list("container", "ml")
    total: dict[int, int] = {}
    for container, ml in held:
        total[container] = total.get(container, 0) + ml
    return tuple(Draw(each.pk, account, total[each.pk]) for each in containers if each.pk in total)


def out_of_the_book(containers: Sequence[Container]) -> tuple[Move, ...]:
    """A move of each to nowhere; one that stands nowhere already needs none."""
    return tuple(Move(each.pk, each.place_id, None) for each in containers if each.place_id)


def retire(entry: Entry, containers: Sequence[Container]) -> None:
    """They are gone: no list offers them, and no delivery takes their codes. In the caller's transaction."""
    day = calendar_day_of(entry.department, entry.at)
    _set(entry, containers, day.isoformat(), "retire container")


def bring_back(entry: Entry, movement: Movement) -> None:
    """What a movement had taken out of the book is in it again, now that the movement is undone."""
    gone = movement.relocations.filter(to_place=None, container__retired_on__isnull=False)
    _set(entry, Container.objects.filter(pk__in=gone.values("container")), None, "bring back container")


def _set(entry: Entry, containers: Iterable[Container], day: str | None, action: str) -> None:
    rows = list(containers)
    changes = [
        Changed(action, each, {"retired_on": each.retired_on and str(each.retired_on)}, {"retired_on": day})
        for each in rows
    ]
    Container.objects.filter(pk__in=[each.pk for each in rows]).update(retired_on=day)
    record_changes(entry.department, entry.acting, entry.clock.now(), changes)
