"""The crew's unit: chosen once, then how it stands, what to turn, what it carries, and the way to the check."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_http_methods

from readiness.models import Unit
from readiness.reports.crew_today import crew_today, units_offered
from readiness.web.access import Here, get, rows, signed_in
from readiness.web.navigation import address_of

CHOSEN: Final = "unit"  # the session's name for the unit that was chosen
_DOORS: Final = (  # what a crew reports: its words, the page's name, the action that it takes
    ("Report use", "use", "use"),
    ("Report a refill", "pour", "pour"),
    ("Report an opened pail", "open", "open"),
    ("Report a flushed tank", "flush", "flush"),
)


def unit_here(here: Here, pk: int) -> Unit:
    """A unit of the department that is not retired; raises Http404."""
    units = Unit.objects.filter(retired_on__isnull=True).select_related("department", "station")
    return get(units, here, pk=pk)


@require_http_methods(["GET", "POST"])
@signed_in
def my_unit(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The unit chosen in this session, or the list to choose from."""
    if request.method == "POST":
        return _choose(request, here)
    chosen = rows(Unit, here).filter(retired_on__isnull=True, pk=request.session.get(CHOSEN, 0)).first()
    if chosen and "choose" not in request.GET:
        return redirect("crew_unit", pk=chosen.pk)
    own, others = units_offered(here.department, here.membership.station_id, here.now, here.day)
    groups = [(here.membership.station, own), ("Other stations" if own else "All stations", others)]
    context = {"groups": [(name, units) for name, units in groups if units], "chosen": chosen}
    return render(request, "crew/choose.html", context)


def _choose(request: HttpRequest, here: Here) -> HttpResponseBase:
    try:
        pk = int(request.POST.get("unit", ""))
    except ValueError:
        return redirect("my_unit")
    unit = unit_here(here, pk)
    request.session[CHOSEN] = unit.pk
    return redirect("crew_unit", pk=unit.pk)


@require_GET
@signed_in
def crew_unit(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One unit as its crew needs it."""
    unit = unit_here(here, pk)
    context = {
        "unit": unit,
        "today": crew_today(unit, here.now, here.day, here.units),
        "may_check": here.may("check"),
        "doors": report_doors(here, unit),
        "is_mine": request.session.get(CHOSEN) == unit.pk,
    }
    return render(request, "crew/today.html", context)


def report_doors(here: Here, unit: Unit) -> list[tuple[str, str]]:
    """The forms of the book that a crew needs and may open, each with this unit named."""
    named = urlencode({"unit": unit.pk})
    doors = [(words, address_of(name)) for words, name, action in _DOORS if here.may(action)]
    return [(words, f"{address}?{named}") for words, address in doors if address]


urlpatterns = [
    path("crew/", my_unit, name="my_unit"),
    path("crew/<int:pk>/", crew_unit, name="crew_unit"),
]
