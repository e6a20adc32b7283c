"""The department's own sheets of labels, beside those that are shipped."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from readiness.actions.keeping import Desk, Fault, Noun, one_line, taken
from readiness.engineering.label_sheets import SheetLayout
from readiness.models import LabelSheet


class LabelSheets(Noun[LabelSheet, SheetLayout]):
    """A sheet's name, paper and grid."""

    name = "label sheet"
    model, facts = LabelSheet, SheetLayout

    def tidy(self, desk: Desk, facts: SheetLayout, row: LabelSheet | None) -> SheetLayout:
        """The name on one line."""
        return facts._replace(name=one_line(facts.name))

    def faults(self, desk: Desk, facts: SheetLayout, row: LabelSheet | None) -> Iterator[Fault]:
        """A name once, and a grid that fits the paper."""
        yield from taken(self.of(desk.department), row, "name", facts.name)
        yield from (Fault(fact, sentence) for fact, sentence in facts.faults())

    def touched(self, row: LabelSheet) -> Collection[int]:
        """No unit rests on it."""
        return ()


LABEL_SHEETS = LabelSheets()
