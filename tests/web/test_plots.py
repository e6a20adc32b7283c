"""Plots as SVG: places worked by hand, words for who cannot see, and nothing that a strict policy would refuse."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from readiness.web.plots import Axis, Band, Mark, Plot, Series, draw, nice_step

PLOT = Plot(
    "one",
    "Stretch & pressure",
    "Back pressure rises from 100 to 136 psi.",
    Axis("stretch, ft", 0, 200),
    Axis("back pressure, psi", 0, 150),
    series=(Series(((0, 100), (150, 136)), "back <pressure>"), Series(((0, 130), (200, 130)), "limit", "limit")),
    bands=(Band(((0, 90, 110), (200, 120, 140)), "interval"),),
    marks=(Mark(150, 136, "150 ft", "bad"),),
)
SVG = {"s": "http://www.w3.org/2000/svg"}


def parsed(plot: Plot = PLOT) -> ElementTree.Element:
    """As a browser would read it: not well-formed is an error."""
    return ElementTree.fromstring(draw(plot).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def test_it_has_words_for_who_cannot_see_it() -> None:
    svg = parsed()
    named = [svg.find(f".//*[@id='{key}']").text for key in svg.get("aria-labelledby").split()]
    assert named == ["Stretch & pressure", "Back pressure rises from 100 to 136 psi."]
    assert svg.get("role") == "img"


def test_everything_is_escaped_and_nothing_has_a_style_of_its_own() -> None:
    text = draw(PLOT)
    assert "back &lt;pressure&gt;" in text
    assert "style=" not in text
    assert "<script" not in text


def test_places_by_hand() -> None:
    """Axes 64 to 376 and 248 to 24 units. 200 ft in five steps or fewer: 50 each, four ticks, so 150 ft lies at
    64 + 312 × 150 ÷ 200 = 298. 150 psi: 50 each, so 136 psi lies at 248 − 224 × 136 ÷ 150 = 44.9."""
    mark = parsed().find(".//s:path[@class='mark bad']", SVG)
    assert mark.get("d").startswith("M298.0 44.9")
    curve = parsed().find(".//s:path[@class='curve main']", SVG)
    assert curve.get("d") == "M64.0 98.7L298.0 44.9"  # 248 − 224 × 100 ÷ 150 = 98.7


def test_ticks_are_whole_steps() -> None:
    texts = [each.text for each in parsed().iterfind(".//s:text", SVG)]
    assert [int(text) for text in texts if text.isdigit()] == [0, 50, 100, 150, 200, 0, 50, 100, 150]


@pytest.mark.parametrize(("span", "step"), [(200, 50), (150, 50), (1, 0.2), (0.03, 0.01), (6000, 2000), (61, 20)])
def test_steps(span: float, step: float) -> None:
    """Five steps at most: 200 ÷ 5 = 40, next 50; 150 ÷ 5 = 30, next 50; 1 ÷ 5 = 0.2; 61 ÷ 5 = 12.2, next 20."""
    assert nice_step(span) == pytest.approx(step)


def test_decimals_of_ticks() -> None:
    """0.9875 to 1.0 in steps of 0.0025 needs four decimals; a negative zero is no number to read."""
    fine = parsed(PLOT._replace(y=Axis("r", 0.9875, 1.0)))
    assert "0.9925" in [each.text for each in fine.iterfind(".//s:text", SVG)]
    low = parsed(PLOT._replace(y=Axis("t", -50, 50)))
    assert {"-60", "-20", "0", "60"} <= {each.text for each in low.iterfind(".//s:text", SVG)}


def test_words_at_the_right_edge_stand_to_the_left() -> None:
    plot = PLOT._replace(marks=(Mark(200, 50, "a long word at the edge", "good"),))
    words = parsed(plot).find(".//s:text[@class='of-mark']", SVG)
    assert (words.get("text-anchor"), words.get("x")) == ("end", "366.0")


def test_one_value_alone_and_no_number_at_all() -> None:
    flat = parsed(PLOT._replace(y=Axis("p", 5, 5), series=(), bands=(), marks=()))
    assert flat.find(".//s:path[@class='axis']", SVG) is not None
    with pytest.raises(ValueError, match="give it two numbers"):
        draw(PLOT._replace(y=Axis("p", 0, float("nan"))))
