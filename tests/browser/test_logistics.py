"""The logistics officer: find a pail, load a short unit, be refused in a sentence, and send the workbook."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook


def test_a_pail_is_found_by_its_label_code(visit: Any, server: Any, device: str) -> None:
    officer = visit(server, "logistics", device=device)
    officer.door("Stock")
    box = officer.page.get_by_role("search", name="Find a container, lot, unit or vehicle")
    box.get_by_role("searchbox").fill("p-0101")
    officer.go_by(box.get_by_role("button", name="Find"))
    assert re.fullmatch(r"/containers/\d+/", officer.path)
    assert officer.text("h1").startswith("P-0101")
    assert "5.00 gal" in officer.text()
    assert "Engine 1, L3" in officer.text()

    officer.open("/search/?q=P-9999")
    assert "“P-9999” was read; no container" in officer.text()


def test_a_short_unit_is_loaded_from_its_station(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.door("Stock")
    officer.follow(re.compile("short", re.IGNORECASE))
    # Hazmat 1: acetone, 10 × 20 ft at 0.20 gpm/ft² and 6 %; the 60 gpm line takes 54 gal in 15 minutes.
    # It has 20 gal in pails: 34 short, seven pails of 5 gal.
    short = officer.page.locator("li", has=officer.page.get_by_role("heading", name="Hazmat 1")).first
    assert "34.0 gal" in short.inner_text()
    officer.follow("Move 7 to Hazmat 1", short)
    assert len(officer.field("Label codes").input_value().split()) == 7
    officer.press("See what it will do")
    said = officer.text()
    assert "Not entered yet." in said
    assert "7 containers before and after" in said
    assert "55.0 gal" in said  # usable then: 20 + 7 × 5
    officer.accessible()
    officer.press("Change what was typed")
    assert len(officer.field("Label codes").input_value().split()) == 7
    officer.press("See what it will do")
    officer.press("Enter the move")
    assert "entered" in officer.text(".messages")
    officer.open("/stock/short/")
    assert "Hazmat 1" not in officer.text()


def test_another_concentrate_is_refused_in_a_sentence(visit: Any, own_server: Any, device: str) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.open("/movements/use/")  # there has to be room in the tank
    officer.field("From (label code)").fill("T-211")
    officer.field("Volume").fill("20")
    officer.field("What for").select_option("drill")
    officer.press("See what it will do")
    officer.press("Enter the use")
    officer.open("/movements/pour/")
    officer.field("From (label codes)").fill("P-0172")
    officer.field("Into (label code)").fill("T-211")
    officer.field("From each").fill("5")
    officer.press("See what it will do")
    refused = officer.text(".faults")
    assert "nothing was saved" in refused
    assert "Demo AR-F3 3x3" in refused
    assert "Demo AR-AFFF 3x6" in refused
    assert officer.field("From (label codes)").input_value().strip() == "P-0172"
    officer.accessible()


def container_rows(book: Workbook, rows: list[dict[str, object]]) -> None:
    """Type rows into the sheet of containers, below its headings and its example."""
    sheet = book["Containers"]
    headings = [str(cell.value or "") for cell in sheet[1]]
    for number, row in enumerate(rows, 3):
        for words, value in row.items():
            column = next(n for n, heading in enumerate(headings, 1) if heading.startswith(words))
            sheet.cell(number, column).value = value


PAIL: dict[str, object] = {
    "Container": "P-9001",
    "Kind": "pail",
    "Capacity": 5,
    "Store": "Quayside",
    "Concentrate": "Demo AR-AFFF 3x6",
    "Lot no.": "AR-0640",
    "Contents": 5,
    "Sealed": "yes",
}


def test_the_workbook_with_faults_and_then_a_good_one(visit: Any, own_server: Any, device: str, tmp_path: Path) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.door("Workbook")
    with officer.page.expect_download() as downloading:
        officer.page.get_by_role("link", name="Template in US units").click()
    template = tmp_path / "template.xlsx"
    downloading.value.save_as(template)

    book = load_workbook(template)
    container_rows(book, [PAIL | {"Contents": 50}, PAIL | {"Container": "P-9002", "Capacity": "five"}])
    book.save(tmp_path / "faults.xlsx")
    send(officer, tmp_path / "faults.xlsx")
    said = officer.text()
    assert "nothing was saved" in said
    assert "Containers" in said
    assert "“five”" in said or "five" in said
    officer.accessible()

    officer.follow("Send the mended workbook")
    book = load_workbook(template)
    container_rows(book, [PAIL, PAIL | {"Container": "P-9002"}])
    book.save(tmp_path / "good.xlsx")
    send(officer, tmp_path / "good.xlsx")
    assert "2 containers come into the book" in officer.text()
    officer.accessible()
    officer.press("Take the workbook in")
    assert "2 containers came into the book" in officer.text(".messages")
    officer.open("/search/?q=P-9002")
    assert officer.text("h1").startswith("P-9002")


def test_a_file_that_is_no_workbook(visit: Any, server: Any, device: str, tmp_path: Path) -> None:
    officer = visit(server, "logistics", device=device)
    officer.open("/workbook/")
    other = tmp_path / "letter.xlsx"
    other.write_text("Dear sirs, please find enclosed", encoding="utf-8")
    send(officer, other)
    assert "was read" in officer.text(".faults") or "workbook" in officer.text(".faults")
    officer.accessible()


def send(officer: Any, file: Path) -> None:
    """Choose a file and have it looked through."""
    officer.field("Workbook (.xlsx)").set_input_files(file)
    officer.press("Look it through")
