"""The sheet of a check knows no volume of the book; a check as made says what it covered and what differed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from readiness.actions.change_overs import change_over
from readiness.actions.checks import Read
from readiness.actions.clock import StoppedClock
from readiness.actions.permissions import OWNER
from readiness.models import Check
from readiness.models.checks import Answer
from readiness.reports.check_sheets import check_made, checks_of, sheet_for
from tests.cast import SIX, Cast
from tests.judged import Rigged

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    return Rigged(cast)


def queries(of: object) -> int:
    with CaptureQueriesContext(connection) as seen:
        of()  # type: ignore[operator]
    return len(seen)


def test_pails_alike_take_one_answer_and_an_opened_one_is_measured(rig: Rigged) -> None:
    rig.pails[3].sealed = False
    rig.pails[3].save()
    tank = rig.tank()
    sheet = sheet_for(rig.unit)
    assert [each.code for each in sheet.measured] == [tank.code, "P3"], "the tank first"
    (group,) = sheet.sealed
    assert [each.code for each in group.vessels] == ["P0", "P1", "P2", "P4", "P5", "P6", "P7", "P8"]
    assert (group.place, group.codes, sheet.things) == ("L3", "P0 to P2, P4 to P8", 11)
    (line,) = sheet.lines
    assert (line.name, line.settings_pct, line.rings_lpm) == ("Crosslay 1", (300, 600), ())


def test_pails_of_another_place_are_another_group(rig: Rigged) -> None:
    moved = rig.pails[0]
    moved.place = rig.cast.on_vehicle
    moved.save()
    assert [(each.place, len(each.vessels)) for each in sheet_for(rig.unit).sealed] == [("L3", 8), ("vehicle 201", 1)]


def test_the_sheet_is_of_the_vehicle_of_now(rig: Rigged) -> None:
    rig.tank()
    change_over(rig.department, unit=rig.unit, vehicle=rig.cast.spare_vehicle, acting=OWNER, clock=StoppedClock(SIX))
    sheet = sheet_for(rig.unit)
    assert (sheet.vehicle, sheet.measured, len(sheet.sealed[0].vessels)) == ("vehicle 209", (), 9)


def test_the_sheet_holds_no_volume_but_what_is_printed_on_a_pail(rig: Rigged) -> None:
    """Contents 100,000 mL, last read 98,765 mL: neither stands anywhere in it."""
    tank = rig.tank(ml=100_000)
    tank.reading_ml = 98_765
    tank.save()
    assert "100000" not in repr(sheet_for(rig.unit))
    assert "98765" not in repr(sheet_for(rig.unit))


def test_queries_do_not_grow_with_pails(rig: Rigged) -> None:
    few = queries(lambda: sheet_for(rig.unit))
    for n in range(20):
        rig.pail(f"Q{n}")
    assert queries(lambda: sheet_for(rig.unit)) == few


def test_a_check_says_what_it_covered_and_what_differed(rig: Rigged) -> None:
    """Volumes by hand: 98,000 mL is 25.89 gal, 94,000 mL is 24.83 gal (3785.411784 mL each); the gauge tells 2,000."""
    tank = rig.tank(ml=98_000)
    reads = (
        Read(Answer.GOOD, container=tank.pk, ml=94_000),
        *(Read(Answer.GOOD, container=pail.pk, sealed=True) for pail in rig.pails[:4]),
        Read(Answer.GOOD, container=rig.pails[4].pk, sealed=False, ml=18_927),
        Read(Answer.NOT_CARRIED, container=rig.pails[5].pk),
        Read(Answer.FAULT, container=rig.pails[6].pk, sealed=True, words="dented"),
        Read(Answer.NOT_LOOKED, container=rig.pails[7].pk),
        Read(Answer.FAULT, container=rig.pails[8].pk, words="label gone"),
        Read(Answer.GOOD, line=rig.line.pk, setting_pct=600, flushed=False),
    )
    check = rig.checked(reads, at=SIX + HOUR, clock=StoppedClock(SIX + 3 * HOUR)).check
    made = check_made(check, "us")
    assert (made.complete, made.late, made.looked, made.things) == (False, True, 9, 11)
    assert made.missed == ("P7", "P8 (no volume)")
    assert [(find.subject, find.seen) for find in made.finds] == [
        ("T1", "24.83 gal was read; the book says 25.89 gal."),
        ("P4", "Found opened; the book has it sealed."),
        ("P5", "Not found aboard."),
        ("P6", "Fault: dented."),
        ("P8", "Fault: label gone."),
        ("Crosslay 1", "Stands at 6 %; parked at 3 % by rule."),
        ("Crosslay 1", "Used and not flushed."),
    ]
    assert made.finds[0].meaning == "1.06 gal less than the book; a leak, evaporation or an unbooked use: look again."
    assert [(each.name, each.said, each.things) for each in made.seen[:3]] == [
        ("T1", "good", 1),
        ("P0 to P3", "sealed, good", 4),
        ("P4", "opened", 1),
    ]
    row = checks_of(rig.unit).get(pk=check.pk)
    assert (row.things, row.looked, row.faults, row.missing, row.differ) == (11, 9, 2, 1, 1)  # type: ignore[attr-defined] # counted by checks_of


def test_more_than_the_book_may_be_water(rig: Rigged) -> None:
    """104,000 − 100,000 = 4,000 mL = 1.0567 gal, twice what the gauge tells apart; in liters 4.00."""
    tank = rig.tank(ml=100_000)
    made = check_made(rig.checked(rig.reading(tank, 104_000), at=SIX + HOUR).check, "metric")
    (find,) = made.finds
    assert find.seen == "104.00 L was read; the book says 100.00 L."
    assert find.meaning == "4.00 L more than the book; water may be getting in: look again."


def test_inside_the_gauge_nothing_differs(rig: Rigged) -> None:
    tank = rig.tank(ml=100_000)
    check = rig.checked(rig.reading(tank, 98_000), at=SIX + HOUR).check
    assert check_made(check, "us").finds == ()
    assert checks_of(rig.unit).get(pk=check.pk).differ == 0  # type: ignore[attr-defined] # counted by checks_of


def test_a_check_by_nobody_named(rig: Rigged) -> None:
    assert check_made(Check.objects.get(unit=rig.unit), "us").by == "not named"
