"""What an entry would change: containers and units before and after it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from readiness.engineering import showing
from readiness.engineering.records import Answer, Deficiency
from readiness.models import Container, Department, Holding
from readiness.models.organisation import PLACE_NAMED_BY
from readiness.reports.verdicts import Kept


class LotThen(NamedTuple):
    """So much of a lot in a container."""

    lot: str
    ml: int


class ContainerThen(NamedTuple):
    """A container as it stands before or after."""

    id: int
    code: str
    contents_ml: int
    capacity_ml: int
    lots: tuple[LotThen, ...]
    place: str
    marks: tuple[str, ...]


class ContainerChange(NamedTuple):
    """A container before (None: not in the book yet) and after."""

    before: ContainerThen | None
    after: ContainerThen

    @property
    def moved(self) -> bool:
        """Whether it changes place."""
        return self.before is None or self.before.place != self.after.place

    @property
    def remarked(self) -> bool:
        """Whether its marks change."""
        return (self.before.marks if self.before else ()) != self.after.marks


class DutyThen(NamedTuple):
    """A duty's answer as far as stock changes it."""

    status: str
    usable_ml: int
    containers: int
    need_ml: int
    short_ml: int
    minutes: float


class DutyChange(NamedTuple):
    """A duty before and after."""

    name: str
    before: DutyThen | None
    after: DutyThen | None


class UnitChange(NamedTuple):
    """A unit before and after, with the findings that come and go. An empty status: it could not be judged."""

    unit_id: int
    unit: str
    before: str
    after: str
    duties: tuple[DutyChange, ...]
    appear: tuple[Deficiency, ...]
    vanish: tuple[Deficiency, ...]

    @property
    def changed(self) -> bool:
        """Whether anything that the page shows differs."""
        figures = any(duty.before != duty.after for duty in self.duties)
        return self.before != self.after or figures or bool(self.appear or self.vanish)


class Foreseen(NamedTuple):
    """All that an entry would change, and what the book would say of it."""

    words: tuple[str, ...]
    containers: tuple[ContainerChange, ...]
    units: tuple[UnitChange, ...]


_MARKS = ("sealed", "mixed", "diluted", "quarantined", "flushed")


def standing(department: Department, ids: Collection[int]) -> dict[int, ContainerThen]:
    """How some containers of a department stand now."""
    lots: dict[int, list[LotThen]] = defaultdict(list)
    held = Holding.objects.filter(container__in=ids, container__department=department).order_by("id")
    for row in held.select_related("lot__concentrate"):
        lots[row.container_id].append(LotThen(str(row.lot), row.ml))
    rows = Container.objects.filter(department=department, pk__in=ids).order_by("code")
    rows = rows.select_related(*(f"place__{owner}" for owner in PLACE_NAMED_BY))
    return {row.pk: _then(row, tuple(lots[row.pk])) for row in rows}


def _then(row: Container, lots: tuple[LotThen, ...]) -> ContainerThen:
    marks = [mark for mark in _MARKS if getattr(row, mark)]
    if row.opened_on and not row.sealed:
        marks.append(f"open since {row.opened_on}")
    place = str(row.place) if row.place else "outside the book"
    return ContainerThen(row.pk, row.code, row.contents_ml, row.capacity_ml, lots, place, tuple(marks))


def container_changes(
    before: Mapping[int, ContainerThen], after: Mapping[int, ContainerThen]
) -> tuple[ContainerChange, ...]:
    """Those that there are afterwards, in the order of their label codes."""
    return tuple(ContainerChange(before.get(pk), then) for pk, then in after.items())


def unit_changes(before: Iterable[Kept], after: Iterable[Kept]) -> tuple[UnitChange, ...]:
    """Every unit that was judged before or after."""
    first = {one.verdict.unit_id: one for one in before}
    then = {one.verdict.unit_id: one for one in after}
    names = {pk: one.unit for pk, one in {**first, **then}.items()}
    return tuple(
        _unit_change(pk, name, first.get(pk), then.get(pk))
        for pk, name in sorted(names.items(), key=lambda pair: pair[1])
    )


def _unit_change(pk: int, name: str, before: Kept | None, after: Kept | None) -> UnitChange:
    was, will = _findings(before), _findings(after)
    return UnitChange(
        unit_id=pk,
        unit=name,
        before=before.verdict.status if before else "",
        after=after.verdict.status if after else "",
        duties=_duty_changes(before, after),
        appear=tuple(each for key, each in will.items() if key not in was),
        vanish=tuple(each for key, each in was.items() if key not in will),
    )


def _findings(one: Kept | None) -> dict[tuple[str, tuple[str, int]], Deficiency]:
    return {(each.code, each.subject): each for each in one.verdict.deficiencies} if one else {}


def _duty_changes(before: Kept | None, after: Kept | None) -> tuple[DutyChange, ...]:
    was = {answer.duty_id: answer for answer in before.verdict.answers} if before else {}
    will = {answer.duty_id: answer for answer in after.verdict.answers} if after else {}
    return tuple(
        DutyChange((will.get(pk) or was[pk]).name, _duty(was.get(pk)), _duty(will.get(pk)))
        for pk in dict.fromkeys([*was, *will])
    )


def _duty(answer: Answer | None) -> DutyThen | None:
    if answer is None:
        return None
    return DutyThen(
        status=answer.status,
        usable_ml=round(answer.usable_l * 1000),
        containers=answer.containers,
        need_ml=round(answer.need_l * 1000),
        short_ml=round(answer.short_l * 1000),
        minutes=showing.minutes(answer),
    )
