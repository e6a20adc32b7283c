"""Unit constants against pint (exact fractions) and scipy, and the rounding that people read."""

from decimal import Decimal
from fractions import Fraction

import pint
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from readiness.engineering import units
from readiness.engineering.units import UnitError

PAIL_ML = 18_927  # 5 US gal = 18,927.05892 ml by 231 cubic inches a gallon
NINE_PAILS_ML = 9 * PAIL_ML  # 170,343 ml: data of the worked county, row 1
FORTY_FIVE_GAL_ML = Fraction("170343.53028")  # 45 × 3785.411784

PINT = pint.UnitRegistry(non_int_type=Fraction)
# The product's spelling → the same unit as pint names it (pint has no gpm, lpm or "imp gal").
IN_PINT = {
    "gal": "gallon",
    "imp gal": "imperial_gallon",
    "qt": "quart",
    "L": "liter",
    "ml": "milliliter",
    "m3": "meter ** 3",
    "gpm": "gallon / minute",
    "imp gpm": "imperial_gallon / minute",
    "L/min": "liter / minute",
    "L/s": "liter / second",
    "m3/h": "meter ** 3 / hour",
    "ft2": "foot ** 2",
    "m2": "meter ** 2",
    "gpm/ft2": "gallon / minute / foot ** 2",
    "L/min/m2": "liter / minute / meter ** 2",
    "psi": "pound_force / inch ** 2",
    "kPa": "kilopascal",
    "bar": "bar",
    "ft": "foot",
    "in": "inch",
    "m": "meter",
    "cm": "centimeter",
    "mm": "millimeter",
    "lb": "pound",
    "kg": "kilogram",
    "g": "gram",
    "s": "second",
    "min": "minute",
    "h": "hour",
}


def test_every_unit_but_temperature_is_checked_against_pint():
    assert set(IN_PINT) == {unit.symbol for unit in units.UNITS if unit.dimension != "temperature"}


@pytest.mark.parametrize("symbol", IN_PINT)
def test_factor_is_exactly_that_of_pint(symbol):
    unit = units.unit_named(symbol)
    by_pint = PINT.Quantity(Fraction(1), IN_PINT[symbol]).to(IN_PINT[units.SI_UNIT[unit.dimension]])

    assert unit.factor == by_pint.magnitude


@pytest.mark.parametrize(
    ("constant", "by_scipy"),
    [
        (units.L_PER_US_GAL, scipy.constants.gallon_US * 1000),
        (units.L_PER_IMP_GAL, scipy.constants.gallon_imp * 1000),
        (units.M_PER_FT, scipy.constants.foot),
        (units.M_PER_IN, scipy.constants.inch),
        (units.KPA_PER_PSI, scipy.constants.psi / 1000),
        (units.KPA_PER_BAR, scipy.constants.bar / 1000),
        (units.KG_PER_LB, scipy.constants.pound),
        (units.M2_PER_FT2, scipy.constants.foot**2),
        (units.ML_PER_US_GAL, scipy.constants.gallon_US * 1e6),
        (units.ML_PER_IMP_GAL, scipy.constants.gallon_imp * 1e6),
        (units.LPM_M2_PER_GPM_FT2, scipy.constants.gallon_US * 1000 / scipy.constants.foot**2),
    ],
)
def test_constant_is_that_of_scipy(constant, by_scipy):
    assert constant == pytest.approx(by_scipy, rel=4e-16 * 4)


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "expected", "rel"),
    [
        # check values 1 to 4 of the reference list, by pint in fractions
        (1, "gal", "L", 473176473 / 125000000, 0),
        (1, "imp gal", "L", 4.54609, 0),
        (1, "imp gal", "gal", 1.2009499255, 1e-10),
        (1, "psi", "kPa", 6.894757293168361, 0),
        (1, "bar", "psi", 14.503773773, 1e-10),
        (1, "gpm/ft2", "L/min/m2", 40.745833333, 1e-10),
        (Decimal("4.1"), "L/min/m2", "gpm/ft2", 0.1006237857, 1e-9),
        # 1 gal/min = 3.785411784 L/min; 95 times that by hand
        (95, "gpm", "L/min", 359.61411948, 1e-12),
        # water freezes and boils: 32 °F and 212 °F by definition; −40 is the same on both
        (32, "F", "C", 0.0, 0),
        (212, "F", "C", 100.0, 0),
        (-40, "C", "F", -40.0, 0),
        (60, "F", "C", 140 / 9, 1e-15),  # (60 − 32) × 5 ÷ 9
    ],
)
def test_conversion(value, from_unit, to_unit, expected, rel):
    there = units.from_si(units.to_si(value, from_unit), to_unit)

    assert there == pytest.approx(expected, rel=rel or 4e-16, abs=0)


def test_one_gallon_on_one_square_foot_stands_231_by_144_inches_deep():
    # check value 5: 231 cubic inches on 144 square inches
    deep_m = units.to_si(1, "gal") / 1000 / units.to_si(1, "ft2")

    assert units.from_si(deep_m, "in") == pytest.approx(231 / 144, rel=1e-15)


def test_textbook_need_of_2000_square_feet_is_90_gallons():
    # check value 6: 2,000 ft² × 0.10 × 15 min × 3 % = 90 gal = 340.68706056 L
    need_l = units.to_si(2000, "ft2") * units.to_si(Decimal("0.10"), "gpm/ft2") * 15 * 0.03

    assert need_l == pytest.approx(340.68706056, rel=1e-12)
    assert units.from_si(need_l, "gal") == pytest.approx(90, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "ml"),
    [
        (5, "gal", PAIL_ML),  # 5 × 3785.411784 = 18,927.06
        ("5", "US gal", PAIL_ML),
        ("5", "imp gal", 22_730),  # 5 × 4546.09 = 22,730.45
        (45, "gal", 170_344),  # 170,343.53
        (19, "L", 19_000),
        ("0.0005", "L", 0),  # half a millilitre to the even one
        ("0.0015", "L", 2),
        ("0.0025", "L", 2),
        (0.1, "L", 100),
        (0.0025, "L", 2),  # a float is read as it is written: the binary one is a hair above the half and gives 3
        (-5, "gal", -PAIL_ML),
        (1, "m3", 1_000_000),
    ],
)
def test_whole_millilitres(value, unit, ml):
    result = units.to_ml(Decimal(value) if isinstance(value, str) else value, unit)

    assert result == ml
    assert type(result) is int


@given(st.integers(0, 10_000_000_000), st.sampled_from(units.symbols_of("volume")))
def test_millilitres_come_back_through_any_unit(ml, unit):
    assert units.to_ml(units.from_ml(ml, unit), unit) == ml


@given(st.floats(-1e6, 1e6), st.sampled_from(units.UNITS))
def test_conversion_and_back(value, unit):
    there = units.to_si(value, unit.symbol)

    assert units.from_si(there, unit.symbol) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_no_spelling_means_two_units():
    spellings = [spelling for unit in units.UNITS for spelling in (unit.symbol, *unit.spellings)]

    for unit in units.UNITS:
        for spelling in (unit.symbol, *unit.spellings):
            assert units.unit_named(spelling) is unit
    assert len(spellings) > 150


@pytest.mark.parametrize(
    ("spelling", "symbol"),
    [
        ("GAL", "gal"),
        ("U.S. gal.", "gal"),
        ("Imp. Gal", "imp gal"),
        ("ft²", "ft2"),
        ("sq. ft.", "ft2"),
        ("m³", "m3"),
        ("gpm/ft²", "gpm/ft2"),
        ("gpm_ft2", "gpm/ft2"),
        ("lpm_m2", "L/min/m2"),
        ("L / min / m²", "L/min/m2"),
        ("l/min·m²", "L/min/m2"),
        ("mL", "ml"),
        ("°F", "F"),
        ('"', "in"),
        ("'", "ft"),
    ],
)
def test_spellings_people_use(spelling, symbol):
    assert units.unit_named(spelling).symbol == symbol


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: units.to_si(1, "tons"), ["“tons”", "kg"]),
        (lambda: units.to_ml(1, "gpm"), ["gpm measures flow", "gal"]),
        (lambda: units.to_ml(float("nan"), "gal"), ["nan"]),
        (lambda: units.to_ml(Decimal("Infinity"), "gal"), ["Infinity"]),
    ],
)
def test_refused_with_what_was_read_and_what_would_be_right(ask, words):
    with pytest.raises(UnitError) as refusal:
        ask()
    for word in words:
        assert word in str(refusal.value)


# Enough, and what is shown


def test_nine_pails_are_45_gallons():
    # 45.00 gal = 170,343.53 ml against 9 × 18,927 = 170,343 ml (design, section 4)
    assert units.enough(NINE_PAILS_ML, FORTY_FIVE_GAL_ML, containers=9)
    assert units.pails_for(FORTY_FIVE_GAL_ML, PAIL_ML) == 9
    assert units.pails_for(units.to_ml(45, "gal"), PAIL_ML) == 9
    usable = units.shown(units.from_ml(NINE_PAILS_ML, "gal"), unit="gal", places=1, toward="down", containers=9)
    assert str(usable) == "45.0"
    assert str(units.shown(units.from_ml(170_344, "gal"), unit="gal", places=1, toward="up")) == "45.0"


@pytest.mark.parametrize(
    ("have_ml", "need_ml", "containers", "answer"),
    [
        (1_000, 1_000, 0, True),
        (1_000, 1_001, 0, True),  # 1 ml
        (1_000, 1_001.5, 0, False),
        (1_000, 1_003, 2, True),  # 1 ml a container and 1
        (1_000, 1_004, 2, False),
        (0, 1, 0, True),
        (0, 2, 0, False),
    ],
)
def test_enough_has_a_tolerance_of_one_ml_a_container_and_one(have_ml, need_ml, containers, answer):
    assert units.enough(have_ml, need_ml, containers) is answer


def test_a_count_of_containers_below_zero_is_refused():
    with pytest.raises(ValueError, match="-1 containers"):
        units.enough(1, 1, -1)


@pytest.mark.parametrize(
    ("short_gal", "pails"),
    [("12.51", 3), ("15.5", 4), ("25", 5), ("25.1", 6), ("0", 0), ("-3", 0), ("0.1", 1)],
)
def test_pails_to_buy(short_gal, pails):
    # 12.51 gal = 3 pails: worked county, site S7; the others: next multiple of five gallons
    assert units.pails_for(Decimal(short_gal) * Decimal("3785.411784"), PAIL_ML) == pails


def test_a_pail_that_holds_nothing_is_refused():
    with pytest.raises(ValueError, match="0 ml"):
        units.pails_for(100, 0)


@given(st.integers(-10, 10_000_000), st.integers(1, 1_000_000))
def test_pails_for_is_the_least_number_that_is_enough(short_ml, pail_ml):
    pails = units.pails_for(short_ml, pail_ml)

    assert short_ml <= 0 or units.enough(pails * pail_ml, short_ml, pails)
    assert pails == 0 or not units.enough((pails - 1) * pail_ml, short_ml, pails - 1)


@pytest.mark.parametrize(
    ("value", "unit", "places", "toward", "text"),
    [
        (44.175, "gal", 1, "up", "44.2"),  # a need
        (44.175, "gal", 1, "down", "44.1"),  # a usable volume
        (44.0, "gal", 1, "up", "44.0"),
        (15.2838, "min", 2, "down", "15.28"),  # worked county, row 1
        (949.99, "ft2", 0, "down", "949"),
        (950.0000000001, "ft2", 0, "up", "950"),  # what floats leave behind is not a square foot
        (949.9999999999, "ft2", 0, "down", "950"),
        (101.867, None, 1, "down", "101.8"),
        (2.5, None, 0, "nearest", "2"),
        (0.0001, "gal", 1, "up", "0.0"),  # less than the tolerance
        (-0.05, "gal", 1, "down", "-0.1"),
        (0, "gal", 0, "up", "0"),
        (1000, "gal", 0, "up", "1000"),
    ],
)
def test_shown(value, unit, places, toward, text):
    assert str(units.shown(value, unit=unit, places=places, toward=toward)) == text


def test_nothing_is_never_shown_as_less_than_none():
    # the tolerance of three containers, 4 ml or 0.0011 gal, is more than the last decimal
    assert str(units.shown(0, unit="gal", places=4, toward="up", containers=3)) == "0.0000"


VOLUMES_ML = st.integers(0, 50_000_000)
UNITS_SHOWN = st.sampled_from(["gal", "L", "imp gal"])


@given(VOLUMES_ML, UNITS_SHOWN, st.integers(0, 3), st.integers(0, 40))
def test_need_is_never_shown_low_nor_usable_high_beyond_the_tolerance(ml, unit, places, containers):
    ml_a_unit = units.unit_named(unit).factor * 1000
    value = units.from_ml(ml, unit)

    need = units.shown(value, unit=unit, places=places, toward="up")
    usable = units.shown(value, unit=unit, places=places, toward="down", containers=containers)

    step_ml = ml_a_unit / 10**places
    assert ml - 2 <= Fraction(need) * ml_a_unit < ml + step_ml
    assert ml - step_ml < Fraction(usable) * ml_a_unit <= ml + containers + 2


@given(VOLUMES_ML, st.integers(-60, 60), UNITS_SHOWN, st.integers(0, 2), st.integers(0, 40))
def test_a_pair_never_contradicts_its_answer(need_ml, off_ml, unit, places, containers):
    have_ml = max(0, need_ml + off_ml)

    usable, need = units.shown_pair(have_ml, need_ml, unit=unit, places=places, containers=containers)

    assert (usable >= need) is units.enough(have_ml, need_ml, containers)


def test_a_pair_shows_more_decimals_only_where_it_must():
    # 45.0 gal against 44.175: one decimal is enough. 44.95 of 44.95 would read "44.9 of 45.0, covered".
    easy = units.shown_pair(
        NINE_PAILS_ML, Fraction("44.175") * Fraction("3785.411784"), unit="gal", places=1, containers=9
    )
    equal = Fraction("44.95") * Fraction("3785.411784")

    assert [str(each) for each in easy] == ["45.0", "44.2"]
    assert [str(each) for each in units.shown_pair(equal, equal, unit="gal", places=1, containers=1)] == [
        "44.95",
        "44.95",
    ]
