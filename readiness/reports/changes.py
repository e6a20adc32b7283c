"""The table of changes as people read it: who, when, what, old and new, with names in place of ids."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db.models import Model, QuerySet

from readiness import models as m
from readiness.models import Change, Department

BATCH: Final = 500
_NAMED: Final[
    Mapping[str, type[Model]]
] = {  # keys of old and new that name records without being columns of the subject
    "concentrates": m.Concentrate,
    "containers": m.Container,
    "sources": m.Container,
    "lines": m.FoamLine,
    "runs_on": m.Vehicle,
    "vehicle": m.Vehicle,
    "unit": m.Unit,
    "owner": m.User,
}
Names = Mapping[tuple[type[Model], int], str]


class Difference(NamedTuple):
    """One fact: its name, and what it was and became (numbers in the unit that its name ends in)."""

    fact: str
    old: Any
    new: Any


class ChangeTold(NamedTuple):
    """A change with its subject by name and its facts one by one."""

    change: Change
    subject: str
    kind: str
    by: str
    differences: tuple[Difference, ...]


def changes_of_department(department: Department) -> QuerySet[Change, Change]:
    """Every change of the department's records, the latest first."""
    return Change.objects.filter(department=department).select_related("by").order_by("-id")


def changes_of_record(record: Model, most: int = 50) -> list[ChangeTold]:
    """The latest changes of one record."""
    kind = record._meta.model_name
    rows = Change.objects.filter(subject_kind=kind, subject_id=str(record.pk))
    return told(list(rows.select_related("by").order_by("-id")[:most]))


def told(changes: Iterable[Change]) -> list[ChangeTold]:
    """Changes in words; the number of queries grows with the kinds of records that are named, not with the rows."""
    rows = list(changes)
    names = _names(rows)
    return [_told(row, names) for row in rows]


def _told(row: Change, names: Names) -> ChangeTold:
    old, new = row.old or {}, row.new or {}
    facts = list(dict.fromkeys([*old, *new]))
    model = _model(row.subject_kind)
    subject = names.get((model, _id(row.subject_id)), "") if model else ""
    return ChangeTold(
        change=row,
        subject=subject or row.subject_id,
        kind=str(model._meta.verbose_name) if model else row.subject_kind,
        by=person(row.by) if row.by else "the command line",
        differences=tuple(
            Difference(fact, *(_named(_target(model, fact), of.get(fact), names) for of in (old, new)))
            for fact in facts
        ),
    )


def person(user: m.User) -> str:
    """A person by name, else by sign-in."""
    return user.get_full_name() or user.username


def _model(kind: str) -> type[Model] | None:
    try:
        return apps.get_model("readiness", kind)
    except LookupError:
        return None


def _target(model: type[Model] | None, fact: str) -> type[Model] | None:
    """The kind of record that a fact names, or None."""
    if model is None:
        return None
    try:
        related = model._meta.get_field(fact).related_model
    except FieldDoesNotExist:
        return _NAMED.get(fact)
    return related if isinstance(related, type) and issubclass(related, Model) else None


def _id(value: Any) -> int:
    return int(value) if str(value).isdecimal() else 0


def _named(target: type[Model] | None, value: Any, names: Names) -> Any:
    if target is None or value is None:
        return value
    if isinstance(value, list):
        return [names.get((target, _id(each)), each) for each in value]
    return names.get((target, _id(value)), value)


def _names(rows: list[Change]) -> dict[tuple[type[Model], int], str]:
    wanted: dict[type[Model], set[int]] = defaultdict(set)
    for row in rows:
        model = _model(row.subject_kind)
        if model is None:
            continue
        wanted[model].add(_id(row.subject_id))
        for facts in (row.old or {}, row.new or {}):
            for fact, value in facts.items():
                target = _target(model, fact)
                if target is not None:
                    wanted[target].update(_id(each) for each in (value if isinstance(value, list) else [value]))
    return {(model, pk): name for model, ids in wanted.items() for pk, name in _read(model, ids - {0})}


def _read(model: type[Model], ids: set[int]) -> Iterable[tuple[int, str]]:
    related = [field.name for field in model._meta.concrete_fields if field.is_relation and field.name in _SHOWN]
    related += ["lot__concentrate"] if "lot" in related else []
    ordered = sorted(ids)
    for start in range(0, len(ordered), BATCH):
        rows = model._default_manager.filter(pk__in=ordered[start : start + BATCH]).select_related(*related)
        yield from ((row.pk, person(row) if isinstance(row, m.User) else str(row)) for row in rows)


_SHOWN: Final = frozenset(  # what the names of records are made of
    {"concentrate", "fuel", "lot", "container", "line", "user", "unit", "vehicle", "station", "department", "setup"}
)
