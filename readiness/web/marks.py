"""States as a word, a shape and a color. The shapes are defined here and nowhere else."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from readiness.reports.code_runs import code_runs


class Mark(NamedTuple):
    """A state's word and its shape in a box of 16 by 16; the color comes from the style sheet by the key."""

    word: str
    shape: SafeString


def _shape(text: str) -> SafeString:
    return mark_safe(text)  # noqa: S308 - constants of this module only


_RING: Final = _shape('<circle cx="8" cy="8" r="6.5" fill="none" stroke="currentColor" stroke-width="2"/>')

MARKS: Final[dict[str, Mark]] = {
    # a full disk with a tick
    "ready": Mark(
        "ready",
        _shape('<circle cx="8" cy="8" r="7.5"/><path class="cut" d="M4.2 8.4l2.6 2.6 5-5.6" fill="none"/>'),
    ),
    # a triangle, point up, with a bar
    "limited": Mark("limited", _shape('<path d="M8 .8l7.5 14H.5z"/><path class="cut" d="M8 5.6v4.6M8 12v1.4"/>')),
    # an open diamond
    "unverified": Mark(
        "unverified",
        _shape('<path d="M8 1.2L14.8 8 8 14.8 1.2 8z" fill="none" stroke="currentColor" stroke-width="2"/>'),
    ),
    # a full square with a cross
    "not_ready": Mark(
        "not ready",
        _shape('<path d="M1 1h14v14H1z"/><path class="cut" d="M4.6 4.6l6.8 6.8M11.4 4.6l-6.8 6.8"/>'),
    ),
    # a ring with a level bar
    "no_foam_duty": Mark("no foam duty", _shape(f'{_RING}<path d="M4.5 7h7v2h-7z"/>')),
    # an open square with a full corner: somebody has put a name to it
    "accepted": Mark(
        "accepted",
        _shape('<path d="M2 2h12v12H2z" fill="none" stroke="currentColor" stroke-width="2"/><path d="M14 5v9H5z"/>'),
    ),
    # a dashed ring: nobody has judged it
    "not_judged": Mark(
        "not judged yet",
        _shape(
            '<circle cx="8" cy="8" r="6.5" fill="none" stroke="currentColor" stroke-width="2" stroke-dasharray="3 2"/>'
        ),
    ),
}
_DRAWN: Final = '<svg class="shape" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">{}</svg>'


def mark_of(key: str) -> Mark:
    """The mark of a state, named by its key or by its word: "not_ready", "Not ready". Raises KeyError."""
    return MARKS[key.lower().replace(" ", "_").replace("-", "_")]


def status_mark(key: str, word: str = "") -> SafeString:
    """The mark of a state: its shape, then its word (or a longer one, such as "not ready: 2"). Raises KeyError."""
    mark = mark_of(key)
    shape = format_html(_DRAWN, mark.shape)
    name = mark.word.replace(" ", "-")
    return format_html('<span class="mark mark-{}">{}<span>{}</span></span>', name, shape, word or mark.word)


def code_words(codes: Iterable[str]) -> SafeString:
    """Label codes, runs as first to last, none of them broken over two lines."""
    runs = ((run,) for run in code_runs(codes).split(", ") if run)
    return format_html_join(", ", '<span class="nobreak">{}</span>', runs)


def bar(share: float, sentence: str, tone: str = "") -> SafeString:
    """A horizontal bar of a share (1.0 = full), as SVG attributes; `sentence` says the same in words.

    tone: the key of a state that gives the color; empty for the plain one.
    """
    width = f"{100 * min(max(share, 0.0), 1.0):.1f}"
    return format_html(
        '<svg class="bar {}" viewBox="0 0 100 8" preserveAspectRatio="none" role="img" aria-label="{}">'
        '<rect class="bar-ground" width="100" height="8"/><rect class="bar-fill" width="{}" height="8"/></svg>',
        f"mark-{tone.replace('_', '-')}" if tone else "bar-plain",
        sentence,
        width,
    )
