"""Concentrates, their listings, the fuels, and which concentrates may meet: the lists and the forms."""

from __future__ import annotations

from typing import Any

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet
from django_tables2 import A

from readiness.actions.concentrates import CONCENTRATES, GROUPS
from readiness.actions.listings import CLASS_A, FUELS, LISTINGS
from readiness.models import CompatibilityGroup, Concentrate, Fuel, Listing
from readiness.models.catalogue import ConcentrateKind, FuelGroup, ListingUse
from readiness.web import figures
from readiness.web.access import Here, rows
from readiness.web.column_fields import Own, OwnSeveral, column, in_words
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.forms import PercentField, QuantityField
from readiness.web.tables import Column, DayColumn, NumberColumn, PercentColumn, QuantityColumn, Table

PFAS = [("", "choose"), ("yes", "yes"), ("no", "no"), ("unknown", "unknown: counts as yes")]


def fuels(here: Here) -> QuerySet[Any, Any]:
    """Those shipped and the department's own."""
    return Fuel.objects.filter(Q(department__isnull=True) | Q(department=here.department))


class ConcentrateForm(RecordForm):
    """A product, as its data sheet says."""

    noun = CONCENTRATES
    name = column("concentrates", "name")
    kind = forms.ChoiceField(
        choices=[("", "choose"), *in_words(ConcentrateKind)], help_text="The kind on its data sheet."
    )
    pfas = forms.ChoiceField(label="PFAS", choices=PFAS, help_text="Whether it holds fluorinated substances.")
    pfas_evidence = column("concentrates", "pfas_evidence", help_text="What that answer rests on; “no” needs it.")
    lowest_use_c = column("concentrates", "lowest_use")
    store_low_c = column("concentrates", "store_low")
    store_high_c = column("concentrates", "store_high")
    shear_thinning = column(
        "concentrates", "shear_thinning", help_text="A thick concentrate, as most alcohol-resistant ones."
    )
    density_kg_l = column("concentrates", "density", label="Density [kg/L]")
    life_months = column("concentrates", "life_months")


class ConcentrateTable(Table):
    """Concentrates by kind and PFAS."""

    caption = "Concentrates"
    name = Column(verbose_name="Concentrate", linkify=("reference_concentrate", {"pk": A("pk")}))
    kind = WordColumn("kind")
    pfas = Column(verbose_name="PFAS")
    lowest = QuantityColumn(
        "temperature", "nearest", accessor="lowest_use_c", verbose_name="Lowest use", default="not known"
    )
    shear_thinning = Column(verbose_name="Shear-thinning")
    life = NumberColumn(accessor="life_months", verbose_name="Life [months]", default="not stated")
    group = Column(accessor="pk", verbose_name="May meet", orderable=False)

    def render_shear_thinning(self, value: bool) -> str:
        """In words."""
        return "yes" if value else "no"

    def render_group(self, record: Concentrate) -> str:
        """The compatibility group."""
        return ", ".join(group.name for group in record.compatibility_groups.all()) or "nothing else"

    def value_group(self, record: Concentrate) -> str:
        """The same in the workbook."""
        return self.render_group(record)


class ConcentrateFilter(ReferenceFilter):
    """By name, kind and PFAS."""

    search = ("name", "kind")
    kind = filters.ChoiceFilter(label="Kind", choices=in_words(ConcentrateKind), empty_label="all")
    pfas = filters.ChoiceFilter(label="PFAS", choices=PFAS[1:], empty_label="all")


def concentrates(here: Here) -> QuerySet[Any, Any]:
    """With their groups."""
    return rows(Concentrate, here).prefetch_related("compatibility_groups")


class ListingForm(RecordForm):
    """What a concentrate is listed for."""

    noun = LISTINGS
    concentrate = Own(Concentrate, label="Concentrate")
    fuel = Own(
        Fuel,
        Q(retired_on__isnull=True),
        fuels,
        label="Fuel",
        required=False,
        empty_label="the listing names no fuel",
        help_text="Give a fuel or a group of fuels, not both.",
    )
    fuel_group = forms.ChoiceField(
        label="Fuel group",
        required=False,
        choices=[
            ("", "none: it names the fuel"),
            *in_words(FuelGroup)[:4],
            (CLASS_A, "class a: wood, brush and the like"),
        ],
        help_text="Only where the listing names no fuel: counts, unverified.",
    )
    use = forms.ChoiceField(choices=in_words(ListingUse), help_text="How the foam is put on.")
    pct = column("listings", "percent")
    pct_high = column("listings", "percent_high")
    rate = column("listings", "rate", help_text="Solution on each unit of area; kept in the unit it was published in.")
    minutes = column("listings", "minutes")
    aspirating = column("listings", "aspirating", help_text="The listing asks for an aspirating nozzle.")
    expansion = column(
        "listings", "expansion", help_text="Of finished foam, where the listing states it: a foam test is held to it."
    )
    quarter_min = column("listings", "quarter")
    source = column("listings", "source")
    edition = column("listings", "edition")


class ListingTable(ReferenceTable):
    """Listings by concentrate and fuel."""

    caption = "Listings"
    in_workbook_only = ("expansion", "quarter_min")
    concentrate = Column(accessor="concentrate__name", linkify=("reference_listing", {"pk": A("pk")}))
    fuel = Column(accessor="pk", verbose_name="Fuel", order_by=("fuel__name", "fuel_group"))
    use = WordColumn("use")
    pct = PercentColumn(verbose_name="Percentage")
    rate = Column(verbose_name="Rate, as published", orderable=False, default="not stated")
    minutes = NumberColumn(verbose_name="Time [min]", default="not stated")
    aspirating = Column(verbose_name="Aspirating nozzle")
    expansion = NumberColumn(verbose_name="Least expansion", default="not stated")
    quarter_min = NumberColumn(verbose_name="Least quarter drainage [min]", default="not stated")
    source = Column()
    edition = Column(default="")

    def render_fuel(self, record: Listing) -> str:
        """The fuel, or the group."""
        return str(record.fuel) if record.fuel else f"{record.fuel_group}: by group only"

    def value_fuel(self, record: Listing) -> str:
        """The same in the workbook."""
        return self.render_fuel(record)

    def render_rate(self, record: Listing) -> str:
        """In its own unit."""
        return figures.rate(record.rate, record.rate_unit)

    def value_rate(self, record: Listing) -> str:
        """The same in the workbook: rows have different units."""
        return figures.rate(record.rate, record.rate_unit) if record.rate is not None else ""

    def render_aspirating(self, value: bool) -> str:
        """In words."""
        return "needed" if value else "no"


class ListingFilter(ReferenceFilter):
    """By concentrate, fuel, use and source."""

    search = ("concentrate__name", "fuel__name", "fuel__un", "fuel_group", "source")
    concentrate = filters.ModelChoiceFilter(label="Concentrate", queryset=Concentrate.objects.all(), empty_label="all")
    use = filters.ChoiceFilter(label="Use", choices=in_words(ListingUse), empty_label="all")


def listings(here: Here) -> QuerySet[Any, Any]:
    """With concentrate and fuel."""
    known = rows(Listing, here, "concentrate__department").select_related("concentrate", "fuel")
    return known.order_by("concentrate__name", "fuel__name", "fuel_group", "use")


class FuelForm(RecordForm):
    """A liquid of the department's own."""

    noun = FUELS
    name = forms.CharField(max_length=120, help_text="A name that no fuel of the list has.")
    un = forms.CharField(label="UN number", max_length=8, required=False, help_text="As on the placard: UN1203.")
    group = forms.ChoiceField(
        choices=[("", "choose"), *in_words(FuelGroup)], help_text="Unknown and n.o.s. liquids count as polar."
    )
    oxygenate_pct = PercentField(
        label="Oxygenate by volume",
        required=False,
        least=0,
        greatest=10_000,
        help_text="Of a blend: 10 for E10. Empty: not known, so alcohol-resistant foam is needed.",
    )
    flash_c = QuantityField("temperature", label="Flash point", required=False)
    source = forms.CharField(max_length=500, help_text="Where this can be read.")
    note = forms.CharField(max_length=500, required=False, help_text="For a liquid where foam is not the agent: why.")


class FuelTable(ReferenceTable):
    """Fuels, shipped and own."""

    caption = "Fuels"
    retired = "retired_on"
    name = Column(verbose_name="Fuel", linkify=("reference_fuel", {"pk": A("pk")}))
    un = Column(verbose_name="UN", default="")
    group = Column(accessor="group")
    oxygenate = PercentColumn(accessor="oxygenate_pct", verbose_name="Oxygenate", default="not known")
    flash = QuantityColumn(
        "temperature", "nearest", accessor="flash_c", verbose_name="Flash point", default="not known"
    )
    whose = Column(accessor="pk", verbose_name="Whose", order_by=("department",))
    source = Column()
    retired_on = DayColumn(verbose_name="Retired on", default="")

    def render_group(self, record: Fuel) -> str:
        """As people write it."""
        return dict(in_words(FuelGroup))[record.group]

    def value_group(self, record: Fuel) -> str:
        """The same in the workbook."""
        return self.render_group(record)

    def render_whose(self, record: Fuel) -> str:
        """Shipped, or the department's own."""
        return "own" if record.department_id else "shipped"

    def value_whose(self, record: Fuel) -> str:
        """The same in the workbook."""
        return self.render_whose(record)


class FuelFilter(ReferenceFilter):
    """By name, number, group and whose."""

    search = ("name", "un", "note", "source")
    retired = "retired_on"
    group = filters.ChoiceFilter(label="Group", choices=in_words(FuelGroup), empty_label="all")
    whose = filters.ChoiceFilter(
        label="Whose", choices=[("own", "own"), ("shipped", "shipped")], empty_label="all", method="by_owner"
    )

    def by_owner(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """The department's own, or those shipped."""
        return queryset.filter(department__isnull=value == "shipped")


class GroupForm(RecordForm):
    """Concentrates that may meet in one container."""

    noun = GROUPS
    name = forms.CharField(max_length=80)
    concentrates = OwnSeveral(
        Concentrate,
        label="Concentrates that may meet",
        required=False,
        help_text="At least two. Untick all to withdraw the group.",
    )
    evidence = forms.CharField(
        widget=forms.Textarea({"rows": 4}),
        help_text="What it rests on: the makers’ letters or a laboratory’s report, by number and date.",
    )


class GroupTable(Table):
    """Groups with their evidence."""

    caption = "Compatibility groups"
    name = Column(verbose_name="Group", linkify=("reference_compatibility_group", {"pk": A("pk")}))
    concentrates = Column(accessor="pk", verbose_name="Concentrates", orderable=False)
    evidence = Column(orderable=False)

    def render_concentrates(self, record: CompatibilityGroup) -> str:
        """By name."""
        return ", ".join(each.name for each in record.concentrates.all()) or "none: withdrawn"

    def value_concentrates(self, record: CompatibilityGroup) -> str:
        """The same in the workbook."""
        return self.render_concentrates(record)


class GroupFilter(ReferenceFilter):
    """By name, evidence and concentrate."""

    search = ("name", "evidence")


def groups(here: Here) -> QuerySet[Any, Any]:
    """With their concentrates."""
    return rows(CompatibilityGroup, here).prefetch_related("concentrates")


CONCENTRATE_EDITOR = Editor(
    CONCENTRATES,
    "concentrate",
    "concentrates",
    "The products. One that is no longer bought stays, since its lots and listings name it.",
    ConcentrateForm,
    ConcentrateTable,
    ConcentrateFilter,
    concentrates,
)
LISTING_EDITOR = Editor(
    LISTINGS,
    "listing",
    "listings",
    "What each concentrate is listed for. Without a listing for the fuel a concentrate does not count.",
    ListingForm,
    ListingTable,
    ListingFilter,
    listings,
)
FUEL_EDITOR = Editor(
    FUELS,
    "fuel",
    "fuels",
    "Liquids that responders meet. Those shipped are read only; add what is missing.",
    FuelForm,
    FuelTable,
    FuelFilter,
    fuels,
    retiring="No design spill may name it. Its listings and its history stay.",
    own=lambda row: row.department_id is not None,
)
GROUP_EDITOR = Editor(
    GROUPS,
    "compatibility group",
    "compatibility groups",
    "Concentrates never meet in one container, except inside a group with evidence attached.",
    GroupForm,
    GroupTable,
    GroupFilter,
    groups,
)
urlpatterns = [
    *pages(CONCENTRATE_EDITOR),
    *pages(LISTING_EDITOR),
    *pages(FUEL_EDITOR),
    *pages(GROUP_EDITOR),
]
