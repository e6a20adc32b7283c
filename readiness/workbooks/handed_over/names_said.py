"""Kinds of concentrate and of container in people's words, and lot numbers of which a cell may hold two."""

import re
from collections.abc import Mapping
from typing import Final

from readiness.workbooks.handed_over.saying import plain, says_unknown

_KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "AFFF": ("afff", "aqueous film forming foam", "aqueous film forming", "film forming"),
    "AR-AFFF": ("ar afff", "afff ar", "arafff", "afff ar ar", "alcohol resistant afff", "ar aqueous film forming foam",
                "afff alcohol resistant", "ararafff", "aff ar"),
    "FFFP": ("fffp", "film forming fluoroprotein"),
    "AR-FFFP": ("ar fffp", "fffp ar", "alcohol resistant fffp"),
    "FP": ("fp", "fluoroprotein", "fluoro protein"),
    "P": ("p", "protein", "protein foam", "regular protein"),
    "F3": ("f3", "sfff", "fff", "fluorine free", "fluorine free foam", "synthetic fluorine free foam", "sfff f3",
           "f3 sfff", "pfas free", "pfas free foam", "synthetic fluorine free"),
    "AR-F3": ("ar f3", "f3 ar", "ar sfff", "sfff ar", "ar sfff f3", "ar f3 sfff", "ar fff", "alcohol resistant f3",
              "alcohol resistant fluorine free", "ar fluorine free", "fluorine free ar", "ar fluorine free foam"),
    "Class A": ("class a", "a", "class a foam", "cl a", "cla", "a class", "a foam", "wildland"),
    "high-expansion": ("high expansion", "hi ex", "hiex", "high ex", "high expansion foam", "hi expansion", "hx"),
    "wetting agent": ("wetting agent", "wetter", "wet water", "wetting", "surfactant"),
    "training": ("training", "training foam", "trainer", "practice", "train", "simulated", "training only"),
}  # fmt: skip
_CONTAINERS: Final[Mapping[str, tuple[str, ...]]] = {
    "pail": ("pail", "pails", "bucket", "buckets", "can", "cans", "pl", "pls", "5 gal pail", "5 gallon pail", "bkt",
             "5gal", "5 gal", "5 gallon"),
    "drum": ("drum", "drums", "barrel", "barrels", "bbl", "55", "55 gal drum", "55 gallon drum", "55 gal", "keg", "dr"),
    "tote": ("tote", "totes", "ibc", "ibcs", "ibc tote", "tote tank", "intermediate bulk container", "265 gal tote",
             "275 gal tote", "330 gal tote", "cube"),
    "fixed tank": ("tank", "tanks", "cell", "cells", "fixed tank", "foam tank", "foam cell", "onboard", "on board",
                   "tk", "built in", "bladder tank", "bladder", "onboard tank", "bulk tank"),
    "kit reservoir": ("kit", "kits", "kit reservoir", "portable kit", "reservoir", "backpack", "extinguisher"),
    "jug": ("jug", "jugs", "carboy", "jerry can", "jerrycan", "jerrican", "canister", "cubitainer", "bottle", "gallon",
            "1 gal", "1 gal jug"),
}  # fmt: skip
_BY_KIND: Final = {spelling: kind for kind, spellings in _KINDS.items() for spelling in spellings}
_BY_CONTAINER: Final = {spelling: kind for kind, spellings in _CONTAINERS.items() for spelling in spellings}
_PERCENTAGES: Final = re.compile(r"[0-9.]+\s*%?\s*(?:[x/×&-]\s*[0-9.]+\s*%?)?")
_AND: Final = re.compile(r"\s*(?:\+|&|;|,|\n|\band\b|\s/\s|\s\|\s)\s*", re.IGNORECASE)
_SPAN: Final = re.compile(
    r"(.*?)([0-9]{1,6})\s*(?:to|thru|through|–|—|\.\.\.?|\s-\s)\s*(\D*?)([0-9]{1,6})", re.IGNORECASE
)
_LONGEST_SPAN: Final = 2_000
_COUNTED_LOT: Final = re.compile(r"\s*[(\[]\s*x?\s*([0-9]{1,4})\s*(?:x|ea|pails?|drums?)?\s*[)\]]\s*$", re.IGNORECASE)
_LEAD: Final = re.compile(r"^(?:lot|batch|lot no|batch no)\b[ .#:]*", re.IGNORECASE)
_TWO_KINDS: Final = "a kind"


def kind_named(text: str) -> str:
    """The kind of concentrate that these words name, "" where none or several."""
    words = plain(text)
    found = _BY_KIND.get(words)
    if found is None:
        without = plain(_PERCENTAGES.sub(" ", text.casefold())) if any(each.isdigit() for each in words) else words
        found = _BY_KIND.get(without.removesuffix(" foam").removesuffix(" concentrate"), "")
    return found


def kind_within(product: str) -> str:
    """The kind that a product's name says by the way: "Fenmark AR-AFFF 3x6"; "" where it says none."""
    words = f" {plain(product)} "
    said = [(len(each), kind) for each, kind in _BY_KIND.items() if len(each) > 2 and f" {each} " in words]
    return max(said)[1] if said else ""


def container_within(text: str) -> str:
    """The kind of container that a longer text says by the way: "5 gal pail Larkite"; "" where none or several."""
    said = {
        kind
        for word in plain(text).split()
        if word != "gallon" and not word.isdigit() and (kind := _BY_CONTAINER.get(word))
    }
    return said.pop() if len(said) == 1 else ""


def container_named(text: str) -> str:
    """The kind of container that these words name, "" where none."""
    return _BY_CONTAINER.get(plain(text), "")


def lots_named(text: str) -> tuple[str, ...]:
    """The lot numbers in a cell, in their order, each once."""
    parts = [_LEAD.sub("", _COUNTED_LOT.sub("", part)).strip(" .:#()") for part in _AND.split(text)]
    return tuple(dict.fromkeys(part for part in parts if part))


def lots_counted(text: str) -> tuple[int, ...]:
    """How many containers a cell gives each of its lots: "LK-1 (10) / LK-2 (2)"; () where it does not say."""
    counts = [found[1] for part in _AND.split(text) if (found := _COUNTED_LOT.search(part))]
    return tuple(int(count) for count in counts) if len(counts) == len(lots_named(text)) else ()


def codes_named(text: str) -> tuple[str, ...]:
    """The label codes in a cell: "P-101", "P-101, P-102", and "P-101 to P-104" written out."""
    span = _SPAN.fullmatch(text.strip())
    if span is None:
        return tuple(dict.fromkeys(part.strip() for part in _AND.split(text) if part.strip()))
    start, first, end, last = span.groups()
    numbers = range(int(first), int(last) + 1)
    if (end and end.casefold() != start.casefold()) or not 0 < len(numbers) <= _LONGEST_SPAN:
        return (text.strip(),)
    return tuple(f"{start}{number:0{len(first)}}" for number in numbers)


def is_no_lot(lot: str) -> bool:
    """Whether this cannot be a lot number: nobody knows, or a word without a figure such as “old”."""
    return says_unknown(lot) or not any(each.isdigit() for each in lot)
