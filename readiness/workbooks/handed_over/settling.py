"""Rows with the answers to their doubts: what each brings in, or why it stays out.

An answer to one row (``doubt.key``) goes before the answer to all alike (``doubt.group``). Without either the doubt
stays open, unless ``take_proposals`` says that the proposed answers hold; a doubt without a proposal always has to be
answered. A lot has one date: once all rows are settled, the dates that they give a lot are brought together.

A person answers in rounds. ``settle_again`` goes through those rows alone whose answers have changed since.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from fractions import Fraction
from typing import Any, Final, NamedTuple

from readiness.engineering.dates import DateError, GoodThrough
from readiness.workbooks.columns import VOLUME, Units
from readiness.workbooks.handed_over.amounts_said import (
    count_typed,
    gallons_as,
    volume_typed,
)
from readiness.workbooks.handed_over.dates_said import EXPIRED, answered, in_words
from readiness.workbooks.handed_over.fields import AS_WRITTEN, SET_ASIDE, STORE, UNIT
from readiness.workbooks.handed_over.lots_settled import one_date_each
from readiness.workbooks.handed_over.names_said import codes_named
from readiness.workbooks.handed_over.notes_said import says_sealed
from readiness.workbooks.handed_over.percents_said import from_key as percents_from_key
from readiness.workbooks.handed_over.percents_said import read_typed
from readiness.workbooks.handed_over.places_said import read_place
from readiness.workbooks.handed_over.portions import Stock, portions_of
from readiness.workbooks.handed_over.records import (
    LEAVE_OUT,
    ROW,
    Doubt,
    Fate,
    LotSaid,
    Meaning,
    OpenDoubt,
    Percents,
    Settled,
    Spot,
    Understood,
)
from readiness.workbooks.handed_over.row_doubts import ABOVE, EACH, EVEN, GOOD, NEW_CODES, NUMBERED, SWAPPED, TOGETHER
from readiness.workbooks.handed_over.saying import UNKNOWN
from readiness.workbooks.rows import quoted

_LEFT_OUT: Final[Mapping[Fate, str]] = {
    Fate.HEADER: "Headings; no stock.",
    Fate.TITLE: "A title or a remark; no stock.",
    Fate.TOTAL: "A total of other rows; no stock of its own.",
    Fate.NO_FOAM: "It says that there is no foam.",
}
_LONGEST_NAME: Final = 60
_ANSWERED_OUT: Final = "Left out, as answered."


class WrongAnswer(ValueError):
    """An answer that is none; the message says what was read and what would be right."""


def settle(
    understood: Sequence[Understood],
    answers: Mapping[str, str],
    *,
    units: Units,
    today: date,
    take_proposals: bool = False,
) -> tuple[Settled, ...]:
    """One ``Settled`` for every row, in their order."""
    settler = _Settler(answers, units, today, take_proposals)
    return one_date_each([settler.row(row) for row in understood], answers).rows


class Settling(NamedTuple):
    """Rows as they were settled by some answers, and what those hang on."""

    answers: Mapping[str, str]
    alone: tuple[Settled, ...]  # each row by its own answers
    rows: tuple[Settled, ...]  # with the dates of their lots brought together
    asked_of_lots: frozenset[str]  # the groups in which those dates are asked about


def settle_again(
    understood: Sequence[Understood],
    answers: Mapping[str, str],
    before: Settling | None,
    *,
    units: Units,
    today: date,
) -> Settling:
    """The rows by these answers. `before`: the same rows, units and day, by other answers."""
    settler = _Settler(answers, units, today, take_proposals=False)
    if before is None:
        alone = tuple(settler.row(row) for row in understood)
    else:
        changed = {key for key in {*answers, *before.answers} if answers.get(key) != before.answers.get(key)}
        again = [row for row in understood if not changed.isdisjoint(_asked_of(row))]
        if not again and changed.isdisjoint(before.asked_of_lots):
            return before._replace(answers=answers)
        new = {row.number: settler.row(row) for row in again}
        alone = tuple(new.get(row.number, row) for row in before.alone)
    dated = one_date_each(alone, answers)
    return Settling(answers, alone, dated.rows, dated.asked)


def _asked_of(row: Understood) -> Iterator[str]:
    """The keys of all answers that settle a row by itself."""
    yield f"{row.number}:{ROW}"
    for doubt in row.doubts:
        yield doubt.key
        yield doubt.group


class _Draft:
    """What a row has come to while its answers are put in."""

    def __init__(self, row: Understood) -> None:
        self.row = row
        self.values: dict[Meaning, Any] = {}
        for field in row.fields:
            if field.value is not None and field.meaning not in self.values:
                self.values[field.meaning] = field.value
        self.stock = Stock()
        self.steps: list[str] = []
        self.left_out = ""
        self.codes = codes_named(self.read(Meaning.CODE))
        self.open: list[OpenDoubt] = []

    def read(self, meaning: Meaning) -> str:
        """What stood in the row."""
        field = self.row.field(meaning)
        return field.read if field else ""


class _Settler:
    def __init__(self, answers: Mapping[str, str], units: Units, today: date, take_proposals: bool) -> None:
        self._answers, self._units, self._today, self._take = answers, units, today, take_proposals

    def row(self, row: Understood) -> Settled:
        """One row with its answers."""
        if row.fate in _LEFT_OUT:
            station, spot = row.value(Meaning.STATION), row.value(Meaning.WHERE)
            return Settled(
                row.number,
                row.fate,
                _LEFT_OUT[row.fate],
                station if isinstance(station, str) else "",
                spot if isinstance(spot, Spot) else None,
            )
        if self._answers.get(f"{row.number}:{ROW}") == LEAVE_OUT:
            return Settled(row.number, row.fate, _ANSWERED_OUT)
        draft = _Draft(row)
        for doubt in row.doubts:
            self._answer(doubt, draft)
        if draft.left_out:
            return Settled(row.number, row.fate, draft.left_out, steps=tuple(draft.steps))
        return self._finished(draft)

    def _answer(self, doubt: Doubt, draft: _Draft) -> None:
        answer = self._answer_to(doubt)
        if not answer:
            draft.open.append(OpenDoubt(doubt, self._why_not(doubt)))
            return
        try:
            _ANSWERS[doubt.code](self, draft, doubt, answer)
        except (WrongAnswer, DateError) as wrong:
            draft.open.append(OpenDoubt(doubt, str(wrong)))
            return
        words = next((choice.words for choice in doubt.choices if choice.key == answer), quoted(answer))
        draft.steps.append(f"{doubt.question} Answer: {words}.")

    def _answer_to(self, doubt: Doubt) -> str:
        """The row's own answer, else that of all alike, else the proposed one if proposals hold."""
        own = self._answers.get(doubt.key, "").strip()
        if own:
            return own
        shared_answer = self._answers.get(doubt.group, "").strip()
        if shared_answer and (doubt.typed_for_all or any(choice.key == shared_answer for choice in doubt.choices)):
            return shared_answer
        return doubt.proposed or "" if self._take else ""

    def _why_not(self, doubt: Doubt) -> str:
        typed = self._answers.get(doubt.group, "").strip()
        return f"{quoted(typed)} was typed for all of these rows, which differ: type it at each row." if typed else ""

    # Each code of doubt to what its answer does.

    def _name(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        """A station's or a product's name."""
        if answer == ABOVE:
            answer = next(choice.value for choice in doubt.choices if choice.key == ABOVE)
        if answer == UNKNOWN:
            draft.stock.condition = draft.stock.condition or "quarantined"
            return
        draft.values[Meaning(doubt.code)] = _named(answer)

    def _where(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        text = draft.read(Meaning.WHERE)
        if answer == STORE:
            draft.values[Meaning.WHERE] = Spot(text, "store", part=text)
            return
        name = _named(answer.removeprefix(f"{UNIT}:"))
        spot = read_place(text)
        part = spot.part if spot.what == "unit" else ""
        draft.values[Meaning.WHERE] = Spot(text, "unit", name, spot.reserve, part, spot.built_in)

    def _kind(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer not in {choice.key for choice in doubt.choices}:
            raise WrongAnswer(f"{quoted(answer)} was read: choose one of the kinds.")
        draft.values[Meaning(doubt.code)] = answer

    def _percent(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        percents = _percents(doubt, answer)
        if percents is not None:
            draft.values[Meaning.PERCENT] = percents

    def _quantity(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        count = count_typed(answer)
        if count is None:
            raise WrongAnswer(f"{quoted(answer)} was read: a whole number belongs here, like 4.")
        draft.values[Meaning.QUANTITY] = count

    def _volume(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        """A size or a total: as a checked one is meant, in a gallon that is now known, or as typed."""
        meaning = Meaning(doubt.code)
        if answer in {"sizes", "total"}:
            draft.stock.by_total = answer == "total"
        elif answer in {EACH, TOGETHER}:
            self._each_or_together(draft, meaning, answer)
        elif doubt.group.endswith("|which gallon"):
            draft.values[meaning] = self._in_gallons(draft, meaning, answer)
        else:
            draft.values[meaning] = self._typed_volume(answer)

    def _each_or_together(self, draft: _Draft, meaning: Meaning, answer: str) -> None:
        """A size that may be of all, or a volume of the row that may be of each."""
        if meaning is Meaning.SIZE:
            draft.stock.together = answer == TOGETHER
        elif answer == EACH:
            draft.values[Meaning.SIZE] = draft.values.pop(Meaning.VOLUME)

    def _in_gallons(self, draft: _Draft, meaning: Meaning, unit: str) -> int:
        ml = gallons_as(draft.read(meaning), unit) if unit in {"gal", "imp gal", "L"} else None
        if ml is None:
            raise WrongAnswer(f"{quoted(unit)} was read: choose US gallons, imperial gallons or litres.")
        return ml

    def _typed_volume(self, answer: str) -> int:
        ml = volume_typed(answer, VOLUME.unit(self._units))
        if ml is None:
            right = f"a volume belongs here, like {VOLUME.example(self._units)}"
            raise WrongAnswer(f"{quoted(answer)} was read: {right}.")
        return ml

    def _lot(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer == SET_ASIDE:
            draft.stock.condition = draft.stock.condition or "quarantined"
        if answer in {SET_ASIDE, UNKNOWN}:
            draft.values[Meaning.LOT] = ("",)
        else:
            draft.values[Meaning.LOT] = (_named(draft.read(Meaning.LOT) if answer == AS_WRITTEN else answer),)

    def _date(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        label = answered(answer, doubt.choices)
        if answer == EXPIRED:
            draft.stock.condition = draft.stock.condition or "quarantined"
        meaning = Meaning(doubt.code.removeprefix("lot_"))
        draft.values.pop(meaning, None)
        if label is not None:
            draft.values[meaning] = label
        self._refuse_future(meaning, label)

    def _refuse_future(self, meaning: Meaning, label: GoodThrough | None) -> None:
        if meaning is Meaning.MADE and label is not None and label.day.replace(day=1) > self._today:
            raise WrongAnswer(f"{quoted(in_words(label))} was read, which lies after today: nothing was made then.")

    def _made_future(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        self._date(draft, doubt._replace(code=Meaning.MADE.value), answer)

    def _swapped(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        made, good = draft.values.pop(Meaning.MADE, None), draft.values.pop(Meaning.GOOD_THROUGH, None)
        if answer == SWAPPED:
            draft.values |= {Meaning.MADE: good, Meaning.GOOD_THROUGH: made}
        elif answer != UNKNOWN:
            raise WrongAnswer(f"{quoted(answer)} was read: choose one of the answers.")

    def _shares(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        lots: tuple[str, ...] = draft.values.get(Meaning.LOT, ())
        if answer == EVEN:
            draft.stock.even_lots = True
        elif answer.startswith("n:"):
            draft.stock.lot_counts = tuple(int(each) for each in answer[2:].split(","))
        elif "," in answer and answer in {choice.key for choice in doubt.choices}:
            draft.stock.lot_ml = tuple(int(each) for each in answer.split(","))
        elif (draft.values.get(Meaning.QUANTITY) or 1) > 1:
            draft.stock.lot_counts = self._typed_counts(draft, answer, len(lots))
        else:
            draft.stock.first_lot_ml = self._typed_volume(answer)

    def _typed_counts(self, draft: _Draft, answer: str, lots: int) -> tuple[int, ...]:
        whole = int(draft.values[Meaning.QUANTITY])
        first = count_typed(answer)
        if first is None or not 0 <= first <= whole or lots != 2:
            raise WrongAnswer(f"{quoted(answer)} was read: a whole number from 0 to {whole} belongs here.")
        return (first, whole - first)

    def _opened(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        many, on, _ = doubt.choices[0].key.split("|")
        draft.stock.opened = int(many)
        draft.stock.opened_on = date.fromisoformat(on) if on else None
        draft.stock.opened_share, draft.stock.opened_ml = self._how_full(doubt, answer)

    def _fill(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        chosen = answer if _is_choice(doubt, answer) else doubt.choices[0].key
        draft.stock.filled = int(chosen.partition("|")[0])
        draft.stock.filled_share, draft.stock.filled_ml = self._how_full(doubt, answer)

    def _how_full(self, doubt: Doubt, answer: str) -> tuple[Fraction | None, int | None]:
        """(share, ml): a choice says a fraction such as 1/2 or an exact volume; what is typed is a volume."""
        fill = answer.rpartition("|")[2]
        if _is_choice(doubt, answer) and not fill.endswith("ml"):
            return Fraction(fill), None
        return None, self._typed_volume(fill)

    def _hurt(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer == GOOD:
            return
        many, found, what = answer.partition("|")
        if not found or what not in {"quarantined", LEAVE_OUT}:
            raise WrongAnswer(f"{quoted(answer)} was read: choose one of the answers.")
        draft.stock.aside, draft.stock.aside_gone = int(many), what == LEAVE_OUT

    def _state(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer not in {choice.key for choice in doubt.choices}:
            raise WrongAnswer(f"{quoted(answer)} was read: choose one of the answers.")
        draft.stock.condition = "" if answer == GOOD else answer

    def _gone(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer == LEAVE_OUT:
            draft.left_out = _ANSWERED_OUT

    def _topped(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        what, _, ml = answer.partition("|")
        if what == SET_ASIDE:
            draft.stock.condition = draft.stock.condition or "quarantined"
        elif what == "other":
            draft.stock.other_lot_ml = int(ml)

    def _some_sealed(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        draft.stock.sealed = None if answer == GOOD else count_typed(answer)
        draft.stock.all_sealed = answer == GOOD

    def _code(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        """Codes numbered on from one, of their own, or typed: one for each container."""
        count = int(draft.values.get(Meaning.QUANTITY, 1))
        if answer == NEW_CODES:
            draft.codes = ()
        elif answer == NUMBERED:
            draft.codes = tuple(f"{draft.read(Meaning.CODE)}-{number}" for number in range(1, count + 1))
        else:
            draft.codes = codes_named(answer)
            if len(draft.codes) != count:
                raise WrongAnswer(
                    f"{quoted(answer)} was read: {count} label codes belong here, one for each container."
                )

    def _row(self, draft: _Draft, doubt: Doubt, answer: str) -> None:
        if answer != LEAVE_OUT:
            raise WrongAnswer(f"{quoted(answer)} was read: this row can only stay out.")
        draft.left_out = _ANSWERED_OUT

    # The row as it comes in.

    def _finished(self, draft: _Draft) -> Settled:
        values, row = draft.values, draft.row
        notes = "; ".join([field.read for field in row.fields if field.meaning is Meaning.NOTES] + list(row.comments))
        stock = draft.stock
        stock.all_sealed = stock.all_sealed or (bool(notes) and says_sealed(notes))
        lots: tuple[str, ...] = values.get(Meaning.LOT, ())
        portions, steps = ((), []) if draft.open else portions_of(stock, values, lots)
        code, many = draft.read(Meaning.CODE), sum(portion.many for portion in portions)
        codes = draft.codes if len(draft.codes) == many else ()
        if code and not codes and not draft.open:
            steps.append(f"The label code {quoted(code)} is not used: the {many} containers get codes of their own.")
            notes = f"{notes}; label code {code}" if notes else f"label code {code}"
        if not draft.open and not portions:
            return Settled(row.number, row.fate, "It says that there are none.", steps=tuple(draft.steps))
        made, good = values.get(Meaning.MADE), values.get(Meaning.GOOD_THROUGH)
        spot = values.get(Meaning.WHERE)
        if spot is not None and spot.what == "unit" and values.get(Meaning.CONTAINER) == "fixed tank":
            spot = spot._replace(built_in=True)
        return Settled(
            row.number,
            row.fate,
            "",
            station=values.get(Meaning.STATION, ""),
            spot=spot,
            product=values.get(Meaning.PRODUCT, ""),
            kind=values.get(Meaning.KIND, ""),
            percents=values.get(Meaning.PERCENT),
            container=values.get(Meaning.CONTAINER, ""),
            portions=portions,
            lots=tuple(LotSaid(lot, made, good) for lot in lots),
            code=code if codes else "",
            codes=codes,
            notes=notes,
            steps=(*draft.steps, *steps),
            open=tuple(draft.open),
        )


def _is_choice(doubt: Doubt, answer: str) -> bool:
    return any(choice.key == answer for choice in doubt.choices)


def _named(text: str) -> str:
    name = " ".join(text.split())
    if not name or len(name) > _LONGEST_NAME:
        raise WrongAnswer(f"{quoted(text)} was read: a name of at most {_LONGEST_NAME} characters belongs here.")
    return name


def _percents(doubt: Doubt, answer: str) -> Percents | None:
    if answer in {choice.key for choice in doubt.choices}:
        return percents_from_key(answer)
    typed = read_typed(answer)
    if typed is None:
        raise WrongAnswer(f"{quoted(answer)} was read: percentages belong here, like 3, 3x6 or 0.1-1.")
    return typed


_Answer = Callable[[_Settler, _Draft, Doubt, str], None]
_ANSWERS: Final[Mapping[str, _Answer]] = {
    "row": _Settler._row,
    "station": _Settler._name,
    "product": _Settler._name,
    "where": _Settler._where,
    "kind": _Settler._kind,
    "container": _Settler._kind,
    "percent": _Settler._percent,
    "quantity": _Settler._quantity,
    "size": _Settler._volume,
    "volume": _Settler._volume,
    "lot": _Settler._lot,
    "lot_shares": _Settler._shares,
    "made": _Settler._date,
    "good_through": _Settler._date,
    "lot_made": _Settler._date,
    "lot_good_through": _Settler._date,
    "made_future": _Settler._made_future,
    "dates_swapped": _Settler._swapped,
    "opened": _Settler._opened,
    "fill": _Settler._fill,
    "hurt": _Settler._hurt,
    "state": _Settler._state,
    "gone": _Settler._gone,
    "struck": _Settler._gone,
    "code": _Settler._code,
    "topped": _Settler._topped,
    "some_sealed": _Settler._some_sealed,
}
