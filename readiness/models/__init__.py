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
from readiness.models.change_overs import ChangeOverCount
from readiness.models.changes import Change
from readiness.models.checks import Check, Reading
from readiness.models.containers import Container, Holding
from readiness.models.deliveries import Delivery
from readiness.models.disposals import Disposal
from readiness.models.duties import Duty
from readiness.models.fleet import Appliance, Assignment, Unit, Vehicle
from readiness.models.foam_lines import FoamLine, HoseLeg, LineSource, LineTest, Setup, SetupLine
from readiness.models.foam_tests import FoamTest
from readiness.models.hand_over_notes import HandOverNote, NoteRead
from readiness.models.handed_over import HandedOver, HandedOverRow, SheetLayout
from readiness.models.hoses import HoseSize
from readiness.models.inspections import Inspection, InspectionRule
from readiness.models.inventories import (
    Count,
    CountMatch,
    FurtherLook,
    Inventory,
    InventoryPlace,
    InventoryResult,
)
from readiness.models.judging import Assessment, Deficiency, Inputs, Night
from readiness.models.labels import Label, LabelSheet
from readiness.models.movements import Marking, Movement, MovementLine, Relocation
from readiness.models.organisation import Department, Place, Station
from readiness.models.pallets import Pallet
from readiness.models.par import ParLine
from readiness.models.partners import Partner
from readiness.models.people import Device, Membership, Role, SignInAttempt, User
from readiness.models.policy import Policy
from readiness.models.questions import Answered
from readiness.models.queue import QueuedEntry
from readiness.models.raised_deficiencies import Photo, RaisedDeficiency, WorkEntry
from readiness.models.settlements import Settlement, SettlementRow
from readiness.models.store_limits import StoreLimit
from readiness.models.submissions import Submission
from readiness.models.supply import Order, SupplySheet
from readiness.models.transfers import Transfer, TransferDifference

__all__ = [
    "Answered",
    "Appliance",
    "Assessment",
    "Assignment",
    "Change",
    "ChangeOverCount",
    "Check",
    "CompatibilityGroup",
    "Concentrate",
    "Container",
    "Count",
    "CountMatch",
    "Deficiency",
    "Delivery",
    "Department",
    "Device",
    "Disposal",
    "Duty",
    "FoamLine",
    "FoamTest",
    "Fuel",
    "FurtherLook",
    "HandOverNote",
    "HandedOver",
    "HandedOverRow",
    "Holding",
    "HoseLeg",
    "HoseSize",
    "Inputs",
    "Inspection",
    "InspectionRule",
    "Inventory",
    "InventoryPlace",
    "InventoryResult",
    "Label",
    "LabelSheet",
    "LineSource",
    "LineTest",
    "Listing",
    "Lot",
    "Marking",
    "Membership",
    "Movement",
    "MovementLine",
    "Night",
    "NoteRead",
    "Order",
    "Pallet",
    "ParLine",
    "Partner",
    "Photo",
    "Place",
    "Policy",
    "QueuedEntry",
    "RaisedDeficiency",
    "Reading",
    "ReferenceVersion",
    "Relocation",
    "Role",
    "Sample",
    "Settlement",
    "SettlementRow",
    "Setup",
    "SetupLine",
    "SheetLayout",
    "SignInAttempt",
    "Station",
    "StoreLimit",
    "Submission",
    "SupplySheet",
    "Transfer",
    "TransferDifference",
    "Unit",
    "User",
    "Vehicle",
    "WorkEntry",
]
