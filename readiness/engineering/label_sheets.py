"""Sheets of labels: where each label lies on the paper, in millimeters from its upper left corner."""

from collections.abc import Iterator
from typing import Final, NamedTuple

MM_PER_INCH: Final = 25.4
PAPERS: Final = {"letter": (8.5 * MM_PER_INCH, 11 * MM_PER_INCH), "a4": (210.0, 297.0)}  # ISO 216; US letter


class SheetLayout(NamedTuple):
    """A sheet's grid. `pitch`: from the left (upper) edge of a label to that of the next [mm]."""

    name: str
    paper: str
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float

    @property
    def labels(self) -> int:
        """How many a sheet has."""
        return self.columns * self.rows

    @property
    def paper_mm(self) -> tuple[float, float]:
        """Width and height of the paper."""
        return PAPERS[self.paper]

    def faults(self) -> Iterator[tuple[str, str]]:
        """(fact, sentence) for everything that cannot be printed."""
        wide, high = self.paper_mm
        for fact, pitch, size in (
            ("pitch_x_mm", self.pitch_x_mm, self.width_mm),
            ("pitch_y_mm", self.pitch_y_mm, self.height_mm),
        ):
            if pitch < size:
                yield fact, f"{pitch:g} mm was read, and a label is {size:g} mm: the labels would overlap."
        right = self.left_mm + (self.columns - 1) * self.pitch_x_mm + self.width_mm
        bottom = self.top_mm + (self.rows - 1) * self.pitch_y_mm + self.height_mm
        if right > wide + 0.1:
            yield "columns", f"{self.columns} columns end at {right:.1f} mm; the paper is {wide:.1f} mm wide."
        if bottom > high + 0.1:
            yield "rows", f"{self.rows} rows end at {bottom:.1f} mm; the paper is {high:.1f} mm high."

    def corners(self, n: int) -> tuple[float, float]:
        """The upper left corner of the n-th label of a sheet, from 0, row by row [mm]."""
        row, column = divmod(n, self.columns)
        return self.left_mm + column * self.pitch_x_mm, self.top_mm + row * self.pitch_y_mm


def _inches(name: str, columns: int, rows: int, *inches: float) -> SheetLayout:
    return SheetLayout(name, "letter", columns, rows, *(each * MM_PER_INCH for each in inches))


# Common sheets, from memory: measure yours, and keep one of your own where it differs.
PRESETS: Final = {
    "letter-30": _inches("US letter, 30 labels of 2 5/8 × 1 in", 3, 10, 2.625, 1, 0.1875, 0.5, 2.75, 1),
    "letter-20": _inches("US letter, 20 labels of 4 × 1 in", 2, 10, 4, 1, 0.15625, 0.5, 4.1875, 1),
    "letter-10": _inches("US letter, 10 labels of 4 × 2 in", 2, 5, 4, 2, 0.15625, 0.5, 4.1875, 2),
    "letter-6": _inches("US letter, 6 labels of 4 × 3 1/3 in", 2, 3, 4, 10 / 3, 0.15625, 0.5, 4.1875, 10 / 3),
    "a4-24": SheetLayout("A4, 24 labels of 70 × 37 mm", "a4", 3, 8, 70, 37, 0, 0.5, 70, 37),
    "a4-21": SheetLayout("A4, 21 labels of 63.5 × 38.1 mm", "a4", 3, 7, 63.5, 38.1, 7.21, 15.15, 66.04, 38.1),
    "a4-14": SheetLayout("A4, 14 labels of 99.1 × 38.1 mm", "a4", 2, 7, 99.1, 38.1, 4.65, 15.15, 101.6, 38.1),
    "a4-8": SheetLayout("A4, 8 labels of 99.1 × 67.7 mm", "a4", 2, 4, 99.1, 67.7, 4.65, 13.1, 101.6, 67.7),
}


class Spot(NamedTuple):
    """Where a label comes to lie: on which sheet, from 0, and its upper left corner [mm]."""

    sheet: int
    x_mm: float
    y_mm: float


def spots(layout: SheetLayout, count: int, start: int = 1) -> Iterator[Spot]:
    """Where each of `count` labels lies, the first on label number `start` of a sheet that was begun before."""
    for n in range(start - 1, start - 1 + count):
        sheet, place = divmod(n, layout.labels)
        yield Spot(sheet, *layout.corners(place))
