"""Questions to the company officer about a check. A question is no accusation and changes no status.

Asked are: a whole check with numbers in it that took no longer than a walk around the rig; two readings of one
container that lie further apart than its gauge resolves though nothing was entered between them, as when sight gauge
and stick disagree; and a check that came in after a later one, as out of a device without signal. A sealed, full rig
that reads the same for months is as it should be and asks nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final, NamedTuple
from uuid import UUID

from django.db.models import Exists, F, OuterRef, QuerySet, Window
from django.db.models.functions import RowNumber

from readiness.engineering.wording import volume_text
from readiness.models import Answered, Check, MovementLine, Reading, Unit
from readiness.reports.check_sheets import beyond_the_gauge, person, took_s, two_disagree

HASTY_S: Final = 20  # a whole rig; common practice, no source
ASKED_FOR: Final = timedelta(days=14)  # later nobody remembers


class Question(NamedTuple):
    """What to ask, and about what: a check, or one container of it."""

    check: UUID
    container_id: int | None
    at: datetime
    sentence: str
    ask: str


def questions(unit: Unit, now: datetime, units: str) -> list[Question]:
    """Those of the last fortnight that nobody has answered, the latest first."""
    checks = Check.objects.filter(unit=unit, finished_at__gte=now - ASKED_FOR)
    found = [*_hasty(checks), *_two_gauges(unit, now, units), *_disagreeing(unit, now, units), *_overtaken(checks)]
    answered = set(Answered.objects.filter(check_of__unit=unit).values_list("check_of", "container"))
    left = [each for each in found if (each.check, each.container_id) not in answered]
    return sorted(left, key=lambda each: each.at, reverse=True)


def _hasty(checks: QuerySet[Check, Check]) -> Iterable[Question]:
    """The last whole check, where it was quicker than its numbers can be read."""
    numbers = Reading.objects.filter(check_of=OuterRef("pk"), ml__isnull=False)
    whole = checks.filter(complete=True).annotate(read=Exists(numbers)).select_related("by")
    last = whole.order_by("-finished_at", "-id").first()
    seconds = took_s(last) if last is not None and last.read else None
    if last is not None and seconds is not None and seconds <= HASTY_S:
        said = f"The whole check by {person(last.by)} took {seconds} s, with gauges to read."
        yield Question(last.pk, None, last.finished_at, said, "Was it made at the rig? If not, have it made again.")


def _two_gauges(unit: Unit, now: datetime, units: str) -> Iterable[Question]:
    """Containers whose sight gauge and stick were read at one look and lie further apart than the gauge resolves."""
    rows = Reading.objects.filter(check_of__unit=unit, check_of__finished_at__gte=now - ASKED_FOR)
    rows = rows.filter(stick_ml__isnull=False, ml__isnull=False, container__isnull=False)
    for row in rows.select_related("check_of", "container").order_by("id"):
        if two_disagree(row):
            two = [volume_text(each or 0, units) for each in (row.ml, row.stick_ml)]
            said = (
                f"{row.container}: the gauge said {two[0]} and the stick {two[1]}. The lesser counts until it is known."
            )
            ask = "Have both read once more, side by side. Does the gauge stick, or is there a skin under the lid?"
            yield Question(row.check_of_id, row.container_id, row.check_of.finished_at, said, ask)


def _overtaken(checks: QuerySet[Check, Check]) -> Iterable[Question]:
    """Those that were made before another check and came in after it, in one query."""
    later = Check.objects.filter(
        unit=OuterRef("unit"), finished_at__gt=OuterRef("finished_at"), recorded_at__lt=OuterRef("recorded_at")
    )
    for row in checks.filter(Exists(later)).select_related("by"):
        said = f"The check by {person(row.by)} came in after a later one: it replaced nothing that was read there."
        yield Question(row.pk, None, row.finished_at, said, "Look at both: what of it is still to be done?")


def _disagreeing(unit: Unit, now: datetime, units: str) -> Iterable[Question]:
    """The last two readings of each container aboard, in one query and one for what was entered between them."""
    order = [F("check_of__finished_at").desc(), F("id").desc()]
    turn = Window(RowNumber(), partition_by=[F("container")], order_by=order)
    rows = Reading.objects.filter(check_of__unit=unit, ml__isnull=False, container__isnull=False)
    rows = rows.filter(check_of__finished_at__gte=now - ASKED_FOR).annotate(turn=turn).filter(turn__lte=2)
    pairs: dict[int, list[Reading]] = {}
    for row in rows.select_related("check_of", "container").order_by("container", "turn"):
        pairs.setdefault(row.container_id or 0, []).append(row)
    apart = [pair for pair in pairs.values() if len(pair) == 2 and _apart(*pair)]
    moved = _moved(apart)
    for last, before in apart:
        if last.container_id not in moved and last.container is not None:
            two = [f"{volume_text(each.ml or 0, units)}" for each in (before, last)]
            said = f"{last.container} was read at {two[0]} and then at {two[1]}, and nothing was entered between."
            ask = "Do gauge and stick disagree? Have both read once more, side by side."
            yield Question(last.check_of_id, last.container_id, last.check_of.finished_at, said, ask)


def _apart(last: Reading, before: Reading) -> bool:
    return last.container is not None and beyond_the_gauge(last.ml, before.ml, last.container.resolution_ml)


def _moved(pairs: list[list[Reading]]) -> set[int]:
    """Containers of which the book has something between their two readings."""
    wanted = {last.container_id: (before.check_of.finished_at, last.check_of.finished_at) for last, before in pairs}
    lines = MovementLine.objects.filter(container__in=[pk for pk in wanted if pk]).order_by()
    times = lines.values_list("container", "movement__happened_at")
    return {pk for pk, at in times if pk and wanted[pk][0] <= at <= wanted[pk][1]}
