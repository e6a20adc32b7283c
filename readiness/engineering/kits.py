"""Portable foam kits: a small reservoir on a handline, with a dial for the percentage."""

from typing import Final, Literal, NamedTuple

from readiness.engineering.percentages import fraction, percent_text

FoamClass = Literal["A", "B"]


class DialFace(NamedTuple):
    """The settings one face of the dial runs through; both ends in hundredths of a point."""

    foam_class: FoamClass
    least_pct: int
    greatest_pct: int

    def offers(self, pct: int) -> bool:
        """Whether the face reaches ``pct`` [1/100 point]."""
        return self.least_pct <= pct <= self.greatest_pct


# Row K2 of the published values: common practice, no source.
CLASS_A_DIAL: Final = DialFace("A", least_pct=10, greatest_pct=100)
CLASS_B_DIAL: Final = DialFace("B", least_pct=100, greatest_pct=600)
DIAL_FACES: Final[dict[FoamClass, DialFace]] = {"A": CLASS_A_DIAL, "B": CLASS_B_DIAL}


def solution_from_kit_l(reservoir_l: float, pct: int) -> float:
    """Solution that a full reservoir makes: R ÷ p. reservoir_l [L]; pct [1/100 point]; result [L].

    Valid for a kit whose percentage is of solution. Source: published row K1, 2.5 US gal at 0.1 / 0.5 / 1 / 3 / 6 %
    makes 2500 / 500 / 250 / 83.3 / 41.7 US gal (common practice, no source). Raises ``ValueError``.

    >>> solution_from_kit_l(2.5, 100)
    250.0
    """
    if reservoir_l < 0:
        raise ValueError(f"A reservoir of {reservoir_l} L was read: a reservoir holds 0 L or more.")
    return reservoir_l / fraction(pct)


def dial_fault(foam_class: FoamClass, pct: int) -> str | None:
    """The sentence that says why the kit's dial cannot be set to ``pct`` [1/100 point], or None when it can."""
    face = DIAL_FACES[foam_class]
    if face.offers(pct):
        return None
    return (
        f"{percent_text(pct)} was read: the Class {foam_class} face of a kit runs from "
        f"{percent_text(face.least_pct)} to {percent_text(face.greatest_pct)}."
    )
