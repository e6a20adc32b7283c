"""Airport rescue and fire fighting by aircraft category: critical area, water, discharge. A region's pack.

The categories' table governs; the formula shows where it comes from and serves an aircraft of its own size.
"""

from typing import Final, Literal, NamedTuple

from readiness.engineering.steps import Numbers, Say

Level = Literal["A", "B", "C"]
RATES_LPM_M2: Final[dict[Level, float]] = {"A": 8.2, "B": 5.5, "C": 3.75}  # row A1
PRACTICAL: Final = 0.667  # row A3: of the theoretical area
MINUTES: Final = 1.0  # row A3: control within a minute
LEAST_LENGTH_M: Final = 24.0  # row A3 states the 30 m for aircraft of 24 m or more
_BESIDE_M: Final = 30.0
SECOND: Final = (0.0, 0.27, 0.30, 0.58, 0.75, 1.00, 1.29, 1.52, 1.70, 1.90)  # row A2: Q2 ÷ Q1, categories 1 to 10
_SOURCE: Final = "ICAO Doc 9137 part 1, through a course text"


class Row(NamedTuple):
    """A category's least water [L] and discharge of solution [L/min], as the table prints them."""

    water_l: float
    discharge_lpm: float


# Row A5: level B, Arrêté of 18 January 2007, annex I (France).
LEVEL_B: Final[dict[int, Row]] = {
    3: Row(1200, 900),
    4: Row(2400, 1800),
    5: Row(5400, 3000),
    6: Row(7900, 4000),
    7: Row(12100, 5300),
    8: Row(18200, 7200),
    9: Row(24300, 9000),
}


class CriticalArea(NamedTuple):
    """What an aircraft's size asks for. Areas [m²], water [L], discharge [L/min]."""

    theoretical_m2: float
    practical_m2: float
    first_l: float
    second_l: float
    total_l: float
    discharge_lpm: float


def second_share(category: int) -> float:
    """Q2 ÷ Q1 of a category. Source: row A2. Raises ``ValueError`` outside 1 to 10."""
    if not 1 <= category <= len(SECOND):
        raise ValueError(f"Category {category} was read: 1 to {len(SECOND)} are known.")
    return SECOND[category - 1]


def critical_area(length_m: float, fuselage_m: float, level: Level, category: int, say: Say = None) -> CriticalArea:
    """Water by the critical area: theoretical = L × (30 + W); practical = 0.667 of it; Q1 = practical × rate × 1 min.

    length_m: overall length L, 24 m or more; fuselage_m: width of the fuselage W [m]; level A, B or C of the foam.
    Q2 = Q1 × the category's share. Source: rows A1 to A4, ICAO Doc 9137 part 1 s 2.3.5, 2.4.3 to 2.4.10 through a
    course text. Shorter aircraft have less beside them, which was not read in a source: raises
    ``ValueError``.
    """
    if length_m < LEAST_LENGTH_M:
        raise ValueError(f"A length of {length_m:g} m was read: this relation is known from 24 m; use the table.")
    if fuselage_m <= 0:
        raise ValueError("A fuselage has a width above 0.")
    theoretical = length_m * (_BESIDE_M + fuselage_m)
    practical = PRACTICAL * theoretical
    discharge = practical * RATES_LPM_M2[level]
    first = discharge * MINUTES
    second = first * second_share(category)
    if say is not None:
        numbers: Numbers = (("L", length_m, "m"), ("W", fuselage_m, "m"))
        say("Theoretical critical area", "L × (30 m + W)", numbers, theoretical, "m²", _SOURCE)
        say("Practical", "0.667 × theoretical", (("area", theoretical, "m²"),), practical, "m²", _SOURCE)
        numbers = (("area", practical, "m²"), ("rate", RATES_LPM_M2[level], "L/min/m²"))
        say("Discharge", "practical × rate", numbers, discharge, "L/min", _SOURCE)
        say("Q1", "discharge × 1 min", (("discharge", discharge, "L/min"),), first, "L", _SOURCE)
        numbers = (("Q1", first, "L"), ("Q2 ÷ Q1", second_share(category) * 100, "%"))
        say("Q1 + Q2", "Q1 × (1 + Q2 ÷ Q1)", numbers, first + second, "L", _SOURCE)
    return CriticalArea(theoretical, practical, first, second, first + second, discharge)


def tabled(category: int) -> Row:
    """Level B's least water and discharge. Source: row A5. Raises ``ValueError`` for a category not in the table.

    The table governs: its category 4 discharges 1800 L/min where water ÷ (1 + Q2 ÷ Q1) is 1519, 15.6 % less, and an
    inspector holds the truck to what is printed.
    """
    if category not in LEVEL_B:
        raise ValueError(f"Category {category} was read: the table has {min(LEVEL_B)} to {max(LEVEL_B)}.")
    return LEVEL_B[category]


def discharge_by_formula_lpm(water_l: float, category: int) -> float:
    """Discharge that goes with so much water by the ratio = water ÷ (1 + Q2 ÷ Q1) ÷ 1 min [L/min]. Source: row A2."""
    return water_l / (1 + second_share(category)) / MINUTES
