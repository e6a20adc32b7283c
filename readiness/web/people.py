"""The people of a department: the chief invites, gives roles and ends memberships."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables2
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_http_methods

from readiness.actions import people
from readiness.actions.drafts import Refused
from readiness.models import Membership, Role, Station
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.accounts import invitation_address
from readiness.web.forms import Form
from readiness.web.tables import Column, DayColumn, Table, list_page


class InviteForm(Form):
    """Who, and as what."""

    first_name = forms.CharField(max_length=80)
    last_name = forms.CharField(max_length=80)
    email = forms.EmailField(label="E-mail", help_text="The link to set a password goes there; it is also the sign-in.")
    role = forms.ChoiceField(choices=Role.choices, initial=Role.CREW)
    station = forms.ModelChoiceField(Station.objects.none(), required=False, empty_label="no station of their own")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        stations = self.fields["station"]
        if isinstance(stations, forms.ModelChoiceField):
            stations.queryset = rows(Station, here).filter(closed_on__isnull=True)


class RoleForm(Form):
    """Another role."""

    role = forms.ChoiceField(choices=Role.choices)


class PeopleTable(Table):
    """Everybody who is or was a member."""

    caption = "People"
    name = Column(accessor="user__last_name", verbose_name="Name", linkify=("person", {"pk": tables2.A("pk")}))
    sign_in = Column(accessor="user__username", verbose_name="Sign-in")
    role = Column()
    station = Column(accessor="station__name", verbose_name="Station")
    from_on = DayColumn(verbose_name="From")
    to_on = DayColumn(verbose_name="Until")

    def render_name(self, record: Membership) -> str:
        """As people say it."""
        return record.user.get_full_name() or record.user.username

    def value_name(self, record: Membership) -> str:
        """The same in the workbook."""
        return self.render_name(record)


@require_GET
@may(people.MANAGE)
def everybody(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    members = rows(Membership, here).select_related("user", "station").order_by("to_on", "user__last_name", "id")
    return list_page(request, here, PeopleTable, members, template="people/list.html")


@require_http_methods(["GET", "POST"])
@may(people.MANAGE)
def invite(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Invite somebody."""
    form = InviteForm(request.POST or None, here=here)
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        newcomer = people.Newcomer(
            asked["email"], asked["first_name"], asked["last_name"], Role(asked["role"]), asked["station"]
        )
        try:
            invited = people.invite(
                here.department,
                here.acting,
                newcomer,
                link_of=lambda token: invitation_address(request, token),
                clock=access.CLOCK,
            )
        except Refused as refused:
            form.refuse(refused, "email")
        else:
            if invited.link:
                return render(request, "people/hand_over.html", {"invited": invited, "days": people.INVITATION_DAYS})
            messages.success(request, f"{invited.membership.user.get_full_name()} is invited{_how(invited)}.")
            return redirect("people")
    return render(request, "people/invite.html", {"form": form})


def _how(invited: people.Invited) -> str:
    return "; a mail with the link is on its way" if invited.mailed else " and signs in as before"


@require_GET
@may(people.MANAGE)
def person(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One member, and what can be done."""
    member = get(Membership.objects.select_related("user", "station"), here, pk=pk)
    return render(request, "people/person.html", {"member": member, "form": RoleForm(initial={"role": member.role})})


@require_http_methods(["POST"])
@may(people.MANAGE)
def change_role(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Give another role."""
    member = get(Membership.objects.select_related("user", "station"), here, pk=pk)
    form = RoleForm(request.POST)
    if form.is_valid():
        try:
            changed = people.change_role(member, here.acting, Role(form.cleaned_data["role"]), clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused)
        else:
            said = f"{member.user.get_full_name() or member.user} is {changed.get_role_display()} now."
            messages.success(request, said)
            return redirect("people" if here.user != member.user else "home")
    return render(request, "people/person.html", {"member": member, "form": form})


@require_http_methods(["POST"])
@may(people.MANAGE)
def end(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """End the membership."""
    member = get(Membership.objects.select_related("user", "station"), here, pk=pk)
    form = RoleForm({"role": member.role})
    try:
        people.end_membership(member, here.acting, clock=access.CLOCK)
    except Refused as refused:
        form.refuse(refused)
        return render(request, "people/person.html", {"member": member, "form": form})
    messages.success(request, f"The membership of {member.user.get_full_name() or member.user} has ended.")
    return redirect("people")


urlpatterns = [
    path("people/", everybody, name="people"),
    path("people/invite/", invite, name="invite"),
    path("people/<int:pk>/", person, name="person"),
    path("people/<int:pk>/role/", change_role, name="change_role"),
    path("people/<int:pk>/end/", end, name="end_membership"),
]
