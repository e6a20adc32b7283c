"""What one answer asks of other fields: said once, kept by the form that is posted and by a device without signal.

The page carries the rules of its form as JSON; `look_over.js` reads them there before it queues the form.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import NamedTuple


class Rule(NamedTuple):
    """An answer that calls for something, or rules it out.

    at: the field at which the sentence stands; of: the field whose answer it is about; answers: those that call for it
    (or, `otherwise`, all but those); given: wrong where any of these fields holds something; lacking: wrong where none
    of these does; unless: (field, answer) that settle it. In the sentence {answer} and {read} are what was marked and
    what was read.
    """

    at: str
    of: str
    answers: tuple[str, ...]
    sentence: str
    otherwise: bool = False
    given: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    unless: tuple[tuple[str, str], ...] = ()

    def asks(self, answer: str) -> bool:
        """Whether this answer calls for it."""
        return (answer in self.answers) != self.otherwise


def rules_text(rules: Iterable[Rule]) -> str:
    """The rules as a page carries them."""
    kept = [{name: part for name, part in rule._asdict().items() if part} for rule in rules]
    return json.dumps(kept, ensure_ascii=False, separators=(",", ":"))
