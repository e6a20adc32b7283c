"""What a column is likely to tell: by the words of its heading, and by what stands in it."""

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Final, NamedTuple

from readiness.engineering.units import UnitError, unit_named
from readiness.workbooks.handed_over.amounts_said import VolumeReader, count_typed
from readiness.workbooks.handed_over.dates_said import DateReader
from readiness.workbooks.handed_over.names_said import container_named, kind_named
from readiness.workbooks.handed_over.percents_said import read_percents
from readiness.workbooks.handed_over.places_said import is_station, read_place
from readiness.workbooks.handed_over.records import Cell, Meaning
from readiness.workbooks.handed_over.saying import plain, says_unknown

# Headings as people write them, without case and marks. An entry that ends in " *" stands for its beginning.
_WORDS: Final[Mapping[Meaning, tuple[str, ...]]] = {
    Meaning.STATION: ("station", "sta", "stn", "house", "fire station", "firehouse", "stations", "base", "depot"),
    Meaning.WHERE: ("where", "location", "loc", "place", "unit", "apparatus", "rig", "truck", "vehicle", "stored",
                    "storage", "compartment", "stored at", "position", "kept", "assigned to", "assigned", "on"),
    Meaning.PRODUCT: ("product", "brand", "name", "foam", "concentrate", "product name", "foam name", "item",
                      "description", "foam product", "material", "agent", "foam concentrate", "desc", "trade name"),
    Meaning.KIND: ("type", "kind", "foam type", "class", "type of foam", "foam kind", "category", "foam class"),
    Meaning.PERCENT: ("percent", "pct", "percentage", "ratio", "prop rate", "mix", "rate", "conc", "concentration",
                      "proportion", "mix ratio", "setting"),
    Meaning.CONTAINER: ("cont", "container", "container type", "packaging", "pack", "package", "vessel", "cont type",
                        "containers", "form", "packed in", "type of container"),
    Meaning.QUANTITY: ("qty", "quantity", "count", "no", "number", "how many", "of containers", "units", "pcs", "ea",
                       "on hand", "no of containers", "qty on hand", "pails", "drums", "totes", "cans", "buckets",
                       "number of containers", "amount", "each",
                       "of pails", "no of pails", "how many containers"),
    Meaning.SIZE: ("size", "container size", "cont size", "size each", "capacity", "vol each", "volume each",
                   "unit size", "pail size", "each size", "per container", "size of container", "cap"),
    Meaning.VOLUME: ("volume", "total", "total volume", "vol", "gallons", "litres", "liters", "gal", "gals", "l",
                     "total gallons", "total gal", "gallons on hand", "total litres", "total liters", "contents",
                     "amount gal", "total amount"),
    Meaning.LOT: ("lot", "lot no", "batch", "batch no", "lot number", "batch number", "lot batch", "lot num",
                  "serial", "batch lot", "lot s", "lots", "lot nos"),
    Meaning.MADE: ("mfg", "made", "manufactured", "mfg date", "mfd", "date of manufacture", "dom",
                   "manufacture date", "mfr date", "date made", "production date", "manuf", "born", "manuf date",
                   "date of mfg", "produced", "mfgd"),
    Meaning.GOOD_THROUGH: ("good thru", "good through", "exp", "expires", "expiry", "expiration", "exp date",
                           "expiration date", "expiry date", "best before", "use by", "shelf life to", "good until",
                           "good till", "expire", "valid until", "expire date", "bbd", "best by", "date exp"),
    Meaning.CODE: ("code", "tag", "label", "barcode", "tag no", "id", "asset", "container no", "container id",
                   "label code", "asset no", "tag number", "bar code", "our no", "asset tag"),
    Meaning.NOTES: ("notes", "note", "remarks", "remark", "comments", "comment", "status", "condition", "misc",
                    "info", "memo", "seal", "sealed", "remarks notes", "notes remarks", "other"),
}  # fmt: skip
_BY_WORDS: Final = {words: meaning for meaning, each in _WORDS.items() for words in each}
_BRACKET: Final = re.compile(r"[\[(]([^\])]*)[\])]")
_UNIT_WORDS: Final = re.compile(
    r"\b(imp(?:erial)?\s+gal(?:lon)?s?|us\s+gal(?:lon)?s?|gal(?:lon)?s?|lit(?:re|er)s?|ltrs?|l|ml)\b", re.IGNORECASE
)
_PARTS: Final = re.compile(r"[/&,+]|\s+and\s+|\s+or\s+", re.IGNORECASE)
_SAMPLE: Final = 400
_LONG_WORDS: Final = 14  # characters: notes are longer than names of things, on the average
_SIZES_L: Final = (3.785, 9.46, 9.5, 10.0, 18.93, 19.0, 20.0, 25.0, 75.7, 113.6, 200.0, 208.2, 946.0, 1000.0, 1003.1)
TODAY_FOR_LOOKS: Final = date(2030, 1, 1)  # whether a cell looks like a date depends on no day


class Look(NamedTuple):
    """How much of a column looks like each meaning, in shares of its filled cells."""

    filled: int
    shares: Mapping[Meaning, float]


def heading_meaning(heading: str) -> Meaning | None:
    """The meaning that the words of a heading have, None where they say nothing."""
    if heading.strip() in {"%", "% ", "%s"}:
        return Meaning.PERCENT
    if heading.strip() == "#":
        return Meaning.QUANTITY
    outside = plain(_BRACKET.sub(" ", heading))
    found = _BY_WORDS.get(outside) or _BY_WORDS.get(plain(heading))
    if found is None:
        without = plain(_UNIT_WORDS.sub(" ", outside))
        found = _BY_WORDS.get(without)
    if found is None and "%" in heading:
        found = Meaning.PERCENT
    if found is None:  # "Brand/Type", "Qty & size": the first of them
        parts = [plain(part) for part in _PARTS.split(_BRACKET.sub(" ", heading))]
        found = next((_BY_WORDS[part] for part in parts if part in _BY_WORDS), None)
    return _for_unit(found, heading)


def _for_unit(meaning: Meaning | None, heading: str) -> Meaning | None:
    """“Qty (gal)” and “Amount, litres” count volume, not containers."""
    return Meaning.VOLUME if meaning is Meaning.QUANTITY and heading_unit(heading) else meaning


def heading_unit(heading: str) -> str:
    """The unit of volume that a heading or a remark names, "" where none."""
    for bracket in _BRACKET.findall(heading):
        if (symbol := _volume_symbol(bracket)) != "":
            return symbol
    found = _UNIT_WORDS.search(heading)
    return _volume_symbol(found[1]) if found else ""


def _volume_symbol(words: str) -> str:
    try:
        unit = unit_named(" ".join(words.split()))
    except UnitError:
        return ""
    return unit.symbol if unit.dimension == "volume" else ""


def look_at(cells: Sequence[Cell]) -> Look:
    """What the cells of a column look like."""
    sample = cells[:_SAMPLE]
    said = [cell for cell in sample if not says_unknown(cell.text)]
    if not said:
        return Look(len(cells), {})
    distinct = Counter(said)  # a column of stock says the same again and again
    shares = {
        meaning: sum(many for cell, many in distinct.items() if looks(cell)) / len(said)
        for meaning, looks in _LOOKS.items()
    }
    shares[Meaning.NOTES] = _wordy(said)
    shares[Meaning.PRODUCT] = _like_products(said, shares)
    return Look(len(cells), shares)


def _wordy(cells: Sequence[Cell]) -> float:
    """Notes: several words, seldom the same."""
    texts = [cell.text for cell in cells]
    long = sum(len(text) > _LONG_WORDS and " " in text for text in texts) / len(texts)
    return long * len(set(texts)) / len(texts)


def _like_products(cells: Sequence[Cell], shares: Mapping[Meaning, float]) -> float:
    """Names that return, and that are no kinds, containers, places, numbers or dates."""
    texts = [cell.text for cell in cells if any(each.isalpha() for each in cell.text)]
    if not texts:
        return 0.0
    other = max((share for meaning, share in shares.items() if meaning is not Meaning.LOT), default=0.0)
    return max(0.0, len(texts) / len(cells) - other)


def _is_date(cell: Cell) -> bool:
    said = _DATES.read(cell)
    return said.state == "known" or (said.state == "doubt" and bool(said.choices) and said.words != "not read")


def _is_percent(cell: Cell) -> bool:
    if isinstance(cell.value, date) or cell.text.isdigit():
        return False  # a bare 3 may be anything; its heading has to say so
    said = read_percents(cell)
    return said.state == "known" or said.proposed is not None


def _is_count(cell: Cell) -> bool:
    return not isinstance(cell.value, date) and (count_typed(cell.text) or 10_000) <= 200


def _is_size(cell: Cell) -> bool:
    said = None if isinstance(cell.value, date) else _VOLUMES.read(cell)
    if said is None or not isinstance(said.value, int):
        return False
    written = any(each.isalpha() for each in cell.text)
    return written or any(abs(said.value / 1000 - size) < 0.01 * size for size in _SIZES_L)


def _is_lot(cell: Cell) -> bool:
    text = cell.text
    digits = any(each.isdigit() for each in text)
    lettered = any(each.isalpha() for each in text) or "-" in text or (text.isdigit() and len(text) > 5)
    return digits and lettered and " " not in text.strip() and not _is_date(cell) and not _is_percent(cell)


def _is_place(cell: Cell) -> bool:
    return not is_station(cell.text) and read_place(cell.text).what != "unknown"


_DATES: Final = DateReader(day_first=False, today=TODAY_FOR_LOOKS)
_VOLUMES: Final = VolumeReader(unit="gal", units="us")
_LOOKS: Final[Mapping[Meaning, Callable[[Cell], bool]]] = {
    Meaning.STATION: lambda cell: is_station(cell.text) and any(each.isalpha() for each in cell.text),
    Meaning.WHERE: _is_place,
    Meaning.KIND: lambda cell: bool(kind_named(cell.text)),
    Meaning.PERCENT: _is_percent,
    Meaning.CONTAINER: lambda cell: bool(container_named(cell.text)) and not cell.text.isdigit(),
    Meaning.QUANTITY: _is_count,
    Meaning.SIZE: _is_size,
    Meaning.LOT: _is_lot,
    Meaning.GOOD_THROUGH: _is_date,
}
