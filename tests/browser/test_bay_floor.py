"""One hand on a phone: labels, refill, after use, deficiencies and inspections, with the taps and fields counted."""

from __future__ import annotations

from typing import Any

from tests.browser.hand import Hand, targets
from tests.web.doors import PIXEL


def test_a_crew_comes_back_to_service_and_is_guarded(visit: Any, own_server: Any) -> None:
    hand = Hand(visit(own_server, "crew", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("After use")
    targets(hand)
    hand.fill("Incident number", "2026-0417")
    hand.fill("Used from T-206B", "10")
    hand.tap("Drew foam", "used and flushed")
    hand.fill("Crosslay 1: flushed for", "2")
    hand.tap("Strainer", "clean")
    hand.press("See how Engine 6 stands then")
    assert "40.0 gal → 30.0 gal" in hand.text()  # 40 less 10
    hand.press("Enter it")
    assert "entered" in hand.text(".messages")
    assert hand.counted() == (5, 3)

    hand.follow("Refill")
    targets(hand)
    hand.fill("From", "t-206a")  # Class A, and the tank holds AR-AFFF
    hand.tap("Into", "fixed tank T-206B, Demo AR-AFFF 3x6")
    hand.press("May I?")
    assert "No: do not pour it" in hand.text("h1")
    assert "Another class: Class A into AR-AFFF." in hand.text(".faults")
    assert "Hollin Ridge store own station" in hand.text()
    assert "Override" not in hand.text()
    targets(hand)
    hand.press("Take another")
    assert hand.counted() == (4, 1)
    hand.fill("From", "P-0190")
    hand.press("May I?")
    assert hand.text("h1") == "Refill: yes"
    assert "30.0 gal → 35.0 gal" in hand.text()  # a pail is 5 gal
    targets(hand)
    hand.press("Enter it as poured")
    assert "entered" in hand.text(".messages")
    assert hand.counted() == (2, 1)


def test_an_officer_overrides_and_the_tank_is_mixed(visit: Any, own_server: Any) -> None:
    hand = Hand(visit(own_server, "officer", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("Refill")
    hand.fill("From", "T-206A")
    hand.tap("Into", "fixed tank T-206B, Demo AR-AFFF 3x6")
    hand.open("Not all of it")
    hand.fill("How much", "1")
    hand.press("May I?")
    assert "T-206B is full by the book" in hand.text(".faults"), "what does not go in nobody overrides"
    hand.press("Take another")
    hand.fill("From", "P-0190")
    hand.tap("Into", "fixed tank T-206A, Demo Class A")
    hand.press("May I?")
    assert "Override" not in hand.text(), "T-206A is full as well"
    hand.walker.follow("Leave it", hand.page.locator("main"))
    hand.follow("After use")
    hand.fill("Incident number", "2026-0418")
    hand.fill("Used from T-206A", "5")
    hand.press("See how Engine 6 stands then")
    hand.press("Enter it")
    hand.counted()
    hand.follow("Refill")
    hand.fill("From", "P-0190")
    hand.tap("Into", "fixed tank T-206A, Demo Class A")
    hand.press("May I?")
    hand.open("Override it as an officer")
    hand.fill("Reason", "rescue on the upper deck")
    hand.press("See what overriding does")
    assert "mixed" in hand.text(".stowed")
    hand.press("Enter it as poured")
    assert "entered" in hand.text(".messages")
    assert hand.counted() == (6, 2)


def test_a_label_is_printed_scanned_and_typed(visit: Any, own_server: Any) -> None:
    desk = visit(own_server, "logistics")
    desk.open("/labels/?kind=fixed+tank&q=T-206")
    desk.accessible()
    desk.page.get_by_label("All that the list shows").check()
    desk.press("Make the sheets")
    assert "2 labels on 1 sheet" in desk.text("h1")
    desk.accessible()
    code = desk.page.locator("text.short").last.text_content()
    boxes = desk.page.evaluate(
        "[...document.querySelectorAll('svg.label')].map(each => each.getBoundingClientRect().width * 25.4 / 96)"
    )
    assert all(abs(width - 66.675) < 0.02 for width in boxes), boxes  # 2 5/8 in; a CSS inch is 96 px

    crew = visit(own_server, "crew", device="phone")
    crew.open(f"/Q/{code.replace('-', '')}")  # what the phone's own camera opens
    assert "T-206B" in crew.text("h1")
    crew.open("/find/")
    crew.accessible()
    crew.field("Code on the label").fill(code.lower())
    crew.press("Find it")
    assert "T-206B" in crew.text("h1")
    wrong = code[:-1] + ("2" if code[-1] != "2" else "3")
    crew.open("/find/")
    crew.field("Code on the label").fill(wrong)
    crew.press("Find it")
    assert "its check character does not fit: it was mistyped" in crew.text(".faults")
    crew.accessible()
    crew.follow(code)
    assert "T-206B" in crew.text("h1")


def test_a_deficiency_is_raised_worked_on_and_closed(visit: Any, own_server: Any) -> None:
    hand = Hand(visit(own_server, "officer", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("Raise a deficiency")
    targets(hand)
    hand.taps += 2  # the list of things
    hand.walker.field("What it is about").select_option("line Crosslay 1")
    hand.fill("What is wrong", "ring is stiff")
    hand.tap("What it does", "limited: it works, not fully")
    picture = {"name": "ring.png", "mimeType": "image/png", "buffer": PIXEL}
    hand.walker.field("Photo").set_input_files(picture)
    hand.press("Raise it")
    assert hand.counted() == (5, 1)
    assert "Crosslay 1: ring is stiff" in hand.text()
    hand.walker.open("/deficiencies/?q=stiff")
    hand.walker.accessible()
    hand.follow("Crosslay 1: ring is stiff")
    targets(hand)
    hand.open("Close it with proof")
    hand.fill("Proof", "greased, turns; flowed 95 gpm")
    hand.press("Close it")
    assert "closed" in hand.text("h1")


def test_an_inspection_falls_due_and_is_logged(visit: Any, own_server: Any) -> None:
    chief = visit(own_server, "chief")
    chief.open("/reference/inspection_rules/add/")
    chief.accessible()
    chief.field("Name").fill("monthly valves")
    chief.field("Of every").select_option("line")
    chief.field("How often").select_option("every month")
    chief.press("Add the inspection rule")
    hand = Hand(visit(own_server, "crew", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("Inspections due")
    assert "due later" in hand.text()
    hand.follow("log monthly valves of Crosslay 1")
    targets(hand)
    hand.tap("What was found", "in order")
    hand.press("Log it")
    assert "logged" in hand.text(".messages")
    assert hand.counted() == (4, 0)
