"""What the package's formulas give for the figures in checks.toml, figure by figure."""

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from pondpop.model import bioenergetics, hauling, mortality, predation
from pondpop.model.grid import GRID_MM
from pondpop.observe import indices
from pondpop.scenario import CLIMATES
from pondpop.scenario.moving import tempering_minutes
from pondpop.species import SPECIES, load_parameters
from pondpop.units import G_PER_LB, MM_PER_IN

FOLDER = Path(__file__).parent
OUNCE_G = G_PER_LB / 16


@dataclass(frozen=True)
class Check:
    """One published figure, the interval allowed, and what the package gives."""

    name: str
    source: str
    tag: str
    published: float
    unit: str
    low: float
    high: float
    because: str
    found: float
    miss: str

    @property
    def holds(self) -> bool:
        return self.low <= self.found <= self.high

    def __str__(self) -> str:
        return (
            f"{self.name}: found {self.found:.6g}, published {self.published:g} {self.unit} "
            f"(allowed {self.low:.6g} to {self.high:.6g}: {self.because}); {self.source} ({self.tag})"
        )


def checks() -> list[Check]:
    """Every figure of checks.toml with what the package gives."""
    return [_check(dict(row)) for row in read("checks.toml")["check"]]


@cache
def parameters():
    return load_parameters()


def read(file: str) -> dict:
    return tomllib.loads((FOLDER / file).read_text("utf-8"))


def _check(row: dict) -> Check:
    found = float(FORMULAS[row.pop("formula")](**row.pop("given")))
    published = row["published"]
    if "interval" in row:
        low, high = row.pop("interval")
    else:
        margin = abs(published) * row.pop("within") if "within" in row else row.pop("absolute")
        low, high = published - margin, published + margin
    return Check(low=low, high=high, found=found, miss=row.pop("miss", ""), **row)


# --- standards ---


def standard_weight_g(species, length_mm):
    return indices.standard_weight(length_mm, species)


def standard_weight_oz(species, length_in):
    return indices.standard_weight(length_in * MM_PER_IN, species) / OUNCE_G


def limit_percent(count, total, side):
    return 100 * getattr(indices.exact_limits(count, total), side)


def psd_of_sample(species, category, inches):
    lengths = np.repeat([(float(i) + 0.5) * MM_PER_IN for i in inches], list(inches.values()))
    return indices.psd_of_categories(indices.category_counts(lengths, species), category)


# --- deaths ---


def background_deaths_per_year(species, weight_g):
    """Over a year in southern water."""
    p = parameters()
    rate = of(p, species, "background_deaths_multiplier") * p.background_deaths_at_1_g_per_year[0]
    rate *= weight_g ** p.background_deaths_exponent[0]
    water_c = np.array(CLIMATES["deep_south"].monthly_c)
    rate *= mortality.warm_deaths(water_c, p.background_deaths_warming_per_c, p.background_deaths_reference_c).mean()
    return rate * (weight_g / of(p, species, "background_deaths_pivot_g")) ** of(p, species, "background_deaths_size_gain")


def alive_in_cold(water_c, days):
    p = parameters()
    rate = mortality.cold_deaths(
        water_c,
        of(p, "shad", "cold_deaths_per_day"),
        of(p, "shad", "cold_deaths_below_c"),
        of(p, "shad", "cold_deaths_width_c"),
    )
    return np.exp(-rate * days)


# --- energetics ---


def of(p, species, name):
    return getattr(p, name)[0, SPECIES.index(species)]


def dome(water_c, q, optimum_c, maximum_c):
    return bioenergetics.temperature_dome(water_c, q, optimum_c, maximum_c)


def intake(species, weight_g, water_c, p):
    """Maximum intake, g/g/d, without the stop by cold."""
    curve = bioenergetics.temperature_dome(
        water_c, of(p, species, "intake_dome_q"), of(p, species, "intake_optimum_c"), of(p, species, "intake_maximum_c")
    )
    return of(p, species, "max_intake_at_1_g") * weight_g ** of(p, species, "max_intake_exponent") * curve


def published_intake(species, weight_g, water_c):
    published = read("parameters.toml")[species]["max_intake_at_1_g"]
    return intake(species, weight_g, water_c, parameters().replace(f"{species}.max_intake_at_1_g", published))


def most_intake(species, weight_g, water_c):
    p = parameters()
    curve = bioenergetics.temperature_dome(
        water_c, of(p, species, "intake_dome_q"), of(p, species, "intake_optimum_c"), of(p, species, "intake_maximum_c")
    )
    factor = bioenergetics.intake_temperature_factor(
        curve, water_c, of(p, species, "feeding_stops_below_c"), of(p, species, "feeding_stop_width_c"),
        p.intake_dome_floor[0],
    )  # fmt: skip
    return of(p, species, "max_intake_at_1_g") * weight_g ** of(p, species, "max_intake_exponent") * factor


def intake_ratio(species, over_c, under_c):
    return most_intake(species, 100.0, over_c) / most_intake(species, 100.0, under_c)


def bass_respiration_j(weight_g, water_c, p, rest=True):
    """Energy that a bass respires, J/g/d."""
    warm = np.exp(of(p, "bass", "respiration_per_c") * np.minimum(water_c, of(p, "bass", "respiration_flat_above_c")))
    if rest:
        cold = bioenergetics.winter_cold(water_c, p.winter_rest_below_c[0], p.winter_rest_width_c[0])
        rest = of(p, "bass", "winter_rest_share")
        size = (weight_g / 100.0) ** of(p, "bass", "winter_rest_size_exponent") - 1.0
        warm = warm * (1.0 - rest * cold) * (1.0 + bioenergetics.resting_share(cold, rest) * size)
    oxygen = of(p, "bass", "respiration_at_1_g") * weight_g ** of(p, "bass", "respiration_exponent") * warm
    return oxygen * of(p, "bass", "activity_multiplier") * p.oxygen_energy_j_per_g[0]


def published_respiration_j(species, weight_g, water_c, activity):
    return bass_respiration_j(weight_g, water_c, parameters().replace("bass.activity_multiplier", activity), rest=False)


def bass_growth(weight_g, water_c, share_of_most, p):
    """Growth of a bass, per day in log weight, that eats a share of its maximum as fish."""
    eaten = share_of_most * most_intake("bass", weight_g, water_c) * p.prey_fish_energy_j_per_g[0]
    kept = (1 - of(p, "bass", "egested_share")) * (
        1 - of(p, "bass", "excreted_share") - of(p, "bass", "digestion_cost_share")
    )
    rise = of(p, "bass", "body_energy_exponent")
    body = of(p, "bass", "body_energy_j_per_g") * (weight_g / 100) ** rise * (1 + rise)
    return (eaten * kept - bass_respiration_j(weight_g, water_c, p)) / body


def printed_growth_percent(water_c):
    return 100 * np.polynomial.Polynomial([0.0187, -0.00367, 0.000243, -0.00000434])(water_c)


def satiation_growth_percent(weight_g, water_c):
    return 100 * bass_growth(weight_g, water_c, 1.0, parameters())


def satiation_growth_ratio(weight_g, water_c, over_c):
    return satiation_growth_percent(weight_g, water_c) / satiation_growth_percent(weight_g, over_c)


def warmth_of_fastest_growth(weight_g):
    water = np.arange(10.0, 36.0, 0.05)
    return water[np.argmax(bass_growth(weight_g, water, 1.0, parameters()))]


def loss_without_food_percent(weight_g, water_c, days):
    p, log_weight = parameters(), math.log(weight_g)
    for _ in range(days):
        log_weight += bass_growth(math.exp(log_weight), water_c, 0.0, p)
    return 100 * (1 - math.exp(log_weight) / weight_g)


def largest_prey_share(prey, bass_mm):
    kernel = predation.prey_size_kernel(parameters())[0, SPECIES.index(prey)]
    of_bass = kernel[:, np.argmin(abs(GRID_MM - bass_mm))]
    ratio = GRID_MM / GRID_MM[np.argmin(abs(GRID_MM - bass_mm))]
    falling = np.arange(np.argmax(of_bass), of_bass.size)
    half = of_bass.max() / 2
    return np.exp(np.interp(-half, -of_bass[falling], np.log(ratio[falling])))


def alive_of_strain(strain, water_c, days):
    """Per cent alive of bass of a strain after days in water of one temperature, by what kills strains alone."""
    p = load_parameters().of_kinds([strain])
    names = ("chill_deaths_per_day", "chill_deaths_below_c", "chill_deaths_width_c")
    return 100 * math.exp(-days * float(mortality.cold_deaths(water_c, *(getattr(p, name)[0, 0] for name in names))))


def dead_of_haul(kind, hours):
    """Per cent dead of hours in a truck or confined, untreated, once all that die of it have."""
    p = load_parameters().of_kinds([kind])
    return 100 * -math.expm1(-float(hauling.hours_deaths(hours, p.haul_hours[0, 0], p.haul_power[0])))


def dead_of_handling(kind, length_mm, water_c):
    p = load_parameters().of_kinds([kind])
    named = (p.handling_size_exponent[0], water_c, p.handling_warming_per_c[0], p.handling_reference_c[0])
    return 100 * -math.expm1(-float(hauling.handling_deaths(p.handling_deaths[0, 0], length_mm, *named)))


def minutes_of_tempering(from_f, to_f):
    return tempering_minutes(*((f - 32) / 1.8 for f in (from_f, to_f)))


FORMULAS = {
    function.__name__: function
    for function in (
        standard_weight_g, standard_weight_oz, limit_percent, psd_of_sample,
        background_deaths_per_year, alive_in_cold, dome, published_intake, most_intake,
        intake_ratio, published_respiration_j, printed_growth_percent, satiation_growth_percent,
        satiation_growth_ratio, warmth_of_fastest_growth, loss_without_food_percent, largest_prey_share, alive_of_strain,
        dead_of_haul, dead_of_handling, minutes_of_tempering,
    )
}  # fmt: skip
