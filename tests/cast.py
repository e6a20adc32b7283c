"""The cast: one small department, and who may do what in it.

Quay County is invented. Mara Holt (chief) may do everything; Ines Vale (logistics officer) receives, moves and counts;
Tom Reyes (company officer) checks, refills and overrides with a reason; Ada Finch (crew) checks, uses and refills;
Bo Lind (instructor) runs drills; Pia Stone (observer) reads what is shared. Rex Marsh belongs to another department
and must see nothing of this one.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import factory

from readiness.actions.clock import StoppedClock
from readiness.actions.permissions import Acting
from readiness.models import (
    Concentrate,
    Container,
    Department,
    Lot,
    Membership,
    Partner,
    Place,
    Policy,
    Role,
    Station,
    Unit,
    User,
    Vehicle,
)
from readiness.models.movements import Identity

D0 = date(2026, 6, 15)
SIX = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)
CLOCK = StoppedClock(SIX)
PAIL_ML = 18_927  # 5 US gal = 18,927.06 mL by definition of the gallon


class DepartmentFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Department

    name = "Quay County Fire Department"
    slug = factory.Sequence(lambda n: f"quay-{n}")
    time_zone = "UTC"
    day_starts_at = time(6, 0)


class UserFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = User

    username = factory.Sequence(lambda n: f"person-{n}")


class StationFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Station

    department = factory.SubFactory(DepartmentFactory)
    name = factory.Sequence(lambda n: f"Sequence Station {n}")


class UnitFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Unit

    designation = factory.Sequence(lambda n: f"Sequence Engine {n}")
    station = factory.SubFactory(StationFactory)
    department = factory.SelfAttribute("station.department")


class VehicleFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Vehicle

    shop_no = factory.Sequence(lambda n: f"S{n:04}")
    kind = "engine"
    station = factory.SubFactory(StationFactory)
    department = factory.SelfAttribute("station.department")


class ConcentrateFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Concentrate

    department = factory.SubFactory(DepartmentFactory)
    name = factory.Sequence(lambda n: f"Demo AR-AFFF 3x6 no. {n}")
    kind = "AR-AFFF"
    pfas = "yes"


class LotFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Lot

    concentrate = factory.SubFactory(ConcentrateFactory)
    department = factory.SelfAttribute("concentrate.department")
    batch = factory.Sequence(lambda n: f"SEQ-{n}")
    makers_date = D0 + timedelta(days=1000)


class ContainerFactory(factory.django.DjangoModelFactory):
    """Empty and outside the book, as every container begins."""

    class Meta:
        model = Container

    department = factory.SubFactory(DepartmentFactory)
    code = factory.Sequence(lambda n: f"SEQ{n:05}")
    kind = "pail"
    capacity_ml = PAIL_ML


class PartnerFactory(factory.django.DjangoModelFactory):
    class Meta:
        model = Partner

    department = factory.SubFactory(DepartmentFactory)
    name = factory.Sequence(lambda n: f"Sequence County {n}")


class Cast:
    """The department with its people, one engine on one vehicle, two concentrates, and the places."""

    def __init__(self) -> None:
        self.department = DepartmentFactory()
        Policy.objects.create(department=self.department, drill_with_pfas=True)  # its foam has PFAS, and it drills
        self.station = StationFactory(department=self.department, name="Quayside")
        self.unit = UnitFactory(station=self.station, designation="Engine 1")
        self.vehicle = VehicleFactory(station=self.station, shop_no="201")
        self.spare_vehicle = VehicleFactory(station=self.station, shop_no="209")
        self.store = Place.objects.create(department=self.department, station=self.station)
        self.on_unit = Place.objects.create(department=self.department, unit=self.unit, compartment="L3")
        self.on_vehicle = Place.objects.create(department=self.department, vehicle=self.vehicle)
        self.ar = ConcentrateFactory(department=self.department, name="Demo AR-AFFF 3x6")
        self.class_a = ConcentrateFactory(department=self.department, name="Demo Class A", kind="Class A", pfas="no")
        self.lot = LotFactory(concentrate=self.ar, batch="AR-1")
        self.other_lot = LotFactory(concentrate=self.ar, batch="AR-2")
        self.class_a_lot = LotFactory(concentrate=self.class_a, batch="A-1")
        self.people = {role: self._person(role) for role in Role}
        self.other_department = DepartmentFactory(name="Far County Fire Department")
        self.outsider = UserFactory(username="rex.marsh")
        Membership.objects.create(
            user=self.outsider, department=self.other_department, role=Role.CHIEF, from_on=date(2020, 1, 1)
        )

    def _person(self, role: Role) -> User:
        user = UserFactory(username=f"{role.value}.{self.department.slug}")
        Membership.objects.create(user=user, department=self.department, role=role, from_on=date(2020, 1, 1))
        return user

    def acting(self, role: Role) -> Acting:
        return Acting(self.people[role], Identity.PASSWORD)

    def pail(self, **values: object) -> Container:
        return ContainerFactory(department=self.department, **values)

    def tank(self, capacity_ml: int = 113_562, **values: object) -> Container:
        """A fixed tank of 30 US gal = 113,562.35 mL unless told otherwise."""
        return ContainerFactory(department=self.department, kind="fixed tank", capacity_ml=capacity_ml, **values)
