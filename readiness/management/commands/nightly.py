"""Judges every unit as of a day."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand

from readiness.actions.night_lock import AnotherNight
from readiness.actions.nights import NightOf, run_night
from readiness.engineering.deficiencies import sentence
from readiness.management.departments import department_named
from readiness.reports.nights import since_when
from readiness.reports.verdicts import Kept, printed_unit, word

ALL_JUDGED, SOME_NOT, ANOTHER_RUNS = 0, 3, 75


class Command(BaseCommand):
    """`nightly [--as-of DATE] [--rebuild] [--json]`: exit 0 all judged, 3 some could not be, 75 another run."""

    help = "Judge every unit as of a day: today writes, a day to come forecasts, a past day tells what was stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which day, of what, in which form."""
        parser.add_argument("--as-of", type=date.fromisoformat, help="a day such as 2026-06-15; without it today")
        parser.add_argument("--rebuild", action="store_true", help="fold a past day again from the ledger")
        parser.add_argument("--json", action="store_true", help="for another program")
        parser.add_argument("--department", default="", help="its name; without it every department")

    def handle(self, *_: Any, **options: Any) -> None:
        """Run the night and say what came of it."""
        chosen = [department_named(options["department"])] if options["department"] else None
        try:
            nights = run_night(day=options["as_of"], departments=chosen, rebuild=options["rebuild"])
        except AnotherNight:
            self.stderr.write("Another night is running; this one did nothing.")
            sys.exit(ANOTHER_RUNS)
        if options["json"]:
            self.stdout.write(json.dumps(_told(nights), indent=1))
        else:
            for night in nights:
                self._say(night)
        if any(night.failed for night in nights):
            sys.exit(SOME_NOT)

    def _say(self, night: NightOf) -> None:
        self.stdout.write(f"{night.department}, {night.day} ({night.how})")
        for one in night.units:
            self._say_unit(one, night.department.units)
        for unit, why in night.failed:
            self.stdout.write(f"  {unit}: could not be judged ({why}); its last assessment stands")
        counts: dict[str, int] = {}
        for one in night.units:
            counts[one.verdict.status] = counts.get(one.verdict.status, 0) + 1
        said = ", ".join(f"{number} {word(status)}" for status, number in sorted(counts.items()))
        self.stdout.write(f"  {said or 'no units'}; {night.changed} answers changed")

    def _say_unit(self, one: Kept, units: Any) -> None:
        verdict = one.verdict
        until = f", holds until {verdict.holds_until}" if verdict.holds_until else ""
        self.stdout.write(f"  {one.unit}: {word(verdict.status).upper()}{until}")
        if len(verdict.answers) > 1:
            split = " · ".join(f"{answer.name} {word(answer.status)}" for answer in verdict.answers)
            self.stdout.write(f"      {split}")
        for each in verdict.deficiencies:
            accepted = " (accepted)" if each.accepted else ""
            self.stdout.write(f"      {word(each.severity)}: {sentence(each, units)}{accepted}")


def _told(nights: list[NightOf]) -> dict[str, Any]:
    told = [_told_one(night) for night in nights]
    return told[0] if len(told) == 1 else {"departments": told}


def _told_one(night: NightOf) -> dict[str, Any]:
    since = since_when(night.department, night.day)
    return {
        "as_of": night.day.isoformat(),
        "department": night.department.name,
        "how": night.how,
        "units": [printed_unit(one, since.get(one.verdict.unit_id, {})) for one in night.units],
        "not_judged": [{"unit": unit, "why": why} for unit, why in night.failed],
    }
