"""Attacking a storage tank with portable streams: what reaches, before anybody counts concentrate."""

from typing import Final, Literal

from readiness.engineering.units import to_si

Means = Literal["handlines", "monitors"]
_HANDLINE_DIAMETER_M: Final = to_si(30, "ft")  # row R8: under 30 ft diameter and 20 ft high
_HANDLINE_HEIGHT_M: Final = to_si(20, "ft")
_MONITOR_DIAMETER_M: Final = to_si(60, "ft")  # up to 60 ft
_NEARLY: Final = 1e-9


def portable_means(diameter_m: float, height_m: float) -> tuple[Means, ...]:
    """What a portable attack may be made with; empty: neither, the tank is too wide.

    diameter_m, height_m [m]. Monitors up to 60 ft in diameter; handlines under 30 ft in diameter and 20 ft high.
    The rate and the minutes stand in ``rates`` (use "direct"). Source: row R8, US National Fire Academy bulletin
    FP-2011-37. Raises ``ValueError``.

    >>> portable_means(9.0, 6.0), portable_means(18.0, 6.0), portable_means(19.0, 6.0)
    (('handlines', 'monitors'), ('monitors',), ())
    """
    if diameter_m <= 0 or height_m <= 0:
        raise ValueError("A tank has a diameter and a height above 0.")
    if diameter_m > _MONITOR_DIAMETER_M * (1 + _NEARLY):
        return ()
    by_hand = diameter_m < _HANDLINE_DIAMETER_M * (1 - _NEARLY) and height_m < _HANDLINE_HEIGHT_M * (1 - _NEARLY)
    return ("handlines", "monitors") if by_hand else ("monitors",)


def out_of_reach(diameter_m: float, height_m: float) -> str:
    """The sentence for a tank that portable streams do not put out, or ""."""
    if portable_means(diameter_m, height_m):
        return ""
    return (
        "Wider than 60 ft (18.3 m): portable streams do not put it out. Cool, protect exposures, and call those who "
        "have larger monitors."
    )
