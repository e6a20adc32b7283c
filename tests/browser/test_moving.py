"""Receiving and moving in a browser: a delivery with proposed label codes, and a transfer by two people."""

from __future__ import annotations

import re
from typing import Any

STORE = "Quayside store"


def unfold(walker: Any, title: str) -> None:
    """Open what the form folds away."""
    walker.page.locator("summary").filter(has_text=re.compile(f"^{title}$")).click()


def test_a_delivery_with_proposed_label_codes(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.door("Receiving and moving")
    officer.accessible()
    officer.follow("Receive a delivery")
    officer.field("How many").fill("12")
    officer.press("Propose the next free label codes")
    codes = officer.field("Label codes of what came").input_value()
    first, last = codes.split(" to ")
    assert int(last.removeprefix("P-")) - int(first.removeprefix("P-")) == 11
    officer.field("In each").fill("5")
    officer.field("New lot: concentrate").select_option("Demo AR-AFFF 3x6")
    officer.field("New lot: number").fill("AR-7001")
    officer.field("New lot: maker's date").fill("Jul 2036")
    officer.field("Where it goes").select_option(STORE)
    for title in ("Order and supplier", "Certificate, short, turned away or damaged", "Price"):
        unfold(officer, title)
    officer.field("Order reference").fill("PO-7781")
    officer.field("Containers ordered").fill("15")
    officer.field("Turned away at the door").fill("1")
    officer.field(re.compile("^Price")).fill("118.50")
    officer.field("It is the price of").select_option("a container")
    officer.accessible()
    officer.press("See what it will do")
    assert "60.00 gal of Demo AR-AFFF 3x6, lot AR-7001 from supplier to 12 containers" in officer.text()
    officer.press("Change what was typed")
    officer.page.get_by_label("How many").fill("2")
    officer.page.locator("#id_next-for_kind").select_option("drum")
    officer.press("One more lot")
    officer.accessible()
    second = officer.page.locator("#lot-2")
    second.get_by_label("In each").fill("55")
    second.get_by_label("New lot: concentrate").select_option("Demo AR-AFFF 3x6")
    second.get_by_label("New lot: number").fill("AR-7002")
    officer.press("See what it will do")
    assert "110.00 gal of Demo AR-AFFF 3x6, lot AR-7002 from supplier" in officer.text()
    assert "60.00 gal of Demo AR-AFFF 3x6, lot AR-7001 from supplier to 12 containers" in officer.text()
    officer.press("Enter the delivery")
    slip = officer.text()
    assert "lot AR-7002" in slip
    assert "Ordered 15: 2 short" in slip
    assert "118.50 USD a container" in slip
    officer.accessible()
    officer.open("/moving/deliveries/?q=po-7781")
    assert "2 short, 1 turned away" in officer.text()
    officer.accessible()


def test_a_transfer_sent_by_one_and_received_by_another(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.open("/moving/transfers/send/")
    officer.field("Label codes").fill("P-0172 to P-0174")
    officer.field("Where they go").select_option("Millrace store")
    officer.accessible()
    officer.press("See what it will do")
    assert "P-0172, P-0173 and P-0174 in transit to Millrace store" in officer.text()
    officer.press("Enter it as sent")
    assert "You sent it: somebody else enters what came." in officer.text()
    assert "Still in transit 3 of 3: 15.0 gal, counted on no unit" in officer.text()
    officer.accessible()
    officer.open("/stock/")
    assert "In transit: in the sums above, on no unit 15.0 gal in 3 containers" in officer.text()
    officer.accessible()

    crew = visit(own_server, "crew", device=device)
    crew.door("Receiving and moving")
    crew.follow(re.compile(r"Transfer \d+ to Millrace store"))
    crew.follow("Receive it")
    crew.accessible()
    crew.field("P-0172 came").check()
    crew.field("P-0173 came").check()
    crew.press("See what it will do")
    assert "P-0174 did not come and no word was read on it" in crew.text(".faults")
    crew.field("What is known of those that did not come").fill("not on the truck")
    unfold(crew, "Some came with less in them")
    crew.field("In P-0173").fill("4")
    crew.accessible()
    crew.press("See what it will do")
    assert "1.00 gal" in crew.text()
    crew.press("Enter what came")
    said = crew.text()
    assert "Still in transit 1 of 3: 5.0 gal" in said
    assert "P-0174 did not come: not on the truck" in said
    assert "P-0173 came with 1.00 gal less, booked as leaked" in said
    crew.accessible()

    officer.open("/moving/")
    officer.follow(re.compile(r"Transfer \d+ to Millrace store"))
    officer.follow("Bring it back")
    officer.field("Why").fill("still on the dock")
    officer.press("See what it will do")
    officer.press("Enter it as brought back")
    assert "settled" in officer.text()
    officer.accessible()
