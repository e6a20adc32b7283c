"""What burns: groups of liquids, which of them need alcohol-resistant foam, and where foam is not the answer."""

from typing import Final, Literal, NamedTuple

from readiness.engineering.percentages import WHOLE, percent_text

Group = Literal["hydrocarbon", "polar", "blend", "unknown", "not_foam"]
GROUPS: Final[tuple[Group, ...]] = ("hydrocarbon", "polar", "blend", "unknown", "not_foam")

# 49 CFR 172.101 and PHMSA interpretation 01-0082R (published row U1): up to and including 10 %.
GREATEST_PLAIN_OXYGENATE: Final = 1_000  # hundredths of a point: 10 %
UN_GASOLINE: Final = "UN1203"
UN_GASOLINE_ABOVE_10: Final = "UN3475"
UN_ETHANOL: Final = "UN1170"
UN_DENATURED_ETHANOL: Final = "UN1987"  # row U2: placard on US ethanol trains, polar; common practice, no source

# n.o.s. entries name a way of shipping, not a liquid: they do not tell a hydrocarbon from a polar solvent.
_NOT_TELLING: Final[dict[str, Group]] = {
    "UN1993": "unknown",
    "NA1993": "unknown",
    "UN1268": "unknown",
    "UN1987": "polar",
}
WATER_BOILS_C: Final = 100.0


class FoamAnswer(NamedTuple):
    """Whether foam is the agent, and the sentence that says why not ("" when it is)."""

    yes: bool
    sentence: str


def _refuse_percent(pct: int) -> None:
    if not 0 <= pct <= WHOLE:
        raise ValueError(f"{percent_text(pct)} was read: a share of a blend lies between 0 and 100 %.")


def group_of_nos(un: str) -> Group | None:
    """The group to assume for an entry that names no liquid (UN1993, UN1268, UN1987), or None for any other.

    The safe side: unknown and polar both need alcohol-resistant concentrate. Ask what is really in the tank.
    """
    return _NOT_TELLING.get(un)


def needs_alcohol_resistant(group: Group, oxygenate_pct: int | None = None) -> bool:
    """Whether only alcohol-resistant concentrate counts for this liquid.

    Polar solvents, unknown and n.o.s. liquids, and blends with more than 10 % oxygenate need it; so does a blend
    whose oxygenate is not known. oxygenate_pct [1/100 point]: 10.0 % is 1000 and does not need it, 10.01 % does.
    Source: PHMSA interpretation 01-0082R and 49 CFR 172.101 (row U1). Raises ``ValueError`` for a liquid that foam
    is not the answer to: ask ``foam_is_the_answer`` first.

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


def gasoline_blend_un(ethanol_pct: int) -> str:
    """The UN number of gasoline with so much ethanol: to 10 % UN1203, above UN3475, neat ethanol UN1170.

    ethanol_pct [1/100 point]: 10.0 % is 1000 (UN1203), 10.01 % is 1001 (UN3475, alcohol-resistant foam). Ethanol
    with a few percent of denaturant moves as UN1987 in the trade (row U2) and is not a gasoline blend.
    Source: PHMSA interpretation 01-0082R; Transport Canada 2016 (row U1). Raises ``ValueError``.

    >>> gasoline_blend_un(1000), gasoline_blend_un(1001)
    ('UN1203', 'UN3475')
    """
    _refuse_percent(ethanol_pct)
    if ethanol_pct == WHOLE:
        return UN_ETHANOL
    return UN_GASOLINE if ethanol_pct <= GREATEST_PLAIN_OXYGENATE else UN_GASOLINE_ABOVE_10


def foam_is_the_answer(
    group: Group,
    *,
    pressurized_gas: bool = False,
    running_fuel: bool = False,
    water_reactive: bool = False,
    liquid_c: float | None = None,
) -> FoamAnswer:
    """Whether foam is the agent for this fire or spill; otherwise why foam is not the agent, or not alone.

    pressurized_gas: burns from under pressure; running_fuel: a three-dimensional fire that flows or falls;
    water_reactive: the liquid reacts with the water in foam; liquid_c: temperature of the liquid [°C], None where it
    is not heated. At 100 °C exactly foam still counts. Source: design rule, common practice.
    """
    if pressurized_gas:
        return FoamAnswer(False, "Foam is not the agent: gas under pressure burns on above any blanket; stop the flow.")
    if water_reactive:
        return FoamAnswer(False, "Foam is not the agent: this liquid reacts with the water in foam.")
    if liquid_c is not None and liquid_c > WATER_BOILS_C:
        return FoamAnswer(
            False,
            f"Foam is not the agent, or not alone: the liquid is at {liquid_c:g} °C, and above 100 °C the water in "
            "foam boils and can throw the liquid out.",
        )
    if running_fuel:
        return FoamAnswer(
            False, "Foam is not the agent, or not alone: a blanket does not hold on fuel that runs or falls."
        )
    if group == "not_foam":
        return FoamAnswer(False, "Foam is not the agent, or not alone, for this material.")
    return FoamAnswer(True, "")
