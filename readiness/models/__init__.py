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
from readiness.models.checks import Check, Reading
from readiness.models.containers import Container, Holding
from readiness.models.duties import Duty
from readiness.models.fleet import Appliance, Assignment, Unit, Vehicle
from readiness.models.foam_lines import FoamLine, HoseLeg, LineSource, LineTest, Setup, SetupLine
from readiness.models.judging import Assessment, Deficiency, Inputs, Night
from readiness.models.movements import Marking, Movement, MovementLine, Relocation
from readiness.models.organisation import Department, Place, Station
from readiness.models.people import Device, Membership, Role, SignInAttempt, User
from readiness.models.policy import Policy
from readiness.models.submissions import Submission

__all__ = [
    "Appliance",
    "Assessment",
    "Assignment",
    "Change",
    "Check",
    "CompatibilityGroup",
    "Concentrate",
    "Container",
    "Deficiency",
    "Department",
    "Device",
    "Duty",
    "FoamLine",
    "Fuel",
    "Holding",
    "HoseLeg",
    "Inputs",
    "LineSource",
    "LineTest",
    "Listing",
    "Lot",
    "Marking",
    "Membership",
    "Movement",
    "MovementLine",
    "Night",
    "Place",
    "Policy",
    "Reading",
    "ReferenceVersion",
    "Relocation",
    "Role",
    "Sample",
    "Setup",
    "SetupLine",
    "SignInAttempt",
    "Station",
    "Submission",
    "Unit",
    "User",
    "Vehicle",
]
