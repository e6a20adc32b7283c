"""The pages of planning, as a row of links on each of them."""

from __future__ import annotations

from typing import Final, NamedTuple

from django.http import HttpRequest
from django.urls import reverse

TABS: Final = (
    ("Planning", "planning"),
    ("Par", "par"),
    ("Restock", "restock"),
    ("Stores", "store_levels"),
    ("Ageing", "ageing"),
    ("Rotation", "rotation"),
    ("Pick list", "pick_list"),
    ("Order points", "order_points"),
    ("Purchase", "purchase"),
    ("Orders", "orders"),
    ("Audit workbook", "audit"),
)


class Tab(NamedTuple):
    """A link, and whether it is the page one is on."""

    word: str
    address: str
    current: bool


def tabs(request: HttpRequest) -> list[Tab]:
    """The links of every page of planning."""
    return [Tab(word, reverse(name), request.path == reverse(name)) for word, name in TABS]
