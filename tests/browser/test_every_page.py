"""Every page that a role can reach by its links, and the first row of each list, in both widths, light and dark."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import ViewportSize

from readiness.actions.demo import PEOPLE
from tests.browser.serving import ROOT
from tests.browser.walking import Walker

NUMBER = re.compile(r"\b[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\b|\d+")
MOMENT = re.compile(r"csrfmiddlewaretoken\" value=\"\w+|\d{4}-\d\d-\d\d \d\d:\d\d|\((just now|\d+ (min|h|d) ago)\)")
NOT_A_PAGE = re.compile(r"^#|^\?|export=|/template/|/audit/workbook/|^mailto:")
DESK, PHONE = ViewportSize(width=1280, height=800), ViewportSize(width=390, height=844)
FEWEST = {"observer": 25, "instructor": 28, "crew": 30, "officer": 36, "logistics": 40, "chief": 60}

drawn_alike: set[str] = set()  # what one role's walk found clean need not be measured in the next role's


def shape_of(address: str) -> str:
    """An address without its numbers: one page of each shape is walked through."""
    return NUMBER.sub("*", address.partition("?")[0].partition("#")[0])


def links_of(walker: Walker) -> list[str]:
    """Where the page leads, in its order."""
    found = walker.page.eval_on_selector_all("a[href]", "all => all.map(each => each.getAttribute('href'))")
    return [href for href in found if not NOT_A_PAGE.search(href)]


def measure(walker: Walker) -> None:
    """Both widths, both schemes.

    The width changes the layout and no color, the scheme changes the colors and no layout (test_colors_of_a_scheme
    holds the style sheets to that). So contrast, which takes most of the time, is measured once a scheme, and
    everything else once a width.
    """
    walker.page.set_viewport_size(DESK)
    walker.look()
    walker.accessible()
    walker.page.set_viewport_size(PHONE)
    walker.look()
    walker.accessible("all but contrast")
    walker.page.emulate_media(color_scheme="dark")
    walker.accessible("contrast")
    walker.page.emulate_media(color_scheme="light")


def is_new(walker: Walker, role: str) -> bool:
    """Whether a page was not measured yet, letter by letter; a role's first page always is, for its doors."""
    drawn = MOMENT.sub("", walker.page.locator("main").inner_html())
    known = drawn in drawn_alike
    drawn_alike.add(drawn)
    return not known or walker.loads <= 3


def walk(walker: Walker, role: str, begin: list[str]) -> dict[str, str]:
    """Through every shape of page that can be reached; returns them with an address of each."""
    walked: dict[str, str] = {}
    to_do = list(begin)
    while to_do:
        address = to_do.pop(0)
        if shape_of(address) in walked:
            continue
        walker.open(address)
        for each in (address, walker.path):
            walked.setdefault(shape_of(each), address)
        to_do.extend(links_of(walker))
        if is_new(walker, role):
            measure(walker)
    return walked


@pytest.mark.parametrize("role", [name for name, *_ in PEOPLE])
def test_every_page_of_a_role(visit: Any, server: Any, role: str) -> None:
    walker = visit(server, role)
    begin = ["/"]
    if role in ("crew", "officer"):  # the unit is chosen by a button, which is no link
        begin.append(walker.press("Foam Tender 1").path)
    walker.open("/fleet/")
    worst = walker.page.locator("table.fleet .who a").first.get_attribute("href")
    begin.extend([worst, "/search/"])  # of the units the worst one has the most to show
    walked = walk(walker, role, begin)
    assert len(walked) >= FEWEST[role], sorted(walked)
    assert {"/fleet/", "/units/*/", "/units/*/card/", "/stock/", "/containers/*/"} <= set(walked)


def test_colors_of_a_scheme() -> None:
    """No rule for a width or a scheme does the other's business; see `measure`."""
    for sheet in (ROOT / "readiness" / "web" / "static" / "readiness").glob("*.css"):
        for asked, rules in blocks(sheet.read_text(encoding="utf-8")):
            if "color-scheme" in asked:
                assert set(re.findall(r"([\w-]+)\s*\{", rules)) == {"root"}, f"{sheet.name}: {asked}"
                values = re.findall(r"^\s*(--[\w-]+): (.+);$", rules, re.MULTILINE)
                assert values
                assert [name for name, value in values if not value.startswith("#")] == [], f"{sheet.name}: {asked}"
            elif "width" in asked and "print" not in asked:
                colored = re.findall(r"[\s{;](?:color|opacity|filter):[^;]*", rules)
                assert [rule for rule in colored if "var(--ink" not in rule] == [], f"{sheet.name}: {asked}"


def blocks(sheet: str) -> list[tuple[str, str]]:
    """Each @media of a style sheet: what it asks, and what stands in it."""
    return re.findall(r"^@media ([^{]+) \{\n(.*?)^\}", sheet, re.MULTILINE | re.DOTALL)


def test_pages_before_anybody_is_known(visit: Any, server: Any) -> None:
    walker = visit(server)
    walked = walk(walker, "nobody", ["/sign-in/"])
    # The queue is the device's own page and shows nothing of the server's; "/crew/", behind it, asks for the sign-in.
    assert set(walked) == {"/sign-in/", "/", "/password/", "/crew/queue/", "/crew/"}
    for size in (DESK, PHONE):
        walker.page.set_viewport_size(size)
        walker.open("/units/999999/")  # asks for the sign-in first: nothing is told about what exists
        assert walker.path.startswith("/sign-in/?next=")


def test_pages_of_refusal(visit: Any, server: Any) -> None:
    walker = visit(server, "observer")
    for address, status in (("/no-such-page/", 404), ("/units/999999/", 404), ("/movements/receive/", 403)):
        walker.open(address, status)
        measure(walker)
