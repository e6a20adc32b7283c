"""What goes wrong in the demo and is caught, and what a department keeps besides: on top of the county.

Nothing of it changes a status of the county as worked by hand: each trap lies where the unit falls short of something
worse already, or where no duty counts on it.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any, Final
from uuid import uuid5
from zoneinfo import ZoneInfo

from readiness.actions.after_use import Flushed, record_after_use
from readiness.actions.hand_over_notes import write_note
from readiness.actions.inspections import INSPECTION_RULES, RuleFacts, log_inspection
from readiness.actions.intake_containers import OPENINGS
from readiness.actions.inventories import Scope, open_inventory
from readiness.actions.keeping import Desk
from readiness.actions.labels import print_labels
from readiness.actions.movements import Entry
from readiness.actions.partners import PARTNERS, PartnerFacts
from readiness.actions.permissions import Acting
from readiness.actions.raised_deficiencies import FollowUp, follow_up, raise_deficiency
from readiness.actions.tablets import make_tablet, set_pin
from readiness.models import (
    Container,
    FoamLine,
    InspectionRule,
    Membership,
    RaisedDeficiency,
    Role,
    Station,
    Unit,
    User,
    WorkEntry,
)
from readiness.models.inspections import Rhythm
from readiness.models.movements import Account, Identity
from readiness.models.raised_deficiencies import Effect

TABLET_OF: Final = "Quayside"
PINS: Final = {Role.CREW: "4826", Role.OFFICER: "7153"}  # printed for everybody who starts the demo
_THURSDAY: Final = 3
_RULES: Final = (  # one of each rhythm beside the yearly one, on what no unit's answer rests on; all invented
    ("Quayside", RuleFacts("Tote: lid, valve and cap", "tote", Rhythm.SHIFT, what="lid shut, valve closed, no drip")),
    ("Vesper Field", RuleFacts("Drill night: drums", "drum", Rhythm.WEEK, weekday=_THURSDAY, what="seals, dry floor")),
    ("Millrace", RuleFacts("Drums turned and looked at", "drum", Rhythm.MONTH, what="seal, bung, dents, label")),
    ("Hollin Ridge", RuleFacts("Line after use", "line", Rhythm.AFTER_USE, what="ring, gasket, strainer, tube")),
    ("Vesper Field", RuleFacts("Tank after other foam", "fixed tank", Rhythm.ON_CHANGE, what="placard, strainer")),
)


def set_traps(desk: Desk, people: dict[Role, User]) -> None:
    """A line not flushed, an inspection overdue, an open deficiency forgotten; labels, a partner, an inventory.

    And what a station has: a rule of each rhythm, a shared tablet with two people's PINs, a note nobody has read.
    """
    traps = _Traps(desk, people)
    traps.unflushed_line()
    traps.overdue_inspection()
    traps.forgotten_deficiency()
    traps.labels()
    traps.partner()
    traps.inventory()
    traps.rules()
    traps.tablet()
    traps.note()


class _Traps:
    """Who enters them, and when they happened."""

    def __init__(self, desk: Desk, people: dict[Role, User]) -> None:
        self.desk, self.department, self.people = desk, desk.department, people
        self.d0: date = desk.department.demo_d0 or desk.today

    def _acting(self, role: Role) -> Acting:
        return Acting(self.people[role], Identity.PASSWORD)

    def _at(self, days: int) -> datetime:
        """Ten in the morning of D0 less so many days."""
        zone = ZoneInfo(self.department.time_zone)
        return datetime.combine(self.d0 - timedelta(days=days), time(10, 0), zone)

    def unflushed_line(self) -> None:
        """Used the day before yesterday and never flushed: the second line of Hazmat 1."""
        entry = Entry(
            self.department,
            self._acting(Role.CREW),
            self.desk.clock,
            id=uuid5(OPENINGS, f"after use {self.department.pk}"),
            happened_at=self._at(2),
        )
        line = FoamLine.objects.get(department=self.department, vehicle__shop_no="212", name="Bumper line")
        unit = Unit.objects.get(department=self.department, designation="Hazmat 1")
        record_after_use(entry, unit=unit, account=Account.INCIDENT, used=(), lines=(Flushed(line, 0),))

    def overdue_inspection(self) -> None:
        """Each fixed tank at Hollin Ridge once a year: all in date but the trailer's, thirty-five days over."""
        station = Station.objects.get(department=self.department, name="Hollin Ridge")
        facts = RuleFacts("Tank opened and looked at for sludge", "fixed tank", "year", station)
        what = facts._replace(what="lid, vent, skin, sludge, fittings", owner=self.people[Role.OFFICER])
        rule = INSPECTION_RULES.save(self.desk, what)
        InspectionRule.objects.filter(pk=rule.pk).update(since_on=self.d0 - timedelta(days=500))
        for code, days in (("T-206A", 100), ("T-206B", 100), ("T-234", 100), ("T-231", 400)):
            log_inspection(
                self.department,
                rule=rule,
                thing=Container.objects.get(department=self.department, code=code),
                passed=True,
                words="",
                acting=self._acting(Role.OFFICER),
                done_at=self._at(days),
                clock=self.desk.clock,
            )

    def forgotten_deficiency(self) -> None:
        """Raised two months ago at Engine 5, with an owner and a day that has passed."""
        by: dict[str, Any] = {"acting": self._acting(Role.OFFICER), "clock": self.desk.clock}
        unit = Unit.objects.get(department=self.department, designation="Engine 5")
        words = "door of compartment L3 sticks: the pails come out slowly"
        row = raise_deficiency(self.department, subject=unit, words=words, effect=Effect.NOTE, **by)
        facts = FollowUp(self.people[Role.OFFICER], self.desk.today, Effect.NOTE, "S-1107")
        follow_up(self.department, deficiency=row, facts=facts, **by)
        raised = RaisedDeficiency.objects.filter(pk=row.pk)
        raised.update(raised_at=self._at(60), due_on=self.d0 - timedelta(days=20))
        WorkEntry.objects.filter(deficiency=row).update(at=self._at(60))

    def labels(self) -> None:
        """Everything of Quayside has a short code."""
        quayside = Container.objects.filter(department=self.department, place__unit__station__name="Quayside")
        tanks = Container.objects.filter(department=self.department, kind="fixed tank")
        things = [*quayside.order_by("code"), *tanks.order_by("code")]
        print_labels(self.department, things=things, acting=self._acting(Role.LOGISTICS), clock=self.desk.clock)

    def partner(self) -> None:
        """Whom foam is lent to and borrowed from."""
        PARTNERS.save(self.desk, PartnerFacts("Gullmark Terminal brigade", "duty desk, Gullmark Terminal"))

    def inventory(self) -> None:
        """The store of Vesper Field is being counted."""
        station = Station.objects.get(department=self.department, name="Vesper Field")
        scope = Scope(station, whole=False)
        open_inventory(self.department, scope, acting=self._acting(Role.LOGISTICS), clock=self.desk.clock)

    def rules(self) -> None:
        """What is looked at every shift, on a volunteer house's drill night, every month, after use and on a change."""
        for name, facts in _RULES:
            station = Station.objects.get(department=self.department, name=name)
            INSPECTION_RULES.save(self.desk, facts._replace(station=station, owner=self.people[Role.OFFICER]))

    def tablet(self) -> None:
        """A bay tablet whose link was not opened yet, and those who sign at it."""
        station = Station.objects.get(department=self.department, name=TABLET_OF)
        by: dict[str, Any] = {"acting": self._acting(Role.CHIEF), "clock": self.desk.clock}
        make_tablet(self.department, station=station, name=f"{TABLET_OF} bay", **by)
        for role, pin in PINS.items():
            member = Membership.objects.get(department=self.department, user=self.people[role])
            set_pin(member, pin, acting=self._acting(role), clock=self.desk.clock)

    def note(self) -> None:
        """The shift before leaves word at Engine 1."""
        unit = Unit.objects.get(department=self.department, designation="Engine 1")
        words = "The strap in L3 is new and stiff: both hands to free a pail. The old one went to the shop."
        by: dict[str, Any] = {"acting": self._acting(Role.OFFICER), "clock": self.desk.clock}
        write_note(self.department, unit=unit, of_station=False, words=words, **by)
