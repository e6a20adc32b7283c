"""What the commands share in reading and saying things."""

from __future__ import annotations

from argparse import ArgumentTypeError
from datetime import datetime, time


def counted(number: int, thing: str, several: str = "") -> str:
    """A number with its noun: 1 fault, 2 faults, no differences.

    >>> counted(1, "fault"), counted(0, "difference")
    ('1 fault', 'no differences')
    """
    return f"{number or 'no'} {thing if number == 1 else several or thing + 's'}"


def moment(text: str) -> datetime:
    """A day with its time, for a command's option. Raises ArgumentTypeError with a sentence."""
    try:
        return datetime.fromisoformat(text)
    except ValueError as wrong:
        raise ArgumentTypeError(f"{text!r} was read; write a day and its time like 2026-06-15T06:00.") from wrong


def time_of_day(text: str) -> time:
    """A time of day, for a command's option. Raises ArgumentTypeError with a sentence."""
    try:
        return time.fromisoformat(text)
    except ValueError as wrong:
        raise ArgumentTypeError(f"{text!r} was read; write a time of day like 07:00.") from wrong
