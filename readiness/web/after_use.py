"""After a use, on a phone: what was used, the incident, the flush of each line, and how the unit stands then."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any, Final, NamedTuple, cast
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import path, reverse
from django.views.decorators.http import require_http_methods

from readiness.actions.after_use import CLEAN, FAULTY, NOT_LOOKED, Flushed, Used, record_after_use
from readiness.actions.movements import permission_for
from readiness.models import Check, Container, FoamLine, Unit
from readiness.models.movements import Account
from readiness.reports.check_sheets import Alike, LineToRead, Sheet, Vessel, sheet_for
from readiness.web.access import Here, may, rows
from readiness.web.answer_rules import Rule
from readiness.web.crew import unit_here
from readiness.web.entries import Ask, BookForm, CodesField, Page, entry_page
from readiness.web.forms import Brim, QuantityField

NOT_USED, FLUSHED, NOT_YET = "not used", "flushed", "not flushed yet"
_OF_LINES: Final = [(NOT_USED, "not used"), (FLUSHED, "used and flushed"), (NOT_YET, "used, not flushed yet")]
_STRAINER: Final = [(CLEAN, "clean"), (FAULTY, "has a fault"), (NOT_LOOKED, "not looked at")]
_NO_ANSWER: Final = {"invalid_choice": "“%(value)s” was read: choose one of the answers that are offered."}
_WHAT_FOR: Final = (Account.INCIDENT, Account.DRILL, Account.FLOW_TEST)


def _radios(label: str, choices: list[tuple[str, str]], initial: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=choices,
        initial=initial,
        required=False,
        widget=forms.RadioSelect,
        error_messages=_NO_ANSWER,
    )


def _fields(sheet: Sheet) -> Iterator[tuple[str, forms.Field]]:
    for vessel in sheet.measured:
        above = f"{{read}} was read, but {vessel.code} holds {{full}} when full: look again."
        brim = Brim(vessel.size_ml, vessel.size_ml + 2, above)
        used = QuantityField("volume", label=f"Used from {vessel.code}", required=False, zero=False, brim=brim)
        yield f"c{vessel.id}", used
    for group in sheet.sealed:
        count = len(group.vessels)
        said = f"A whole number from 0 to {count} belongs here: so many are aboard by the book."
        wrong = {"invalid": said, "min_value": said, "max_value": said}
        widget = forms.NumberInput({"inputmode": "numeric", "size": 4})
        yield (
            f"g{group.vessels[0].id}",
            forms.IntegerField(
                label=f"Emptied of {group.codes}",
                required=False,
                min_value=0,
                max_value=count,
                widget=widget,
                error_messages=wrong,
            ),
        )
    for line in sheet.lines:
        yield f"l{line.id}", _radios(f"{line.name}", _OF_LINES, NOT_USED)
        minutes = QuantityField("time", label=f"{line.name}: flushed for", required=False, unit="min", most=120)
        yield f"l{line.id}_min", minutes
        yield f"l{line.id}_strainer", _radios(f"{line.name}: strainer", _STRAINER, NOT_LOOKED)
        yield f"l{line.id}_words", forms.CharField(label=f"{line.name}: what is wrong", required=False, max_length=100)


class AfterUseForm(BookForm):
    """The use of one unit; `after_use_form` makes the class with the fields of what it carries."""

    sheet: Sheet
    account = _radios("What for", [], Account.INCIDENT.value)
    incident = forms.CharField(label="Incident number", max_length=60, required=False)
    empties = CodesField(
        label="Empties by their codes",
        required=False,
        help_text="From the common pile, whoever’s they are: P-0101 P-0102, or P-0101 to P-0109.",
    )

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, **kwargs)
        account = cast(forms.ChoiceField, self.fields["account"])
        account.choices = [(each.value, each.value) for each in _WHAT_FOR if here.may(permission_for(each))]

    def clean(self) -> dict[str, Any]:
        """A flush has its minutes; minutes have their flush."""
        asked: dict[str, Any] = super().clean() or self.cleaned_data
        self.keep_to_rules()
        for line in self.sheet.lines:
            key = f"l{line.id}"
            answer = asked.get(key) or NOT_USED
            if answer != FLUSHED and asked.get(f"{key}_min"):
                self.refuse(f"Minutes of a flush were read and “{answer}” is marked: mark used and flushed.", key)
        return asked

    def rules(self) -> Iterator[Rule]:
        """An incident has its number, a flush its minutes, a fault its words."""
        number = "Nothing was read: the incident’s number is needed to settle it afterwards."
        yield Rule("incident", "account", (Account.INCIDENT.value,), number, lacking=("incident",))
        for line in self.sheet.lines:
            key, minutes, words = f"l{line.id}", f"l{line.id}_min", f"l{line.id}_words"
            flushed = "Used and flushed was marked: say for how many minutes clear water ran."
            yield Rule(minutes, key, (FLUSHED,), flushed, lacking=(minutes,))
            fault = "A fault of the strainer was marked: say in a word or two what is wrong."
            yield Rule(words, f"{key}_strainer", (FAULTY,), fault, lacking=(words,))

    def drawn_by_no_line(self) -> bool:
        """Whether foam was used and each line is said not to have drawn it: the one that did would not be limited."""
        asked = self.cleaned_data
        vessels = [*self.sheet.measured, *(group.vessels[0] for group in self.sheet.sealed)]
        used = any(asked.get(f"{kind}{each.id}") for each in vessels for kind in "cg") or asked.get("empties")
        lines = [asked.get(f"l{line.id}") or NOT_USED for line in self.sheet.lines]
        return bool(used) and bool(lines) and set(lines) == {NOT_USED}

    # what it hands over

    def used(self, here: Here) -> tuple[Used, ...]:
        """What left which container; whole pails with all that the book has in them."""
        asked = self.cleaned_data
        ml = {vessel.id: asked.get(f"c{vessel.id}") for vessel in self.sheet.measured}
        whole = [each for group in self.sheet.sealed for each in self._emptied(group)]
        empties = [row.pk for row in asked.get("empties") or ()]
        found = rows(Container.objects.select_related("department"), here).in_bulk(
            [*(pk for pk, volume in ml.items() if volume), *whole, *empties]
        )
        drawn = {pk: volume for pk, volume in ml.items() if volume}
        drawn |= {pk: found[pk].contents_ml for pk in dict.fromkeys([*whole, *empties]) if found[pk].contents_ml}
        return tuple(Used(found[pk], volume) for pk, volume in drawn.items())

    def _emptied(self, group: Alike) -> list[int]:
        """The first of a group of pails alike, leaving out those that are named by their codes."""
        named = {row.pk for row in self.cleaned_data.get("empties") or ()}
        left = [each.id for each in group.vessels if each.id not in named]
        return left[: self.cleaned_data.get(f"g{group.vessels[0].id}") or 0]

    def flushed(self, here: Here) -> tuple[Flushed, ...]:
        """The lines that drew foam."""
        asked = self.cleaned_data
        used = [line for line in self.sheet.lines if (asked.get(f"l{line.id}") or NOT_USED) != NOT_USED]
        found = rows(FoamLine, here).in_bulk([line.id for line in used])
        return tuple(
            Flushed(
                found[line.id],
                asked.get(f"l{line.id}_min") or 0.0,
                asked.get(f"l{line.id}_strainer") or NOT_LOOKED,
                asked.get(f"l{line.id}_words") or "",
            )
            for line in used
        )

    # what the page draws

    def vessels(self) -> Iterator[tuple[Vessel, forms.BoundField]]:
        """Tanks and opened pails."""
        yield from ((each, self[f"c{each.id}"]) for each in self.sheet.measured)

    def groups(self) -> Iterator[tuple[Alike, forms.BoundField]]:
        """Sealed pails alike."""
        yield from ((group, self[f"g{group.vessels[0].id}"]) for group in self.sheet.sealed)

    def lines(self) -> Iterator[LineShown]:
        """Lines with their fields."""
        for line in self.sheet.lines:
            key = f"l{line.id}"
            yield LineShown(line, self[key], self[f"{key}_min"], self[f"{key}_strainer"], self[f"{key}_words"])


class LineShown(NamedTuple):
    """A line with its fields."""

    line: LineToRead
    answer: forms.BoundField
    minutes: forms.BoundField
    strainer: forms.BoundField
    words: forms.BoundField


def after_use_form(sheet: Sheet) -> type[AfterUseForm]:
    """The form of what a unit carries."""
    return type("UnitForm", (AfterUseForm,), {"sheet": sheet, **dict(_fields(sheet))})


def _ask_of(unit: Unit) -> Any:
    def ask(form: AfterUseForm, here: Here) -> Ask:
        entry = form.entry(here)
        used, lines = form.used(here), form.flushed(here)
        account = Account(form.cleaned_data["account"] or Account.INCIDENT)

        def act() -> list[UUID]:
            return record_after_use(entry, unit=unit, account=account, used=used, lines=lines)

        return Ask(act)

    return ask


def _found_at(request: HttpRequest, here: Here, pk: int) -> datetime | None:
    """When the check was made that found it used, where the address names one: it was used before that."""
    try:
        check = UUID(request.GET.get("check", ""))
    except ValueError:
        return None
    return rows(Check, here).filter(unit=pk, pk=check).values_list("finished_at", flat=True).first()


@require_http_methods(["GET", "POST"])
@may("use")
def after_use(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The form; then what it does to the status; then back to the unit, where the refill is one tap away."""
    unit = unit_here(here, pk)
    sheet = sheet_for(unit)
    form = after_use_form(sheet)(request.POST or None, here=here, initial={"happened_at": _found_at(request, here, pk)})
    page = Page(
        "after use",
        f"{unit} after use",
        "Enter it",
        _ask_of(unit),
        lambda _: redirect("crew_unit", unit.pk),
        back=reverse("crew_unit", args=[unit.pk]),
        form_template="after_use/ask.html",
        preview_template="refills/yes.html",
    )
    return entry_page(request, here, page, form, unit=unit, use=form)


urlpatterns = [path("crew/<int:pk>/after-use/", after_use, name="after_use")]
