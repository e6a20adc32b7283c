"""Fleet tonight: every unit with its status and the reason, what it covers, and until when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

import django_filters
from django import forms
from django.core.paginator import Paginator
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import path
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from readiness.models import Duty, Fuel, Station, Unit
from readiness.reports.changes_since import changes_since, last_night
from readiness.reports.duty_figures import DutyFigures
from readiness.reports.fleet_tonight import MOST_REMEMBERED, STATES, FleetRows, UnitTonight, count_units, units_tonight
from readiness.reports.forecasts import coming_falls
from readiness.reports.remembered import Remembered
from readiness.web.access import Here, rows, signed_in
from readiness.web.marks import MARKS
from readiness.web.moments import moment_text
from readiness.web.preferences import Units
from readiness.web.tables import (
    PER_PAGE,
    Column,
    DayColumn,
    MomentColumn,
    NumberColumn,
    PercentColumn,
    QuantityColumn,
    StatusColumn,
    Table,
    workbook_response,
)

ORDERS = {  # the word in the address: what people read, the order
    "worst": ("worst first", (F("rank"), F("designation"))),
    "unit": ("unit", (F("designation"),)),
    "station": ("station", (F("station__name"), F("rank"), F("designation"))),
    "holds": ("holds until, soonest first", (F("current__holds_until").asc(nulls_last=True), F("designation"))),
    "check": ("check runs out, soonest first", (F("current__check_good_until").asc(nulls_last=True), F("designation"))),
}


class FleetFilter(django_filters.FilterSet):
    """Station, status at this moment, fuel planned for, words, and the order."""

    q = django_filters.CharFilter(label="Search", method="by_words", widget=forms.TextInput({"type": "search"}))
    status = django_filters.ChoiceFilter(
        label="Status",
        field_name="effective",
        choices=[(state, MARKS[state].word) for state in STATES],
        empty_label="all",
    )
    station = django_filters.ModelChoiceFilter(label="Station", queryset=Station.objects.none(), empty_label="all")
    fuel = django_filters.ModelChoiceFilter(
        label="Planned for", queryset=Fuel.objects.none(), empty_label="all fuels", method="by_fuel"
    )
    sort = django_filters.ChoiceFilter(
        label="Sort by",
        choices=[(name, order[0]) for name, order in ORDERS.items() if name != "worst"],
        empty_label=ORDERS["worst"][0],
        method="by_order",
    )

    def __init__(self, data: Any, queryset: QuerySet[Any, Any], here: Here) -> None:
        super().__init__(data, queryset)
        self.filters["station"].queryset = rows(Station, here).filter(closed_on__isnull=True)
        planned = rows(Duty, here).filter(retired_on__isnull=True).values("fuel")
        self.filters["fuel"].queryset = Fuel.objects.filter(pk__in=planned).order_by("name")

    def by_words(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Every word in the designation, the station or the vehicle's number."""
        for each in value.split():
            running = Q(assignments__to_at__isnull=True, assignments__vehicle__shop_no__icontains=each)
            on_vehicle = Unit.objects.filter(running).values("pk")
            in_names = Q(designation__icontains=each) | Q(station__name__icontains=each)
            queryset = queryset.filter(in_names | Q(pk__in=on_vehicle))
        return queryset

    def by_fuel(self, queryset: QuerySet[Any, Any], _: str, value: Fuel) -> QuerySet[Any, Any]:
        """Units with a duty of that fuel."""
        planned = Duty.objects.filter(fuel=value, retired_on__isnull=True)
        return queryset.filter(pk__in=planned.values("unit"))

    def by_order(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """The order that was asked for."""
        return queryset.order_by(*ORDERS[value][1])

    @property
    def asked(self) -> list[tuple[str, str]]:
        """What the list was narrowed to, for the workbook."""
        if not self.form.is_valid():
            return []
        labels = {name: str(field.label or name) for name, field in self.form.fields.items()}
        return [(labels[name], str(value)) for name, value in self.form.cleaned_data.items() if value]


_CELLS: Remembered[tuple[SafeString, ...]] = Remembered(MOST_REMEMBERED)


def duty_cells(unit: UnitTonight, units: Units) -> tuple[SafeString, ...]:
    """The cells of each duty as drawn; drawn once for the same facts, which is most of what the page costs."""

    def draw() -> tuple[SafeString, ...]:
        return tuple(render_to_string("fleet/duty.html", {"duty": duty, "units": units}) for duty in unit.duties)

    return _CELLS.get((unit.fingerprint, units), draw)


class DutyRow(NamedTuple):
    """A duty of a unit as a row of the workbook; a unit without duties has one row."""

    unit: UnitTonight
    duty: DutyFigures | None


class FleetTable(Table):
    """The whole fleet as a workbook: a row for each duty."""

    caption = "Fleet tonight"
    unit = Column(accessor="unit__name", verbose_name="Unit")
    station = Column(accessor="unit__station")
    vehicle = Column(accessor="unit__vehicle")
    status = StatusColumn(accessor="unit__status", verbose_name="Unit status")
    accepted = Column(accessor="unit__accepted", verbose_name="Accepted by a chief")
    why = Column(accessor="unit__sentences", verbose_name="What is wrong")
    duty = Column(accessor="duty__name", verbose_name="Duty")
    fuel = Column(accessor="duty__fuel")
    duty_status = StatusColumn(accessor="duty__status")
    reason = Column(accessor="duty__reason")
    setting = PercentColumn(accessor="duty__pct", verbose_name="Percentage")
    required = QuantityColumn("flow", "up", accessor="duty__required_lpm", verbose_name="Required flow")
    flow = QuantityColumn("flow", "down", accessor="duty__flow_lpm", verbose_name="Line flow")
    textbook = QuantityColumn("volume", "up", containers=0, accessor="duty__textbook_ml", verbose_name="Textbook need")
    need = QuantityColumn("volume", "up", containers=0, accessor="duty__need_ml", verbose_name="Line need")
    usable = QuantityColumn("volume", "down", containers="duty__kept_in", accessor="duty__usable_ml")
    short = QuantityColumn("volume", "up", containers=0, accessor="duty__short_ml", verbose_name="Short by")
    fire = QuantityColumn(
        "volume", "up", containers=0, accessor="duty__cover__fire_ml", verbose_name="Kept back in case it lights"
    )
    planned = QuantityColumn("area", "up", accessor="duty__planned_m2", verbose_name="Area planned")
    area = QuantityColumn("area", "down", accessor="duty__area_m2", verbose_name="Area covered")
    binds = Column(accessor="duty__binds", verbose_name="Area limited by")
    minutes = NumberColumn(accessor="duty__minutes", verbose_name="Foam [min]")
    own_water = NumberColumn(accessor="duty__own_water_min", verbose_name="Own water [min]")
    supply = Column(accessor="duty__supply", verbose_name="Water supply")
    holds_until = DayColumn(accessor="unit__holds_until")
    checked_at = MomentColumn(accessor="unit__checked_at", verbose_name="Last checked")
    checked_by = Column(accessor="unit__checked_by")
    as_of = MomentColumn(accessor="unit__as_of", verbose_name="Judged")

    def value_why(self, record: DutyRow) -> str:
        """The sentences, one after another."""
        more = f" (and {record.unit.more} more)" if record.unit.more else ""
        return " ".join(record.unit.sentences) + more

    def value_short(self, record: DutyRow, column: Any) -> Any:
        """Nothing where no concentrate counts: how much is short cannot be told."""
        if record.duty is None or not record.duty.counts:
            return None
        return column.workbook_value(self, record.duty.short_ml, record)


def duty_rows(units: Iterable[UnitTonight]) -> Iterator[DutyRow]:
    """Each duty of each unit."""
    for unit in units:
        for duty in unit.duties or (None,):
            yield DutyRow(unit, duty)


@require_GET
@signed_in
def fleet(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list, its counts, what changed since the night, and the days to come."""
    every = units_tonight(here.department, here.now, here.day)
    asked = FleetFilter(request.GET, every.order_by(*ORDERS["worst"][1]), here)
    night = last_night(here.department)
    counted = count_units(every, night.finished_at if night else None)
    length = None if asked.asked else counted.units
    units = FleetRows(asked.qs, here.department, here.now, here.day, here.units, length)
    if request.GET.get("export") == "xlsx":
        as_of = moment_text(here.department, here.now)
        return workbook_response(FleetTable(list(duty_rows(units)), here=here), [*asked.asked, ("Status as of", as_of)])
    page = Paginator(units, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": asked,
        "counted": [each for each in counted.tallies if each.units],
        "total": counted.units,
        "page": page,
        "shown": [(unit, duty_cells(unit, here.units)) for unit in page.object_list],
        "since": changes_since(night, here.day, counted.new_answers),
        "strip": coming_falls(here.department, here.day),
        "may_take_in": here.may("workbook"),
    }
    return render(request, "fleet/fleet.html", context)


urlpatterns = [path("fleet/", fleet, name="fleet")]
