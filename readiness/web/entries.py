"""Forms that make an entry: first a page that says what it will do, then the entry, posted once.

1. The form is drawn with an id of its own. Sent, it is tried in a dry run; what is refused comes back as a sentence in
   the form, with what was typed kept.
2. The page of what it will do carries the same fields hidden. Nothing is kept between the steps.
3. Confirmed, it is read and checked again and done under its id: a second tap does nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import date, datetime
from typing import Any, ClassVar, NamedTuple
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Model, Q
from django.forms import BoundField
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render

from readiness.actions.drafts import Refused
from readiness.actions.foresight import foresee
from readiness.actions.movements import Entry
from readiness.actions.once import Act, Asked, Done, once
from readiness.engineering.dates import GoodThrough
from readiness.engineering.deficiencies import sentence
from readiness.engineering.label_codes import is_code, plain_code, shown_code
from readiness.models import Assignment, Container, Label, Station, Unit, Vehicle
from readiness.reports.foreseen import UnitChange
from readiness.reports.labels import Mistyped, label_named, tag_of
from readiness.web import access
from readiness.web.access import Here, rows
from readiness.web.forms import EntryForm, Form, MomentField, OfHere
from readiness.web.search import unit_address

MOST_CODES = 500
_CODES_LISTED = 600  # label codes offered while typing; above, the list would be longer than the page
_RANGE = re.compile(r"(?P<first>\S+?)\s*(?:\.\.\.?|…|–|\bto\b)\s*(?P<last>\S+)", re.IGNORECASE)
_NUMBERED = re.compile(r"(?P<stem>.*?)(?P<number>[0-9]+)")


class CodeInput(forms.TextInput):
    """A label code: typed or scanned."""

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        plain = {"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false", "list": "label-codes"}
        super().__init__({**plain, **(attrs or {})})


class CodeField(forms.CharField, OfHere):
    """A label code: gives the department's container."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", CodeInput())
        super().__init__(**kwargs)
        self.here: Here | None = None

    def settle(self, here: Here | None) -> None:
        """Whose containers."""
        self.here = here

    def clean(self, value: Any) -> Any:
        """The container, None where nothing was written, or a sentence."""
        code = super().clean(value)
        if not code:
            return None
        found = known_containers(self.here, [code])
        if not found:
            raise ValidationError(no_such_code(self.here, [code]))
        return next(iter(found.values()))


class CodesField(forms.CharField, OfHere):
    """Several label codes, by spaces, commas or lines, or from P-0101 to P-0109: gives the department's containers.

    new: give the codes themselves, for containers that are not in the book yet.
    """

    def __init__(self, *, new: bool = False, **kwargs: Any) -> None:
        self.new = new
        self.here: Here | None = None
        kwargs.setdefault("widget", forms.Textarea({"rows": 3, "autocapitalize": "characters", "spellcheck": "false"}))
        kwargs.setdefault("help_text", "One after the other, or a run of them: P-0101 to P-0109.")
        super().__init__(**kwargs)

    def settle(self, here: Here | None) -> None:
        """Whose containers."""
        self.here = here

    def clean(self, value: Any) -> Any:
        """Containers (or codes), in the order written, each once; or a sentence."""
        codes = read_codes(super().clean(value))
        if self.new or not codes:
            return codes
        found = known_containers(self.here, codes)
        missing = [code for code in codes if code.casefold() not in found]
        if missing:
            raise ValidationError(no_such_code(self.here, missing))
        return list({found[code.casefold()].pk: found[code.casefold()] for code in codes}.values())


def read_codes(text: str) -> list[str]:
    """Label codes as people list them; raises ValidationError for a run that cannot be read."""
    listed = _RANGE.sub(lambda run: " ".join(_run(run["first"], run["last"])), text)
    codes = [code for code in re.split(r"[\s,;]+", listed) if code]
    long = [code for code in codes if len(code) > 24]
    if long:
        raise ValidationError(f"“{long[0][:40]}” was read: a label code has at most 24 characters.")
    once_each = list({code.casefold(): code for code in reversed(codes)}.values())[::-1]
    if len(once_each) > MOST_CODES:
        raise ValidationError(f"{len(once_each)} label codes were read: at most {MOST_CODES} at once.")
    return once_each


def _run(first: str, last: str) -> list[str]:
    begin, end = _NUMBERED.fullmatch(first), _NUMBERED.fullmatch(last)
    if begin is None or end is None or begin["stem"].casefold() != end["stem"].casefold():
        raise ValidationError(f"“{first} to {last}” was read: a run goes from P-0101 to P-0109, the letters alike.")
    start, stop = int(begin["number"]), int(end["number"])
    if not 0 <= stop - start < MOST_CODES:
        raise ValidationError(f"“{first} to {last}” was read: a run goes upwards and has at most {MOST_CODES} codes.")
    width = len(begin["number"])
    return [f"{begin['stem']}{number:0{width}}" for number in range(start, stop + 1)]


def known_containers(here: Here | None, codes: Sequence[str]) -> dict[str, Container]:
    """The department's containers by what was typed, in small letters: their own label codes, or the short ones."""
    if here is None:
        return {}
    wanted = {code.casefold(): code for code in codes}
    every = rows(Container, here).filter(retired_on__isnull=True)
    ids = {code.casefold(): pk for pk, code in every.values_list("pk", "code") if code.casefold() in wanted}
    short = {plain_code(code): typed for typed, code in wanted.items() if typed not in ids}
    labels = rows(Label, here).filter(code__in=filter(is_code, short), withdrawn_at__isnull=True)
    on = labels.filter(container__retired_on__isnull=True, container__isnull=False).values_list("code", "container")
    ids.update({short[code]: pk for code, pk in on})
    found = every.select_related("department", "concentrate", "place").in_bulk(list(ids.values()))
    return {typed: found[pk] for typed, pk in ids.items()}


def no_such_code(here: Here | None, codes: Sequence[str]) -> str:
    """The sentence for codes that no container has; a short code that was mistyped is told with those near it."""
    said = ", ".join(f"“{code}”" for code in codes[:5]) + (" and others" if len(codes) > 5 else "")
    found = label_named(here.department, codes[0]) if here and len(codes) == 1 else None
    if isinstance(found, Mistyped) and found.near:
        near = ", ".join(f"{shown_code(label.code)} ({tag_of(label).name})" for label in found.near[:3])
        return f"{found.sentence} Near it: {near}."
    return f"{said} was read; no container has that label code. Write it as on the label."


class OwnerField(forms.ChoiceField, OfHere):
    """A station's store, a unit or a vehicle: gives the record itself."""

    first: ClassVar[tuple[tuple[str, str], ...]] = (("", "choose"),)  # what stands above the groups

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.owners: dict[str, Station | Unit | Vehicle] = {}

    def settle(self, here: Here | None) -> None:
        """The department's own, those first that people look for most."""
        self.owners = {}  # of this form alone: Django copies a field shallowly, so the first dictionary is everybody's
        groups: list[tuple[str, list[tuple[str, str]]]] = []
        if here is not None:
            stations = rows(Station, here).filter(closed_on__isnull=True)
            groups.append(("Stores", self._offer("station", stations, lambda each: f"{each} store")))
            groups.append(("Units", self._offer("unit", rows(Unit, here).filter(retired_on__isnull=True), str)))
            vehicles = rows(Vehicle, here).filter(retired_on__isnull=True)
            groups.append(("Vehicles (fixed tanks)", self._offer("vehicle", vehicles, str)))
        self.choices = [*self.first, *groups]

    def _offer(self, side: str, records: Iterable[Any], name: Callable[[Any], str]) -> list[tuple[str, str]]:
        self.owners.update({f"{side}-{record.pk}": record for record in records})
        return [(key, name(record)) for key, record in self.owners.items() if key.startswith(f"{side}-")]

    def clean(self, value: Any) -> Any:
        """The station, unit or vehicle; None where nothing was chosen; or a sentence."""
        if not value and not self.required:
            return None
        if value and value not in self.owners:
            raise ValidationError(f"“{value}” was read; choose a store, a unit or a vehicle from the list.")
        return self.owners[super().clean(value)]


class BookForm(EntryForm):
    """The base of entries into the book: when it happened, and why."""

    happened_at = MomentField(
        label="When it happened", required=False, help_text="Leave it empty for now. A late entry is shown as late."
    )
    reason = forms.CharField(label="Remark", required=False, max_length=400, widget=forms.Textarea({"rows": 2}))
    last: tuple[str, ...] = ("happened_at", "reason")
    folds: tuple[tuple[str, tuple[str, ...]], ...] = ()  # a title and the fields that are folded away below it

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([name for name in self.fields if name not in self.last] + list(self.last))

    @property
    def drawn(self) -> list[tuple[str, list[BoundField], bool]]:
        """The fields in their order, in runs: under no title, or folded below one, open where one is at fault."""
        return self.runs(self.visible_fields())

    def runs(self, fields: Iterable[BoundField]) -> list[tuple[str, list[BoundField], bool]]:
        """Some of the fields in such runs."""
        title_of = {name: title for title, names in self.folds for name in names}
        runs: list[tuple[str, list[BoundField]]] = []
        for field in fields:
            title = title_of.get(field.name, "")
            if not runs or runs[-1][0] != title:
                runs.append((title, []))
            runs[-1][1].append(field)
        return [(title, run, any(field.errors for field in run)) for title, run in runs]

    def entry(self, here: Here) -> Entry:
        """The entry that the form makes."""
        asked = self.cleaned_data
        return Entry(
            here.department,
            here.acting,
            access.CLOCK,
            id=asked["entry_id"],
            happened_at=asked.get("happened_at"),
            reason=asked.get("reason", ""),
            incident=asked.get("incident", ""),
        )


class Ask(NamedTuple):
    """What a valid form asks for: how to do it, and which containers to show beside those that movements name."""

    act: Act
    containers: Collection[int] = ()


class Page(NamedTuple):
    """A form's page: its words, and what comes after."""

    kind: str  # of the entry, as it is kept
    title: str
    button: str  # says what confirming does
    ask: Callable[[Any, Here], Ask]
    after: Callable[[Done], HttpResponseBase]
    intro: str = ""
    back: str = ""
    form_template: str = "movements/form.html"
    preview_template: str = "movements/preview.html"
    queued: bool = False  # a crew's form: without signal its device keeps it and sends it later


def entry_page(request: HttpRequest, here: Here, page: Page, form: Form, **context: Any) -> HttpResponseBase:
    """Draw the form, the page of what it will do, or do it and go on."""
    if request.method == "POST" and "change" not in request.POST and form.is_valid():
        ask = page.ask(form, here)
        try:
            if "confirm" in request.POST:
                return _confirmed(request, here, page, form, ask)
            foreseen = foresee(here.department, ask.act, containers=ask.containers, clock=access.CLOCK)
        except Refused as refused:
            form.refuse(refused)
        else:
            return render(
                request,
                page.preview_template,
                {
                    "page": page,
                    "foreseen": foreseen,
                    "units_shown": [_unit_shown(unit, here) for unit in foreseen.units],
                    "carried": carried_of(request, form),
                    "here": here,
                    **context,
                },
            )
    codes = label_codes(here, context.get("unit"))
    return render(request, page.form_template, {"page": page, "form": form, "codes": codes, "here": here, **context})


def carried_of(request: HttpRequest, form: Form) -> list[tuple[str, str]]:
    """Everything that was posted to the form, for the next step to carry hidden."""
    return [each for name in form.fields for each in _posted(request, form, name)]


def _unit_shown(unit: UnitChange, here: Here) -> tuple[UnitChange, str, list[str], list[str]]:
    """A unit with its address and what is found and no longer found, in the reader's units."""
    appear, vanish = ([sentence(each, here.units) for each in found] for found in (unit.appear, unit.vanish))
    return unit, unit_address(unit.unit_id, unit.unit), appear, vanish


def _posted(request: HttpRequest, form: Form, name: str) -> list[tuple[str, str]]:
    """A field's parts as they were posted, with the unit that was rendered beside a number."""
    posted = {form.add_prefix(name), *(f"{form.add_prefix(name)}_{part}" for part in ("number", "unit"))}
    return [(key, value) for key in request.POST if key in posted for value in request.POST.getlist(key)]


def _confirmed(request: HttpRequest, here: Here, page: Page, form: Form, ask: Ask) -> HttpResponseBase:
    asked = Asked(form.cleaned_data["entry_id"], page.kind, body_of(form))
    done = once(here.department, asked, ask.act, acting=here.acting, clock=access.CLOCK)
    if done.again:
        messages.info(request, f"{page.title}: this was entered before. Nothing was entered a second time.")
    else:
        messages.success(request, f"{page.title}: entered.")
    return page.after(done)


def body_of(form: Form) -> dict[str, Any]:
    """What the form says, as JSON keeps it."""
    return {name: plain(value) for name, value in form.cleaned_data.items() if name != "entry_id"}


def plain(value: Any) -> Any:
    """A value as JSON has it: records by kind and number, moments and dates as text."""
    if isinstance(value, GoodThrough):
        return str(value)
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, Model):
        return f"{value._meta.model_name} {value.pk}"
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)


def label_codes(here: Here, unit: Unit | None = None) -> list[str]:
    """The label codes to choose from while typing: a unit's own first; none where there are too many to list."""
    every = rows(Container, here).filter(retired_on__isnull=True)
    if unit is not None:
        run = rows(Assignment, here).filter(unit=unit, to_at__isnull=True).values("vehicle")
        aboard = every.filter(Q(place__unit=unit) | Q(place__vehicle__in=run))
        every = aboard | every.filter(place__station=unit.station_id)
    codes = every.values_list("code", flat=True)
    found = list(codes[: _CODES_LISTED + 1])
    return found if len(found) <= _CODES_LISTED else []


def to_movement(done: Done) -> HttpResponseBase:
    """Go on to the movement's page, or to the list where there is none."""
    return redirect("movement", pk=done.movement_id) if done.movement_id else redirect("movements")


def each_in_turn(entry: Entry, containers: Sequence[Container], verb: Callable[..., Any]) -> list[UUID]:
    """The same verb for several containers: an entry each, the first under the form's own id."""
    posted = []
    for number, container in enumerate(containers):
        own = entry if number == 0 else entry._replace(id=None)
        posted.append(verb(own, container=container).movement_id)
    return posted
