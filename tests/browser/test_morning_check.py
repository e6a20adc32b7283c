"""The morning check with one thumb: two tanks and four pails; what differs; looking again; a change-over.

The taps and fields are counted; a check of so many is made in less than two minutes (five seconds a tap, ten a field).
"""

from __future__ import annotations

import re
from typing import Any

from tests.browser.hand import Hand, targets
from tests.web.doors import PIXEL

TAP_S, FIELD_S, MOST_S = 5, 10, 120  # with gloves: our own guess, no source


def four_pails_aboard(visit: Any, server: Any) -> None:
    """The logistics officer puts four pails of Hollin Ridge's store on Engine 6."""
    officer = visit(server, "logistics")
    officer.open("/movements/move/")
    officer.field("Label codes").fill("P-0190 to P-0193")
    officer.field("Where they go").select_option("Engine 6")
    officer.field("Compartment").fill("L2")
    officer.press("See what it will do")
    officer.press("Enter the move")


def read_both_tanks(hand: Hand, first: str, second: str) -> None:
    """Two gauges read, and everything else as it should be."""
    hand.fill("Measured volume in T-206A", first)
    hand.tap("T-206A: Lid, vent, leaks, label", "good")
    hand.fill("Measured volume in T-206B", second)
    hand.tap("T-206B: Lid, vent, leaks, label", "good")
    hand.taps += 1
    hand.page.get_by_text("all 4 sealed, good", exact=True).tap()
    for question, answer in (
        ("Ring stands at", "60 gpm"),
        ("Crosslay 1: Strainer, valves, nozzle", "good"),
        ("Flushed with clear water", "yes, or not used"),
    ):
        hand.tap(question, answer)
    if hand.page.get_by_role("group", name="Knob stands at").count():
        hand.tap("Knob stands at", "3 %")


def test_two_tanks_and_four_pails_in_under_two_minutes(visit: Any, own_server: Any) -> None:
    four_pails_aboard(visit, own_server)
    hand = Hand(visit(own_server, "crew", device="phone"))
    hand.walker.press("Engine 6")
    hand.walker.accessible()
    targets(hand)
    hand.follow("Morning check")
    targets(hand)
    html = hand.page.content()
    assert "20.0 gal" not in html, "neither the book of T-206A nor its last reading"
    assert "18.5" not in html
    read_both_tanks(hand, "20", "40")
    hand.press("Record the check")
    taps, fields = hand.counted()
    assert (taps, fields) == (9, 2)
    assert taps * TAP_S + fields * FIELD_S < MOST_S
    assert "the whole check is recorded" in hand.text("h1")
    assert "last time 18.5" in hand.text(), "the last value comes with the answer"
    targets(hand)


def test_what_differs_is_looked_at_again_and_settled(visit: Any, own_server: Any) -> None:
    four_pails_aboard(visit, own_server)
    hand = Hand(visit(own_server, "crew", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("Morning check")
    read_both_tanks(hand, "18.5", "40")
    hand.open("Photo, remark, or made earlier")
    hand.walker.field("Photo").set_input_files({"name": "lid.png", "mimeType": "image/png", "buffer": PIXEL})
    targets(hand)
    hand.press("Record the check")
    found = hand.text(".finds")
    assert "18.50 gal was read; the book says 20.00 gal." in found
    assert "Water got in" not in found
    targets(hand)
    hand.follow("Look again at T-206A")
    assert "Look again: Engine 6" in hand.text("h1")
    targets(hand)
    hand.fill("Measured volume in T-206A", "18.6")
    hand.tap("T-206A: Lid, vent, leaks, label", "fault")
    hand.open("One of these is different")
    hand.walker.field("T-206A: Label").select_option("fault")
    hand.press("Record the check")
    assert "Fault: label at fault." in hand.text(".finds")
    assert "1.40 gal less" in hand.text(".finds")
    hand.press(re.compile("It evaporated: book 1.40 gal less"))
    assert "T-206A is settled: evaporated." in hand.text(".messages")
    assert "the book says 18.60 gal by now" in hand.text(".finds")
    hand.follow("Raise a deficiency: T-206A")
    targets(hand)
    assert "label at fault" in hand.walker.field("What is wrong").input_value()


def test_a_unit_changes_over_and_back_with_a_count_at_each_end(visit: Any, own_server: Any) -> None:
    four_pails_aboard(visit, own_server)
    hand = Hand(visit(own_server, "officer", device="phone"))
    hand.walker.press("Engine 6")
    hand.follow("Change over")
    targets(hand)
    pails = "sealed pail of 5.00 gal, Demo AR-AFFF 3x6: counted"
    for vehicle, off, aboard, differs in (("207", "4", "4", False), ("206", "4", "3", True)):
        option = hand.page.locator("select[name=vehicle] option", has_text=f"vehicle {vehicle} ").get_attribute("value")
        hand.page.locator("select[name=vehicle]").select_option(option)
        hand.fill(f"{pails} Off the old vehicle", off)
        hand.fill(f"{pails} Aboard the new vehicle", aboard)
        hand.press("See what it will do")
        targets(hand)
        hand.press("Change over")
        assert f"Engine 6 on vehicle {vehicle}" in hand.text("h1")
        assert ("differs: raised as a deficiency" in hand.text()) == differs
        targets(hand)
        hand.follow("Back to Engine 6")
        if not differs:
            hand.follow("Change over")
    assert "change-over: 3 of 4 sealed pail" in hand.text()


def test_the_traps_of_the_demo_are_caught(visit: Any, server: Any) -> None:
    """Mixed, not flushed, differing by stick, overdue and forgotten: each is said to those who can cure it."""
    assert "The PINs there are 4826 for Wren Tallow and 7153 for Jory Pellam." in server.log.read_text("utf-8")
    officer = visit(server, "officer", device="phone")
    officer.press("Engine 1")
    said = officer.text()
    assert said.index("The strap in L3 is new and stiff") < said.index("Morning check"), "the note stands first"
    officer.open("/crew/?choose=1")
    officer.press("Hazmat 1")
    said = officer.text()
    for words in (
        "T-212 is mixed: out of the count",
        "Log T-212 as emptied",
        "Bumper line was used and its flush is not logged",
    ):
        assert words in said, words
    officer.accessible()
    officer.open("/inspections/?q=sludge")
    overdue = officer.page.locator("tbody tr", has_text="T-231").first.inner_text()
    assert "Tank opened and looked at for sludge" in overdue
    assert "overdue" in overdue
    officer.open("/crew/?choose=1")
    officer.press("Engine 6")
    said = officer.text()
    assert "T-206A: the gauge said 20.00 gal and the stick 18.50 gal" in said
    assert "T-206A reads 1.5 gal below the book" in officer.page.content()
    officer.open("/deficiencies/?q=L3")
    assert "20 days overdue" in officer.text()
    officer.accessible()
