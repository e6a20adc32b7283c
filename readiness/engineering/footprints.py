"""The ground that a spill covers: a shape that is known first, and only then a volume spread out on a surface.

A volume gives a range, since the depth tables disagree; the greater area is planned for.
"""

from math import pi, sqrt
from typing import Final, Literal, NamedTuple

from readiness.engineering.units import to_si

Surface = Literal["concrete", "sand", "gravel", "farmland", "overgrown"]
SURFACES: Final[dict[Surface, str]] = {
    "concrete": "coated concrete or another hard, flat surface",
    "sand": "flat sand, concrete, stones",
    "gravel": "normal sand, gravel",
    "farmland": "farmland",
    "overgrown": "rough, overgrown ground",
}

_REGULATORY_M2_L: Final = 0.1  # row S1: 1 cm deep, 100 m² a m³
_THIN_M2_L: Final = 1.4  # row S2, below 95 L
_THICK_M2_L: Final = 0.36  # row S2, from 95 L
_STEP_L: Final = 95.0
_DEPTH_MM: Final[dict[Surface, float]] = {  # row S3; coated concrete is as flat as its first line
    "concrete": 5.0,
    "sand": 5.0,
    "gravel": 10.0,
    "farmland": 20.0,
    "overgrown": 25.0,
}


class Spread(NamedTuple):
    """What one relation makes of a volume. ``confirmed`` False: the relation is from memory."""

    area_m2: float
    formula: str
    source: str
    confirmed: bool


def circle_m2(diameter_m: float) -> float:
    """A tank, or a pool about as long as it is wide: π d² ÷ 4 [m²]. Raises ``ValueError`` unless above 0."""
    if diameter_m <= 0:
        raise ValueError("A diameter is above 0.")
    return pi * diameter_m**2 / 4


def diameter_of_m(area_m2: float) -> float:
    """The diameter of a round pool of this area [m]; inverts ``circle_m2``."""
    return sqrt(4 * area_m2 / pi)


def regulatory_m2(volume_l: float) -> float:
    """Area of an uncontained liquid pool at the regulatory depth of 1 cm = volume ÷ 1 cm [m²].

    volume_l [L]. Source: row S1, US EPA page on 40 CFR 68.25. 1000 US gal gives 378.5 m².

    >>> regulatory_m2(1000.0)
    100.0
    """
    return volume_l * _REGULATORY_M2_L


def coated_concrete_m2(volume_l: float) -> float:
    """Area of an unconfined spill on coated concrete: 1.4 m² a litre below 95 L, 0.36 m² a litre from 95 L [m²].

    As printed the relation steps DOWN at 95 L (133 to 34.2 m²): more liquid would cover less ground. We take the
    greater of both branches, so that 95 to 369 L cover 133 m²: a spill does not shrink by growing. Source: row S2,
    SFPE Handbook, Gottuk and White, from memory, unconfirmed.

    >>> coated_concrete_m2(50.0), coated_concrete_m2(95.0), coated_concrete_m2(1000.0)
    (70.0, 133.0, 360.0)
    """
    return max(_THIN_M2_L * min(volume_l, _STEP_L), _THICK_M2_L * volume_l if volume_l >= _STEP_L else 0.0)


def by_depth_m2(volume_l: float, surface: Surface) -> float:
    """Area = volume ÷ depth that stands on this surface [m²]: 5, 10, 20 or 25 mm.

    Source: row S3, TNO Yellow Book CPR 14E, from memory, unconfirmed.

    >>> by_depth_m2(1000.0, "gravel")
    100.0
    """
    return volume_l / _DEPTH_MM[surface]


def spreads(volume_l: float, surface: Surface) -> tuple[Spread, ...]:
    """Every relation that holds for the surface, so that a reader sees how far they differ.

    Raises ``ValueError`` unless the volume is above 0.
    """
    if volume_l <= 0:
        raise ValueError("A spilled volume is above 0.")
    found = [
        Spread(regulatory_m2(volume_l), "volume ÷ 1 cm", "US EPA on 40 CFR 68.25", True),
        Spread(
            by_depth_m2(volume_l, surface),
            f"volume ÷ {_DEPTH_MM[surface]:g} mm",
            "TNO Yellow Book CPR 14E, from memory",
            False,
        ),
    ]
    if surface == "concrete":
        found.append(
            Spread(
                coated_concrete_m2(volume_l),
                "1.4 m²/L below 95 L, 0.36 m²/L from 95 L; the greater, since the printed relation steps down at 95 L",
                "SFPE Handbook, Gottuk and White, from memory",
                False,
            )
        )
    return tuple(found)


def planned_m2(found: tuple[Spread, ...]) -> float:
    """The area to plan for: the greater where relations disagree."""
    return max(each.area_m2 for each in found)


# What is lost at once where no better figure is known. Common practice, no source; a planner enters the real ones.
SADDLE_TANKS: Final = 2
SADDLE_TANK_L: Final = to_si(150, "gal")
COMPARTMENT_L: Final = to_si(3000, "gal")
