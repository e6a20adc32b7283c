"""The table of changes: who, when, what, old and new; for the chief and the logistics officer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

import django_filters as filters
from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.urls import path
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from readiness.models import Change, Membership, User
from readiness.reports.changes import ChangeTold, Difference, changes_of_department, person, told
from readiness.web import figures
from readiness.web.access import Here, may, rows
from readiness.web.forms import DateField
from readiness.web.tables import Column, MomentColumn, Table, list_page

SEE_CHANGES: Final = "read the table of changes"
_BY_ENDING: Final = (  # the ending of a fact's name, and what it measures
    ("_lpm", "flow"),
    ("_kpa", "pressure"),
    ("_m2", "area"),
    ("_ml", "volume"),
    ("_kg", "mass"),
    ("_l", "volume"),
    ("_m", "length"),
    ("_c", "temperature"),
)
_PERCENTS: Final = ("_pct", "pct", "pct_high", "back_pressure_share", "hold_back")
_WORDS: Final = {"un": "UN number", "pfas": "PFAS", "pct": "percentage", "pct_high": "percentage up to"}
_UNITLESS: Final = {"_h": "h", "_d": "d", "_kg_l": "kg/L"}


def label(fact: str) -> str:
    """A fact's name as people read it: water_l is "water"."""
    if fact in _WORDS:
        return _WORDS[fact]
    for ending in ("_kg_l", *(ending for ending, _ in _BY_ENDING), "_pct", *_UNITLESS):
        if fact.endswith(ending):
            fact = fact.removesuffix(ending)
            break
    return fact.replace("_", " ")


def value_words(fact: str, value: Any, here: Here) -> str:
    """An old or a new value in words, a number with its unit in the reader's."""
    if value in (None, "", []):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return _hose(value, here) if fact == "hose" else ", ".join(value_words(fact, each, here) for each in value)
    if isinstance(value, int | float):
        return _number(fact, value, here)
    return figures.written(str(value)) if fact == "rate_unit" else str(value)


def _hose(legs: list[Any], here: Here) -> str:
    return "; ".join(f"{value_words('_m', length, here)} of {size:g} in" for length, size in legs)


def _number(fact: str, value: float, here: Here) -> str:
    if fact.endswith(_PERCENTS):
        return figures.percent(round(value))
    if fact.endswith("_kg_l"):
        return f"{value:g} kg/L"
    for ending, dimension in _BY_ENDING:
        if fact.endswith(ending):
            stored = value * 1000 if ending == "_l" else value
            return figures.figure(stored, dimension, here.units, "nearest")
    unit = next((unit for ending, unit in _UNITLESS.items() if fact.endswith(ending)), "")
    unit = unit or ("min" if fact == "minutes" else "")
    return f"{value:g} {unit}".strip()


class ShownDifference(NamedTuple):
    """One fact in words."""

    label: str
    old: str
    new: str


class ShownChange(NamedTuple):
    """A change as a page shows it."""

    at: Any
    by: str
    action: str
    added: bool  # there was nothing before it
    differences: tuple[ShownDifference, ...]


def shown_changes(changes: Iterable[ChangeTold], here: Here) -> list[ShownChange]:
    """Changes of one record for its own page."""
    return [_one(each, here) for each in changes]


def _one(each: ChangeTold, here: Here) -> ShownChange:
    change = each.change
    return ShownChange(change.at, each.by, change.action, change.old is None, tuple(_shown(each, here)))


def _shown(each: ChangeTold, here: Here) -> Iterator[ShownDifference]:
    for difference in each.differences:
        yield _difference(difference, here)


def _difference(difference: Difference, here: Here) -> ShownDifference:
    fact = difference.fact
    old, new = (value_words(fact, value, here) for value in (difference.old, difference.new))
    return ShownDifference(label(fact), old, new)


class ChangeTable(Table):
    """Every change, the latest first; names are read for a page at once."""

    caption = "Changes"
    at = MomentColumn(verbose_name="When")
    by = Column(accessor="by", verbose_name="Who", orderable=False, empty_values=())
    action = Column(verbose_name="What")
    subject = Column(accessor="subject_id", verbose_name="Of", orderable=False)
    differences = Column(accessor="pk", verbose_name="Old → new", orderable=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.told: dict[int, ChangeTold] = {}

    def before_render(self, request: HttpRequest) -> None:
        """Names of the page's rows."""
        self._tell([row.record for row in self.paginated_rows])

    def workbook_rows(self) -> Iterator[list[Any]]:
        """Names of all rows."""
        self._tell([row.record for row in self.rows])
        return super().workbook_rows()

    def _tell(self, records: list[Change]) -> None:
        self.told = {each.change.pk: each for each in told(records)}

    def render_by(self, record: Change) -> str:
        """By name."""
        return self.told[record.pk].by

    def render_subject(self, record: Change) -> str:
        """The kind of record and its name."""
        each = self.told[record.pk]
        return each.subject if each.kind in each.subject else f"{each.kind}: {each.subject}"

    def render_differences(self, record: Change) -> SafeString:
        """A line for each fact."""
        lines = [_difference(each, self.here) for each in self.told[record.pk].differences]
        if record.old is None:
            drawn = format_html_join("", "<li>{}: {}</li>", ((each.label, each.new) for each in lines))
        else:
            drawn = format_html_join("", "<li>{}: {} → {}</li>", lines)
        return format_html('<ul class="differences">{}</ul>', drawn)

    def value_by(self, record: Change) -> str:
        """The same in the workbook."""
        return self.render_by(record)

    def value_subject(self, record: Change) -> str:
        """The same in the workbook."""
        return self.render_subject(record)

    def value_differences(self, record: Change) -> str:
        """The same on one line."""
        lines = (_difference(each, self.here) for each in self.told[record.pk].differences)
        return "; ".join(f"{each.label}: {each.old} → {each.new}" for each in lines)


class PersonFilter(filters.ModelChoiceFilter):
    """A person, by name."""

    class field_class(filters.fields.ModelChoiceField):  # noqa: N801 - django-filter looks for this name
        """Names in place of sign-ins."""

        def label_from_instance(self, obj: Any) -> str:
            """As others call them."""
            return person(obj)


class ChangeFilter(filters.FilterSet):
    """Who, what, of which kind, from when to when, and words of the subject's old and new values."""

    q = filters.CharFilter(label="Search", method="by_words", widget=forms.TextInput({"type": "search"}))
    by = PersonFilter(label="Who", queryset=User.objects.none(), empty_label="anybody")
    action = filters.ChoiceFilter(label="What", empty_label="anything")
    subject_kind = filters.ChoiceFilter(label="Of which kind", empty_label="any")
    since = filters.CharFilter(label="From the day", method="from_day")
    until = filters.CharFilter(label="Through the day", method="through_day")

    def __init__(self, data: Any, queryset: QuerySet[Any, Any], here: Here) -> None:
        super().__init__(data, queryset)
        self.here = here
        members = rows(Membership, here).values("user")
        self.filters["by"].queryset = User.objects.filter(pk__in=members).order_by("last_name", "username")
        for name in ("action", "subject_kind"):
            occur = queryset.order_by().values_list(name, flat=True).distinct()
            self.filters[name].extra["choices"] = [(each, each) for each in sorted(occur)]

    def get_form_class(self) -> Any:
        """Days as days."""
        made = super().get_form_class()
        for name, label_ in (("since", "From the day"), ("until", "Through the day")):
            made.base_fields[name] = DateField(label=label_, required=False)
        return made

    def by_words(self, queryset: QuerySet[Any, Any], _: str, value: str) -> QuerySet[Any, Any]:
        """Every word in what was done, or in the old and new values."""
        for word in value.split():
            found = Q(action__icontains=word) | Q(old__icontains=word) | Q(new__icontains=word)
            queryset = queryset.filter(found)
        return queryset

    def from_day(self, queryset: QuerySet[Any, Any], _: str, value: Any) -> QuerySet[Any, Any]:
        """On or after a day of the department."""
        return queryset.filter(at__gte=_midnight(self.here, value))

    def through_day(self, queryset: QuerySet[Any, Any], _: str, value: Any) -> QuerySet[Any, Any]:
        """On or before a day of the department."""
        return queryset.filter(at__lt=_midnight(self.here, value, 1))


def _midnight(here: Here, day: date, later: int = 0) -> datetime:
    return datetime.combine(day + timedelta(days=later), time(0), tzinfo=ZoneInfo(here.department.time_zone))


@require_GET
@may(SEE_CHANGES)
def changes(request: HttpRequest, here: Here) -> HttpResponseBase:
    """The list."""
    found = changes_of_department(here.department)

    def chosen(data: Any, queryset: Any) -> ChangeFilter:
        return ChangeFilter(data, queryset, here)

    return list_page(request, here, ChangeTable, found, template="changes/list.html", filter_class=chosen)


urlpatterns = [path("changes/", changes, name="changes")]
