"""Portable foam kits: a small reservoir on a handline, with a dial for the percentage."""

from typing import Final, NamedTuple

from readiness.engineering.percentages import percent_text


class DialFace(NamedTuple):
    """The settings one face of the dial runs through; both ends in hundredths of a point."""

    name: str
    least_pct: int
    greatest_pct: int

    def offers(self, pct: int) -> bool:
        """Whether the face reaches ``pct`` [1/100 point]."""
        return self.least_pct <= pct <= self.greatest_pct

    def __str__(self) -> str:
        return f"from {percent_text(self.least_pct)} to {percent_text(self.greatest_pct)} on its {self.name} face"


# Row K2 of the published values: common practice, no source.
CLASS_A_DIAL: Final = DialFace("Class A", least_pct=10, greatest_pct=100)
CLASS_B_DIAL: Final = DialFace("Class B", least_pct=100, greatest_pct=600)
DIAL: Final = f"a kit’s dial runs {CLASS_A_DIAL} and {CLASS_B_DIAL}"


def on_dial(pct: int) -> bool:
    """Whether either face of a kit's dial reaches ``pct`` [1/100 point]. Source: row K2."""
    return CLASS_A_DIAL.offers(pct) or CLASS_B_DIAL.offers(pct)
