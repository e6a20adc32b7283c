"""Worksheets of the region packs: airport, marine deck, one national storage-tank code."""

from __future__ import annotations

from typing import Any, Final

from django import forms

from readiness.engineering.airport import INDEX_RULES
from readiness.engineering.airport_categories import SECOND
from readiness.engineering.demand import rate_lpm_m2
from readiness.engineering.foam_tests import LOW_TO
from readiness.engineering.pack_sheets import (
    aircraft_sheet,
    category_sheet,
    index_sheet,
    marine_sheet,
    national_tank_sheet,
    preventive_sheet,
    water_sheet,
)
from readiness.engineering.records import Rate
from readiness.engineering.sheets import Sheet
from readiness.engineering.units import ML_PER_L
from readiness.engineering.vapor import EXPANSION
from readiness.web.attack_forms import area_of, footprint
from readiness.web.column_fields import column
from readiness.web.forms import PercentField, QuantityField
from readiness.web.sheet_forms import Choice, NumberField, SheetForm

_APPLICATIONS: Final = ("gentle", "indirect", "direct")
_NONE: Final = ("", "not this way")
_WORSE: Final = [
    ("side_blocked", "one side cannot be reached"),
    ("several_tanks", "several tanks in one dike"),
    ("reach_category_ii", "reach of category II"),
    ("wind_zone_ii", "wind zone II"),
    ("delay_missed", "one delay is missed"),
]


class AirportForm(SheetForm):
    """Concentrate aboard, by an index, an amount of water, a category or an aircraft."""

    groups_of = (("An aircraft of its own size", ("length", "fuselage", "level")),)
    percent = PercentField(label="Percentage, as listed", initial=300)
    index = forms.ChoiceField(label="Index", choices=[_NONE, *((each, each) for each in INDEX_RULES)], required=False)
    water = QuantityField("volume", label="Or water required of the vehicle", required=False, zero=False)
    category = forms.ChoiceField(
        label="Or category",
        choices=[_NONE, *((str(each), str(each)) for each in range(1, len(SECOND) + 1))],
        required=False,
    )
    length = QuantityField("length", label="Length of the aircraft", required=False, zero=False)
    fuselage = QuantityField("length", label="Width of its fuselage", required=False, zero=False)
    level = Choice(label="Performance level", choices=[(each, each) for each in "BAC"], initial="B")

    def sheet(self) -> Sheet:
        """By the way that was filled in."""
        asked = self.cleaned_data
        pct = asked["percent"]
        ways = [name for name in ("index", "water", "category") if asked[name]]
        if len(ways) != 1:
            raise ValueError("One of these is needed, and one only: index, required water, or category.")
        if ways == ["index"]:
            return index_sheet(asked["index"], pct)
        if ways == ["water"]:
            return water_sheet(asked["water"] / ML_PER_L, pct)
        category = int(asked["category"])
        if not asked["length"] and not asked["fuselage"]:
            return category_sheet(category, pct)
        if not (asked["length"] and asked["fuselage"]):
            raise ValueError("An aircraft needs both: its length and the width of its fuselage.")
        return aircraft_sheet(asked["length"], asked["fuselage"], asked["level"], category, pct)


def _deck(label: str, words: str) -> Any:
    return column("design_spills", "area", label=label, help_text=words)


class MarineForm(SheetForm):
    """Deck foam of a tanker."""

    deck = _deck("Cargo deck", "Greatest beam x length of all cargo tanks.")
    largest_tank = _deck("Largest cargo tank", "Its horizontal section.")
    monitor_area = _deck("Deck of the largest monitor", "What it protects, all of it forward.")
    monitor = QuantityField("flow", label="The largest monitor flows", required=False, zero=False)
    inert_gas = forms.BooleanField(label="The cargo tanks are inerted", required=False)
    percent = PercentField(label="Percentage", initial=300)

    def sheet(self) -> Sheet:
        """The greatest of three demands."""
        asked = self.cleaned_data
        return marine_sheet(
            asked["deck"],
            asked["largest_tank"],
            asked["monitor_area"],
            asked["percent"],
            inert_gas=asked["inert_gas"],
            monitor_lpm=asked["monitor"],
        )


class NationalForm(SheetForm):
    """A storage tank by one national code."""

    groups_of = (("By the performance method", ("tested_rate", "worse")),)
    area = footprint()
    diameter = QuantityField("length", label="Or its diameter", required=False, zero=False)
    application = Choice(label="Foam is put on", choices=[(each, each) for each in _APPLICATIONS], initial="gentle")
    percent = PercentField(label="Percentage", initial=300)
    miscible = forms.BooleanField(label="The liquid mixes with water", required=False)
    mobile = forms.BooleanField(label="By mobile means", required=False)
    tested_rate = QuantityField("rate", label="Rate that put out the test fire", required=False, zero=False)
    worse = forms.MultipleChoiceField(
        label="What makes the place worse", choices=_WORSE, required=False, widget=forms.CheckboxSelectMultiple
    )

    def sheet(self) -> Sheet:
        """By the table, or by the performance method where a tested rate is given."""
        asked = self.cleaned_data
        rate = asked["tested_rate"]
        tested = None
        if rate is not None:
            tested = rate_lpm_m2(Rate(float(rate.value), "gpm_ft2" if rate.unit == "gpm/ft2" else "lpm_m2"))
        return national_tank_sheet(
            area_of(asked),
            asked["application"],
            asked["percent"],
            miscible=asked["miscible"],
            mobile=asked["mobile"],
            tested_rate_lpm_m2=tested,
            worsening=asked["worse"],
        )


class PreventiveForm(SheetForm):
    """A preventive blanket by one national code."""

    area = footprint()
    diameter = QuantityField("length", label="Or its diameter", required=False, zero=False)
    percent = PercentField(label="Percentage", initial=300)
    expansion = NumberField(label="Expansion", required=False, initial=EXPANSION, most=LOW_TO)

    def sheet(self) -> Sheet:
        """The first blanket and its upkeep."""
        asked = self.cleaned_data
        expansion = EXPANSION if asked["expansion"] is None else asked["expansion"]
        return preventive_sheet(area_of(asked), asked["percent"], expansion)
