"""The units people write in, and SI inside (mm, g, ha, kg/ha, °C, days).

A family maps the suffix of a key (`length_in`, `lb_per_acre`) to its unit; the first unit of each family is the SI one.
"""

from typing import NamedTuple

MM_PER_IN = 25.4
HA_PER_ACRE = 0.40468564224
G_PER_LB = 453.59237
KG_PER_HA_IN_LB_PER_ACRE = G_PER_LB / 1000 / HA_PER_ACRE


class Unit(NamedTuple):
    """A unit of one family: SI = (value − zero) · factor."""

    factor: float
    words: str
    zero: float = 0.0

    def to_si(self, value: float) -> float:
        return (value - self.zero) * self.factor

    def from_si(self, value: float) -> float:
        return value / self.factor + self.zero


Family = dict[str, Unit]

LENGTH: Family = {"mm": Unit(1.0, "mm"), "in": Unit(MM_PER_IN, "in")}
WEIGHT: Family = {"g": Unit(1.0, "g"), "lb": Unit(G_PER_LB, "lb"), "kg": Unit(1000.0, "kg")}
AREA: Family = {"ha": Unit(1.0, "ha"), "acres": Unit(HA_PER_ACRE, "acres")}
TEMPERATURE: Family = {"c": Unit(1.0, "°C"), "f": Unit(5 / 9, "°F", 32.0)}
CROP: Family = {"kg_per_ha": Unit(1.0, "kg/ha"), "lb_per_acre": Unit(KG_PER_HA_IN_LB_PER_ACRE, "lb/acre")}
FEED: Family = {
    "kg_per_ha_day": Unit(1.0, "kg/ha a day"),
    "lb_per_acre_day": Unit(KG_PER_HA_IN_LB_PER_ACRE, "lb/acre a day"),
}
EFFORT: Family = {
    "hours_per_ha": Unit(1.0, "hours/ha"),
    "hours_per_acre": Unit(1 / HA_PER_ACRE, "hours/acre"),
}
DENSITY: Family = {"per_ha": Unit(1.0, "per ha"), "per_acre": Unit(1 / HA_PER_ACRE, "per acre")}
FEED_PRICE: Family = {"per_kg_feed": Unit(1.0, "per kg"), "per_lb_feed": Unit(1000 / G_PER_LB, "per lb")}


def density(area_ha: float) -> Family:
    """Fish per hectare, per acre, or counted in the whole pond of this area."""
    return DENSITY | {"count": Unit(1 / area_ha, "fish in the pond")}


def brief(value: float, digits: int = 3) -> str:
    """A number with no more digits than it deserves, never in powers of ten: 1500, 0.45, 12.3."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 10 ** (digits - 1) else f"{rounded:.10g}"


def in_words(value: float, family: Family, suffix: str, digits: int = 3) -> str:
    """An SI value in one unit of its family: in_words(203.2, LENGTH, "in") is "8 in"."""
    unit = family[suffix]
    return f"{brief(unit.from_si(value), digits)} {unit.words}"
