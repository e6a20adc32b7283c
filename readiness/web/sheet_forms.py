"""What every worksheet's form shares: an address of its own, fields in groups, and fields that only worksheets have."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.safestring import SafeString

from readiness.engineering.quantities import QuantityError, parse_pair
from readiness.engineering.sheets import Sheet
from readiness.models import Station, Unit
from readiness.web.access import Here, rows
from readiness.web.editors import words
from readiness.web.field_groups import Grouped
from readiness.web.figures import written
from readiness.web.forms import OfHere, QuantityField

_MOST_LINES = 40
_MOST_TEXT = 2_000
_LARGEST = 1_000_000_000.0


class SheetForm(Grouped):
    """A form that is sent by its address, so that an answer can be kept, sent and printed."""

    saves = False

    def sheet(self) -> Sheet:
        """The worksheet filled in. Raises ``ValueError`` with a sentence."""
        raise NotImplementedError

    def as_duty(self) -> str:
        """The address at which a chief makes a duty of it; empty where it is no plan."""
        return ""

    def plots(self, sheet: Sheet) -> Sequence[SafeString]:
        """Curves that people would rather look at."""
        return ()

    def asked(self) -> list[tuple[str, str]]:
        """What was written, as label and words, for the printed sheet."""
        assert self.here is not None
        grouped = {name for _, names in self.groups_of for name in names}
        empty: tuple[Any, ...] = (None, "", (), [], False)
        shown = [
            name
            for name in self.fields
            if (self.filled(name) if name in grouped else self.cleaned_data.get(name) not in empty)
        ]
        return [(str(self[name].label), self._words(name, self.here)) for name in shown]

    def _words(self, name: str, here: Here) -> str:
        field, value = self.fields[name], self.cleaned_data[name]
        if isinstance(field, QuantityField):  # as it was written: a form is no place to convert
            said = self.data[f"{name}_number"].strip()
            has_unit = any(letter.isalpha() for letter in said)  # "30 x 40 ft" in a field of ft²
            return said if has_unit else f"{said} {written(self.data[f'{name}_unit'])}"
        if isinstance(field, PairsField):
            return "; ".join(f"{one:g} = {other:g}" for one, other in value)
        if isinstance(field, NumberField | ReadingsField):
            return "; ".join(f"{each:g}" for each in (value if isinstance(value, tuple) else (value,)))
        return words(field, value, here)


class PlaceField(forms.ChoiceField, OfHere):
    """A unit with its vehicle, or a station's store: gives the record. Sent as unit-3 or station-2."""

    def __init__(self, **kwargs: Any) -> None:
        self.places: dict[str, Unit | Station] = {}
        super().__init__(**kwargs)
        self.error_messages["invalid_choice"] = "What was read is not in the list: choose a unit or a store."

    def settle(self, here: Here | None) -> None:
        """The department's own, in use."""
        self.places = {}  # of this form alone, see RigField
        if here is None:
            return
        units = list(rows(Unit, here).filter(retired_on__isnull=True).order_by("designation"))
        stations = list(rows(Station, here).filter(closed_on__isnull=True).order_by("name"))
        self.places.update({f"unit-{each.pk}": each for each in units})
        self.places.update({f"station-{each.pk}": each for each in stations})
        self.choices = [
            ("", "not counted"),
            ("Units", [(f"unit-{each.pk}", str(each)) for each in units]),
            ("Stores", [(f"station-{each.pk}", str(each)) for each in stations]),
        ]

    def clean(self, value: Any) -> Any:
        """The unit or the station, None where none was chosen."""
        key = str(super().clean(value) or "")
        return self.places[key] if key else None


class Choice(forms.ChoiceField):
    """One of a few, the first where the address says nothing."""

    def clean(self, value: Any) -> Any:
        """The choice."""
        return super().clean(value or self.initial)


class NumberField(forms.CharField):
    """A plain number above 0, whatever an instrument reads."""

    def __init__(self, *, most: float = _LARGEST, **kwargs: Any) -> None:
        self.most = most
        kwargs.setdefault("widget", forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "size": 8}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        """The number, None where nothing was written, or a sentence."""
        text = str(super().clean(value) or "").strip()
        return one_number(text, self.most) if text else None


def one_number(text: str, most: float = _LARGEST) -> float:
    """A plain number of people. Raises ValidationError with a sentence."""
    plain = text.removesuffix("%").strip()
    if len(plain) > 20 or not plain.isascii() or not plain.replace(".", "", 1).isdigit():
        raise ValidationError(f"“{text[:40]}” was read: write a number such as 7 or 2.5.")
    if not 0 <= float(plain) <= most:
        raise ValidationError(f"“{text}” was read: at most {most:,g} belongs here.")
    return float(plain)


class _Lines(forms.CharField):
    """Several entries, one a line or with semicolons between."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.Textarea({"rows": 5, "autocomplete": "off", "spellcheck": "false"}))
        super().__init__(max_length=_MOST_TEXT, **kwargs)

    def entries(self, value: Any) -> list[str]:
        """What was written, entry by entry."""
        text = str(super().clean(value) or "")
        found = [each.strip() for each in text.replace(";", "\n").splitlines() if each.strip()]
        if len(found) > _MOST_LINES:
            raise ValidationError(f"{len(found)} entries were read: at most {_MOST_LINES} belong here.")
        return found


class PairsField(_Lines):
    """Pairs of numbers with = between: gives tuples."""

    def __init__(self, *, like: str, **kwargs: Any) -> None:
        self.like = like
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        """The pairs, or the sentence about the first that is none."""
        try:
            return tuple(parse_pair(each, self.like) for each in self.entries(value))
        except QuantityError as wrong:
            raise ValidationError(str(wrong)) from wrong


class ReadingsField(_Lines):
    """Readings of an instrument: gives numbers."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput({"autocomplete": "off", "size": 20}))
        super().__init__(**kwargs)

    def clean(self, value: Any) -> Any:
        """The numbers, or a sentence."""
        return tuple(one_number(each) for each in self.entries(value))
