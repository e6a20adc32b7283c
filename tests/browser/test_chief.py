"""The chief: which units are not ready tonight, why, the working, the card; and a risk accepted by name."""

from __future__ import annotations

import csv
from datetime import timedelta
from typing import Any

import pytest

from readiness.actions.clock import SYSTEM_CLOCK
from tests.browser.serving import ROOT

COUNTY = ROOT / "fixtures" / "worked_examples" / "county_statuses.csv"


def names_of(status: str) -> set[str]:
    """The units that the county worked by hand has in a status on its first day."""
    with COUNTY.open(encoding="utf-8") as rows:
        return {row["name"] for row in csv.DictReader(rows) if row["status_at_d0"] == status}


def test_from_the_fleet_to_the_card(visit: Any, server: Any, device: str) -> None:
    chief = visit(server, "chief", device=device)
    assert chief.path == "/fleet/"
    tally = chief.text(".tally")
    for status, words in (("not_ready", "not ready"), ("limited", "limited"), ("ready", "ready")):
        assert f"{len(names_of(status))} {words}" in tally
    if device == "phone":
        chief.page.locator("summary", has_text="Search and filter").click()
    chief.page.get_by_label("Status", exact=True).select_option("not ready")
    chief.press("Show")
    assert set(chief.page.locator("table.fleet th.who a").all_inner_texts()) == names_of("not_ready")
    chief.accessible()

    chief.follow("Engine 6", chief.page.locator("table.fleet"))
    assert "not ready" in chief.text("h1")
    # Ethanol, 15 × 20 ft at 0.20 gpm/ft² and 6 %, 15 minutes: 300 × 0.20 = 60 gpm; 60 × 0.06 × 15 = 54 gal.
    # Aboard for it: T-206B, 40 gal of which the pick-up leaves 1.5; 54.0 − 38.5 = 15.5.
    spill = chief.page.locator("section.duty", has_text="ethanol spill").first
    said = " ".join(spill.inner_text().split())
    assert "38.5 gal usable of 54.0 gal line need" in said
    assert "short 15.5 gal" in said
    working = " ".join(spill.locator("table.working").inner_text().split())
    assert "required × p × minutes" in working
    assert "required 60 gpm; p 6 %; minutes 15 min" in working
    assert "incident commander’s call" in said

    chief.follow("Pump-panel card")
    card = chief.text("article.pump")
    assert "Set" in card
    assert "ethanol 6 %" in card
    chief.accessible()


def test_a_risk_is_accepted_until_a_day(visit: Any, own_server: Any, device: str) -> None:
    chief = visit(own_server, "chief", device=device)
    chief.follow("Engine 4", chief.page.locator("table.fleet"))
    chief.follow("Owner, due, accept")
    chief.accessible()
    chief.field("Why it can be accepted").fill("Foam Tender 1 runs with it until the wide nozzle is here")
    until = SYSTEM_CLOCK.now().date() - timedelta(days=3)
    chief.field("Accept until").fill(until.isoformat())
    chief.page.locator("form", has_text="Accept until").evaluate("form => { form.noValidate = true }")
    chief.press("Accept until that day")
    assert f"“{until.isoformat()}” was read" in chief.text(".faults")  # a day that has passed
    assert chief.field("Why it can be accepted").input_value().startswith("Foam Tender 1 runs")
    chief.accessible()

    until += timedelta(days=33)
    chief.field("Accept until").fill(until.isoformat())
    chief.press("Accept until that day")
    assert f"Accepted until {until.isoformat()}" in chief.text(".messages")
    assert "not ready" in chief.text("h1")  # it keeps its severity
    assert "accepted" in chief.text("h1")
    assert "Tamsin Orrell" in chief.text("section table.list") or "T. Orrell" in chief.text("section table.list")
    chief.follow("Fleet tonight")
    assert "1 of them accepted by a chief" in chief.text(".tally")


@pytest.mark.parametrize("words", ["Engine 2", "E85 spill", "wrong foam"])
def test_the_reason_stands_beside_the_status(visit: Any, server: Any, words: str) -> None:
    chief = visit(server, "chief")
    worst = chief.page.locator("table.fleet tbody", has_text="Engine 2")
    assert words in worst.inner_text()
