"""One foam line solved: operating point, plot, faults, and what was tried as a cure."""

from __future__ import annotations

import itertools

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET

from readiness.engineering.records import Moment
from readiness.engineering.units import from_si
from readiness.models import FoamLine, Unit
from readiness.reports.line_setups import LineSetup, Tried, line_setup, made_text
from readiness.web import figures
from readiness.web.access import Here, get, signed_in
from readiness.web.plots import Axis, Mark, Plot, Series, draw
from readiness.web.preferences import Units


@require_GET
@signed_in
def setup(request: HttpRequest, here: Here, pk: int, line: int) -> HttpResponseBase:
    """The page of one line of a unit."""
    unit = get(Unit.objects.select_related("station", "department"), here, pk=pk)
    row = get(FoamLine.objects.select_related("proportioner", "nozzle").prefetch_related("legs"), here, pk=line)
    told = line_setup(unit, row, Moment(here.now, here.day), here.units)
    if told is None:
        raise Http404
    context = {
        "unit": unit,
        "row": row,
        "told": told,
        "plot": plot(told, here.units),
        "below_m": -told.point.highest_m if told.point and told.point.highest_m is not None else None,
        "fed": [(each, made_text(each)) for each in told.fed],
        "duties": [(each, best(each.tried), rest(each.tried)) for each in told.duties],
    }
    return render(request, "units/line.html", context)


def best(tried: tuple[Tried, ...]) -> list[Tried]:
    """What cures, as it was sorted."""
    return [each for each in tried if each.cures]


def rest(tried: tuple[Tried, ...]) -> list[Tried]:
    """What was tried and cures nothing."""
    return [each for each in tried if not each.cures]


def plot(told: LineSetup, units: Units) -> SafeString:
    """The operating point over the stretch; nothing where it is not solved or has no hose."""
    point = told.point
    if point is None or not told.curve:
        return SafeString("")
    return draw(_eductor(told, units) if told.eductor else _pumped(told, units))


def _feet(told: LineSetup, units: Units) -> list[tuple[float, float]]:
    """The curve in the reader's units."""
    length = figures.unit_of("length", units)
    other = figures.unit_of("pressure" if told.eductor else "flow", units)
    return [(from_si(x, length), from_si(y, other)) for x, y in told.curve]


def _eductor(told: LineSetup, units: Units) -> Plot:
    """Back pressure over the stretch, the limit, where the line stands and where it stops picking up."""
    assert told.point is not None
    assert told.point.limit_kpa is not None
    length, pressure = figures.unit_of("length", units), figures.unit_of("pressure", units)
    curve, limit = _feet(told, units), from_si(told.point.limit_kpa, pressure)
    stretch, end = from_si(told.stretch_m, length), curve[-1][0]
    asked = _on(curve, stretch)
    good = told.point.picks_up
    words = f"{stretch:.0f} {length}: {'draws' if good else 'no pick-up'}"
    marks = [Mark(stretch, asked, words, "good" if good else "bad", above=not good)]
    longest = told.point.longest_m
    if longest and from_si(longest, length) < end:
        words = f"longest {figures.figure(longest, 'length', units, 'down')}"
        marks.append(Mark(from_si(longest, length), limit, words, above=good))
    inlet = from_si(told.point.inlet_kpa, pressure)
    return Plot(
        "stretch",
        f"Back pressure over the stretch: {told.name}",
        _told(told, units),
        Axis(f"stretch, {length}", 0, end),
        Axis(f"back pressure, {pressure}", 0, max(inlet, curve[-1][1])),
        series=(
            Series(curve, "asked by the lay", below=True),
            Series(((0, limit), (end, limit)), "limit", "limit"),
            Series(((0, inlet), (end, inlet)), "inlet", "other"),
        ),
        marks=marks,
    )


def _pumped(told: LineSetup, units: Units) -> Plot:
    """Flow over the stretch at the pump's pressure, and where the line stands."""
    assert told.point is not None
    length, flow = figures.unit_of("length", units), figures.unit_of("flow", units)
    curve, stretch = _feet(told, units), from_si(told.stretch_m, length)
    there = from_si(told.point.flow_lpm, flow)
    return Plot(
        "stretch",
        f"Flow over the stretch: {told.name}",
        _told(told, units),
        Axis(f"stretch, {length}", 0, curve[-1][0]),
        Axis(f"flow, {flow}", 0, max(y for _, y in curve)),
        series=(Series(curve, "flow at this pump pressure"),),
        marks=(Mark(stretch, there, f"{stretch:.0f} {length}: {there:.0f} {flow}", "good" if there else "bad"),),
    )


def _on(curve: list[tuple[float, float]], x: float) -> float:
    """The curve at a place between two of its points."""
    for (x0, y0), (x1, y1) in itertools.pairwise(curve):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return curve[-1][1]


def _told(told: LineSetup, units: Units) -> str:
    """The plot in words."""
    point = told.point
    assert point is not None
    stretch = figures.figure(told.stretch_m, "length", units, "nearest", places=0)
    if not told.eductor:
        return f"With {stretch} of hose it flows {figures.figure(point.flow_lpm, 'flow', units, 'down')}."
    limit = figures.figure(point.limit_kpa, "pressure", units, "down")
    does = "it picks up" if point.picks_up else "it does not pick up"
    longest = (
        ""
        if point.longest_m is None
        else f" The longest stretch is {figures.figure(point.longest_m, 'length', units, 'down')}."
    )
    return f"With {stretch} of hose {does}; the limit of back pressure is {limit}.{longest}"


urlpatterns = [path("units/<int:pk>/lines/<int:line>/", setup, name="unit_line")]
