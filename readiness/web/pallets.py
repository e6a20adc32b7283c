"""Take-back pallets: their records, what stands on each, and the form that sets containers aside."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Count, Q, QuerySet, Sum
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods
from django_tables2 import A

from readiness.actions import pallets as acts
from readiness.actions.pallets import PALLETS
from readiness.models import Pallet, Station
from readiness.models.catalogue import ConcentrateKind
from readiness.models.pallets import PalletTakes
from readiness.web.access import Here, may, rows
from readiness.web.column_fields import Own, in_words
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, WordColumn, pages
from readiness.web.entries import Ask, BookForm, CodesField, Page, entry_page
from readiness.web.movements import asked_before
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn


class KindsField(forms.MultipleChoiceField):
    """Kinds of concentrate, ticked; gives a tuple."""

    def clean(self, value: Any) -> Any:
        """The kinds."""
        return tuple(super().clean(value))


class PalletForm(RecordForm):
    """A pallet and what its programme takes."""

    noun = PALLETS
    name = forms.CharField(label="Pallet", max_length=60, help_text="As it is marked.")
    programme = forms.CharField(label="Take-back programme", max_length=120)
    station = Own(Station, Q(closed_on=None), label="Where it stands")
    takes = forms.ChoiceField(
        label="It takes",
        choices=[(word, word) for word in PalletTakes.values],
        help_text="PFAS not known counts as with PFAS.",
    )
    refused_kinds = KindsField(
        label="Kinds that it does not take",
        choices=in_words(ConcentrateKind),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )


class PalletTable(ReferenceTable):
    """Pallets with what stands on them."""

    caption = "Take-back pallets"
    retired = "closed_on"
    name = Column(verbose_name="Pallet", linkify=("reference_pallet", {"pk": A("pk")}))
    programme = Column(verbose_name="Programme")
    station = Column(accessor="station__name")
    takes = WordColumn("takes", verbose_name="Takes")
    containers = NumberColumn(accessor="n_containers", verbose_name="Containers on it")
    volume = QuantityColumn("volume", "nearest", accessor="on_it_ml", verbose_name="In them", default="")
    hand_over = Column(accessor="pk", verbose_name="Hand it over", exclude_from_export=True, orderable=False)
    closed_on = DayColumn(verbose_name="Closed on", default="")

    def render_hand_over(self, record: Any) -> SafeString | str:
        """The way to the form, where there is something to hand over."""
        if not record.n_containers or not self.here.may("dispose"):
            return ""
        return format_html('<a href="{}?pallet={}">Dispose with manifest</a>', reverse("dispose"), record.pk)


class PalletFilter(ReferenceFilter):
    """By name and programme."""

    search = ("name", "programme")
    retired = "closed_on"


def scope(here: Here) -> QuerySet[Any, Any]:
    """With how many containers stand on each."""
    on_it = Q(places__containers__retired_on=None)
    return (
        rows(Pallet, here)
        .select_related("station")
        .annotate(
            n_containers=Count("places__containers", filter=on_it, distinct=True),
            on_it_ml=Sum("places__containers__contents_ml", filter=on_it),
        )
    )


EDITOR = Editor(
    PALLETS,
    "pallet",
    "pallets",
    "What stands on a take-back pallet counts for nothing and never returns to a unit, a vehicle or a tank: it is "
    "handed over with a manifest.",
    PalletForm,
    PalletTable,
    PalletFilter,
    scope,
    retiring="Nothing may stand on it. Its history stays.",
    retire_word="Close",
)


class SetAsideForm(BookForm):
    """Containers go on a pallet."""

    codes = CodesField(label="Label codes")
    pallet = Own(Pallet, Q(closed_on=None), label="Take-back pallet")


def _set_aside(form: SetAsideForm, here: Here) -> Ask:
    entry, asked = form.entry(here), form.cleaned_data
    return Ask(lambda: [acts.set_aside(entry, containers=asked["codes"], pallet=asked["pallet"]).movement_id])


@require_http_methods(["GET", "POST"])
@may("dispose")
def set_aside(request: HttpRequest, here: Here) -> HttpResponseBase:
    """For good."""
    page = Page(
        "set aside",
        "Set aside for take-back",
        "Set aside for good",
        _set_aside,
        lambda _: redirect("reference_pallets"),
        "From a pallet nothing returns to a rig. Set aside by mistake, the entry is corrected with a reason.",
        reverse("reference_pallets"),
    )
    initial = asked_before(request, SetAsideForm) | {"pallet": request.GET.get("pallet")}
    return entry_page(request, here, page, SetAsideForm(request.POST or None, here=here, initial=initial))


urlpatterns = [*pages(EDITOR), path("moving/set-aside/", set_aside, name="set_aside")]
