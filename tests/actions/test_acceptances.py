"""Acceptance of a deficiency: by a chief, until a day, counted apart, never better than it is."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from readiness.actions.acceptances import accept, withdraw
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Refused
from readiness.actions.permissions import OWNER, NotAllowed
from readiness.engineering.deficiencies import TABLE
from readiness.models import Change, Deficiency, Role, Unit
from readiness.reports.nights import since_when
from readiness.reports.verdicts import printed_unit, read_kept
from tests.actions.small_department import every_row
from tests.cast import D0, SIX, Cast
from tests.judged import Rigged

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


@pytest.fixture
def rig(cast: Cast) -> Rigged:
    """Its line is used and not flushed: limited."""
    made = Rigged(cast)
    made.line.unflushed_since = SIX
    made.line.save()
    made.judge()
    return made


def found(rig: Rigged, code: str = "flush_not_logged") -> Deficiency:
    return Deficiency.objects.get(unit=rig.unit, code=code, closed_on=None)


def accepted(rig: Rigged, until: date = D0 + 5 * DAY, role: Role = Role.CHIEF, note: str = "flushed at noon") -> None:
    clock = StoppedClock(SIX)
    accept(rig.department, deficiency=found(rig), until=until, note=note, acting=rig.cast.acting(role), clock=clock)


def printed(rig: Rigged) -> tuple[str, dict[str, bool], dict[str, bool]]:
    """(status, the unit's deficiencies, its duty's deficiencies) with whether each is accepted."""
    row = rig.current()
    told = printed_unit(read_kept(row.answers), since_when(rig.department, row.day)[rig.unit.pk])
    duty = {each["code"]: each["accepted"] for each in told["duties"][0]["deficiencies"]}
    return told["status"], {each["code"]: each["accepted"] for each in told["deficiencies"]}, duty


def test_an_accepted_deficiency_keeps_its_severity_and_is_marked(rig: Rigged) -> None:
    assert printed(rig) == ("limited", {"flush_not_logged": False}, {"flush_not_logged": False})
    accepted(rig)
    row = found(rig)
    assert (row.severity, row.accepted_by, row.accepted_until) == (
        "limited",
        rig.cast.people[Role.CHIEF],
        D0 + 5 * DAY,
    )
    assert rig.judge().changed == 1
    assert printed(rig) == ("limited", {"flush_not_logged": True}, {"flush_not_logged": True})
    change = Change.objects.get(action="accept deficiency")
    assert change.old == {"accepted_until": None}
    assert change.new == {"accepted_until": "2026-06-20", "note": "flushed at noon"}


def test_it_runs_through_its_last_day_and_no_longer(rig: Rigged) -> None:
    accepted(rig, until=D0 + DAY)
    rig.checked(at=SIX + DAY)
    rig.judge(SIX + DAY)
    assert printed(rig)[1] == {"flush_not_logged": True}
    rig.checked(at=SIX + 2 * DAY)
    rig.judge(SIX + 2 * DAY)
    assert printed(rig)[1] == {"flush_not_logged": False}
    assert found(rig).since_on == D0  # it is the same deficiency


def test_what_was_cured_and_comes_again_is_not_accepted(rig: Rigged) -> None:
    accepted(rig)
    rig.line.unflushed_since = None
    rig.line.save()
    assert rig.status() == "ready"
    rig.line.unflushed_since = SIX
    rig.line.save()
    rig.judge()
    assert found(rig).accepted_until is None
    assert printed(rig)[1] == {"flush_not_logged": False}


def test_an_acceptance_is_taken_back(rig: Rigged) -> None:
    accepted(rig)
    withdraw(rig.department, deficiency=found(rig), acting=rig.cast.acting(Role.CHIEF), clock=StoppedClock(SIX))
    row = found(rig)
    assert (row.accepted_by, row.accepted_until, row.note) == (None, None, "flushed at noon")
    assert Change.objects.filter(action="withdraw acceptance").count() == 1
    rig.judge()
    assert printed(rig)[1] == {"flush_not_logged": False}


@pytest.mark.parametrize("role", [role for role in Role if role != Role.CHIEF])
def test_only_a_chief(rig: Rigged, role: Role) -> None:
    before = every_row()
    with pytest.raises(NotAllowed):
        accepted(rig, role=role)
    with pytest.raises(NotAllowed):
        withdraw(rig.department, deficiency=found(rig), acting=rig.cast.acting(role), clock=StoppedClock(SIX))
    assert every_row() == before


def test_the_owner_at_the_command_line_is_nobody_named(rig: Rigged) -> None:
    with pytest.raises(Refused, match="accepted by a named person"):
        accept(rig.department, deficiency=found(rig), until=D0, note="x", acting=OWNER, clock=StoppedClock(SIX))


def test_a_day_that_is_past_and_a_reason_that_is_missing(rig: Rigged) -> None:
    before = every_row()
    with pytest.raises(Refused, match=r"2026-06-14 was read, which is past \(today is 2026-06-15\)"):
        accepted(rig, until=D0 - DAY)
    with pytest.raises(Refused, match="No reason was read: say why it can be accepted"):
        accepted(rig, note="  ")
    assert every_row() == before
    accepted(rig, until=D0)  # today is still to come


def test_what_was_cured_cannot_be_accepted(rig: Rigged) -> None:
    row = found(rig)
    rig.line.unflushed_since = None
    rig.line.save()
    rig.judge()
    with pytest.raises(Refused, match="This deficiency was cured on 2026-06-15"):
        accept(
            rig.department,
            deficiency=row,
            until=D0,
            note="x",
            acting=rig.cast.acting(Role.CHIEF),
            clock=StoppedClock(SIX),
        )


def test_what_nobody_may_accept(rig: Rigged) -> None:
    Unit.objects.filter(pk=rig.unit.pk).update(state="out")
    rig.judge()
    with pytest.raises(Refused, match="nobody may accept this; it has to be cured"):
        accept(
            rig.department,
            deficiency=found(rig, "out_of_service"),
            until=D0,
            note="x",
            acting=rig.cast.acting(Role.CHIEF),
            clock=StoppedClock(SIX),
        )
    # what is wrong with the foam itself, or missing altogether, is no chief's to accept
    nobody = {code for code, row in TABLE.items() if not row.accepted_by}
    assert {"mixed", "recalled", "sample_failed", "wrong_foam", "no_stock", "out_of_service"} <= nobody
