"""The reference that a person reads on the page of a failure and that the log holds beside its traceback."""

from __future__ import annotations

import logging
import secrets

_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that is taken for another over the radio


class WithReference(logging.Filter):
    """Gives every line of the log the reference that the person saw, or a dash."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Take it from the request, where there is one."""
        record.reference = getattr(getattr(record, "request", None), "reference", "-")
        return True


def new_reference() -> str:
    """Eight letters and figures that can be read out over the phone: K7F2-9QXD."""
    text = "".join(secrets.choice(_LETTERS) for _ in range(8))
    return f"{text[:4]}-{text[4:]}"
