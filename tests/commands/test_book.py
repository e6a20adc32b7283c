"""`recount` and `history`: what they print of a small book, and how they end."""

from __future__ import annotations

from datetime import timedelta

import pytest

from readiness.actions import movements
from readiness.actions.clock import StoppedClock
from readiness.actions.movements import Entry
from readiness.models import Container, Movement
from readiness.models.movements import Account
from tests.cast import PAIL_ML, SIX, Cast
from tests.commands.calling import failed, refused, said

pytestmark = pytest.mark.django_db

QUAY = ("--department", "Quay County Fire Department")


@pytest.fixture
def pail(cast: Cast) -> Container:
    """P1: received at six, 1,000 mL used at seven and told at ten; corrected at eleven."""
    made = cast.pail(code="P1")
    chief = cast.acting("chief")
    movements.receive(
        Entry(cast.department, chief, StoppedClock(SIX)), container=made, lot=cast.lot, ml=PAIL_ML, place=cast.store
    )
    at = StoppedClock(SIX + timedelta(hours=4))
    late = Entry(cast.department, chief, at, happened_at=SIX + timedelta(hours=1), incident="26-0615")
    movements.use(late, container=made, ml=1_000, account=Account.INCIDENT)
    later = Entry(cast.department, chief, StoppedClock(SIX + timedelta(hours=5)), reason="was water")
    movements.correct(later, movement=Movement.objects.get(kind="used"))
    return made


def test_a_true_book(pail: Container) -> None:
    assert said("recount") == "1 container, 3 movements, 3 lines: no differences.\n"
    assert said("recount", *QUAY) == said("recount")


def test_a_book_that_was_tampered_with(pail: Container) -> None:
    Container.objects.filter(pk=pail.pk).update(contents_ml=PAIL_ML - 1)
    assert failed("recount").splitlines() == [
        f"P1 keeps {PAIL_ML - 1} mL; its lines come to {PAIL_ML} mL.",
        "1 container, 3 movements, 3 lines: 1 difference.",
    ]
    assert said("recount", "--department", "Far County Fire Department").endswith("no differences.\n")


def test_a_history(cast: Cast, pail: Container) -> None:
    chief = cast.people["chief"].username
    assert said("history", "p1", *QUAY).splitlines() == [
        f"2026-06-15 06:00  received by {chief}: +5.00 gal of Demo AR-AFFF 3x6, lot AR-1 from supplier; "
        "moved from outside the book to Quayside store; set aside for Demo AR-AFFF 3x6 → 5.00 gal",
        f"2026-06-15 07:00  used by {chief}: −0.26 gal of Demo AR-AFFF 3x6, lot AR-1 to incident → 4.74 gal "
        "[entered late, 2026-06-15 10:00; corrected later]",
        f"2026-06-15 11:00  corrected by {chief}: +0.26 gal of Demo AR-AFFF 3x6, lot AR-1 from incident → 5.00 gal "
        "[was water]",
        "P1: 5.00 gal (5.00 gal of AR-1)",
        "  Quayside store; concentrate: Demo AR-AFFF 3x6",
    ]


def test_a_history_as_of_a_moment_in_the_department_s_own_time(cast: Cast, pail: Container) -> None:
    cast.department.time_zone = "America/Chicago"  # five hours behind in June
    cast.department.save()
    told = said("history", "P1", *QUAY, "--as-of", "2026-06-15T02:00").splitlines()
    assert told[0].startswith("2026-06-15 01:00  received by")
    assert told[1].startswith("2026-06-15 02:00  used by")
    assert told[2] == "P1 as of 2026-06-15 02:00: 4.74 gal (4.74 gal of AR-1)"
    then = said("history", "P1", *QUAY, "--as-of", "2026-06-15T02:00", "--known-at", "2026-06-15T03:00").splitlines()
    assert then[1].startswith("P1 as of 2026-06-15 02:00")
    assert "5.00 gal" in then[1]


def test_what_is_refused(pail: Container) -> None:
    assert refused("history", "P9", *QUAY) == (
        "'P9' was read; no container of Quay County Fire Department has that label code."
    )
    moment = refused("history", "P1", *QUAY, "--as-of", "Monday")
    assert moment.endswith("'Monday' was read; write a day and its time like 2026-06-15T06:00.")
    assert refused("recount", "--department", "nobody").startswith("'nobody' was read; the departments are: ")


def test_without_a_department() -> None:
    assert refused("history", "P1") == ('There is no department yet. Make one: python manage.py department "Its Name"')
