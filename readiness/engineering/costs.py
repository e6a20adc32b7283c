"""What a volume costs: money in whole cents from a price in the unit it was quoted for."""

from fractions import Fraction

from readiness.engineering.units import Number, exact_volume


def cost_cents(volume_ml: int, price: Number, per: str) -> int:
    """Cost of ``volume_ml`` [mL] at ``price`` (money for one ``per``, a unit of volume), in whole cents, halves up.

    Nine 5-gal pails are 170,343 mL; at 28.00 a gallon that is 1,260.00 (44.99986 gal would be 1,259.996).
    Raises ``UnitError`` for a unit that is no volume, ``ValueError`` below nothing.

    >>> cost_cents(170_343, 28, "gal")
    126000
    """
    if volume_ml < 0 or price < 0:
        raise ValueError(f"{volume_ml} mL at {price} was read: neither lies below nothing.")
    cents = exact_volume(volume_ml, per) * Fraction(str(price)) * 100
    return (2 * cents.numerator + cents.denominator) // (2 * cents.denominator)
