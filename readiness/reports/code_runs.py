"""Label codes as people list them: a run as its first and last, and nothing between that is not there."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby

_NUMBERED = re.compile(r"(.*?)([0-9]+)")
_SHORTEST_RUN = 3


def code_runs(codes: Iterable[str]) -> str:
    """Label codes, runs of three and more as first to last.

    >>> code_runs(["P-0103", "P-0101", "P-0102", "P-0109", "T-1"])
    'P-0101 to P-0103, P-0109, T-1'
    """
    inorder = sorted(set(codes))
    runs = [[code for _, code in run] for _, run in groupby(enumerate(inorder), key=_distance)]
    return ", ".join(said for run in runs for said in _said(run))


def _distance(numbered: tuple[int, str]) -> tuple[str, int, int]:
    """The same for codes that follow one another: letters, how many figures, number less place in the list."""
    place, code = numbered
    found = _NUMBERED.fullmatch(code)
    return (found[1], len(found[2]), int(found[2]) - place) if found else (code, 0, 0)


def _said(run: list[str]) -> list[str]:
    return [f"{run[0]} to {run[-1]}"] if len(run) >= _SHORTEST_RUN else run
