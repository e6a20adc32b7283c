"""Fields hand over millilitres, SI, hundredths of a point, days and moments, whatever the reader prefers to read."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time
from decimal import Decimal
from uuid import UUID

import pytest
from django import forms
from django.core.exceptions import ValidationError
from django.utils.datastructures import MultiValueDict
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering.dates import GoodThrough
from readiness.engineering.quantities import Quantity
from readiness.engineering.units import from_si
from readiness.models import Department, Role
from readiness.web import figures
from readiness.web.access import Here
from readiness.web.forms import (
    DateField,
    EntryForm,
    Form,
    GoodThroughField,
    MomentField,
    PercentField,
    QuantityField,
)

PRESENT = datetime(2026, 6, 15, 12, 0, tzinfo=UTC)


def here(units: str = "us", zone: str = "UTC") -> Here:
    department = Department(name="Quay", time_zone=zone, day_starts_at=time(6, 0), units=units)
    return Here(None, None, (), department, Role.CHIEF, None, units, PRESENT, date(2026, 6, 15), date(2026, 6, 15))


class RefillForm(EntryForm):
    volume = QuantityField("volume", zero=False, most=113_562)
    flow = QuantityField("flow", required=False)
    rate = QuantityField("rate", required=False)
    setting = PercentField(required=False)
    day = DateField(required=False, past=True)
    due = DateField(required=False, coming=True)
    label = GoodThroughField(required=False)
    happened = MomentField(required=False)


def filled(**changes: str) -> dict[str, str]:
    entry = {"entry_id": "018f0000-0000-7000-8000-000000000001", "volume_number": "5", "volume_unit": "gal"}
    return {**entry, **changes}


def cleaned(*, present: Here | None = None, **changes: str) -> dict:
    form = RefillForm(filled(**changes), here=present or here())
    assert form.is_valid(), form.errors
    return form.cleaned_data


def sentence(name: str, *, present: Here | None = None, **changes: str) -> str:
    form = RefillForm(filled(**changes), here=present or here())
    assert not form.is_valid()
    assert set(form.errors) == {name}, form.errors
    return form.errors[name][0]


# Expected: 1 US gal = 3.785411784 L, 1 imp gal = 4.54609 L, 1 US qt = a quarter of a gallon, all by definition.
@pytest.mark.parametrize("preference", ["us", "metric"])
@pytest.mark.parametrize(
    ("number", "unit", "ml"),
    [
        ("5", "gal", 18_927),
        ("18.927", "L", 18_927),
        ("18927", "ml", 18_927),
        ("2", "qt", 1_893),
        ("5", "imp gal", 22_730),
        ("5 L", "gal", 5_000),
        ("1,5", "gal", None),
    ],
)
def test_a_volume_is_read_in_the_unit_it_was_rendered_in(preference, number, unit, ml):
    posted = {"volume_number": number, "volume_unit": unit, "present": here(preference)}
    if ml is None:
        assert "a comma stands only between thousands" in sentence("volume", **posted)
    else:
        assert cleaned(**posted)["volume"] == ml


# Rendered, the preference is switched, then posted: every dimension, both ways.
@pytest.mark.parametrize(("rendered", "switched"), [("us", "metric"), ("metric", "us")])
@pytest.mark.parametrize("dimension", ["volume", "flow", "area", "length", "bore", "pressure", "temperature", "mass"])
def test_a_switch_of_the_preference_between_rendering_and_posting_changes_nothing(dimension, rendered, switched):
    class One(Form):
        amount = QuantityField(dimension)

    page = str(One(here=here(rendered), initial={}))
    unit = re.search(r'type="hidden" name="amount_unit" value="([^"]+)"', page)[1]
    posted = {"amount_number": "12", "amount_unit": unit}
    read = [One(posted, here=here(units)) for units in (rendered, switched)]
    assert all(form.is_valid() for form in read)
    assert read[0].cleaned_data == read[1].cleaned_data
    again = str(read[1])
    assert f'name="amount_unit" value="{unit}"' in again, "shown again in the unit it was posted in"
    assert f'<span class="unit">{figures.written(unit)}</span>' in again
    assert unit == figures.unit_of(dimension, rendered) != figures.unit_of(dimension, switched)


@pytest.mark.parametrize("unit", ["", "furlong", "psi", "gpm"])
def test_a_quantity_without_its_unit_is_not_guessed(unit):
    assert "open the form again" in sentence("volume", volume_unit=unit)


def test_a_quantity_without_any_second_field_is_not_guessed():
    entry = filled()
    del entry["volume_unit"]
    form = RefillForm(entry, here=here())
    assert "came with no unit" in form.errors["volume"][0]


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("", "Nothing was read: Volume is needed."),
        ("-5", "a volume is never below zero"),
        ("0", "“0 gal” was read: more than 0 belongs here."),
        ("five", "does not begin with a number"),
        ("31", "“31 gal” was read: at most 30 gal belongs here."),  # 30 × 3785.411784 = 113,562.35 ml
        ("5 psi", "a volume belongs here"),
    ],
)
def test_a_volume_that_cannot_be_is_refused_with_what_would_be_right(number, said):
    assert said in sentence("volume", volume_number=number)


def test_si_and_published_rates():
    data = cleaned(flow_number="95", flow_unit="gpm", rate_number="0.10", rate_unit="gpm/ft2")
    assert data["flow"] == pytest.approx(359.61411948, rel=1e-12)  # 95 × 3.785411784
    assert data["rate"] == Quantity(Decimal("0.10"), "gpm/ft2"), "a rate keeps its published unit"


@pytest.mark.parametrize("unit", ["gal", "L", "qt", "imp gal", "ml"])
@pytest.mark.parametrize("ml", [0, 1, 18_927, 10_000, 113_562, 999_999])
def test_what_is_stored_is_rendered_so_that_it_comes_back_the_same(unit, ml):
    class One(Form):
        amount = QuantityField("volume", unit=unit)

    number = re.search(
        r'name="amount_number"[^>]* value="([^"]+)"|value="([^"]+)"[^>]*name="amount_number"',
        str(One(initial={"amount": ml})),
    ).group(1)
    form = One({"amount_number": number, "amount_unit": unit})
    assert form.is_valid()
    assert form.cleaned_data["amount"] == ml


def test_a_volume_that_was_not_touched_has_not_changed():
    class One(Form):
        amount = QuantityField("volume")

    same = One({"amount_number": "5", "amount_unit": "gal"}, initial={"amount": 18_927})
    other = One({"amount_number": "5", "amount_unit": "L"}, initial={"amount": 18_927})
    assert (same.has_changed(), other.has_changed()) == (False, True)


def test_a_unit_may_be_chosen():
    class One(Form):
        amount = QuantityField("volume", choose_unit=True)

    page = str(One(here=here("metric")))
    assert re.search(r'<option value="L" selected', page)
    assert 'aria-label="unit"' in page


@pytest.mark.parametrize(("text", "pct"), [("3", 300), ("3 %", 300), ("0.5", 50), ("", None)])
def test_a_percentage_is_hundredths_of_a_point(text, pct):
    assert cleaned(setting=text)["setting"] == pct


@pytest.mark.parametrize("text", ["0.03", "300", "3/6", "3x6", "three", "-3"])
def test_a_percentage_that_cannot_be_is_refused(text):
    assert "was read" in sentence("setting", setting=text)


def test_a_percentage_is_rendered_as_it_is_typed():
    assert 'value="0.5"' in str(RefillForm(initial={"setting": 50})["setting"])


@pytest.mark.parametrize(
    ("text", "day"), [("2026-06-15", date(2026, 6, 15)), ("2026-05-01", date(2026, 5, 1)), ("", None)]
)
def test_a_day(text, day):
    assert cleaned(day=text)["day"] == day


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("day", "2026-06-16", "“2026-06-16” was read: today (2026-06-15) or a day before belongs here."),
        ("due", "2026-06-14", "“2026-06-14” was read: today (2026-06-15) or a day after belongs here."),
        ("day", "06/07/2026", "may be day/month or month/day"),
        ("day", "2026-05", "the day is needed here"),
        ("day", "soon", "is not a date"),
    ],
)
def test_a_day_that_cannot_be_is_refused(field, text, said):
    assert said in sentence(field, **{field: text})


def test_a_labels_date_keeps_its_precision():
    assert cleaned(label="Mar 2028")["label"] == GoodThrough(date(2028, 3, 31), "month")


# America/Chicago is UTC-6, in summer UTC-5; clocks went forward on 2026-03-08 from 02:00 to 03:00.
@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2026-06-15T06:59", datetime(2026, 6, 15, 11, 59, tzinfo=UTC)),
        ("2026-01-15 06:00", datetime(2026, 1, 15, 12, 0, tzinfo=UTC)),
        ("", None),
    ],
)
def test_a_moment_is_on_the_departments_wall(text, at):
    assert cleaned(present=here(zone="America/Chicago"), happened=text)["happened"] == at


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026-06-15T07:30", "which lies after now (2026-06-15 07:00)"),
        ("2026-03-08T02:30", "clocks were put forward"),
        ("half past six", "write the day and the time"),
    ],
)
def test_a_moment_that_cannot_be_is_refused(text, said):
    assert said in sentence("happened", present=here(zone="America/Chicago"), happened=text)


def test_the_entrys_id_is_minted_when_the_form_is_drawn_and_kept_when_it_comes_back():
    first, second = (re.search(r'name="entry_id" value="([^"]+)"', str(RefillForm()))[1] for _ in range(2))
    assert first != second
    assert UUID(first).version == 7
    wrong = RefillForm(filled(volume_number="x", entry_id=first), here=here())
    assert f'name="entry_id" value="{first}"' in str(wrong), "the second try is the same entry"
    assert cleaned(entry_id=first)["entry_id"] == UUID(first)
    assert "came without its entry number" in sentence("entry_id", entry_id="")


def test_the_summary_names_every_fault_and_leads_to_its_field():
    form = RefillForm(filled(volume_number="x", setting="300"), here=here())
    form.refuse("Engine 1 is out of service.")
    page = str(form)
    assert "3 things have to be put right; nothing was saved" in page
    assert '<a href="#id_volume_0">Volume</a>' in page
    assert re.search(r'<input[^>]*id="id_volume_0"', page), "the link leads somewhere"
    assert "Engine 1 is out of service." in page
    assert 'role="alert"' in page


def test_labels_help_and_errors_are_tied_to_their_fields():
    page = str(RefillForm(filled(volume_number="x", label="x"), here=here()))
    assert '<label for="id_volume_0">' in page
    assert 'aria-describedby="id_label_helptext id_label_error"' in page
    assert 'id="id_label_helptext"' in page
    assert 'id="id_label_error"' in page
    assert 'aria-invalid="true"' in page


def test_no_field_of_ours_hands_over_a_string_for_a_quantity():
    data = cleaned(flow_number="95", flow_unit="gpm", setting="3", day="2026-06-15", happened="2026-06-15 06:00")
    assert [type(data[name]) for name in ("volume", "flow", "setting", "day", "happened")] == [
        int,
        float,
        int,
        date,
        datetime,
    ]


def test_what_a_person_typed_is_never_markup():
    page = str(RefillForm(MultiValueDict({"volume_number": ['"><script>'], "volume_unit": ["<b>"]}), here=here()))
    assert "<script>" not in page
    assert "<b>" not in page


def test_a_choice_names_what_is_needed():
    class One(Form):
        station = forms.ChoiceField(choices=[("1", "Quayside")])

    assert One({}).errors["station"] == ["Nothing was read: Station is needed."]


@given(
    st.sampled_from([("length", "ft"), ("length", "in"), ("pressure", "psi"), ("flow", "gpm"), ("length", "m")]),
    st.floats(1, 5000),
    st.sampled_from(["most", "least"]),
)
def test_the_bound_that_a_field_names_is_admitted_by_it(measure, bound, side):
    """“7.874016 in was read: at most 7.874016 in” would be no sentence: 0.2 m is 7.8740157… in, rounded up."""
    dimension, unit = measure
    field = QuantityField(dimension, **{side: bound})
    beyond = f"{from_si(bound, unit) * (1.5 if side == 'most' else 0.5):.6f}"
    with pytest.raises(ValidationError) as refused:
        field.clean([beyond, unit])
    words = f"at {side} "
    named = refused.value.message.split(words)[1].split()[0]
    value = field.clean([named, unit])
    assert value == pytest.approx(bound, rel=1e-3)
    assert value <= bound if side == "most" else value >= bound
