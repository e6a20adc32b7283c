"""The crew's unit: chosen once, then how it stands, what to turn, what it carries, and the way to the check."""

from __future__ import annotations

from typing import Final
from urllib.parse import urlencode
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.questions import answer_question
from readiness.models import Check, Container, InventoryPlace, Unit
from readiness.models.inventories import Stage
from readiness.reports.crew_today import ToClean, crew_today, units_offered
from readiness.reports.hand_over_notes import open_notes
from readiness.reports.questions import questions
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.forms import Form
from readiness.web.navigation import address_of

CHOSEN: Final = "unit"  # the session's name for the unit that was chosen
_DOORS: Final = (  # what a crew reports: its words, the page's name, the action that it takes
    ("Refill", "refill", "pour"),
    ("Report an opened pail", "open", "open"),
    ("Report a flushed tank", "flush", "flush"),
    ("Inspections due", "inspections", "check"),
    ("Change over", "change_over", "change over"),
    ("Raise a deficiency", "raise_deficiency", "raise a deficiency"),
    ("Find by a code", "find", "check"),
)
_NOT_AT_TABLET: Final = frozenset({"find"})  # leads to pages of the whole department


_STEPS: Final = {  # of cleaning: the words of the button, the action that it takes
    "empty": ("Log {} as emptied", "use"),
    "flush": ("Log {} as flushed", "flush"),
    "inspect": ("Log {} as inspected and clean", "inspect"),
}


class AnswerForm(Form):
    """What was found out about a question."""

    words = forms.CharField(max_length=300, error_messages={"required": "No words were read: say what was found out."})


def unit_here(here: Here, pk: int) -> Unit:
    """A unit of the department that is not retired; raises Http404."""
    units = Unit.objects.filter(retired_on__isnull=True).select_related("department", "station")
    return get(units, here, pk=pk)


def unit_named(request: HttpRequest, here: Here) -> Unit | None:
    """The unit whose crew came here, where the address names one of the department."""
    pk = request.GET.get("unit", "")
    units = rows(Unit, here).filter(retired_on__isnull=True).select_related("department", "station")
    return units.filter(pk=pk).first() if pk.isascii() and pk.isdecimal() and len(pk) < 19 else None


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
    if here.tablet:
        others = ()
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
    today = crew_today(unit, here.now, here.day, here.units)
    context = {
        "unit": unit,
        "today": today,
        "to_clean": [(each, step_door(here, unit, each)) for each in today.to_clean],
        "may_check": here.may("check"),
        "may_hand_over": here.may("hand over"),
        "notes": open_notes(unit, here.acting.user),
        "doors": report_doors(here, unit) + count_doors(here, unit),
        "questions": questions(unit, here.now, here.units) if here.may("close a deficiency") else [],
        "is_mine": request.session.get(CHOSEN) == unit.pk,
    }
    return render(request, "crew/today.html", context)


@require_POST
@may("close a deficiency")
def answer(request: HttpRequest, here: Here, pk: int, check: UUID) -> HttpResponseBase:
    """What the officer found out about a check."""
    unit = unit_here(here, pk)
    row = get(Check.objects.filter(unit=unit), here, pk=check)
    of = request.POST.get("container", "")
    container = get(Container, here, pk=of) if of else None
    form = AnswerForm(request.POST, here=here)
    try:
        if not form.is_valid():
            raise Refused(" ".join(str(wrong) for wrong in form.errors["words"]))
        words = form.cleaned_data["words"]
        answer_question(
            here.department, check=row, container=container, words=words, acting=here.acting, clock=access.CLOCK
        )
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "Kept: what was found out.")
    return redirect("crew_unit", pk=unit.pk)


def report_doors(here: Here, unit: Unit) -> list[tuple[str, str]]:
    """The forms of the book that a crew needs and may open, each with this unit named."""
    named = urlencode({"unit": unit.pk})
    first = [("After use", reverse("after_use", args=[unit.pk]))] if here.may("use") else []
    doors = [
        (words, address_of(name))
        for words, name, action in _DOORS
        if here.may(action) and not (here.tablet and name in _NOT_AT_TABLET)
    ]
    return first + [(words, f"{address}?{named}") for words, address in doors if address]


def step_door(here: Here, unit: Unit, each: ToClean) -> tuple[str, str] | None:
    """The button of the next step of cleaning, for who may take it: its words and address."""
    words, action = _STEPS[each.step]
    if not here.may(action):
        return None
    return words.format(each.code), reverse(each.step, query={"unit": unit.pk, "code": each.code})


def count_doors(here: Here, unit: Unit) -> list[tuple[str, str]]:
    """The way to its sheet while an inventory that it is part of is being counted or confirmed."""
    if here.tablet or not here.may("count"):
        return []
    places = InventoryPlace.objects.filter(unit=unit, inventory__stage__in=[Stage.COUNTING, Stage.CONFIRMING])
    return [("Count for the inventory", reverse("inventory_place", args=[row.inventory_id, row.pk])) for row in places]


urlpatterns = [
    path("crew/", my_unit, name="my_unit"),
    path("crew/<int:pk>/", crew_unit, name="crew_unit"),
    path("crew/<int:pk>/checks/<uuid:check>/answer/", answer, name="answer_question"),
]
