"""A container's life in words, and what it was at any past moment, as it was known then."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry
from readiness.models import Container, Movement
from readiness.models.movements import Account
from readiness.reports.histories import history
from tests.cast import PAIL_ML, SIX, Cast

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


def entry(cast: Cast, hours: float, **values: object) -> Entry:
    """An entry made so many hours after six."""
    return Entry(cast.department, cast.acting("chief"), StoppedClock(SIX + hours * HOUR), **values)


@pytest.fixture
def tank(cast: Cast) -> Container:
    """T1: 20,000 mL of AR-1 at six, a pail of AR-2 poured in at seven, 3,000 mL used at eight and told at eleven.

    By hand: 20,000 + 18,927 = 38,927; of 3,000 the lots give 3,000 × 20,000 / 38,927 = 1,541 and 1,459.
    """
    made, pail = cast.tank(code="T1"), cast.pail(code="P1")
    movements.receive(entry(cast, 0), container=made, lot=cast.lot, ml=20_000, place=cast.on_vehicle)
    movements.receive(entry(cast, 0), container=pail, lot=cast.other_lot, ml=PAIL_ML, place=cast.store)
    movements.pour(entry(cast, 1), source=pail, target=made, ml=PAIL_ML)
    late = entry(cast, 5, happened_at=SIX + 2 * HOUR, incident="26-0615")
    movements.use(late, container=made, ml=3_000, account=Account.INCIDENT)
    made.refresh_from_db()
    return made


def test_a_life_in_words(cast: Cast, tank: Container) -> None:
    told = history(tank)
    assert [event.kind for event in told.events] == ["received", "poured", "used"]
    received, poured, used = (event.words for event in told.events)
    assert received == (
        "+5.28 gal of Demo AR-AFFF 3x6, lot AR-1 from supplier",  # 20,000 / 3,785.41 = 5.283
        "moved from outside the book to vehicle 201",
        "set aside for Demo AR-AFFF 3x6",
    )
    assert poured == ("+5.00 gal of Demo AR-AFFF 3x6, lot AR-2 from P1",)
    assert [word.split(" of ")[0] for word in used] == ["−0.41 gal", "−0.39 gal"]  # 1,541 and 1,459 mL
    assert [event.contents_ml for event in told.events] == [20_000, 38_927, 35_927]
    assert told.lots_ml == {"AR-1": 20_000 - 1_541, "AR-2": PAIL_ML - 1_459}
    assert (told.place, told.marks) == ("vehicle 201", {"concentrate": "Demo AR-AFFF 3x6"})
    assert {event.by for event in told.events} == {cast.people["chief"].username}


def test_a_late_entry_is_marked(tank: Container) -> None:
    assert [event.late for event in history(tank).events] == [False, False, True]
    used = history(tank).events[-1]
    assert (used.happened_at, used.recorded_at) == (SIX + 2 * HOUR, SIX + 5 * HOUR)


@pytest.mark.parametrize(
    ("as_of", "known_at", "contents_ml"),
    [
        (None, None, 35_927),
        (0, None, 20_000),
        (0.5, None, 20_000),
        (1, None, 38_927),
        (2, None, 35_927),  # it had happened by eight, as is known now
        (2, 3, 38_927),  # at nine nobody had told
        (None, 0.5, 20_000),
        (-1, None, 0),
    ],
)
def test_any_past_moment_as_known_then(
    tank: Container, as_of: float | None, known_at: float | None, contents_ml: int
) -> None:
    moments = [None if hours is None else SIX + hours * HOUR for hours in (as_of, known_at)]
    told = history(tank, as_of=moments[0], known_at=moments[1])
    assert (told.contents_ml, sum(told.lots_ml.values())) == (contents_ml, contents_ml)
    assert (told.as_of, told.known_at) == (moments[0], moments[1])
    assert told.place == ("vehicle 201" if contents_ml else "outside the book")


def test_a_correction_is_told_with_what_it_corrects(cast: Cast, tank: Container) -> None:
    wrong = Movement.objects.get(kind="used")
    done = movements.correct(entry(cast, 6, reason="another rig's tank"), movement=wrong)
    told = history(tank)
    *_, used, corrected = told.events
    assert (used.corrected_by, used.corrects) == (done.movement_id, None)
    assert (corrected.corrects, corrected.reason, corrected.kind) == (wrong.pk, "another rig's tank", "corrected")
    assert told.contents_ml == 38_927
    # As it was known at eleven, the use stood uncorrected.
    then = history(tank, known_at=SIX + 5 * HOUR)
    assert (then.events[-1].corrected_by, then.contents_ml) == (None, 35_927)


def test_marks_and_moves_are_told(cast: Cast, tank: Container) -> None:
    pail = Container.objects.get(code="P1")
    movements.move(entry(cast, 2), containers=[pail], place=cast.on_unit)
    movements.quarantine(entry(cast, 3, reason="bulges"), container=pail)
    movements.release(entry(cast, 4, reason="looked into"), container=pail)
    told = history(pail)
    assert [event.words for event in told.events[-3:]] == [
        ("moved from Quayside store to Engine 1, L3",),
        ("quarantined",),
        ("no longer quarantined",),
    ]
    assert told.events[-1].reason == "looked into"
    assert told.marks["quarantined"] == "no"
    assert history(pail, as_of=SIX + 3 * HOUR).marks["quarantined"] == "yes"
    assert (told.contents_ml, told.lots_ml) == (0, {})
    assert told.events[1].words == ("−5.00 gal of Demo AR-AFFF 3x6, lot AR-2 to T1",)
