"""The published figures that the product works with, each with its source and whether it was read or remembered."""

from __future__ import annotations

from datetime import date
from typing import Final, NamedTuple

from readiness.engineering.calibration import LEAST_CORRELATION
from readiness.engineering.fluorine import ENDINGS
from readiness.engineering.proportioning import INSTRUMENT_TELLS, WORD_OF_INSTRUMENT, band
from readiness.engineering.rates import POLAR_TRAINING_RATE, standard_minutes, standard_rate
from readiness.engineering.records import Fuel, Kind
from readiness.engineering.storage import SOURCE as STORAGE_SOURCE
from readiness.engineering.storage import STORAGE_F
from readiness.reports.fleet import KINDS

_LOW_FLASH: Final = Fuel(0, "", "", "hydrocarbon", None, -43.0)
_HIGHER_FLASH: Final = Fuel(0, "", "", "hydrocarbon", None, 60.0)


class Published(NamedTuple):
    """One figure. ``confirmed`` False: from memory, a default that a department may change."""

    what: str
    figure: str
    source: str
    confirmed: bool = True


class Group(NamedTuple):
    """Figures that belong together."""

    title: str
    figures: tuple[Published, ...]


def _kind(key: Kind) -> str:
    return next(word for word, kind in KINDS.items() if kind == key)


def _rate(kind: Kind, use: str) -> str:
    rate = standard_rate(kind, _LOW_FLASH, use)  # type: ignore[arg-type] # the uses of the table below
    assert rate is not None  # every kind and use below has one
    return f"{rate.value:.2f} gpm/ft²"


def _minutes(use: str) -> str:
    low, higher = (standard_minutes(use, fuel) for fuel in (_LOW_FLASH, _HIGHER_FLASH))  # type: ignore[arg-type]
    return f"{low:g} min" if low == higher else f"{low:g} min, {higher:g} min above 100 °F flash point"


def _rates() -> tuple[Published, ...]:
    taught = "NFPA 11 as taught: IFSTA numbers sheet"
    return (
        Published("Spill, hydrocarbon, film-forming", f"{_rate('afff', 'spill')}, {_minutes('spill')}", taught),
        Published(
            "Spill, hydrocarbon, protein and fluoroprotein", f"{_rate('fp', 'spill')}, {_minutes('spill')}", taught
        ),
        Published(
            "Spill, polar solvent",
            f"{POLAR_TRAINING_RATE.value:.2f} gpm/ft², shown and never used: the listing governs",
            f"a training figure, {taught}",
        ),
        Published(
            "Fluorine-free, on anything", "its listing alone: no rate is carried over", "abstract of a comparison"
        ),
        Published(
            "In depth, hydrocarbon", f"{_rate('afff', 'depth')}, {_minutes('depth')}", "NFPA 11 diked area", False
        ),
        Published(
            "Tank, portable streams",
            f"{_rate('afff', 'direct')}, {_minutes('direct')}",
            "US National Fire Academy bulletin FP-2011-37; times from memory",
        ),
    )


def _bands() -> tuple[Published, ...]:
    read = "NFPA 11 s 12.6.5 through laboratory bulletins (2015 to 2022)"
    found = [
        Published(f"{pct / 100:g} % passes", f"{band(pct)[0] / 100:g} to {band(pct)[1] / 100:g} %", read)
        for pct in (100, 300, 600)
    ]
    for pct in (300, 600):
        low, high = band(pct, vehicle=True)
        words = f"{pct / 100:g} % passes on an airport vehicle"
        found.append(Published(words, f"{low / 100:g} to {high / 100:g} %", "NFPA 412", False))
    for instrument, tells in INSTRUMENT_TELLS.items():
        words = f"A {WORD_OF_INSTRUMENT[instrument]} tells apart"
        found.append(Published(words, f"±{tells / 100:g} point", "FAA technical note 02-115 page"))
    least = Published("Correlation of known mixes", f"at least {LEAST_CORRELATION}", "NFPA 11 Annex D", False)
    return (*found, least)


FIGURES: Final[tuple[Group, ...]] = (
    Group("Application rates", _rates()),
    Group("Proportioning tests", _bands()),
    Group(
        "Storage temperatures, where no label says otherwise",
        tuple(
            Published(_kind(kind), f"{low:g} to {high:g} °F", STORAGE_SOURCE) for kind, (low, high) in STORAGE_F.items()
        ),
    ),
)


def fluorine_on(day: date) -> Group:
    """The days that end the use of fluorinated foam, as they stand on a department's day."""
    return Group(
        "Fluorinated foam: last days by place (read the act itself)",
        tuple(
            Published(
                f"{each.place}: {each.use}",
                f"{'over since' if each.over_on(day) else 'until'} {each.through}",
                each.source,
            )
            for each in ENDINGS
        ),
    )
