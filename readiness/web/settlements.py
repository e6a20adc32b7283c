"""The common pile after a joint incident: count empties by owner, say which containers they were, book it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BoundField
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_GET, require_http_methods
from django_tables2 import A

from readiness.actions import settlements as acts
from readiness.actions.once import Done
from readiness.engineering.wording import volume_text
from readiness.models import Concentrate, Lot, Partner, Settlement, Unit
from readiness.reports.inventory import load_inventory
from readiness.reports.settlements import Count, Counted, Proposal, propose, settlements, sizes
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.entries import Ask, BookForm, CodesField, Page, entry_page
from readiness.web.forms import Form
from readiness.web.tables import Column, MomentColumn, NumberColumn, RecordFilter, Table, list_page

PAIL_ML = 18_927  # 5 US gal: a partner's pail is of that size, whatever the department has itself
FEW, MOST = 6, 60  # rows of the form, and at most
NOBODY = "nobody"


class CountForm(Form):
    """Whose engine drew the pile, and how many empties of each owner, size and concentrate lie there."""

    saves = False
    incident = forms.CharField(label="Incident number", max_length=60)
    drawn_by = forms.ChoiceField(label="Whose engine drew the pile", required=False)

    def __init__(self, *args: Any, here: Here, lines: int = FEW, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.lines = lines
        self.units = {f"unit-{row.pk}": row for row in rows(Unit, here).filter(retired_on=None)}
        self.partners = {f"partner-{row.pk}": row for row in rows(Partner, here).filter(retired_on=None)}
        self.concentrates = {str(row.pk): row for row in rows(Concentrate, here)}
        self.sizes = {f"{kind}-{ml}": (kind, ml) for kind, ml in (("pail", PAIL_ML), *sizes(here.department))}
        theirs = [(key, str(row)) for key, row in self.partners.items()]
        self.fields["drawn_by"].choices = [("", "ours"), *theirs]  # type: ignore[attr-defined] # a ChoiceField
        ours = [(key, str(row)) for key, row in self.units.items()]
        owners = [("", "nobody in this row"), ("Ours", ours), ("Partners", theirs), (NOBODY, "owner not known")]
        said = [(key, f"{kind}, {volume_text(ml, here.department.units)}") for key, (kind, ml) in self.sizes.items()]
        listed = [("", "choose"), *((key, row.name) for key, row in self.concentrates.items())]
        for n in range(lines):
            self.fields[f"owner_{n}"] = forms.ChoiceField(label="Owner", choices=owners, required=False)
            self.fields[f"size_{n}"] = forms.ChoiceField(label="Size", choices=said, required=False)
            self.fields[f"what_{n}"] = forms.ChoiceField(label="Concentrate", choices=listed, required=False)
            self.fields[f"n_{n}"] = forms.IntegerField(
                label="Empties", min_value=1, max_value=acts.MOST_EMPTIES, required=False
            )

    @property
    def drawn_rows(self) -> Iterator[list[BoundField]]:
        """The fields of each row."""
        for n in range(self.lines):
            yield [self[f"{name}_{n}"] for name in ("owner", "size", "what", "n")]

    def clean(self) -> dict[str, Any]:
        """Each row that names an owner is whole, and there is one."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        needed = {"size": "the size", "what": "the concentrate", "n": "how many empties"}
        for n in range(self.lines):
            owner = asked.get(f"owner_{n}")
            for name, words in needed.items():
                if owner and not asked.get(f"{name}_{n}") and f"{name}_{n}" not in self.errors:
                    self.add_error(f"{name}_{n}", f"Nothing was read in row {n + 1}: say {words}.")
            if asked.get(f"n_{n}") and not owner and f"owner_{n}" not in self.errors:
                self.add_error(f"owner_{n}", f"Empties were read in row {n + 1}, and nobody they belong to.")
        if not self.errors and not any(asked.get(f"owner_{n}") for n in range(self.lines)):
            raise ValidationError("No row was read: count the empties of each owner.")
        return asked

    def counted(self) -> Count:
        """What was counted."""
        asked = self.cleaned_data
        found = [self._row(n) for n in range(self.lines) if asked[f"owner_{n}"]]
        return Count(asked["incident"].strip(), self.partners.get(asked["drawn_by"]), tuple(found))

    def _row(self, n: int) -> Counted:
        asked = self.cleaned_data
        owner, (kind, ml) = asked[f"owner_{n}"], self.sizes[asked[f"size_{n}"]]
        what = self.concentrates[asked[f"what_{n}"]]
        return Counted(self.units.get(owner), self.partners.get(owner), kind, ml, what, asked[f"n_{n}"])


class PileForm(BookForm):
    """Which of our containers the empties were, and the lots of the partners', for every row that was counted."""

    def __init__(self, *args: Any, here: Here, count: Count, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.count = count
        self.proposed: dict[int, Proposal] = {}
        inventory = load_inventory(here.department, here.day)
        for n, row in enumerate(count.rows):
            if row.unit:
                self.proposed[n] = propose(inventory, row, count.incident)
                self._ask_codes(n, row, self.proposed[n], here)
            elif row.partner and count.drawn_by is None:
                self._ask_lot(n, row, here)
        self.order_fields([name for name in self.fields if name not in self.last] + list(self.last))

    def _ask_codes(self, n: int, row: Counted, found: Proposal, here: Here) -> None:
        said = [f"{row.n} empties counted; {found.had} with foam in them on {row.unit} by the book."]
        if found.already:
            said.append(f"{found.already} are in the book as emptied at this incident already.")
        if found.unexplained:
            said.append(f"{found.unexplained} are not explained: whose were they? They stay open unless you name them.")
        said.append("Proposed: the opened first, then the first to expire. Write others if it was others.")
        field = CodesField(
            label=f"{row.unit}: which {row.kind}s of {row.concentrate}",
            required=False,
            initial=" ".join(found.codes),
            help_text=" ".join(said),
        )
        field.settle(here)
        self.fields[f"codes_{n}"] = field

    def _ask_lot(self, n: int, row: Counted, here: Here) -> None:
        lots = rows(Lot, here).filter(concentrate=row.concentrate).select_related("concentrate")
        self.fields[f"lot_{n}"] = forms.ModelChoiceField(
            lots,
            label=f"{row.partner}: lot of their {row.n} of {row.concentrate}",
            required=False,
            empty_label="not read",
            help_text=f"{row.n} × {row.kind} are owed back to {row.partner}.",
        )

    def clean(self) -> dict[str, Any]:
        """What was counted belongs to the entry: the same form with other counts is another entry."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        count = self.count
        asked["counted"] = [count.incident, str(count.drawn_by or ""), *(" ".join(map(str, row)) for row in count.rows)]
        return asked

    def pile(self) -> acts.Pile:
        """What is to be booked."""
        asked = self.cleaned_data
        made = tuple(
            acts.PileRow(
                row.concentrate,
                row.kind,
                row.size_ml,
                row.n,
                unit=row.unit,
                partner=row.partner,
                containers=tuple(asked.get(f"codes_{n}") or ()),
                already=self.proposed[n].already if n in self.proposed else 0,
                lot=asked.get(f"lot_{n}"),
            )
            for n, row in enumerate(self.count.rows)
        )
        return acts.Pile(made, self.count.drawn_by)


def _settle(form: PileForm, here: Here) -> Ask:
    entry, pile = form.entry(here)._replace(incident=form.count.incident), form.pile()
    return Ask(lambda: acts.settle_pile(entry, pile))


def _settled(done: Done) -> HttpResponseBase:
    """On to the pile; one of which nothing was booked is the latest in the list."""
    row = Settlement.objects.filter(rows__movement=done.movement_id).first() if done.movement_id else None
    return redirect("settlement", pk=row.pk) if row else redirect("settlements")


PAGE = Page(
    "settle pile",
    "Settle the common pile",
    "Book the pile",
    _settle,
    _settled,
    "Which containers the empties were is yours to say. What cannot be told stays open on the pile’s page.",
)


@require_http_methods(["GET", "POST"])
@may("correct")
def settle(request: HttpRequest, here: Here) -> HttpResponseBase:
    """First the count, in the address; then which containers, and what it will do."""
    lines = _lines(request)
    if "more" in request.GET:
        return _ask_count(request, here, CountForm(here=here, lines=lines, initial=request.GET.dict()))
    first = CountForm(request.GET if "incident" in request.GET else None, here=here, lines=lines)
    if not first.is_bound or not first.is_valid():
        return _ask_count(request, here, first)
    form = PileForm(request.POST or None, here=here, count=first.counted())
    back = f"{reverse('settle_pile')}?{request.GET.urlencode()}&more=0"
    return entry_page(request, here, PAGE._replace(back=back), form, about=_about(first.counted()))


def _lines(request: HttpRequest) -> int:
    """How many rows the form has: some more each time."""
    asked = request.GET.get("lines", "")
    now = int(asked) if asked.isdecimal() and len(asked) < 4 else FEW
    return min(max(now + (FEW if request.GET.get("more") == "1" else 0), FEW), MOST)


def _ask_count(request: HttpRequest, here: Here, form: CountForm) -> HttpResponseBase:
    return render(request, "settlements/count.html", {"here": here, "form": form, "lines": form.lines})


def _about(count: Count) -> list[str]:
    """What was counted, a sentence a row."""
    drawn = f"drawn by {count.drawn_by}’s engine" if count.drawn_by else "drawn by our engine"
    said = [f"Incident {count.incident}: the pile was {drawn}."]
    return said + [f"{row.owner}: {row.n} × {row.kind} of {row.concentrate}" for row in count.rows]


class SettlementTable(Table):
    """A row a pile."""

    caption = "Common piles"
    incident = Column(linkify=("settlement", {"pk": A("id")}), attrs={"td": {"class": "nobreak"}})
    happened_at = MomentColumn(verbose_name="Happened")
    drawn_by = Column(verbose_name="Drawn by", default="ours")
    counted = NumberColumn(verbose_name="Empties counted")
    unexplained = NumberColumn(verbose_name="Not explained")
    settled_by = Column(verbose_name="Settled by")

    class Meta:
        order_by = "-happened_at"


class SettlementFilter(RecordFilter):
    """By incident."""

    search = ("incident", "note", "drawn_by")


@require_GET
@signed_in
def every(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    return list_page(
        request,
        here,
        SettlementTable,
        settlements(here.department),
        template="settlements/list.html",
        filter_class=SettlementFilter,
        context={"may_settle": here.may("correct")},
    )


@require_GET
@signed_in
def settlement(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """One pile; prints."""
    told = settlements(here.department, get(Settlement, here, pk=pk))[0]
    return render(request, "settlements/settlement.html", {"here": here, "told": told})


urlpatterns = [
    path("moving/piles/", every, name="settlements"),
    path("moving/settle-pile/", settle, name="settle_pile"),
    path("moving/piles/<int:pk>/", settlement, name="settlement"),
]
