"""Who acts, and what each role may do."""

from __future__ import annotations

from typing import NamedTuple

from readiness.models import Department, Device, Membership, Role, User
from readiness.models.movements import Identity


class NotAllowed(Exception):
    """The person may see this department but not do this; the text is a sentence for them."""


class Acting(NamedTuple):
    """Who acts and how that was known; no user means the installation's owner at the command line."""

    user: User | None
    identity: Identity
    device: Device | None = None


OWNER = Acting(None, Identity.COMMAND)

_ALL_HANDS = frozenset({Role.CREW, Role.OFFICER, Role.LOGISTICS, Role.INSTRUCTOR, Role.CHIEF})
_OFFICERS = frozenset({Role.OFFICER, Role.LOGISTICS, Role.CHIEF})
_STOCK = frozenset({Role.LOGISTICS, Role.CHIEF})

MAY: dict[str, frozenset[Role]] = {
    "check": _ALL_HANDS,
    "use": _ALL_HANDS,
    "pour": _ALL_HANDS,
    "open": _ALL_HANDS,
    "flush": _ALL_HANDS,
    "drill": frozenset({Role.INSTRUCTOR, Role.LOGISTICS, Role.CHIEF}),
    "override": _OFFICERS,
    "change over": _OFFICERS,
    "mark mixed": _OFFICERS,
    "inspect": _OFFICERS,
    "quarantine": _OFFICERS,
    "settle": _OFFICERS,
    "receive": _STOCK,
    "receive transfer": _ALL_HANDS,  # whoever stands at the destination; the sender never (actions/transfers.py)
    "move": _STOCK,
    "dispose": _STOCK,
    "correct": _STOCK,
    "recall": _STOCK,
    "workbook": _STOCK,
    "sample": _STOCK,
    "edit par lists and store limits": _STOCK,
    "purchase": _STOCK,
    "line test": _OFFICERS | {Role.INSTRUCTOR},
    "assign": _OFFICERS,
    "raise a deficiency": _ALL_HANDS,
    "hand over": _ALL_HANDS,
    "close a deficiency": _OFFICERS,
    "label": _OFFICERS,
    "accept": frozenset({Role.CHIEF}),
    "manage people": frozenset({Role.CHIEF}),
    "edit policy and reference data": frozenset({Role.CHIEF}),
    "read the table of changes": _STOCK,
    "count": _ALL_HANDS,
    "inventory": _STOCK,
    "confirm an inventory": _OFFICERS,
    "sign above the limit": frozenset({Role.CHIEF}),
}

# What an entry at a station's shared tablet may do, made by a person with a PIN: a crew's work, whatever their role.
AT_TABLET = frozenset({"check", "use", "pour", "open", "flush", "raise a deficiency", "hand over"})

_IN_WORDS = {  # where the name of an action is no verb
    "drill": "book what a drill used",
    "hand over": "write, read or end a hand-over note",
    "label": "print or withdraw labels",
    "line test": "record a proportioning test",
    "close a deficiency": "follow up or close a deficiency",
    "sample": "record a sample",
    "workbook": "take in a workbook",
}


def role_in(user: User, department: Department) -> Role | None:
    """The person's role in the department, or None for an outsider."""
    found = Membership.objects.filter(user=user, department=department, to_on__isnull=True).values_list(
        "role", flat=True
    )
    role = next(iter(found.order_by()), None)  # a person has one membership in a department
    return Role(role) if role else None


def require(acting: Acting, department: Department, action: str) -> None:
    """Raise NotAllowed unless the acting person's role may do `action`; the owner at the command line may."""
    if acting.user is None:
        if acting.identity not in (Identity.COMMAND, Identity.IMPORT):
            raise NotAllowed("Nobody is signed in: sign in first.")
        return
    if acting.identity == Identity.PIN and action not in AT_TABLET:
        raise NotAllowed(f"A PIN does not do to {_IN_WORDS.get(action, action)}: sign in as yourself for that.")
    role = role_in(acting.user, department)
    if role is None or role not in MAY[action]:
        allowed = ", ".join(sorted(each.label for each in MAY[action]))
        has = f"as {role.label} you" if role else "you"
        raise NotAllowed(f"To {_IN_WORDS.get(action, action)} is for: {allowed}; {has} may not.")
