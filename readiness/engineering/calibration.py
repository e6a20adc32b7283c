"""A sample's percentage read off known mixes: refractometer or conductivity meter, a straight line, its interval.

The mixes are made by hand from the same concentrate and the SAME water as the sample (row P2): x is a mix's percentage
[1/100 point], y the instrument's reading in its own unit (Brix, refractive index, µS/cm), whatever it is.
"""

from collections.abc import Sequence
from math import atan, cos, pi, sin, sqrt
from typing import Final, NamedTuple

from readiness.engineering.percentages import percent_text

LEAST_STANDARDS: Final = 3  # two points are always on a line: nothing would show a slip
LEAST_CORRELATION: Final = 0.997  # row P3: NFPA 11 Annex D, from memory, a default
CONFIDENCE: Final = 0.95
_HALVINGS: Final = 200
_NEARLY: Final = 1e-9


class Standard(NamedTuple):
    """A known mix and what the instrument reads of it. ``pct`` [1/100 point]; ``reading`` in the instrument's unit."""

    pct: float
    reading: float


class Line(NamedTuple):
    """The least-squares line reading = intercept + slope × pct, and how well the standards lie on it."""

    intercept: float
    slope: float  # reading a hundredth of a point
    correlation: float
    residuals: tuple[float, ...]  # reading − line, in the order of the standards
    residual_sd: float  # √(Σ residual² ÷ (n − 2)); 0 standards of freedom: not a line to judge by
    mixes: int
    mean_pct: float
    spread: float  # Σ (pct − mean)²

    @property
    def freedom(self) -> int:
        """Degrees of freedom, n − 2."""
        return self.mixes - 2


class Measured(NamedTuple):
    """A percentage read off the line with its interval [1/100 point]."""

    pct: float
    low: float
    high: float
    t: float  # Student's quantile that was used


def fit_line(standards: Sequence[Standard]) -> Line:
    """The least-squares line through known mixes, y on x.

    slope = Σ(x − x̄)(y − ȳ) ÷ Σ(x − x̄)²; intercept = ȳ − slope × x̄; residual SD = √(Σ residual² ÷ (n − 2)).
    Needs three mixes at least, of at least two percentages, and readings that differ; raises ``ValueError`` with a
    sentence. Source: NIST/SEMATECH e-Handbook of Statistical Methods (2012), 4.1.4.1; checked with NIST's Norris set.

    >>> fit_line([Standard(200, 4.0), Standard(300, 6.0), Standard(400, 8.0)]).slope
    0.02
    """
    count = len(standards)
    if count < LEAST_STANDARDS:
        raise ValueError(f"{count} known mixes were read: a line needs {LEAST_STANDARDS} or more.")
    mean_x = sum(each.pct for each in standards) / count
    mean_y = sum(each.reading for each in standards) / count
    sxx = sum((each.pct - mean_x) ** 2 for each in standards)
    syy = sum((each.reading - mean_y) ** 2 for each in standards)
    sxy = sum((each.pct - mean_x) * (each.reading - mean_y) for each in standards)
    if sxx == 0:
        raise ValueError("All known mixes have one percentage: make some on either side of the setting.")
    if syy == 0 or sxy == 0:
        raise ValueError("The instrument reads no difference between the known mixes: it cannot measure this foam.")
    slope = sxy / sxx
    intercept = mean_y - slope * mean_x
    residuals = tuple(each.reading - intercept - slope * each.pct for each in standards)
    sd = sqrt(sum(residual**2 for residual in residuals) / (count - 2))
    return Line(intercept, slope, sxy / sqrt(sxx * syy), residuals, sd, count, mean_x, sxx)


def _central_t(t: float, freedom: int) -> float:
    """P(|T| ≤ t) for whole degrees of freedom. Source: Abramowitz and Stegun (1964), 26.7.3 and 26.7.4."""
    angle = atan(t / sqrt(freedom))
    square = cos(angle) ** 2
    odd = freedom % 2
    term = cos(angle) if odd else 1.0
    total = term if freedom > 1 else 0.0
    for k in range(3 if odd else 2, freedom - 1, 2):
        term *= square * (k - 1) / k
        total += term
    return 2 / pi * (angle + sin(angle) * total) if odd else sin(angle) * total


def student_t(freedom: int, confidence: float = CONFIDENCE) -> float:
    """The t that T stays within with this confidence, both sides: 0.95 is the 0.975 quantile.

    freedom: degrees of freedom, 1 or more; confidence between 0 and 1, of practical size (t up to a million).
    Inverts ``_central_t`` by halving. Raises ``ValueError``.

    >>> round(student_t(1), 6), round(student_t(2), 6)
    (12.706205, 4.302653)
    """
    if freedom < 1 or not 0 < confidence < 1:
        raise ValueError(f"{freedom} degrees of freedom at {confidence} were read: 1 or more, and between 0 and 1.")
    low, high = 0.0, 1e6
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if _central_t(middle, freedom) < confidence else (low, middle)
    return (low + high) / 2


def read_off(line: Line, readings: Sequence[float], confidence: float = CONFIDENCE) -> Measured:
    """The percentage that gave ``readings`` (of one sample, repeated), with its interval by inverse regression.

    x₀ = (ȳ₀ − a) ÷ b. The interval is Fieller's: all x for which |ȳ₀ − a − b x| ≤ t s √(1/m + 1/n + (x − x̄)² ÷ Sxx),
    m readings of the sample, n mixes, s the residual SD, t of n − 2 degrees of freedom. Source: E. C. Fieller, J. R.
    Statist. Soc. B 16 (1954); Draper and Smith, Applied Regression Analysis, 3rd ed. (1998), 3.2. Raises ``ValueError``
    where the slope is not told from zero, since the interval is then endless.
    """
    if not readings:
        raise ValueError("No reading of the sample was read: one or more are needed.")
    t = student_t(line.freedom, confidence)
    pct = (sum(readings) / len(readings) - line.intercept) / line.slope
    scatter = t * line.residual_sd / line.slope
    g = scatter**2 / line.spread
    if g >= 1:
        raise ValueError("The line through the known mixes is not told from a level one: nothing can be read off it.")
    away = pct - line.mean_pct
    half = abs(scatter) * sqrt((1 - g) * (1 / len(readings) + 1 / line.mixes) + away**2 / line.spread) / (1 - g)
    middle = line.mean_pct + away / (1 - g)
    return Measured(pct, middle - half, middle + half, t)


def reading_at(line: Line, pct: float) -> float:
    """What the line reads at a percentage [1/100 point]: intercept + slope × pct. The inverse of ``read_off``."""
    return line.intercept + line.slope * pct


def poor_fit(line: Line, least: float = LEAST_CORRELATION) -> str:
    """The sentence that refuses a line whose standards do not lie on it (row P3), or ""."""
    if abs(line.correlation) >= least:
        return ""
    return (
        f"The known mixes do not lie on a line: correlation {abs(line.correlation):.4f}, at least {least} is asked. "
        "Mix and read them again."
    )


def outside_standards(standards: Sequence[Standard], measured: Measured) -> str:
    """The sentence that refuses a sample beyond the known mixes, or "": a line is known only between its points."""
    lowest, highest = min(each.pct for each in standards), max(each.pct for each in standards)
    if lowest * (1 - _NEARLY) <= measured.pct <= highest * (1 + _NEARLY):
        return ""
    where = "below" if measured.pct < lowest else "above"
    return (
        f"The sample reads {measured.pct / 100:.2f} %, {where} the known mixes ({percent_text(round(lowest))} to "
        f"{percent_text(round(highest))}): make mixes on either side of it and read them again."
    )
