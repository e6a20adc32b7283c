"""What comes out of the printer: the fleet on letter pages, and a pump-panel card on half a letter page."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

import pytest

POINTS_PER_INCH = 72


class Printed(NamedTuple):
    """What a PDF says of itself, read from its plain objects."""

    pages: int
    sizes_in: set[tuple[float, float]]


def printed(walker: Any) -> Printed:
    """Print the page as its own style sheet asks for."""
    data: bytes = walker.page.pdf(prefer_css_page_size=True, print_background=False)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
    sizes = {(round(float(w) / POINTS_PER_INCH, 1), round(float(h) / POINTS_PER_INCH, 1)) for w, h in boxes}
    return Printed(len(re.findall(rb"/Type /Page\b", data)), sizes)


def on_paper(walker: Any) -> str:
    """The text that the printer gets."""
    walker.page.emulate_media(media="print")
    return str(walker.text("body"))


def test_the_fleet_on_letter_pages(visit: Any, server: Any) -> None:
    chief = visit(server, "chief")
    units = chief.page.locator("table.fleet .who a").all_inner_texts()
    sheet = printed(chief)
    assert sheet.sizes_in == {(11.0, 8.5)}
    assert 1 <= sheet.pages <= 4
    said = on_paper(chief)
    assert len(units) == 14
    assert [unit for unit in units if unit not in said] == []
    for words in ("Port Ansley Fire Department, as of", "America/Chicago", "supports the officer’s judgment"):
        assert words in said
    for words in ("Sign out", "Show all", "Save all rows", "Skip to the page"):
        assert words not in said


@pytest.mark.parametrize(("name", "lines"), [("Engine 1", 1), ("Engine 6", 1), ("Foam Tender 1", 1), ("Ladder 2", 0)])
def test_a_card_a_line_on_half_a_letter_page(visit: Any, server: Any, name: str, lines: int) -> None:
    chief = visit(server, "chief")
    chief.follow(name, chief.page.locator("table.fleet .who"))
    chief.follow("Pump-panel card")
    sheet = printed(chief)
    assert sheet.sizes_in == {(5.5, 8.5)}
    assert sheet.pages == max(1, lines)
    said = on_paper(chief)
    assert name in said
    assert said.count("The product listing, local codes") == lines
    assert "Back to" not in said


def test_a_unit_is_printed_with_its_working(visit: Any, server: Any) -> None:
    chief = visit(server, "chief")
    chief.follow("Engine 6", chief.page.locator("table.fleet .who"))
    sheet = printed(chief)
    assert 1 <= sheet.pages <= 6
    said = on_paper(chief)
    assert "required × p × minutes" in said
    assert "Pump-panel card" not in said
