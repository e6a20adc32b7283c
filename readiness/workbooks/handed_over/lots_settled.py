"""One lot, one date: the dates that settled rows give a lot are brought together, or asked about."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from readiness.engineering.dates import DateError, GoodThrough
from readiness.workbooks.handed_over.across import LotDate, fold
from readiness.workbooks.handed_over.dates_said import answered, in_words
from readiness.workbooks.handed_over.records import Doubt, LotSaid, Meaning, OpenDoubt, Settled
from readiness.workbooks.handed_over.row_doubts import exactest, lot_dates_doubt

_Key = tuple[str, str]  # product and lot, folded


class Dated(NamedTuple):
    """Rows with the dates of their lots, and the groups in which dates were asked about."""

    rows: tuple[Settled, ...]
    asked: frozenset[str]


def one_date_each(rows: Sequence[Settled], answers: Mapping[str, str]) -> Dated:
    """The rows with the dates of their lots, each lot's the same on every row."""
    lots = _Lots(_said(rows), answers)
    return Dated(tuple(lots.with_dates(row) if row.lots else row for row in rows), frozenset(lots.asked))


def _said(rows: Sequence[Settled]) -> dict[tuple[_Key, Meaning], tuple[LotDate, ...]]:
    """The dates that rows with a single lot give it; a date beside two lots tells of neither alone."""
    found: dict[tuple[_Key, Meaning], dict[GoodThrough, int]] = {}
    for row in rows:
        if len(row.lots) == 1 and row.lots[0].lot:
            lot = row.lots[0]
            key = (fold(row.product), fold(lot.lot))
            for meaning, label in ((Meaning.MADE, lot.made), (Meaning.GOOD_THROUGH, lot.good_through)):
                if label is not None:
                    found.setdefault((key, meaning), {}).setdefault(label, row.number)
    return {key: exactest([LotDate(label, row) for label, row in dates.items()]) for key, dates in found.items()}


class _Lots:
    """The dates of all lots, and the answers about those that have several."""

    def __init__(self, said: Mapping[tuple[_Key, Meaning], tuple[LotDate, ...]], answers: Mapping[str, str]) -> None:
        self._said, self._answers = said, answers
        self.asked: set[str] = set()

    def with_dates(self, row: Settled) -> Settled:
        """The row with the one date of each of its lots."""
        if self._plain(row):
            return row
        lots, steps = [], list[str]()
        asked = {each.doubt.group: each for each in row.open}
        for lot in row.lots:
            if lot.lot:
                made = self._one(row, lot, Meaning.MADE, steps, asked)
                good = self._one(row, lot, Meaning.GOOD_THROUGH, steps, asked)
                lots.append(LotSaid(lot.lot, made, good))
            else:
                lots.append(lot)
        return row._replace(lots=tuple(lots), steps=(*row.steps, *steps), open=tuple(asked.values()))

    def _plain(self, row: Settled) -> bool:
        """Whether there is nothing to bring together: a single lot, and every row gives it the dates of this one."""
        lot = row.lots[0]
        if len(row.lots) > 1 or not lot.lot:
            return False
        key = (fold(row.product), fold(lot.lot))
        for meaning, own in ((Meaning.MADE, lot.made), (Meaning.GOOD_THROUGH, lot.good_through)):
            known = self._said.get((key, meaning), ())
            if len(known) > 1 or (known and known[0].label != own):
                return False
        return True

    def _one(
        self, row: Settled, lot: LotSaid, meaning: Meaning, steps: list[str], asked: dict[str, OpenDoubt]
    ) -> GoodThrough | None:
        own = lot.made if meaning is Meaning.MADE else lot.good_through
        product = fold(row.product)
        known = self._said.get(((product, fold(lot.lot)), meaning), ())
        if len(known) > 1:
            return self._answered(lot_dates_doubt(lot.lot, product, meaning, known), row.number, own, asked)
        label = known[0].label if known else own
        what = "made" if meaning is Meaning.MADE else "good through"
        if known and own != label:
            here = f" (here {in_words(own)})" if own is not None else ""
            steps.append(f"Lot {lot.lot}: {what} {in_words(known[0].label)}, as row {known[0].row:,} says{here}.")
        elif label is not None and len(row.lots) > 1:
            steps.append(f"Lot {lot.lot}: {what} {in_words(label)} is taken from this row, which names several lots.")
        return label

    def _answered(
        self, doubt: Doubt, row: int, own: GoodThrough | None, asked: dict[str, OpenDoubt]
    ) -> GoodThrough | None:
        """The answer that holds for the lot on every row; without one the doubt stands."""
        answer = self._answers.get(doubt.group)
        self.asked.add(doubt.group)
        try:
            if answer:
                return answered(answer, doubt.choices)
            asked.setdefault(doubt.group, OpenDoubt(doubt._replace(row=row)))
        except DateError as wrong:
            asked[doubt.group] = OpenDoubt(doubt._replace(row=row), str(wrong))
        return own
