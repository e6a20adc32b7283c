"""Partner departments: their records, what is owed between us and each, and the statement that prints."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path, reverse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET
from django_tables2 import A

from readiness.actions.partners import PARTNERS
from readiness.models import Partner
from readiness.reports.journal import movements_of, told
from readiness.reports.loans import Owed, owed, statement
from readiness.web import figures
from readiness.web.access import Here, get, rows, signed_in
from readiness.web.editors import Editor, RecordForm, ReferenceFilter, ReferenceTable, pages
from readiness.web.marks import status_mark
from readiness.web.tables import (
    Column,
    DayColumn,
    MomentColumn,
    QuantityColumn,
    RecordFilter,
    Table,
    list_page,
)

LATEST = 50  # movements on a statement; the list of movements has all


class PartnerForm(RecordForm):
    """A department we lend to and borrow from."""

    noun = PARTNERS
    name = forms.CharField(label="Partner", max_length=80, help_text="As both call it.")
    contact = forms.CharField(
        label="Whom to call", max_length=160, required=False, help_text="By role and number: logistics, 555 0100."
    )


class PartnerTable(ReferenceTable):
    """Partners."""

    caption = "Partners"
    retired = "retired_on"
    name = Column(verbose_name="Partner", linkify=("reference_partner", {"pk": A("pk")}))
    contact = Column(verbose_name="Whom to call", default="")
    statement = Column(
        accessor="pk", verbose_name="Statement", linkify=("statement", {"pk": A("pk")}), exclude_from_export=True
    )
    retired_on = DayColumn(verbose_name="No partner since", default="")

    def render_statement(self) -> str:
        """The way to it."""
        return "Statement"


class PartnerFilter(ReferenceFilter):
    """By name."""

    search = ("name", "contact")
    retired = "retired_on"


def scope(here: Here) -> QuerySet[Any, Any]:
    """The department's own."""
    return rows(Partner, here)


EDITOR = Editor(
    PARTNERS,
    "partner",
    "partners",
    "Departments, terminals and airports that we lend foam to and borrow it from.",
    PartnerForm,
    PartnerTable,
    PartnerFilter,
    scope,
    retiring="Nothing may stand lent there or borrowed from there. Its account and its history stay.",
)


# -- what is owed ------------------------------------------------------------------------------------------------------


class OwedTable(Table):
    """A row a partner and concentrate, the oldest open one first."""

    caption = "Lent and borrowed"
    partner = Column(linkify=lambda record: _address(record))
    concentrate = Column()
    kind = Column(visible=False)
    pfas = Column(verbose_name="PFAS")
    side = Column(verbose_name="Who owes", attrs={"td": {"class": "nobreak"}})
    amount = QuantityColumn("volume", "nearest", accessor="net_ml", verbose_name="Owed")
    lent_ml = QuantityColumn("volume", "nearest", verbose_name="Of ours in their hands, in our containers")
    lots = Column(verbose_name="By lot", orderable=False, default="")
    since = MomentColumn(verbose_name="Open since", default="")

    def render_side(self, value: str) -> SafeString:
        """A shape and a word."""
        return side_mark(value)

    def render_amount(self, value: int) -> str:
        """Without its sign: the word beside it says who owes."""
        return self._said(abs(value))

    def _said(self, ml: int) -> str:
        return figures.figure(ml, "volume", self.here.units, "nearest")

    def render_lots(self, record: Owed) -> str:
        """Each lot that is open."""
        return "; ".join(
            f"{lot.batch}: {'−' if lot.net_ml < 0 else ''}{self._said(lot.size_ml)}" for lot in record.lots
        )

    def value_lots(self, record: Owed) -> str:
        """The same in the workbook."""
        return self.render_lots(record)


def _address(row: Owed) -> str | None:
    return reverse("statement", args=[row.partner_id]) if row.partner_id else None


def side_mark(side: str) -> SafeString:
    """Who owes whom, as shape and word."""
    return status_mark({"owed to us": "unverified", "owed by us": "limited", "settled": "ready"}[side], side)


class OwedFilter(RecordFilter):
    """By partner, concentrate, PFAS and side."""

    search = ("partner", "concentrate")
    choices = {"partner": "Partner", "concentrate": "Concentrate", "pfas": "PFAS", "side": "Who owes"}


@require_GET
@signed_in
def lent_and_borrowed(request: HttpRequest, here: Here) -> HttpResponseBase:
    """All that is owed, either way."""
    context = {"may_move": here.may("move"), "any_partner": rows(Partner, here).filter(retired_on=None).exists()}
    return list_page(
        request,
        here,
        OwedTable,
        owed(here.department),
        template="partners/owed.html",
        filter_class=OwedFilter,
        context=context,
    )


@require_GET
@signed_in
def partner_statement(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """All between us and one partner; prints on a sheet to be signed by both."""
    partner = get(Partner.objects.select_related("department"), here, pk=pk)
    found = statement(partner)
    movements = movements_of(here.department).filter(partner=partner).order_by("-happened_at", "-id")
    lent = movements_of(here.department).filter(relocations__to_place__partner=partner).order_by("-happened_at", "-id")
    both = sorted({*movements[:LATEST], *lent[:LATEST]}, key=lambda row: row.happened_at, reverse=True)[:LATEST]
    context = {
        "here": here,
        "partner": partner,
        "statement": found,
        "owed": [(row, side_mark(row.side), abs(row.net_ml)) for row in found.owed],
        "movements": [told(row) for row in both],
        "latest": LATEST,
        "may_move": here.may("move") and not partner.retired_on,
        "may_receive": here.may("receive") and not partner.retired_on,
    }
    return render(request, "partners/statement.html", context)


urlpatterns = [
    *pages(EDITOR),
    path("moving/partners/", lent_and_borrowed, name="owed"),
    path("moving/partners/<int:pk>/", partner_statement, name="statement"),
]
