"""Plots drawn on the server as SVG: axes, ticks, curves, bands, limits and marked points, each with words.

No script and no inline style: everything has a class, and plots.css colors it for light, dark and print. A curve is
told from another by its dashes and by its words at its end, a point by its shape, so that nothing rests on color alone.
Who draws a plot gives the same in words (`told`); it is what a screen reader reads, and it belongs on the page as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import floor, isfinite, log10
from typing import Final, Literal, NamedTuple

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

Curve = Literal["main", "limit", "fit", "other"]
Shape = Literal["good", "bad", "plain"]
_WIDE, _HIGH = 400, 300  # of the drawing, in its own units: a phone's width, so that its words can be read there
_LEFT, _RIGHT, _TOP, _FOOT = 64, 24, 24, 52  # room for words around the axes
_TICKS: Final = 5
_STEPS: Final = (1.0, 2.0, 2.5, 5.0, 10.0)
_WIDE_LETTER: Final = 7.2  # a letter of 13 units, about


class Axis(NamedTuple):
    """What one direction measures; from and to are widened to whole ticks."""

    words: str  # "stretch", with its unit: "stretch, ft"
    least: float
    greatest: float


class Series(NamedTuple):
    """A line through points, in the order given."""

    points: Sequence[tuple[float, float]]
    words: str = ""  # written at its first point, above it
    kind: Curve = "main"
    below: bool = False  # words below it, where it rises over them


class Band(NamedTuple):
    """An area between two lines over the same x: an interval, a passing band."""

    points: Sequence[tuple[float, float, float]]  # x, lower y, upper y
    words: str = ""


class Mark(NamedTuple):
    """A point that matters. good: a disk, bad: a cross, plain: a square."""

    x: float
    y: float
    words: str = ""
    shape: Shape = "plain"
    above: bool = False  # words above it, where something runs along below


class Plot(NamedTuple):
    """All that is drawn. key: a name that is once on its page, for the ids of title and description."""

    key: str
    title: str
    told: str  # the text alternative: what somebody who cannot see it has to know
    x: Axis
    y: Axis
    series: Sequence[Series] = ()
    bands: Sequence[Band] = ()
    marks: Sequence[Mark] = ()


class _Scale(NamedTuple):
    """Where a number of an axis lies in the drawing."""

    least: float
    step: float
    ticks: int
    start: float
    end: float

    def at(self, value: float) -> float:
        """In the drawing's units, kept within the axes."""
        share = (value - self.least) / (self.step * self.ticks)
        return round(self.start + min(1.0, max(0.0, share)) * (self.end - self.start), 1)

    def values(self) -> list[float]:
        """Where the ticks stand."""
        return [self.least + self.step * n for n in range(self.ticks + 1)]

    def text(self, value: float) -> str:
        """A tick's number with as many decimals as the step has."""
        places = max(0, -floor(log10(self.step) + 1e-9))
        places += bool(places or self.step < 10) and round(self.step * 10**places % 1, 6) != 0
        return f"{value + 0.0:,.{places}f}"


def nice_step(span: float, ticks: int = _TICKS) -> float:
    """The least of 1, 2, 2.5, 5 and 10 times a power of ten of which `ticks` reach over `span`.

    >>> nice_step(200, 5)
    50.0
    """
    rough = span / ticks
    power = 10.0 ** floor(log10(rough))
    return next(step * power for step in _STEPS if step * power >= rough * (1 - 1e-9))


def _scale(axis: Axis, start: float, end: float) -> _Scale:
    if not (isfinite(axis.least) and isfinite(axis.greatest)):
        raise ValueError(f"The axis “{axis.words}” runs from {axis.least} to {axis.greatest}: give it two numbers.")
    span = (axis.greatest - axis.least) or abs(axis.least) or 1.0
    step = nice_step(abs(span))
    least = floor(axis.least / step + 1e-9) * step
    ticks = -int(-((axis.least + abs(span) - least) / step - 1e-9) // 1)
    return _Scale(least, step, max(1, ticks), start, end)


def draw(plot: Plot) -> SafeString:
    """The plot as SVG with its title and its text alternative.

    Nothing is drawn outside the axes: what lies beyond is drawn at their edge, so give axes that reach.
    """
    x, y = _scale(plot.x, _LEFT, _WIDE - _RIGHT), _scale(plot.y, _HIGH - _FOOT, _TOP)
    return format_html(
        '<svg class="plot" viewBox="0 0 {} {}" role="img" aria-labelledby="{key}-title {key}-told">'
        '<title id="{key}-title">{}</title><desc id="{key}-told">{}</desc>{}{}{}{}</svg>',
        _WIDE,
        _HIGH,
        plot.title,
        plot.told,
        _axes(plot, x, y),
        format_html_join("", "{}", ((_band(band, x, y),) for band in plot.bands)),
        format_html_join("", "{}", ((_line(series, x, y),) for series in plot.series)),
        format_html_join("", "{}", ((_mark(mark, x, y),) for mark in plot.marks)),
        key=plot.key,
    )


def _axes(plot: Plot, x: _Scale, y: _Scale) -> SafeString:
    upright = ((x.at(value), y.end, y.start, y.start + 20, x.text(value)) for value in x.values())
    level = ((y.at(value), x.start, x.end, x.start - 8, y.at(value) + 4, y.text(value)) for value in y.values())
    return format_html(
        "{}{}"
        '<path class="axis" d="M{x0} {y1}V{y0}H{x1}"/>'
        '<text class="words" x="{middle}" y="{foot}" text-anchor="middle">{}</text>'
        '<text class="words" transform="translate(16 {half}) rotate(-90)" text-anchor="middle">{}</text>',
        format_html_join(
            "", '<path class="grid" d="M{0} {1}V{2}"/><text x="{0}" y="{3}" text-anchor="middle">{4}</text>', upright
        ),
        format_html_join(
            "", '<path class="grid" d="M{1} {0}H{2}"/><text x="{3}" y="{4}" text-anchor="end">{5}</text>', level
        ),
        plot.x.words,
        plot.y.words,
        x0=x.start,
        x1=x.end,
        y0=y.start,
        y1=y.end,
        middle=(x.start + x.end) / 2,
        foot=_HIGH - 8,
        half=(y.start + y.end) / 2,
    )


def _way(points: Iterable[tuple[float, float]], x: _Scale, y: _Scale) -> str:
    return "L".join(f"{x.at(one)} {y.at(other)}" for one, other in points)


def _beside(at_x: float, words: str) -> tuple[str, float]:
    """On which side of a place its words stand: to the left where they would run over the edge."""
    over = at_x + 10 + len(words) * _WIDE_LETTER > _WIDE - _RIGHT
    return ("end", at_x - 10) if over else ("start", at_x + 10)


def _line(series: Series, x: _Scale, y: _Scale) -> SafeString:
    if not series.points:
        return SafeString("")
    first_x, first_y = series.points[0]
    anchor, at_x = _beside(x.at(first_x), series.words)
    return format_html(
        '<path class="curve {}" d="M{}"/><text class="of-{}" x="{}" y="{}" text-anchor="{}">{}</text>',
        series.kind,
        _way(series.points, x, y),
        series.kind,
        at_x,
        y.at(first_y) + (20 if series.below else -8),
        anchor,
        series.words,
    )


def _band(band: Band, x: _Scale, y: _Scale) -> SafeString:
    if not band.points:
        return SafeString("")
    there = [(at, upper) for at, _, upper in band.points]
    back = [(at, lower) for at, lower, _ in reversed(band.points)]
    at, _, upper = band.points[0]
    return format_html(
        '<path class="band" d="M{}Z"/><text class="of-band" x="{}" y="{}">{}</text>',
        _way([*there, *back], x, y),
        x.at(at) + 8,
        y.at(upper) + 16,
        band.words,
    )


_SHAPES: Final = {
    "good": "m-6 0a6 6 0 1 0 12 0a6 6 0 1 0 -12 0",
    "bad": "m-6 -6l12 12m0 -12l-12 12",
    "plain": "m-5 -5h10v10h-10z",
}


def _mark(mark: Mark, x: _Scale, y: _Scale) -> SafeString:
    at_x, at_y = x.at(mark.x), y.at(mark.y)
    anchor, words_x = _beside(at_x, mark.words)
    return format_html(
        '<path class="mark {}" d="M{} {}{}"/><text class="of-mark" x="{}" y="{}" text-anchor="{}">{}</text>',
        mark.shape,
        at_x,
        at_y,
        SafeString(_SHAPES[mark.shape]),
        words_x,
        at_y - 12 if mark.above else at_y + 20,
        anchor,
        mark.words,
    )
