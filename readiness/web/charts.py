"""Charts drawn on the server: bars in rows, legible on a phone and in print, the same said in words.

Color is never alone: the second part of a bar is hatched, and each bar has its figure beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

WIDTH: Final = 360
_LABEL, _FIGURE, _ROW, _BAR, _TOP = 100, 62, 26, 15, 26
_HATCH: Final = mark_safe(
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="6" height="6" class="chart-second"/><path d="M0 0V6" class="chart-hatch"/></pattern></defs>'
)


class Bar(NamedTuple):
    """A row: its label, its two parts, and the figure beside it."""

    label: str
    first: float
    second: float
    figure: str


def bars(title: str, description: str, first: str, second: str, rows: Sequence[Bar]) -> SafeString:
    """Horizontal bars of two parts each, on one scale; first and second: what the parts are called."""
    most = max((row.first + row.second for row in rows), default=0.0) or 1.0
    height = _TOP + _ROW * len(rows) + 4
    drawn = _together(*(_row(number, row, most) for number, row in enumerate(rows)))
    return format_html(
        '<svg class="chart" viewBox="0 0 {} {}" role="img" aria-labelledby="chart-title chart-words">'
        '<title id="chart-title">{}</title><desc id="chart-words">{}</desc>{}{}{}</svg>',
        WIDTH,
        height,
        title,
        description,
        _HATCH,
        _legend(first, second),
        drawn,
    )


def _rect(x: float, y: float, width: float, height: float, look: str) -> SafeString:
    """A box; `second` ones are hatched."""
    drawn = '<rect x="{}" y="{}" width="{}" height="{}" class="chart-{}" fill="url(#hatch)"/>'
    return format_html(drawn, x, y, round(width, 1), height, look)


def _text(x: float, y: float, words: str, anchor: str = "start") -> SafeString:
    return format_html('<text x="{}" y="{}" text-anchor="{}">{}</text>', round(x, 1), y, anchor, words)


def _together(*parts: SafeString) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))


def _legend(first: str, second: str) -> SafeString:
    return _together(
        _rect(_LABEL, 4, 12, 12, "first"),
        _text(_LABEL + 17, 14, first),
        _rect(_LABEL + 130, 4, 12, 12, "edge"),
        _text(_LABEL + 147, 14, second),
    )


def _row(number: int, row: Bar, most: float) -> SafeString:
    one, two = ((WIDTH - _LABEL - _FIGURE) * part / most for part in (row.first, row.second))
    top = _TOP + _ROW * number
    return _together(
        _text(_LABEL - 8, top + 12, row.label, "end"),
        _rect(_LABEL, top, one, _BAR, "first"),
        _rect(_LABEL + round(one, 1), top, two, _BAR, "edge"),
        _text(_LABEL + one + two + 6, top + 12, row.figure),
    )
