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
    def shown(self) -> str:
        """What the form keeps of the choices that were shown."""
        return drawn_as(self.question)

    @property
    def was(self) -> str:
        """What the form keeps of the answer that was shown."""
        return name_of(self.question.answer)

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


def drawn_as(question: Question) -> str:
    """A fingerprint of the choices of a question, and of which is proposed."""
    return name_of("|".join([shape_of(question), *(choice.key for choice in question.choices)]))


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
    """Answers by group: what was typed goes before what was chosen; a proposal only where it was asked to be taken.

    What stands as it was drawn says nothing, and an answer is taken away only by who saw it: one that somebody else
    gave meanwhile stays.
    """
    found: dict[str, str] = {}
    for question in asked:
        name = name_of(question.group)
        if f"shown-{name}" not in posted:
            continue
        was = posted.get(f"was-{name}", name_of(""))
        meanwhile = bool(question.answer) and was != name_of(question.answer)
        answer = _said(posted, question, name)
        if not answer and not meanwhile:
            answer = _proposal(posted, question, name)
        if name_of(answer) != was and (answer or not meanwhile):
            found[question.group] = answer
    return found


def _said(posted: Any, question: Question, name: str) -> str:
    """What somebody typed or chose for this question, alone or together with others."""
    typed = str(posted.get(f"typed-{name}", "")).strip()
    chosen = str(posted.get(f"chosen-{name}", "")) or _chosen_together(posted, question)
    return (typed if question.typed else "") or chosen.removeprefix("typed:")


def _proposal(posted: Any, question: Question, name: str) -> str:
    """What is proposed, where it was asked to be taken and is still what was shown."""
    same = posted.get(f"shown-{name}") == drawn_as(question)
    return (question.proposed or "") if "proposals" in posted and same else ""


def _chosen_together(posted: Any, question: Question) -> str:
    """The choice that one answer for several gives this one; none where it is answered or drawn otherwise by now."""
    name, shape = name_of(question.group), name_of(shape_of(question))
    place = str(posted.get(f"chosen-{shape}", ""))
    alike = posted.get(f"in-{name}") == shape and posted.get(f"shown-{name}") == drawn_as(question)
    if not alike or question.answer or not place.isdecimal() or len(place) > 2:
        return ""
    return question.choices[int(place)].key if int(place) < len(question.choices) else ""
