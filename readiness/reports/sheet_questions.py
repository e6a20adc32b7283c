"""What has to be answered before a handed-over sheet may come in: one question for all rows that are alike.

The sheet's own doubts (what was meant by "3/4/26") and the book's (which unit is "E1") are asked in one list, and an
answer is kept by the question's group. Nothing is taken as answered because it was proposed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence, Set
from typing import NamedTuple
from urllib.parse import urlencode

from readiness.workbooks.handed_over.records import Choice, Doubt, OpenDoubt, Settled, Understood, doubts_of

FEW = 6


class Question(NamedTuple):
    """One thing to be settled, for every row in which it stands. `answer`: a choice's key or what was typed."""

    group: str
    about: str  # the heading under which it is asked
    rows: tuple[int, ...]
    words: str
    choices: tuple[Choice, ...]
    proposed: str | None  # the key that is proposed; None: there is nothing to propose
    typed: str  # what may be typed instead of a choice; "" where nothing may
    answer: str = ""
    wrong: str = ""  # why the answer cannot be used
    open: bool = True
    apart: bool = False  # its rows may be answered one by one

    @property
    def settled(self) -> bool:
        """Whether it has an answer that can be used."""
        return not self.open

    @property
    def chosen(self) -> str:
        """The answer in words."""
        return next((choice.words for choice in self.choices if choice.key == self.answer), self.answer)

    @property
    def was_typed(self) -> bool:
        """Whether the answer is none of the choices."""
        return bool(self.answer) and all(choice.key != self.answer for choice in self.choices)

    @property
    def apart_query(self) -> str:
        """What an address says so that its rows are asked about one by one."""
        return urlencode({"apart": self.group})

    @property
    def rows_text(self) -> str:
        """The rows as people find them: "rows 7, 12 and 40 more"."""
        return rows_text(self.rows)


def rows_text(rows: Sequence[int]) -> str:
    """Row numbers in words, the first few of many."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    if len(rows) <= FEW:
        return f"rows {', '.join(map(str, rows[:-1]))} and {rows[-1]}"
    return f"rows {', '.join(map(str, rows[: FEW - 1]))} and {len(rows) - FEW + 1:,} more"


class Bundle(NamedTuple):
    """Open questions of one sort with the same choices, which one answer may serve: three unknown stations, all new.

    The answer is a choice's place, from 0: each question then has its own choice of that place.
    """

    about: str
    questions: tuple[Question, ...]

    @property
    def shape(self) -> str:
        """What its questions have in common."""
        return shape_of(self.questions[0])

    @property
    def rows(self) -> tuple[int, ...]:
        """All rows that it answers."""
        return tuple(sorted({row for each in self.questions for row in each.rows}))

    @property
    def rows_text(self) -> str:
        """The rows as people find them."""
        return rows_text(self.rows)

    @property
    def proposed(self) -> int:
        """The place of the choice that is proposed in each of them."""
        return _proposed_at(self.questions[0])

    @property
    def options(self) -> list[tuple[int, str]]:
        """The choices that mean the same in each, by place; a record that is known already is another in each."""
        places = range(len(self.questions[0].choices))
        said = {n: [each.choices[n] for each in self.questions] for n in places}
        return [
            (n, _common([choice.words for choice in same]))
            for n, same in said.items()
            if n == self.proposed or not same[0].key.startswith("is:")
        ]

    @property
    def open(self) -> bool:
        """Whether something in it has no answer."""
        return any(each.open for each in self.questions)


def shape_of(question: Question) -> str:
    """What questions share that one answer may serve: their sort, what their choices do, and which is proposed.

    A unit and a vehicle stand under one heading and are two sorts: what begins their groups tells them apart.
    """
    kinds = [choice.key.partition(":")[0] for choice in question.choices]
    sort = question.group.partition("|")[0].rpartition(":")[2]  # without the row, where it is asked by itself
    return "|".join([question.about, sort, str(_proposed_at(question)), *kinds])


def _proposed_at(question: Question) -> int:
    keys = [choice.key for choice in question.choices]
    return keys.index(question.proposed) if question.proposed in keys else -1


def _common(said: Sequence[str]) -> str:
    """What sentences have in common, with a gap where they differ: "a new station, named …"."""
    split = [each.split(" ") for each in said]
    shortest = min(map(len, split))
    start = next((n for n in range(shortest) if len({words[n] for words in split}) > 1), shortest)
    end = next((n for n in range(shortest - start) if len({words[-1 - n] for words in split}) > 1), shortest - start)
    if all(len(words) == start for words in split):
        return said[0]
    return " ".join([*split[0][:start], "…", *(split[0][-end:] if end else [])])


def bundled(questions: Iterable[Question], single: Set[str] = frozenset()) -> list[Question | Bundle]:
    """Questions, those that one answer may serve together. single: groups and sorts that are asked one by one.

    Together are only those that nobody has answered yet and for which something is proposed.
    """
    found: dict[str, list[Question]] = {}
    for each in questions:
        alone = each.answer or each.wrong or _proposed_at(each) < 0 or not single.isdisjoint({each.group, each.about})
        found.setdefault(each.group if alone else f"together|{shape_of(each)}", []).append(each)
    return [same[0] if len(same) == 1 else Bundle(same[0].about, tuple(same)) for same in found.values()]


class Asking:
    """Questions gathered while rows are gone through, each group once."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self._asked: dict[str, Question] = {}
        self._rows: dict[str, dict[int, None]] = {}

    def ask(
        self,
        group: str,
        row: int,
        *,
        about: str,
        words: str,
        choices: Sequence[Choice],
        proposed: str | None = None,
        typed: str = "",
    ) -> str:
        """The answer to a question, "" while there is none. An answer that is no longer offered is asked anew."""
        self._rows.setdefault(group, {})[row] = None
        known = self._asked.get(group)
        if known is None:
            answer = self.answers.get(group, "")
            if not typed and all(choice.key != answer for choice in choices):
                answer = ""
            known = Question(group, about, (), words, tuple(choices), proposed, typed, answer, open=not answer)
            self._asked[group] = known
        return known.answer

    def asked(self, group: str) -> bool:
        """Whether it was asked already, so that its choices need not be worked out again."""
        return group in self._asked

    def again(self, group: str, row: int) -> str:
        """The answer to a question that was asked already."""
        self._rows[group][row] = None
        return self._asked[group].answer

    def wrong(self, group: str, sentence: str) -> None:
        """The answer that was given cannot be used."""
        self._asked[group] = self._asked[group]._replace(wrong=sentence, open=True)

    @property
    def questions(self) -> tuple[Question, ...]:
        """All of them with their rows, in the order in which they came up."""
        return tuple(each._replace(rows=tuple(self._rows[each.group])) for each in self._asked.values())


def sheet_questions(
    understood: Sequence[Understood],
    settled: Iterable[Settled],
    answers: Mapping[str, str],
    apart: Collection[str] = (),
) -> tuple[Question, ...]:
    """The doubts of the rows themselves, alike ones together unless their group is among `apart`.

    What stands in one row only is answered under the row's own key: there anything may be typed.
    """
    waiting = {(each.doubt.group, row.number): each for row in settled for each in row.open}
    alike: dict[str, list[Doubt]] = {}
    for doubt in doubts_of(tuple(understood)):
        alike.setdefault(doubt.group, []).append(doubt)
    own = set(alike)
    for (group, _), each in waiting.items():  # doubts that come up only when rows are brought together
        if group not in own:
            alike.setdefault(group, []).append(each.doubt)
    found: list[Question] = []
    for group, doubts in alike.items():
        if group in own and (len(doubts) == 1 or group in apart):
            found += [_of_row(doubt, waiting.get((group, doubt.row)), answers) for doubt in doubts]
        else:
            found.append(_of_group(doubts, waiting, answers, group in own))
    return tuple(found)


def _of_row(doubt: Doubt, waiting: OpenDoubt | None, answers: Mapping[str, str]) -> Question:
    answer = answers.get(doubt.key) or answers.get(doubt.group, "")
    wrong = waiting.wrong if waiting and answer else ""
    words = (doubt.row,), doubt.question, doubt.choices, doubt.proposed, doubt.typed
    return Question(doubt.key, doubt.code, *words, answer, wrong, open=waiting is not None)


def _of_group(
    doubts: Sequence[Doubt], waiting: Mapping[tuple[str, int], OpenDoubt], answers: Mapping[str, str], apart: bool
) -> Question:
    first = doubts[0]
    left = [each for doubt in doubts if (each := waiting.get((first.group, doubt.row)))]
    answer = answers.get(first.group, "")
    rows = tuple(each.doubt.row for each in left) or tuple(doubt.row for doubt in doubts)
    wrong = next((each.wrong for each in left if each.wrong), "") if answer else ""
    typed = first.typed if first.typed_for_all else ""
    words = rows, first.question, first.choices, first.proposed, typed
    return Question(first.group, first.code, *words, answer, wrong, open=bool(left), apart=apart)
