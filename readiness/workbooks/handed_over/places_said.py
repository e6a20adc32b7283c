"""Places in people's words: "Engine 1 tank B", "E1 L3 compartment", "Reserve Engine 9 tank", "store room", "shed"."""

import re
from collections.abc import Mapping
from typing import Final

from readiness.workbooks.handed_over.records import Spot

# The words that units go by in the trade, and the short forms that crews write.
_UNITS: Final = (
    "engine", "ladder", "truck", "foam tender", "foam trailer", "foam unit", "foam engine", "foam", "tender",
    "tanker", "water tender", "brush", "hazmat", "rescue", "squad", "quint", "utility", "trailer", "pumper",
    "crash", "arff", "battalion", "medic", "ambulance", "boat", "marine", "attack", "wildland", "support", "tower",
    "platform", "command", "pump", "water carrier", "foam pod", "pod", "appliance", "car", "chief", "unit",
    "apparatus", "vehicle", "haz mat", "heavy rescue", "rescue engine", "snorkel",
)  # fmt: skip
_SHORT: Final[Mapping[str, str]] = {
    "e": "Engine", "eng": "Engine", "l": "Ladder", "lad": "Ladder", "t": "Truck", "trk": "Truck", "tk": "Truck",
    "tn": "Tender", "ft": "Foam Tender", "wt": "Water Tender", "br": "Brush", "b": "Brush", "hm": "Hazmat",
    "haz": "Hazmat", "r": "Rescue", "res": "Rescue", "sq": "Squad", "q": "Quint", "u": "Utility", "ut": "Utility",
    "trl": "Trailer", "p": "Pumper", "cr": "Crash",
}  # fmt: skip
_LONGEST_FIRST: Final = "|".join(sorted((re.escape(each) for each in _UNITS), key=len, reverse=True))
_RESERVE: Final = r"(?P<reserve>(?:reserve|spare|res\.?|rsv|backup)\s+)?"
_UNIT: Final = re.compile(
    rf"{_RESERVE}(?P<word>{_LONGEST_FIRST})[\s#\-.]*(?P<number>[0-9]{{1,4}}[a-z]?)\b(?P<rest>.*)", re.IGNORECASE
)
_NAMELESS: Final = re.compile(rf"{_RESERVE}(?P<word>foam trailer|foam tender|foam unit)\b(?P<rest>.*)", re.IGNORECASE)
_ABBREVIATED: Final = re.compile(
    rf"{_RESERVE}(?P<word>[a-z]{{1,3}})[\-]?(?P<number>[0-9]{{1,3}})\b(?P<rest>.*)", re.IGNORECASE
)
_STORES: Final = re.compile(
    r"\b(?:store|stores|storeroom|storage|stock|room|shed|bay|floor|cage|closet|warehouse|basement|garage|shelf|"
    r"shelves|rack|cabinet|locker|yard|station|house|hq|headquarters|depot|cache|loft|mezzanine|attic|outside|pallet|"
    r"container|conex|supply|shop|barn|hangar|tower|hall|hose tower|apparatus floor|workshop|sea can|lean to|annex)\b",
    re.IGNORECASE,
)
_BUILT_IN: Final = re.compile(r"\b(?:tank|tanks|cell|cells|on ?board|built[ -]?in|bladder)\b", re.IGNORECASE)
_TRAILING: Final = re.compile(r"\s*\b(?:compartment|compt|comp|cmpt)\.?\s*$", re.IGNORECASE)
_LEADING: Final = re.compile(r"^(?:compartment|compt|comp|cmpt)\.?\s+", re.IGNORECASE)
_JOINT: Final = " -–,;:/()."
_STATION: Final = re.compile(
    r"(?:fire\s+)?(?:station|sta|stn|st|fs|house|hall|firehouse|company|co)[\s.#\-]*(?:no\.?\s*)?[0-9]{1,3}[a-z]?|"
    r"hq|headquarters|[0-9]{1,3}",
    re.IGNORECASE,
)


def _at_station(said: str) -> Spot | None:
    """“Station 1 bay”, “Sta 3”: a place in the store of a station that is named."""
    found = _STATION_FIRST.fullmatch(said)
    if found is None:
        return None
    rest, station = found["rest"].strip(_JOINT + " "), found["station"].strip()
    there = read_place(rest) if rest else None
    if there is not None and there.what == "unit":
        return there._replace(text=said, station=station)
    return Spot(said, "store", part=rest, station=station)


_STATION_FIRST: Final = re.compile(
    r"(?P<station>(?:fire\s+)?(?:station|sta|stn|st|fs|firehouse)[\s.#\-]*[0-9]{1,3}[a-z]?)\b(?P<rest>.*)",
    re.IGNORECASE,
)


def read_place(text: str) -> Spot:
    """The place taken apart; ``what`` is unknown where it can be no unit and no store by its words.

    For a short form such as E1 the unit is written out (Engine 1); ``is_short`` says that this is a reading.
    """
    said = " ".join(text.split())
    found = _UNIT.fullmatch(said) or _NAMELESS.fullmatch(said) or _short(said)
    if found is not None:
        return _on_unit(said, found)
    at_station = _at_station(said)
    if at_station is not None:
        return at_station
    if _STORES.search(said):
        return Spot(said, "store", part=said, built_in=_BUILT_IN.search(said) is not None)
    return Spot(said, "unknown", part=said)


def is_short(text: str) -> bool:
    """Whether the unit is written in a short form such as E1."""
    said = " ".join(text.split())
    at_station = _STATION_FIRST.fullmatch(said)
    if at_station is not None:
        said = at_station["rest"].strip(_JOINT + " ")
    return not (_UNIT.fullmatch(said) or _NAMELESS.fullmatch(said)) and _short(said) is not None


def is_station(text: str) -> bool:
    """Whether these words name a station: Station 2, Sta 2, FS-2, HQ."""
    return _STATION.fullmatch(" ".join(text.split())) is not None


def station_within(text: str) -> str:
    """The station that a place begins with: "Sta. 2" of "Sta. 2 - T-2"; "" where it names none."""
    found = _STATION_FIRST.fullmatch(" ".join(text.split()))
    return found["station"].strip() if found else ""


def _short(said: str) -> re.Match[str] | None:
    found = _ABBREVIATED.fullmatch(said)
    return found if found is not None and found["word"].casefold() in _SHORT else None


def _on_unit(said: str, found: re.Match[str]) -> Spot:
    groups = found.groupdict()
    word = groups["word"]
    name = _SHORT.get(word.casefold()) or " ".join(part.capitalize() for part in word.split())
    name = "ARFF" if name == "Arff" else name
    number = (groups.get("number") or "").upper()
    rest = groups["rest"].strip(_JOINT + " ")
    part = _LEADING.sub("", _TRAILING.sub("", rest)).strip(_JOINT + " ")
    return Spot(
        said,
        "unit",
        unit=f"{name} {number}".strip(),
        reserve=groups["reserve"] is not None,
        part=part or rest,
        built_in=_BUILT_IN.search(rest) is not None,
    )
