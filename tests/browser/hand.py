"""One hand on a phone: what it taps and fills is counted, and everything that it could tap is measured."""

from __future__ import annotations

from typing import Any, Final

LEAST_PX: Final = 48


class Hand:
    """A walker whose taps and filled fields are counted; axe looks at every page that it comes to."""

    def __init__(self, walker: Any) -> None:
        self.walker, self.page = walker, walker.page
        self.taps = self.fields = 0

    def press(self, words: str) -> None:
        """Tap a button that leads to a page."""
        self.taps += 1
        self.walker.press(words)
        self.walker.accessible()

    def follow(self, words: str) -> None:
        """Tap a link."""
        self.taps += 1
        self.walker.follow(words, self.page.locator("main"))
        self.walker.accessible()

    def tap(self, group: str, answer: str) -> None:
        """Tap one answer of a question."""
        self.taps += 1
        self.page.get_by_role("group", name=group).get_by_text(answer, exact=True).tap()

    def open(self, summary: str) -> None:
        """Open what is folded."""
        self.taps += 1
        self.page.locator("main summary", has_text=summary).tap()

    def fill(self, label: str, words: str) -> None:
        """Type into a field."""
        self.fields += 1
        self.walker.field(label).fill(words)

    def text(self, selector: str = "main") -> str:
        """What can be read."""
        return str(self.walker.text(selector))

    def counted(self) -> tuple[int, int]:
        """(taps, fields) since the last time."""
        counted, self.taps, self.fields = (self.taps, self.fields), 0, 0
        return counted


def targets(hand: Hand) -> None:
    """What is tapped on a phone's page is 48 px high and wide at least, but for links within a sentence."""
    small = hand.page.evaluate(
        """least => [...document.querySelectorAll(
            'main :is(a.button, button, summary, label.radio, input, select, textarea), header .home')]
        .filter(each => each.checkVisibility() && !['hidden', 'radio', 'checkbox'].includes(each.type))
        .map(each => [each.tagName, each.textContent.trim().slice(0, 30), each.getBoundingClientRect()])
        .filter(([, , box]) => box.height < least - 0.01 || box.width < least - 0.01)
        .map(([tag, text, box]) => `${tag} ${text}: ${box.width} x ${box.height}`)""",
        LEAST_PX,
    )
    assert small == []
