"""Listings of concentrates, and the fuels they are for: those shipped are read only, the department adds its own."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from typing import Any, Final, NamedTuple

from django.db.models import Q

from readiness.actions.concentrates import units_with
from readiness.actions.keeping import Desk, Fault, Noun, one_line, others, several, taken
from readiness.engineering.foam_tests import HIGH_TO
from readiness.engineering.percentages import percent_text
from readiness.models import Concentrate, Duty, Fuel, Listing
from readiness.models.catalogue import FuelGroup, ListingUse
from readiness.workbooks.rows import Rate

_UN: Final = re.compile(r"(?:UN)?\s*([0-9]{4})", re.IGNORECASE)
MOST_RATE_PLACES: Final = 4
CLASS_A: Final = "class a"  # as a group of fuels: wood, brush and the like


class ListingFacts(NamedTuple):
    """What a listing says; the rate keeps the unit it was published in."""

    concentrate: Concentrate
    use: str
    pct: int
    source: str
    fuel: Fuel | None = None
    fuel_group: str = ""
    pct_high: int | None = None
    rate: Rate | None = None
    minutes: float | None = None
    aspirating: bool = False
    expansion: float | None = None
    quarter_min: float | None = None
    edition: str = ""


def rate_columns(rate: Rate | None) -> dict[str, Any]:
    """A published rate as its two columns."""
    return {"rate": rate.value if rate else None, "rate_unit": rate.unit if rate else ""}


def rate_of(row: Listing | Duty) -> Rate | None:
    """A stored rate in the unit it was published in."""
    if row.rate is None:
        return None
    return Rate(row.rate, "gpm_ft2" if row.rate_unit == "gpm_ft2" else "lpm_m2")


def rate_faults(rate: Rate | None) -> Iterator[Fault]:
    """A rate of more decimals than are kept would be kept as another one."""
    if rate is None:
        return
    exponent = rate.value.normalize().as_tuple().exponent
    if isinstance(exponent, int) and -exponent > MOST_RATE_PLACES:
        yield Fault("rate", f"“{rate.value}” was read: a rate has at most {MOST_RATE_PLACES} decimals.")
    if not 0 < rate.value < 1000:
        yield Fault("rate", f"“{rate.value}” was read: more than 0 and less than 1,000 belongs here.")


class Listings(Noun[Listing, ListingFacts]):
    """What each concentrate is listed for."""

    name = "listing"
    by = "concentrate__department"
    model, facts = Listing, ListingFacts

    def tidy(self, desk: Desk, facts: ListingFacts, row: Listing | None) -> ListingFacts:
        """Source and edition on one line."""
        return facts._replace(source=one_line(facts.source), edition=one_line(facts.edition))

    def faults(self, desk: Desk, facts: ListingFacts, row: Listing | None) -> Iterator[Fault]:
        """One fuel or one group, one row for each use, percentages the right way round, a rate where it needs one."""
        yield from _fuel_or_group(facts)
        yield from self._twice(desk, facts, row)
        if row is not None and row.concentrate_id != facts.concentrate.pk:
            yield Fault("concentrate", f"“{facts.concentrate}” was read: the listing stays with {row.concentrate}.")
        if not 0 < facts.pct <= 1000:
            yield Fault("pct", f"“{percent_text(facts.pct)}” was read: more than 0 and at most 10 % belongs here.")
        if facts.pct_high is not None and facts.pct_high < facts.pct:
            high = percent_text(facts.pct_high)
            yield Fault("pct_high", f"“{high}” was read, which lies below {percent_text(facts.pct)}: change them over.")
        if facts.rate is None and facts.use != ListingUse.CLASS_A:
            yield Fault("rate", f"Nothing was read: a listing for the use {facts.use} states an application rate.")
        yield from rate_faults(facts.rate)
        for name in ("minutes", "quarter_min"):
            value = getattr(facts, name)
            if value is not None and value <= 0:
                yield Fault(name, f"“{value:g}” was read: more than 0 belongs here; empty where it is not stated.")
        if facts.expansion is not None and not 1 <= facts.expansion <= HIGH_TO:
            read = f"“{facts.expansion:g}” was read"
            yield Fault("expansion", f"{read}: 1 to {HIGH_TO:g} belongs here; empty where it is not stated.")

    def _twice(self, desk: Desk, facts: ListingFacts, row: Listing | None) -> Iterator[Fault]:
        same = self.of(desk.department).filter(
            concentrate=facts.concentrate, fuel=facts.fuel, fuel_group=facts.fuel_group, use=facts.use
        )
        other = others(same, row).first()
        if other is not None:
            what = f"{facts.concentrate} on {facts.fuel or facts.fuel_group}, {facts.use}"
            yield Fault("use", f"“{what}” was read, which is listed already: change that listing instead.")

    def touched(self, row: Listing) -> Collection[int]:
        """The units that carry the concentrate."""
        return units_with([row.concentrate_id])

    def read(self, row: Listing) -> ListingFacts:
        """The rate as one."""
        columns = {name: getattr(row, name) for name in self.names() if name != "rate"}
        return ListingFacts(**columns, rate=rate_of(row))

    def columns(self, facts: ListingFacts) -> dict[str, Any]:
        """The rate as two columns."""
        return {**facts._asdict(), **rate_columns(facts.rate)}


def _fuel_or_group(facts: ListingFacts) -> Iterator[Fault]:
    if facts.fuel is None and not facts.fuel_group:
        yield Fault("fuel", "Nothing was read: choose the fuel, or a group of fuels where the listing names no fuel.")
    if facts.fuel is not None and facts.fuel_group:
        yield Fault("fuel_group", f"“{facts.fuel}” and “{facts.fuel_group}” were read: only one of them belongs here.")
    if facts.fuel_group and facts.fuel_group not in (*FuelGroup.values, CLASS_A):
        yield Fault("fuel_group", f"“{facts.fuel_group}” was read: choose a group from the list.")
    if (facts.use == ListingUse.CLASS_A) != (facts.fuel_group == CLASS_A):
        yield Fault("use", f"“{facts.use}” was read: the use class a and the group class a belong together.")


class FuelFacts(NamedTuple):
    """What is kept of a liquid [°C]; oxygenate in hundredths of a point by volume (E10 = 1000)."""

    name: str
    group: str
    source: str
    un: str = ""
    oxygenate_pct: int | None = None
    flash_c: float | None = None
    note: str = ""


class Fuels(Noun[Fuel, FuelFacts]):
    """The department's own liquids, beside those that are shipped."""

    name = "fuel"
    model, facts = Fuel, FuelFacts
    signed = frozenset({"flash_c"})

    def tidy(self, desk: Desk, facts: FuelFacts, row: Fuel | None) -> FuelFacts:
        """A placard has the four figures only."""
        found = _UN.fullmatch(facts.un.strip())
        un = f"UN{found[1]}" if found else facts.un.strip()
        return facts._replace(name=one_line(facts.name), un=un, source=one_line(facts.source), note=facts.note.strip())

    def faults(self, desk: Desk, facts: FuelFacts, row: Fuel | None) -> Iterator[Fault]:
        """A name that no fuel of the list has, a number as on the placard, a share of oxygenate that can be."""
        known = Fuel.objects.filter(Q(department=desk.department) | Q(department__isnull=True))
        yield from taken(known, row, "name", facts.name, "the list of fuels")
        if facts.un and not _UN.fullmatch(facts.un):
            yield Fault("un", f"“{facts.un}” was read: a UN number has four figures, such as UN1203.")
        if facts.oxygenate_pct is not None and facts.oxygenate_pct > 10_000:
            yield Fault("oxygenate_pct", f"“{percent_text(facts.oxygenate_pct)}” was read: at most 100 % belongs here.")
        if facts.group == FuelGroup.HYDROCARBON and (facts.oxygenate_pct or 0) > 0:
            read = percent_text(facts.oxygenate_pct or 0)
            yield Fault("group", f"“hydrocarbon” was read with {read} of oxygenate: choose blend.")

    def in_the_way(self, row: Fuel) -> Iterator[str]:
        """Design spills that name it."""
        duties = list(row.duties.filter(retired_on__isnull=True).select_related("unit"))
        if duties:
            yield f"Planned for it: {several(f'{duty} of {duty.unit}' for duty in duties)}. Change the plan first."

    def touched(self, row: Fuel) -> Collection[int]:
        """The units that are planned for it."""
        return set(row.duties.filter(retired_on__isnull=True).values_list("unit", flat=True))


LISTINGS = Listings()
FUELS = Fuels()
