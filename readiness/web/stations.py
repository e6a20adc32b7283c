"""Stations: the list and the form."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Q, QuerySet
from django_tables2 import A

from readiness.actions.stations import MOST_HOURS, STATIONS
from readiness.models import Station
from readiness.web.access import Here, rows
from readiness.web.column_fields import ReadField, column
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.tables import Column, DayColumn, NumberColumn
from readiness.workbooks.columns import number


class StationForm(RecordForm):
    """A house with a store."""

    noun = STATIONS
    name = column("stations", "name")
    check_interval_h = ReadField(
        number("check_interval_h", "Check interval", "", "24", whole=True, unit="h", least=1, most=MOST_HOURS),
        label="Check interval [h]",
        required=False,
        help_text="Hours between two checks of its units. Empty: as the policy says.",
    )


class StationTable(ReferenceTable):
    """Stations with what stands there."""

    caption = "Stations"
    retired = "closed_on"
    name = Column(verbose_name="Station", linkify=("reference_station", {"pk": A("pk")}))
    units = NumberColumn(accessor="n_units", verbose_name="Units")
    vehicles = NumberColumn(accessor="n_vehicles", verbose_name="Vehicles")
    check_interval_h = NumberColumn(verbose_name="Check interval [h]", default="by policy")
    closed_on = DayColumn(verbose_name="Closed on", default="")


class StationFilter(ReferenceFilter):
    """By name."""

    search = ("name",)
    retired = "closed_on"


def scope(here: Here) -> QuerySet[Any, Any]:
    """With how many units and vehicles."""
    in_use = Q(units_of_station__retired_on__isnull=True), Q(vehicles__retired_on__isnull=True)
    return rows(Station, here).annotate(
        n_units=Count("units_of_station", filter=in_use[0], distinct=True),
        n_vehicles=Count("vehicles", filter=in_use[1], distinct=True),
    )


EDITOR = Editor(
    STATIONS,
    "station",
    "stations",
    "Where units run from, and where spare foam is kept.",
    StationForm,
    StationTable,
    StationFilter,
    scope,
    retiring="No unit, no vehicle and no container may stand there. Its history stays.",
    retire_word="Close",
)
urlpatterns = pages(EDITOR)
