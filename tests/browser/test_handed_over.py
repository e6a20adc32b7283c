"""The logistics officer's first day: the sheet that somebody kept for years is mapped, settled, and taken in whole."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.handed_sheet import CONTAINERS, FILLED, NAME, ROWS, sheet_bytes


@pytest.fixture
def kept_sheet(tmp_path: Path) -> Path:
    """The sheet as a file on the officer's machine."""
    file = tmp_path / NAME
    file.write_bytes(sheet_bytes())
    return file


def send(officer: Any, file: Path) -> None:
    officer.field(re.compile("Your sheet")).set_input_files(file)
    officer.press("Send the sheet")


def answer_everything(officer: Any) -> int:
    """Take every proposal, and the first choice where nothing is proposed; how many pages of questions that took."""
    pages = 0
    while "/questions/" in officer.path:
        pages += 1
        assert pages < 12, officer.text()
        for fieldset in officer.page.locator("fieldset.question").all():
            radios = fieldset.locator("input[type=radio]")
            if radios.count() and not fieldset.locator(".proposed").count():
                radios.first.check()
        proposals = officer.page.locator("button[name=proposals]").count()
        officer.press(re.compile("take the") if proposals else "Keep these answers")
    return pages


def test_a_kept_sheet_is_mapped_settled_and_taken_in(
    visit: Any, own_server: Any, device: str, kept_sheet: Path, tmp_path: Path
) -> None:
    officer = visit(own_server, "logistics", device=device)
    officer.door("Workbook")
    officer.follow("Hand over a sheet")
    officer.accessible()
    send(officer, kept_sheet)

    assert "What each column tells" in officer.text()
    assert officer.field("What column B tells").input_value() == "where"
    assert officer.field("A number without a unit is in").input_value() == "gal"
    officer.accessible()
    officer.press("Read the sheet so")
    assert "Nothing of this sheet is in the book yet." in officer.text()
    assert f"All {len(FILLED)} filled rows of the sheet" in officer.text()
    officer.accessible()

    officer.follow("Rows")
    assert "has to be answered" in officer.text()
    officer.accessible()
    officer.follow("Questions", officer.page.get_by_role("navigation", name="Steps of this sheet"))
    assert "“??” was read" in officer.text()
    officer.accessible()
    answer_everything(officer)
    assert "Everything is answered." in officer.text(".messages")

    officer.press("See what it will do")
    assert f"{CONTAINERS} containers come into the book" in officer.text()
    officer.accessible()
    officer.press("Take the sheet in")
    said = officer.text()
    assert f"{len(FILLED)} filled rows, each accounted for below" in said
    assert "topped up 60 gal at refit" in said
    assert "440.00 gal" in said  # of the two lots in the tender's tank: 500 less the 60 at refit
    officer.accessible()
    officer.follow("Labels to write")
    assert "Quayside" in officer.text() or "Station 1" in officer.text()
    officer.accessible()

    officer.open("/sheet/")
    again = tmp_path / "copy.xlsx"
    again.write_bytes(kept_sheet.read_bytes())
    send(officer, again)
    assert "nothing is posted again" in officer.text(".messages")


def test_a_newer_sheet_shows_what_differs(visit: Any, own_server: Any, tmp_path: Path) -> None:
    officer = visit(own_server, "logistics")
    rows = [list(row) for row in (ROWS[1], ROWS[3])]
    for many, name in ((14, "first.xlsx"), (12, "newer.xlsx")):
        rows[1][6] = many
        file = tmp_path / name
        file.write_bytes(sheet_bytes(tuple(map(tuple, rows))))
        officer.open("/sheet/")
        send(officer, file)
        officer.press("Read the sheet so")
        officer.follow("Answer them")
        if name == "newer.xlsx":
            assert "has the same headings" in officer.text()
        answer_everything(officer)
        if name == "first.xlsx":
            officer.press("See what it will do")
            officer.press("Take the sheet in")
    officer.press("Compare it with the book")
    said = officer.text()
    assert "Nothing was posted." in said
    assert "The book has 2 pails at Station 1 store, store room that the sheet does not have." in said
    officer.accessible()
    report = officer.path
    officer.press("Open an inventory from this sheet")
    assert "is being counted already" in officer.text(".messages"), "the demo counts a store, one at a time"
    officer.open("/inventories/")
    officer.follow(re.compile("^1$"), officer.page.locator("main"))
    officer.follow("Give it up")
    officer.page.locator("main textarea").fill("the sheet is newer")
    officer.press("Abandon it")
    officer.open(report)
    officer.press("Open an inventory from this sheet")
    assert "the sheet is its first count" in officer.text(".messages")
    officer.accessible()


def test_what_is_no_sheet_is_refused_in_a_sentence(visit: Any, server: Any, device: str, tmp_path: Path) -> None:
    officer = visit(server, "logistics", device=device)
    officer.open("/sheet/")
    picture = tmp_path / "picture.xlsx"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    send(officer, picture)
    assert "was read" in officer.text(".faults")
    officer.accessible()
