"""What was drawn and poured since a reading: the reading counts on. By hand, in whole liters."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions import movements
from readiness.actions.check_differences import Cause, settle_difference
from readiness.actions.clock import StoppedClock
from readiness.actions.permissions import OWNER
from readiness.engineering.records import Moment
from readiness.models import Container, Movement
from readiness.models.movements import Account
from readiness.reports.fleet import load_rigs
from readiness.reports.folds import fold_at
from readiness.reports.inventory import load_inventory
from readiness.reports.unit_today import unit_today
from tests.cast import D0, SIX, Cast
from tests.judged import Rigged

HOUR = timedelta(hours=1)
pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    made = Rigged(cast)
    for each in made.pails:
        movements.move(made.entry(), containers=[each], place=cast.store)
    made.line.pails = False
    made.line.save()
    return made


@pytest.fixture
def tank(rig: Rigged) -> Container:
    """100 L in a tank of which the gauge tells 2 L apart."""
    return rig.tank()


def at(hours: float) -> StoppedClock:
    return StoppedClock(SIX + hours * HOUR)


def use(rig: Rigged, tank: Container, liters: int, hours: float, *, entered: float | None = None) -> Movement:
    entry = rig.entry(at(hours if entered is None else entered), happened_at=SIX + hours * HOUR)
    posted = movements.use(entry, container=tank, ml=liters * 1000, account=Account.INCIDENT)
    return Movement.objects.get(pk=posted.movement_id)


def usable_l(rig: Rigged, hours: float) -> float:
    rig.judge(SIX + hours * HOUR)
    return float(rig.current().answers["verdict"]["answers"][0]["usable_l"])


def in_the_list_ml(rig: Rigged, tank: Container) -> int:
    return next(each.counted_ml for each in load_inventory(rig.department, D0).items if each.id == tank.pk)


def test_foam_used_after_the_check_is_no_water_in_the_tank(rig: Rigged, tank: Container) -> None:
    """Read full at six, 30 L used at seven: 70 L count at eight, in the status and in the list of stock."""
    rig.checked(rig.reading(tank, 100_000), at=SIX)
    use(rig, tank, 30, 1)
    assert usable_l(rig, 2) == 70.0
    assert (rig.open_notes() | rig.open_codes()).isdisjoint({"reading_above_book", "reading_below_book"})
    assert in_the_list_ml(rig, tank) == 70_000


def test_what_was_short_at_the_check_stays_short(rig: Rigged, tank: Container) -> None:
    """90 of 100 L read, then 30 used: 60 count."""
    rig.checked(rig.reading(tank, 90_000), at=SIX)
    use(rig, tank, 30, 1)
    assert usable_l(rig, 2) == 60.0
    assert in_the_list_ml(rig, tank) == 60_000
    assert "reading_below_book" in rig.open_notes()


def test_a_use_entered_late_happened_before_the_reading(rig: Rigged, tank: Container) -> None:
    """70 L read at six since 30 were used in the night; entered at nine."""
    rig.checked(rig.reading(tank, 70_000), at=SIX)
    assert usable_l(rig, 1) == 70.0
    use(rig, tank, 30, -2, entered=3)
    assert usable_l(rig, 4) == 70.0
    assert "reading_below_book" not in rig.open_notes()


def test_a_correction_counts_from_what_it_corrects(rig: Rigged, tank: Container) -> None:
    """30 L booked in the night that nobody used; 100 L read at six; taken back at seven: 100 L."""
    wrong = use(rig, tank, 30, -2)
    rig.checked(rig.reading(tank, 100_000), at=SIX)
    assert usable_l(rig, 0.5) == 0.0  # 30 L above the book
    movements.correct(rig.entry(at(1), happened_at=SIX + HOUR, reason="not used"), movement=wrong)
    assert usable_l(rig, 2) == 100.0


def test_a_settled_difference_leaves_nothing_over(rig: Rigged, tank: Container) -> None:
    """90 of 100 L read, 20 used at seven; the 10 that evaporated are booked for six: book and reading say 70."""
    check = rig.checked(rig.reading(tank, 90_000), at=SIX).check
    settle_difference(rig.department, check=check, container=tank, cause=Cause.EVAPORATED, acting=OWNER, clock=at(0.5))
    tank.refresh_from_db()
    use(rig, tank, 20, 1)
    assert usable_l(rig, 2) == 70.0
    assert (rig.open_notes() | rig.open_codes()).isdisjoint({"reading_above_book", "reading_below_book"})


def test_a_leak_booked_after_the_check_is_no_water_either(rig: Rigged, tank: Container) -> None:
    rig.checked(rig.reading(tank, 100_000), at=SIX)
    entry = rig.entry(at(1), happened_at=SIX + HOUR)
    movements.use(entry, container=tank, ml=10_000, account=Account.LEAK)
    assert usable_l(rig, 2) == 90.0


def test_a_past_moment_has_what_had_happened_by_then(rig: Rigged, tank: Container) -> None:
    """30 L at seven and 20 at nine: 30 less by half past seven, 50 by ten."""
    rig.checked(rig.reading(tank, 100_000), at=SIX)
    use(rig, tank, 30, 1)
    use(rig, tank, 20, 3)
    for hours, moved in ((0.5, 0), (1.5, -30_000), (4, -50_000)):
        past = fold_at(rig.department, SIX + hours * HOUR)
        (found,) = load_rigs(day=D0, departments=[rig.department.pk], past=past).rigs
        (read,) = [each for each in found.containers if each.id == tank.pk]
        assert (read.reading_ml, read.moved_since_ml, read.book_ml) == (100_000, moved, 100_000 + moved)
    (now,) = load_rigs(day=D0, departments=[rig.department.pk]).rigs
    assert [each.moved_since_ml for each in now.containers if each.id == tank.pk] == [-50_000]


def refill(rig: Rigged, tank: Container, liters: int, hours: float) -> None:
    entry = rig.entry(at(hours), happened_at=SIX + hours * HOUR)
    movements.receive(entry, container=tank, lot=rig.cast.lot, ml=liters * 1000, place=rig.cast.on_vehicle)


def test_a_loss_stays_with_the_tank_until_it_is_read_again(rig: Rigged, tank: Container) -> None:
    """90 of 100 L read, the 100 of the book used, 80 received: 70 count, the safe side, until somebody reads 80."""
    rig.checked(rig.reading(tank, 90_000), at=SIX)
    use(rig, tank, 100, 1)
    refill(rig, tank, 80, 2)
    assert usable_l(rig, 3) == 70.0
    rig.checked(rig.reading(tank, 80_000), at=SIX + 4 * HOUR)
    assert usable_l(rig, 5) == 80.0


def test_what_was_read_above_the_book_stays_out_until_it_is_read_again(rig: Rigged, tank: Container) -> None:
    """110 of 100 L read, the 100 of the book used, 90 received: the 10 L too many are in it still, and may be water."""
    rig.checked(rig.reading(tank, 110_000), at=SIX)
    use(rig, tank, 100, 1)
    refill(rig, tank, 90, 2)
    assert usable_l(rig, 3) == 0.0
    assert "reading_above_book" in rig.open_codes()
    rig.checked(rig.reading(tank, 90_000), at=SIX + 4 * HOUR)  # it had been drained, and is read again
    assert usable_l(rig, 5) == 90.0


def test_what_was_left_in_the_tank_stays_above_the_book(rig: Rigged, tank: Container) -> None:
    """110 of 100 L read, 99 used, 90 received: a liter was never out, and 10 L too many may still be water."""
    rig.checked(rig.reading(tank, 110_000), at=SIX)
    use(rig, tank, 99, 1)
    refill(rig, tank, 90, 2)
    assert usable_l(rig, 3) == 0.0
    assert "reading_above_book" in rig.open_codes()
    told = unit_today(rig.unit, Moment(SIX + 3 * HOUR, D0), "us")
    cures = [each.cure for each in told.wrong]
    assert cures[0] == "Read it again; if it still does, take a sample before you load more."
    assert "Load more concentrate." in cures[1:]
    assert not any("above the book" in each.sentence for each in told.notes)
