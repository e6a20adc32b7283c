"""A laboratory's values of a concentrate against the declared ones. The laboratory's own pass or fail goes first."""

from collections.abc import Mapping
from typing import Final, Literal, NamedTuple

Quality = Literal["density", "viscosity", "ph", "sediment", "density_aged"]
QUALITIES: Final[tuple[Quality, ...]] = ("density", "viscosity", "ph", "sediment", "density_aged")
WORDS: Final[dict[Quality, tuple[str, str]]] = {  # name, unit
    "density": ("Density", "kg/L"),
    "viscosity": ("Viscosity", "mPa·s"),
    "ph": ("pH", ""),
    "sediment": ("Sediment", "% by volume"),
    "density_aged": ("Density after ageing", "kg/L"),
}
OF_DECLARED: Final[dict[Quality, Quality]] = {"density_aged": "density"}  # is compared with another's declared value


class Limits(NamedTuple):
    """What passes, editable by a department. Shares of the declared value (0.05 = ±5 %); sediment in % by volume."""

    density_within: float = 0.05
    viscosity_within: float = 0.05
    density_aged_within: float = 0.10
    ph_low: float = 7.0
    ph_high: float = 8.5
    sediment_most: float = 0.10
    sediment_included: bool = False  # L1 says below, L2 at most
    source: str = "IRAM 3515 through a public page"


L1: Final = Limits()
# Row L2, from memory: pH and sediment of a shipping circular, which says nothing of density and viscosity here.
L2: Final = Limits(
    ph_low=6.0,
    ph_high=9.5,
    sediment_most=0.25,
    sediment_included=True,
    source="IMO MSC.1/Circ.1312, from memory, unconfirmed",
)
SHIPPING_FIRST_TEST_YEARS: Final = 3  # row L2: after supply, then yearly
OFFSHORE_YEARLY: Final = ("specific gravity", "pH", "water dilution", "solids")  # row L3, 30 CFR 250.861: fields


class Finding(NamedTuple):
    """One value against its limit. ``within`` None: nothing declared to compare with."""

    quality: Quality
    measured: float
    low: float | None
    high: float | None
    within: bool | None


def _limits_of(
    quality: Quality, declared: Mapping[Quality, float], limits: Limits
) -> tuple[float | None, float | None]:
    if quality == "ph":
        return limits.ph_low, limits.ph_high
    if quality == "sediment":
        return None, limits.sediment_most
    share = {
        "density": limits.density_within,
        "viscosity": limits.viscosity_within,
        "density_aged": limits.density_aged_within,
    }[quality]
    known = declared.get(OF_DECLARED.get(quality, quality))
    return (None, None) if known is None else (known * (1 - share), known * (1 + share))


def _within(quality: Quality, measured: float, low: float | None, high: float | None, limits: Limits) -> bool | None:
    if low is None and high is None:
        return None
    if quality == "sediment" and high is not None and not limits.sediment_included:
        return measured < high
    slack = 1e-9
    return (low is None or measured >= low * (1 - slack)) and (high is None or measured <= high * (1 + slack))


def weigh(measured: Mapping[Quality, float], declared: Mapping[Quality, float], limits: Limits = L1) -> list[Finding]:
    """Each measured value against its limits, in the order of a report.

    measured, declared: kg/L, mPa·s, pH, % by volume. Density and viscosity within ±5 % of the declared, after ageing
    ±10 %; pH 7.0 to 8.5; sediment below 0.10 mL in 100 mL. Source: row L1, row L2. What is declared nowhere is shown
    and not judged. Raises ``ValueError`` for a value below 0 and a pH beyond 14.
    """
    for quality, value in measured.items():
        if value < 0 or (quality == "ph" and value > 14):
            raise ValueError(f"{WORDS[quality][0]} {value:g} was read, which cannot be; check the report.")
    found = []
    for quality in QUALITIES:
        if quality in measured:
            low, high = _limits_of(quality, declared, limits)
            value = measured[quality]
            found.append(Finding(quality, value, low, high, _within(quality, value, low, high, limits)))
    return found


DECLARED: Final[dict[str, Quality]] = {"declared_density": "density", "declared_viscosity": "viscosity"}


def weigh_kept(kept: Mapping[str, float], limits: Limits = L1) -> list[Finding]:
    """The same from values as a record keeps them: by quality, the declared ones under their own names."""
    measured: dict[Quality, float] = {each: kept[each] for each in QUALITIES if each in kept}
    declared: dict[Quality, float] = {of: kept[name] for name, of in DECLARED.items() if name in kept}
    return weigh(measured, declared, limits)


def passes(laboratory: bool | None, findings: list[Finding]) -> bool | None:
    """The laboratory's pass or fail first; without one, a value outside fails, and values within prove no pass.

    None: not decided. A laboratory looks at more than these values, so they can fail a sample and never pass one.
    """
    if laboratory is not None:
        return laboratory
    return False if any(each.within is False for each in findings) else None
