"""The morning check on a phone: numbers instead of ticks, one answer for pails alike, and what came of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, Final, NamedTuple
from uuid import UUID

import django_filters
from django import forms
from django.contrib import messages
from django.db import transaction
from django.db.models import Q, QuerySet
from django.forms.utils import ErrorDict
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path, reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions.check_differences import MAY, Cause, settle_difference
from readiness.actions.checks import CheckDraft, Read, Recorded, record_check
from readiness.actions.drafts import Refused, SameIdOtherBody
from readiness.actions.photos import keep_photo
from readiness.engineering.dates import FIRST_YEAR
from readiness.engineering.percentages import percent_text
from readiness.engineering.wording import volume_text
from readiness.models import Check, Container
from readiness.models.checks import Answer
from readiness.reports.check_sheets import (
    FACES,
    LABEL,
    NO_LEAK,
    VALVES,
    Alike,
    Find,
    GearToLook,
    LineToRead,
    Sheet,
    Vessel,
    check_made,
    checks_of,
    is_late,
    person,
    sheet_for,
    took_s,
)
from readiness.reports.crew_today import changed_by
from readiness.web import access
from readiness.web.access import Here, get, may, rows, signed_in
from readiness.web.answer_rules import Rule, rules_text
from readiness.web.crew import unit_here
from readiness.web.entries import CodesField, read_codes
from readiness.web.figures import figure
from readiness.web.forms import Brim, EntryForm, MomentField, PhotoField, QuantityField
from readiness.web.moments import moment_text
from readiness.web.tables import Column, MomentColumn, NumberColumn, Table, list_page

GOOD, FAULT = Answer.GOOD.value, Answer.FAULT.value
NOT_LOOKED, NOT_CARRIED = Answer.NOT_LOOKED.value, Answer.NOT_CARRIED.value
OPENED: Final = "opened"
AS_THE_OTHERS: Final = ""
_ANSWERS: Final = [(GOOD, "good"), (FAULT, "fault"), (NOT_CARRIED, "not carried"), (NOT_LOOKED, "not looked at")]
_FLUSHED: Final = [("yes", "yes, or not used"), ("no", "no"), (NOT_LOOKED, "not looked at")]
_APART: Final = [(AS_THE_OTHERS, "same answer as above"), *_ANSWERS]
_OF_PARTS: Final = f"{FAULT}:"  # a fault of one part of a pail is answered by the part alone
_PARTS_OF_PAIL: Final = ("seal", "cap", LABEL, NO_LEAK)
_SEAL: Final = [
    (AS_THE_OTHERS, "same answer as above"),
    (GOOD, "sealed, good"),
    (f"{_OF_PARTS}seal", "seal damaged"),
    (f"{_OF_PARTS}cap", "cap damaged or loose"),
    (f"{_OF_PARTS}{LABEL}", "label not legible"),
    (f"{_OF_PARTS}{NO_LEAK}", "it leaks"),
    (FAULT, "sealed, with another fault"),
    (OPENED, "opened"),
    (NOT_CARRIED, "not carried"),
    (NOT_LOOKED, "not looked at"),
]
_NO_ANSWER: Final = {"invalid_choice": "“%(value)s” was read: choose one of the answers that are offered."}
_KEYS: Final = ("c", "g", "p", "l", "i")  # container, group of pails alike, one pail of a group, line, gear
_FEW_PAILS: Final = 40  # as many pails can be answered apart each in its place; of more, those that are named
_EIGHTHS: Final = ("empty", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞", "full")
_CHOSEN: Final = "apart_now"  # the button that asks for the fields of those that are named
_MOST_WORDS: Final = 200
NOTHING_SEEN: Final = "Everything was left at not looked at: a check says of one thing at least what was seen."
NOT_APART: Final = (
    "Answering pails apart needs signal. Without it leave these pails at not looked at, and say in the remark which is "
    "different and how, or raise a deficiency."
)


# -- the form ----------------------------------------------------------------------------------------------------------


def _radios(label: str, choices: list[tuple[str, str]], initial: str = NOT_LOOKED) -> forms.ChoiceField:
    """A question that is answered by one tap; left alone it says that nobody looked. A missing answer says the same."""
    return forms.ChoiceField(
        label=label,
        choices=choices,
        initial=initial,
        widget=forms.RadioSelect,
        required=False,
        error_messages=_NO_ANSWER,
    )


def _volume(each: Vessel, how: str = "measured volume", again: str = "read the gauge again") -> QuantityField:
    above = f"{{read}} was read in {each.code}, which holds {{full}} when full: {again}."
    brim = Brim(each.size_ml, each.size_ml + each.resolution_ml + 2, above)
    field = QuantityField("volume", label=f"{each.code}: {how}", required=False, brim=brim)
    field.widget.widgets[0].attrs["placeholder"] = " "  # the style sheet tells by it whether something was typed
    return field


def _words(name: str) -> forms.CharField:
    widget = forms.TextInput({"list": "faults", "autocomplete": "off", "placeholder": " "})
    return forms.CharField(label=f"{name}: what is wrong", required=False, max_length=_MOST_WORDS, widget=widget)


def _gauge(each: Vessel) -> forms.Field:
    """How its gauge is read: a number, or the light that is lit."""
    if not each.lights:
        return _volume(each)
    step = 8 // each.lights
    lit = [(str(each.size_ml * n // each.lights), _EIGHTHS[n * step]) for n in range(each.lights + 1)]
    return _radios(f"{each.code}: the gauge shows", [*lit, ("", "not looked at")], "")


def _apart(label: str, *, carried: bool = False) -> forms.ChoiceField:
    """One part of a thing, where it is not as the whole."""
    answers = [answer for answer in _APART if carried or answer[0] != NOT_CARRIED]
    return forms.ChoiceField(label=label, choices=answers, required=False, error_messages=_NO_ANSWER)


def _vessel_fields(each: Vessel) -> Iterator[tuple[str, forms.Field]]:
    yield f"c{each.id}_ml", _gauge(each)
    yield f"c{each.id}_stick", _volume(each, "by the stick", "dip it again")
    for n, part in enumerate(each.parts):
        yield f"c{each.id}_part{n}", _apart(part)
    fixed = each.kind == "fixed tank"  # it goes where its vehicle goes: "not carried" would be a slip of the thumb
    answers = [answer for answer in _ANSWERS if not fixed or answer[0] != NOT_CARRIED]
    yield f"c{each.id}", _radios(each.code, answers)
    yield f"c{each.id}_words", _words(each.code)


def _group_fields(group: Alike) -> Iterator[tuple[str, forms.Field]]:
    count = len(group.vessels)
    every = [
        (GOOD, "sealed, good" if count == 1 else f"all {count} sealed, good"),
        (NOT_CARRIED, "not carried" if count == 1 else "none of them carried"),
        (NOT_LOOKED, "not looked at"),
    ]
    yield f"g{group.vessels[0].id}", _radios(group.codes, every)
    for each in group.vessels:
        yield (
            f"p{each.id}",
            forms.ChoiceField(label=each.code, choices=_SEAL, required=False, error_messages=_NO_ANSWER),
        )
        yield f"p{each.id}_ml", _volume(each)
        yield f"p{each.id}_words", _words(each.code)


def _line_fields(line: LineToRead, here: Here) -> Iterator[tuple[str, forms.Field]]:
    if len(line.settings_pct) > 1:
        stands = [(str(pct), percent_text(pct)) for pct in line.settings_pct]
        yield f"l{line.id}_set", _radios(f"{line.name}: knob stands at", [*stands, ("", "not looked at")], "")
    if len(line.rings_lpm) > 1:
        rings = [(str(ring), figure(ring, "flow", here.units, "nearest")) for ring in line.rings_lpm]
        yield f"l{line.id}_ring", _radios(f"{line.name}: ring stands at", [*rings, ("", "not looked at")], "")
    yield f"l{line.id}", _radios(f"{line.name}: {line.parts}", _ANSWERS)
    for n, part in enumerate(line.looked_at):
        yield f"l{line.id}_part{n}", _apart(part, carried=part != VALVES)
    if line.kit:
        faces = [*((face, face) for face in FACES), ("", "not looked at")]
        yield f"l{line.id}_face", _radios(f"{line.name}: face of the dial", faces, "")
    yield f"l{line.id}_words", _words(line.name)
    yield f"l{line.id}_flushed", _radios(f"{line.name}: flushed with clear water since the last use", _FLUSHED)


def _gear_fields(gear: Sequence[GearToLook]) -> Iterator[tuple[str, forms.Field]]:
    count = len(gear)
    every = [
        (GOOD, "aboard, good" if count == 1 else f"all {count} aboard, good"),
        (NOT_CARRIED, "not carried" if count == 1 else "none of it carried"),
        (NOT_LOOKED, "not looked at"),
    ]
    yield "gear", _radios("Loose gear", every)
    for each in gear:
        yield f"i{each.id}", _apart(each.name, carried=True)
        yield f"i{each.id}_words", _words(each.name)


def _fault_rule(key: str, parts: int = 0) -> Rule:
    said = "A fault was marked: say in a word or two what is wrong."
    named = tuple((f"{key}_part{n}", FAULT) for n in range(parts))
    return Rule(f"{key}_words", key, (FAULT,), said, lacking=(f"{key}_words",), unless=named)


def _vessel_rules(each: Vessel) -> Iterator[Rule]:
    key = f"c{each.id}"
    read = f"{{read}} was read in {each.code} and “{{answer}}” is marked: mark good or fault beside a volume."
    numbers = (f"{key}_ml", f"{key}_stick")
    yield Rule(key, key, (GOOD, FAULT), read, otherwise=True, given=numbers)
    none = f"Good was marked and no volume: read the gauge or dip it, or leave {each.code} at not looked at."
    yield Rule(f"{key}_ml", key, (GOOD,), none, lacking=numbers)
    yield _fault_rule(key, len(each.parts))


def _pail_rules(each: Vessel) -> Iterator[Rule]:
    key, number = f"p{each.id}", (f"p{each.id}_ml",)
    read = f"{{read}} was read in {each.code}, which is not marked opened: mark it opened or clear it."
    yield Rule(key, key, (OPENED,), read, otherwise=True, given=number)
    none = f"{each.code} was marked opened and no volume was read: say what is in it."
    yield Rule(f"{key}_ml", key, (OPENED,), none, lacking=number)
    yield _fault_rule(key)


def _line_rules(line: LineToRead) -> Iterator[Rule]:
    key = f"l{line.id}"
    for part, what in (("set", "what the knob stands at"), ("ring", "what the ring stands at")):
        name = f"{key}_{part}"
        yield Rule(name, key, (GOOD,), f"Good was marked on {line.name}: say {what} as well.", lacking=(name,))
    yield _fault_rule(key, len(line.looked_at))


class VesselShown(NamedTuple):
    """A container with its fields."""

    vessel: Vessel
    answer: forms.BoundField
    ml: forms.BoundField
    words: forms.BoundField
    parts: Sequence[forms.BoundField]
    stick: forms.BoundField | None
    apart: bool


class GroupShown(NamedTuple):
    """Pails alike with their fields; `singled`: whether one of them was answered apart."""

    group: Alike
    answer: forms.BoundField
    each_one: list[VesselShown]
    singled: bool


class LineShown(NamedTuple):
    """A line with its fields."""

    line: LineToRead
    knob: forms.BoundField | None
    ring: forms.BoundField | None
    answer: forms.BoundField
    words: forms.BoundField
    flushed: forms.BoundField
    parts: Sequence[forms.BoundField]
    face: forms.BoundField | None
    apart: bool


class CheckForm(EntryForm):
    """The check of one sheet; `check_form` makes the class with the sheet's own fields.

    A field's name is a letter for what it is of (see _KEYS), the record's number, and _ml, _stick, _part0 (of the
    thing's parts), _words, _set, _ring, _face or _flushed behind it. The form is complete in itself: sent as it stands,
    at once or hours later under its own entry_id, it makes the same check. Out of a queue, an empty `made_at` is
    the moment at which it was queued.
    """

    sheet: Sheet
    started_at = forms.CharField(required=False, widget=forms.HiddenInput)
    photo = PhotoField(label="Photo")
    apart = CodesField(
        new=True,
        label="Pails that are different, by their codes",
        required=False,
        help_text="P-0101 P-0102, or P-0101 to P-0109. Then answer each of them apart.",
    )
    notes = forms.CharField(required=False, max_length=2000, widget=forms.Textarea({"rows": 2}))
    made_at = MomentField(
        label="Made earlier than now", required=False, help_text="Empty: now. A late entry is taken and marked late."
    )

    def __init__(self, *args: Any, here: Here, **kwargs: Any) -> None:
        super().__init__(*args, here=here, initial={"started_at": here.now.isoformat()}, **kwargs)
        self.units = here.units

    def clean_started_at(self) -> datetime | None:
        """When the form was opened; what cannot be that is left out, since nothing depends on it."""
        try:
            at = datetime.fromisoformat(self.cleaned_data["started_at"])
        except ValueError:
            return None
        within = at.tzinfo is not None and at.year >= FIRST_YEAR
        return at if self.here and within and at <= self.here.now else None

    def clean(self) -> dict[str, Any]:
        """Refuse answers that contradict each other, and a check in which nobody looked at anything."""
        self._same_sheet()
        self.keep_to_rules()
        self._check_apart()
        if not self.errors and self.sheet.things and not any(_says_something(read) for read in self.reads()):
            self.refuse(NOTHING_SEEN)
        return self.cleaned_data

    def _same_sheet(self) -> None:
        """What is aboard may have changed while the form was open: no answer is dropped in silence."""
        known = {name.partition("_")[0] for name in self.fields}
        posted = {name.partition("_")[0] for name in self.data}
        gone = [name for name in posted - known if name[:1] in _KEYS and name[1:].isdecimal()]
        if gone:
            self.refuse(f"What {self.sheet.unit} carries was changed in the book while you looked: look it over again.")

    def _got(self, name: str) -> Any:
        return self.cleaned_data.get(name)

    def _check_apart(self) -> None:
        """What is named as different is a pail of this sheet."""
        known = {each.code.casefold() for group in self.sheet.sealed for each in group.vessels}
        strange = [code for code in self._got("apart") or () if code.casefold() not in known]
        if strange:
            said = f"“{strange[0]}” was read, which is no sealed pail of {self.sheet.unit} by the book."
            self.refuse(said, "apart")

    def without_faults(self) -> CheckForm:
        """The form as it was filled in so far, not read yet: nothing is found wrong with it."""
        self._errors = ErrorDict()
        return self

    def _ml(self, key: str) -> int | None:
        """What was read: a volume, or the light that is lit."""
        read = self._got(f"{key}_ml")
        return int(read) if read not in (None, "") else None

    def said(self, value: Any) -> str:
        """A volume in the reader's units."""
        return volume_text(int(value), self.units)

    def rules(self) -> Iterator[Rule]:
        """A number has its answer, an answer its number, and a fault its words."""
        for vessel in self.sheet.measured:
            yield from _vessel_rules(vessel)
        for group in self.sheet.sealed:
            yield from (rule for each in group.vessels for rule in _pail_rules(each))
        for line in self.sheet.lines:
            yield from (rule for rule in _line_rules(line) if not {*rule.lacking} - self.fields.keys())
        yield from (_fault_rule(f"i{gear.id}") for gear in self.sheet.gear)

    def rules_text(self) -> str:
        """Those of the fields that the page draws."""
        drawn = {f"p{shown.vessel.id}" for group in self.groups() for shown in group.each_one}
        return rules_text(rule for rule in self.rules() if not rule.of.startswith("p") or rule.of in drawn)

    # -- what it hands over

    def reads(self) -> tuple[Read, ...]:
        """What was seen of each thing of the sheet, in its order."""
        vessels = [self._read_vessel(each) for each in self.sheet.measured]
        pails = [self._read_pail(each, group) for group in self.sheet.sealed for each in group.vessels]
        lines = [self._read_line(line) for line in self.sheet.lines]
        return (*vessels, *pails, *lines, *(self._read_gear(each) for each in self.sheet.gear))

    def _parts(self, key: str, parts: Sequence[str], answer: str) -> tuple[tuple[str, str], ...]:
        """Each part with its answer: its own, else that of the whole; of a fault that is not named nothing is known."""
        own = [self._got(f"{key}_part{n}") or (answer if answer != FAULT else "") for n in range(len(parts))]
        return tuple((part, said) for part, said in zip(parts, own, strict=True) if said)

    def _read_vessel(self, each: Vessel) -> Read:
        key = f"c{each.id}"
        said, stick_ml = self._got(key) or NOT_LOOKED, self._got(f"{key}_stick")
        ml = self._ml(key)
        parts = self._parts(key, each.parts, said) if said != NOT_CARRIED else ()
        return Read(
            _answer(said, parts),
            container=each.id,
            ml=stick_ml if ml is None else ml,
            stick_ml=stick_ml,
            sealed=None if ml is None and stick_ml is None else False,
            parts=parts,
            words=self._got(f"{key}_words") or "",
        )

    def _read_pail(self, each: Vessel, group: Alike) -> Read:
        key = f"p{each.id}"
        answer = self._got(key) or self._got(f"g{group.vessels[0].id}") or NOT_LOOKED
        bad = answer.removeprefix(_OF_PARTS) if answer.startswith(_OF_PARTS) else ""
        answer = FAULT if bad else answer
        seal = {GOOD: True, FAULT: True, OPENED: False}.get(answer)
        parts = {FAULT: ((bad, FAULT),) if bad else (), GOOD: tuple((part, GOOD) for part in _PARTS_OF_PAIL)}
        return Read(
            Answer.GOOD if answer == OPENED else Answer(answer),
            container=each.id,
            ml=self._got(f"{key}_ml"),
            sealed=seal,
            parts=parts.get(answer, ()),
            words=self._got(f"{key}_words") or "",
        )

    def _read_line(self, line: LineToRead) -> Read:
        key = f"l{line.id}"
        setting, ring = self._got(f"{key}_set"), self._got(f"{key}_ring")
        said = self._got(key) or NOT_LOOKED
        parts = self._parts(key, line.looked_at, said) if said != NOT_CARRIED else ()
        return Read(
            _answer(said, parts),
            line=line.id,
            parts=parts,
            face=self._got(f"{key}_face") or "",
            setting_pct=int(setting) if setting else None,
            ring_lpm=float(ring) if ring else None,
            flushed={"yes": True, "no": False}.get(self._got(f"{key}_flushed") or ""),
            words=self._got(f"{key}_words") or "",
        )

    def _read_gear(self, each: GearToLook) -> Read:
        answer = self._got(f"i{each.id}") or self._got("gear") or NOT_LOOKED
        return Read(Answer(answer), item=each.name, words=self._got(f"i{each.id}_words") or "")

    def draft(self, at: datetime) -> CheckDraft:
        """The check as it was made: at the moment that was given, else now."""
        made = self._got("made_at")
        return CheckDraft(
            id=self._got("entry_id"),
            unit=self.sheet.unit_id,
            readings=self.reads(),
            started_at=None if made else self._got("started_at"),
            finished_at=made or at,
            notes=self._got("notes") or "",
        )

    # -- what the page draws

    def vessels(self) -> Iterator[VesselShown]:
        """Tanks and opened pails with their fields."""
        for each in self.sheet.measured:
            key = f"c{each.id}"
            parts = [self[f"{key}_part{n}"] for n in range(len(each.parts))]
            yield VesselShown(
                each, self[key], self[f"{key}_ml"], self[f"{key}_words"], parts, self[f"{key}_stick"], _any_said(parts)
            )

    def many(self) -> bool:
        """Whether there are more pails than can each have fields of their own on one page."""
        return sum(len(group.vessels) for group in self.sheet.sealed) > _FEW_PAILS

    def groups(self) -> Iterator[GroupShown]:
        """Sealed pails alike, with the one answer and those singled out."""
        named = {code.casefold() for code in _codes(self["apart"].value() or "")} if self.is_bound else set()
        for group in self.sheet.sealed:
            each_one = [
                VesselShown(
                    each, self[f"p{each.id}"], self[f"p{each.id}_ml"], self[f"p{each.id}_words"], (), None, False
                )
                for each in group.vessels
                if not self.many() or each.code.casefold() in named or self.data.get(f"p{each.id}")
            ]
            wrong = self.is_bound and any(shown.answer.value() or shown.ml.errors for shown in each_one)
            yield GroupShown(
                group, self[f"g{group.vessels[0].id}"], each_one, wrong or (self.many() and bool(each_one))
            )

    def lines(self) -> Iterator[LineShown]:
        """Lines with their fields; one that needs no turning has none for it."""
        for line in self.sheet.lines:
            key = f"l{line.id}"
            knob, ring = (self[name] if name in self.fields else None for name in (f"{key}_set", f"{key}_ring"))
            face = self[f"{key}_face"] if line.kit else None
            parts = [self[f"{key}_part{n}"] for n in range(len(line.looked_at))]
            words, flushed = self[f"{key}_words"], self[f"{key}_flushed"]
            yield LineShown(line, knob, ring, self[key], words, flushed, parts, face, _any_said(parts))

    def gear_shown(self) -> Iterator[tuple[GearToLook, forms.BoundField, forms.BoundField]]:
        """Loose gear with its fields."""
        yield from ((each, self[f"i{each.id}"], self[f"i{each.id}_words"]) for each in self.sheet.gear)

    def gear_apart(self) -> bool:
        """Whether a piece of gear was answered apart."""
        return self.is_bound and any(self.data.get(f"i{each.id}") for each in self.sheet.gear)


def _codes(text: str) -> list[str]:
    """The codes that were typed; none where they cannot be read, which the form says when it is sent."""
    try:
        return read_codes(text)
    except forms.ValidationError:
        return []


def _any_said(parts: Sequence[forms.BoundField]) -> bool:
    return any(part.form.is_bound and part.value() for part in parts)


def _answer(said: str, parts: Sequence[tuple[str, str]]) -> Answer:
    """The answer of a thing: the worst of its parts, worst being what is not there; the whole not aboard is that."""
    every = {said, *(each for _, each in parts)} if said != NOT_LOOKED or not parts else {each for _, each in parts}
    return next((each for each in (Answer.NOT_CARRIED, Answer.FAULT, Answer.NOT_LOOKED) if each in every), Answer.GOOD)


def check_form(sheet: Sheet, here: Here) -> type[CheckForm]:
    """The form of a sheet, in the reader's units."""
    fields: dict[str, Any] = {"sheet": sheet}
    for vessel in sheet.measured:
        fields.update(_vessel_fields(vessel))
    for group in sheet.sealed:
        fields.update(_group_fields(group))
    for line in sheet.lines:
        fields.update(_line_fields(line, here))
    if sheet.gear:
        fields.update(_gear_fields(sheet.gear))
    return type("SheetForm", (CheckForm,), fields)


def _says_something(read: Read) -> bool:
    measured = (read.ml, read.setting_pct, read.ring_lpm, read.flushed)
    parts = any(said != NOT_LOOKED for _, said in read.parts)
    return read.answer != Answer.NOT_LOOKED or parts or any(each is not None for each in measured)


# -- making one --------------------------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@may("check")
def make(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The form, and the check that it makes."""
    unit = unit_here(here, pk)
    sheet = sheet_for(unit, here.now)
    only = request.GET.get("only", "")
    sheet = sheet.only(int(only)) if only.isascii() and only.isdecimal() else sheet
    posted = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = check_form(sheet, here)(*posted, here=here)
    if _CHOSEN in request.POST:
        form.without_faults()
    elif request.method == "POST" and form.is_valid():
        try:
            recorded = _record(here, form)
        except Refused as refused:
            form.refuse(refused)
        else:
            if recorded.again:
                messages.info(request, "This check was recorded already; nothing was recorded twice.")
            return redirect("check_result", pk=unit.pk, check=recorded.check.pk)
    form.lose_photo(request.FILES)
    said = {"nothing_seen": NOTHING_SEEN, "not_apart": NOT_APART}
    return render(request, "checks/make.html", {"unit": unit, "sheet": sheet, "form": form, "only": only, **said})


def _record(here: Here, form: CheckForm) -> Recorded:
    """Record a check with its photo, or neither. A second tap of the same form is the same check, of the first tap."""
    by: dict[str, Any] = {"acting": here.acting, "clock": access.CLOCK}
    with transaction.atomic():
        data = form.cleaned_data["photo"]
        photo = keep_photo(here.department, data=data, **by).pk if data else None
        return _recorded(here, form.draft(here.now)._replace(photo=photo))


def _recorded(here: Here, draft: CheckDraft) -> Recorded:
    try:
        return record_check(here.department, draft, acting=here.acting, clock=access.CLOCK)
    except SameIdOtherBody as other:
        first = rows(Check, here).filter(pk=draft.id, by=here.user).first()
        if first is None:
            raise
        same = draft._replace(finished_at=first.finished_at)
        try:
            return record_check(here.department, same, acting=here.acting, clock=access.CLOCK)
        except SameIdOtherBody:
            raise Refused(
                "This form was recorded already with other answers, and a check is never altered: "
                "open a new check and enter what you saw."
            ) from other


# -- what came of it, and those that were made -------------------------------------------------------------------------


def _check_here(here: Here, pk: int, check: UUID) -> Check:
    checks = rows(Check, here).filter(unit=unit_here(here, pk))
    return get(checks.select_related("unit__department", "vehicle", "by"), here, pk=check)


@require_GET
@signed_in
def result(request: HttpRequest, here: Here, pk: int, check: UUID) -> HttpResponseBase:
    """What differed from the book, and what the check changed."""
    made = _check_here(here, pk, check)
    shown = check_made(made, here.units)
    context = {
        "unit": made.unit,
        "made": shown,
        "finds": _all_found(here, shown.finds),
        "change": changed_by(made, here.now, here.day, here.units),
        "may_use": here.may("use"),
        "may_see_photo": not here.tablet,
        "may_raise": here.may("raise a deficiency"),
        "may_check": here.may("check"),
    }
    return render(request, "checks/result.html", context)


@require_GET
@signed_in
def one(request: HttpRequest, here: Here, pk: int, check: UUID) -> HttpResponseBase:
    """A check as it was made."""
    made = _check_here(here, pk, check)
    context = {"unit": made.unit, "made": check_made(made, here.units), "may_check": here.may("check")}
    return render(request, "checks/one.html", {**context, "may_see_photo": not here.tablet})


class WayOut(NamedTuple):
    """One thing to do about what was found: a button that books it."""

    cause: str
    words: str


class FoundShown(NamedTuple):
    """Something found with the ways through it that this person may take."""

    find: Find
    ways: list[WayOut]
    raise_thing: str


def _found_shown(here: Here, find: Find) -> FoundShown:
    """What may be done about it by whom: booked as lost or gained, looked at again, raised as a deficiency."""
    volume = volume_text(abs(find.off_ml), here.units)
    words = {
        Cause.EVAPORATED: f"It evaporated: book {volume} less",
        Cause.LEAKED: f"It leaked: book {volume} less and raise it",
        Cause.GAINED: f"Water got in: book {volume} more, out of the count",
    }
    fitting = [] if not find.off_ml else [each for each in Cause if (each == Cause.GAINED) == (find.off_ml > 0)]
    ways = [WayOut(cause, words[cause]) for cause in fitting if here.may(MAY[cause]) and not here.tablet]
    thing = f"container-{find.container}" if find.container else f"line-{find.line}" if find.line else ""
    return FoundShown(find, ways, thing if here.may("raise a deficiency") else "")


def _all_found(here: Here, finds: Sequence[Find]) -> list[FoundShown]:
    """Everything found; the button that raises a deficiency stands once for each thing."""
    shown, known = [], {""}
    for each in (_found_shown(here, find) for find in finds):
        shown.append(each._replace(raise_thing="" if each.raise_thing in known else each.raise_thing))
        known.add(each.raise_thing)
    return shown


@require_POST
@may("use")
def settle(request: HttpRequest, here: Here, pk: int, check: UUID) -> HttpResponseBase:
    """Book a difference by its cause: the person who may do that asks for no preview, the button says it all."""
    made = _check_here(here, pk, check)
    row = get(Container, here, pk=request.POST.get("container") or 0)
    try:
        cause = Cause(request.POST.get("cause", ""))
    except ValueError:
        messages.error(request, "No cause was read: press one of the buttons.")
        return redirect("check_result", pk=pk, check=made.pk)
    try:
        posted = settle_difference(
            here.department, check=made, container=row, cause=cause, acting=here.acting, clock=access.CLOCK
        )
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        said = "was settled before; nothing was entered twice" if posted.again else f"is settled: {cause}"
        messages.success(request, f"{row} {said}.")
    return redirect("check_result", pk=pk, check=made.pk)


class CheckTable(Table):
    """A unit's checks."""

    caption = "Checks"
    unit = Column(accessor="unit__designation", visible=False)
    made = MomentColumn(accessor="finished_at", linkify=lambda record: address(record))
    by = Column(accessor="by", empty_values=(), order_by=("by__last_name", "by__username"))
    vehicle = Column(accessor="vehicle__shop_no")
    covered = Column(accessor="looked", empty_values=())
    faults = NumberColumn(accessor="faults")
    missing = NumberColumn(accessor="missing", verbose_name="Not carried")
    differ = NumberColumn(accessor="differ", verbose_name="Off the book")
    took = NumberColumn(accessor="pk", verbose_name="Took [min]", orderable=False)
    recorded = MomentColumn(accessor="recorded_at")
    late = Column(accessor="pk", visible=False)  # on the screen it stands beside the moment of recording
    notes = Column(orderable=False)

    def render_by(self, record: Check) -> str:
        """Who made it."""
        return person(record.by)

    def value_by(self, record: Check) -> str:
        """The same in the workbook."""
        return person(record.by)

    def render_covered(self, record: Any) -> str:
        """How much of what was aboard somebody looked at."""
        kind = "whole" if record.complete else "partial"
        return f"{kind}: {record.looked} of {record.things}"

    def value_covered(self, record: Any) -> str:
        """The same in the workbook."""
        return self.render_covered(record)

    def render_took(self, record: Check) -> str:
        """Minutes and seconds, so that a check of twenty seconds is seen."""
        seconds = took_s(record)
        return "—" if seconds is None else f"{seconds // 60}:{seconds % 60:02}"

    def value_took(self, record: Check) -> float | None:
        """Minutes as a number."""
        seconds = took_s(record)
        return None if seconds is None else round(seconds / 60, 2)

    def render_recorded(self, record: Check, value: datetime) -> SafeString:
        """When it came into the book; marked where that was long after."""
        said = moment_text(self.here.department, value)
        return format_html('{} <strong class="late">{}</strong>', said, "late entry" if is_late(record) else "")

    def value_late(self, record: Check) -> str:
        """Whether it was entered long after it was made."""
        return "late entry" if is_late(record) else "no"


def address(record: Check) -> str:
    """Where a check's page is."""
    return reverse("check", kwargs={"pk": record.unit_id, "check": record.pk})


class CheckFilter(django_filters.FilterSet):
    """By person or notes, whole or partial."""

    q = django_filters.CharFilter(label="Search", method="by_words", widget=forms.TextInput({"type": "search"}))
    complete = django_filters.ChoiceFilter(
        label="Covered", choices=[("True", "whole"), ("False", "partial")], empty_label="all"
    )

    def by_words(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Every word in the person's name or in the notes."""
        for each in value.split():
            names = Q(by__first_name__icontains=each) | Q(by__last_name__icontains=each)
            queryset = queryset.filter(names | Q(by__username__icontains=each) | Q(notes__icontains=each))
        return queryset


@require_GET
@signed_in
def history(request: HttpRequest, here: Here, pk: int) -> HttpResponseBase:
    """The unit's checks, latest first, and the same as a workbook."""
    unit = unit_here(here, pk)
    context = {"unit": unit, "may_check": here.may("check"), "caption": f"Checks of {unit}"}
    checks = checks_of(unit)
    return list_page(
        request, here, CheckTable, checks, template="checks/history.html", filter_class=CheckFilter, context=context
    )


urlpatterns = [
    path("crew/<int:pk>/check/", make, name="check_unit"),
    path("crew/<int:pk>/checks/", history, name="checks"),
    path("crew/<int:pk>/checks/<uuid:check>/", one, name="check"),
    path("crew/<int:pk>/checks/<uuid:check>/result/", result, name="check_result"),
    path("crew/<int:pk>/checks/<uuid:check>/settle/", settle, name="settle_difference"),
]
