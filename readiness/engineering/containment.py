"""What runs off an attack and where it stands: solution, cooling water and product inside a dike."""

from typing import NamedTuple

from readiness.engineering.steps import Numbers, Say


class Standing(NamedTuple):
    """What a dike is asked to hold. Depths [m]; ``over_m`` above the wall, 0 where it holds."""

    runoff_l: float  # solution + cooling
    total_l: float  # and the product
    added_m: float  # by solution and cooling
    depth_m: float
    over_m: float
    over_l: float
    holds: bool


def depth_m(volume_l: float, area_m2: float) -> float:
    """Depth at which a volume stands on a level floor = volume ÷ area [m].

    volume_l [L]; area_m2, the floor less what stands on it [m²]. Source: arithmetic; 9,000 gal on 3,000 ft² stand
    4.8 in (trade notes). Raises ``ValueError`` unless the area is above 0.

    >>> depth_m(1000.0, 10.0)
    0.1
    """
    if area_m2 <= 0:
        raise ValueError("The floor of a dike is above 0.")
    return volume_l / area_m2 / 1000.0


def volume_at_l(depth: float, area_m2: float) -> float:
    """Volume that stands so deep = depth × area [L]; inverts ``depth_m``. depth [m]; area_m2 [m²]."""
    return depth * area_m2 * 1000.0


def standing(
    area_m2: float, *, product_l: float, solution_l: float, cooling_l: float = 0.0, wall_m: float, say: Say = None
) -> Standing:
    """Whether a dike holds product, solution and cooling water, and how deep they stand.

    depth = (product + solution + cooling) ÷ area, against the wall. area_m2 [m²]; volumes [L]; wall_m [m]. Foam is
    counted as the liquid it drains to; freeboard is the department's: take it off the wall. Source: arithmetic (county
    worked by hand, S6: 14 in of product and 15,000 gal on 2,000 ft² stand 26.03 in). Raises ``ValueError``.
    """
    if min(product_l, solution_l, cooling_l, wall_m) < 0:
        raise ValueError("Volumes and the wall are 0 or more.")
    runoff = solution_l + cooling_l
    added = depth_m(runoff, area_m2)
    stands = depth_m(product_l + runoff, area_m2)
    holds = stands <= wall_m * (1 + 1e-9)
    over = 0.0 if holds else stands - wall_m
    if say is not None:
        numbers: Numbers = (("solution", solution_l, "L"), ("cooling", cooling_l, "L"))
        say("To contain beside the product", "solution + cooling", numbers, runoff, "L", "arithmetic")
        numbers = (("runoff", runoff, "L"), ("area", area_m2, "m²"))
        say("It adds", "runoff ÷ area", numbers, added, "m", "arithmetic")
        numbers = (("product", product_l, "L"), ("runoff", runoff, "L"), ("area", area_m2, "m²"))
        say("All stands at", "(product + runoff) ÷ area", numbers, stands, "m", "arithmetic")
    return Standing(runoff, product_l + runoff, added, stands, over, volume_at_l(over, area_m2), holds)


def cooling_l(flow_lpm: float, minutes: float) -> float:
    """Cooling water = flow × minutes [L]. What part of it boils away is not counted. Source: arithmetic.

    >>> cooling_l(500.0, 30.0)
    15000.0
    """
    if flow_lpm < 0 or minutes < 0:
        raise ValueError("A flow and its minutes are 0 or more.")
    return flow_lpm * minutes
