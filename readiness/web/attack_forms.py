"""Worksheets of an attack: a spill sized from facts, need, vapor, runoff, and a line's back pressure."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import urlencode

from django import forms
from django.urls import reverse

from readiness.actions.hoses import sizes_of
from readiness.actions.lines import nominal_in
from readiness.engineering import attack_sheets, footprints
from readiness.engineering import records as r
from readiness.engineering.attack_sheets import Attack, Dike, Hold, Planned, need_sheet, spill_sheet, vapor_sheet
from readiness.engineering.line_sheets import Asked, line_sheet
from readiness.engineering.nozzles import k_factor
from readiness.engineering.records import Fuel, Lay, Rate
from readiness.engineering.sheets import Sheet
from readiness.engineering.suiting import NO_CLASS_B_CREDIT
from readiness.engineering.units import ML_PER_L, to_si
from readiness.models import Concentrate, Unit
from readiness.models.duties import Purpose
from readiness.reports.at_hand import AtHand, usable_at
from readiness.reports.fleet import load_products
from readiness.reports.lays import hose_by_table
from readiness.reports.worksheets import Compared, fuels_meant, shown_sheet
from readiness.web.access import Here
from readiness.web.column_fields import Own, column
from readiness.web.concentrates import fuels
from readiness.web.forms import OfHere, PercentField, QuantityField
from readiness.web.sheet_forms import Choice, NumberField, PlaceField, SheetForm

_USES: Final = [
    ("spill", "spill, up to about an inch deep"),
    ("depth", "in depth: a dike, a sump, over about an inch"),
    ("direct", "tank, by portable streams"),
    ("gentle", "tank, by gentle outlets"),
]
_SPILLED: Final = [
    ("", "not by volume"),
    ("volume", "this volume"),
    ("saddle", "two saddle tanks of this volume each"),
    ("compartment", "one compartment of this volume"),
]
_AREA_HELP: Final = "Its area, or its two sides: 30 x 40 ft. A rack pad, a dock, a ditch: length x width."
SEVERAL_SHOWN: Final = 12


def footprint(**more: Any) -> Any:
    """The field for an area or its two sides."""
    return column("design_spills", "area", label="Footprint", required=False, help_text=_AREA_HELP, **more)


class FuelField(forms.CharField, OfHere):
    """A fuel by its name or by the number on the placard: gives the engineering record."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput({"list": "fuels", "autocomplete": "off"}))
        super().__init__(max_length=120, **kwargs)
        self.here: Here | None = None

    def settle(self, here: Here | None) -> None:
        """Whose fuels."""
        self.here = here


class SpillForm(SheetForm):
    """A spill from what a planner knows."""

    groups_of = (
        ("Footprint by diameter, or from a volume", ("diameter", "spilled", "volume", "surface")),
        ("The line, and the tank", ("flow", "measured", "tank_height")),
        ("Hot, or running", ("liquid_temperature", "running")),
    )
    fuel = FuelField(
        label="Fuel", help_text="Its name, or the number on the placard, such as 1203. Only FLAMMABLE in sight: 1993."
    )
    use = Choice(label="It lies", choices=_USES, initial="spill")
    area = footprint()
    concentrate = Own(Concentrate, label="Concentrate", required=False, empty_label="all of ours, side by side")
    at = PlaceField(label="What is here", required=False, help_text="The usable stock of a unit or a store is counted.")
    diameter = QuantityField("length", label="Diameter", required=False, zero=False)
    spilled = forms.ChoiceField(label="Spilled", choices=_SPILLED, required=False)
    volume = QuantityField("volume", label="Volume", required=False, zero=False)
    surface = Choice(label="On", choices=list(footprints.SURFACES.items()), initial="concrete")
    flow = QuantityField("flow", label="The line flows", required=False, zero=False)
    measured = PercentField(label="Its last test measured", required=False)
    tank_height = QuantityField("length", label="Height of the tank", required=False, zero=False)
    liquid_temperature = QuantityField("temperature", label="Temperature of the liquid", required=False)
    running = forms.BooleanField(label="It burns as it flows or falls", required=False)
    choices: tuple[Fuel, ...] = ()  # fuels that were meant, where there are several
    products: dict[int, r.Concentrate]
    policy: r.Policy
    liquid: Fuel
    area_m2: float
    product_l: float | None = None
    found: tuple[footprints.Spread, ...] = ()

    def clean(self) -> dict[str, Any]:
        """One fuel, and one way to a footprint."""
        cleaned: dict[str, Any] = super().clean() or {}
        if self.here is None or "fuel" in self.errors:
            return cleaned
        self.products, known, self.policy = load_products(self.here.department.pk)
        self._choose_fuel(known, str(cleaned.get("fuel", "")))
        self.area_m2 = self._footprint(cleaned)
        return cleaned

    def _choose_fuel(self, known: dict[int, Fuel], text: str) -> None:
        assert self.here is not None
        live = set(fuels(self.here).filter(retired_on__isnull=True).values_list("pk", flat=True))
        meant = fuels_meant(text, [each for each in known.values() if each.id in live])
        if len(meant) == 1:
            self.liquid = meant[0]
            return
        self.choices = meant[:SEVERAL_SHOWN]
        if not meant:
            said = f"“{text}” was read: no fuel of the list has this name or number. Only FLAMMABLE in sight: 1993."
        else:
            said = f"“{text}” was read, which is {len(meant)} fuels: choose one."
        self.refuse(said, "fuel")

    def _footprint(self, cleaned: dict[str, Any]) -> float:
        volume, spilled = cleaned.get("volume"), cleaned.get("spilled")
        if spilled and volume:
            self.product_l = volume / ML_PER_L * (footprints.SADDLE_TANKS if spilled == "saddle" else 1)
        elif spilled or volume:
            self.refuse("Both are needed: what was spilled, and its volume.", "volume" if spilled else "spilled")
        if cleaned.get("area") and cleaned.get("diameter"):
            self.refuse("A footprint and a diameter were read: one of them belongs here.", "diameter")
        if cleaned.get("area"):
            return float(cleaned["area"])
        if cleaned.get("diameter"):
            return footprints.circle_m2(cleaned["diameter"])
        if self.product_l:
            self.found = footprints.spreads(self.product_l, cleaned["surface"])
            return footprints.planned_m2(self.found)
        if not {"area", "diameter", "volume"} & set(self.errors):
            self.refuse("Nothing was read: a footprint is needed, or a diameter, or a spilled volume.", "area")
        return 0.0

    def plan(self, concentrate_id: int, at_hand: AtHand | None, counted: bool) -> Planned:
        """The spill with one concentrate, and how much of it counts here."""
        asked = self.cleaned_data
        return Planned(
            fuel=self.liquid,
            area_m2=self.area_m2,
            use=asked["use"],
            concentrate=self.products[concentrate_id],
            flow_lpm=asked["flow"],
            measured=asked["measured"],
            have_l=(at_hand.ml if at_hand else 0) / ML_PER_L if counted else None,
            have_in=at_hand.containers if at_hand else 0,
            tank_height_m=asked["tank_height"],
            spread=self.found,
            product_l=self.product_l,
            liquid_c=asked["liquid_temperature"],
            running=asked["running"],
        )

    def stock(self) -> dict[int, AtHand] | None:
        """What counts at the chosen place; None where none was chosen."""
        place = self.cleaned_data["at"]
        if place is None or self.here is None:
            return None
        return usable_at(self.here.department, place, self.here.day)

    def sheet(self) -> Sheet:
        """With the concentrate that was chosen."""
        stock = self.stock()
        chosen = self.cleaned_data["concentrate"].pk
        at_hand = (stock or {}).get(chosen)
        sheet = spill_sheet(self.plan(chosen, at_hand, stock is not None), self.policy)
        if at_hand and at_hand.doubtful_ml:
            said = "Part of what is here has a date or a sample that is missing: unverified."
            sheet = sheet._replace(notes=(*sheet.notes, said))
        return sheet

    def compared(self) -> list[Compared]:
        """Every concentrate with Class B credit, what covers most first, what does not count last."""
        stock = self.stock()
        found = []
        for pk, concentrate in self.products.items():
            if concentrate.kind in NO_CLASS_B_CREDIT or (stock is not None and pk not in stock):
                continue
            sheet = spill_sheet(self.plan(pk, (stock or {}).get(pk), stock is not None), self.policy)
            found.append(Compared(pk, concentrate.name, shown_sheet(sheet, self.here.units if self.here else "us")))
        return sorted(found, key=lambda each: (bool(each.sheet.refused), each.name))

    def as_duty(self) -> str:
        """The address at which a chief makes a design spill of it."""
        asked = self.cleaned_data
        words = {
            "fuel": self.liquid.id,
            "area_m2": f"{self.area_m2:.6f}",
            "use": {"depth": "in depth"}.get(asked["use"], asked["use"]),
        }
        if isinstance(asked["at"], Unit):
            words["unit"] = asked["at"].pk
        return _duty_begun(self.here, **words)


def _duty_begun(here: Here | None, **words: Any) -> str:
    """The address of a new design spill that begins with a worksheet's facts, quantities in SI."""
    source = f"worksheet, {here.today}" if here else "worksheet"
    return f"{reverse('reference_duty_add')}?{urlencode({'kind': 'spill', **words, 'source': source})}"


class NeedForm(SheetForm):
    """A need from a rate that is known."""

    area = footprint()
    diameter = QuantityField("length", label="Or its diameter", required=False, zero=False)
    rate = QuantityField("rate", label="Application rate", zero=False)
    minutes = QuantityField("time", label="Minutes", zero=False, initial=15.0)
    percent = PercentField(label="Percentage", initial=300)
    flow = QuantityField("flow", label="The line flows", required=False, zero=False, help_text="Empty: what is asked.")
    measured = PercentField(label="Its last test measured", required=False)
    have = QuantityField("volume", label="Concentrate here", required=False)
    pail = QuantityField("volume", label="A pail holds", required=False, zero=False, help_text="Empty: 5 gal.")

    def sheet(self) -> Sheet:
        """Need, water, pails and seconds a pail."""
        asked = self.cleaned_data
        rate = asked["rate"]
        return need_sheet(
            Attack(
                self.area_m2(),
                Rate(float(rate.value), "gpm_ft2" if rate.unit == "gpm/ft2" else "lpm_m2"),
                asked["minutes"],
                asked["percent"],
                flow_lpm=asked["flow"],
                measured=asked["measured"],
                pail_l=asked["pail"] / ML_PER_L if asked["pail"] else attack_sheets.PAIL_L,
                have_l=None if asked["have"] is None else asked["have"] / ML_PER_L,
            )
        )

    def area_m2(self) -> float:
        """By its area or its diameter."""
        return area_of(self.cleaned_data)


def area_of(asked: dict[str, Any]) -> float:
    """A footprint by its area or its diameter [m²]. Raises ``ValueError`` unless exactly one was written."""
    if bool(asked["area"]) == bool(asked["diameter"]):
        raise ValueError("A footprint is needed, or a diameter, and not both.")
    return float(asked["area"]) if asked["area"] else footprints.circle_m2(asked["diameter"])


class VaporForm(SheetForm):
    """Keeping vapor down."""

    groups_of = (("Blanket", ("depth", "expansion", "drained", "interval")),)
    area = footprint()
    diameter = QuantityField("length", label="Or its diameter", required=False, zero=False)
    percent = PercentField(label="The line really draws", help_text="As set, or as last measured if that is more.")
    hold = QuantityField("time", label="Hold for", unit="h", zero=False)
    wind_loss = PercentField(label="Lost to wind", least=0, greatest=10_000, required=False, initial=0)
    fire_flow = QuantityField("flow", label="If it lights, the line flows", required=False, zero=False)
    fire_minutes = QuantityField("time", label="For", required=False, zero=False, initial=15.0)
    have = QuantityField("volume", label="Concentrate here", required=False)
    depth = QuantityField("bore", label="Depth", required=False, zero=False, initial=to_si(4, "in"))
    expansion = NumberField(label="Expansion", required=False, initial=7, most=20)
    drained = PercentField(label="Drains in an interval", least=1, greatest=10_000, required=False, initial=2500)
    interval = QuantityField("time", label="Interval of upkeep", required=False, zero=False, initial=15.0)

    def sheet(self) -> Sheet:
        """First blanket, upkeep, and the fire run kept back."""
        asked = self.cleaned_data
        given = {
            "depth_m": asked["depth"],
            "expansion": asked["expansion"],
            "drained": asked["drained"],
            "interval_min": asked["interval"],
        }
        plan = Hold(
            area_of(asked),
            asked["percent"],
            asked["hold"],
            wind_loss=asked["wind_loss"] or 0,
            fire_flow_lpm=asked["fire_flow"],
            fire_minutes=asked["fire_minutes"],
            have_l=None if asked["have"] is None else asked["have"] / ML_PER_L,
            **{name: value for name, value in given.items() if value is not None},
        )
        return vapor_sheet(plan)

    def as_duty(self) -> str:
        """The address at which a chief plans for it; the fuel and the unit are chosen there."""
        asked = self.cleaned_data
        words = {
            "purpose": Purpose.VAPOR.value,
            "area_m2": f"{area_of(asked):.6f}",
            "hold_min": asked["hold"],
            "interval_min": asked["interval"],
            "blanket_depth_m": asked["depth"],
            "blanket_expansion": asked["expansion"],
            "drained_pct": None if asked["drained"] is None else asked["drained"] / 100,
            "blanket_wind_pct": (asked["wind_loss"] or 0) / 100,
        }
        stated = {name: f"{value:g}" if isinstance(value, float) else value for name, value in words.items()}
        return _duty_begun(self.here, **{name: value for name, value in stated.items() if value is not None})


class RunoffForm(SheetForm):
    """What a dike is asked to hold."""

    area = footprint()
    diameter = QuantityField("length", label="Or its diameter", required=False, zero=False)
    wall = QuantityField("bore", label="Height of the wall", zero=False)
    flow = QuantityField("flow", label="Solution flows")
    minutes = QuantityField("time", label="For", zero=False, initial=30.0)
    product_depth = QuantityField("bore", label="Product stands at", required=False)
    product = QuantityField("volume", label="Or product in it", required=False)
    cooling = QuantityField("flow", label="Cooling water into it", required=False)

    def sheet(self) -> Sheet:
        """How deep it stands, and whether it holds."""
        asked = self.cleaned_data
        if asked["product"] and asked["product_depth"]:
            raise ValueError("The product’s depth and its volume were read: one of them belongs here.")
        dike = Dike(
            area_of(asked),
            asked["wall"],
            asked["flow"],
            asked["minutes"],
            product_l=(asked["product"] or 0) / ML_PER_L,
            product_depth_m=asked["product_depth"],
            cooling_lpm=asked["cooling"] or 0.0,
        )
        return attack_sheets.runoff_sheet(dike)


class LineSheetForm(SheetForm):
    """Where a foam line settles, what is wrong with it and what cures it."""

    groups_of = (
        ("What its plate says", ("rated_inlet", "limit", "lift", "plate_lift", "feed", "percent")),
        ("Nozzle", ("nozzle_flow", "holds")),
    )
    kind = Choice(
        label="Proportioner",
        choices=[("eductor", "an eductor"), ("other", "one that lets the water pass: injection, balanced, around")],
        initial="eductor",
    )
    flow = QuantityField("flow", label="Eductor’s flow, else the nozzle’s own", zero=False)
    inlet = QuantityField("pressure", label="Pressure at the eductor’s inlet, else at the pump", zero=False)
    nozzle = QuantityField("pressure", label="Nozzle pressure", zero=False)
    legs = column("lines", "hose", required=False, help_text="Each leg: 150 ft of 1.75 in; 50 ft of 2.5 in.")
    appliances = QuantityField("pressure", label="Loss in appliances", required=False)
    height = QuantityField("length", label="Nozzle above the eductor", required=False)
    rated_inlet = QuantityField("pressure", label="Inlet pressure of its plate’s flow", required=False, zero=False)
    limit = QuantityField("pressure", label="Greatest back pressure by its plate", required=False, zero=False)
    lift = QuantityField("length", label="Lift from the pails", required=False)
    plate_lift = QuantityField("length", label="Greatest lift by its plate", required=False)
    feed = QuantityField("flow", label="Greatest concentrate flow", required=False, zero=False)
    percent = PercentField(label="Set to", required=False, initial=300)
    nozzle_flow = QuantityField("flow", label="Nozzle’s flow, where it is another", required=False, zero=False)
    holds = forms.BooleanField(label="An automatic nozzle, which keeps its pressure", required=False)

    def sheet(self) -> Sheet:
        """The operating point with faults and cures, by the department's own table of hose."""
        asked = self.cleaned_data
        assert self.here is not None
        policy = load_products(self.here.department.pk)[2]
        own = asked["nozzle_flow"] or asked["flow"]
        sizes = sizes_of(self.here.department)
        laid = [(leg.length_m, nominal_in(leg.diameter_in, sizes)) for leg in asked["legs"]]
        lay = Lay(
            asked["inlet"],
            asked["nozzle"],
            hose_by_table(self.here.department.pk, laid),
            appliances_kpa=asked["appliances"] or 0.0,
            height_m=asked["height"] or 0.0,
            plate_back_pressure_kpa=asked["limit"],
            lift_m=asked["lift"] or 0.0,
            plate_lift_m=asked["plate_lift"],
            rated_inlet_kpa=asked["rated_inlet"],
            nozzle_k=None if asked["holds"] else k_factor(own, asked["nozzle"]),
        )
        line = Asked(
            lay, asked["flow"], asked["kind"] == "eductor", asked["nozzle_flow"], asked["percent"] or 300, asked["feed"]
        )
        return line_sheet(line, policy)
