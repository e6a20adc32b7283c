"""Fleet tonight: every unit with its status at this moment, sorted and filtered in SQL, fifty thawed at a time.

A unit's status is its current assessment's, but nothing gets better by waiting: where its check has run out since, or
the day to which its answer held has passed, or something changed that has not been judged, a ready or limited unit is
unverified. That is said in SQL, so that counts, filters and the page agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from typing import Any, Final, NamedTuple

from django.db.models import (
    BooleanField,
    Case,
    Count,
    Exists,
    F,
    FilteredRelation,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    TextField,
    Value,
    When,
)

from readiness.engineering.deficiencies import System, sentence
from readiness.models import Assessment, Check, Deficiency, Department, Unit
from readiness.reports.duty_figures import DutyFigures, duty_figures, few_words
from readiness.reports.remembered import Remembered
from readiness.reports.verdicts import Kept, marked, read_kept

NOT_JUDGED: Final = "not_judged"
STATES: Final = ("not_ready", NOT_JUDGED, "unverified", "limited", "ready", "no_foam_duty")  # in the order of the list
HOPEFUL: Final = ("ready", "limited")  # what waiting makes unverified
OPEN: Final = ("not_ready", "unverified", "limited")
CHUNK: Final = 200
MOST_SENTENCES: Final = 3
MOST_REMEMBERED: Final = 4096


class Tally(NamedTuple):
    """How many units have a status; of these, those whose every deficiency of that severity a chief has accepted."""

    status: str
    units: int
    accepted: int


class Counted(NamedTuple):
    """The whole fleet in numbers."""

    tallies: tuple[Tally, ...]
    new_answers: int  # found since a moment, usually since the last complete night

    @property
    def units(self) -> int:
        """All of them."""
        return sum(each.units for each in self.tallies)


class UnitTonight(NamedTuple):
    """One unit of the list. `as_of` is when its answer was found; `confirmed_on` the last day it was found again."""

    id: int
    name: str
    station: str
    vehicle: str
    status: str
    accepted: bool
    was_judged: str  # the status of the assessment, where waiting has made it worse; else empty
    check_ran_out: datetime | None
    answer_ran_out: date | None
    due: bool  # something changed that has not been judged
    reasons: tuple[str, ...]  # of the unit itself, in a few words
    sentences: tuple[str, ...]
    more: int  # sentences left out
    duties: tuple[DutyFigures, ...]
    holds_until: date | None
    checked_at: datetime | None
    checked_by: str
    check_good_until: datetime | None
    as_of: datetime | None
    confirmed_on: date | None
    unreadable: bool
    fingerprint: str  # of the facts the figures were worked from: the same, the same figures


def units_tonight(department: Department, now: datetime, day: date) -> QuerySet[Any, Any]:
    """The department's units with `effective` (status at this moment), `rank` (worst first) and `accepted`."""
    current = FilteredRelation("assessments", condition=Q(assessments__superseded_at__isnull=True))
    rows = Unit.objects.filter(department=department, retired_on__isnull=True).annotate(current=current)
    rows = rows.annotate(effective=_effective(now, day))
    ranks = [When(effective=state, then=Value(n)) for n, state in enumerate(STATES)]
    rows = rows.annotate(rank=Case(*ranks, default=Value(len(STATES)), output_field=IntegerField()))
    return rows.annotate(accepted=_accepted(department, day))


def _effective(now: datetime, day: date) -> Case:
    stale = Q(current__check_good_until__lt=now) | Q(current__holds_until__lt=day) | Q(judge_due=True)
    return Case(
        When(current__status__isnull=True, then=Value(NOT_JUDGED)),
        When(stale & Q(current__status__in=HOPEFUL), then=Value("unverified")),
        default=F("current__status"),
        output_field=TextField(),
    )


def _accepted(department: Department, day: date) -> Case:
    """Whether every open deficiency of the status's own severity is accepted today by a chief.

    The units with any acceptance are few and listed once; only their deficiencies are looked at one by one.
    """
    open_now = Deficiency.objects.filter(closed_on__isnull=True)
    some = open_now.filter(department=department, accepted_until__gte=day).values("unit")
    same = open_now.filter(unit=OuterRef("pk"), severity=OuterRef("current__status"))
    left = same.filter(Q(accepted_until__isnull=True) | Q(accepted_until__lt=day))
    stands = Q(current__status__in=OPEN, pk__in=some) & Exists(same.filter(accepted_until__gte=day)) & ~Exists(left)
    of_status = Q(effective=F("current__status"))
    return Case(When(stands & of_status, then=Value(True)), default=Value(False), output_field=BooleanField())


def count_units(rows: QuerySet[Any, Any], since: datetime | None) -> Counted:
    """The units by status, each status listed, accepted ones counted apart; and the answers younger than `since`."""
    younger = Count("pk", filter=Q(current__at__gt=since)) if since else Value(0)
    counted = rows.order_by().values_list("effective", "accepted").annotate(n=Count("pk"), younger=younger)
    found: dict[str, list[int]] = {state: [0, 0] for state in STATES}
    new = 0
    for effective, accepted, n, after in counted:
        found[effective][0] += n
        found[effective][1] += n if accepted else 0
        new += after
    return Counted(tuple(Tally(state, *numbers) for state, numbers in found.items()), new)


class FleetRows(Sequence[UnitTonight]):
    """The units of a sorted and filtered list; only a slice that is asked for is read and thawed."""

    def __init__(
        self,
        rows: QuerySet[Any, Any],
        department: Department,
        now: datetime,
        day: date,
        system: System,
        length: int | None = None,
    ) -> None:
        self._rows = rows
        self._reader = _Reader(department, now, day, system)
        self._length = length  # where it is known already

    def __len__(self) -> int:
        if self._length is None:
            self._length = self._rows.count()
        return self._length

    def __getitem__(self, index: Any) -> Any:
        if isinstance(index, slice):
            return self._reader.read(self._rows[index])
        return self._reader.read(self._rows[index : index + 1])[0]

    def __iter__(self) -> Iterator[UnitTonight]:
        for start in range(0, len(self), CHUNK):
            yield from self[start : start + CHUNK]


class _Worked(NamedTuple):
    """What a list shows of an assessment, whoever reads it and when: it follows from the inputs alone."""

    vehicle: str
    reasons: tuple[str, ...]
    sentences: tuple[str, ...]
    duties: tuple[DutyFigures, ...]
    checked_at: datetime | None


_WORKED: Final[Remembered[_Worked | None]] = Remembered(MOST_REMEMBERED)


class _Reader:
    def __init__(self, department: Department, now: datetime, day: date, system: System) -> None:
        self.department = department
        self.now = now
        self.day = day
        self.system = system

    def read(self, rows: QuerySet[Any, Any]) -> list[UnitTonight]:
        """The units of a slice: their rows, their assessments, and who made their checks."""
        pks = list(rows.values_list("pk", flat=True))
        units = self._rows(pks)
        found = {each.unit_id: each for each in Assessment.objects.filter(unit__in=pks, superseded_at__isnull=True)}
        worked = {unit: self._worked(each) for unit, each in found.items()}
        checked_by = self._checked_by(pks, [one.checked_at for one in worked.values() if one and one.checked_at])
        return [self._unit(units[pk], found.get(pk), worked.get(pk), checked_by) for pk in pks]

    def _rows(self, pks: Sequence[int]) -> dict[int, tuple[Any, ...]]:
        """The units by id, after the slice was taken: what is not sorted by is not worked for the whole fleet."""
        columns = ("pk", "designation", "station__name", "judge_due", "effective", "accepted")
        rows = units_tonight(self.department, self.now, self.day).filter(pk__in=pks)
        return {row[0]: row for row in rows.order_by().values_list(*columns)}

    def _checked_by(self, units: Sequence[int], at: Sequence[datetime]) -> dict[tuple[int, datetime], str]:
        rows = Check.objects.filter(unit__in=units, complete=True, finished_at__in=set(at)).order_by("id")
        columns = ("unit", "finished_at", "by__first_name", "by__last_name", "by__username")
        return {
            (unit, finished): f"{first or ''} {last or ''}".strip() or user or "not named"
            for unit, finished, first, last, user in rows.values_list(*columns)
        }

    def _worked(self, assessment: Assessment) -> _Worked | None:
        """From memory where the same inputs were read before; None where another engine's cannot be read."""
        key = (assessment.inputs_id, assessment.engine, self.system)
        return _WORKED.get(key, lambda: worked(assessment, self.system))

    def _unit(
        self,
        row: tuple[Any, ...],
        assessment: Assessment | None,
        found: _Worked | None,
        checked_by: dict[tuple[int, datetime], str],
    ) -> UnitTonight:
        pk, name, station, due, effective, accepted = row
        told, known = found or _NOTHING, assessment or _NOBODY
        worse = assessment is not None and assessment.status != effective
        check_until, holds = known.check_good_until, known.holds_until
        return UnitTonight(
            id=pk,
            name=name,
            station=station,
            vehicle=told.vehicle,
            status=effective,
            accepted=accepted,
            was_judged=known.status if worse else "",
            check_ran_out=check_until if worse and check_until and check_until < self.now else None,
            answer_ran_out=holds if worse and holds and holds < self.day else None,
            due=due,
            reasons=told.reasons,
            sentences=told.sentences[:MOST_SENTENCES],
            more=max(0, len(told.sentences) - MOST_SENTENCES),
            duties=told.duties,
            holds_until=holds,
            checked_at=told.checked_at,
            checked_by=checked_by.get((pk, told.checked_at), "") if told.checked_at else "",
            check_good_until=check_until,
            as_of=assessment.at if assessment else None,
            confirmed_on=assessment.confirmed_on if assessment else None,
            unreadable=assessment is not None and found is None,
            fingerprint=f"{known.inputs_id} {known.engine}",
        )


_NOTHING: Final = _Worked("", (), (), (), None)
_NOBODY: Final = Assessment()


def worked(assessment: Assessment, system: System) -> _Worked | None:
    """What a list shows of an assessment; None where another engine wrote it and it cannot be read."""
    try:
        kept = read_kept(assessment.answers)
    except (KeyError, TypeError, ValueError):
        return None
    answers = (marked(answer, kept.verdict) for answer in kept.verdict.answers)
    pairs = zip(kept.duties, answers, strict=False)
    return _Worked(
        vehicle=kept.vehicle or "",
        reasons=_own_reasons(kept, system),
        sentences=_told(kept, system),
        duties=tuple(duty_figures(facts, answer, system) for facts, answer in pairs),
        checked_at=kept.checked_at,
    )


def _told(kept: Kept, system: System) -> tuple[str, ...]:
    """What is wrong, worst first; notes are for the unit's own page."""
    every = [each for each in kept.verdict.deficiencies if each.severity != "note"]
    return tuple(sentence(each, system) + (" (accepted)" if each.accepted else "") for each in every)


def _own_reasons(kept: Kept, system: System) -> tuple[str, ...]:
    """What is wrong with the unit itself and not with one of its duties, in a few words."""
    of_duties = {(each.code, each.subject) for answer in kept.verdict.answers for each in answer.deficiencies}
    every = [each for each in kept.verdict.deficiencies if each.severity != "note"]
    return tuple(few_words(each, None, system) for each in every if (each.code, each.subject) not in of_duties)
