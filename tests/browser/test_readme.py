"""The README's screenshots: taken anew on request, and otherwise held against the pages that they show.

Beside each picture stands a text file with the headings, buttons, links and labels that the page had when it was taken,
figures written as #. As long as the page says the same, the picture tells no lie.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from tests.browser.serving import ROOT

FOLDER = ROOT / "fixtures" / "screenshots"
AGE = re.compile(r"\((just now|\d+ (min|h|d) ago)\)")
MOST_BYTES = 200_000
WORDS = "h1, h2, h3, main button, main a.button, main label, legend, caption, th[scope=col], dt"


def crew(visit: Any, server: Any) -> Any:
    """What stands on the phone before the check."""
    walker = visit(server, "crew", device="phone")
    walker.press("Engine 3")
    return walker


def logistics(visit: Any, server: Any) -> Any:
    """What a move would do, before it is entered."""
    walker = visit(server, "logistics")
    walker.open("/stock/short/")
    walker.follow("Move 7 to Hazmat 1")
    walker.press("See what it will do")
    return walker


def chief(visit: Any, server: Any) -> Any:
    """The fleet, worst first."""
    walker = visit(server, "chief")
    walker.page.set_viewport_size({"width": 1280, "height": 1000})
    return walker


def officer(visit: Any, server: Any) -> Any:
    """Why a unit is not ready, and who sees to it."""
    walker = visit(server, "officer")
    walker.open("/fleet/")
    walker.follow("Engine 6", walker.page.locator("table.fleet .who"))
    return walker


PICTURES: dict[str, Callable[[Any, Any], Any]] = {
    "crew": crew,
    "logistics": logistics,
    "chief": chief,
    "officer": officer,
}


def said_on(walker: Any) -> str:
    """A line for each heading, button, link and label; figures as #, so that another day says the same."""
    lines = [" ".join(words.split()) for words in walker.page.locator(WORDS).all_inner_texts()]
    plain = (re.sub(r"\d+", "#", AGE.sub("(#)", line)) for line in lines)
    return "\n".join(line for line in dict.fromkeys(plain) if line) + "\n"


def take(walker: Any, name: str) -> None:
    """Write the picture with a palette, and the words beside it."""
    FOLDER.mkdir(exist_ok=True)
    full = Image.open(io.BytesIO(walker.page.screenshot())).convert("RGB")
    commonest = sorted(full.getcolors(full.width * full.height), reverse=True)[:256]  # a state keeps its very color
    palette = Image.new("P", (1, 1))
    palette.putpalette([part for _, color in commonest for part in color])
    full.quantize(palette=palette, dither=Image.Dither.NONE).save(FOLDER / f"{name}.png", optimize=True)
    (FOLDER / f"{name}.txt").write_text(said_on(walker), encoding="utf-8")


@pytest.mark.parametrize("name", PICTURES)
def test_the_page_says_what_its_picture_shows(
    visit: Any, server: Any, name: str, request: pytest.FixtureRequest
) -> None:
    walker = PICTURES[name](visit, server)
    if request.config.getoption("--take-screenshots"):
        take(walker, name)
    kept = (FOLDER / f"{name}.txt").read_text(encoding="utf-8")
    assert said_on(walker) == kept, "The page has changed: pytest tests/browser --take-screenshots, and look at them"
    path = FOLDER / f"{name}.png"
    assert path.stat().st_size < MOST_BYTES
    with Image.open(path) as picture:
        assert picture.mode == "P"


def test_every_picture_stands_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[[^]]{20,}\]\((fixtures/screenshots/\w+\.png)\)", readme)
    assert sorted(shown) == sorted(f"fixtures/screenshots/{name}.png" for name in PICTURES)
    assert {path.stem for path in FOLDER.iterdir()} <= set(PICTURES), "a picture that nobody takes"
