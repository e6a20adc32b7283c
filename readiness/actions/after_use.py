"""Back to service after a use: what was used, which lines drew foam, and how long each was flushed; in one entry."""

from __future__ import annotations

from typing import Any, Final, NamedTuple
from uuid import UUID

from django.db import transaction

from readiness.actions.drafts import Draw, Refused
from readiness.actions.evidence import record_flush_of_line, record_use_of_line
from readiness.actions.movements import SPENT, Entry, permission_for
from readiness.actions.permissions import require
from readiness.actions.raised_deficiencies import raise_deficiency
from readiness.models import Container, FoamLine, Unit
from readiness.models.movements import Account
from readiness.models.raised_deficiencies import Effect

LEAST_FLUSH_MIN: Final = 1.0  # clear water at least one minute or until clear: public trade articles
CLEAN, FAULTY, NOT_LOOKED = "clean", "fault", "not looked at"


class Used(NamedTuple):
    """So much out of a container [mL]."""

    container: Container
    ml: int


class Flushed(NamedTuple):
    """A line that drew foam: how long clear water ran through it [min], 0 for not yet; how its strainer was found."""

    line: FoamLine
    minutes: float
    strainer: str = NOT_LOOKED
    words: str = ""


def record_after_use(
    entry: Entry, *, unit: Unit, account: Account, used: tuple[Used, ...], lines: tuple[Flushed, ...]
) -> list[UUID]:
    """Enter a use. Until its flush is logged a line is limited; a faulty strainer is raised as a deficiency.

    Returns the movement, if anything was used. Raises Refused with a sentence; then nothing has changed.
    """
    require(entry.acting, entry.department, permission_for(account))
    if account not in SPENT:
        raise Refused(f"{account} was read: concentrate goes to one of {', '.join(SPENT)}.")
    if not used and not lines:
        raise Refused("Nothing was read: say what was used, or which line drew foam.")
    if any(each.line.department_id != entry.department.pk for each in lines):
        raise Refused(f"There is no such line in {entry.department}.")
    for each in lines:
        _long_enough(each)
    with transaction.atomic():
        posted = [_use(entry, account, used)] if used else []
        for each in lines:
            _line(entry, each)
    return posted


def _long_enough(each: Flushed) -> None:
    if 0 < each.minutes < LEAST_FLUSH_MIN:
        raise Refused(
            f"{each.line}: {each.minutes:g} min was read. Clear water runs for at least {LEAST_FLUSH_MIN:g} min, or "
            "until it is clear: flush it again, or leave it as not flushed yet."
        )


def _use(entry: Entry, account: Account, used: tuple[Used, ...]) -> UUID:
    draft = entry.draft(SPENT[account])
    draws = tuple(Draw(each.container.pk, account, each.ml) for each in used)
    return entry.post(draft._replace(draws=draws)).movement_id


def _line(entry: Entry, each: Flushed) -> None:
    by: dict[str, Any] = {"acting": entry.acting, "clock": entry.clock}
    record_use_of_line(entry.department, line=each.line, at=entry.at, **by)
    if each.minutes:
        found = {"flushed_min": each.minutes, "strainer": each.strainer}
        record_flush_of_line(entry.department, line=each.line, found=found, **by)
    if each.strainer == FAULTY:
        raise_deficiency(
            entry.department,
            subject=each.line,
            words=f"strainer: {each.words or 'a fault was seen after use'}",
            effect=Effect.UNVERIFIED,
            acting=entry.acting,
            clock=entry.clock,
        )
