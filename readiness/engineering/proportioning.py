"""What a proportioner really makes: its allowed band, its limit of feed, and what its plate means by flow."""

from datetime import date, timedelta
from typing import Final

from readiness.engineering.percentages import WHOLE
from readiness.engineering.records import LineTest, Policy, RatingBasis

# Row P6, from memory and editable by a department that enters its own test result as passed or failed.
_VEHICLE_BANDS: Final = {300: (280, 350), 600: (550, 700)}


def band(pct: int, *, vehicle: bool = False) -> tuple[int, int]:
    """(least, greatest) percentage that passes a proportioning test listed at ``pct`` [1/100 point].

    p to the lesser of 1.3 p and p + 1 point (row P1; the two meet at 3.33 %). An airport vehicle at 3 or 6 % has its
    own (row P6, from memory): a test of 2.9 % passes on a crash truck and fails on an engine.

    >>> band(300), band(600), band(300, vehicle=True)
    ((300, 390), (600, 700), (280, 350))
    """
    if vehicle and pct in _VEHICLE_BANDS:
        return _VEHICLE_BANDS[pct]
    return pct, min(pct * 13 // 10, pct + 100)


def fault_of(test: LineTest, *, vehicle: bool = False) -> str:
    """What a test failed by: "test_lean", "test_rich", "test_failed" as recorded, or "" where it passed.

    Asked without a date: a failed test stays failed when it grows old.
    """
    least, greatest = band(test.setting, vehicle=vehicle)
    if test.measured < least:
        return "test_lean"
    if test.measured > greatest:
        return "test_rich"
    return "" if test.passed else "test_failed"


def good_through(test: LineTest, policy: Policy) -> date:
    """The last day on which a test is in date."""
    return test.good_through or test.on + timedelta(days=policy.test_interval_d)


def made_pct(max_feed_lpm: float, flow_lpm: float) -> float:
    """Greatest percentage a feed can make in so much solution = feed ÷ flow [1/100 point]. Source: row B2.

    >>> round(made_pct(5.0, 190.0))
    263
    """
    return max_feed_lpm * WHOLE / flow_lpm


def feed_suffices(max_feed_lpm: float, flow_lpm: float, pct: int) -> bool:
    """Whether p × flow is within the greatest concentrate flow, but for what floats leave behind."""
    return flow_lpm * pct <= max_feed_lpm * WHOLE * (1 + 1e-9)


def solution_flow_lpm(rated_lpm: float, basis: RatingBasis, pct: int) -> float:
    """Flow of solution through an eductor at ``pct``, from what its plate states [L/min]. Source: row H9.

    "any": solution at any setting. "six": solution at 6 %, the water constant, so that it flows less at 3 %.
    "water": water, so that the solution is more.

    >>> round(solution_flow_lpm(95.0, "six", 300), 2)
    92.06
    """
    if basis == "any":
        return rated_lpm
    water = rated_lpm * (WHOLE - 600) / WHOLE if basis == "six" else rated_lpm
    return water * WHOLE / (WHOLE - pct)
