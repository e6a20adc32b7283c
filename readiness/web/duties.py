"""Duties: the list and the forms, one for each way in which a need is stated."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import django_filters as filters
from django import forms
from django.db.models import F, Q, QuerySet
from django_tables2 import A

from readiness.actions.duties import COVER, DUTIES, NEEDED, OF_RULE, PACKS, STATED, DutyFacts, packs_on
from readiness.engineering import vapor
from readiness.models import Duty, Fuel, Unit
from readiness.models.catalogue import ListingUse
from readiness.models.duties import Application, DutyKind, Purpose, RegionRule, Supply
from readiness.models.policy import RegionPack
from readiness.web import figures
from readiness.web.access import Here, rows
from readiness.web.column_fields import Own, ReadField, YesNoField, column, in_words
from readiness.web.concentrates import fuels
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.field_groups import Grouped
from readiness.web.forms import Form, PercentField, QuantityField
from readiness.web.sheet_forms import NumberField
from readiness.web.tables import Column, DayColumn, NumberColumn, PercentColumn, QuantityColumn
from readiness.workbooks.sheets import BY_KEY

_VAPOR = "Vapor suppression: all of it is needed for that purpose"


class PlanForm(Form):
    """For which unit, and how the need is stated."""

    saves = False
    unit = Own(Unit, Q(retired_on__isnull=True), label="Unit", help_text="The unit that is planned for it.")
    kind = forms.ChoiceField(
        label="Kind",
        choices=[("spill", "design spill"), ("class-a", "Class A, in tankfuls"), ("airport", "airport rule")],
        widget=forms.RadioSelect,
    )


class DutyForm(RecordForm, Grouped):
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
    hold_min = QuantityField("time", label="Held for", unit="h", zero=False, required=False, help_text="As planned.")
    blanket_depth_m = QuantityField(
        "bore",
        label="Depth of the blanket",
        zero=False,
        required=False,
        initial=vapor.DEPTH_M,
        help_text="4 in is a default without a source.",
    )
    blanket_expansion = NumberField(
        label="Expansion as it lies",
        most=20,
        required=False,
        initial=f"{vapor.EXPANSION:g}",
        help_text="1 to 20; 7 is a default without a source. A foam test of the line knows better.",
    )
    interval_min = QuantityField(
        "time",
        label="Interval of upkeep",
        zero=False,
        required=False,
        initial=vapor.INTERVAL_MIN,
        help_text="15 min is a default by public trade articles; at the scene the meter decides.",
    )
    drained_pct = PercentField(
        label="Drains in an interval",
        least=1,
        greatest=10_000,
        required=False,
        initial=vapor.DRAINED,
        help_text="A quarter is a default, worked from public trade notes.",
    )
    blanket_wind_pct = PercentField(
        label="Lost to wind",
        least=0,
        greatest=10_000,
        required=False,
        initial=vapor.WIND,
        help_text="Extra share of the blanket; 25 % is a default without a source, 0 is an answer.",
    )
    rule = forms.ChoiceField(
        label="Planned by",
        required=False,
        choices=[(value, label) for value, label in RegionRule.choices],
        help_text="A region’s rule, where its pack is on.",
    )
    largest_tank_m2 = column("design_spills", "largest_tank", label="Section of the largest cargo tank")
    monitor_area_m2 = column("design_spills", "monitor_area", label="Deck that the largest monitor protects")
    inert_gas = YesNoField(label="Inert gas", help_text="Cargo deck: 20 min with it, 30 min without.")
    application = forms.ChoiceField(
        label="Put on the tank",
        required=False,
        choices=in_words(Application),
        help_text="Storage tank: as the code divides it.",
    )
    mobile_means = YesNoField(label="By mobile means", help_text="Storage tank: they take longer on a large one.")
    category = ReadField(
        BY_KEY["design_spills"].column("category"),
        label="Category",
        required=False,
        help_text="Only where this vehicle alone meets it: water and discharge are then the table’s, 3 to 9.",
    )
    source = column("design_spills", "source")
    template_name = "worksheet/fields.html"
    groups_of = (
        (_VAPOR, tuple(COVER)),
        ("By a region’s rule", ("rule", *(name for asked in OF_RULE.values() for name in asked), "category")),
    )

    @property
    def opens(self) -> str:  # type: ignore[override]
        """A duty that keeps vapor down needs its group."""
        return _VAPOR if self._purpose() == Purpose.VAPOR else ""

    def _purpose(self) -> str:
        if self.is_bound:
            return str(self.data.get("purpose", ""))
        return str(self.initial.get("purpose") or Purpose.FIRE)

    def facts(self) -> DutyFacts:
        """A duty of fire has no blanket: what its group begins with is not kept."""
        facts: DutyFacts = super().facts()
        nothing: dict[str, Any] = dict.fromkeys(COVER)
        return facts if facts.purpose == Purpose.VAPOR else facts._replace(**nothing)

    def shown(self) -> Sequence[tuple[str, str]]:
        """Of a blanket and of a region's rule only what this duty has."""
        stated = [name for _, names in self.groups_of for name in names if self._stored.get(name) in (None, "")]
        left_out = {str(self[name].label) for name in stated if name in self.fields}
        return [(label, said) for label, said in super().shown() if label not in left_out]

    def after_fields(self, here: Here) -> None:
        """Only what this kind of duty states; what it needs may not stay empty."""
        kind = DutyKind(self.given["kind"])
        kept = {"seen", "name", "source", *STATED[kind]} - self._without_pack(here)
        if self._stored.get("purpose") != Purpose.VAPOR:
            for name in COVER:
                self.initial.pop(name, None)  # a new blanket begins with the defaults
        for name in [name for name in self.fields if name not in kept]:
            del self.fields[name]
        for name in NEEDED[kind]:
            field = self.fields[name]
            field.required = True
            field.error_messages["required"] = f"Nothing was read: {field.label or name} is needed."

    def _without_pack(self, here: Here) -> set[str]:
        """What only a region's rule asks for, while its pack is off and the duty does not name it."""
        packs, named = packs_on(here.department), self._stored.get("rule")
        rules = {rule for rule, pack in PACKS.items() if pack in packs or named == rule}
        field = self.fields["rule"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(value, label) for value, label in RegionRule.choices if not value or value in rules]
        left = {name for rule, asked in OF_RULE.items() if rule not in rules for name in asked}
        if not rules:
            left.add("rule")
        if RegionPack.AIRPORT not in packs and self._stored.get("category") is None:
            left.add("category")
        return left


class DutyTable(ReferenceTable):
    """Duties by unit; on the screen what is asked for stands in one column."""

    caption = "Design spills and other duties"
    retired = "retired_on"
    in_workbook_only = (
        *("kind", "area", "purpose", "rate", "tankfuls", "water", "agent"),
        *("hold", "interval", "depth", "expansion", "drained", "wind", "rule", "category"),
    )
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
    hold = NumberColumn(accessor="hold_min", verbose_name="Vapor held for [min]")
    interval = NumberColumn(accessor="interval_min", verbose_name="Interval of upkeep [min]")
    depth = QuantityColumn("bore", "nearest", accessor="blanket_depth_m", verbose_name="Depth of blanket")
    expansion = NumberColumn(accessor="blanket_expansion", verbose_name="Expansion of blanket")
    drained = PercentColumn(accessor="drained_pct", verbose_name="Drains in an interval")
    wind = PercentColumn(accessor="blanket_wind_pct", verbose_name="Lost to wind")
    rule = WordColumn("rule", verbose_name="Region’s rule")
    category = NumberColumn(verbose_name="Airport category")
    source = Column()
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_need(self, record: Duty) -> str:
        """A footprint, tankfuls, or an airport's water."""
        if record.kind == DutyKind.CLASS_A:
            return f"{record.tankfuls:g} tankfuls of Class A solution"
        if record.kind == DutyKind.AIRPORT:
            water_ml = round((record.required_water_l or 0.0) * 1000)
            by = f"category {record.category}" if record.category else "the airport’s rule"
            return f"{figures.figure(water_ml, 'volume', self.here.units, 'up')} of water by {by}"
        footprint = figures.figure(record.area_m2, "area", self.here.units, "up")
        more = [record.purpose] if record.purpose != Purpose.FIRE else []
        if record.hold_min:
            more.append(f"held {record.hold_min / 60:g} h")
        if record.rule:
            more.append(record.get_rule_display())
        return ", ".join([footprint, *more])

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
    suggested=("fuel", "area_m2", "use", "purpose", "source", *COVER),  # by a worksheet
    retiring="The unit is judged by it no longer. A unit without any duty is unverified.",
)
urlpatterns = pages(EDITOR)
