"""Forms between us and a partner: lend, take back, borrow, give back, and other containers for those lent."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions import loans as acts
from readiness.actions.movements import Entry
from readiness.actions.once import Done
from readiness.models import Movement, Partner
from readiness.web.access import Here, may, rows
from readiness.web.column_fields import Own
from readiness.web.deliveries import ArrivalForm
from readiness.web.entries import Ask, BookForm, CodeField, CodesField, OwnerField, Page, entry_page
from readiness.web.forms import QuantityField
from readiness.web.movements import asked_before


def partner_field(**kwargs: Any) -> Own:
    """A partner that there is."""
    return Own(Partner, scope=lambda here: rows(Partner, here).filter(retired_on=None), label="Partner", **kwargs)


class PartnerBookForm(BookForm):
    """The base of entries with a partner."""

    partner = partner_field()
    incident = forms.CharField(label="Incident number", max_length=60, required=False)
    last: tuple[str, ...] = ("incident", "happened_at", "reason")

    def entry(self, here: Here) -> Entry:
        """With whose account it touches."""
        return super().entry(here)._replace(partner=self.cleaned_data["partner"])


class LendForm(PartnerBookForm):
    """Whole containers, or a volume poured into theirs."""

    codes = CodesField(label="Containers that go (label codes)", required=False)
    code = CodeField(label="Or a volume, out of (label code)", required=False)
    volume = QuantityField("volume", label="How much of it", required=False, zero=False)

    def clean(self) -> dict[str, Any]:
        """One or the other."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        poured = asked.get("code"), asked.get("volume")
        if self.errors:
            return asked
        if bool(asked.get("codes")) == any(poured):
            raise ValidationError("Name the containers that go, or one container and the volume out of it; not both.")
        if any(poured) and not all(poured):
            self.add_error("volume" if poured[0] else "code", "Nothing was read: a volume needs its container.")
        return asked


class TakeBackForm(PartnerBookForm):
    """Our containers come back."""

    codes = CodesField(label="Label codes of what came back")
    volume = QuantityField(
        "volume",
        label="In each",
        required=False,
        help_text="Empty: as it was lent. What is missing stays owed to us by volume.",
    )
    owner = OwnerField(label="Where it goes")
    compartment = forms.CharField(max_length=60, required=False, help_text="As store room, L3 or tank A.")


class GiveBackForm(PartnerBookForm):
    """Theirs, or others of a concentrate that we owe."""

    codes = CodesField(
        label="Label codes of what goes back",
        help_text="Theirs, or ours of a concentrate that is owed to them. They leave the book.",
    )


class BorrowForm(ArrivalForm, PartnerBookForm):
    """Their containers come to us."""

    last = PartnerBookForm.last

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.order_fields(["partner", *(name for name in self.fields if name != "partner")])


class ReplacedForm(BorrowForm):
    """Other containers for those lent, which may stay with them."""

    kept = CodesField(
        label="Lent containers that they keep",
        required=False,
        help_text="Label codes. They leave the book; what was in them is owed to us until it is made good here.",
    )
    last = ("kept", "incident", "happened_at", "reason")


def _lend(form: LendForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    if asked["codes"]:
        return Ask(lambda: [acts.lend(entry, containers=asked["codes"]).movement_id])
    return Ask(lambda: [acts.give_volume(entry, container=asked["code"], ml=asked["volume"]).movement_id])


def _take_back(form: TakeBackForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    back = [acts.Back(each, asked["volume"]) for each in asked["codes"]]
    return Ask(
        lambda: [acts.take_back(entry, back=back, owner=asked["owner"], compartment=asked["compartment"]).movement_id]
    )


def _give_back(form: GiveBackForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    return Ask(lambda: [acts.give_back(entry, containers=asked["codes"]).movement_id])


def _borrow(form: BorrowForm, here: Here) -> Ask:
    entry, delivery = form.entry(here), form.delivery()
    return Ask(lambda: [acts.borrow(entry, delivery=delivery).movement_id])


def _replaced(form: ReplacedForm, here: Here) -> Ask:
    entry, delivery, kept = form.entry(here), form.delivery(), form.cleaned_data["kept"]
    return Ask(lambda: [acts.replaced(entry, delivery=delivery, kept=kept).movement_id])


def _to_statement(done: Done) -> HttpResponseBase:
    """On to the partner's statement."""
    movement = Movement.objects.filter(pk=done.movement_id).first() if done.movement_id else None
    return redirect("statement", pk=movement.partner_id) if movement else redirect("owed")


# name of the url: (permission, form, page)
VERBS: dict[str, tuple[str, type[PartnerBookForm], Page]] = {
    "lend": (
        "move",
        LendForm,
        Page(
            "lend",
            "Lend to a partner",
            "Enter it as lent",
            _lend,
            _to_statement,
            "Lent containers stay ours and count nowhere. A volume poured into theirs is owed to us; where we owe them "
            "of that concentrate, it is given back.",
        ),
    ),
    "take_back": (
        "move",
        TakeBackForm,
        Page("take back", "Lent containers came back", "Enter what came back", _take_back, _to_statement),
    ),
    "replaced": (
        "receive",
        ReplacedForm,
        Page(
            "replaced",
            "Others came for what was lent",
            "Enter what came for it",
            _replaced,
            _to_statement,
            "Containers of like concentrate that a partner gives us for good, against what it owes us.",
        ),
    ),
    "borrow": (
        "receive",
        BorrowForm,
        Page(
            "borrow",
            "Borrow from a partner",
            "Enter it as borrowed",
            _borrow,
            _to_statement,
            "Borrowed foam is ours to use: it counts where it stands, is marked as borrowed, and is owed back.",
        ),
    ),
    "give_back": (
        "move",
        GiveBackForm,
        Page(
            "give back",
            "Give back to a partner",
            "Enter it as given back",
            _give_back,
            _to_statement,
            "What is in them by the book is given back with them. What is used of it stays owed.",
        ),
    ),
}


def _view(name: str) -> Callable[..., HttpResponseBase]:
    action, form_class, page = VERBS[name]

    @require_http_methods(["GET", "POST"])
    @may(action)
    def view(request: HttpRequest, here: Here) -> HttpResponseBase:
        initial = asked_before(request, form_class) | {"partner": request.GET.get("partner")}
        form = form_class(request.POST or None, here=here, initial=initial)
        return entry_page(request, here, page._replace(back=reverse("owed")), form)

    return view


urlpatterns = [path(f"moving/{name.replace('_', '-')}/", _view(name), name=name) for name in VERBS]
