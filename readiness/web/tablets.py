"""A station's shared tablet: how the chief makes one, how it is signed in, and who makes an entry there.

1. The tablet's session names the tablet and nobody. It opens the crew's pages of its own station and no others.
2. What is posted there carries who makes it and their PIN, from the form or from the page that asks for it. A PIN
   counts for one entry, by the number of its form, and five minutes: so preview and confirmation ask once.
3. `here.acting` is then the person, known by PIN; `permissions.require` holds it to what a PIN may do.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from readiness.actions import tablets as actions
from readiness.actions.drafts import Refused
from readiness.actions.people import MANAGE
from readiness.actions.permissions import Acting, NotAllowed
from readiness.actions.tablets import WrongPin, acting_by_pin
from readiness.models import Device, Membership, Station
from readiness.models.movements import Identity
from readiness.web import access, errors
from readiness.web.access import AT_HAND, TABLET, Here, get, may, rows, signed_in, tablet_of
from readiness.web.forms import Form
from readiness.web.queued import MARK, queued_of

PERSON, PIN = "tablet_person", "tablet_pin"
OPEN_AT_TABLET: Final = frozenset(
    {
        *("my_unit", "crew_unit", "check_unit", "check", "checks", "check_result", "after_use", "refill"),
        *("refill_short", "raise_deficiency", "inspections", "log_inspection", "open", "flush", "use"),
        *("write_note", "notes", "read_note", "end_note", "queue", "queue_token", "queue_hold", "worker", "manifest"),
        *("home", "choose_units", "sign_out", "healthz", "sign_in_tablet"),
    }
)
_NOBODYS: Final = frozenset(
    {"my_unit", "choose_units", "sign_out", "sign_in_tablet", "queue_hold"}
)  # posted without a PIN: no entry
_ONE_ENTRY: Final = timedelta(minutes=5)
_SESSION: Final = timedelta(days=180)
ONLY_CREWS: Final = (
    "This is a station’s shared tablet: it opens the crew’s pages of its station. "
    "Sign in as yourself on another device."
)


# -- at the tablet -----------------------------------------------------------------------------------------------------


class AtTablet:
    """Keeps a tablet to its pages, and finds out who makes what is posted there."""

    def __init__(self, respond: Any) -> None:
        self.respond = respond

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        response: HttpResponseBase = self.respond(request)
        return response

    def process_view(self, request: HttpRequest, *_: Any) -> HttpResponseBase | None:
        """Ask who it is, where that is not known yet."""
        name = request.resolver_match.url_name if request.resolver_match else ""
        tablet = None if name == "healthz" else tablet_of(request)  # health is told without a database, too
        if tablet is None:
            return None
        if name not in OPEN_AT_TABLET:
            return errors.forbidden(request, NotAllowed(ONLY_CREWS))
        if request.method != "POST" or name in _NOBODYS:
            return None
        return _who(request, tablet)


def _who(request: HttpRequest, tablet: Device) -> HttpResponseBase | None:
    """None once it is known who makes the entry; else the page that asks."""
    if request.POST.get(PIN):
        try:
            acting = _by_pin(request, tablet)
        except WrongPin as wrong:
            return _ask(request, tablet, str(wrong))
        access.act_as(request, acting)
        return None
    known = _at_hand(request, tablet)
    if known is None:
        return _ask(request, tablet, "")
    access.act_as(request, known)
    return None


def _by_pin(request: HttpRequest, tablet: Device) -> Acting:
    person = request.POST.get(PERSON, "")
    pk = int(person) if person.isascii() and person.isdecimal() and len(person) < 19 else 0
    acting = acting_by_pin(tablet, pk, request.POST[PIN], clock=access.CLOCK)
    until = access.CLOCK.now() + _ONE_ENTRY
    request.session[AT_HAND] = {"person": pk, "entry": request.POST.get("entry_id", ""), "until": until.isoformat()}
    return acting


def _at_hand(request: HttpRequest, tablet: Device) -> Acting | None:
    """Who gave their PIN for this very entry a moment ago."""
    kept = request.session.get(AT_HAND) or {}
    entry = request.POST.get("entry_id", "")
    if not entry or kept.get("entry") != entry or datetime.fromisoformat(kept["until"]) < access.CLOCK.now():
        return None
    row = actions.people_at(tablet).filter(pk=kept["person"]).first()
    return Acting(row.user, Identity.PIN, tablet) if row else None


def _ask(request: HttpRequest, tablet: Device, wrong: str) -> HttpResponseBase:
    """The page that asks who it is, with everything that was typed carried along; or the answer to a queue."""
    if queued := queued_of(request):
        queued.needs_pin = True
        queued.sentences.append(wrong or "Whoever made it gives the PIN now; it was not kept on this device.")
        return HttpResponse(status=401)
    left = {"csrfmiddlewaretoken", PIN, PERSON, MARK}
    carried = [(name, value) for name, values in request.POST.lists() if name not in left for value in values]
    context = {
        "carried": carried,
        "wrong": wrong,
        "label": _label(request),
        "photo_lost": bool(request.FILES),
        "nobody": not people(tablet),
        "tablet": tablet,
    }
    return render(request, "tablets/who.html", context)


def _label(request: HttpRequest) -> str:
    """What the page called its form."""
    try:
        return str(json.loads(request.POST.get(MARK, ""))["label"])[:120]
    except (ValueError, KeyError, TypeError):
        return "Entry at the tablet"


def people(tablet: Device) -> list[tuple[str, str]]:
    """(number, initials and name) of those who may make an entry there."""
    rows = actions.people_at(tablet)
    return [
        (str(row.pk), f"{row.user.initials or '–'}, {row.user.get_full_name() or row.user.username}") for row in rows
    ]


# -- signing a tablet in -----------------------------------------------------------------------------------------------


@login_not_required
@require_http_methods(["GET", "POST"])
def sign_in_tablet(request: HttpRequest, pk: int, key: str) -> HttpResponseBase:
    """The link of a tablet: opened there, good once."""
    tablet = actions.tablet_by_link(pk, key)
    if tablet is not None and request.method == "POST":
        tablet = actions.use_link(pk, key, clock=access.CLOCK)
        if tablet is not None:
            logout(request)
            request.session[TABLET] = tablet.pk
            request.session.set_expiry(_SESSION)
            return redirect("my_unit")
    if tablet is None:
        return render(request, "tablets/dead_link.html", status=410)
    return render(request, "tablets/sign_in.html", {"tablet": tablet})


# -- the chief's page --------------------------------------------------------------------------------------------------


class TabletForm(Form):
    """Where a tablet stands."""

    name = forms.CharField(max_length=60, help_text="As people call it: bay tablet Quayside.")
    station = forms.ModelChoiceField(Station.objects.none(), empty_label="choose")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        station = self.fields["station"]
        assert isinstance(station, forms.ModelChoiceField)
        station.queryset = rows(Station, here).filter(closed_on__isnull=True)


@require_http_methods(["GET", "POST"])
@may(MANAGE)
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The tablets, and a further one."""
    form = TabletForm(request.POST or None, here=here)
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        try:
            made = actions.make_tablet(
                here.department,
                station=asked["station"],
                name=asked["name"],
                acting=here.acting,
                clock=access.CLOCK,
            )
        except Refused as refused:
            form.refuse(refused, "name")
        else:
            return _link(request, made)
    found = rows(Device, here).select_related("station").order_by("retired_on", "name")
    return render(request, "tablets/list.html", {"tablets": found, "form": form})


def _link(request: HttpRequest, made: actions.Made) -> HttpResponseBase:
    link = request.build_absolute_uri(reverse("sign_in_tablet", args=[made.device.pk, made.key]))
    return render(request, "tablets/link.html", {"tablet": made.device, "link": link})


@require_POST
@may(MANAGE)
def renew(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """A further link."""
    tablet = get(Device.objects.select_related("department", "station"), here, pk=pk)
    try:
        made = actions.renew_key(tablet, acting=here.acting, clock=access.CLOCK)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("tablets")
    return _link(request, made)


@require_POST
@may(MANAGE)
def retire(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Nothing opens on it any more."""
    tablet = get(Device.objects.select_related("department"), here, pk=pk)
    actions.retire_tablet(tablet, acting=here.acting, clock=access.CLOCK)
    messages.success(request, f"{tablet} is out of use.")
    return redirect("tablets")


# -- PINs --------------------------------------------------------------------------------------------------------------


class PinForm(Form):
    """A PIN, twice."""

    _plain: Final = {"inputmode": "numeric", "autocomplete": "off", "maxlength": "6"}
    pin = forms.CharField(label="New PIN", max_length=6, widget=forms.PasswordInput(_plain), help_text="4 to 6 digits.")
    again = forms.CharField(label="The same once more", max_length=6, widget=forms.PasswordInput(_plain))

    def clean(self) -> dict[str, Any]:
        """Both alike."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        if "pin" in asked and "again" in asked and asked["pin"] != asked["again"]:
            self.refuse("The two PINs that were read differ: type the same twice.", "again")
        return asked


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@signed_in
def pin(request: HttpRequest, here: Here) -> HttpResponseBase:
    """One's own PIN for the station's tablets."""
    if here.role not in actions.WHO_MAY:
        raise NotAllowed("A PIN is for those who enter something at a tablet.")
    form = PinForm(request.POST or None, here=here)
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_pin(here.membership, form.cleaned_data["pin"], acting=here.acting, clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused, "pin")
        else:
            messages.success(request, "Your PIN is set.")
            return redirect("account")
    return render(request, "tablets/pin.html", {"form": form, "here": here})


@require_POST
@may(MANAGE)
def clear_pin(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """Somebody's PIN is taken away."""
    member = get(Membership.objects.select_related("user", "department"), here, pk=pk)
    actions.clear_pin(member, acting=here.acting, clock=access.CLOCK)
    messages.success(request, f"The PIN of {member.user.get_full_name() or member.user} is cleared.")
    return redirect("person", pk=pk)


urlpatterns = [
    path("people/tablets/", every, name="tablets"),
    path("people/tablets/<int:pk>/link/", renew, name="renew_tablet"),
    path("people/tablets/<int:pk>/retire/", retire, name="retire_tablet"),
    path("people/<int:pk>/clear-pin/", clear_pin, name="clear_pin"),
    path("account/pin/", pin, name="pin"),
    path("tablet/<int:pk>/<str:key>/", sign_in_tablet, name="sign_in_tablet"),
]
