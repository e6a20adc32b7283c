"""What a department calls its things, so that the words of a handed-over sheet can be matched to them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Final, NamedTuple

from readiness.engineering.dates import GoodThrough
from readiness.models import Assignment, Concentrate, Container, Department, Lot, Station, Unit, Vehicle
from readiness.workbooks.rules import folded

_NEAR: Final = 0.8  # how alike two spellings are before one is proposed for the other; 1 is the same
_MOST_NEAR: Final = 3
_NUMBERED: Final = re.compile(r"(?P<stem>.*?)(?P<number>[0-9]+)")
_STATION: Final = re.compile(
    r"(?:sta|stn|st|fs|house|station|hq)\.?\s*(?:no\.?|#)?\s*(?P<number>[0-9]+)", re.IGNORECASE
)
STEMS: Final[Mapping[str, str]] = {
    "pail": "P-",
    "drum": "D-",
    "tote": "TO-",
    "fixed tank": "T-",
    "kit reservoir": "K-",
    "jug": "J-",
}
WIDTH: Final = 4


class KnownUnit(NamedTuple):
    """A unit, where it is at home, and the vehicle it runs on (empty: none)."""

    name: str
    station: str
    vehicle: str
    reserve: bool


class KnownProduct(NamedTuple):
    """A concentrate and its kind."""

    name: str
    kind: str


class KnownLot(NamedTuple):
    """A lot and the dates on its label as the book has them."""

    batch: str
    made: GoodThrough | None
    good_through: GoodThrough | None


class Names(NamedTuple):
    """All of them, each by its folded name."""

    stations: Mapping[str, str]
    units: Mapping[str, KnownUnit]
    vehicles: Mapping[str, str]
    products: Mapping[str, KnownProduct]
    lots: Mapping[tuple[str, str], KnownLot]
    codes: Mapping[str, str]  # to the kind of the container


def load_names(department: Department) -> Names:
    """Read them, in a number of queries that does not grow with the department."""
    mine = {"department": department}
    runs = Assignment.objects.filter(**mine, to_at__isnull=True).values_list("unit", "vehicle__shop_no")
    vehicle_of = dict(runs)
    units = Unit.objects.filter(**mine, retired_on__isnull=True).select_related("station")
    lots = Lot.objects.filter(**mine).select_related("concentrate")
    products = Concentrate.objects.filter(**mine)
    return Names(
        stations={folded(each.name): each.name for each in Station.objects.filter(**mine, closed_on__isnull=True)},
        units={
            folded(unit.designation): KnownUnit(
                unit.designation, unit.station.name, vehicle_of.get(unit.pk, ""), unit.state == "reserve"
            )
            for unit in units
        },
        vehicles={
            folded(shop_no): shop_no
            for shop_no in Vehicle.objects.filter(**mine, retired_on__isnull=True).values_list("shop_no", flat=True)
        },
        products={folded(each.name): KnownProduct(each.name, each.kind) for each in products},
        lots={(folded(lot.concentrate.name), folded(lot.batch)): _known_lot(lot) for lot in lots},
        codes={folded(code): kind for code, kind in Container.objects.filter(**mine).values_list("code", "kind")},
    )


def _known_lot(lot: Lot) -> KnownLot:
    return KnownLot(
        lot.batch,
        GoodThrough(lot.made_on, lot.made_precision) if lot.made_on else None,  # type: ignore[arg-type] # as the check of the table says
        GoodThrough(lot.makers_date, lot.date_precision) if lot.makers_date else None,  # type: ignore[arg-type] # the same
    )


def near(text: str, names: Iterable[str]) -> list[str]:
    """The folded names that are spelled nearly so, the likest first.

    Names that differ by a figure alone are not near: Engine 1 is not Engine 2, nor lot 2219 lot 2291.
    """
    figures = re.findall(r"[0-9]+", text)
    alike = [name for name in names if re.findall(r"[0-9]+", name) == figures]
    return get_close_matches(folded(text), alike, n=_MOST_NEAR, cutoff=_NEAR)


def station_written_out(text: str) -> str:
    """ "Sta 1" as "Station 1"; anything else as it stands."""
    found = _STATION.fullmatch(text.strip())
    return f"Station {int(found['number'])}" if found else " ".join(text.split())


def first_free_code(kind: str, codes: Mapping[str, str]) -> str:
    """The next label code for a kind of container, in the style that the department uses most for it."""
    runs = [found for code, of in codes.items() if of == kind and (found := _NUMBERED.fullmatch(code.upper()))]
    styles = Counter((found["stem"], len(found["number"])) for found in runs)
    stem, width = styles.most_common(1)[0][0] if styles else (STEMS[kind], WIDTH)
    taken = [
        int(found["number"]) for code in codes if (found := _NUMBERED.fullmatch(code.upper())) and found["stem"] == stem
    ]
    return f"{stem}{max(taken, default=0) + 1:0{width}}"


def codes_from(first: str, many: int, taken: Iterable[str]) -> list[str]:
    """So many codes from `first` on, upwards, without those taken. Raises ValueError for one without figures."""
    found = _NUMBERED.fullmatch(first.strip())
    if found is None:
        raise ValueError(f"“{first}” was read: a first label code ends in a number, such as P-0001.")
    stem, width, number = found["stem"], len(found["number"]), int(found["number"])
    used = set(taken)
    made: list[str] = []
    while len(made) < many:
        code = f"{stem}{number:0{width}}"
        if folded(code) not in used:
            made.append(code)
        number += 1
    return made
