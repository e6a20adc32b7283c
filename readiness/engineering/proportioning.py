"""What a proportioner really makes: its allowed band, its feed, what its plate means by flow, and what tests say."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Final, Literal

from readiness.engineering.percentages import WHOLE, percent_text, solution_percent
from readiness.engineering.records import LineTest, Policy, RatingBasis

Instrument = Literal["refractometer", "conductivity"]
Outcome = Literal["passed", "failed", "too near to tell"]
WORD_OF_INSTRUMENT: Final[dict[Instrument, str]] = {
    "refractometer": "refractometer",
    "conductivity": "conductivity meter",
}

# Whether an airport vehicle's proportioner: no, yes (row P6, from memory), or yes by a department's own bands.
Airport = bool | Mapping[int, tuple[int, int]]
_VEHICLE_BANDS: Final = Policy().vehicle_bands


def band(pct: int, *, vehicle: Airport = False) -> tuple[int, int]:
    """(least, greatest) percentage that passes a proportioning test listed at ``pct`` [1/100 point].

    p to the lesser of 1.3 p and p + 1 point (row P1; the two meet at 3.33 %). An airport vehicle at 3 or 6 % has its
    own (row P6, from memory): a test of 2.9 % passes on a crash truck and fails on an engine.

    >>> band(300), band(600), band(300, vehicle=True)
    ((300, 390), (600, 700), (280, 350))
    """
    own = _VEHICLE_BANDS if vehicle is True else vehicle or {}
    return own[pct] if pct in own else _standard_band(pct)


def _standard_band(pct: int) -> tuple[int, int]:
    return pct, min(pct * 13 // 10, pct + 100)


def fault_of(test: LineTest, *, vehicle: Airport = False) -> str:
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


# Row P4 [1/100 point]: what an instrument tells apart.
INSTRUMENT_TELLS: Final[dict[Instrument, float]] = {"refractometer": 30.0, "conductivity": 5.0}


def cannot_tell(instrument: Instrument, pct: int, *, vehicle: Airport = False) -> str:
    """The sentence that refuses an instrument whose ± is as wide as half the band, or "".

    A refractometer (±0.3 point) never tells a pass from a fail on a 1 % line, whose band is 0.3 point wide in all.
    Source: rows P1, P4, P6.
    """
    least, greatest = band(pct, vehicle=vehicle)
    tells = INSTRUMENT_TELLS[instrument]
    if 2 * tells < greatest - least:
        return ""
    return (
        f"A {WORD_OF_INSTRUMENT[instrument]} is good to ±{tells / 100:g} point, and what passes lies between "
        f"{percent_text(least)} and {percent_text(greatest)}: it cannot tell a pass from a fail. Use a finer one."
    )


def outcome(low: float, high: float, pct: int, *, vehicle: Airport = False) -> Outcome:
    """What an interval of the measured percentage [1/100 point] says against the band: all in, all out, or neither.

    "too near to tell": a limit of the band lies within the interval. Source: row P1; the decision rule with a guard
    band on either side is JCGM 106:2012, 8.3 (from memory).
    """
    least, greatest = band(pct, vehicle=vehicle)
    if least <= low * (1 + 1e-12) and high <= greatest * (1 + 1e-12):
        return "passed"
    return "failed" if high < least or low > greatest else "too near to tell"


def drawn_pct(volume_l: float, seconds: float, flow_lpm: float) -> float:
    """Percentage of solution by a draw test: so much concentrate in so many seconds at a known flow [1/100 point].

    concentrate flow = 60 × volume ÷ seconds [L/min]; its share of the solution's flow. volume_l [L]; seconds [s];
    flow_lpm, of solution [L/min]. Valid while the flow stands. Source: trade notes, seconds per gallon = 60 ÷
    (gpm × p): 95 gpm at 3 % 21.1 s. Raises ``ValueError``.

    >>> round(drawn_pct(1.0, 60 / (95 * 0.03), 95.0))
    300
    """
    if min(volume_l, seconds, flow_lpm) <= 0:
        raise ValueError("A draw test needs a volume, a time and a flow above 0.")
    return made_pct(60.0 * volume_l / seconds, flow_lpm)


def draw_seconds(volume_l: float, pct: float, flow_lpm: float) -> float:
    """Seconds in which a line at ``pct`` draws ``volume_l``: 60 × volume ÷ (flow × p) [s]; inverts ``drawn_pct``."""
    if min(volume_l, pct, flow_lpm) <= 0:
        raise ValueError("A draw test needs a volume, a percentage and a flow above 0.")
    return 60.0 * volume_l * WHOLE / (flow_lpm * pct)


def metered_pct(concentrate_lpm: float, water_lpm: float) -> float:
    """Percentage by two flow meters, one in the concentrate and one in the water [1/100 point]: C ÷ (C + W).

    Both [L/min]. Percentage is of solution, so the water meter alone is not the divisor. Source: row D7 (7.5 gpm in
    242.5 gpm of water is 3 %). Raises ``ValueError``.

    >>> metered_pct(7.5, 242.5)
    300.0
    """
    return 100.0 * solution_percent(concentrate_lpm, water_lpm)


def against_baseline(measured: float, baseline: float) -> float:
    """How far a draw of WATER in place of concentrate has moved since the line's own baseline, as a share: 0.05 is 5 %.

    Water reads about 20 % high on a fixed proportioner (row P5), so it is compared with the same line's earlier draw
    of water, never with the percentage of concentrate. Raises ``ValueError``.

    >>> round(against_baseline(378, 360), 4)
    0.05
    """
    if measured <= 0 or baseline <= 0:
        raise ValueError("A draw and its baseline are percentages above 0.")
    return measured / baseline - 1
