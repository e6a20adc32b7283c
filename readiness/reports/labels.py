"""What a label names, what has none yet, and which codes are near one that was mistyped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Final, NamedTuple

from django.db.models import QuerySet

from readiness.engineering.label_codes import is_code, looks_like_code, near_codes, plain_code, shown_code
from readiness.models import Assignment, Container, Department, FoamLine, Label, Place, Unit, Vehicle

NEVER, NOT_PRINTED, PRINTED = "no label yet", "not printed", "printed"
_KINDS: Final = ("container", "line", "vehicle", "unit")


class Labeled(NamedTuple):
    """A thing that can have a label. `key` names it in a form; `kind`: a container's own, or line, vehicle, unit."""

    key: str
    kind: str
    name: str
    where: str
    station: str
    label_id: int | None
    code: str
    printed_at: datetime | None

    @property
    def state(self) -> str:
        """Whether it has a label."""
        return NEVER if not self.code else PRINTED if self.printed_at else NOT_PRINTED


class Tag(NamedTuple):
    """What stands on a label beside its QR code: the code, the thing, and what it is."""

    code: str
    name: str
    what: str

    @property
    def shown(self) -> str:
        """The code in its two groups."""
        return shown_code(self.code)


class Mistyped(NamedTuple):
    """A code that names nothing here, why in a sentence, and the labels that one slip would have turned into it."""

    sentence: str
    near: tuple[Label, ...]


def labels_of(department: Department) -> QuerySet[Label, Label]:
    """The department's labels with what they are on."""
    known = ("container", "line__unit", "line__vehicle", "vehicle", "unit", "withdrawn_by", "made_by")
    return Label.objects.filter(department=department).select_related(*known)


def labeled_things(department: Department) -> list[Labeled]:
    """Everything that can have a label, by kind and name; in seven queries."""
    rows = Label.objects.filter(department=department, withdrawn_at__isnull=True).order_by()
    labels = {
        next((kind, pk) for kind, pk in zip(_KINDS, ids, strict=True) if pk): (label, code, at)
        for label, code, at, *ids in rows.values_list("id", "code", "printed_at", *_KINDS)
    }
    things = [*_units(department), *_vehicles(department), *_lines(department), *_containers(department)]
    return [
        Labeled(f"{of}-{pk}", kind, name, where, station, *labels.get((of, pk), (None, "", None)))
        for of, pk, kind, name, where, station in things
    ]


_Thing = tuple[str, int, str, str, str, str]


def _units(department: Department) -> Iterable[_Thing]:
    rows = Unit.objects.filter(department=department, retired_on__isnull=True)
    for pk, name, station in rows.values_list("id", "designation", "station__name"):
        yield "unit", pk, "unit", name, station, station


def _vehicles(department: Department) -> Iterable[_Thing]:
    rows = Vehicle.objects.filter(department=department, retired_on__isnull=True)
    for pk, shop_no, kind, station in rows.values_list("id", "shop_no", "kind", "station__name"):
        yield "vehicle", pk, "vehicle", f"vehicle {shop_no}", kind, station


def _lines(department: Department) -> Iterable[_Thing]:
    rows = FoamLine.objects.filter(department=department, retired_on__isnull=True)
    owners = ("unit__designation", "unit__station__name", "vehicle__shop_no", "vehicle__station__name")
    for pk, name, unit, unit_at, shop_no, vehicle_at in rows.values_list("id", "name", *owners).order_by("name"):
        yield "line", pk, "line", name, unit or f"vehicle {shop_no}", unit_at or vehicle_at


def _containers(department: Department) -> Iterable[_Thing]:
    """Places are read once each: many containers stand at one."""
    running = Assignment.objects.filter(department=department, to_at__isnull=True).select_related("unit__station")
    on = {each.vehicle_id: each.unit for each in running}
    rows = Place.objects.filter(department=department)
    places = {
        row.pk: (str(row), _house(row, on))
        for row in rows.select_related("station", "unit__station", "vehicle__station")
    }
    known = Container.objects.filter(department=department, retired_on__isnull=True).order_by("code")
    for pk, kind, code, place in known.values_list("id", "kind", "code", "place"):
        yield "container", pk, kind, code, *places.get(place or 0, ("outside the book", ""))


def _house(place: Place, on: Mapping[int, Unit]) -> str:
    """The station of what stands at a place: its own, its unit's, or that of the unit on its vehicle tonight."""
    unit = place.unit or on.get(place.vehicle_id or 0)
    house = place.station or (unit.station if unit else None) or (place.vehicle.station if place.vehicle else None)
    return str(house or "")


def tag_of(label: Label) -> Tag:
    """What stands on a label. What may change (its place, what is in it) does not."""
    if label.container:
        return Tag(label.code, label.container.code, label.container.kind)
    if label.line:
        return Tag(label.code, label.line.name, f"foam line, {label.line.unit or label.line.vehicle}")
    return Tag(label.code, str(label.unit or label.vehicle), "unit" if label.unit else "vehicle")


def label_named(department: Department, text: str) -> Label | Mistyped | None:
    """The label that somebody typed or scanned; why there is none; or None for what is not meant as such a code."""
    plain = plain_code(text)
    if is_code(plain):
        found = labels_of(department).filter(code=plain).first()
        return found or Mistyped(f"“{shown_code(plain)}” was read; no label of {department} has that code.", ())
    if not looks_like_code(plain):
        return None
    near = tuple(labels_of(department).filter(code__in=near_codes(plain), withdrawn_at__isnull=True).order_by("code"))
    sentence = f"“{shown_code(plain)}” was read, and its check character does not fit: it was mistyped."
    return Mistyped(sentence, near)
