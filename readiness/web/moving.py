"""Receiving and moving: one door to what is on the way, owed, set aside and recalled, and to the forms for it."""

from __future__ import annotations

from typing import NamedTuple

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from readiness.models import Lot
from readiness.reports.deliveries import deliveries, outstanding
from readiness.reports.disposals import AWAITED, disposals
from readiness.reports.loans import owed
from readiness.reports.settlements import settlements
from readiness.reports.transfers import transfers
from readiness.web.access import Here, rows, signed_in
from readiness.web.pallets import scope as pallets
from readiness.web.partners import side_mark
from readiness.web.transfers import transfer_mark


@require_GET
@signed_in
def moving(request: HttpRequest, here: Here) -> HttpResponseBase:
    """What waits for somebody, and the forms of the role."""
    department = here.department
    on_the_way = [(row, transfer_mark(row)) for row in transfers(here.department, here.today, on_the_way=True)]
    open_accounts = [(row, side_mark(row.side), abs(row.net_ml)) for row in owed(department) if row.since]
    context = {
        "here": here,
        "doors": doors(here),
        "on_the_way": on_the_way,
        "owed": open_accounts,
        "awaited": [row for row in disposals(department) if row.state == AWAITED],
        "pallets": [row for row in pallets(here) if row.n_containers],
        "recalled": rows(Lot, here).filter(recalled_on__isnull=False).select_related("concentrate"),
        "piles": [row for row in settlements(department) if row.unexplained],
        "short": outstanding(deliveries(department)),
    }
    return render(request, "moving/moving.html", context)


class Door(NamedTuple):
    """A form or a list: its word, its address."""

    word: str
    address: str


_DOORS = (  # permission, url, word; in the order of the page
    ("receive", "receive", "Receive a delivery"),
    ("move", "send_transfer", "Send a transfer"),
    ("move", "move", "Move in one hand"),
    ("move", "lend", "Lend to a partner"),
    ("receive", "borrow", "Borrow from a partner"),
    ("correct", "settle_pile", "Settle a common pile"),
    ("dispose", "set_aside", "Set aside for take-back"),
    ("dispose", "dispose", "Dispose with manifest"),
)


def doors(here: Here) -> list[Door]:
    """The forms of the role."""
    return [Door(word, reverse(url)) for action, url, word in _DOORS if here.may(action)]


urlpatterns = [path("moving/", moving, name="moving")]
