"""How many containers, and how much each holds: 5, "5", "19 L", "25 gal", "2.5", "2 + 1", "?"."""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Final

from readiness.engineering.quantities import Quantity, QuantityError, parse_quantity
from readiness.engineering.units import L_PER_IMP_GAL, UnitError, from_ml, to_ml, unit_named
from readiness.workbooks.columns import VOLUME, Units
from readiness.workbooks.handed_over.records import Cell, Choice
from readiness.workbooks.handed_over.saying import Said, known, number_word, says_unknown
from readiness.workbooks.rows import quoted

MOST_ALIKE: Final = 2_000  # containers of one row; more is a slipped key
MOST_ML: Final = 200_000_000  # one container: 53,000 gal
_EACH: Final = re.compile(
    r"\s*\b(?:ea|each|per|apiece|cap|capacity|nominal)\b\.?|\s*/\s*(?:pail|drum|can)\b", re.IGNORECASE
)
_COUNT_AND_SIZE: Final = re.compile(
    r"([0-9]{1,4})\s*(?:[x×@*]\s*([0-9]+(?:\.[0-9]+)?[\s-]*(?:gal(?:lon)?s?|l|ltrs?|lit(?:re|er)s?)?)|"
    r"(?:-|–|ea\.?|each|of)\s*([0-9]+(?:\.[0-9]+)?[\s-]*(?:gal(?:lon)?s?|l|ltrs?|lit(?:re|er)s?)))\.?"
    r"(?:\s+(?:pails?|drums?|totes?|cans?|buckets?|jugs?|kits?|tanks?|ea|each))?",
    re.IGNORECASE,
)
_SIZE_WITHIN: Final = re.compile(
    r"(?<![0-9.,/])([0-9]+(?:\.[0-9]+)?|\.[0-9]+)[\s-]*(imp\.? gal|us gal|gal(?:lon)?s?|l|ltrs?|lit(?:re|er)s?)\b\.?",
    re.IGNORECASE,
)
_SUM: Final = re.compile(r"([0-9]{1,4})\s*\+\s*([0-9]{1,4})")
_COUNTED: Final = re.compile(
    r"(?:x\s*)?([0-9]{1,6}|[a-z]+)\s*(?:x|ea\.?|each|pcs?|pails?|drums?|totes?|cans?|buckets?|tanks?|units?|jugs?)?",
    re.IGNORECASE,
)
_WHICH_GALLON: Final = re.compile(r"us|u\.s|imp|uk", re.IGNORECASE)
_COMMA: Final = re.compile(r"([0-9]+),([0-9]{1,3})(\D.*)?")
TYPED_COUNT: Final = "a whole number, like 4"


def typed_volume(units: Units) -> str:
    """What may be typed where a volume is asked."""
    return f"a volume, like {VOLUME.example(units)}"


def volume_words(ml: int, units: Units) -> str:
    """A volume in the department's unit: 5 gal, 18.93 L."""
    unit = VOLUME.unit(units)
    return f"{_short(from_ml(ml, unit))} {unit}"


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if value < 1_000 else f"{value:,.0f}"


def read_count(cell: Cell) -> Said:
    """How many containers the cell says."""
    value = cell.value
    if isinstance(value, int) and not isinstance(value, bool):
        return _counted(value, cell.text)
    if isinstance(value, float):
        return _counted(int(value), cell.text) if value.is_integer() and abs(value) < 1e9 else _part_count(cell.text)
    text = cell.text.lstrip().rstrip(" .")
    if found := _SUM.fullmatch(text):
        total = int(found[1]) + int(found[2])
        return _asked(cell.text, f"{cell.text} was read, which may be {total}", str(total))
    if re.fullmatch(r"[0-9]+\.[0-9]+", text):
        return _counted(int(float(text)), text) if float(text).is_integer() else _part_count(cell.text)
    found = _COUNT_AND_SIZE.fullmatch(text) or _COUNTED.fullmatch(text)
    number = number_word(found[1]) if found else None
    if number is not None:
        return _counted(number, cell.text)
    if _SIZE_WITHIN.search(text):
        return _asked(cell.text, f"{quoted(cell.text)} was read, which is a volume and no number of containers", "1")
    return _asked(cell.text, "", None)


def count_and_size(text: str, unit: str) -> tuple[int, int] | None:
    """(count, ml of each) of "4 x 5 gal", None for anything else."""
    both = _COUNT_AND_SIZE.fullmatch(text.lstrip().rstrip(" ."))
    ml = volume_typed(_EACH.sub("", (both[2] or both[3]).replace("-", " ").strip()), unit) if both else None
    return (int(both[1]), ml) if both and ml else None


def size_within(text: str, unit: str) -> int | None:
    """The ml of one container where a count or a kind says it too: "4 x 5 gal", "5 gal pail"; else None."""
    both = count_and_size(text, unit)
    if both is not None:
        return both[1]
    found = _SIZE_WITHIN.search(text)
    return volume_typed(" ".join(found.groups()), unit) or None if found else None


def _counted(number: int, text: str) -> Said:
    if 0 <= number <= MOST_ALIKE:
        return known(number, f"{number:,}")
    return _asked(text, f"{quoted(text)} was read as a number of containers, which is not believed", None)


def _part_count(text: str) -> Said:
    """2.5 pails are two full ones and one half full, or a volume."""
    return _asked(text, f"{quoted(text)} was read as a number of containers, which is not whole", None)


def _asked(text: str, question: str, proposed: str | None) -> Said:
    said = "nothing that can be read" if says_unknown(text) else quoted(text)
    asked = question or f"{said} was read as the number of containers"
    choices = (Choice(proposed, proposed),) if proposed else ()
    return Said(
        "doubt", "in doubt", question=f"{asked}: type how many there are.", choices=choices, proposed=proposed,
        typed=TYPED_COUNT, style=text,
    )  # fmt: skip


def count_typed(text: str) -> int | None:
    """A whole number that somebody typed."""
    said = read_count(Cell(text, text))
    return said.value if isinstance(said.value, int) else None


class VolumeReader:
    """Reads the volumes of one sheet: a bare number is in ``unit``."""

    def __init__(self, *, unit: str, units: Units) -> None:
        self._unit, self._units = unit, units

    def read(self, cell: Cell) -> Said:
        """What the cell says; the value is in ml."""
        text = _EACH.sub("", cell.text).lstrip().rstrip(" .")
        if isinstance(cell.value, bool) or says_unknown(text):
            return self._asked(cell.text, f"{quoted(cell.text)} was read where a volume belongs")
        if (found := _COMMA.fullmatch(text)) and (len(found[2]) != 3 or found[1].startswith("0")):
            return self._comma(found, cell.text)
        quantity = self._parsed(text)
        if quantity is None:
            return self._asked(cell.text, f"{quoted(cell.text)} was read, which is no volume")
        return self._known(quantity, cell.text)

    def read_total(self, cell: Cell) -> Said:
        """The same for a volume of several together, which may be written 4 x 5 gal."""
        both = count_and_size(cell.text, self._unit)
        if both is None:
            return self.read(cell)
        count, ml = both
        return known(count * ml, f"{count} × {volume_words(ml, self._units)}")

    def _parsed(self, text: str) -> Quantity | None:
        try:
            return parse_quantity(text, dimension="volume", default_unit=self._unit)
        except (QuantityError, UnitError):
            return None

    def _known(self, quantity: Quantity, text: str) -> Said:
        ml = quantity.ml
        if not 0 <= ml <= MOST_ML:
            return self._asked(text, f"{quoted(text)} was read as a volume, which is not believed")
        if self._which_gallon(quantity, text):
            return self._gallons(quantity)
        return known(ml, self.words(quantity))

    def words(self, quantity: Quantity) -> str:
        """As it is written, and in the department's unit where that is another."""
        written = f"{quantity.value.normalize():f} {quantity.unit}"
        own = VOLUME.unit(self._units)
        return written if quantity.unit == own else f"{written} ({volume_words(quantity.ml, self._units)})"

    def _which_gallon(self, quantity: Quantity, text: str) -> bool:
        """Outside the United States a bare “gal” may be either gallon."""
        return self._units == "metric" and quantity.unit == "gal" and not _WHICH_GALLON.search(text)

    def _gallons(self, quantity: Quantity) -> Said:
        number = f"{quantity.value.normalize():f}"
        return Said(
            "doubt",
            "which gallon?",
            question=f"{number} gal was read: US and imperial gallons differ by a fifth "
            f"(3.785 L and {L_PER_IMP_GAL:.3f} L).",
            choices=(Choice("gal", "US gallons"), Choice("imp gal", "imperial gallons"), Choice("L", "litres")),
            style="which gallon",
        )

    def _comma(self, found: re.Match[str], text: str) -> Said:
        number = Decimal(f"{found[1]}.{found[2]}")
        unit = (found[3] or "").strip() or self._unit
        try:
            ml = to_ml(number, unit)
        except UnitError:
            return self._asked(text, f"{quoted(text)} was read, which is no volume")
        words = f"{number} {unit_named(unit).symbol}"
        return Said(
            "doubt",
            "in doubt",
            question=f"{quoted(text)} was read: is the comma a decimal point?",
            choices=(Choice(f"{ml} ml", words),),
            proposed=f"{ml} ml",
            typed=typed_volume(self._units),
            style=text,
        )

    def _asked(self, text: str, question: str) -> Said:
        return Said(
            "doubt", "in doubt", question=f"{question}: type it with its unit.", typed=typed_volume(self._units),
            style=text,
        )  # fmt: skip


def gallons_as(text: str, unit: str) -> int | None:
    """The ml of a cell whose gallons were in doubt, now that the unit is said."""
    number = _EACH.sub("", text).lstrip().rstrip(" .").casefold().rstrip("galons. ")
    try:
        return parse_quantity(number, dimension="volume", default_unit=unit).ml
    except (QuantityError, UnitError):
        return None


def volume_typed(text: str, unit: str) -> int | None:
    """The ml that somebody typed, or that a choice's key says; above nothing and below the absurd."""
    try:
        ml = parse_quantity(text, dimension="volume", default_unit=unit).ml
    except (QuantityError, UnitError):
        return None
    return ml if 0 <= ml <= MOST_ML else None


def shared(total_ml: int, parts: int) -> tuple[int, ...]:
    """A volume in so many parts that differ by 1 ml at most."""
    whole, over = divmod(total_ml, parts)
    return tuple(whole + (1 if number < over else 0) for number in range(parts))


def share_of(ml: int, fraction: Fraction) -> int:
    """A fraction of a volume in whole ml."""
    return round(ml * fraction)
