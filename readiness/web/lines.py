"""Foam lines and setups: the lists and the forms. A rig is chosen first, so that only its own parts are offered."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django_tables2 import A

from readiness.actions.fleet_records import NOZZLES, PROPORTIONERS, on_rig_of, owner_columns, owner_of
from readiness.actions.lines import FEEDERS, LINES, NOZZLE_OF, SETUPS
from readiness.models import Appliance, Container, FoamLine, HoseLeg, Setup
from readiness.models.foam_lines import LegPart
from readiness.web.access import Here, rows
from readiness.web.column_fields import Own, OwnSeveral, RigField, SignedLengthField, column, write_hose
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.field_groups import Grouped
from readiness.web.forms import DateField, Form
from readiness.web.tables import Column, DayColumn, PercentColumn, QuantityColumn, Table
from readiness.workbooks.sheets import BY_KEY


class RigForm(Form):
    """Which rig it is for."""

    saves = False
    owner = RigField(label="Rig", help_text="A unit for lines of loose gear, a vehicle for lines that are built in.")


class LineForm(RecordForm, Grouped):
    """What belongs together, from the source of concentrate to the nozzle."""

    noun = LINES
    template_name = "worksheet/fields.html"
    groups_of = (("Unlike branches behind a wye", tuple(name for pair in NOZZLE_OF.items() for name in pair)),)
    name = column("lines", "name")
    proportioner = Own(
        Appliance, label="Proportioner", help_text="Of this rig. Another one than before: tests count anew."
    )
    nozzle = Own(Appliance, label="Nozzle", required=False, empty_label="not stated", help_text="Of this rig.")
    flow_lpm = column("lines", "flow")
    parked_pct = column("lines", "parked")
    pails = column("lines", "pails", help_text="It draws from loose pails, drums or totes by a tube.")
    sources = OwnSeveral(
        Container, label="Fed by", required=False, help_text="Fixed tanks and kit reservoirs of this rig that feed it."
    )
    legs = column(
        "lines", "hose", help_text="Each leg in order from the proportioner: 150 ft of 1.75 in; 50 ft of 2.5 in."
    )
    inlet_kpa = column("lines", "inlet_pressure")
    pump_kpa = column("lines", "pump_pressure")
    supply_legs = column("lines", "supply_hose")
    wye_lines = column("lines", "wye_lines")
    wye_legs = column("lines", "wye_hose")
    branch_1_legs = column("lines", "branch_1_hose", label="First branch, hose")
    branch_1_nozzle = Own(Appliance, label="First branch, nozzle", required=False, empty_label="the line’s")
    branch_2_legs = column("lines", "branch_2_hose", label="Second branch, hose")
    branch_2_nozzle = Own(Appliance, label="Second branch, nozzle", required=False, empty_label="the line’s")
    branch_3_legs = column("lines", "branch_3_hose", label="Third branch, hose")
    branch_3_nozzle = Own(Appliance, label="Third branch, nozzle", required=False, empty_label="the line’s")
    intake_kpa = column("lines", "intake_pressure")
    nozzle_kpa = column("lines", "nozzle_pressure")
    appliance_loss_kpa = column("lines", "appliance_loss")
    height_m = SignedLengthField(
        BY_KEY["lines"].column("height"), label="Nozzle above pump", required=False, help_text="Below is negative."
    )
    lift_m = column("lines", "lift")
    wind_loss_pct = column("lines", "wind_loss", least=0)  # as it is drawn for a line that loses none
    tube_original = column(
        "lines", "tube_original", initial=True, help_text="Neither lengthened nor another proportioner’s."
    )
    converted_on = DateField(
        label="Converted on",
        required=False,
        past=True,
        help_text="The day it was changed to another concentrate or part. Tests before it do not count.",
    )

    def after_fields(self, here: Here) -> None:
        """Only parts of this rig are offered."""
        of_rig = on_rig_of(self.given["owner"])
        offered = {
            "proportioner": of_rig & Q(kind__in=PROPORTIONERS),
            **dict.fromkeys(("nozzle", *NOZZLE_OF.values()), of_rig & Q(kind__in=NOZZLES)),
            "sources": on_rig_of(self.given["owner"], "place__") & Q(kind__in=FEEDERS, retired_on__isnull=True),
        }
        for name, live in offered.items():
            field = self.fields[name]
            assert isinstance(field, Own | OwnSeveral)
            field.live = live
            field.settle(here)
        if not self.fields["sources"].queryset.exists():  # type: ignore[attr-defined] # of records, as said above
            self.fields["sources"].help_text = "No fixed tank and no kit reservoir stands on this rig."


class LineTable(ReferenceTable):
    """Lines with their rig and parts."""

    caption = "Foam lines"
    retired = "retired_on"
    name = Column(verbose_name="Line", linkify=("reference_foam_line", {"pk": A("pk")}))
    owner = Column(accessor="pk", verbose_name="Rig", order_by=("unit__designation", "vehicle__shop_no", "name"))
    proportioner = Column(accessor="proportioner__name", verbose_name="Proportioner")
    nozzle = Column(accessor="nozzle__name", verbose_name="Nozzle", default="not stated")
    flow = QuantityColumn("flow", "nearest", accessor="flow_lpm", verbose_name="Flow", default="by its parts")
    parked_pct = PercentColumn(verbose_name="Parked", default="not stated")
    present_pct = PercentColumn(verbose_name="Last seen at", default="never seen")
    feed = Column(accessor="pk", verbose_name="Fed by", orderable=False)
    hose = Column(accessor="pk", verbose_name="Hose", orderable=False)
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_owner(self, record: FoamLine) -> str:
        """The unit or the vehicle."""
        return str(owner_of(record))

    def value_owner(self, record: FoamLine) -> str:
        """The same in the workbook."""
        return self.render_owner(record)

    def render_feed(self, record: FoamLine) -> str:
        """Pails, tanks, or both."""
        tanks = [source.container.code for source in record.sources.all()]
        return ", ".join([*(["pails"] if record.pails else []), *tanks]) or "nothing"

    def value_feed(self, record: FoamLine) -> str:
        """The same in the workbook."""
        return self.render_feed(record)

    def render_hose(self, record: FoamLine) -> str:
        """Leg by leg."""
        laid: dict[tuple[str, int], list[HoseLeg]] = {}
        for leg in record.legs.all():
            laid.setdefault((leg.part, leg.branch), []).append(leg)
        said = {LegPart.BEFORE: "supply ", LegPart.LINE: "", LegPart.WYE: f"{record.wye_lines} × "}
        words = [
            (f"branch {branch}: " if branch else said[LegPart(part)]) + write_hose(legs, self.hose_unit)
            for (part, branch), legs in laid.items()
        ]
        return "; ".join(words) or "not stated"

    def value_hose(self, record: FoamLine) -> str:
        """The same in the workbook."""
        return self.render_hose(record)

    @property
    def hose_unit(self) -> str:
        """Lengths of hose as the reader reads them."""
        return "ft" if self.here.units == "us" else "m"


class LineFilter(ReferenceFilter):
    """By name, rig and part."""

    search = ("name", "unit__designation", "vehicle__shop_no", "proportioner__name", "nozzle__name")
    retired = "retired_on"


def lines(here: Here) -> QuerySet[Any, Any]:
    """With rig, parts, sources and hose."""
    known = rows(FoamLine, here).select_related("unit", "vehicle", "proportioner", "nozzle")
    return known.prefetch_related("sources__container", "legs")


class SetupForm(RecordForm):
    """Lines that run together."""

    noun = SETUPS
    name = column("setups", "name", help_text="A name that no other setup of this rig has.")
    lines = OwnSeveral(
        FoamLine,
        label="Lines that run together",
        required=False,
        help_text="Untick all to take the setup out of use.",
    )

    def after_fields(self, here: Here) -> None:
        """Only this rig's own lines."""
        field = self.fields["lines"]
        assert isinstance(field, OwnSeveral)
        field.live = Q(retired_on__isnull=True) & _owned(self.given["owner"])
        field.settle(here)


def _owned(owner: Any) -> Q:
    side = "unit" if owner_columns(owner)["unit"] else "vehicle"
    return Q(**{side: owner})


class SetupTable(Table):
    """Setups with their lines."""

    caption = "Setups"
    name = Column(verbose_name="Setup", linkify=("reference_setup", {"pk": A("pk")}))
    owner = Column(accessor="pk", verbose_name="Rig", order_by=("unit__designation", "vehicle__shop_no", "name"))
    lines = Column(accessor="pk", verbose_name="Lines", orderable=False)

    def render_owner(self, record: Setup) -> str:
        """The unit or the vehicle."""
        return str(owner_of(record))

    def value_owner(self, record: Setup) -> str:
        """The same in the workbook."""
        return self.render_owner(record)

    def render_lines(self, record: Setup) -> str:
        """Those in use."""
        names = [str(member.line) for member in record.members.all() if member.line.retired_on is None]
        return ", ".join(names) or "none: out of use"

    def value_lines(self, record: Setup) -> str:
        """The same in the workbook."""
        return self.render_lines(record)


class SetupFilter(ReferenceFilter):
    """By name, rig and line."""

    search = ("name", "unit__designation", "vehicle__shop_no")


def setups(here: Here) -> QuerySet[Any, Any]:
    """With rig and lines."""
    return rows(Setup, here).select_related("unit", "vehicle").prefetch_related("members__line")


def _given(row: Any) -> dict[str, Any]:
    return {"owner": owner_of(row)}


LINE_EDITOR = Editor(
    LINES,
    "foam line",
    "foam lines",
    "Source, proportioner, hose and nozzle that belong together.",
    LineForm,
    LineTable,
    LineFilter,
    lines,
    chooser=RigForm,
    given=_given,
    retiring="It counts for nothing from today on, and leaves its setups. Its tests and its history stay.",
)
SETUP_EDITOR = Editor(
    SETUPS,
    "setup",
    "setups",
    "Which lines of a rig run together. Each setup is judged on its own.",
    SetupForm,
    SetupTable,
    SetupFilter,
    setups,
    chooser=RigForm,
    given=_given,
)
urlpatterns = [*pages(LINE_EDITOR), *pages(SETUP_EDITOR)]
