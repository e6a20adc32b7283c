"""The recorder that turns a calculation into its working.

Every relation takes ``say``; ``None`` in the night, a ``Recorder`` for the page that shows the working. So the page
shows what was computed, by the function that computed it.
"""

from readiness.engineering.records import Step

Numbers = tuple[tuple[str, float, str], ...]  # (symbol, value, SI unit or "%")


class Recorder:
    """Collects the steps of one judgment in the order in which they were worked."""

    def __init__(self) -> None:
        self.steps: list[Step] = []

    def __call__(
        self,
        label: str,
        formula: str,
        numbers: Numbers,
        result: float,
        unit: str,
        source: str,
    ) -> None:
        """Keep one step: numbers are (symbol, value, unit); percentages are shown in points."""
        self.steps.append(Step(label, formula, numbers, result, unit, source))


Say = Recorder | None
