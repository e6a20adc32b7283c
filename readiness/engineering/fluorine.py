"""Days from which fluorinated foam may no longer be used, by place: a region's pack, and defaults only.

Rules on fluorinated foam change yearly. Each row names the act to be read, and none of them is law because it stands
here. Unknown counts as fluorinated, as everywhere.
"""

from datetime import date
from typing import Final, Literal, NamedTuple

Place = Literal["EU", "Canada"]


class Ending(NamedTuple):
    """The last use of one kind. ``through``: the last day named by the source."""

    place: Place
    use: str
    through: date
    source: str

    def over_on(self, day: date) -> bool:
        """Whether it is over: the last day itself still counts."""
        return day > self.through


_EU: Final = "Regulation (EU) 2025/1988 through secondary pages: read the annex"
_CANADA: Final = "SOR/2025-270"
EU_LIMIT_MG_L: Final = 1.0  # row E1
ENDINGS: Final[tuple[Ending, ...]] = (
    Ending("EU", "training and testing; public services, but industrial fires under Seveso", date(2027, 4, 23), _EU),
    Ending("EU", "everything that has no later day", date(2030, 10, 23), _EU),
    Ending("EU", "Seveso sites, offshore, military and merchant ships", date(2035, 10, 23), _EU),
    Ending("Canada", "AFFF with PFOA or LC-PFCA in ordinary systems", date(2027, 12, 31), _CANADA),
)
