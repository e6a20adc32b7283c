"""What every worksheet answers with: figures, their working, and what has to be said beside them."""

from typing import Literal, NamedTuple

from readiness.engineering.records import Deficiency, Step
from readiness.engineering.steps import Recorder
from readiness.engineering.units import Toward

# What a figure measures. SI inside: L, L/min, m², m, kPa, min, kg, L/min/m²; "depth" is a length read in inches or
# millimetres, "seconds" are seconds, "percent" is hundredths of a point, "share" a fraction, "count" and "ratio" plain.
Measure = Literal[
    "volume", "flow", "area", "length", "depth", "pressure", "time", "mass", "rate",
    "seconds", "percent", "share", "count", "ratio", "drained",
]  # fmt: skip


class Figure(NamedTuple):
    """One answer. ``key`` is its name in JSON; need, pails and water go up, area and minutes down."""

    key: str
    label: str
    value: float
    measure: Measure
    toward: Toward = "up"


class Sheet(NamedTuple):
    """A worksheet filled in. ``refused``: why there is no answer, or ""; what could be worked is still shown.

    ``faults``: what is wrong, said in the reader's units.
    """

    title: str
    figures: tuple[Figure, ...]
    steps: tuple[Step, ...]
    notes: tuple[str, ...] = ()
    refused: str = ""
    faults: tuple[Deficiency, ...] = ()

    def value(self, key: str) -> float:
        """One figure's value by its key. Raises KeyError where the sheet has none."""
        return {each.key: each.value for each in self.figures}[key]


def refusal(title: str, sentence: str, figures: tuple[Figure, ...] = (), say: Recorder | None = None) -> Sheet:
    """A worksheet without an answer, and why."""
    return Sheet(title, figures, tuple(say.steps) if say else (), (), sentence)
