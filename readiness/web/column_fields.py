"""Fields made from the workbook's columns: label, help, words and bounds stand in one place. And fields of records."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any, Final, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet, TextChoices

from readiness.engineering.quantities import Quantity
from readiness.engineering.units import ML_PER_L, from_si
from readiness.models import Unit, Vehicle
from readiness.web import figures
from readiness.web.access import Here, rows
from readiness.web.forms import DateField, OfHere, PercentField, QuantityField, QuantityWidget
from readiness.workbooks.cells import CellError, Parsing, RawCell, cell_value
from readiness.workbooks.columns import Column, Kind, number
from readiness.workbooks.rows import Rate
from readiness.workbooks.sheets import BY_KEY

Scope = Callable[[Here], "QuerySet[Any, Any]"]
if TYPE_CHECKING:
    _OneOf = forms.ModelChoiceField[Model]  # only the stubs know that they are generic
    _SomeOf = forms.ModelMultipleChoiceField[Model]
else:
    _OneOf, _SomeOf = forms.ModelChoiceField, forms.ModelMultipleChoiceField


def in_words(choices: type[TextChoices]) -> list[tuple[str, str]]:
    """Choices as the trade writes them, in-line eductor and not In Line Eductor; a bare key by its label."""
    return [(value, label if "_" in value or not value else value) for value, label in choices.choices]


class LitersField(QuantityField):
    """A volume of what is no stock (a water tank): gives liters, as such columns keep them."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("volume", **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Liters as the millilitres that the field draws."""
        return round(value * ML_PER_L) if isinstance(value, float) else value

    def clean(self, value: Any) -> Any:
        """Liters, or a sentence."""
        ml = super().clean(value)
        return None if ml is None else ml / ML_PER_L


class WordsWidget(QuantityWidget):
    """Words with the unit that bare numbers in them are meant in."""

    def __init__(self, dimension: str, write: Callable[[Any, str], str]) -> None:
        super().__init__(dimension, choose_unit=False)
        self.write = write
        self.widgets[0].attrs.update({"size": 28})
        self.widgets[0].attrs.pop("inputmode", None)

    def decompress(self, value: Any) -> list[Any]:
        """The stored values as a person would write them."""
        return [self.write(value, self.unit) if value not in (None, ()) else "", self.unit]


class CellField(QuantityField):
    """Several values, or one with an expression, read as the workbook's cell is: "60; 95", "150 ft of 1.75 in"."""

    def __init__(self, column: Column, write: Callable[[Any, str], str], **kwargs: Any) -> None:
        self.column = column
        self.here: Here | None = None
        self.dimension_name = column.dimension.name if column.dimension else "length"
        super().__init__(self.dimension_name, widget=WordsWidget(self.dimension_name, write), **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Stored values as a person would write them; a tuple would be taken for the parts of the field."""
        return self.widget.decompress(value) if isinstance(value, tuple) else value

    def settle(self, here: Here | None) -> None:
        """Whose units and day."""
        super().settle(here)
        self.here = here

    def clean(self, value: Any) -> Any:
        """What the workbook's reader gives for these words, or its sentence."""
        words, unit = ([*value, "", ""] if isinstance(value, list | tuple) else ["", ""])[:2]
        if not str(words or "").strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None if self.column.kind is Kind.AREA else ()
        if unit not in dict(_units(self.dimension_name)):
            raise ValidationError(f"“{words}” came without its unit: open the form again and enter it once more.")
        return read_cell(self.column, str(words), str(unit), self.here)


class ReadField(forms.CharField):
    """A number, or several percentages (3x6, or 0.3, 0.5, 1), read as the workbook's cell is."""

    def __init__(self, column: Column, **kwargs: Any) -> None:
        self.column = column
        kwargs.setdefault("widget", forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "size": 10}))
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        """As people write it."""
        if isinstance(value, list | tuple):
            return ", ".join(figures.percent(pct).removesuffix(" %") for pct in value)
        return f"{value:g}" if isinstance(value, float) else value

    def clean(self, value: Any) -> Any:
        """The number, None where nothing was written; the settings, () where nothing was; or a sentence."""
        if not str(value if value is not None else "").strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return () if self.column.kind is Kind.PERCENTS else None
        return read_cell(self.column, str(value), None, None)


def read_cell(column: Column, words: str, unit: str | None, here: Here | None) -> Any:
    """Words as the workbook's reader takes them. Raises ValidationError."""
    today = here.today if here else date.max
    parsing = Parsing(column, unit, "us" if unit is None or here is None else here.units, today)
    try:
        return cell_value(RawCell(words, "s", "General"), parsing)
    except CellError as error:
        raise ValidationError(f"{error}.") from error


def _units(dimension: str) -> list[tuple[str, str]]:
    return [(figures.unit_of(dimension, units), "") for units in ("us", "metric")]


def _number(value: float) -> str:
    return f"{value:.6f}".rstrip("0").rstrip(".")


def write_flows(flows: Any, unit: str) -> str:
    """Ring flows: 60; 95; 125."""
    return "; ".join(_number(from_si(flow, unit)) for flow in flows)


def write_hose(legs: Any, unit: str) -> str:
    """Hose: 150 ft of 1.75 in; 50 ft of 2.5 in."""
    return "; ".join(f"{_number(from_si(leg.length_m, unit))} {unit} of {leg.diameter_in:g} in" for leg in legs)


def write_area(area_m2: Any, unit: str) -> str:
    """An area in its unit."""
    return _number(from_si(area_m2, unit))


class RateField(QuantityField):
    """A published rate in the unit it was published in, chosen beside it."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__("rate", choose_unit=True, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """The stored rate as it was read."""
        if isinstance(value, Rate):
            return Quantity(value.value.normalize(), "gpm/ft2" if value.unit == "gpm_ft2" else "L/min/m2")
        return value

    def clean(self, value: Any) -> Any:
        """A Rate, or a sentence."""
        read = super().clean(value)
        return None if read is None else Rate(read.value, "gpm_ft2" if read.unit == "gpm/ft2" else "lpm_m2")


def _offered(column: Column, more: Mapping[str, Any]) -> list[tuple[str, str]]:
    none = [] if more["required"] else [("", "not stated")]
    return [*none, *((word, word) for word in column.choices)]


def _read_field(column: Column, more: dict[str, Any]) -> forms.Field:
    return ReadField(column, **more)


def _percent_field(column: Column, more: dict[str, Any]) -> forms.Field:
    least = more.pop("least", 0 if column.zero else round(column.least * 100))
    return PercentField(least=least, greatest=round(column.most * 100), **more)


def _quantity_field(column: Column, more: dict[str, Any]) -> forms.Field:
    liters = more.pop("liters", False)
    assert column.dimension is not None
    scale = ML_PER_L if column.dimension.name == "volume" else 1
    bounds: dict[str, Any] = {"least": column.least * scale, "most": column.most * scale, "zero": column.zero}
    if liters:
        return LitersField(**bounds, **more)
    return QuantityField(column.dimension.name, **bounds, **more)


def _text_field(column: Column, more: dict[str, Any]) -> forms.Field:
    return forms.CharField(max_length=column.longest, **more)


def _choice_field(column: Column, more: dict[str, Any]) -> forms.Field:
    return forms.ChoiceField(choices=_offered(column, more), **more)


_DRAWN_AS: Final[Mapping[Kind, Callable[[Column, dict[str, Any]], forms.Field]]] = {
    Kind.TEXT: _text_field,
    Kind.CODE: _text_field,
    Kind.CHOICE: _choice_field,
    Kind.YES_NO: lambda _, more: forms.BooleanField(**more),
    Kind.QUANTITY: _quantity_field,
    Kind.PERCENT: _percent_field,
    Kind.PERCENTS: _read_field,
    Kind.NUMBER: _read_field,
    Kind.WHOLE: _read_field,
    Kind.DAY: lambda column, more: DateField(past=not column.future, **more),
    Kind.AREA: lambda column, more: CellField(column, write_area, **more),
    Kind.FLOWS: lambda column, more: CellField(column, write_flows, **more),
    Kind.HOSE: lambda column, more: CellField(column, write_hose, **more),
    Kind.RATE: lambda _, more: RateField(zero=False, **more),
}


def column(sheet: str, key: str, **changes: Any) -> Any:
    """A field made from a column of the workbook: its title, its sentence, its words and its bounds.

    liters: a volume that is kept in liters; anything else goes to the field.
    """
    found = BY_KEY[sheet].column(key)
    required = found.required and found.kind is not Kind.YES_NO
    more = {"label": found.title, "help_text": found.help, "required": required, **changes}
    return _DRAWN_AS[found.kind](found, more)


def whole(label: str, most: int, **more: Any) -> ReadField:
    """A whole number from 1, for what no workbook carries."""
    return ReadField(number(label, label, "", "1", whole=True, least=1, most=most), **{"label": label, **more})


class YesNoField(forms.ChoiceField):
    """Yes, no, or not stated: gives True, False or None."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        super().__init__(choices=[("", "not stated"), ("yes", "yes"), ("no", "no")], **kwargs)

    def prepare_value(self, value: Any) -> Any:
        """As it is chosen."""
        return {True: "yes", False: "no"}.get(value, value)

    def clean(self, value: Any) -> Any:
        """The answer, None where none was given."""
        return {"yes": True, "no": False}.get(str(super().clean(value)))


class SignedLengthField(QuantityField):
    """A length that may lie below: a nozzle under the pump."""

    def __init__(self, column: Column, **kwargs: Any) -> None:
        self.column = column
        self.here: Here | None = None
        super().__init__("length", **kwargs)

    def settle(self, here: Here | None) -> None:
        """Whose units."""
        super().settle(here)
        self.here = here

    def _read_signed(self, number: str, unit: str) -> Any:
        return read_cell(self.column, number, unit, self.here)

    def clean(self, value: Any) -> Any:
        """Meters, negative below; or a sentence."""
        number, unit = ([*value, "", ""] if isinstance(value, list | tuple) else ["", ""])[:2]
        if not str(number or "").strip():
            return None
        if unit not in dict(_units("length")):
            raise ValidationError(f"“{number}” came without its unit: open the form again and enter it once more.")
        return self._read_signed(str(number), str(unit))


class Own(_OneOf, OfHere):
    """One of the department's records. live: those that are offered; the one that is stored already stays offered."""

    def __init__(self, model: type[Model], live: Q | None = None, scope: Scope | None = None, **kwargs: Any) -> None:
        self.live = live or Q()
        self.scope: Scope = scope or (lambda here: rows(model, here))
        self.stored: Any = None
        kwargs.setdefault("empty_label", "choose")
        super().__init__(model._default_manager.none(), **kwargs)
        self.error_messages["invalid_choice"] = "What was read is not in the list: choose from the list."

    def settle(self, here: Here | None) -> None:
        """The department's own."""
        if here is not None:
            offered = self.live | Q(pk=self.stored.pk) if isinstance(self.stored, Model) else self.live
            self.queryset = self.scope(here).filter(offered).distinct()


class OwnSeveral(_SomeOf, OfHere):
    """Several of the department's records, ticked; gives a tuple."""

    def __init__(self, model: type[Model], live: Q | None = None, **kwargs: Any) -> None:
        self.model, self.live = model, live or Q()
        kwargs.setdefault("widget", forms.CheckboxSelectMultiple)
        super().__init__(model._default_manager.none(), **kwargs)
        for key in ("invalid_choice", "invalid_pk_value", "invalid_list"):
            self.error_messages[key] = "What was read is not in the list: choose from the list."

    def settle(self, here: Here | None) -> None:
        """The department's own."""
        if here is not None:
            self.queryset = rows(self.model, here).filter(self.live)

    def clean(self, value: Any) -> Any:
        """The records."""
        try:
            return tuple(super().clean(value))
        except OverflowError as error:  # a number that no column of the database holds
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice") from error


class RigField(forms.ChoiceField, OfHere):
    """A unit or a vehicle: gives the record itself. Posted as unit-3 or vehicle-4."""

    def __init__(self, **kwargs: Any) -> None:
        self.owners: dict[str, Unit | Vehicle] = {}
        super().__init__(**kwargs)

    def settle(self, here: Here | None) -> None:
        """The department's own, in use."""
        self.owners = {}  # of this form alone: Django copies a field shallowly, so the first dictionary is everybody's
        if here is None:
            return
        groups = []
        for side, model, title in (("unit", Unit, "Units (loose gear)"), ("vehicle", Vehicle, "Vehicles (built in)")):
            records: list[Any] = list(rows(cast("type[Model]", model), here).filter(retired_on__isnull=True))
            self.owners.update({f"{side}-{record.pk}": record for record in records})
            groups.append((title, [(f"{side}-{record.pk}", str(record)) for record in records]))
        self.choices = [("", "choose"), *groups]

    def prepare_value(self, value: Any) -> Any:
        """A record as it is posted."""
        return rig_key(value) if isinstance(value, Unit | Vehicle) else value

    def clean(self, value: Any) -> Any:
        """The unit or vehicle, or a sentence."""
        if value and value not in self.owners:
            raise ValidationError("What was read is not in the list: choose a unit or a vehicle.")
        chosen = super().clean(value)
        return self.owners.get(chosen)


def rig_key(owner: Unit | Vehicle) -> str:
    """How a unit or vehicle is named in an address and in a form."""
    return f"{'unit' if isinstance(owner, Unit) else 'vehicle'}-{owner.pk}"
