"""The pump-panel card to print: half a letter page a line, black on white, big figures."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_GET

from readiness.engineering.records import Moment
from readiness.models import Unit
from readiness.reports.pump_cards import pump_cards
from readiness.web.access import Here, get, signed_in


@require_GET
@signed_in
def card(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The cards of a unit's lines."""
    row = get(Unit.objects.select_related("department"), here, pk=pk)
    told = pump_cards(row, Moment(here.now, here.day), here.units)
    return render(request, "cards/card.html", {"unit": row, "told": told})


urlpatterns = [path("units/<int:pk>/card/", card, name="unit_card")]
