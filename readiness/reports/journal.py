"""Movements in words: what went from where to where, and what was marked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import QuerySet

from readiness.engineering.wording import volume_text
from readiness.models import Department, Marking, Movement, MovementLine, User
from readiness.models.movements import Mark
from readiness.models.organisation import PLACE_NAMED_BY
from readiness.reports.histories import LATE_S

_FEW = 4  # containers that are named one by one; more are counted


class Told(NamedTuple):
    """A movement as a list shows it."""

    id: UUID
    kind: str
    happened_at: datetime
    recorded_at: datetime
    late: bool
    by: str
    words: tuple[str, ...]
    containers: tuple[tuple[int, str], ...]
    reason: str
    incident: str
    corrects: UUID | None
    corrected_by: UUID | None


def movements_of(department: Department) -> QuerySet[Movement]:
    """The department's movements with all that `told` needs, in a number of queries that does not grow."""
    places = [f"relocations__{end}__{owner}" for end in ("from_place", "to_place") for owner in PLACE_NAMED_BY]
    rows = Movement.objects.filter(department=department)
    rows = rows.select_related("recorded_by", "corrected_by", "department", "partner")
    return rows.prefetch_related(
        "lines__container", "lines__lot__concentrate", "relocations__container", *places, "markings__container"
    )


def told(movement: Movement) -> Told:
    """A movement, fetched by `movements_of`, in words and in the department's units."""
    later: Movement | None = getattr(movement, "corrected_by", None)
    return Told(
        id=movement.pk,
        kind=movement.kind,
        happened_at=movement.happened_at,
        recorded_at=movement.recorded_at,
        late=(movement.recorded_at - movement.happened_at).total_seconds() > LATE_S,
        by=person_name(movement.recorded_by) or f"({movement.identity})",
        words=(*_volumes(movement), *_moves(movement), *_marks(movement.markings.all())),
        containers=tuple(sorted(_containers(movement).items(), key=lambda pair: pair[1])),
        reason=movement.reason,
        incident=movement.incident,
        corrects=movement.corrects_id,
        corrected_by=later.pk if later else None,
    )


def person_name(user: User | None) -> str:
    """A person by their name, or the name they sign in with."""
    return (user.get_full_name() or user.username) if user else ""


def _containers(movement: Movement) -> dict[int, str]:
    rows = [line.container for line in movement.lines.all() if line.container]
    rows += [each.container for each in movement.relocations.all()]
    rows += [each.container for each in movement.markings.all()]
    return {row.pk: row.code for row in rows}


def _volumes(movement: Movement) -> list[str]:
    by_lot: dict[int, list[MovementLine]] = defaultdict(list)
    for line in sorted(movement.lines.all(), key=lambda line: line.n):
        by_lot[line.lot_id].append(line)
    return [_volume(lines, movement.department.units) for lines in by_lot.values()]


def _volume(lines: Iterable[MovementLine], units: str) -> str:
    lines = list(lines)
    into = [line for line in lines if line.ml > 0]
    out = [line for line in lines if line.ml < 0]
    volume = volume_text(sum(line.ml for line in into), units)
    return f"{volume} of {lines[0].lot} from {_ends(out)} to {_ends(into)}"


def _ends(lines: Iterable[MovementLine]) -> str:
    return few([line.container.code if line.container else line.account for line in lines])


def few(names: Iterable[str]) -> str:
    """A few names one by one, many by their number."""
    names = list(dict.fromkeys(names))
    if len(names) <= _FEW:
        return " and ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else "nothing"
    return f"{len(names)} containers ({names[0]} to {names[-1]})"


def _moves(movement: Movement) -> list[str]:
    ways: dict[tuple[str, str], list[str]] = defaultdict(list)
    for each in movement.relocations.all():
        start, end = (str(place) if place else "" for place in (each.from_place, each.to_place))
        ways[start, end].append(each.container.code)
    return [f"{few(codes)} {_way(start, end)}" for (start, end), codes in ways.items()]


def _way(start: str, end: str) -> str:
    """What a change of place is called. Where it is away, its place says so itself: in transit to, lent to."""
    if end.startswith(_AWAY):
        return f"{end}, from {start or 'outside the book'}"
    if end and start.startswith(_AWAY):
        return f"now at {end}, no longer {start}"
    if not start:
        return f"put at {end}"
    return f"moved from {start} to {end}" if end else f"taken from {start} out of the book"


_AWAY = ("in transit to ", "lent to ")  # as the name of such a place begins
_WORDS: Mapping[tuple[str, str], str] = {
    (Mark.SEALED, "yes"): "sealed",
    (Mark.SEALED, "no"): "no longer sealed",
    (Mark.MIXED, "yes"): "marked mixed: out of the count",
    (Mark.MIXED, "no"): "no longer mixed",
    (Mark.DILUTED, "yes"): "marked diluted: out of the count until sampled",
    (Mark.DILUTED, "no"): "no longer diluted",
    (Mark.QUARANTINED, "yes"): "quarantined",
    (Mark.QUARANTINED, "no"): "released from quarantine",
    (Mark.FLUSHED, "yes"): "flushed, to be inspected",
    (Mark.FLUSHED, "no"): "no longer waiting for inspection",
}


def _marks(markings: Iterable[Marking]) -> list[str]:
    said: dict[str, list[str]] = defaultdict(list)
    for each in markings:
        if each.mark == Mark.CONCENTRATE and each.new:
            continue  # what it is set aside for is said by the lot that went in
        said[_mark_words(each)].append(each.container.code)
    return [f"{few(codes)} {words}" for words, codes in said.items()]


def _mark_words(each: Marking) -> str:
    if each.mark == Mark.OPENED_ON:
        return f"opened on {each.new}" if each.new else "not opened after all"
    if each.mark == Mark.CONCENTRATE:
        return "clean: may take any concentrate"
    return _WORDS[each.mark, each.new]
