"""Planning by the logistics officer: a short unit restocked, an order noted, a pick list, and what goes on paper."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from tests.browser.test_print import on_paper, printed


def test_a_unit_below_its_par_list_is_restocked(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.door("Planning")
    # Hazmat 1 should carry eleven pails and carries four; Engine 4 one eductor of two
    assert "2 of 9 units with a list are short: Engine 4, Hazmat 1." in officer.text()
    officer.follow("Hazmat 1")
    assert re.search(r"Demo AR-AFFF 3x6, pail.*11.*4.*short", officer.text())
    officer.accessible()
    officer.follow("Restock", officer.page.get_by_role("navigation", name="Planning"))
    officer.follow("Move 7 to Hazmat 1")
    assert len(officer.field("Label codes").input_value().split()) == 7
    officer.press("See what it will do")
    officer.press("Enter the move")
    officer.open("/planning/")
    assert "1 of 9 units with a list is short: Engine 4." in officer.text()
    assert "Quayside store: Demo AR-AFFF 3x6 35.0 gal below its minimum" in officer.text()  # 40 − 1 pail of 5


def test_a_par_list_and_a_store_s_limits_are_typed_as_tables(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.open("/planning/par/")
    officer.follow("Hazmat 1")
    officer.follow("Edit as a table")
    officer.accessible()
    officer.field("Add the lines of").select_option("Engine 4")
    officer.press("Put them below, to be looked at")
    officer.press("More empty lines")
    officer.page.locator("main").get_by_label("Gear").last.fill("hydrant key")
    officer.press("Save all lines")
    assert re.search(r"lines? (is|are) saved", officer.text())
    assert "hydrant key" in officer.text()
    officer.open("/planning/stores/")
    officer.page.locator("summary", has_text="Type the limits of a store").click()
    officer.follow("Millrace")
    officer.accessible()
    officer.field("Store minimum").fill("-3")
    officer.press("Save all lines")
    assert "Line 1, Store minimum: “-3” was read" in officer.text(".faults")
    officer.accessible()


def test_what_is_bought_is_noted_and_counts_as_on_order(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.open("/planning/purchase/")
    # Millrace holds ten pails and should hold twelve: 2 × 5 gal × 31.00
    row = officer.page.locator("tbody tr", has_text="Millrace store has 50.0 gal usable")
    assert "310.00" in row.inner_text()
    officer.follow("Note it", row)
    officer.accessible()
    officer.press("Note the order")
    assert "an order has a reference" in officer.text() or "Order reference is needed" in officer.text()
    officer.field("Order reference").fill("PO-77")
    officer.press("Note the order")
    assert "Order PO-77 is noted" in officer.text(".messages")
    officer.open("/planning/purchase/")
    assert "Millrace store has" not in officer.text()
    officer.open("/planning/orders/")
    officer.follow("PO-77")
    officer.field("How many containers came").fill("1")
    officer.press("Note what came")
    assert "1 of 2" in officer.text()


def test_a_pick_list_for_a_drill_without_scripts(visit: Any, server: Any, device: str) -> None:
    officer = visit(server, "logistics", device=device, scripts=False)
    officer.open("/planning/pick-list/")
    officer.field("How much").fill("8")
    officer.press("Make the list")
    said = officer.text()
    # five gallons of training foam, then three of the fluorine-free tote; never what holds PFAS
    assert re.search(r"P-0202 .*Demo Trainer 3.* 5\.0 gal", said)
    assert re.search(r"X-0001 .*Demo AR-F3 3x3.* 3\.0 gal", said)
    assert "holds PFAS" in said


def test_ageing_with_its_chart_on_screen_and_on_paper(visit: Any, server: Any) -> None:
    officer = visit(server, "logistics")
    officer.open("/planning/ageing/")
    chart = officer.page.get_by_role("img", name=re.compile("^Cost by budget year, in USD"))
    assert chart.is_visible()
    assert "replacement" in (chart.text_content() or "")
    sheet = printed(officer)
    assert 1 <= sheet.pages <= 5
    said = on_paper(officer)
    assert "Port Ansley Fire Department, as of" in said
    assert "Prices in these sums" in said
    for words in ("Prices and lead times", "Show all", "Order points"):
        assert words not in said


def test_a_par_list_on_paper_has_room_to_count(visit: Any, server: Any) -> None:
    officer = visit(server, "logistics")
    officer.open("/planning/par/")
    officer.follow("Engine 1", officer.page.locator("tbody"))
    assert printed(officer).pages == 1
    said = on_paper(officer)
    assert "Counted" in said
    assert "flush bucket" in said
    assert "Add a line" not in said


def test_the_audit_workbook_is_saved(visit: Any, server: Any, tmp_path: Path) -> None:
    officer = visit(server, "logistics")
    officer.open("/planning/audit/")
    with officer.page.expect_download() as started:
        officer.page.get_by_role("link", name="Save the audit workbook").click()
    saved = tmp_path / "audit.xlsx"
    started.value.save_as(saved)
    book = load_workbook(saved, read_only=True)
    assert {"Stock", "Movements", "Statuses", "Working"} <= set(book.sheetnames)
