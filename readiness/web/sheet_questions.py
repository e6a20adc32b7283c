"""How the questions of a handed-over sheet are drawn, alike ones together, and how what was posted is read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple
from urllib.parse import urlencode

from readiness.reports.handed_over import Worked
from readiness.reports.sheet_questions import Bundle, Question, shape_of


class Asked(NamedTuple):
    """A question as it is drawn: its fields' name, and the first of its rows as they stand."""

    name: str
    question: Question
    said: tuple[tuple[int, str], ...]

    @property
    def proposal(self) -> str:
        """What is proposed, in words."""
        return next((each.words for each in self.question.choices if each.key == self.question.proposed), "")


class Together(NamedTuple):
    """Questions that one answer may serve, as they are drawn."""

    name: str
    bundle: Bundle
    asked: tuple[Asked, ...]

    @property
    def each_query(self) -> str:
        """What an address says so that all of them are asked one by one."""
        return urlencode({"single": self.bundle.about})


def name_of(group: str) -> str:
    """What stands for a group in a form: groups hold whatever stood in a cell."""
    return hashlib.sha256(group.encode()).hexdigest()[:16]


def headings(page: Iterable[Question | Bundle], work: Worked) -> list[tuple[str, list[Asked | Together]]]:
    """What a page asks, by sort."""
    said = {row.number: " · ".join(text for _, text in row.said) for row in work.understood}
    found: dict[str, list[Asked | Together]] = {}
    for each in page:
        found.setdefault(heading_of(each.about), []).append(_drawn(each, said))
    return list(found.items())


def _drawn(each: Question | Bundle, said: Mapping[int, str]) -> Asked | Together:
    if isinstance(each, Bundle):
        return Together(name_of(each.shape), each, tuple(_asked(question, said, most=1) for question in each.questions))
    return _asked(each, said)


def _asked(question: Question, said: Mapping[int, str], most: int = 2) -> Asked:
    first = tuple((number, said.get(number, "")) for number in question.rows[:most])
    return Asked(name_of(question.group), question, first)


ABOUT: Mapping[str, str] = {
    "station": "Stations",
    "where": "Places",
    "product": "Concentrates",
    "kind": "Kinds of concentrate",
    "percent": "Percentages",
    "container": "Sorts of container",
    "quantity": "How many",
    "size": "Sizes",
    "volume": "Volumes",
    "gallons": "Gallons",
    "lot": "Lots",
    "lot_shares": "Several lots in one place",
    "lot_made": "Lots with several dates",
    "lot_good_through": "Lots with several dates",
    "made": "Days of manufacture",
    "made_future": "Days of manufacture",
    "good_through": "Good through",
    "dates_swapped": "Dates that seem changed over",
    "opened": "Opened containers",
    "fill": "How full",
    "topped": "Topped up",
    "hurt": "Damaged containers",
    "state": "May it be counted on",
    "gone": "Is it there",
    "some_sealed": "Seals",
}


def heading_of(about: str) -> str:
    """The heading of a sort of question."""
    return ABOUT.get(about, about.replace("_", " ").capitalize())


def posted_answers(posted: Any, asked: Iterable[Question]) -> dict[str, str]:
    """Answers by group: what was typed goes before what was chosen; a proposal only where it was asked to be taken."""
    found: dict[str, str] = {}
    for question in asked:
        name = name_of(question.group)
        if f"shown-{name}" not in posted:
            continue
        typed = str(posted.get(f"typed-{name}", "")).strip()
        chosen = str(posted.get(f"chosen-{name}", "")) or _chosen_together(posted, question)
        answer = (typed if question.typed else "") or chosen.removeprefix("typed:")
        if not answer and "proposals" in posted and question.proposed:
            answer = question.proposed
        if answer or question.answer:
            found[question.group] = answer
    return found


def _chosen_together(posted: Any, question: Question) -> str:
    """The choice that one answer for several gives this one; none where it is no longer like the others."""
    place = str(posted.get(f"chosen-{name_of(shape_of(question))}", ""))
    alike = posted.get(f"in-{name_of(question.group)}") == name_of(shape_of(question))
    if not alike or question.answer or not place.isdecimal() or len(place) > 2:
        return ""
    return question.choices[int(place)].key if int(place) < len(question.choices) else ""
