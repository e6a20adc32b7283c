"""What an inventory found is explained: a form a difference, with what booking it does to which unit's status."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, cast

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.differences import Newcomer, Reason, explain, match_count, take_into_book
from readiness.actions.drafts import Refused
from readiness.models import Concentrate, Container, Count, Inventory, Lot
from readiness.models.containers import ContainerKind
from readiness.models.inventories import Explanation, Stage, What
from readiness.reports.inventories import Tally, Thing
from readiness.reports.variances import Difference, variance
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.entries import Ask, BookForm, CodeField, Page, entry_page
from readiness.web.forms import Form, QuantityField
from readiness.web.inventories import inventory_here, money, percent_words, signed_volume

MEANS = {
    Explanation.UNBOOKED_MOVE: "It is moved to where it was found.",
    Explanation.UNBOOKED_POUR: "It is in another container that has too much; name that one below.",
    Explanation.UNBOOKED_USE: "It went to an incident, and nobody entered it.",
    Explanation.LEAK: "It ran out.",
    Explanation.EVAPORATION: "Water or solvent left it through the lid or the vent.",
    Explanation.GAIN: "Water may be getting in: it is out of the count until sampled.",
    Explanation.NOT_FOUND: "It leaves the book. If it turns up, correct the movement.",
    Explanation.OPENED: "It is open from the day on which it was found.",
    Explanation.OTHER: "Say what happened.",
}


class ExplainForm(BookForm):
    """Why a container differs. When it happened is when it was counted."""

    explanation = forms.ChoiceField(label="What explains it", widget=forms.RadioSelect)
    into = CodeField(label="Poured into (label code)", required=False)
    incident = forms.CharField(label="Incident number", max_length=60, required=False)
    lot = forms.ModelChoiceField(Lot.objects.none(), required=False, empty_label="choose", label="Lot of what is in it")

    def __init__(self, *args: Any, here: Here, found: Difference, empty: bool, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        del self.fields["happened_at"]
        offered = [(each.value, f"{each.label}. {MEANS[each]}") for each in found.explanations]
        cast(forms.ChoiceField, self.fields["explanation"]).choices = offered
        if len(offered) == 1:
            self.fields["explanation"].initial = offered[0][0]
        for name, needed in (("into", Explanation.UNBOOKED_POUR), ("incident", Explanation.UNBOOKED_USE)):
            if needed not in found.explanations:
                del self.fields[name]
        if found.difference_ml <= 0 or not empty:
            del self.fields["lot"]
        else:
            lots = rows(Lot, here).filter(concentrate__name=found.concentrate) or rows(Lot, here)
            cast("forms.ModelChoiceField[Any]", self.fields["lot"]).queryset = lots.select_related("concentrate")
        self.fields["reason"].label = "In words"
        if found.above_limit:
            self.fields[
                "reason"
            ].help_text = "Needed: the difference is above the policy’s limit, and a chief signs it."

    def why(self) -> Reason:
        """As the action takes it."""
        asked = self.cleaned_data
        return Reason(Explanation(asked["explanation"]), asked["reason"], asked.get("lot"), asked.get("into"))


def _explain_view(what: What) -> Callable[..., HttpResponseBase]:
    """Explain a difference in one respect, see what booking it does, and book it."""

    @require_http_methods(["GET", "POST"])
    @may("correct")
    def view(request: HttpRequest, here: Here, pk: int, container: int) -> HttpResponseBase:
        row = inventory_here(here, pk)
        vessel = get(Container, here, pk=container)
        found = _difference(row, vessel, what)
        if found is None:
            messages.info(request, f"{vessel} has no difference of its {what} to explain now.")
            return redirect("inventory", pk=pk)
        form = ExplainForm(request.POST or None, here=here, found=found, empty=not vessel.contents_ml)
        page = Page(
            "explain",
            f"Explain the difference of {vessel}",
            "Book it",
            partial(_ask, row, vessel, what),
            lambda _: redirect("inventory", pk=pk),
            back=reverse("inventory", args=[pk]),
        )
        context = {"aside": "inventories/misread.html", "inventory": row, "container": vessel}
        return entry_page(request, here, page, form, about=_about(found, here), **context)

    return view


def _difference(row: Inventory, container: Container, what: What) -> Difference | None:
    """Nothing is shown before it is confirmed."""
    if row.stage != Stage.EXPLAINING:
        return None
    found = variance(row).differences
    return next((each for each in found if (each.container_id, each.what) == (container.pk, what)), None)


def _ask(row: Inventory, container: Container, what: What, form: ExplainForm, here: Here) -> Ask:
    entry, reason = form.entry(here), form.why()
    return Ask(lambda: [explain(entry, inventory=row, container=container, what=what, reason=reason).movement_id])


def _about(found: Difference, here: Here) -> list[str]:
    """The difference in sentences."""
    said = []
    if found.missing:
        said.append(f"{found.code} was not found at {found.book_place}, where the book has it.")
    elif found.what == "place":
        said.append(f"{found.code} was found at {found.found_place}; the book has it at {found.book_place}.")
    elif found.what == "seal":
        said.append(f"{found.code} was found opened; the book has it sealed.")
    if found.difference_ml:
        share = f" ({percent_words(found.share)} of the book)" if found.share is not None else ""
        worth = f", worth {money(found.value_minor, found.currency)}" if found.value_minor is not None else ""
        book, counted = (signed_volume(ml, here).lstrip("+") for ml in (found.book_ml, found.counted_ml))
        said.append(f"Book {book}, counted {counted}: {signed_volume(found.difference_ml, here)}{share}{worth}.")
    said.append(f"Counted by {' and '.join(found.people)}.")
    return said + ([f"Remark: {found.remark}"] if found.remark else [])


# -- without a label that the book knows -------------------------------------------------------------------------------


def _count_here(here: Here, pk: int, count: int) -> Count:
    counts = Count.objects.select_related("place__station", "place__unit", "place__vehicle", "concentrate", "by")
    return get(counts.filter(container__isnull=True), here, "inventory__department", pk=count, inventory=pk)


class MatchForm(Form):
    """Which of those that nobody saw it is."""

    container = forms.ModelChoiceField(
        Container.objects.none(),
        label="It is",
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={
            "required": "Nothing was chosen: say which one it is.",
            "invalid_choice": "A container was read that is none of those offered: choose one of the list.",
        },
    )

    def __init__(self, *args: Any, here: Here, candidates: list[Thing], **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        chosen = rows(Container, here).filter(pk__in=[thing.id for thing in candidates])
        cast("forms.ModelChoiceField[Any]", self.fields["container"]).queryset = chosen


@require_http_methods(["GET", "POST"])
@may("correct")
def match(request: HttpRequest, here: Here, pk: int, count: int) -> HttpResponseBase:
    """Which container of the book was found without a readable label: by elimination."""
    row, found = inventory_here(here, pk), _count_here(here, pk, count)
    candidates = _candidates(Tally(row), found)
    form = MatchForm(request.POST if request.method == "POST" else None, here=here, candidates=candidates)
    if request.method == "POST" and form.is_valid():
        chosen = form.cleaned_data["container"]
        values: dict[str, Any] = {"inventory": row, "count": found, "acting": here.acting, "clock": access.CLOCK}
        try:
            match_count(here.department, container=chosen, **values)
        except Refused as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"It is {chosen}. Put a new label on it.")
            return redirect("inventory", pk=pk)
    context = {"inventory": row, "count": found, "form": form, "candidates": candidates}
    return render(request, "inventories/match.html", context)


def _candidates(tally: Tally, found: Count) -> list[Thing]:
    """Of its kind and size, and seen by nobody with its own label."""
    return [
        thing
        for thing in tally.things.values()
        if (thing.kind, thing.size_ml) == (found.kind, found.size_ml) and not tally.labelled(thing.id)
    ]


class TakeInForm(BookForm):
    """What it is from now on."""

    code = forms.CharField(label="Label code from now on", max_length=24)
    kind = forms.ChoiceField(choices=[(kind, kind) for kind in ContainerKind.values])
    size = QuantityField("volume", label="Holds when full", zero=False)
    concentrate = forms.ModelChoiceField(Concentrate.objects.none(), empty_label="choose")
    lot = forms.ModelChoiceField(
        Lot.objects.none(),
        required=False,
        empty_label="not known: it is quarantined until somebody finds out",
    )

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        del self.fields["happened_at"]
        cast("forms.ModelChoiceField[Any]", self.fields["concentrate"]).queryset = rows(Concentrate, here)
        lots = rows(Lot, here).filter(recalled_on=None).select_related("concentrate")
        cast("forms.ModelChoiceField[Any]", self.fields["lot"]).queryset = lots
        self.fields["reason"].label = "Where it may have come from"

    def newcomer(self) -> Newcomer:
        """As the action takes it."""
        asked = self.cleaned_data
        return Newcomer(
            asked["code"], asked["kind"], asked["size"], asked["concentrate"], asked["lot"], asked["reason"]
        )


@require_http_methods(["GET", "POST"])
@may("correct")
def newcomer(request: HttpRequest, here: Here, pk: int, count: int) -> HttpResponseBase:
    """Take into the book what was found and is not in it."""
    row, found = inventory_here(here, pk), _count_here(here, pk, count)
    if row.stage != Stage.EXPLAINING:
        raise Http404
    initial = {
        "code": found.code,
        "kind": found.kind,
        "size": found.size_ml,
        "concentrate": found.concentrate_id,
    }
    form = TakeInForm(request.POST or None, here=here, initial=initial)
    page = Page(
        "take in",
        "Take it into the book",
        "Take it in",
        partial(_take_in, row, found),
        lambda _: redirect("inventory", pk=pk),
        "It comes out of the inventory difference to where it was found.",
        reverse("inventory", args=[pk]),
    )
    said = f"{found.kind} of {signed_volume(found.size_ml or 0, here).lstrip('+')} at {found.place}"
    volume = f"in it {signed_volume(found.ml or 0, here).lstrip('+')}"
    lot = f"lot {found.lot_words}" if found.lot_words else "no lot read"
    return entry_page(request, here, page, form, about=[f"Found: {said}, {volume}, {lot}."])


def _take_in(row: Inventory, found: Count, form: TakeInForm, here: Here) -> Ask:
    entry, made = form.entry(here), form.newcomer()
    return Ask(lambda: [take_into_book(entry, inventory=row, count=found, newcomer=made).movement_id])


urlpatterns = [
    *(
        path(
            f"inventories/<int:pk>/{what}-difference/<int:container>/",
            _explain_view(what),
            name=f"inventory_{what}_difference",
        )
        for what in (What.VOLUME, What.PLACE, What.SEAL)
    ),
    path("inventories/<int:pk>/found/<int:count>/", match, name="inventory_match"),
    path("inventories/<int:pk>/found/<int:count>/take-in/", newcomer, name="inventory_take_in"),
]
