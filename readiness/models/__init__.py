"""What the database remembers, one noun a file; nothing here decides anything."""

from readiness.models.catalogue import (
    CompatibilityGroup,
    Concentrate,
    Fuel,
    Listing,
    Lot,
    ReferenceVersion,
    Sample,
)
from readiness.models.changes import Change
from readiness.models.containers import Container, Holding
from readiness.models.duties import Duty
from readiness.models.fleet import Appliance, Assignment, Unit, Vehicle
from readiness.models.foam_lines import FoamLine, HoseLeg, LineSource, LineTest, Setup, SetupLine
from readiness.models.movements import Marking, Movement, MovementLine, Relocation
from readiness.models.organisation import Department, Place, Station
from readiness.models.people import Device, Membership, Role, User
from readiness.models.policy import Policy
from readiness.models.submissions import Submission

__all__ = [
    "Appliance",
    "Assignment",
    "Change",
    "CompatibilityGroup",
    "Concentrate",
    "Container",
    "Department",
    "Device",
    "Duty",
    "FoamLine",
    "Fuel",
    "Holding",
    "HoseLeg",
    "LineSource",
    "LineTest",
    "Listing",
    "Lot",
    "Marking",
    "Membership",
    "Movement",
    "MovementLine",
    "Place",
    "Policy",
    "ReferenceVersion",
    "Relocation",
    "Role",
    "Sample",
    "Setup",
    "SetupLine",
    "Station",
    "Submission",
    "Unit",
    "User",
    "Vehicle",
]
