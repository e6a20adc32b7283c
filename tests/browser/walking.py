"""Somebody who walks through the product in a browser, and notes everything that is not as it should be."""

from __future__ import annotations

import re
from typing import Any, Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import ConsoleMessage, Locator, Page, Request, Response

_AXE = Axe()
_RULES: dict[str, dict[str, Any]] = {
    "all": {},
    "contrast": {"runOnly": ["color-contrast"]},
    "all but contrast": {"rules": {"color-contrast": {"enabled": False}}},
}
_REFUSED = re.compile(r"^Failed to load resource: the server responded with a status of (4\d\d) ")


class Walker:
    """A page of the browser. Every page that it loads is looked at; `finish` fails when something was noted.

    Noted are: a console message, an error of a script, a request that failed or went elsewhere, a page without its
    content security policy, a page with another answer than expected, and a page wider than its window.
    """

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.troubles: list[str] = []
        self.loads = self.looks = 0
        self._expected = 200
        self._failed: list[tuple[str, str]] = []
        self._saved: set[str] = set()
        page.set_default_timeout(20_000)
        page.on("console", self._said)
        page.on("pageerror", lambda error: self._note(f"script: {error}"))
        page.on("requestfailed", lambda request: self._failed.append((request.url, f"{self.path}: {request.failure}")))
        page.on("download", lambda download: self._saved.add(download.url))
        page.on("request", self._asked)
        page.on("response", self._answered)
        page.on("domcontentloaded", self._loaded)

    # -- what is noted

    def _note(self, trouble: str) -> None:
        self.troubles.append(f"{self.path}: {trouble}")

    def _said(self, message: ConsoleMessage) -> None:
        refused = _REFUSED.match(message.text)
        if refused is None or int(refused[1]) != self._expected:
            self._note(f"console: {message.text}")

    def _asked(self, request: Request) -> None:
        if not request.url.startswith((f"{self.address}/", "data:")):
            self._note(f"external: {request.url}")

    def _answered(self, response: Response) -> None:
        policy = response.headers.get("content-security-policy", "")
        if response.url.startswith("http") and ("default-src 'self'" not in policy or "unsafe" in policy):
            self._note(f"policy of {response.url}: “{policy}”")
        page = response.request.is_navigation_request() and not 300 <= response.status < 400
        wanted = self._expected if page else 200
        if response.status not in (wanted, 304) and not 300 <= response.status < 400:
            self._note(f"{response.url} answered {response.status}")

    def _loaded(self, _: Page) -> None:
        if self.looks != self.loads:
            self._note("a page was loaded before it and not looked at")
        self.loads += 1

    # -- walking

    @property
    def path(self) -> str:
        """Where the walker is."""
        return self.page.url.removeprefix(self.address)

    def open(self, path: str, status: int = 200) -> Walker:
        """Go to an address of the product that answers with `status`."""
        self._expected = status
        self.page.goto(self.address + path)
        self.look()
        self._expected = 200
        return self

    def follow(self, words: str | re.Pattern[str], within: Locator | None = None) -> Walker:
        """Follow a link by its words."""
        return self.go_by((within or self.page.locator("body")).get_by_role("link", name=words).first)

    def door(self, words: str) -> Walker:
        """Go to a page of the navigation, by the list of all pages where it does not stand at hand."""
        pages = self.page.get_by_role("navigation", name="Pages")
        if not pages.get_by_role("link", name=words).first.is_visible():
            pages.locator("summary").click()
        return self.follow(words, pages)

    def press(self, words: str | re.Pattern[str]) -> Walker:
        """Press a button that leads to a page."""
        return self.go_by(self.page.locator("main").get_by_role("button", name=words).first)

    def go_by(self, place: Locator) -> Walker:
        """Click what leads to a page."""
        with self.page.expect_navigation():
            place.click()
        self.look()
        return self

    def key(self, name: str) -> Walker:
        """Press a key that leads to a page."""
        with self.page.expect_navigation():
            self.page.keyboard.press(name)
        self.look()
        return self

    def look(self) -> None:
        """What every page must be: no wider than its window, with one first heading."""
        self.looks = self.loads
        wide = self.page.evaluate("Math.max(document.documentElement.scrollWidth, Math.ceil(visualViewport.width))")
        window = (self.page.viewport_size or {"width": 0})["width"]
        if wide > window:
            self._note(f"{wide} px wide in a window of {window} px")
        if (heads := self.page.locator("h1").count()) != 1:
            self._note(f"{heads} first headings")

    # -- reading

    def text(self, selector: str = "main") -> str:
        """What can be read there, in single spaces."""
        return " ".join(self.page.locator(selector).first.inner_text().split())

    def field(self, label: str | re.Pattern[str]) -> Locator:
        """A field of the page by its label."""
        return self.page.locator("main").get_by_label(label).first

    def accessible(self, what: Literal["all", "contrast", "all but contrast"] = "all") -> None:
        """Note what axe finds on the page as it is drawn now."""
        if not self.page.evaluate("typeof axe === 'object'"):
            self.page.evaluate(_AXE.axe_script)
        asked: dict[str, Any] = {"resultTypes": ["violations"], "preload": False, **_RULES[what]}
        for found in self.page.evaluate("asked => axe.run(asked)", asked)["violations"]:
            where = "; ".join(node["html"][:120] for node in found["nodes"][:3])
            scheme = self.page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'")
            width = (self.page.viewport_size or {"width": 0})["width"]
            self._note(f"axe, {width} px, {scheme}: {found['id']}: {found['help']} ({len(found['nodes'])}): {where}")

    def finish(self) -> None:
        """Fail when something was noted, or when a page was loaded that nobody looked at."""
        failed = [f"failed: {url} from {why}" for url, why in self._failed if url not in self._saved]
        assert self.troubles + failed == [], "\n".join(self.troubles + failed)
        assert self.looks == self.loads, f"{self.loads - self.looks} pages were loaded and not looked at"
