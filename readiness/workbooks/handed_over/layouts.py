"""Which sheet, which row of headings, what each column tells, which unit and which order of day and month.

Everything here is a proposal that says what it rests on; a person looks at it before a row is read by it.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

from openpyxl.utils.cell import get_column_letter

from readiness.engineering.units import UnitError, unit_named
from readiness.workbooks.columns import VOLUME, Units
from readiness.workbooks.handed_over.dates_said import numbers_of, orders
from readiness.workbooks.handed_over.headings import Look, heading_meaning, heading_unit, look_at
from readiness.workbooks.handed_over.places_said import is_station, read_place
from readiness.workbooks.handed_over.records import (
    Cell,
    ColumnGuess,
    Guess,
    Layout,
    Meaning,
    Opened,
    SheetRow,
    SheetRows,
)
from readiness.workbooks.handed_over.saying import plain
from readiness.workbooks.rows import quoted

REPEATABLE: Final = frozenset({Meaning.NOTES, Meaning.IGNORED})
MEANING_WORDS: Final[Mapping[Meaning, str]] = {
    Meaning.STATION: "Station",
    Meaning.WHERE: "Where: unit, compartment, tank or store room",
    Meaning.PRODUCT: "Product",
    Meaning.KIND: "Kind of concentrate",
    Meaning.PERCENT: "Percentage",
    Meaning.CONTAINER: "Kind of container",
    Meaning.QUANTITY: "How many containers",
    Meaning.SIZE: "Size of one container",
    Meaning.VOLUME: "Volume of the row together",
    Meaning.LOT: "Lot number",
    Meaning.MADE: "Made",
    Meaning.GOOD_THROUGH: "Good through",
    Meaning.CODE: "Label code of the container",
    Meaning.NOTES: "Notes, kept and looked through",
    Meaning.IGNORED: "Not taken in, shown in the report",
}
_HEADER_AMONG: Final = 40  # filled rows
_LEAST_HEADINGS: Final = 3
_PLAIN_HEADER_AMONG: Final = 5
_SURE_SHARE: Final = 0.8
_LEAST_SHARE: Final = 0.5
_EXAMPLES: Final = 3
_AS_HEADED: Final = frozenset(
    {Meaning.NOTES, Meaning.PRODUCT, Meaning.STATION, Meaning.PERCENT}
)  # any word may stand there
_BY_LOOKS: Final = (
    Meaning.STATION, Meaning.KIND, Meaning.CONTAINER, Meaning.GOOD_THROUGH, Meaning.WHERE, Meaning.LOT, Meaning.PRODUCT,
    Meaning.SIZE, Meaning.QUANTITY, Meaning.PERCENT, Meaning.NOTES,
)  # fmt: skip


def guess(opened: Opened, *, units: Units) -> Guess:
    """The layout of the sheet that looks most like stock: the most columns of a stock list, then the most rows."""
    filled = [(sheet, guess_layout(sheet, units=units)) for sheet in opened.sheets if sheet.rows]
    return max(filled, key=lambda each: (_stock_score(each[1]), not each[0].hidden, len(each[0].rows)))[1]


_TELLING: Final = (Meaning.PRODUCT, Meaning.KIND, Meaning.QUANTITY, Meaning.SIZE, Meaning.LOT, Meaning.GOOD_THROUGH)


def _stock_score(guess: Guess) -> int:
    return sum(meaning in guess.layout.meanings for meaning in _TELLING)


def guess_layout(sheet: SheetRows, *, units: Units, header_row: int | None = None) -> Guess:
    """How the sheet is probably laid out. ``header_row`` where a person has said it (0: there are no headings)."""
    header, header_why = _header(sheet, header_row)
    rows = [row for row in sheet.rows if header is None or row.number > header.number]
    columns = _columns(sheet, header, rows)
    meanings = tuple(column.meaning for column in columns)
    unit, unit_why = _unit(sheet, header, columns, units)
    day_first, days_why = _day_order(rows, meanings)
    number = header.number if header else 0
    layout = Layout(sheet.title, number, meanings, unit, day_first)
    return Guess(layout, columns, header_why, unit_why, days_why)


def _header(sheet: SheetRows, said: int | None) -> tuple[SheetRow | None, str]:
    if said is not None:
        row = next((row for row in sheet.rows if row.number == said), None)
        return row, f"Row {said:,} was chosen." if row else "No row of headings was chosen."
    best, found = None, 0
    for row in sheet.rows[:_HEADER_AMONG]:
        texts = [cell.text for cell in row.cells if cell and isinstance(cell.value, str)]
        named = len({heading_meaning(text) for text in texts} - {None}) + _places_named(texts)
        if named > found:
            best, found = row, named
    if best is None or found < _LEAST_HEADINGS:
        best = next((row for row in sheet.rows[:_PLAIN_HEADER_AMONG] if _reads_plain(row, sheet.width)), None)
        if best is None:
            return None, "No row reads like headings; the columns are told by what stands in them."
        return best, f"Row {best.number:,} holds words only, no figures: these are taken for headings; look at them."
    return best, f"Row {best.number:,} names {found} of the columns of a stock list."


def _reads_plain(row: SheetRow, width: int) -> bool:
    """Words without a figure in nearly every column, no word twice."""
    texts = [cell.text for cell in row.cells if cell]
    wide = len(texts) >= max(_LEAST_HEADINGS, 0.6 * width)
    return wide and len(set(texts)) == len(texts) and not any(each.isdigit() for text in texts for each in text)


def _columns(sheet: SheetRows, header: SheetRow | None, rows: Sequence[SheetRow]) -> tuple[ColumnGuess, ...]:
    cells = [_cells_of(rows, column) for column in range(sheet.width)]
    looks = [look_at(each) for each in cells]
    headings = [_heading(header, column) for column in range(sheet.width)]
    found: dict[int, tuple[Meaning, str, bool]] = {}
    _by_heading(headings, looks, found)
    _by_look(headings, looks, found)
    _settle_volume(headings, cells, found)
    guesses = []
    for column in range(sheet.width):
        meaning, why, sure = found.get(column) or _left_over(cells[column])
        guesses.append(ColumnGuess(column, get_column_letter(column + 1), headings[column], meaning, why, sure))
    return tuple(guesses)


def _cells_of(rows: Sequence[SheetRow], column: int) -> list[Cell]:
    return [cell for row in rows if (cell := row.cell(column)) is not None]


def _heading(header: SheetRow | None, column: int) -> str:
    cell = header.cell(column) if header else None
    return cell.text if cell else ""


def _by_heading(headings: Sequence[str], looks: Sequence[Look], found: dict[int, tuple[Meaning, str, bool]]) -> None:
    """Columns whose headings say what they are; of two that say the same, the one that looks more like it."""
    wanted: dict[Meaning, list[int]] = {}
    for column, heading in enumerate(headings):
        meaning = heading_meaning(heading) if heading else None
        if meaning is not None:
            wanted.setdefault(meaning, []).append(column)
    for meaning, columns in wanted.items():
        ranked = sorted(columns, key=lambda column: (-_look(looks[column], meaning), column))
        for place, column in enumerate(ranked):
            if place == 0 or meaning in REPEATABLE:
                found[column] = _told(meaning, headings[column], looks[column])


def _told(meaning: Meaning, heading: str, look: Look) -> tuple[Meaning, str, bool]:
    why = f"The heading {quoted(heading)} says so"
    if meaning not in look.shares or meaning in _AS_HEADED:
        return meaning, f"{why}.", True
    share = look.shares[meaning]
    return meaning, f"{why}; {_percent(share)} of its cells look like it.", share >= _LEAST_SHARE


def _look(look: Look, meaning: Meaning) -> float:
    return look.shares.get(Meaning.GOOD_THROUGH if meaning is Meaning.MADE else meaning, 0.0)


def _by_look(headings: Sequence[str], looks: Sequence[Look], found: dict[int, tuple[Meaning, str, bool]]) -> None:
    """Columns without a telling heading, by what stands in them: the most alike first."""
    taken = {meaning for meaning, _, _ in found.values()}
    for meaning in _BY_LOOKS:
        if meaning in taken and meaning not in REPEATABLE:
            continue
        free = [column for column in range(len(headings)) if column not in found]
        if meaning is Meaning.PRODUCT and any(headings):  # under headings, one that is empty is of remarks
            free = [column for column in free if headings[column]]
        best = max(free, key=lambda column: _look(looks[column], meaning), default=None)
        if best is None or _look(looks[best], meaning) < _LEAST_SHARE:
            continue
        share = _look(looks[best], meaning)
        heading = f"the heading {quoted(headings[best])} says nothing" if headings[best] else "it has no heading"
        found[best] = (meaning, f"{_percent(share)} of its cells look like it; {heading}.", False)
        taken.add(meaning)


def _settle_volume(
    headings: Sequence[str], cells: Sequence[Sequence[Cell]], found: dict[int, tuple[Meaning, str, bool]]
) -> None:
    """A lone column of gallons beside a count: of one container where every figure is a usual size."""
    meanings = {meaning: column for column, (meaning, _, _) in found.items()}
    column = meanings.get(Meaning.VOLUME)
    if column is None or Meaning.SIZE in meanings or Meaning.QUANTITY not in meanings:
        return
    if look_at(cells[column]).shares.get(Meaning.SIZE, 0.0) >= _SURE_SHARE:
        why = f"{quoted(headings[column])} may be of one container or of all; the figures are sizes of containers."
        found[column] = (Meaning.SIZE, why, False)


def _left_over(cells: Sequence[Cell]) -> tuple[Meaning, str, bool]:
    if not cells:
        return Meaning.IGNORED, "It is empty below the headings.", True
    examples = ", ".join(quoted(cell.text) for cell in cells[:_EXAMPLES])
    return Meaning.NOTES, f"Not recognized, so kept with the notes: {examples}.", False


def _percent(share: float) -> str:
    return f"{share:.0%}"


def _unit(sheet: SheetRows, header: SheetRow | None, columns: Sequence[ColumnGuess], units: Units) -> tuple[str, str]:
    """What a bare number is in: the heading's unit, else what a remark above says, else the department's own."""
    for column in columns:
        if column.meaning in {Meaning.SIZE, Meaning.VOLUME} and (unit := heading_unit(column.heading)):
            return unit, f"The heading {quoted(column.heading)} says {unit}."
    for row in sheet.rows[:_HEADER_AMONG]:
        if header is not None and row.number >= header.number:
            break
        for cell in row.cells:
            if cell and (unit := heading_unit(cell.text)):
                return unit, f"Row {row.number:,} says so: {quoted(cell.text)}."
    own = VOLUME.unit(units)
    return own, f"Nothing in the sheet says it; {own} is the department's own unit."


def _day_order(rows: Sequence[SheetRow], meanings: Sequence[Meaning]) -> tuple[bool | None, str]:
    """Whether 3/4/26 is the third of April, by the dates of the sheet that can be read in one way only."""
    proofs: dict[str, str] = {}
    for row, text in _dated_texts(rows, meanings):
        can = orders(text)
        if len(can) == 1:
            proofs.setdefault(next(iter(can)), f"{quoted(text)} in row {row:,}")
    if not proofs:
        proofs = _proofs_by_lot(rows, meanings)
    if len(proofs) == 1:
        order, proof = next(iter(proofs.items()))
        return order == "day", f"The {order} comes first: {proof}."
    if proofs:
        return None, f"Both orders stand in the sheet: month first in {proofs['month']}, day first in {proofs['day']}."
    return None, "No date in the sheet decides whether day or month comes first."


def _dated_texts(rows: Sequence[SheetRow], meanings: Sequence[Meaning]) -> Iterator[tuple[int, str]]:
    """(row, text) of whatever may hold a date written in figures; of notes each word."""
    for row in rows:
        for cell, meaning in zip(row.cells, meanings, strict=False):
            if cell is None or not isinstance(cell.value, str):
                continue
            if meaning in {Meaning.MADE, Meaning.GOOD_THROUGH}:
                yield row.number, cell.text
            elif meaning is Meaning.NOTES:
                yield from ((row.number, word.strip(".,;()")) for word in cell.text.split() if "/" in word)


def _proofs_by_lot(rows: Sequence[SheetRow], meanings: Sequence[Meaning]) -> dict[str, str]:
    """One lot dated 2022-05-09 in one row and 5/9/2022 in another tells the order too."""
    if Meaning.LOT not in meanings:
        return {}
    lot_at = list(meanings).index(Meaning.LOT)
    columns = [at for at, meaning in enumerate(meanings) if meaning in {Meaning.MADE, Meaning.GOOD_THROUGH}]
    exact: dict[tuple[str, int], tuple[date, int]] = {}
    written: list[tuple[tuple[str, int], str, int]] = []
    for row in rows:
        lot = row.cell(lot_at)
        for at in columns if lot else ():
            cell = row.cell(at)
            if cell is None or lot is None:
                continue
            if isinstance(cell.value, date):
                exact.setdefault((plain(lot.text), at), (cell.value, row.number))
            elif isinstance(cell.value, str):
                written.append(((plain(lot.text), at), cell.text, row.number))
    return _compared(exact, written)


def _compared(
    exact: Mapping[tuple[str, int], tuple[date, int]], written: Sequence[tuple[tuple[str, int], str, int]]
) -> dict[str, str]:
    proofs: dict[str, str] = {}
    for key, text, row in written:
        numbers, known = numbers_of(text), exact.get(key)
        if numbers is None or known is None:
            continue
        day, (first, second, year) = known[0], numbers
        if day.month == day.day or day.year % 100 != year:
            continue
        order = {(day.month, day.day): "month", (day.day, day.month): "day"}.get((first, second))
        if order:
            proofs.setdefault(order, f"{quoted(text)} in row {row:,} is the date of the same lot in row {known[1]:,}")
    return proofs


def faults_of(layout: Layout, sheet: SheetRows) -> tuple[str, ...]:
    """What is wrong with a mapping, in sentences; empty where rows can be read by it."""
    faults = []
    for meaning in Meaning:
        columns = [get_column_letter(at + 1) for at, each in enumerate(layout.meanings) if each is meaning]
        if len(columns) > 1 and meaning not in REPEATABLE:
            faults.append(
                f"{MEANING_WORDS[meaning]} was given to the columns {', '.join(columns)}: one column tells it; take "
                "the others with the notes, or leave them out."
            )
    if Meaning.PRODUCT not in layout.meanings and Meaning.KIND not in layout.meanings:
        faults.append("No column was given for the product: choose the one in which it stands.")
    if not {Meaning.QUANTITY, Meaning.SIZE, Meaning.VOLUME, Meaning.CONTAINER} & set(layout.meanings):
        faults.append("No column was given for how much there is: choose how many containers, their size, or volume.")
    faults += _crosstab(layout, sheet)
    faults += _misfits(layout, sheet)
    return tuple(faults)


def _crosstab(layout: Layout, sheet: SheetRows) -> Iterator[str]:
    """A column for each station or unit: the figures in them would be lost, or taken for something else."""
    header = next((row for row in sheet.rows if row.number == layout.header_row), None)
    headed = [
        f"{get_column_letter(at + 1)} ({cell.text})"
        for at, cell in enumerate(header.cells if header else ())
        if cell and layout.meanings[at : at + 1] != (Meaning.IGNORED,) and _names_place(cell.text)
    ]
    if len(headed) > 1:
        yield (
            f"The columns {', '.join(headed)} are headed by places: a table with a column for each place is not read. "
            "Make a row for each place in the sheet, or leave those columns out."
        )


def _places_named(texts: Sequence[str]) -> int:
    """Headings that are stations or units, where several stand beside one another; a row of stock has one of each."""
    stations = sum(is_station(text) and any(map(str.isalpha, text)) for text in texts)
    units = sum(_names_place(text) for text in texts) - stations
    return sum(each for each in (stations, units) if each > 1)


def _names_place(heading: str) -> bool:
    numbered = any(each.isdigit() for each in heading) and any(each.isalpha() for each in heading)
    return numbered and (is_station(heading) or read_place(heading).what == "unit")


def _misfits(layout: Layout, sheet: SheetRows) -> Iterator[str]:
    if len(layout.meanings) != sheet.width:
        yield f"{len(layout.meanings)} columns were given a meaning and the sheet has {sheet.width}: choose them again."
    if layout.header_row and all(row.number != layout.header_row for row in sheet.rows):
        yield f"Row {layout.header_row:,} was given as the headings and is empty: choose the row in which they stand."
    try:
        dimension = unit_named(layout.volume_unit).dimension
    except UnitError:
        dimension = ""
    if dimension != "volume":
        yield f"{quoted(layout.volume_unit)} was given as the unit of volume: choose gal, imp gal or L."


def fingerprint(sheet: SheetRows, header_row: int) -> str:
    """The same for the same headings in the same columns, whatever the rows and the name of the sheet.

    Without headings: the number of columns, since nothing else stays the same.
    """
    header = next((row for row in sheet.rows if row.number == header_row), None)
    words = [plain(cell.text) if cell else "" for cell in header.cells] if header else [f"no headings {sheet.width}"]
    body = json.dumps(words, ensure_ascii=False)
    return hashlib.sha256(body.encode()).hexdigest()


def to_json(layout: Layout) -> dict[str, Any]:
    """A layout as it is kept."""
    return {**layout._asdict(), "meanings": [meaning.value for meaning in layout.meanings]}


def from_json(body: Mapping[str, Any]) -> Layout:
    """A layout as it was kept. Raises ``ValueError`` for anything else."""
    try:
        return Layout(
            str(body["sheet"]),
            int(body["header_row"]),
            tuple(Meaning(each) for each in body["meanings"]),
            str(body["volume_unit"]),
            None if body["day_first"] is None else bool(body["day_first"]),
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"A layout without {error} was read: choose the columns again.") from None
