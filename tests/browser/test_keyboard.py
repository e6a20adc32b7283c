"""By keyboard alone: sign in, go to the fleet, open a unit; what has the focus can be seen."""

from __future__ import annotations

from typing import Any

from readiness.actions.demo import PASSWORD

FOCUS = """() => {
  const at = document.activeElement, style = getComputedStyle(at), box = at.getBoundingClientRect();
  return {words: (at.innerText || at.value || at.name || '').trim(), tag: at.tagName,
          seen: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
          inside: box.bottom > 0 && box.top < innerHeight && box.width > 0}
}"""


def tab_to(walker: Any, words: str, most: int = 60) -> int:
    """Press Tab until that has the focus; every stop on the way can be seen."""
    for presses in range(1, most + 1):
        walker.page.keyboard.press("Tab")
        at = walker.page.evaluate(FOCUS)
        assert at["tag"] != "BODY", f"the focus left the page before “{words}”"
        assert at["seen"], f"nobody can see that {at} has the focus"
        assert at["inside"], f"{at} has the focus out of sight"
        if at["words"].startswith(words):
            return presses
    raise AssertionError(f"“{words}” was not reached by {most} tabs")


def test_from_the_sign_in_to_a_unit(visit: Any, server: Any, device: str) -> None:
    chief = visit(server, device=device)
    chief.open("/")
    assert chief.path == "/sign-in/?next=/"
    tab_to(chief, "Skip to the page")
    tab_to(chief, "name")
    chief.page.keyboard.type("chief")
    tab_to(chief, "password")
    chief.page.keyboard.type(PASSWORD)
    chief.key("Enter")
    assert chief.path == "/fleet/"

    tab_to(chief, "Skip to the page")
    chief.page.keyboard.press("Enter")  # past the doors
    tab_to(chief, "Engine 2")
    chief.key("Enter")
    assert chief.text("h1").startswith("Engine 2")
    tab_to(chief, "Skip to the page")
    assert tab_to(chief, "Pump-panel card") < 25
