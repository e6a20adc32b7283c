"""The department's rules: what each does, where its default comes from, and what a change would do tonight."""

from __future__ import annotations

from typing import Any, Final, NamedTuple

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from readiness.actions.drafts import Refused
from readiness.actions.keeping import EDIT, Desk, NotKept
from readiness.actions.policies import BOUNDS, POLICIES, PolicyFacts, change_policy, turn_pack
from readiness.engineering.records import Moment
from readiness.models import Policy
from readiness.models.policy import RULES, RegionPack
from readiness.reports.policy_effects import judged_with, policy_effects
from readiness.web import access, figures
from readiness.web.access import Here, get, may, signed_in
from readiness.web.column_fields import ReadField
from readiness.web.editors import RecordForm
from readiness.web.forms import PercentField, QuantityField
from readiness.workbooks.columns import number


class Words(NamedTuple):
    """What a rule is called, and what it does in a sentence."""

    label: str
    does: str


RULE_WORDS: Final[dict[str, Words]] = {
    "check_interval_h": Words("Check interval", "A unit whose last complete check is older is unverified."),
    "reserve_check_interval_h": Words("Check interval of reserve units", "The same for units in reserve."),
    "back_pressure_share": Words(
        "Greatest back pressure",
        "Where an eductor’s plate states no limit, it picks up while back pressure is at most this share of inlet.",
    ),
    "unit_hold_back": Words(
        "Hold-back foam of units", "This share of need is kept back; who is short of it is limited."
    ),
    "hazard_hold_back": Words(
        "Hold-back foam at target hazards", "The same at target hazards. It is never added to an airport’s twice."
    ),
    "sample_interval_d": Words(
        "Sample interval", "A passed sample without a date of its own keeps concentrate good for so long."
    ),
    "test_interval_d": Words(
        "Proportioning test interval", "A passed test without a date of its own is good for so long; then unverified."
    ),
    "foam_test_interval_d": Words(
        "Foam test interval",
        "A foam test is good for so long; 0: none is asked for. A failed one counts whatever stands here.",
    ),
    "vehicle_3_least": Words("Airport vehicle at 3 %, from", "Its proportioning test fails as lean below this."),
    "vehicle_3_most": Words("Airport vehicle at 3 %, to", "It fails as too rich above this."),
    "vehicle_6_least": Words("Airport vehicle at 6 %, from", "The same at 6 %."),
    "vehicle_6_most": Words("Airport vehicle at 6 %, to", "The same at 6 %."),
    "opened_limit_d": Words("Opened containers", "An opened pail or drum counts for so long after its seal broke."),
    "expiry_warn_d": Words("Warning before expiry", "Lots that run out within this time are named in notes."),
    "rich_end": Words(
        "Without a test in date", "Caution shows the need at the rich end beside the answer; short makes it the need."
    ),
    "add_concentrates": Words(
        "Different concentrates add up", "Minutes of different concentrates add up, through separate lines only."
    ),
    "plain_on_e10": Words(
        "Plain film-forming foam on E10", "Whether it counts on gasoline with ethanol: no, or limited; never in depth."
    ),
    "dead_band_ml": Words(
        "Difference nobody looks into", "A difference between book and reading up to this, beside the gauge’s own."
    ),
    "inventory_interval_d": Words(
        "Inventory interval", "A container that was counted in no inventory for so long is named as not counted."
    ),
    "inventory_confirm_share": Words(
        "Confirmed by a second person",
        "At least this share of what was counted, beside everything that differs from the book.",
    ),
    "inventory_limit_share": Words(
        "Limit of a container’s difference",
        "A container that differs by more than this, and by more than the next volume, is explained by a chief.",
    ),
    "inventory_limit_ml": Words(
        "Least difference above the limit", "A smaller one is never above the limit, whatever its share of the book."
    ),
    "inventory_total_share": Words(
        "Limit of an inventory’s difference", "An inventory that differs by more in all is closed by a chief."
    ),
    "drill_with_pfas": Words(
        "Drills with fluorinated foam", "Whether stock with PFAS may be picked for a drill; not known counts as with."
    ),
    "order_counts": Words(
        "Order point compared with", "What is on hand for an order: the stores alone, or stores, units and vehicles."
    ),
    "use_window_d": Words("Use is measured over", "The last so many days of the book say how much is used."),
    "lead_time_d": Words("Lead time of an order", "Where a concentrate’s supply sheet states none of its own."),
    "budget_month": Words("Budget year begins in month", "1 for January, 7 for July, 10 for October."),
}
_UNITS: Final = {"_h": "h", "_d": "days"}
_CHOICES: Final = {
    "rich_end": [("caution", "caution: shown beside the need"), ("short", "short: it is the need")],
    "plain_on_e10": [("no", "no"), ("limited", "limited")],
    "order_counts": [("stores", "stores: what stands in the stores"), ("all", "all: what is aboard too")],
}
REGION_PACKS: Final = (
    (
        RegionPack.AIRPORT,
        "Airport categories",
        "Worksheet, and duties by category: water and discharge as the table has them.",
    ),
    (RegionPack.MARINE, "Marine", "Worksheet, and design spills of a tanker’s cargo deck by the code for ships."),
    (RegionPack.STORAGE, "National storage codes", "Worksheet, and design spills of storage tanks by a national code."),
    (RegionPack.FLUORINE, "PFAS calendars", "Days from which fluorinated foam may no longer be used, by place."),
)


def _field(name: str) -> forms.Field:
    said = RULE_WORDS[name]
    more: dict[str, Any] = {"label": said.label, "help_text": said.does}
    if name in _CHOICES:
        return forms.ChoiceField(choices=_CHOICES[name], **more)
    if isinstance(RULES[name].default, bool):
        return forms.BooleanField(required=False, **more)
    least, most = BOUNDS[name]
    if name.endswith("_ml"):
        return QuantityField("volume", least=least, most=most, **more)
    if RULES[name].unit.startswith("1/100 %"):
        return PercentField(least=least, greatest=most, **more)
    unit = _UNITS.get(name[-2:], "")
    bounds = number(name, said.label, "", RULES[name].unit, whole=True, unit=unit, least=least, most=most)
    return ReadField(bounds, **{**more, "label": f"{said.label} [{unit}]" if unit else said.label})


class PolicyForm(RecordForm):
    """Every rule, in people's units."""

    noun = POLICIES


for _name in RULE_WORDS:  # one field a rule: the table above is the form
    PolicyForm.base_fields[_name] = _field(_name)


class Shown(NamedTuple):
    """A rule on the page."""

    label: str
    value: str
    default: str
    is_default: bool
    does: str
    source: str


def value_words(name: str, value: Any, here: Here) -> str:
    """A rule's value in people's units."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name.endswith("_ml"):
        return figures.figure(value, "volume", here.units, "nearest")
    if RULES[name].unit.startswith("1/100 %"):
        return f"{figures.percent(value)} {RULES[name].unit.removeprefix('1/100 % ')}"
    if isinstance(value, int):
        unit = _UNITS.get(name[-2:], "")
        return f"{value} day" if (unit, value) == ("days", 1) else f"{value} {unit}".strip()
    return str(value)


def _shown(facts: PolicyFacts, here: Here) -> list[Shown]:
    return [
        Shown(
            words.label,
            value_words(name, getattr(facts, name), here),
            value_words(name, RULES[name].default, here),
            getattr(facts, name) == RULES[name].default,
            words.does,
            RULES[name].source,
        )
        for name, words in RULE_WORDS.items()
    ]


@require_GET
@signed_in
def policy(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The rules as they are."""
    row = get(Policy, here)
    packs = [(key.value, name, does, key in row.region_packs) for key, name, does in REGION_PACKS]
    context = {"rules": _shown(POLICIES.read(row), here), "may_edit": here.may(EDIT), "packs": packs}
    return render(request, "policy/policy.html", context)


@require_POST
@may(EDIT)
def turn(request: HttpRequest, here: Here) -> HttpResponseBase:
    """Turn a region pack on or off: the button says which, and the way."""
    pack, on = request.POST.get("pack", ""), request.POST.get("turn") == "on"
    try:
        turn_pack(Desk(here.department, here.acting, access.CLOCK), pack, on=on)
    except Refused as refused:
        messages.error(request, str(refused))
    else:
        name = next(name for key, name, _ in REGION_PACKS if key.value == pack)
        messages.success(request, f"{name}: {'on' if on else 'off'}.")
    return redirect("policy")


@require_http_methods(["GET", "POST"])
@may(EDIT)
def change(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The form; its posting shows what would change, and the second posting saves it."""
    row = get(Policy, here)
    form = PolicyForm(request.POST if request.method == "POST" else None, here=here, row=row)
    if request.method == "POST" and form.is_valid():
        if "save" in request.POST and _save(form, here):
            messages.success(request, "The policy is changed; every unit is judged by it from now on.")
            return redirect("policy")
        if "back" not in request.POST and not form.errors:
            return _preview(request, here, form, POLICIES.read(row))
    sources = [(form[name], RULES[name].source) for name in RULE_WORDS]
    return render(request, "policy/form.html", {"form": form, "rules": sources})


def _save(form: PolicyForm, here: Here) -> bool:
    try:
        change_policy(Desk(here.department, here.acting, access.CLOCK), form.facts(), seen=form.cleaned_data["seen"])
    except Refused as refused:
        for fact, sentence in refused.faults if isinstance(refused, NotKept) else [("", str(refused))]:
            form.refuse(sentence, fact if fact in form.fields else None)
    return form.is_valid()


def _preview(request: HttpRequest, here: Here, form: PolicyForm, old: PolicyFacts) -> HttpResponseBase:
    """What would change, before it does."""
    new: PolicyFacts = form.facts()
    differing = [name for name in RULE_WORDS if getattr(old, name) != getattr(new, name)]
    if not differing:
        form.refuse("Nothing differs from the policy as it is: change a rule, or leave.")
        sources = [(form[name], RULES[name].source) for name in RULE_WORDS]
        return render(request, "policy/form.html", {"form": form, "rules": sources})
    judged_by = judged_with(new._asdict(), get(Policy, here).region_packs)
    effects = policy_effects(here.department, judged_by, Moment(here.now, here.day), here.units)
    changes = [
        (
            RULE_WORDS[name].label,
            value_words(name, getattr(old, name), here),
            value_words(name, getattr(new, name), here),
        )
        for name in differing
    ]
    buttons = ("csrfmiddlewaretoken", "preview", "save", "back")
    carried = [(name, value) for name, value in request.POST.items() if name not in buttons]
    return render(request, "policy/preview.html", {"carried": carried, "changes": changes, "effects": effects})


urlpatterns = [
    path("policy/", policy, name="policy"),
    path("policy/change/", change, name="policy_change"),
    path("policy/pack/", turn, name="policy_pack"),
]
