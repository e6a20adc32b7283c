"""What may not happen to a container that is in transit, lent, or on a take-back pallet. actions/book.py asks here.

Whatever door an entry comes through, it passes the book; so these refusals stand there and not in a form. A
correction is not asked: it undoes what was entered, with a reason, by who may.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from readiness.actions.drafts import Refused
from readiness.models import Container, Pallet, Place
from readiness.models.movements import Account
from readiness.models.pallets import PalletTakes

# Where what is in such a container may still go. A sample may be wanted by the programme that takes it back.
_ACCOUNTS: Mapping[str, frozenset[Account]] = {
    "pallet": frozenset(
        {Account.DISPOSAL, Account.LEAK, Account.EVAPORATION, Account.INVENTORY_DIFFERENCE, Account.SAMPLE}
    ),
    "transfer": frozenset({Account.LEAK, Account.EVAPORATION, Account.INVENTORY_DIFFERENCE}),
    "partner": frozenset({Account.PARTNER}),
}
_INSTEAD: Mapping[str, str] = {
    "pallet": (
        "what is on a take-back pallet never returns to a unit, a vehicle or a tank. Hand it over with a manifest, or "
        "correct the entry that set it aside"
    ),
    "transfer": "it is in transit. Receive it first, or recall the transfer",
    "partner": "it is lent. Enter its return first",
}


class LotHeld(Protocol):
    """What must be known of a lot."""

    @property
    def concentrate_name(self) -> str:
        """As the list has it."""

    @property
    def kind(self) -> str:
        """Of concentrate, as the database writes it."""

    @property
    def pfas(self) -> str:
        """yes, no or unknown."""


def away(place: Place | None) -> str:
    """Where it is away: "transfer", "partner" or "pallet"; empty for a store, a unit, a vehicle, or outside."""
    if place is None:
        return ""
    return next((side for side in _ACCOUNTS if getattr(place, f"{side}_id") is not None), "")


def refuse_draw(row: Container, place: Place | None, target: Account | Place | None) -> None:
    """Refuse that something from it goes to an account, or into a container at a place. Raises Refused."""
    side = away(place)
    if not side:
        return
    allowed = target in _ACCOUNTS[side] if isinstance(target, Account) else side == "pallet" == away(target)
    if not allowed:
        raise Refused(f"{row}: {_INSTEAD[side]}.")


def refuse_filling(row: Container, place: Place | None, lot: LotHeld) -> None:
    """Refuse that a lot goes into it. Raises Refused."""
    side = away(place)
    if side == "pallet":
        assert place is not None and place.pallet is not None  # noqa: PT018 - `away` has just read it there
        refuse_class(row, place.pallet, [lot])
    elif side:
        raise Refused(f"{row}: {_INSTEAD[side]}.")


def refuse_move(row: Container, start: Place | None, end: Place | None, held: Iterable[LotHeld]) -> None:
    """Refuse that it goes from a place to another; None: outside the book. Raises Refused."""
    if end is None and row.contents_ml:
        raise Refused(f"{row} is not empty by the book: say where what is in it went before it leaves the book.")
    if away(start) == "pallet" and end is not None and away(end) != "pallet":
        raise Refused(f"{row}: {_INSTEAD['pallet']}.")
    if end is not None and end.pallet is not None:
        refuse_class(row, end.pallet, held)


def refuse_class(row: Container, pallet: Pallet, held: Iterable[LotHeld]) -> None:
    """Refuse what the pallet's programme does not take; PFAS not known counts as with PFAS. Raises Refused."""
    if pallet.closed_on:
        raise Refused(f"{pallet} was closed on {pallet.closed_on}: choose another pallet.")
    if row.partner_id is not None:
        raise Refused(f"{row} is borrowed: it goes back to whose it is, not to a programme.")
    for lot in held:
        without = lot.pfas == "no"
        if (pallet.takes == PalletTakes.WITH and without) or (pallet.takes == PalletTakes.WITHOUT and not without):
            raise Refused(f"{row} holds {lot.concentrate_name} (PFAS: {lot.pfas}); {pallet} takes {pallet.takes}.")
        if lot.kind in pallet.refused_kinds:
            raise Refused(f"{row} holds {lot.concentrate_name}; the programme of {pallet} does not take {lot.kind}.")
