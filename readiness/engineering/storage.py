"""Storage temperatures by kind of concentrate, where the label and the maker's sheet are not at hand."""

from collections.abc import Mapping
from typing import Final

from readiness.engineering.records import Kind
from readiness.engineering.units import to_si

SOURCE: Final = "IFSTA numbers sheet, read in a stored copy; a default only: the label governs"
# Row T1, as printed in °F. AFFF, fluorine-free and the others stand not in the row: nothing is assumed for them.
STORAGE_F: Final[Mapping[Kind, tuple[float, float]]] = {
    "p": (20, 120),
    "fp": (20, 120),
    "fffp": (10, 120),
    "ar_fffp": (25, 120),
    "ar_afff": (25, 120),
}


def storage_range_c(kind: Kind) -> tuple[float, float] | None:
    """(lowest, highest) storage temperature [°C]; None for a kind the row does not name. Source: row T1.

    >>> [round(each, 1) for each in storage_range_c("ar_afff")]
    [-3.9, 48.9]
    """
    found = STORAGE_F.get(kind)
    return None if found is None else (to_si(found[0], "F"), to_si(found[1], "F"))
