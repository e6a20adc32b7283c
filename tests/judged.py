"""Rigs for tests of judging: the cast's Engine 1 with nine pails and a 95-gpm eductor on a gasoline spill.

The county's Engine 1 worked by hand: required 900 ft² × 0.10 = 90 gpm; need 95 × 3.1 % × 15 min = 44.175 gal; nine
5-gal pails are 45 gal, 101.9 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from readiness.actions import movements
from readiness.actions.checks import CheckDraft, Read, Recorded, record_check
from readiness.actions.clock import StoppedClock
from readiness.actions.drafts import Line, MarkAs, Move
from readiness.actions.judging import Judged, judge_units
from readiness.actions.ledger import post_many
from readiness.actions.movements import Entry
from readiness.actions.permissions import OWNER, Acting
from readiness.models import (
    Appliance,
    Assessment,
    Assignment,
    Container,
    Deficiency,
    Duty,
    FoamLine,
    Fuel,
    LineTest,
    Listing,
    Unit,
)
from readiness.models.checks import Answer
from readiness.models.movements import Account, Mark, MovementKind
from tests.cast import CLOCK, D0, PAIL_ML, SIX, Cast

GPM = 3.785411784  # L/min in a US gallon a minute: 231 cubic inches of 16.387064 mL
FT2 = 0.09290304  # m² in a square foot: 0.3048 m squared
GAL = 3.785411784  # L in a US gallon
GASOLINE_FT2, NEED_GAL = 900, 44.175
BEFORE = SIX - timedelta(days=30)  # when the stock came in
IDS = UUID("4ff0f2a8-31d8-4d0c-9b0f-6f3ab7a55d1e")


class Rigged:
    """The cast's Engine 1, ready: pails, line, test, duty, on its vehicle, checked this morning."""

    def __init__(self, cast: Cast, pails: int = 9) -> None:
        self.cast = cast
        self.department = cast.department
        self.fuel = Fuel.objects.create(name="gasoline", un="UN1203", group="hydrocarbon", source="invented")
        Listing.objects.create(
            concentrate=cast.ar,
            fuel=self.fuel,
            use="spill",
            pct=300,
            rate="0.10",
            rate_unit="gpm_ft2",
            minutes=15,
            aspirating=False,
            source="demo listing, invented",
        )
        self.unit, self.vehicle = cast.unit, cast.vehicle
        self.assignment = self._assign()
        self.line = self._line(self.unit)
        self.test = LineTest.objects.create(
            department=self.department,
            line=self.line,
            concentrate=cast.ar,
            tested_on=D0 - timedelta(days=60),
            set_pct=300,
            measured_pct=310,
            passed=True,
        )
        self.duty = self._duty(self.unit)
        self.pails = self._pails([f"P{n}" for n in range(pails)])
        self.checked()

    def _assign(self) -> Assignment:
        return Assignment.objects.create(
            department=self.department, unit=self.unit, vehicle=self.vehicle, from_at=BEFORE - timedelta(days=300)
        )

    def _line(self, unit: Unit) -> FoamLine:
        common = {"department": self.department, "unit": unit, "rated_flow_lpm": 95 * GPM}
        eductor = Appliance.objects.create(kind="in-line eductor", name="eductor", settings_pct=[300, 600], **common)
        nozzle = Appliance.objects.create(kind="fog nozzle", name="nozzle", **common)
        return FoamLine.objects.create(
            department=self.department,
            unit=unit,
            name="Crosslay 1",
            proportioner=eductor,
            nozzle=nozzle,
            flow_lpm=95 * GPM,
            parked_pct=300,
            present_pct=300,
            pails=True,
        )

    def _duty(self, unit: Unit) -> Duty:
        return Duty.objects.create(
            department=self.department,
            unit=unit,
            name="gasoline spill",
            kind="spill",
            fuel=self.fuel,
            area_m2=GASOLINE_FT2 * FT2,
            use="spill",
            minutes=15,
            supply="hydrant",
            supply_lpm=1000 * GPM,
            source="invented pre-plan",
        )

    def entry(self, clock: StoppedClock = CLOCK, **values: Any) -> Entry:
        return Entry(self.department, OWNER, clock, **values)

    def pail(self, code: str, at: datetime = BEFORE, ml: int = PAIL_ML) -> Container:
        """A sealed pail that came aboard at a moment."""
        return self._pails([code], at, ml)[0]

    def _pails(self, codes: Sequence[str], at: datetime = BEFORE, ml: int = PAIL_ML) -> list[Container]:
        """Sealed pails that came aboard at a moment, in one transaction."""
        made = [self.cast.pail(code=code) for code in codes]
        entry = self.entry(StoppedClock(max(at, SIX)), happened_at=at)
        lot, place = self.cast.lot.pk, self.cast.on_unit.pk
        drafts = [
            draft
            for each in made
            for draft in (
                entry.draft(MovementKind.RECEIVED)._replace(
                    lines=(Line(Account.SUPPLIER, lot, -ml), Line(each.pk, lot, ml)),
                    moves=(Move(each.pk, None, place),),
                ),
                entry.draft(MovementKind.MARKED)._replace(marks=(MarkAs(each.pk, Mark.SEALED, "yes"),)),
            )
        ]
        post_many(self.department, drafts, acting=entry.acting, clock=entry.clock)
        return list(Container.objects.filter(pk__in=[each.pk for each in made]).order_by("id"))

    def tank(self, code: str = "T1", ml: int = 100_000, resolution_ml: int = 2_000) -> Container:
        """A 30-gal tank of the vehicle that feeds the line, its gauge good to two litres."""
        made = self.cast.tank(code=code, resolution_ml=resolution_ml)
        movements.receive(
            self.entry(happened_at=BEFORE), container=made, lot=self.cast.lot, ml=ml, place=self.cast.on_vehicle
        )
        self.line.sources.create(container=made)
        made.refresh_from_db()
        return made

    def good(self) -> tuple[Read, ...]:
        """Everything aboard as the book has it."""
        aboard = Container.objects.filter(place__in=[self.cast.on_unit, self.cast.on_vehicle], retired_on=None)
        reads = [
            Read(Answer.GOOD, container=each.pk, sealed=True)
            if each.sealed
            else Read(Answer.GOOD, container=each.pk, ml=each.contents_ml)
            for each in aboard.order_by("id")
        ]
        return (*reads, Read(Answer.GOOD, line=self.line.pk, setting_pct=300))

    def checked(
        self,
        readings: tuple[Read, ...] | None = None,
        at: datetime = SIX,
        acting: Acting = OWNER,
        clock: StoppedClock | None = None,
        name: str = "",
    ) -> Recorded:
        """Record a check; without readings everything is as the book has it."""
        readings = self.good() if readings is None else readings
        draft = CheckDraft(uuid5(IDS, name or f"{at} {readings!r}"), self.unit.pk, readings, at)
        return record_check(self.department, draft, acting=acting, clock=clock or StoppedClock(max(at, SIX)))

    def reading(self, container: Container, ml: int) -> tuple[Read, ...]:
        """A whole check in which one container reads otherwise."""
        return tuple(
            read._replace(ml=ml, sealed=None if read.sealed else read.sealed)
            if read.container == container.pk
            else read
            for read in self.good()
        )

    def judge(self, at: datetime = SIX, because: str = "test") -> Judged:
        return judge_units(self.department, None, because=because, clock=StoppedClock(at))

    def status(self, at: datetime = SIX) -> str:
        """The unit's status, judged now."""
        self.judge(at)
        return self.current().status

    def current(self) -> Assessment:
        return Assessment.objects.get(unit=self.unit, superseded_at=None)

    def usable_gal(self) -> float:
        """What the current assessment counts for the gasoline spill."""
        return self.current().answers["verdict"]["answers"][0]["usable_l"] / GAL

    def due(self) -> bool:
        return Unit.objects.get(pk=self.unit.pk).judge_due

    def open_codes(self) -> set[str]:
        rows = Deficiency.objects.filter(unit=self.unit, closed_on=None)
        return set(rows.exclude(severity="note").values_list("code", flat=True))

    def open_notes(self) -> set[str]:
        rows = Deficiency.objects.filter(unit=self.unit, closed_on=None, severity="note")
        return set(rows.values_list("code", flat=True))
