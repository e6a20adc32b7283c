"""What burns: groups of liquids, which of them need alcohol-resistant foam, and where foam is not the answer."""

from typing import Final, Literal

from readiness.engineering.percentages import WHOLE, percent_text

Group = Literal["hydrocarbon", "polar", "blend", "unknown", "not_foam"]
GROUPS: Final[tuple[Group, ...]] = ("hydrocarbon", "polar", "blend", "unknown", "not_foam")

# 49 CFR 172.101 and PHMSA interpretation 01-0082R (published row U1): up to and including 10 %.
GREATEST_PLAIN_OXYGENATE: Final = 1_000  # hundredths of a point: 10 %

WATER_BOILS_C: Final = 100.0


def _refuse_percent(pct: int) -> None:
    if not 0 <= pct <= WHOLE:
        raise ValueError(f"{percent_text(pct)} was read: a share of a blend lies between 0 and 100 %.")


def needs_alcohol_resistant(group: Group, oxygenate_pct: int | None = None) -> bool:
    """Whether only alcohol-resistant concentrate counts for this liquid.

    Polar solvents, unknown and n.o.s. liquids, and blends with more than 10 % oxygenate need it; so does a blend
    whose oxygenate is not known. oxygenate_pct [1/100 point]: 10.0 % is 1000 and does not need it, 10.01 % does.
    Source: PHMSA interpretation 01-0082R and 49 CFR 172.101 (row U1). Raises ``ValueError`` for a liquid that foam
    is not the answer to.

    >>> needs_alcohol_resistant("blend", 8500)
    True
    """
    if group == "not_foam":
        raise ValueError("A liquid that foam is not the answer to was read: no concentrate counts for it.")
    if oxygenate_pct is not None:
        _refuse_percent(oxygenate_pct)
    if group in {"polar", "unknown"}:
        return True
    share = oxygenate_pct if oxygenate_pct is not None else (WHOLE if group == "blend" else 0)
    return share > GREATEST_PLAIN_OXYGENATE


def plain_foam_only_by_policy(group: Group, oxygenate_pct: int | None = None) -> bool:
    """Whether plain film-forming foam counts only where the department's policy says so, and then as limited.

    True for gasoline with some oxygenate and no more than 10 % of it. oxygenate_pct [1/100 point].
    Source: design rule; in the 2007 tests only AR-AFFF passed on both E10 and E95 (trade notes). Raises ``ValueError``.
    """
    return not needs_alcohol_resistant(group, oxygenate_pct) and bool(oxygenate_pct)


def not_as_it_lies(*, running_fuel: bool = False, liquid_c: float | None = None) -> str:
    """Why foam is not the agent, or not alone, for a liquid as it lies there; empty where it is.

    running_fuel: a three-dimensional fire that flows or falls; liquid_c: temperature of the liquid [°C], None where it
    is not heated. At 100 °C exactly foam still counts. Source: design rule, common practice. Gases under pressure and
    liquids that react with water are told by the fuel itself (``not_foam``).
    """
    if liquid_c is not None and liquid_c > WATER_BOILS_C:
        return (
            "Foam is not the agent, or not alone: the liquid is hotter than 212 °F (100 °C), where the water in foam "
            "boils and can throw the liquid out."
        )
    if running_fuel:
        return "Foam is not the agent, or not alone: a blanket does not hold on fuel that runs or falls."
    return ""
