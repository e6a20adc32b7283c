"""Disposal with its manifest: the form, the list, the page that prints, and the certificate that comes later."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions import disposals as acts
from readiness.actions.once import Done
from readiness.models import Disposal, Pallet
from readiness.reports.disposals import DisposalRow, disposal_told, disposals
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.column_fields import Own
from readiness.web.entries import Ask, BookForm, CodeField, CodesField, Page, entry_page
from readiness.web.forms import DateField, EntryForm, QuantityField
from readiness.web.marks import status_mark
from readiness.web.movements import asked_before
from readiness.web.tables import Column, DayColumn, NumberColumn, QuantityColumn, RecordFilter, Table, list_page

PFAS_WORDS = {"yes": "with PFAS", "no": "without PFAS", "unknown": "PFAS not known: treated as with PFAS"}


class DisposalTable(Table):
    """A row a manifest, the latest first."""

    caption = "Disposals"
    manifest = Column(
        verbose_name="Manifest", linkify=("disposal", {"pk": A("id")}), attrs={"td": {"class": "nobreak"}}
    )
    taken_on = DayColumn(verbose_name="Taken", attrs={"td": {"class": "nobreak"}})
    hauler = Column()
    containers = NumberColumn(verbose_name="Containers")
    volume_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Volume")
    pfas_ml = QuantityColumn("volume", "nearest", containers="containers", verbose_name="Of it with PFAS or unknown")
    weight_kg = QuantityColumn("mass", "nearest", verbose_name="Weight", default="not known")
    pallet = Column(default="")
    state = Column(verbose_name="Certificate", attrs={"td": {"class": "nobreak"}})

    class Meta:
        order_by = "-taken_on"

    def render_state(self, record: DisposalRow) -> SafeString:
        """A shape and a word."""
        return disposal_mark(record)

    def value_state(self, record: DisposalRow) -> str:
        """The same word in the workbook."""
        return record.state


def disposal_mark(row: DisposalRow) -> SafeString:
    """Whether its certificate of destruction has come."""
    key = {"certified": "ready", "certificate awaited": "unverified", "corrected": "no_foam_duty"}
    return status_mark(key[row.state], row.state)


class DisposalFilter(RecordFilter):
    """By manifest, hauler and certificate."""

    search = ("manifest", "hauler", "certificate", "pallet")
    choices = {"hauler": "Hauler", "state": "Certificate"}


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    return list_page(
        request,
        here,
        DisposalTable,
        disposals(here.department),
        template="disposals/list.html",
        filter_class=DisposalFilter,
        context={"may_dispose": here.may("dispose")},
    )


@require_GET
@signed_in
def disposal(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One manifest; prints."""
    told = disposal_told(get(Disposal.objects.select_related("movement"), here, pk=pk))
    context = {
        "here": here,
        "told": told,
        "row": told.row,
        "mark": disposal_mark(told.row),
        "pfas_words": PFAS_WORDS,
        "may_certify": here.may("dispose") and told.row.state != "corrected",
        "may_correct": here.may("correct") and told.row.state != "corrected",
    }
    return render(request, "disposals/disposal.html", context)


# -- forms -------------------------------------------------------------------------------------------------------------


class DisposeForm(BookForm):
    """What a hauler takes, and his paper."""

    manifest = forms.CharField(label="Manifest number", max_length=60)
    hauler = forms.CharField(max_length=80)
    taken_on = DateField(label="Taken on", past=True)
    pallet = Own(Pallet, Q(closed_on=None), label="Take-back pallet", required=False, empty_label="none")
    codes = CodesField(
        label="Containers that went (label codes)",
        required=False,
        help_text="With all that is in them. They leave the book for good.",
    )
    code = CodeField(label="Or a volume, out of (label code)", required=False, help_text="The container stays.")
    volume = QuantityField("volume", label="How much of it", required=False, zero=False)
    weight = QuantityField("mass", label="Weight on the manifest", required=False, zero=False)

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        kwargs["initial"] = {"taken_on": here.today, **(kwargs.get("initial") or {})}
        super().__init__(*args, here=here, **kwargs)
        del self.fields["happened_at"]  # the manifest's day, at the moment it is entered

    def clean(self) -> dict[str, Any]:
        """Something went; a volume has its container."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        poured = asked.get("code"), asked.get("volume")
        if not self.errors and any(poured) and not all(poured):
            self.add_error("volume" if poured[0] else "code", "Nothing was read: a volume needs its container.")
        if not self.errors and not asked.get("codes") and not any(poured):
            raise ValidationError("Nothing was read that was taken: name containers, or a volume out of one.")
        return asked

    def load(self) -> acts.Load:
        """What went."""
        asked = self.cleaned_data
        volumes = ((asked["code"], asked["volume"]),) if asked["code"] else ()
        return acts.Load(tuple(asked["codes"]), volumes)


def _dispose(form: DisposeForm, here: Here) -> Ask:
    entry, load, asked = form.entry(here), form.load(), form.cleaned_data
    manifest = acts.Manifest(asked["manifest"], asked["hauler"], asked["taken_on"], asked["weight"])
    return Ask(lambda: [acts.dispose(entry, manifest=manifest, load=load, pallet=asked["pallet"]).movement_id])


def _disposed(done: Done) -> HttpResponseBase:
    made = Disposal.objects.filter(movement=done.movement_id).first()
    return redirect("disposal", pk=made.pk) if made else redirect("disposals")


@require_http_methods(["GET", "POST"])
@may("dispose")
def dispose(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Hand over for destruction."""
    page = Page(
        "dispose",
        "Dispose with manifest",
        "Enter it as taken",
        _dispose,
        _disposed,
        "What is taken leaves the book for good, and nothing is disposed of twice. The certificate comes later.",
        reverse("disposals"),
    )
    initial = asked_before(request, DisposeForm) | _of_pallet(request, here)
    return entry_page(request, here, page, DisposeForm(request.POST or None, here=here, initial=initial))


def _of_pallet(request: HttpRequest, here: Here) -> dict[str, Any]:
    """A pallet that was chosen before, with what stands on it."""
    asked = request.GET.get("pallet", "")
    pallet = rows(Pallet, here).filter(pk=asked).first() if asked.isdecimal() and len(asked) < 10 else None
    if pallet is None:
        return {}
    codes = " ".join(str(each) for each in acts.on_pallet(pallet))
    return {"pallet": pallet, "codes": codes}


class CertifyForm(EntryForm):
    """The certificate of destruction."""

    certificate = forms.CharField(label="Certificate of destruction", max_length=120, help_text="Its number.")
    certified_on = DateField(label="Destroyed on", past=True)


def _certify(row: Disposal, form: CertifyForm, here: Here) -> Ask:
    asked = form.cleaned_data

    def act() -> list[Any]:
        acts.certify(
            here.department,
            disposal=row,
            certificate=asked["certificate"],
            certified_on=asked["certified_on"],
            acting=here.acting,
            clock=access.CLOCK,
        )
        return []

    return Ask(act)


@require_http_methods(["GET", "POST"])
@may("dispose")
def certify(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """When it has come."""
    row = get(Disposal, here, pk=pk)
    page = Page(
        "certify disposal",
        f"Certificate of {row}",
        "Enter the certificate",
        partial(_certify, row),
        lambda _: redirect("disposal", pk=row.pk),
        back=reverse("disposal", args=[row.pk]),
    )
    return entry_page(request, here, page, CertifyForm(request.POST or None, here=here))


urlpatterns = [
    path("moving/disposals/", every, name="disposals"),
    path("moving/dispose/", dispose, name="dispose"),
    path("moving/disposals/<int:pk>/", disposal, name="disposal"),
    path("moving/disposals/<int:pk>/certificate/", certify, name="certify_disposal"),
]
