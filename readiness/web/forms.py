"""Forms that hand over the domain's types: millilitres, SI, hundredths of a point, days and moments; never strings.

Every quantity is posted with the unit it was rendered in, in a field beside it. What the person prefers to read is
not asked when a number is read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from math import isclose
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.forms.renderers import TemplatesSetting
from django.forms.utils import pretty_name

from readiness.actions.drafts import new_id
from readiness.engineering.dates import FIRST_YEAR, LAST_YEAR, DateError, GoodThrough, parse_good_through
from readiness.engineering.percentages import GREATEST_SETTING, PercentError, parse_percent, percent_text
from readiness.engineering.photos import MOST_BYTES
from readiness.engineering.quantities import Quantity, QuantityError, parse_quantity
from readiness.engineering.units import from_ml, from_si, symbols_of, to_ml, to_si
from readiness.web.access import Here
from readiness.web.answer_rules import Rule, rules_text
from readiness.web.figures import unit_of, written
from readiness.web.preferences import Units

_MOST_DECIMALS = 6
_OFFERED: dict[str, tuple[str, ...]] = {  # where a form lets the person choose the unit
    "volume": ("gal", "L", "qt", "imp gal"),
    "flow": ("gpm", "L/min"),
    "area": ("ft2", "m2"),
    "length": ("ft", "m", "in", "mm"),
    "pressure": ("psi", "kPa", "bar"),
    "temperature": ("F", "C"),
    "mass": ("lb", "kg"),
    "rate": ("gpm/ft2", "L/min/m2"),
    "time": ("min", "h", "s"),
}


class Renderer(TemplatesSetting):
    """Draws every form and field with our own templates."""

    form_template_name = "forms/form.html"
    field_template_name = "forms/field.html"


class Form(forms.Form):
    """The base of every form: knows the department's clock and the reader's units, and lists its errors on top.

    `here` gives today, now, the time zone and the units in which fields are rendered.
    """

    saves = True  # whether the summary of errors adds that nothing was saved
    use_required_attribute = False  # the browser's own words would stand in the way of ours

    def __init__(self, *args: Any, here: Here | None = None, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        self.here = here
        if here and here.queued and self.is_bound:
            here.queued.forms.append(self)
        for name, field in self.fields.items():
            if field.error_messages.get("required") == forms.Field.default_error_messages["required"]:
                label = field.label or pretty_name(name)
                field.error_messages["required"] = f"Nothing was read: {label} is needed."
            if isinstance(field, OfHere):
                field.settle(here)

    def refuse(self, sentence: object, field: str | None = None) -> None:
        """Put an action's refusal where the person looks for it: above the form, or at the field that it names."""
        self.add_error(field, str(sentence))

    def lose_photo(self, files: Mapping[str, Any]) -> None:
        """Say of a page that is drawn anew that its picture has to be chosen again; a device's queue keeps its own."""
        queued = self.here is not None and self.here.queued is not None
        if files.get("photo") and "photo" not in self.errors and not queued:
            self.refuse("Choose the photo again: a browser does not hold it while something else is mended.", "photo")

    @property
    def faults(self) -> list[tuple[str, str, str]]:
        """(id of the field or "", its label, sentence) for the summary above the form."""
        found = [("", "", str(said)) for said in self.non_field_errors()]
        for name in self.errors:
            if name in self.fields:
                bound = self[name]
                found += [(bound.id_for_label or bound.auto_id, str(bound.label), str(said)) for said in bound.errors]
        return found


class EntryForm(Form):
    """A form whose posting makes an entry: its id is minted when it is drawn, so that a second tap posts once.

    Its page tells a device what would be refused: what is needed stands at each field as data-needed, and what one
    answer asks of others in its rules. Without signal the device says so in the same words.
    """

    entry_id = forms.UUIDField(
        widget=forms.HiddenInput,
        initial=new_id,
        error_messages={
            "required": "The form came without its entry number: open it again and enter it once more.",
            "invalid": "The form came with a spoilt entry number: open it again and enter it once more.",
        },
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if field.required and not field.widget.is_hidden:
                field.widget.attrs["data-needed"] = str(field.error_messages["required"])

    def rules(self) -> Iterable[Rule]:
        """What its answers ask of each other."""
        return ()

    def rules_text(self) -> str:
        """The same as its page carries it."""
        return rules_text(self.rules())

    def keep_to_rules(self) -> None:
        """Refuse what the rules refuse; a field that could not be read is not called empty."""
        for rule in self.rules():
            answer = str(self.cleaned_data.get(rule.of) or "")
            held = [name for name in (*rule.given, *rule.lacking) if self.cleaned_data.get(name) not in (None, "")]
            settled = any(self.cleaned_data.get(name) == value for name, value in rule.unless)
            unread = any(name in self.errors for name in rule.lacking)
            if rule.asks(answer) and not settled and not unread and bool(held) == bool(rule.given):
                read = self.said(self.cleaned_data[held[0]]) if held else ""
                said = rule.sentence.replace("{answer}", answer or "nothing").replace("{read}", read)
                self.refuse(said, rule.at)

    def said(self, value: Any) -> str:
        """What was read, as a rule's sentence says it."""
        return str(value)


class OfHere:
    """A field that depends on who is here: units as rendered, or what day it is."""

    def settle(self, here: Here | None) -> None:
        """Take what is needed from `here`."""
        raise NotImplementedError


class QuantityWidget(forms.MultiWidget):
    """A number, and beside it the unit it is meant in: printed and posted hidden, or chosen from a list."""

    template_name = "forms/quantity.html"
    use_fieldset = False

    def __init__(self, dimension: str, choose_unit: bool) -> None:
        self.dimension = dimension
        self.unit = ""
        number = forms.TextInput({"inputmode": "decimal", "autocomplete": "off", "size": 8})
        offered = [(each, written(each)) for each in _OFFERED[dimension]]
        unit: forms.Widget = forms.HiddenInput()
        if choose_unit:
            unit = forms.Select({"aria-label": "unit"}, choices=offered)
        super().__init__({"number": number, "unit": unit})

    def decompress(self, value: Any) -> list[Any]:
        """The stored quantity in the unit of the field, exactly enough to be read back as the same."""
        if isinstance(value, Quantity):
            return [f"{value.value:f}", value.unit]
        if value is None:
            return ["", self.unit]
        return [_number_text(value, self.dimension, self.unit), self.unit]

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Adds the printed unit: the one that stands in the hidden field, whatever the reader prefers by now."""
        context = super().get_context(name, value, attrs)
        unit = context["widget"]["subwidgets"][1]["value"]
        unit = unit[0] if isinstance(unit, list) and unit else unit
        context["widget"]["printed_unit"] = written(str(unit or self.unit))
        return context

    def id_for_label(self, id_: str) -> str:
        """The label belongs to the number."""
        return f"{id_}_0" if id_ else id_


def _number_text(value: float, dimension: str, unit: str) -> str:
    """The fewest decimals that are read back as the same millilitres or the same SI value."""
    exact = from_ml(value, unit) if dimension == "volume" else from_si(value, unit)
    for places in range(_MOST_DECIMALS + 1):
        text = f"{exact:.{places}f}"
        if dimension == "volume":
            same = to_ml(float(text), unit) == value
        else:
            same = isclose(to_si(float(text), unit), value, rel_tol=1e-9, abs_tol=1e-12)
        if same:
            break
    return text


def _bound_text(bound: float, dimension: str, unit: str, rounding: str) -> str:
    """A bound as it may be typed and is then admitted: rounded to its own side where decimals do not end."""
    text = _number_text(bound, dimension, unit)
    inside = _inside(text, dimension, unit)
    if inside <= bound if rounding == ROUND_FLOOR else inside >= bound:
        return text
    step, exact = Decimal(1).scaleb(1 - _MOST_DECIMALS), Decimal(repr(from_si(bound, unit)))
    nearer = exact - step if rounding == ROUND_FLOOR else exact + step
    return f"{nearer.quantize(step, rounding):f}"


def _inside(text: str, dimension: str, unit: str) -> float:
    return to_ml(Decimal(text), unit) if dimension == "volume" else to_si(Decimal(text), unit)


class Brim(NamedTuple):
    """What something holds when full, the most that may be read in it, and the sentence for more than that.

    The action refuses it; the page tells a device, for a time without signal. {read} and {full} stand for volumes.
    """

    full_ml: int
    most_ml: int
    sentence: str


class QuantityField(forms.MultiValueField, OfHere):
    """A quantity with its unit. Gives whole millilitres for a volume, SI for all else, as floats.

    dimension: "volume", "flow", "area", "length", "bore" (across a hose), "pressure", "temperature", "mass", "rate",
    "time"; as_written: give the `Quantity` itself, for what keeps its published unit (rates always do);
    choose_unit: a list of units beside the number in place of one printed unit; unit: a fixed unit, whatever the
    reader prefers; zero: whether 0 is an answer; least, most: bounds in ml or SI; brim: what a volume is read in.
    A person may also type the unit behind the number: "5 L" in a field of gallons is five liters.
    """

    widget: Any

    def __init__(
        self,
        dimension: str,
        *,
        as_written: bool = False,
        choose_unit: bool = False,
        unit: str = "",
        zero: bool = True,
        least: float | None = None,
        most: float | None = None,
        brim: Brim | None = None,
        **kwargs: Any,
    ) -> None:
        self.read_as = dimension
        self.brim = brim
        self.dimension = "length" if dimension == "bore" else dimension
        self.as_written = as_written or dimension == "rate"
        self.fixed_unit, self.zero, self.least, self.most = unit, zero, least, most
        parts = (forms.CharField(required=False), forms.CharField(required=False))
        kwargs.setdefault("widget", QuantityWidget(self.dimension, choose_unit))
        super().__init__(parts, require_all_fields=False, **kwargs)
        self.settle(None)

    def settle(self, here: Here | None) -> None:
        """Render in the reader's units, unless one is fixed."""
        units: Units = here.units if here else "us"
        self.widget.unit = self.fixed_unit or unit_of(self.read_as, units)
        self.widget.widgets[1].attrs.setdefault("aria-label", "unit")
        if self.brim:
            full, most = (_number_text(ml, "volume", self.widget.unit) for ml in self.brim[:2])
            told = {"data-full": full, "data-most": most, "data-above": self.brim.sentence}
            self.widget.widgets[0].attrs.update(told)

    def clean(self, value: Any) -> Any:
        """The quantity, or the sentence that says what was read and what would be right."""
        number, unit = ([*value, None, None] if isinstance(value, list | tuple) else [None, None])[:2]
        if not str(number or "").strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        return self._handed_over(self._read(str(number), str(unit or "")))

    def _read(self, number: str, unit: str) -> Quantity:
        if unit not in symbols_of(self.dimension):
            said = f"“{unit}” as its unit" if unit else "no unit"
            raise ValidationError(f"“{number}” came with {said}: open the form again and enter it once more.")
        try:
            return parse_quantity(number, dimension=self.dimension, default_unit=unit)
        except QuantityError as error:
            raise ValidationError(str(error)) from error

    def _handed_over(self, read: Quantity) -> Any:
        value = read.ml if self.dimension == "volume" else read.si
        if value == 0 and not self.zero:
            raise ValidationError(f"“{read}” was read: more than 0 belongs here.")
        if self.least is not None and value < self.least:
            least = self._bound(self.least, read.unit, ROUND_CEILING)
            raise ValidationError(f"“{read}” was read: at least {least} belongs here.")
        if self.most is not None and value > self.most:
            most = self._bound(self.most, read.unit, ROUND_FLOOR)
            raise ValidationError(f"“{read}” was read: at most {most} belongs here.")
        return read if self.as_written else value

    def _bound(self, bound: float, unit: str, rounding: str) -> str:
        return f"{_bound_text(bound, self.dimension, unit, rounding)} {written(unit)}"

    def compress(self, data_list: Sequence[Any]) -> Any:
        """Not used: `clean` reads both parts together."""
        raise NotImplementedError

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Whether the number or its unit differs from what was rendered."""
        before = self.widget.decompress(initial)
        return [str(each or "") for each in before] != [str(each or "") for each in (data or ["", self.widget.unit])]


class PercentField(forms.CharField):
    """A percentage of concentrate: gives whole hundredths of a point (3 % = 300).

    least, greatest [1/100 point]: what the field admits; the default is a concentrate setting.
    """

    def __init__(self, *, least: int = 1, greatest: int = GREATEST_SETTING, **kwargs: Any) -> None:
        self.least, self.greatest = least, greatest
        kwargs.setdefault("widget", PercentInput({"inputmode": "decimal", "autocomplete": "off", "size": 6}))
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        """Hundredths of a point as people write them, without the sign that stands behind the field."""
        return percent_text(value).removesuffix(" %") if isinstance(value, int) else value

    def clean(self, value: Any) -> Any:
        """Hundredths of a point, or a sentence."""
        if not str(value or "").strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        try:
            return parse_percent(value, least=self.least, greatest=self.greatest)
        except PercentError as error:
            raise ValidationError(str(error)) from error


class PhotoField(forms.FileField):
    """A picture from the phone's camera: gives its bytes. What it is the action looks at."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.FileInput({"accept": "image/jpeg,image/png,image/webp", "capture": "environment"})
        empty = "An empty file was read: take the photo again."
        super().__init__(required=False, widget=widget, error_messages={"empty": empty}, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> bytes | None:
        """The bytes, one more than may be kept at most: the action then says that it is too large."""
        file: Any = super().clean(data, initial)
        return file.read(MOST_BYTES + 1) if file else None


class PercentInput(forms.TextInput):
    """A number with its percent sign printed behind it."""

    template_name = "forms/percent.html"


class GoodThroughField(forms.CharField):
    """A label's date, to the day, month or year: gives a GoodThrough."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "As the label says it: 2028-07-30, Jul 2028 or 2028.")
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        """As it is read back."""
        return str(value) if isinstance(value, GoodThrough) else value

    def clean(self, value: Any) -> Any:
        """A GoodThrough, None where nothing was written, or a sentence."""
        if not str(value or "").strip():
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return None
        return _label(value)


def _label(value: object) -> GoodThrough:
    try:
        return parse_good_through(value)
    except DateError as error:
        raise ValidationError(str(error)) from error


class DateField(forms.DateField, OfHere):
    """A day. past: what has happened, so today or before; coming: today or after."""

    widget = forms.DateInput({"type": "date"}, format="%Y-%m-%d")

    def __init__(self, *, past: bool = False, coming: bool = False, **kwargs: Any) -> None:
        self.past, self.coming = past, coming
        self.today: date | None = None
        super().__init__(**kwargs)

    def settle(self, here: Here | None) -> None:
        """Today, on the department's wall calendar."""
        self.today = here.today if here else None
        if self.today and self.past:
            self.widget.attrs["max"] = self.today.isoformat()
        if self.today and self.coming:
            self.widget.attrs["min"] = self.today.isoformat()

    def to_python(self, value: Any) -> date | None:
        """The day, or a sentence."""
        if value in self.empty_values:
            return None
        label = _label(value)
        if label.precision != "day":
            raise ValidationError(f"“{label}” was read: the day is needed here; write it like 2028-07-30.")
        self._refuse_wrong_side(label.day)
        return label.day

    def _refuse_wrong_side(self, day: date) -> None:
        if self.today is None:
            return
        if self.past and day > self.today:
            raise ValidationError(f"“{day}” was read: today ({self.today}) or a day before belongs here.")
        if self.coming and day < self.today:
            raise ValidationError(f"“{day}” was read: today ({self.today}) or a day after belongs here.")


class MomentField(forms.CharField, OfHere):
    """When something happened, on the clock of the department's wall: gives an aware datetime in UTC.

    Left empty it is now; of what a device kept in its queue, when it was entered there. A moment after now is refused
    (two minutes are let pass: clocks differ).
    """

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateTimeInput({"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"))
        super().__init__(**kwargs)
        self.here: Here | None = None

    def settle(self, here: Here | None) -> None:
        """The department's time zone and its now."""
        self.here = here

    def prepare_value(self, value: Any) -> Any:
        """A moment in the department's time."""
        if isinstance(value, datetime) and self.here:
            return f"{value.astimezone(self._zone()):%Y-%m-%dT%H:%M}"
        return value

    def clean(self, value: Any) -> Any:
        """The moment, None where nothing was written, or a sentence."""
        text = str(value or "").strip()
        if not text:
            if self.required:
                raise ValidationError(self.error_messages["required"], code="required")
            return self.here.queued.happened_at if self.here and self.here.queued else None
        try:
            local = datetime.fromisoformat(text)
        except ValueError as error:
            raise ValidationError(f"“{text}” was read: write the day and the time like 2026-06-15 06:00.") from error
        return self._in_utc(local, text)

    def _zone(self) -> ZoneInfo:
        return ZoneInfo(self.here.department.time_zone if self.here else "UTC")

    def _in_utc(self, local: datetime, text: str) -> datetime:
        if not FIRST_YEAR <= local.year <= LAST_YEAR:
            raise ValidationError(f"“{text}” was read: a year from {FIRST_YEAR} to {LAST_YEAR} belongs here.")
        at = local if local.tzinfo else local.replace(tzinfo=self._zone())
        in_utc = at.astimezone(UTC)
        if not local.tzinfo and in_utc.astimezone(self._zone()).replace(tzinfo=None) != local:
            raise ValidationError(f"“{text}” was read: clocks were put forward and that time was left out; check it.")
        if self.here and in_utc > self.here.now + timedelta(minutes=2):
            now = f"{self.here.now.astimezone(self._zone()):%Y-%m-%d %H:%M}"
            raise ValidationError(f"“{text}” was read, which lies after now ({now}): what has happened belongs here.")
        return in_utc
