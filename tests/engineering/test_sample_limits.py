"""Laboratory values against limits: rows L1 and L2 with the limits worked by hand; the laboratory's word first."""

import pytest

from readiness.engineering.sample_limits import L1, L2, OFFSHORE_YEARLY, SHIPPING_FIRST_TEST_YEARS, passes, weigh


@pytest.mark.parametrize(
    ("quality", "measured", "within"),
    [
        # declared density 1.020: ±5 % is 0.969 to 1.071; after ageing ±10 % is 0.918 to 1.122
        ("density", 0.969, True),
        ("density", 0.968, False),
        ("density", 1.071, True),
        ("density", 1.072, False),
        ("density_aged", 0.918, True),
        ("density_aged", 0.917, False),
        ("density_aged", 1.122, True),
        ("density_aged", 1.123, False),
        # declared viscosity 2000 mPa·s: 1900 to 2100
        ("viscosity", 1900, True),
        ("viscosity", 1899, False),
        ("viscosity", 2101, False),
        ("ph", 7.0, True),
        ("ph", 6.9, False),
        ("ph", 8.5, True),
        ("ph", 8.6, False),
        ("sediment", 0.09, True),
        ("sediment", 0.10, False),  # below 0.10, not at most
    ],
)
def test_l1(quality, measured, within):
    """L1. IRAM 3515 through a public page: ±5 %, pH 7.0 to 8.5, sediment below 0.10 mL in 100 mL, aged ±10 %."""
    found = weigh({quality: measured}, {"density": 1.020, "viscosity": 2000.0}, L1)
    assert [each.within for each in found] == [within]


@pytest.mark.parametrize(
    ("quality", "measured", "within"),
    [("ph", 6.0, True), ("ph", 5.9, False), ("ph", 9.6, False), ("sediment", 0.25, True), ("sediment", 0.26, False)],
)
def test_l2(quality, measured, within):
    """L2. IMO MSC.1/Circ.1312, from memory: pH 6.0 to 9.5, sediment at most 0.25 % by volume."""
    assert [each.within for each in weigh({quality: measured}, {}, L2)] == [within]
    assert SHIPPING_FIRST_TEST_YEARS == 3


def test_l3_the_offshore_record_is_fields():
    """L3. 30 CFR 250.861: specific gravity, pH, water dilution, solids."""
    assert OFFSHORE_YEARLY == ("specific gravity", "pH", "water dilution", "solids")


def test_what_is_declared_nowhere_is_shown_and_not_judged():
    (density,) = weigh({"density": 1.1}, {})
    assert (density.within, density.low, density.high) == (None, None, None)


@pytest.mark.parametrize(
    ("laboratory", "values", "answer"),
    [
        (True, {"ph": 5.0}, True),
        (False, {"ph": 7.5}, False),
        (None, {"ph": 5.0}, False),
        (None, {"ph": 7.5}, None),
        (None, {}, None),
    ],
)
def test_the_laboratory_goes_first_and_values_alone_prove_no_pass(laboratory, values, answer):
    assert passes(laboratory, weigh(values, {})) is answer


@pytest.mark.parametrize("values", [{"ph": 14.1}, {"density": -1.0}])
def test_values_that_cannot_be(values):
    with pytest.raises(ValueError, match="cannot be"):
        weigh(values, {})
