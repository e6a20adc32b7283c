"""Storage temperatures by kind of concentrate, where the label and the maker's sheet are not at hand."""

from collections.abc import Mapping
from typing import Final

from readiness.engineering.records import Kind

SOURCE: Final = "IFSTA numbers sheet, read in a stored copy; a default only: the label governs"
# Row T1, as printed in °F. AFFF, fluorine-free and the others stand not in the row: nothing is assumed for them.
STORAGE_F: Final[Mapping[Kind, tuple[float, float]]] = {
    "p": (20, 120),
    "fp": (20, 120),
    "fffp": (10, 120),
    "ar_fffp": (25, 120),
    "ar_afff": (25, 120),
}
