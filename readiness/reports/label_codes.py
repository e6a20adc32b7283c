"""The next free label codes, in the style in which the department labels that kind of container."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection

from readiness.models import Container, Department

_NUMBERED = re.compile(r"(?P<stem>.*?)(?P<number>[0-9]{1,9})")
LONGEST = 24  # of a label code


def next_codes(department: Department, kind: str, count: int, beside: Collection[str] = ()) -> tuple[str, ...]:
    """`count` codes that follow one another after the highest of that style; retired ones keep their codes.

    The style is the letters that most of the kind carry, with the number of figures of the highest. Without any to
    go by it is the first letter of the kind and four figures: P-0001. beside: codes that others will carry.
    """
    every = list(Container.objects.filter(department=department).order_by().values_list("code", "kind"))
    stem, figures = _style([code for code, of in every if of == kind]) or (f"{kind[:1].upper()}-", 4)
    taken = {code.casefold() for code in (*(code for code, _ in every), *beside)}
    numbers = [int(found["number"]) for code in taken if (found := _of_stem(code, stem))]
    first = max(numbers, default=0) + 1
    made = (f"{stem}{number:0{figures}}" for number in range(first, first + count))
    return tuple(code for code in made if code.casefold() not in taken and len(code) <= LONGEST)


def _of_stem(code: str, stem: str) -> re.Match[str] | None:
    found = _NUMBERED.fullmatch(code)
    return found if found and found["stem"].casefold() == stem.casefold() else None


def _style(codes: list[str]) -> tuple[str, int] | None:
    found = [match for code in codes if (match := _NUMBERED.fullmatch(code))]
    if not found:
        return None
    stem, _ = Counter(match["stem"] for match in found).most_common(1)[0]
    highest = max((match for match in found if match["stem"] == stem), key=lambda match: int(match["number"]))
    return stem, len(highest["number"])
