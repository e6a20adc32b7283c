"""A unit: its status with the working, what is wrong and who sees to it, what counts and what does not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_POST

from readiness.actions import acceptances
from readiness.actions.deficiencies import assign_deficiency
from readiness.actions.drafts import Refused
from readiness.engineering.records import Moment
from readiness.models import Deficiency, Membership, Unit, User
from readiness.reports.unit_today import changes_of, name_of, one_deficiency, unit_today
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.forms import DateField, Form
from readiness.web.moments import moment_text
from readiness.web.navigation import address_of

if TYPE_CHECKING:
    OneOfPeople = forms.ModelChoiceField[User]
else:
    OneOfPeople = forms.ModelChoiceField  # takes no parameter at run time


class PersonField(OneOfPeople):
    """A person of the department, by name."""

    def label_from_instance(self, obj: Any) -> str:
        """As others call them."""
        return name_of(obj)


class AssignForm(Form):
    """Who sees to it, and by when."""

    owner = PersonField(User.objects.none(), label="Who sees to it", required=False, empty_label="nobody named")
    due_on = DateField(label="Due", required=False)

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        members = rows(Membership, here).filter(to_on__isnull=True).values("user")
        owner = self.fields["owner"]
        assert isinstance(owner, PersonField)
        owner.queryset = User.objects.filter(pk__in=members).order_by("last_name", "first_name", "username")


class AcceptForm(Form):
    """Until when, and why."""

    until = DateField(label="Accept until", coming=True)
    note = forms.CharField(
        label="Why it can be accepted",
        max_length=500,
        widget=forms.Textarea({"rows": 3}),
        help_text="It keeps its severity and is counted apart. Your name stands beside it.",
    )


@require_GET
@signed_in
def unit(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The page of one unit."""
    row = get(Unit.objects.select_related("station", "department"), here, pk=pk)
    told = unit_today(row, Moment(here.now, here.day), here.units)
    context = {
        "unit": row,
        "told": told,
        "check_until": moment_text(here.department, told.check_good_until),
        "containers": address_of("containers"),
        "may_assign": here.may("assign"),
        "may_accept": here.may("accept"),
    }
    return render(request, "units/unit.html", context)


def _deficiency(here: Here, pk: int, deficiency: int) -> Deficiency:
    known = Deficiency.objects.select_related("unit", "owner", "accepted_by")
    return get(known, here, pk=deficiency, unit__pk=pk)


def _page(
    request: HttpRequest,
    here: Here,
    row: Deficiency,
    assign_form: AssignForm | None = None,
    accept_form: AcceptForm | None = None,
) -> HttpResponseBase:
    now = {"owner": row.owner_id, "due_on": row.due_on}
    context = {
        "row": row,
        "wrong": one_deficiency(row, here.day, here.units),
        "changes": changes_of(row),
        "assign_form": assign_form or AssignForm(here=here, initial=now),
        "accept_form": accept_form or AcceptForm(here=here),
        "may_assign": here.may("assign"),
        "may_accept": here.may("accept"),
    }
    return render(request, "units/deficiency.html", context)


@require_GET
@signed_in
def deficiency(request: HttpRequest, here: Here, pk: int, deficiency: int) -> HttpResponseBase:
    """One deficiency with its history, and the forms of those who may."""
    return _page(request, here, _deficiency(here, pk, deficiency))


@require_POST
@may("assign")
def assign(request: HttpRequest, here: Here, pk: int, deficiency: int) -> HttpResponseBase:
    """Name who sees to it and by when."""
    row = _deficiency(here, pk, deficiency)
    form = AssignForm(request.POST, here=here)
    if form.is_valid():
        try:
            assign_deficiency(
                here.department, deficiency=row, **form.cleaned_data, acting=here.acting, clock=access.CLOCK
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Saved: who sees to it and by when.")
            return redirect("unit", pk)
    return _page(request, here, row, assign_form=form)


@require_POST
@may("accept")
def accept(request: HttpRequest, here: Here, pk: int, deficiency: int) -> HttpResponseBase:
    """Accept it until a day."""
    row = _deficiency(here, pk, deficiency)
    form = AcceptForm(request.POST, here=here)
    if form.is_valid():
        try:
            acceptances.accept(
                here.department, deficiency=row, **form.cleaned_data, acting=here.acting, clock=access.CLOCK
            )
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Accepted until {form.cleaned_data['until']}; it is counted apart.")
            return redirect("unit", pk)
    return _page(request, here, row, accept_form=form)


@require_POST
@may("accept")
def withdraw(request: HttpRequest, here: Here, pk: int, deficiency: int) -> HttpResponseBase:
    """Take an acceptance back."""
    row = _deficiency(here, pk, deficiency)
    try:
        acceptances.withdraw(here.department, deficiency=row, acting=here.acting, clock=access.CLOCK)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "The acceptance is withdrawn.")
    return redirect("unit", pk)


urlpatterns = [
    path("units/<int:pk>/", unit, name="unit"),
    path("units/<int:pk>/deficiencies/<int:deficiency>/", deficiency, name="unit_deficiency"),
    path("units/<int:pk>/deficiencies/<int:deficiency>/assign/", assign, name="assign_deficiency"),
    path("units/<int:pk>/deficiencies/<int:deficiency>/accept/", accept, name="accept_deficiency"),
    path("units/<int:pk>/deficiencies/<int:deficiency>/withdraw/", withdraw, name="withdraw_acceptance"),
]
