"""Quantities as people write them. Expected values are what the words say, or hand arithmetic beside them."""

from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering import units
from readiness.engineering.quantities import Quantity, QuantityError, parse_quantity


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("5 gal", "5", "gal"),
        ("5gal.", "5", "gal"),
        (" 5.0  US gal ", "5.0", "gal"),
        ("5 imp gal", "5", "imp gal"),
        ("5 imperial gallons", "5", "imp gal"),
        ("19 L", "19", "L"),
        ("19 litres", "19", "L"),
        ("2 qt", "2", "qt"),
        ("95 gpm", "95", "gpm"),
        ("360 L/min", "360", "L/min"),
        ("360 lpm", "360", "L/min"),
        ("0.10 gpm/ft2", "0.10", "gpm/ft2"),
        (".10 gpm/ft²", "0.10", "gpm/ft2"),
        ("4.1 L/min/m2", "4.1", "L/min/m2"),
        ("4.1 L/min/m²", "4.1", "L/min/m2"),
        ("3,000 ft2", "3000", "ft2"),
        ("3,000 sq ft", "3000", "ft2"),
        ("1,234,567.5 ml", "1234567.5", "ml"),
        ("3\u202f000 ft²", "3000", "ft2"),
        ("280 m²", "280", "m2"),
        ("100 psi", "100", "psi"),
        ("7 bar", "7", "bar"),
        ("690 kPa", "690", "kPa"),
        ("150 ft", "150", "ft"),
        ("150'", "150", "ft"),
        ("60 F", "60", "F"),
        ("60 °F", "60", "F"),
        ("-20 C", "-20", "C"),
        ("−20 °C", "-20", "C"),
        ("1 3/4 in", "1.75", "in"),
        ("1-3/4 in", "1.75", "in"),
        ("1¾ in", "1.75", "in"),
        ("15/16 in", "0.9375", "in"),
        ("½ in", "0.5", "in"),
        ('2.5"', "2.5", "in"),
        ("500 lb", "500", "lb"),
        ("15 min", "15", "min"),
        ("0 gal", "0", "gal"),
        ("+5 gal", "5", "gal"),
    ],
)
def test_read_as_written(text, value, unit):
    assert parse_quantity(text) == Quantity(Decimal(value), unit)


@pytest.mark.parametrize("read", ["5", 5, 5.0, Decimal(5), " 5 ", "5."])
def test_a_bare_number_takes_the_unit_of_its_field(read):
    assert parse_quantity(read, default_unit="gal").ml == 18_927  # 5 × 3785.411784 ml


def test_a_unit_that_is_written_wins_over_the_field():
    assert parse_quantity("19 L", default_unit="gal") == Quantity(Decimal(19), "L")


def test_in_si_and_in_words():
    quantity = parse_quantity("100 psi")

    assert quantity.si == 689.4757293168361  # 100 × 6.894757293168361 kPa (scipy.constants.psi)
    assert quantity.dimension == "pressure"
    assert str(quantity) == "100 psi"


@pytest.mark.parametrize(
    ("read", "asked", "words"),
    [
        ("5", {"dimension": "volume"}, ["“5” was read without a unit", "5 gal or 19 L"]),
        (5.5, {"dimension": "flow"}, ["“5.5” was read without a unit", "95 gpm"]),
        ("", {"dimension": "volume"}, ["Nothing was read", "5 gal"]),
        ("   ", {}, ["Nothing was read"]),
        (None, {"dimension": "area"}, ["Nothing was read", "900 ft2"]),
        (True, {"default_unit": "gal"}, ["“yes” was read"]),
        ("full", {"default_unit": "gal"}, ["“full”", "does not begin with a number"]),
        ("gal", {"default_unit": "gal"}, ["does not begin with a number"]),
        ("about 5 gal", {}, ["does not begin with a number"]),
        ("1.5 tons", {"dimension": "volume"}, ["“tons” is not a unit", "volume are gal, imp gal, qt, L, ml, m3"]),
        ("95 gal", {"dimension": "flow"}, ["which is a volume", "a flow belongs here", "gpm, imp gpm, L/min"]),
        ("5 psi", {"default_unit": "gal"}, ["which is a pressure", "a volume belongs here"]),
        ("-5 gal", {}, ["“-5 gal” was read", "never below zero"]),
        ("–5 gal", {}, ["never below zero"]),
        (-3, {"default_unit": "gal"}, ["never below zero"]),
        ("-1/2 in", {}, ["never below zero"]),
        ("1,5 L", {}, ["comma", "1.5 with a point"]),
        ("1.500,5 L", {}, ["do not make one number"]),
        ("1,50,000 gal", {}, ["do not make one number"]),
        ("1.2.3 gal", {}, ["do not make one number"]),
        ("5-6 gal", {}, ["not one number"]),
        ("1 500 gal", {}, ["not one number"]),
        ("3/6/2026", {"default_unit": "gal"}, ["not one number"]),
        ("3/6 gal", {}, ["a fraction is one of a hose or nozzle size"]),
        ("7/4 in", {}, ["a fraction is one of a hose or nozzle size"]),
        ("1/0 in", {}, ["a fraction is one of a hose or nozzle size"]),
        ("1e3 gal", {}, ["“e3 gal” is not a unit"]),
        ("9" * 100, {"default_unit": "gal"}, ["too long"]),
        pytest.param(10**5000, {"default_unit": "gal"}, ["more than 30 figures"], id="a bomb of figures"),
        (float("nan"), {"default_unit": "gal"}, ["“nan” was read", "no number"]),
        (float("inf"), {"default_unit": "gal"}, ["“inf” was read"]),
        (Decimal("NaN"), {"default_unit": "gal"}, ["no number"]),
        ("nan", {"default_unit": "gal"}, ["does not begin with a number"]),
        ("999,999,999 gal", {}, ["more than 10,000,000 L"]),
        ("5000 psi", {}, ["more than 10,000 kPa"]),  # 34,474 kPa
        ("300 gpm/ft2", {}, ["more than 40 L/min/m2", "0.10 to 0.60 gpm/ft2"]),
        ("-300 F", {}, ["no place on earth"]),
        (date(2026, 3, 6), {"default_unit": "gal"}, ["A date was read (6 March 2026)"]),
        (datetime(2026, 3, 6, 0, 0), {"default_unit": "gal"}, ["A date was read"]),  # noqa: DTZ001 (a cell has no zone)
        ("=A1+5", {"default_unit": "gal"}, ["does not begin with a number"]),
        ("٥ gal", {}, ["does not begin with a number"]),
    ],
)
def test_refused_with_a_sentence(read, asked, words):
    with pytest.raises(QuantityError) as refusal:
        parse_quantity(read, **asked)

    sentence = str(refusal.value)
    assert sentence.endswith(".")
    for word in words:
        assert word in sentence


def test_zero_point_one_from_a_cell_is_one_tenth():
    assert parse_quantity(0.1, default_unit="gal").value == Decimal("0.1")
    assert parse_quantity(1e-05, default_unit="gal").value == Decimal("0.00001")


ANYTHING = st.one_of(
    st.text(max_size=30),
    st.text(alphabet="0123456789.,/-+ %xgalinftpsiLm²\"'", max_size=14),
    st.floats(),
    st.integers(),
    st.decimals(),
    st.dates(),
    st.datetimes(),
    st.booleans(),
    st.none(),
)


@given(ANYTHING, st.sampled_from([None, "gal", "psi", "F"]))
def test_whatever_is_read_gives_a_quantity_or_a_sentence(read, default_unit):
    quantity, sentence = None, ""
    try:
        quantity = parse_quantity(read, default_unit=default_unit)
    except QuantityError as refusal:
        sentence = str(refusal)

    if quantity is None:
        assert "was read" in sentence
    else:
        assert quantity.value.is_finite()
        assert units.unit_named(quantity.unit).symbol == quantity.unit


@given(st.decimals(0, 10_000, places=3), st.sampled_from([unit.symbol for unit in units.UNITS]))
def test_what_is_written_is_read_back(value, unit):
    quantity = Quantity(value, unit)
    if quantity.si > 40:  # the least limit, that of a rate
        return
    if quantity.dimension == "rate" and 0 < quantity.si < 0.5:  # refused: foam is put on at more
        return
    assert parse_quantity(str(quantity)) == quantity


@pytest.mark.parametrize("text", ["0.10 L/min/m2", "0.24 lpm/m2", "0.010 gpm/ft2"])
def test_a_rate_in_the_other_unit_is_refused(text):
    """0.10 L/min/m² is a fortieth of 0.10 gpm/ft²: so would be the need. Row M1 has the least published, 0.6."""
    with pytest.raises(QuantityError, match="foam is put on at more"):
        parse_quantity(text, dimension="rate")


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("4.1 gpm/ft2", "write 0.41 gpm/ft2 or 4.1 L/min/m2 if that was meant."),  # 4.1 × 40.75 = 167 L/min/m²
        ("1.0 gpm/ft2", "write 0.1 gpm/ft2 or 1.0 L/min/m2 if that was meant."),
        ("8.2 gpm/ft2", "write 8.2 L/min/m2 if that was meant."),  # 0.82 gpm/ft² is no usual rate either
        ("65 L/min/m2", "write 6.5 L/min/m2 if that was meant."),
        ("300 gpm/ft2", "(4.1 to 24 L/min/m2)."),
    ],
)
def test_a_rate_that_no_foam_is_put_on_at_asks_what_was_meant(text, meant):
    """The greatest published here is 15 L/min/m² (row R5); 40 is 0.98 gpm/ft²."""
    with pytest.raises(QuantityError) as refused:
        parse_quantity(text, dimension="rate")
    assert str(refused.value).startswith(f"“{text}” was read, which is more than 40 L/min/m2: rates usually run from")
    assert str(refused.value).endswith(meant)


@pytest.mark.parametrize("text", ["0.60 gpm/ft2", "0.9 gpm/ft2", "24 L/min/m2", "40 L/min/m2"])
def test_a_rate_above_the_usual_may_be_a_listings(text):
    assert str(parse_quantity(text, dimension="rate")) == text


def test_published_rates_are_read():
    """Rows M1, R1, A1, R5."""
    for text in ("0.6 L/min/m2", "4.1 L/min/m2", "0.10 gpm/ft2", "8.2 L/min/m2", "15 L/min/m2"):
        assert parse_quantity(text, dimension="rate").si > 0.5
    with pytest.raises(QuantityError, match=r"write 0\.10 gpm/ft2 if that was meant"):
        parse_quantity("0.10 L/min/m2", dimension="rate")
