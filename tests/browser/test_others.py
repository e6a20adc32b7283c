"""The company officer changes a unit over; an instructor and an observer may look, and may not change."""

from __future__ import annotations

from typing import Any

import pytest

CLOSED = {  # pages of deeds, by role: what may be seen and not changed answers 403
    "crew": ("/movements/receive/", "/movements/move/", "/movements/change-over/", "/workbook/", "/people/"),
    "officer": ("/movements/receive/", "/movements/move/", "/workbook/", "/policy/change/", "/people/"),
    "instructor": ("/movements/receive/", "/movements/change-over/", "/workbook/", "/policy/change/", "/people/"),
    "observer": ("/movements/use/", "/movements/pour/", "/crew/1/check/", "/workbook/", "/policy/change/", "/people/"),
}


def test_a_unit_changes_over(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "officer", device=device)
    officer.open("/movements/change-over/")
    officer.follow("Engine 7", officer.page.locator("ul.choose"))
    officer.field("Runs on from then").select_option(label="vehicle 207 (engine, out of service), free")
    officer.press("See what it will do")
    said = officer.text()
    assert "Engine 7" in said
    assert "Not entered yet." in said
    assert "not ready" in said  # vehicle 207 is out of service
    officer.accessible()
    officer.press("Change over")
    assert "Change Engine 7 over: entered." in officer.text(".messages")
    officer.door("Fleet")
    changed = officer.page.locator("table.fleet tbody", has_text="Engine 7").first.inner_text()
    assert "vehicle 207" in changed
    assert "not ready" in changed


@pytest.mark.parametrize("role", CLOSED)
def test_closed_doors(visit: Any, server: Any, role: str) -> None:
    person = visit(server, role)
    for address in CLOSED[role]:
        person.open(address, 403)
        assert "may not" in person.text()


def test_an_observer_reads_and_finds_nothing_to_press(visit: Any, server: Any, device: str) -> None:
    observer = visit(server, "observer", device=device)
    observer.follow("Engine 4", observer.page.locator("table.fleet"))
    assert "short 25.0 gpm" in observer.text()  # 120 required less 95 of its line
    forms = observer.page.locator("main form[method=post]")
    assert forms.count() == 0
    for address in ("/stock/", "/containers/", "/movements/", "/crew/1/"):
        observer.open(address)
        assert [form.get_attribute("action") for form in forms.all()] in ([], ["/crew/"])
        assert observer.page.get_by_role("link", name="Morning check").count() == 0


def test_an_instructor_may_check_and_use_for_a_drill(visit: Any, server: Any, device: str) -> None:
    instructor = visit(server, "instructor", device=device)
    instructor.open("/movements/use/")
    offered = instructor.field("What for").locator("option").all_inner_texts()
    assert "drill" in offered
    assert "disposal" not in offered
    instructor.open("/crew/1/")
    instructor.follow("Morning check")
    instructor.open("/units/4/")
    assert instructor.page.get_by_role("link", name="Owner, due").count() == 0


def test_all_pages_stand_in_a_list_that_the_keyboard_opens(visit: Any, server: Any, device: str) -> None:
    chief = visit(server, "chief", device=device)
    pages = chief.page.get_by_role("navigation", name="Pages")
    assert not pages.get_by_role("link", name="People").is_visible()
    pages.locator("summary").press("Enter")
    chief.accessible()
    for link in pages.locator(".door-panel a").all():
        box = link.bounding_box()
        assert box is not None
        assert box["height"] >= 44  # CSS pixels, WCAG 2.2 2.5.5
        assert 0 <= box["x"] <= box["x"] + box["width"] <= chief.page.viewport_size["width"]
    chief.follow("People", pages)
    assert pages.locator(".opens [aria-current=page]").inner_text() == "People"
