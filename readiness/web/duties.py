"""Duties: the list and the forms, one for each way in which a need is stated."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from django import forms
from django.db.models import F, Q, QuerySet
from django_tables2 import A

from readiness.actions.duties import DUTIES, NEEDED, STATED
from readiness.models import Duty, Fuel, Unit
from readiness.models.catalogue import ListingUse
from readiness.models.duties import DutyKind, Purpose, Supply
from readiness.web import figures
from readiness.web.access import Here, rows
from readiness.web.column_fields import Own, column, in_words
from readiness.web.concentrates import fuels
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.forms import Form
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn


class PlanForm(Form):
    """For which unit, and how the need is stated."""

    saves = False
    unit = Own(Unit, Q(retired_on__isnull=True), label="Unit", help_text="The unit that is planned for it.")
    kind = forms.ChoiceField(
        label="Kind",
        choices=[("spill", "design spill"), ("class-a", "Class A, in tankfuls"), ("airport", "airport rule")],
        widget=forms.RadioSelect,
    )


class DutyForm(RecordForm):
    """A duty; the fields of other kinds than its own are left out."""

    noun = DUTIES
    name = column("design_spills", "name")
    fuel = Own(Fuel, Q(retired_on__isnull=True), fuels, label="Fuel", empty_label="choose")
    area_m2 = column(
        "design_spills", "area", label="Footprint", help_text="Its area, or its two sides with their unit: 30 x 40 ft."
    )
    use = forms.ChoiceField(
        choices=[choice for choice in in_words(ListingUse) if choice[0] != ListingUse.CLASS_A],
        help_text="How the foam is put on.",
    )
    purpose = forms.ChoiceField(
        choices=in_words(Purpose), initial=Purpose.FIRE, help_text="Fire, or keeping vapor down."
    )
    rate = column("design_spills", "rate")
    minutes = column(
        "design_spills", "minutes", help_text="How long the foam is put on. Empty: by the rule of its use."
    )
    supply = forms.ChoiceField(
        label="Water supply",
        required=False,
        choices=[("", "not named"), *in_words(Supply)[1:]],
        help_text="Where the water comes from after the tank. Not named is limited at best.",
    )
    supply_lpm = column("design_spills", "supply_flow")
    tankfuls = column("design_spills", "tankfuls", help_text="How many tankfuls of water to treat.")
    setting_pct = column("design_spills", "setting", help_text="Empty: as the concentrate is listed.")
    required_water_l = column(
        "design_spills", "required_water", liters=True, help_text="What the airport’s rule asks of this vehicle."
    )
    other_agent_kg = column("design_spills", "other_agent", help_text="Dry chemical that the rule asks for.")
    source = column("design_spills", "source")

    def after_fields(self, here: Here) -> None:
        """Only what this kind of duty states; what it needs may not stay empty."""
        kind = DutyKind(self.given["kind"])
        kept = {"seen", "name", "source", *STATED[kind]}
        for name in [name for name in self.fields if name not in kept]:
            del self.fields[name]
        for name in NEEDED[kind]:
            field = self.fields[name]
            field.required = True
            field.error_messages["required"] = f"Nothing was read: {field.label or name} is needed."


class DutyTable(ReferenceTable):
    """Duties by unit; on the screen what is asked for stands in one column."""

    caption = "Design spills and other duties"
    retired = "retired_on"
    in_workbook_only = ("kind", "area", "purpose", "rate", "tankfuls", "water", "agent")
    name = Column(verbose_name="Duty", linkify=("reference_duty", {"pk": A("pk")}))
    unit = Column(accessor="unit__designation", verbose_name="Unit")
    need = Column(accessor="pk", verbose_name="What is asked", orderable=False, exclude_from_export=True)
    kind = Column()
    fuel = Column(accessor="fuel__name", verbose_name="Fuel", default="–")
    area = QuantityColumn("area", "up", accessor="area_m2", verbose_name="Footprint")
    use = WordColumn("use", default="–")
    purpose = WordColumn("purpose")
    rate = Column(verbose_name="Rate, as published")
    minutes = NumberColumn(verbose_name="Time [min]", default="by rule")
    supply = WordColumn("supply", verbose_name="Water supply", default="not named", empty_values=())
    tankfuls = NumberColumn(verbose_name="Tankfuls")
    water = QuantityColumn("volume", "up", containers=0, accessor="required_water_ml", verbose_name="Required water")
    agent = QuantityColumn("mass", "up", accessor="other_agent_kg", verbose_name="Other agent")
    source = Column()
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_need(self, record: Duty) -> str:
        """A footprint, tankfuls, or an airport's water."""
        if record.kind == DutyKind.CLASS_A:
            return f"{record.tankfuls:g} tankfuls of Class A solution"
        if record.kind == DutyKind.AIRPORT:
            water_ml = round((record.required_water_l or 0.0) * 1000)
            return f"{figures.figure(water_ml, 'volume', self.here.units, 'up')} of water by the airport’s rule"
        footprint = figures.figure(record.area_m2, "area", self.here.units, "up")
        return footprint if record.purpose == Purpose.FIRE else f"{footprint}, {record.purpose}"

    def render_supply(self, record: Duty) -> str:
        """Of a spill."""
        return (record.supply or "not named") if record.kind == DutyKind.SPILL else "–"

    def value_rate(self, record: Duty) -> str:
        """Words: rows have different units."""
        return figures.rate(record.rate, record.rate_unit) if record.rate is not None else ""


class DutyFilter(ReferenceFilter):
    """By name, unit, fuel and kind."""

    search = ("name", "unit__designation", "fuel__name", "fuel__un", "source")
    retired = "retired_on"
    unit = filters.ModelChoiceFilter(label="Unit", queryset=Unit.objects.all(), empty_label="all")
    kind = filters.ChoiceFilter(label="Kind", choices=DutyKind.choices, empty_label="all")


def duties(here: Here) -> QuerySet[Any, Any]:
    """With unit and fuel."""
    known = rows(Duty, here).select_related("unit", "fuel").annotate(required_water_ml=F("required_water_l") * 1000.0)
    return known.order_by("unit__designation", "name")


EDITOR = Editor(
    DUTIES,
    "duty",
    "duties",
    "What each unit is planned for. The worst one decides the unit’s status.",
    DutyForm,
    DutyTable,
    DutyFilter,
    duties,
    chooser=PlanForm,
    given=lambda row: {"unit": row.unit, "kind": row.kind},
    suggested=("fuel", "area_m2", "use", "source"),  # by a worksheet
    retiring="The unit is judged by it no longer. A unit without any duty is unverified.",
)
urlpatterns = pages(EDITOR)
