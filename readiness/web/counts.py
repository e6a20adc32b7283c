"""Counting in an inventory, on a phone in one hand: ticks for whole seals, numbers for gauges, and a way for the rest.

Everything here is drawn from reports/inventories.py, whose records hold no volume of the book.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode
from uuid import UUID, uuid5

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.counts import Seen, record_counts
from readiness.actions.drafts import Refused
from readiness.models import Concentrate, Container, Inventory, InventoryPlace
from readiness.models.containers import ContainerKind
from readiness.models.inventories import Found, Method, Stage
from readiness.reports.inventories import Row, Sheet, Tally, Thing, sheet_for, things_of
from readiness.web import access
from readiness.web.access import Here, get, may, rows
from readiness.web.forms import EntryForm, MomentField, QuantityField

OPEN_STAGES: Final = (Stage.COUNTING, Stage.CONFIRMING, Stage.EXPLAINING)
_TICKED: Final = re.compile(r"[sv](\d{1,18})(_number)?")
_MEASURED: Final = [
    (Method.GAUGE.value, "measured: gauge or sight glass"),
    (Method.STICK.value, "measured: stick"),
    (Method.SCALE.value, "measured: weighed"),
    (Method.EMPTY.value, "empty"),
]
_SEALED: Final = [(Method.SEALED.value, "sealed and full")]
_NOT_HERE: Final = [(Found.NOT_HERE.value, "not here")]
_NO_ANSWER: Final = {
    "required": "No answer was read: say what you see.",
    "invalid_choice": "“%(value)s” was read: choose one of the answers that are offered.",
}


def place_here(here: Here, pk: int, place: int) -> InventoryPlace:
    """A place of one of the department's inventories; raises Http404."""
    rows_of = InventoryPlace.objects.select_related("inventory__department", "station", "unit", "vehicle")
    return get(rows_of, here, "inventory__department", pk=place, inventory=pk)


# -- a whole place at once ---------------------------------------------------------------------------------------------


class PlaceForm(EntryForm):
    """A tick for each whole seal that was seen, a number for each gauge that was read; what is left is not counted."""

    things: dict[int, Thing]

    def seen(self, place: int) -> list[Seen]:
        """What was answered. Each count has an id of its own that follows from the form's."""
        entry: UUID = self.cleaned_data["entry_id"]
        found = []
        for pk in self.things:
            own = Seen(uuid5(entry, str(pk)), place, Found.SEEN, pk)
            if self.cleaned_data.get(f"s{pk}"):
                found.append(own._replace(method=Method.SEALED))
            elif (ml := self.cleaned_data.get(f"v{pk}")) is not None:
                found.append(own._replace(method=Method.GAUGE, ml=ml))
        return found

    def clean(self) -> dict[str, Any]:
        """Something has to be said."""
        if not self.errors and not any(value not in (None, False) for value in self._answers()):
            self.refuse("Nothing was ticked and no volume was read: mark what you have seen, then record it.")
        return self.cleaned_data

    def _answers(self) -> Iterator[Any]:
        return (value for name, value in self.cleaned_data.items() if name != "entry_id")


class RowShown(NamedTuple):
    """A row of the sheet with its field, if it has one, and where the rest can be said."""

    row: Row
    field: forms.BoundField | None
    address: str


def place_form(things: Iterable[Thing]) -> type[PlaceForm]:
    """The form for some containers."""
    fields: dict[str, Any] = {"things": {thing.id: thing for thing in things}}
    for thing in fields["things"].values():
        if thing.fixed:
            fields[f"v{thing.id}"] = QuantityField("volume", label=f"{thing.code}: measured volume", required=False)
        else:
            fields[f"s{thing.id}"] = forms.BooleanField(label=f"{thing.code}: sealed and full", required=False)
    return type("SheetForm", (PlaceForm,), fields)


@require_http_methods(["GET", "POST"])
@may("count")
def place(request: HttpRequest, here: Here, pk: int, place: int) -> HttpResponseBase:
    """What to look for at a place, and what was seen there."""
    spot = place_here(here, pk, place)
    if "q" in request.GET:
        return _by_code(here, spot, request.GET["q"])
    sheet = sheet_for(Tally(spot.inventory), spot, here.user.pk)
    form = place_form(_asked(request, here, sheet))(request.POST if request.method == "POST" else None, here=here)
    counted = request.method == "POST" and form.is_valid()
    if counted and _recorded(request, here, spot.inventory, form, form.seen(spot.pk)):
        return redirect("inventory_place", pk=pk, place=place)
    shown = [_shown(form, each, spot) for each in sheet.rows]
    context = {
        "here": here,
        "inventory": spot.inventory,
        "place": spot,
        "form": form,
        "things": len(shown),
        "open": [each for each in shown if each.row.open],
        "done": [each for each in shown if not each.row.open],
        "found": sheet.found,
        "is_open": spot.inventory.stage in OPEN_STAGES,
        "next": _next_place(spot),
    }
    return render(request, "inventories/place.html", context)


def _asked(request: HttpRequest, here: Here, sheet: Sheet) -> list[Thing]:
    """What is on the sheet now, and what was on it when the form was drawn: no tick is dropped in silence."""
    things = {row.thing.id: row.thing for row in sheet.rows}
    posted = {int(match[1]) for name in request.POST if (match := _TICKED.fullmatch(name))}
    others = rows(Container, here).filter(pk__in=posted - things.keys(), retired_on__isnull=True)
    return [*things.values(), *things_of(others)]


def _shown(form: PlaceForm, row: Row, spot: InventoryPlace) -> RowShown:
    name = f"{'v' if row.thing.fixed else 's'}{row.thing.id}"
    address = reverse("inventory_count", args=[spot.inventory_id, spot.pk, row.thing.id])
    return RowShown(row, form[name] if row.open and not row.own else None, address)


def _by_code(here: Here, spot: InventoryPlace, asked: str) -> HttpResponseBase:
    """A label code that was typed or scanned: one of the book's is counted here; another one is described."""
    code = " ".join(asked.split())
    found = rows(Container, here).filter(code__iexact=code, retired_on__isnull=True).first()
    if found is not None:
        return redirect("inventory_count", pk=spot.inventory_id, place=spot.pk, container=found.pk)
    address = reverse("inventory_found", args=[spot.inventory_id, spot.pk])
    return redirect(f"{address}?{urlencode({'code': code})}" if code else address)


def _next_place(spot: InventoryPlace) -> InventoryPlace | None:
    following = InventoryPlace.objects.filter(inventory=spot.inventory_id, n__gt=spot.n)
    return following.select_related("station", "unit", "vehicle").order_by("n").first()


def _recorded(request: HttpRequest, here: Here, inventory: Inventory, form: EntryForm, seen: list[Seen]) -> bool:
    try:
        made = record_counts(here.department, inventory=inventory, seen=seen, acting=here.acting, clock=access.CLOCK)
    except Refused as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"{len(made)} counted." if len(made) != 1 else f"{made[0].container or 'It'} is counted.")
    return True


# -- one container -----------------------------------------------------------------------------------------------------


def _answers(choices: list[tuple[str, str]]) -> forms.ChoiceField:
    widget = forms.RadioSelect
    return forms.ChoiceField(label="What you see", choices=choices, widget=widget, error_messages=_NO_ANSWER)


class MeasureForm(EntryForm):
    """What somebody sees of one container. Subclasses have `answer`."""

    volume = QuantityField("volume", label="How much is in it", required=False)
    compartment = forms.CharField(
        label="Where in it", required=False, max_length=60, help_text="Only if it is not where the list has it."
    )
    words = forms.CharField(label="Remark", required=False, max_length=200)
    counted_at = MomentField(label="Counted earlier than now", required=False)
    answered = ("volume", "compartment", "words", "counted_at")

    def clean(self) -> dict[str, Any]:
        """A volume with an answer that measures, and with no other."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        measures = asked.get("answer") in (Method.GAUGE, Method.STICK, Method.SCALE)
        if measures and asked.get("volume") is None and "volume" not in self.errors:
            self.refuse("It was measured and no volume was read: say how much is in it.", "volume")
        if asked.get("answer") and not measures and asked.get("volume") is not None:
            self.refuse("A volume was read beside an answer that needs none: choose how it was measured.", "answer")
        return asked

    def answers(self, seen: Seen) -> Seen:
        """The count with the answers that both forms have."""
        asked = self.cleaned_data
        not_here = asked["answer"] == Found.NOT_HERE
        return seen._replace(
            found=Found.NOT_HERE if not_here else seen.found,
            method=None if not_here else Method(asked["answer"]),
            ml=asked["volume"],
            compartment=asked["compartment"],
            words=asked["words"],
            counted_at=asked["counted_at"],
        )


class CountForm(MeasureForm):
    """The same of a container of the book; `count_form` makes the class with the answers that suit its kind."""

    def seen(self, place: int, container: int) -> Seen:
        """The count."""
        return self.answers(Seen(self.cleaned_data["entry_id"], place, Found.SEEN, container))


def count_form(thing: Thing) -> type[CountForm]:
    """The form for a container: only what can be seen of its kind is offered."""
    sealed = [] if thing.fixed else _SEALED
    gone = [] if thing.kind == ContainerKind.FIXED_TANK else _NOT_HERE
    order = ("answer", *MeasureForm.answered)
    return type("OneForm", (CountForm,), {"answer": _answers([*sealed, *_MEASURED, *gone]), "field_order": order})


@require_http_methods(["GET", "POST"])
@may("count")
def count(request: HttpRequest, here: Here, pk: int, place: int, container: int) -> HttpResponseBase:
    """Count one container: opened, measured, elsewhere than the list has it, or not here."""
    spot = place_here(here, pk, place)
    row = get(Container.objects.filter(retired_on__isnull=True), here, pk=container)
    (thing,) = things_of(rows(Container, here).filter(pk=row.pk))
    form = count_form(thing)(request.POST if request.method == "POST" else None, here=here)
    counted = request.method == "POST" and form.is_valid()
    if counted and _recorded(request, here, spot.inventory, form, [form.seen(spot.pk, row.pk)]):
        return redirect("inventory_place", pk=pk, place=place)
    context = {"here": here, "inventory": spot.inventory, "place": spot, "thing": thing, "form": form}
    return render(request, "inventories/count.html", context)


# -- without a label that the book knows -------------------------------------------------------------------------------


class FoundForm(MeasureForm):
    """Found there, and no container of the book by its label."""

    code = forms.CharField(
        label="Label code, if it can be read",
        required=False,
        max_length=24,
        help_text="Empty: it has no label, or nobody can read it.",
    )
    kind = forms.ChoiceField(choices=[(kind, kind) for kind in ContainerKind.values if kind != "fixed tank"])
    size = QuantityField("volume", label="Its size by the label", zero=False)
    answer = _answers([*_SEALED, *_MEASURED])
    concentrate = forms.ModelChoiceField(Concentrate.objects.none(), required=False, empty_label="cannot be read")
    lot_words = forms.CharField(label="Lot, as printed", required=False, max_length=60)
    field_order = ("code", "kind", "size", "answer", "volume", "concentrate", "lot_words", "compartment", "words")

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        self.fields["concentrate"].queryset = rows(Concentrate, here)  # type: ignore[attr-defined] # it is a list of records
        self.fields["compartment"].help_text = "As store room, L3 or top shelf."

    def seen(self, place: int) -> Seen:
        """The count."""
        asked = self.cleaned_data
        found = Found.UNKNOWN if asked["code"].strip() else Found.UNREADABLE
        own = Seen(asked["entry_id"], place, found, code=asked["code"], kind=asked["kind"], size_ml=asked["size"])
        concentrate = asked["concentrate"].pk if asked["concentrate"] else None
        return self.answers(own)._replace(concentrate=concentrate, lot_words=asked["lot_words"])


@require_http_methods(["GET", "POST"])
@may("count")
def found(request: HttpRequest, here: Here, pk: int, place: int) -> HttpResponseBase:
    """Describe and count what has no label that the book knows; who confirms says later which one it is."""
    spot = place_here(here, pk, place)
    initial = {"code": request.GET.get("code", "")[:24], "kind": ContainerKind.PAIL.value}
    form = FoundForm(request.POST if request.method == "POST" else None, here=here, initial=initial)
    counted = request.method == "POST" and form.is_valid()
    if counted and _recorded(request, here, spot.inventory, form, [form.seen(spot.pk)]):
        return redirect("inventory_place", pk=pk, place=place)
    context = {"here": here, "inventory": spot.inventory, "place": spot, "form": form, "asked": initial["code"]}
    return render(request, "inventories/found.html", context)


urlpatterns = [
    path("inventories/<int:pk>/places/<int:place>/", place, name="inventory_place"),
    path("inventories/<int:pk>/places/<int:place>/found/", found, name="inventory_found"),
    path("inventories/<int:pk>/places/<int:place>/<int:container>/", count, name="inventory_count"),
]
