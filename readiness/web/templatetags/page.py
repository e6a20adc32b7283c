"""Tags of every page: figures in the reader's units, marks of states, bars, moments with their age.

`{% volume need_ml "up" %}` · `{% flow lpm "nearest" %}` · `{% area m2 "down" %}` · `{% status "not_ready" %}`
The direction is no option: need, pails and water go "up"; usable, area and minutes "down"; a plain reading "nearest".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, cast

from django import template
from django.http import QueryDict
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from readiness.engineering.units import Toward
from readiness.models import User
from readiness.reports.journal import person_name
from readiness.web import figures, marks, moments
from readiness.web.preferences import Units
from readiness.web.tablets import PERSON, people

register = template.Library()

QUANTITIES = ("volume", "flow", "area", "length", "bore", "pressure", "temperature", "mass")


def _units(context: Mapping[str, Any]) -> Units:
    return cast(Units, str(context["units"]))


def _define(dimension: str) -> None:
    def tag(
        context: Mapping[str, Any], value: float | None, toward: Toward, containers: int = 0, places: int | None = None
    ) -> str:
        return figures.figure(value, dimension, _units(context), toward, containers=containers, places=places)

    register.simple_tag(takes_context=True, name=dimension)(tag)


for _dimension in QUANTITIES:
    _define(_dimension)


@register.inclusion_tag("tablets/signs.html", takes_context=True)
def who_signs(context: Mapping[str, Any]) -> dict[str, Any]:
    """In a form at a station's shared tablet: who makes the entry, and their PIN. Nothing anywhere else."""
    frame, request = context.get("frame"), context.get("request")
    tablet = frame.here.tablet if frame else None
    chosen = request.POST.get(PERSON, "") if request else ""
    return {"people": people(tablet) if tablet else None, "chosen": chosen}


@register.simple_tag
def options(groups: Iterable[tuple[str | None, Iterable[Mapping[str, Any]], int]]) -> SafeString:
    """The entries of a list, in groups where it has some, as Django's templates draw them: a template an entry would be
    most of the time of a page with a thousand stations."""
    return mark_safe("".join(_group(name, entries) for name, entries, _ in groups))  # noqa: S308 - of escaped parts


def _group(name: str | None, entries: Iterable[Mapping[str, Any]]) -> str:
    drawn = format_html_join("", '<option value="{}"{}>{}</option>\n', map(_entry, entries))
    return format_html('<optgroup label="{}">\n{}</optgroup>\n', name, drawn) if name else drawn


def _entry(entry: Mapping[str, Any]) -> tuple[str, str, Any]:
    return str(entry["value"]), SafeString(" selected") if entry["selected"] else "", entry["label"]


@register.simple_tag
def minutes(value: float | None, toward: Toward, places: int = 1) -> str:
    """Minutes: `{% minutes 7.01 "down" %}` is "7.0 min"."""
    return figures.figure(value, "time", "us", toward, places=places)


@register.simple_tag
def percent(pct: int | None) -> str:
    """Hundredths of a point: 300 is "3 %"."""
    return figures.percent(pct)


@register.simple_tag
def share(value: float | None, toward: Toward) -> str:
    """A fraction as whole percent."""
    return figures.share(value, toward)


@register.simple_tag
def rate(value: Any, rate_unit: str) -> str:
    """A published rate in its own unit."""
    return figures.rate(value, rate_unit)


@register.simple_tag
def status(key: str, word: str = "") -> SafeString:
    """A state's shape and word; `key` is one of marks.MARKS."""
    return marks.status_mark(key, word)


@register.simple_tag
def bar(value: float | None, sentence: str, tone: str = "") -> SafeString:
    """A bar of a share, 1.0 = full; `sentence` says the same in words."""
    return marks.bar(value or 0.0, sentence, tone)


@register.simple_tag
def person(user: User | None) -> str:
    """Who: by name, or the name they sign in with; nobody is the installation's owner at the command line."""
    return person_name(user) or "the owner"


@register.simple_tag(takes_context=True)
def moment(context: Mapping[str, Any], at: datetime | None) -> SafeString | str:
    """A moment in the department's time zone, with its age: 2026-06-15 06:00 (3 h ago)."""
    present = context["frame"].here
    if at is None:
        return "never"
    said, age = moments.moment_text(present.department, at), moments.age_text(at, present.now)
    return format_html('<time datetime="{}">{}</time> <span class="age">({})</span>', at.isoformat(), said, age)


@register.simple_tag(takes_context=True)
def question(context: Mapping[str, Any], **changes: Any) -> str:
    """The address's question with some of its words changed: `{% question page=2 %}`; None takes a word out."""
    words: QueryDict = context["request"].GET.copy()
    for word, value in changes.items():
        if value is None:
            words.pop(word, None)
        else:
            words[word] = str(value)
    return f"?{words.urlencode()}"
