"""Units, vehicles and appliances: the lists and the forms."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from django import forms
from django.db.models import F, FilteredRelation, Q, QuerySet
from django_tables2 import A

from readiness.actions.fleet_records import APPLIANCES, UNITS, VEHICLES
from readiness.models import Appliance, Station, Unit, Vehicle
from readiness.models.fleet import ApplianceKind, RatingBasis, ServiceState
from readiness.web import figures
from readiness.web.access import Here, rows
from readiness.web.column_fields import Own, RigField, column, in_words
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.forms import DateField, QuantityField
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn, Table

IN_USE = Q(retired_on__isnull=True)
OPEN_STATIONS = Q(closed_on__isnull=True)
RUNNING = Q(assignments__to_at__isnull=True)


class UnitForm(RecordForm):
    """A unit: duty and crew. Its vehicle is stated once, afterwards it goes by change-over."""

    noun = UNITS
    designation = column("units", "designation")
    station = Own(Station, OPEN_STATIONS, label="Station", help_text="The station it runs from.")
    runs_on = Own(
        Vehicle,
        IN_USE & ~Q(assignments__to_at__isnull=True, assignments__isnull=False),
        label="Runs on",
        required=False,
        empty_label="no vehicle yet",
        help_text="The vehicle it runs on tonight.",
    )
    state = forms.ChoiceField(
        choices=ServiceState.choices, initial=ServiceState.IN, help_text="Whether it runs tonight."
    )
    lines_staffed = column("units", "lines_staffed")
    no_duty_by = column("units", "no_duty_by")
    no_duty_review_on = DateField(
        label="Decision reviewed on",
        required=False,
        help_text="A decision for no foam duty is reviewed on a day. From then on the unit is unverified.",
    )

    def after_fields(self, here: Here) -> None:
        """On another vehicle by change-over only: with an inventory at each end."""
        if self._stored.get("runs_on") is not None:
            self.fields["runs_on"].disabled = True
            self.fields["runs_on"].help_text = "It goes on another vehicle by a change-over, with an inventory."


class UnitTable(ReferenceTable):
    """Units with their vehicle."""

    caption = "Units"
    retired = "retired_on"
    designation = Column(verbose_name="Unit", linkify=("reference_unit", {"pk": A("pk")}))
    station = Column(accessor="station__name", verbose_name="Station")
    runs_on = Column(accessor="shop_no", verbose_name="Vehicle", default="none")
    state = Column(verbose_name="State")
    lines_staffed = NumberColumn(verbose_name="Lines staffed", default="not stated")
    no_duty_by = Column(verbose_name="No foam duty by", default="")
    no_duty_review_on = DayColumn(verbose_name="Reviewed on", default="")
    retired_on = DayColumn(verbose_name="Retired on", default="")


class UnitFilter(ReferenceFilter):
    """By name, station and state."""

    search = ("designation", "station__name", "shop_no")
    retired = "retired_on"
    station = filters.ModelChoiceFilter(label="Station", queryset=Station.objects.all(), empty_label="all")
    state = filters.ChoiceFilter(label="State", choices=ServiceState.choices, empty_label="all")


def units(here: Here) -> QuerySet[Any, Any]:
    """With station and vehicle."""
    running = FilteredRelation("assignments", condition=RUNNING)
    known = rows(Unit, here).select_related("station").annotate(running=running)
    return known.annotate(shop_no=F("running__vehicle__shop_no"))


class VehicleForm(RecordForm):
    """A vehicle: water, pump, foam system; and whether it can run."""

    noun = VEHICLES
    shop_no = column("vehicles", "shop_no")
    kind = column("vehicles", "kind")
    station = Own(Station, OPEN_STATIONS, label="Station", help_text="Where the vehicle stands.")
    water_l = column("vehicles", "water", liters=True)
    pump_lpm = column("vehicles", "pump")
    foam_feed_lpm = column("vehicles", "foam_feed")
    dry_chemical_kg = column("vehicles", "dry_chemical")
    needs_tow = column("vehicles", "needs_tow", help_text="A trailer, or anything else without an engine.")
    tow = Own(
        Vehicle,
        IN_USE & Q(needs_tow=False),
        label="Tow vehicle",
        required=False,
        empty_label="none",
        help_text="Only for what needs a tow: the vehicle that tows it.",
    )
    tow_driver_ready = forms.BooleanField(
        label="Driver named for the tow",
        required=False,
        initial=True,
        help_text="Only for what needs a tow: somebody on duty is named to drive.",
    )
    state = forms.ChoiceField(
        choices=ServiceState.choices, initial=ServiceState.IN, help_text="Whether it can run tonight."
    )
    out_since = column("vehicles", "out_since", help_text="Only out of service. Empty: since today.")

    def after_fields(self, here: Here) -> None:
        """A kind that a workbook brought in under another word stays."""
        kind: Any = self.fields["kind"]
        stored = self._stored.get("kind")
        if stored and stored not in dict(kind.choices):
            kind.choices = [*kind.choices, (stored, stored)]


class VehicleTable(ReferenceTable):
    """Vehicles with their unit."""

    caption = "Vehicles"
    retired = "retired_on"
    shop_no = Column(verbose_name="Shop no.", linkify=("reference_vehicle", {"pk": A("pk")}))
    kind = Column()
    runs_as = Column(accessor="designation", verbose_name="Runs as", default="no unit")
    station = Column(accessor="station__name", verbose_name="Station")
    water = QuantityColumn("volume", "nearest", accessor="water_ml", verbose_name="Water")
    pump = QuantityColumn("flow", "nearest", accessor="pump_lpm", verbose_name="Pump", default="not stated")
    feed = QuantityColumn("flow", "nearest", accessor="foam_feed_lpm", verbose_name="Foam feed", default="")
    dry = QuantityColumn("mass", "nearest", accessor="dry_chemical_kg", verbose_name="Dry chemical")
    tow = Column(accessor="tow__shop_no", verbose_name="Towed by", default="")
    state = Column(verbose_name="State")
    out_since = DayColumn(verbose_name="Out since", default="")
    retired_on = DayColumn(verbose_name="Retired on", default="")


class VehicleFilter(ReferenceFilter):
    """By number, station, kind and state."""

    search = ("shop_no", "kind", "station__name", "designation")
    retired = "retired_on"
    station = filters.ModelChoiceFilter(label="Station", queryset=Station.objects.all(), empty_label="all")
    state = filters.ChoiceFilter(label="State", choices=ServiceState.choices, empty_label="all")


def vehicles(here: Here) -> QuerySet[Any, Any]:
    """With station, tow and unit."""
    running = FilteredRelation("assignments", condition=RUNNING)
    known = rows(Vehicle, here).select_related("station", "tow").annotate(running=running)
    return known.annotate(designation=F("running__unit__designation"), water_ml=F("water_l") * 1000.0)


class ApplianceForm(RecordForm):
    """A proportioner, nozzle, tube, monitor or pump, with its plate."""

    noun = APPLIANCES
    owner = RigField(label="Belongs to", help_text="A unit for loose gear, a vehicle for what is built in.")
    name = column("appliances", "name")
    kind = forms.ChoiceField(
        choices=[("", "choose"), *in_words(ApplianceKind)], help_text="What sort of appliance it is."
    )
    rated_flow_lpm = column("appliances", "rated_flow")
    rating_basis = forms.ChoiceField(
        choices=in_words(RatingBasis), initial=RatingBasis.SOLUTION, help_text="What its rated flow counts."
    )
    settings_pct = column("appliances", "settings")
    rated_pressure_kpa = column("appliances", "rated_pressure")
    bore_m = QuantityField(
        "bore",
        label="Bore",
        required=False,
        zero=False,
        most=0.2,
        help_text="Of a smooth-bore tip, across its opening.",
    )
    discharge = column("appliances", "discharge")
    holds_pressure = column("appliances", "holds_pressure", help_text="An automatic nozzle.")
    rings_lpm = column("appliances", "rings")
    foam_feed_lpm = column("appliances", "foam_feed")
    plate_back_pressure_kpa = column("appliances", "plate_back_pressure")
    plate_lift_m = column("appliances", "plate_lift")
    least_flow_lpm = column("appliances", "least_flow")
    greatest_intake_kpa = column("appliances", "greatest_intake")
    accepts_thick = column(
        "appliances", "accepts_thick", initial=True, help_text="It draws a shear-thinning concentrate."
    )
    aspirating = column("appliances", "aspirating", help_text="A nozzle or tube that draws air.")
    state = forms.ChoiceField(
        choices=ServiceState.choices,
        initial=ServiceState.IN,
        help_text="One that is no longer used is out of service; then its lines do not count.",
    )


class ApplianceTable(Table):
    """Appliances with their rig."""

    caption = "Appliances"
    name = Column(verbose_name="Appliance", linkify=("reference_appliance", {"pk": A("pk")}))
    kind = WordColumn("kind")
    owner = Column(accessor="pk", verbose_name="Belongs to", order_by=("unit__designation", "vehicle__shop_no"))
    flow = QuantityColumn("flow", "nearest", accessor="rated_flow_lpm", verbose_name="Rated flow", default="not stated")
    settings_pct = Column(verbose_name="Settings", orderable=False, default="")
    feed = QuantityColumn("flow", "nearest", accessor="foam_feed_lpm", verbose_name="Foam feed", default="")
    aspirating = Column(verbose_name="Aspirating")
    state = Column(verbose_name="State")

    def render_owner(self, record: Appliance) -> str:
        """The unit or the vehicle."""
        return str(record.unit or record.vehicle)

    def value_owner(self, record: Appliance) -> str:
        """The same in the workbook."""
        return self.render_owner(record)

    def render_settings_pct(self, value: list[int]) -> str:
        """As people write them."""
        return ", ".join(figures.percent(pct) for pct in value)

    def value_settings_pct(self, value: list[int]) -> str:
        """The same in the workbook."""
        return self.render_settings_pct(value)

    def render_aspirating(self, value: bool) -> str:
        """In words."""
        return "yes" if value else "no"


class ApplianceFilter(ReferenceFilter):
    """By name, rig, kind and state."""

    search = ("name", "kind", "unit__designation", "vehicle__shop_no")
    kind = filters.ChoiceFilter(label="Kind", choices=in_words(ApplianceKind), empty_label="all")
    state = filters.ChoiceFilter(label="State", choices=ServiceState.choices, empty_label="all")


def appliances(here: Here) -> QuerySet[Any, Any]:
    """With their rig."""
    return rows(Appliance, here).select_related("unit", "vehicle")


UNIT_EDITOR = Editor(
    UNITS,
    "unit",
    "units",
    "A unit has the duty and the crew, and runs on a vehicle.",
    UnitForm,
    UnitTable,
    UnitFilter,
    units,
    retiring="It leaves its vehicle, and is judged no longer. Move its containers first. Its history stays.",
)
VEHICLE_EDITOR = Editor(
    VEHICLES,
    "vehicle",
    "vehicles",
    "A vehicle has the tanks, the pump and the proportioner, whatever unit runs on it.",
    VehicleForm,
    VehicleTable,
    VehicleFilter,
    vehicles,
    retiring="No unit may run on it and no container stand on it. Its history stays.",
)
APPLIANCE_EDITOR = Editor(
    APPLIANCES,
    "appliance",
    "appliances",
    "Proportioners, nozzles, tubes, monitors and pumps, with what their plates say.",
    ApplianceForm,
    ApplianceTable,
    ApplianceFilter,
    appliances,
)
urlpatterns = [*pages(UNIT_EDITOR), *pages(VEHICLE_EDITOR), *pages(APPLIANCE_EDITOR)]
