"""A blind inventory with two phones at once, a second person, an explanation, and the signed sheet of paper."""

from __future__ import annotations

import re
from typing import Any

from tests.browser.walking import Walker

STORE = "Quayside store"
BOOK = re.compile(r"\b40\.0|\b35\.0|\b757\.")  # the store's nine containers by the book, in all: never on these pages


def test_two_phones_count_at_once_and_a_second_person_confirms(visit: Any, own_server: Any) -> None:
    logistics = visit(own_server, "logistics")
    logistics.door("Inventories")
    logistics.follow("Open an inventory")
    logistics.accessible()
    logistics.field("What is counted").select_option(label=STORE)
    logistics.press("Open the inventory")
    inventory = logistics.path
    logistics.accessible()

    crew, officer = (visit(own_server, name, device="phone") for name in ("crew", "officer"))
    for phone in (crew, officer):  # both have the sheet before either has counted
        phone.open(inventory)
        phone.follow(STORE, phone.page.locator("main table"))
        phone.accessible()
        assert not BOOK.search(phone.page.content())
    place = crew.path
    tick(crew, "P-0172", "P-0173", "P-0174")
    tick(officer, "P-0174", "P-0175")  # one of them twice: both are kept
    crew.press("Record what I marked")
    officer.press("Record what I marked")
    assert "2 counted." in officer.text(".messages")
    crew.open(place)
    assert "P-0175" in crew.text(".readings"), "what the other phone counted"
    assert crew.page.locator(".to-count .code", has_text="P-0175").count() == 0
    crew.accessible()

    count_one(crew, "P-0176", "measured: stick", "3")
    count_one(crew, "P-0177", "not here")
    count_one(crew, "P-0101", "sealed and full")  # the book has it on Engine 1
    tick(crew, "P-0178", "P-0179", "X-0001")
    crew.press("Record what I marked")
    assert "Everything here was looked at." in crew.text()

    logistics.open(inventory)
    assert "10 of 10 looked at." in logistics.text()
    logistics.press("End the count")
    logistics.accessible()
    confirm_all(officer, place, {"P-0176": ("measured: stick", "3"), "P-0177": ("not here", "")})
    confirm_all(crew, place, {})  # the sample may have met one that the officer counted
    officer.open(inventory)
    assert "Every second look is done." in officer.text()
    officer.press(re.compile("Confirm: a second person"))
    officer.accessible()
    explain_and_sign(visit(own_server, "chief"), inventory)


def tick(walker: Walker, *codes: str) -> None:
    """Mark pails as sealed and full."""
    for code in codes:
        walker.page.locator("label.seal", has_text=code).click()


def count_one(walker: Walker, code: str, answer: str, volume: str = "") -> None:
    """Type a code and say what is seen."""
    walker.field("Label code").fill(code.lower())
    walker.press("Count it")
    walker.page.get_by_text(answer, exact=True).click()
    if volume:
        walker.field("How much is in it").fill(volume)
    walker.press("Record the count")


def confirm_all(walker: Walker, place: str, seen: dict[str, tuple[str, str]]) -> None:
    """Whatever is asked for is seen as the first person saw it."""
    walker.open(place)
    walker.accessible()
    for code in walker.page.locator(".to-count li:not(:has(.own)) .code").all_inner_texts():
        count_one(walker, code, *seen.get(code, ("sealed and full", "")))


def explain_and_sign(chief: Walker, inventory: str) -> None:
    """Each difference has its form, with what it does to whose status; then the result is signed."""
    chief.open(inventory)
    chief.accessible()
    # 5 gal by the book and 3 counted; P-0177 of 5 gal not found; P-0101 found elsewhere
    assert "−2.00 gal −40.00 %" in chief.text()
    chief.follow(re.compile("Explain"), chief.page.locator("main tbody tr", has_text="P-0176").first)
    chief.accessible()
    chief.page.get_by_label(re.compile("leak")).first.check()
    chief.field("In words").fill("seen by two")
    chief.press("See what it will do")
    chief.accessible()
    chief.press("Book it")
    explain_the_others(chief)
    assert "Everything is explained." in chief.text()
    chief.follow("Sign and close")
    chief.accessible()
    chief.field("Why it is closed above the limit").fill("one pail gone, one leaking")
    chief.press("Sign and close")
    chief.accessible()
    said = chief.text()
    assert "one pail gone, one leaking" in said
    assert "Wren Tallow" in said
    printed(chief)
    chief.page.set_viewport_size({"width": 390, "height": 844})
    chief.look()
    chief.accessible("all but contrast")


def explain_the_others(chief: Walker) -> None:
    """The two that are left on one page: a cause set for both fits one, the other has its own."""
    chief.follow("Explain many at once")
    chief.accessible()
    chief.field("Cause").select_option("not found")
    chief.field("In words").fill("seen by two")
    chief.press("Set it in every row that it can explain")
    assert "“not found” set in 1 row" in chief.text()
    chief.page.get_by_label("Cause, P-0101").select_option("unbooked move")
    chief.accessible()
    chief.press("See what it will do")
    assert "P-0177" in chief.text()
    assert "P-0101" in chief.text()
    chief.accessible()
    chief.press("Book all of them")


def printed(walker: Walker) -> None:
    """On paper: all that was signed, who signed, and room for the hand."""
    walker.page.emulate_media(media="print")
    said = walker.text("body")
    for part in ("Differences", "As the book has it", "P-0176", "Confirmed", "Signed"):
        assert part in said
    assert "Save as a workbook" not in said
    data = walker.page.pdf(format="Letter", print_background=False)
    assert len(re.findall(rb"/Type /Page\b", data)) <= 2
    walker.page.emulate_media(media="screen")
