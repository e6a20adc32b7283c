"""A handed-over sheet as far as it is settled: what was read, what has to be answered, and what would come in.

Opening and understanding are pure and take seconds for ten thousand rows, so their last few answers are kept in memory
by the file's fingerprint; whatever depends on the department's records is worked out anew each time.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import date
from functools import lru_cache
from threading import Lock
from typing import Any, Final, NamedTuple, TypeVar

from readiness.engineering.dates import GoodThrough
from readiness.engineering.wording import volume_text
from readiness.models import Container, Department, HandedOver
from readiness.models.handed_over import SheetState
from readiness.reports.code_runs import code_runs
from readiness.reports.fleet import collector_off
from readiness.reports.sheet_matching import SEALABLE, Held, Matched, MatchedRow, counted, match
from readiness.reports.sheet_names import Names, load_names
from readiness.reports.sheet_questions import Asking, Question, rows_text, sheet_questions
from readiness.workbooks.columns import Units
from readiness.workbooks.handed_over.layouts import from_json, guess, guess_layout
from readiness.workbooks.handed_over.opening import open_sheets
from readiness.workbooks.handed_over.records import (
    Choice,
    Fate,
    Guess,
    Layout,
    Meaning,
    Opened,
    Settled,
    SheetRows,
    Understood,
)
from readiness.workbooks.handed_over.settling import Settling, settle_again
from readiness.workbooks.handed_over.understanding import understand

NEW, COMPARE = "new", "compare"
_PURPOSE: Final = "purpose"  # the group of the question whether it is a newer sheet of the same stock
_MOST_KEPT: Final = 10  # of two sheets: opened, guessed, understood, settled, matched
_BATCH: Final = 500
T = TypeVar("T")


class Worked(NamedTuple):
    """All that is known of a handed-over sheet with its layout and answers."""

    sheet: SheetRows
    layout: Layout
    understood: tuple[Understood, ...]
    settled: tuple[Settled, ...]
    matched: Matched
    questions: tuple[Question, ...]
    earlier: HandedOver | None  # the sheet with the same headings that was taken in last
    purpose: str  # NEW, COMPARE, or "" while that has to be answered

    @property
    def open(self) -> tuple[Question, ...]:
        """What has still to be answered."""
        return tuple(each for each in self.questions if not each.settled)

    @property
    def ready(self) -> bool:
        """Whether it may be taken in."""
        return not self.open

    @property
    def containers(self) -> int:
        """How many containers it makes."""
        return sum(len(row.held) for row in self.matched.rows)


class _Kept:
    """The last few results of slow, pure work."""

    def __init__(self) -> None:
        self._results: OrderedDict[Any, Any] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Any, work: Callable[[], T]) -> T:
        """The result of before, or of now."""

        def once(before: T | None) -> T:
            return work() if before is None else before

        return self.renew(key, once)

    def renew(self, key: Any, work: Callable[[T | None], T]) -> T:
        """The result of now, which may be made from that of before."""
        with self._lock:
            before: T | None = self._results.get(key)
        with collector_off():
            made = work(before)
        with self._lock:
            self._results[key] = made
            self._results.move_to_end(key)
            while len(self._results) > _MOST_KEPT:
                self._results.popitem(last=False)
        return made


_KEPT = _Kept()


def units_written(department: Department) -> Units:
    """The units in which the department writes."""
    return "us" if department.units == "us" else "metric"


def opened(handed_over: HandedOver) -> Opened:
    """The file's sheets. Raises NotAWorkbook with its sentence."""
    return opened_file(handed_over.file_sha256, handed_over.name, lambda: bytes(handed_over.file))


def opened_file(sha256: str, name: str, read: Callable[[], bytes]) -> Opened:
    """The sheets of a file of this fingerprint and name. Raises NotAWorkbook with its sentence."""
    return _KEPT.get(("opened", sha256, name), lambda: open_sheets(read(), name=name))


def guessed(handed_over: HandedOver, department: Department, title: str = "", header_row: int | None = None) -> Guess:
    """The layout that is proposed: for the sheet that looks most like stock, or for the one that was chosen."""
    book, units = opened(handed_over), units_written(department)

    def work() -> Guess:
        if not title and header_row is None:
            return guess(book, units=units)
        sheet = book.sheet(title or guess(book, units=units).layout.sheet)
        return guess_layout(sheet, units=units, header_row=header_row)

    return _KEPT.get(("guessed", handed_over.file_sha256, handed_over.name, title, header_row, units), work)


def layout_of(handed_over: HandedOver) -> Layout | None:
    """The layout that was chosen, None while none was."""
    return from_json(handed_over.layout) if handed_over.layout else None


def worked(
    handed_over: HandedOver,
    department: Department,
    today: date,
    *,
    tell: Callable[[str], object] = str,
    apart: Collection[str] = (),
) -> Worked:
    """Everything about a sheet whose layout was chosen.

    apart: groups of questions whose rows are asked about one by one; tell: is told each step before it begins.
    Raises NotAWorkbook, ValueError where no layout was chosen.
    """
    layout = layout_of(handed_over)
    if layout is None:
        raise ValueError("No layout was chosen yet.")
    tell("Reading the file")
    sheet = opened(handed_over).sheet(layout.sheet)
    units, answers = units_written(department), dict(handed_over.answers)
    key = (handed_over.file_sha256, handed_over.name, json.dumps(handed_over.layout, sort_keys=True), units, today)
    tell(f"Understanding {len(sheet.rows):,} rows")
    understood = _KEPT.get(("understood", key), lambda: understand(sheet, layout, units=units, today=today))
    tell("Settling doubts by your answers")
    settling: Settling = _KEPT.renew(
        ("settled", key), lambda before: settle_again(understood, answers, before, units=units, today=today)
    )
    settled = settling.rows
    tell("Matching names to the department’s")
    earlier = earlier_sheet(handed_over)
    asked = _purpose_asked(handed_over, earlier, understood) if earlier else ()
    purpose = asked[0].answer if asked else NEW
    names = load_names(department)
    matching: _Matching = _KEPT.renew(
        ("matched", key, department.pk), lambda before: _matched(before, names, settled, answers, purpose == NEW)
    )
    matched = matching.matched
    questions = (*asked, *sheet_questions(understood, settled, answers, apart), *matched.questions)
    return Worked(sheet, layout, understood, settled, matched, questions, earlier, purpose)


class _Matching(NamedTuple):
    """How rows were matched, and all that it hangs on."""

    names: Names
    settled: tuple[Settled, ...]
    answers: Mapping[str, str]
    new: bool
    matched: Matched


def _matched(
    before: _Matching | None, names: Names, settled: tuple[Settled, ...], answers: Mapping[str, str], new: bool
) -> _Matching:
    """The plan of before where nothing has changed since: neither a row nor an answer nor the department."""
    if before and before.settled is settled and before[2:4] == (answers, new) and before.names == names:
        return before
    return _Matching(names, settled, answers, new, match(names, settled, answers, new=new))


def earlier_sheet(handed_over: HandedOver) -> HandedOver | None:
    """The sheet with the same headings that the department took in last."""
    taken = HandedOver.objects.filter(department=handed_over.department_id, state=SheetState.TAKEN)
    return taken.filter(fingerprint=handed_over.fingerprint).defer("file").order_by("-ended_at").first()


def _purpose_asked(
    handed_over: HandedOver, earlier: HandedOver, understood: tuple[Understood, ...]
) -> tuple[Question, ...]:
    """Whether a sheet with known headings is a newer one of the same stock, or tells of other stock."""
    same = earlier.rows_sha256 == handed_over.rows_sha256
    day = f"{earlier.ended_at:%Y-%m-%d}" if earlier.ended_at else ""
    choices = [Choice(COMPARE, "the same stock, written down later: show how it differs from the book, post nothing")]
    if not same:
        choices.append(Choice(NEW, "other stock, such as another station’s: take it in beside what is there"))
    rows = " and the same rows, cell for cell" if same else ""
    words = f"{earlier.name}, taken in on {day}, has the same headings{rows}."
    asked = Asking(handed_over.answers)
    for row in understood[:1]:
        asked.ask(
            _PURPOSE, row.number, about="The sheet", words=words, choices=choices, proposed=COMPARE if same else None
        )
    return asked.questions


# -- in words ---------------------------------------------------------------------------------------------------------


class RowShown(NamedTuple):
    """One row of their sheet as it would be understood, in words that can be checked against the paper."""

    number: int
    fate: str
    said: str
    became: str
    left: str
    state: str  # "comes in", "has to be answered", "left out"
    codes: tuple[str, ...]
    containers: int
    ml: int


COMES_IN, ASKED, STAYS_OUT = "comes in", "has to be answered", "stays out"


def rows_shown(work: Worked, units: str) -> list[RowShown]:
    """Every filled row, whatever it is."""
    matched = {row.settled.number: row for row in work.matched.rows}
    waiting = {number for question in work.open for number in question.rows}
    settled = {row.number: row for row in work.settled}
    return [
        row_shown(each, settled[each.number], matched.get(each.number), units, waiting=each.number in waiting)
        for each in work.understood
    ]


def row_shown(
    row: Understood, settled: Settled, matched: MatchedRow | None, units: str, *, waiting: bool = False
) -> RowShown:
    """One of them."""
    comes = matched is not None and not waiting
    state = ASKED if waiting else COMES_IN if comes else STAYS_OUT
    steps = [*settled.steps, *(matched.steps if matched else ())]
    if matched and matched.held:
        became = [*held_words(matched, units), *steps]
    else:
        became = [settled.left_out or row.why, *steps]
    return RowShown(
        number=row.number,
        fate=str(settled.fate),
        said=_said(row),
        became=" ".join(became),
        left=" · ".join(left_over(row)),
        state=state,
        codes=tuple(held.code for held in matched.held if held.code) if matched else (),
        containers=len(matched.held) if matched else 0,
        ml=settled.volume_ml if matched else 0,
    )


def _said(row: Understood) -> str:
    """The row as it stands; above the table a heading would say nothing."""
    plain = row.fate in (Fate.TITLE, Fate.HEADER)
    return " · ".join(text if plain or not heading else f"{heading}: {text}" for heading, text in row.said)


def left_over(row: Understood) -> list[str]:
    """What stands in a row and goes into no record: remarks, columns left aside, comments pinned to cells."""
    kept = [f"{field.heading}: {field.read}" if field.heading else field.read for field in row.fields if _left(field)]
    return [*kept, *(f"comment: {comment}" for comment in row.comments)]


_KEPT_ASIDE: Final = frozenset({Meaning.NOTES, Meaning.IGNORED, Meaning.PERCENT})


def _left(field: Any) -> bool:
    return field.meaning in _KEPT_ASIDE and bool(field.read)


def held_words(matched: MatchedRow, units: str) -> list[str]:
    """The containers of a row in sentences: alike ones together."""
    alike: dict[tuple[Any, ...], list[Held]] = {}
    for held in matched.held:
        portion = held.portion
        look = (held.capacity_ml, tuple(ml for _, ml in held.parts), held.sealed, portion.opened_on, portion.condition)
        alike.setdefault(look, []).append(held)
    place = matched.place.words if matched.place else "place not settled"
    product = matched.product or matched.settled.product or "concentrate not settled"
    return [_alike_words(same, place, product, matched, units) for same in alike.values()]


def _alike_words(same: list[Held], place: str, product: str, matched: MatchedRow, units: str) -> str:
    first = same[0]
    kind = counted(len(same), first.kind)
    inside = sum(ml for _, ml in first.parts)
    full = "full" if inside == first.capacity_ml else f"with {volume_text(inside, units)}" if inside else "empty"
    words = f"{kind} of {volume_text(first.capacity_ml, units)}, {'each ' if len(same) > 1 else ''}{full}"
    if first.parts:
        words += f": {product}, {_lots_words(first, matched, units)}"
    marks = _marks(first)
    codes = code_runs(held.code for held in same if held.code)
    return f"{words}{f'; {marks}' if marks else ''}; at {place}{f'; labeled {codes}' if codes else ''}."


def _lots_words(held: Held, matched: MatchedRow, units: str) -> str:
    dates = {said.lot: said for said in matched.settled.lots}
    several = len(held.parts) > 1
    words = []
    for (batch, ml), part in zip(held.parts, (part for part in held.portion.parts if part.ml), strict=True):
        said = dates.get(part.lot)
        lot = f"lot {batch}" + (f" ({volume_text(ml, units)})" if several else "")
        words.append(f"{lot}{_dates_words(said.made, said.good_through) if said else _dates_words(None, None)}")
    return " and ".join(words)


@lru_cache(maxsize=2_000)
def _dates_words(made: GoodThrough | None, good: GoodThrough | None) -> str:
    """What the label of a lot says of its dates."""
    return f"{f', made {made}' if made else ''}, good through{f' {good}' if good else ': not known'}"


def _marks(held: Held) -> str:
    portion = held.portion
    marks = []
    if portion.opened or portion.opened_on:
        marks.append(f"opened {portion.opened_on}" if portion.opened_on else "opened on a day not known")
    elif held.sealed:
        marks.append("sealed")
    elif held.kind in SEALABLE and held.parts:
        marks.append("seal not known")
    if portion.condition:
        marks.append(portion.condition)
    return ", ".join([*marks, *([portion.why] if portion.why else [])])


class Tally(NamedTuple):
    """What stands above the rows: so many rows of each sort, and what they come to."""

    fate: str
    rows: int
    containers: int
    ml: int
    numbers: str


def tally(rows: Iterable[RowShown]) -> list[Tally]:
    """The rows by what they are; together they are all filled rows of the sheet."""
    by_fate: dict[str, list[RowShown]] = {}
    for row in rows:
        by_fate.setdefault(row.fate if row.state != STAYS_OUT or row.fate != Fate.STOCK else "left out", []).append(row)
    return [
        Tally(
            fate,
            len(same),
            sum(row.containers for row in same),
            sum(row.ml for row in same),
            rows_text([row.number for row in same]),
        )
        for fate, same in by_fate.items()
    ]


class Label(NamedTuple):
    """What to write on one container, and where it stands and what is in it by the book."""

    code: str
    kind: str
    capacity_ml: int
    place: str
    contents: str
    row: int


def labels(done: HandedOver) -> list[Label]:
    """The containers of a sheet that was taken in, place by place, in the order of their label codes."""
    row_of = {code: number for number, codes in done.rows.values_list("number", "codes") for code in codes}
    codes = list(row_of)
    found: list[Label] = []
    for start in range(0, len(codes), _BATCH):
        rows = Container.objects.filter(department=done.department_id, code__in=codes[start : start + _BATCH])
        rows = rows.select_related("place__station", "place__unit", "place__vehicle", "concentrate")
        for row in rows.prefetch_related("holdings__lot"):
            lots = ", ".join(holding.lot.batch for holding in row.holdings.all())
            contents = f"{row.concentrate}, lot {lots}" if row.concentrate and lots else "empty"
            place = str(row.place) if row.place else "outside the book"
            found.append(Label(row.code, row.kind, row.capacity_ml, place, contents, row_of[row.code]))
    return sorted(found, key=lambda label: (label.place, label.code))
