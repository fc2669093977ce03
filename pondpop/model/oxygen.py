"""Oxygen of the water, night by night: bloom, mud, fish and feed, wind, turnover, ice; whom a night kills, how well fish eat.

A day begins with the night that ends at its dawn; then light makes oxygen until dusk. Oxygen is that of the water that
mixes each night, mg/L (= g/m³); what is made or taken is g O2 per m² and day; depths m. Arrays are [member] or [day, member]
unless said. Nothing here changes the pond.

How often ponds lose fish is published nowhere as a rate per pond and year: collapses of the bloom, feed and turnover were
set to frequencies that are assumed (pond.toml). Dawn oxygen of one pond cannot be told better than to 0.5-1 mg/L: a model
of respiration and exchange missed it by 0.4 mg/L over 40 nights (Madenjian et al. 1987).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pondpop.arrays import Array, Value, logistic
from pondpop.model.inputs import Inputs
from pondpop.model.state import Pond
from pondpop.species import Parameters
from pondpop.units import DAYS_PER_YEAR, G_PER_KG, HOURS_PER_DAY

KILLERS = ("cloud", "turnover", "feed", "bloom", "ice")
"""What a night that kills fish is put down to: what took or withheld most oxygen beyond an ordinary night."""
MOVED = ("made", "plankton", "bottom", "fish", "debris", "air", "turnover", "bubbles", "aerators")
"""What changes the oxygen of the water, mg/L: made by the bloom, taken by the others, exchanged with air and deep water."""
MOST_SATURATED = 2.2  # times saturation; more leaves as bubbles (assumed)
KILLS_AT_LEAST = 1e-3  # of the fish in a night; the tail below it is cut off, so that ordinary nights kill none

# ---------------------------------------------------------------------- physics


def saturation_mg_l(water_c: ArrayLike, elevation_m: float = 0.0) -> Array:
    """Oxygen of fresh water in balance with the air, mg/L (Benson & Krause 1984, as APHA 1985 prints it).

    The correction for pressure, of water so many metres above the sea, is APHA's (from memory).
    """
    t = np.asarray(water_c, dtype=float)
    k = t + 273.15
    sea = np.exp(-139.34411 + (1.575701e5 + (-6.642308e7 + (1.243800e10 - 8.621949e11 / k) / k) / k) / k)
    if elevation_m == 0.0:
        return np.asarray(sea)
    pressure, vapour = air_pressure_atm(elevation_m), vapour_pressure_atm(t)
    theta = departure_per_atm(t)
    thinner = (1.0 - vapour / pressure) * (1.0 - theta * pressure) / ((1.0 - vapour) * (1.0 - theta))
    return np.asarray(sea * pressure * thinner)


def departure_per_atm(water_c: ArrayLike) -> Array:
    """How far oxygen departs from an ideal gas, for each atm of pressure (APHA 1985, from memory)."""
    t = np.asarray(water_c, dtype=float)
    return np.asarray(0.000975 - 1.426e-5 * t + 6.436e-8 * t**2)


def air_pressure_atm(elevation_m: float) -> float:
    """Pressure of the air so many metres above the sea, atm (the US standard atmosphere of 1976, from memory)."""
    return float((1.0 - 2.25577e-5 * elevation_m) ** 5.25588)


def vapour_pressure_atm(water_c: ArrayLike) -> Array:
    """Pressure of water vapour over water, atm: e^(11.8571 − 3840.70/K − 216961/K²) (APHA 1985, from memory)."""
    k = np.asarray(water_c, dtype=float) + 273.15
    return np.asarray(np.exp(11.8571 - 3840.70 / k - 216961.0 / k**2))


def transfer_m_per_day(wind_m_s: Value) -> Array:
    """How fast air and water exchange oxygen, m/d: 0.24·(2.07 + 0.215·U^1.7) (Cole & Caraco 1998, from memory)."""
    blown = np.exp(1.7 * np.log(np.maximum(wind_m_s, 1e-300)))
    return np.asarray(0.24 * (2.07 + 0.215 * blown))


def mixing_depth_m(p: Parameters, area_ha: Value) -> Array:
    """Depth down to which still summer nights mix a pond: z1 · area^e, from two Alabama ponds (Byrd 1950)."""
    return np.asarray(p.mixing_depth_at_1_ha_m * area_ha**p.mixing_depth_exponent)


def share_below(depth_m: Value, mean_depth_m: Value) -> Array:
    """Share of a pond's volume below a depth, if it is twice as deep as its mean and a bowl: (1 − z/zmax)² (assumed)."""
    return np.maximum(0.0, 1.0 - np.asarray(depth_m) / (2.0 * mean_depth_m)) ** 2


def light_response(light: Value, half_made_at: Value) -> Array:
    """Production at a share of full light, relative to that at full light: (1 − e^(−I/Ik))/(1 − e^(−1/Ik)).

    It saturates down the water column (from memory): at a quarter of full light about half is made.
    """
    return np.asarray(np.expm1(-np.asarray(light) / half_made_at) / np.expm1(-1.0 / np.asarray(half_made_at)))


def warmer(per_degree: float, water_c: Array, reference_c: float) -> Array:
    """How much faster a process is than at a reference: q^(T − reference)."""
    return np.exp(np.log(per_degree) * (water_c - reference_c))


def night_share(year_day: ArrayLike) -> Array:
    """Share of the day that is dark, at about 33° north: 0.40 at midsummer, 0.52 at midwinter."""
    return 0.46 - 0.06 * np.cos(2.0 * np.pi * (np.asarray(year_day) - 172.0) / DAYS_PER_YEAR)


def clear_light(year_day: ArrayLike) -> Array:
    """Light that a clear day gives the bloom, relative to midsummer: 0.62 + 0.38·cos (assumed shape)."""
    return 0.62 + 0.38 * np.cos(2.0 * np.pi * (np.asarray(year_day) - 172.0) / DAYS_PER_YEAR)


# ---------------------------------------------------------------------- what is known before the run


class Days:
    """What weather and temperature make of every day of the run, [day, member] unless said.

    An exchange e over a part of the day leaves a share `stays` = e^−e of what is apart from saturation; what is made or taken
    evenly in that time, per m², then counts with `counts` (1 − e^−e)/e over the depth that mixes.
    """

    def __init__(self, inputs: Inputs, p: Parameters, water_c: Array) -> None:
        """p: parameters of the kinds of the pond; water_c [member or 1, day]: of the run, luck included."""
        stated, luck = inputs.oxygen, inputs.luck
        assert stated is not None
        t = np.ascontiguousarray(np.broadcast_to(water_c.T, (inputs.days, inputs.members)))
        dark = night_share(inputs.year_day)[:, None]
        clear = clear_light(inputs.year_day)[:, None]
        self.water_c = t
        self.frozen = np.asarray(t < p.ice_below_c)
        self.some_frozen: list[bool] = np.asarray(self.frozen.any(axis=1)).tolist()
        self.saturated = saturation_mg_l(t)
        # a bowl of which a share of the area is left is as much less deep, and what there is of fish and feed as much denser
        under_water = np.ones((inputs.days, 1)) if inputs.area_share is None else inputs.area_share[:, None]
        depth = stated.mean_depth_m * under_water
        mixed = mixing_depth_m(p, inputs.area_ha * under_water)
        self.under_water = under_water
        layer = np.where(self.frozen, depth, np.minimum(mixed, depth))
        self.layer = layer

        sky = np.ascontiguousarray(luck.cloud.T)
        light = clear * (p.overcast_light + (1.0 - p.overcast_light) * logistic(p.cloud_steepness * (sky + 1.0)))
        self.response = light_response(light, p.bloom_light_point)
        warm = warmer(1.05, t, 28.0)
        self.made_if_rich = np.where(self.frozen, 0.0, p.oxygen_production_most * self.response * warm)
        wind = p.mean_wind_m_s * np.ascontiguousarray(luck.wind.T)
        self.night_stays, self.night_counts = self._exchange(p.night_wind_share * wind, dark)
        self.day_stays, self.day_counts = self._exchange(wind, 1.0 - dark)
        self.night_air = self.saturated * (1.0 - self.night_stays)
        self.day_air = self.saturated * (1.0 - self.day_stays)
        self.dark, self.lit = np.broadcast_to(dark, t.shape), np.broadcast_to(1.0 - dark, t.shape)
        self.most = MOST_SATURATED * self.saturated
        self.bottom = p.mud_oxygen_g_per_m2_day * warmer(1.07, t, 25.0)
        self.per_fish = 1e-4 * p.fish_oxygen_mg_per_kg_hour * HOURS_PER_DAY / G_PER_KG * warmer(1.07, t, 28.0)  # of 1 kg/ha
        self.per_fish /= under_water
        self.collapse_above = np.ascontiguousarray(luck.bloom.T) / (
            p.bloom_collapse_per_day * (1.0 + p.oxygen_production_half) * logistic((t - p.bloom_collapse_above_c) / 1.5)
        )
        self.some_may_collapse: list[bool] = (self.collapse_above.min(axis=1) < 1.0).tolist()  # no bloom is denser than 1
        self.kept_of_made = 1.0 - p.bloom_respires_today
        stirred = np.zeros(inputs.days, dtype=bool)  # diffused air keeps deep water from lying apart
        some_aerated = np.zeros(inputs.days, dtype=bool)
        for one in stated.aeration:
            stirred |= one.available & (one.kind == "diffused")
            some_aerated |= one.available
        self.some_aerated: list[bool] = some_aerated.tolist()
        self._turnover(p, share_below(mixed, depth), wind, stirred)
        warmth = limit_rise(t)
        self.limit_rise = warmth
        worst = np.max(p.oxygen_limit_mg_l + LARGE_NEED_MG_L + p.oxygen_limit_width_mg_l * np.log(1.0 / KILLS_AT_LEAST), axis=1)
        self.harms_below = worst * warmth

    def _exchange(self, wind: Array, share: Array) -> tuple[Array, Array]:
        exchange = np.where(self.frozen, 0.0, transfer_m_per_day(wind)) * share / self.layer
        stays = np.exp(-exchange)
        with np.errstate(divide="ignore", invalid="ignore"):
            counts = np.where(exchange > 1e-9, -np.expm1(-exchange) / exchange, 1.0)
        return stays, counts / self.layer

    def _turnover(self, p: Parameters, deep: Array, wind: Array, stirred: NDArray[np.bool_]) -> None:
        """What mixing with deep water takes of the oxygen of the mixed water, mg/L.

        Deep water lies apart while it is warm, and falls behind the water above it, in oxygen and in what it would take up; it
        mixes as the pond cools fast, in strong wind, in the cold, and where diffused air stirs it (assumed shapes).
        """
        t = self.water_c
        before = np.empty_like(t)  # water of the days before
        warmth = t[0]
        for day, today in enumerate(t):
            before[day] = warmth
            warmth = warmth + (today - warmth) / 3.0
        mixes = logistic((wind - 9.0) / 0.7) + logistic(12.0 - t) + stirred[:, None]
        mixes = np.minimum(1.0, mixes + logistic((before - t - p.turnover_cooling_c) / 0.4))
        falls, stays = p.deep_shortage_mg_l_per_day * warmer(1.07, t, 25.0), 1.0 - mixes
        self.deep_shortage = np.empty_like(t)
        short = np.zeros_like(t[0])
        for day, now in enumerate(self.deep_shortage):
            np.multiply(short, stays[day], out=now)
            now += falls[day]
            short = np.minimum(p.deep_shortage_most_mg_l, now, out=now)
        yesterday = np.concatenate([np.zeros_like(t[:1]), self.deep_shortage[:-1]])
        self.turnover = np.where(self.frozen, 0.0, mixes * deep * yesterday)


# ---------------------------------------------------------------------- a night and the day after it


class Night(NamedTuple):
    """A night and the day after it [member]: oxygen in mg/L, what was made and taken in g/m² a day."""

    day: int
    before: Array  # oxygen at dusk of the day before,
    start: Array  # after deep water has mixed,
    dawn: Array  # at dawn, the least of the night,
    dusk: Array  # and at dusk of the day that follows
    made: Array
    plankton: Array  # taken by the bloom, of what it made on other days,
    bottom: Array  # by the mud,
    fish: Array
    debris: Array  # by feed and dead plankton
    night_fade: Array  # share of it that can be taken where oxygen runs out
    day_fade: Array
    bloom: Array  # relative to its ordinary state
    lately: Array  # made of late, g/m² a day
    waste: Array  # oxygen that feed and dead plankton will still take, g/m²
    added: Array | float = 0.0  # by aerators in the night, mg/L, in what is `dawn`
    refuge: Array | float = 0.0  # share of the fish that find aerated water
    kwh: Array | float = 0.0  # per ha


def night(pond: Pond) -> Night:
    """The night that ends at dawn of this day, and the day.

    The bloom respires a share of what it makes today, and of what it made lately, so that a dark day costs more than it
    gives. Every loss fades as oxygen runs out. Oxygen relaxes to the balance of these and of the exchange with the air.
    """
    p, s, days, day = pond.parameters, pond.state, pond.by_day.oxygen, pond.day
    assert days is not None
    rich, bloom, waste = pond.algae_richness, s.bloom, s.waste
    dense = rich / (rich + p.oxygen_production_half)
    dense *= bloom
    if days.some_may_collapse[day] and (fallen := days.collapse_above[day] < dense).any():
        left = np.where(fallen, p.bloom_left_after_collapse, 1.0)
        waste = waste + p.oxygen_of_collapse_g_per_m2 * (1.0 + p.oxygen_production_half) * dense * (1.0 - left)
        bloom, dense = bloom * left, dense * left
    start = s.oxygen - days.turnover[day]
    np.maximum(start, 0.0, out=start)

    plankton = p.bloom_respires_lately * s.lately
    bottom = days.bottom[day]
    fish = days.per_fish[day] * pond.fish_kg_per_ha
    debris = p.waste_decay_per_day * waste
    night_fade = start / (start + p.oxygen_fade_mg_l)
    if days.some_frozen[day]:
        frozen = days.frozen[day]
        plankton = np.where(frozen, p.ice_water_g_per_m3_day * days.layer[day], plankton)
        bottom = np.where(frozen, bottom_under_ice(p, rich), bottom)
        fish, debris = np.where(frozen, 0.0, fish), np.where(frozen, 0.0, debris)
        night_fade = np.where(frozen, np.minimum(1.0, start / p.ice_limited_below_mg_l), night_fade)
    taken = plankton + bottom
    taken += fish
    taken += debris
    dawn = taken * night_fade
    dawn *= days.dark[day]
    dawn *= days.night_counts[day]
    np.subtract(start * days.night_stays[day], dawn, out=dawn)
    dawn += days.night_air[day]
    np.maximum(dawn, 0.0, out=dawn)
    added: Array | float = 0.0
    refuge: Array | float = 0.0
    kwh: Array | float = 0.0
    if days.some_aerated[day]:
        added, refuge, kwh = aerated(pond, start, dawn)
        dawn = dawn + added

    day_fade = dawn / (dawn + p.oxygen_fade_mg_l)
    if days.some_frozen[day]:
        day_fade = np.where(days.frozen[day], np.minimum(1.0, dawn / p.ice_limited_below_mg_l), day_fade)
    made = dense * days.made_if_rich[day]
    gained = made * days.kept_of_made
    taken *= day_fade
    taken *= days.lit[day]
    gained -= taken
    gained *= days.day_counts[day]
    dusk = dawn * days.day_stays[day]
    dusk += days.day_air[day]
    dusk += gained
    np.maximum(dusk, 0.0, out=dusk)
    np.minimum(dusk, days.most[day], out=dusk)

    lately = s.lately + (made - s.lately) / p.bloom_memory_days
    bloom = bloom + p.bloom_recovery_per_day * bloom * (1.0 - bloom)
    waste = waste - debris
    if pond.by_day.fed[day]:
        waste += 0.1 * pond.inputs.pellets_kg_per_ha[day] / days.under_water[day] * p.feed_oxygen_kg_per_kg
    return Night(
        day, s.oxygen, start, dawn, dusk, made, plankton, bottom, fish, debris, night_fade, day_fade, bloom, lately, waste,
        added, refuge, kwh,
    )  # fmt: skip


def aerated(pond: Pond, start: Array, dawn: Array) -> tuple[Array, Array, Array]:
    """What aerators add to the oxygen of a dawn in mg/L, the share of the fish that find their water, and kWh/ha [member].

    They move kW · efficiency · α · (β·Cs − C)/9.09 · 1.024^(T − 20) kg/h (field transfer, Boyd 1998, from memory), which lifts no
    pond but keeps a refuge: 1 − e^(−kW/reach) of the fish are in it (assumed). Those that wait for a limit run for as long as the
    night is below it, and two hours more (assumed).
    """
    p, days, day, stated = pond.parameters, pond.by_day.oxygen, pond.day, pond.inputs.oxygen
    assert days is not None and stated is not None
    most = p.transfer_beta * days.saturated[day]
    per_kg = aerator_kg_per_kwh(p, 1.0, dawn, days.water_c[day]) * 0.1 / days.layer[day]  # mg/L of 1 kWh/ha at 1 kg/kWh
    added, spared, spent = np.zeros_like(dawn), np.ones_like(dawn), np.zeros_like(dawn)
    for one in stated.aeration:
        if not one.available[day]:
            continue
        if one.night_hours is None:
            below = float(one.below_mg_l or 0.0)
            night = HOURS_PER_DAY * days.dark[day]
            share = np.clip((below - dawn) / np.maximum(start - dawn, 1e-9), 0.0, 1.0)
            hours = np.where(dawn < below, night * share + 2.0, 0.0)
            in_night, working = night * share, hours > 0.0
        else:
            in_night, hours = np.full_like(dawn, one.night_hours[day]), np.full_like(dawn, one.hours)
            working = in_night > 0.0
        efficiency: Array = getattr(p, f"aerator_{one.kind}_kg_per_kwh")
        dense = one.kw_per_ha / days.under_water[day]
        added += efficiency * dense * in_night * per_kg
        spared *= np.where(working, np.exp(-dense / p.aerator_reach_kw_per_ha), 1.0)
        spent += one.kw_per_ha * hours
    return np.minimum(added, np.maximum(0.0, most - dawn)), 1.0 - spared, spent


def aerator_kg_per_kwh(p: Parameters, efficiency: Value, oxygen_mg_l: Array, water_c: Array) -> Array:
    """Oxygen that a kWh moves in a pond, kg, by an aerator that moves `efficiency` in clean water without oxygen at 20 °C."""
    shortage = np.maximum(0.0, p.transfer_beta * saturation_mg_l(water_c) - oxygen_mg_l)
    return np.asarray(efficiency * p.transfer_alpha * shortage / 9.09 * warmer(1.024, np.asarray(water_c), 20.0))


def bottom_under_ice(p: Parameters, rich: Array) -> Array:
    """Oxygen that the bottom takes under ice and snow, g/m² a day, from that of poor lakes to that of rich ones.

    Mathias & Barica 1980; that fertilities of 0.35 and 1 are their poor and rich ones is assumed.
    """
    more = p.ice_bottom_rich_g_per_m2_day - p.ice_bottom_poor_g_per_m2_day
    return np.asarray(p.ice_bottom_poor_g_per_m2_day + more * np.clip((rich - 0.35) / 0.65, 0.0, 1.0))


# ---------------------------------------------------------------------- fish

LARGE_NEED_MG_L = 0.2  # what fish of a kilogram and more need beyond others (assumed: large fish go first)
LOG_OF_1000_G = float(np.log(1000.0))


def limit_rise(water_c: Array) -> Array:
    """How limits of oxygen stand to those at 28 °C: 1 + 0.03·(T − 28), between 8 and 36 °C (assumed).

    The lower end is set by a winter: carried on below 8 °C the line would have bass and bluegill live
    at 0.6 mg/L and less, where nearly all of them died in lakes of Michigan (Cooper & Washburn 1949).
    """
    return 1.0 + 0.03 * (np.clip(water_c, 8.0, 36.0) - 28.0)


def share_killed(oxygen_mg_l: Array, limit_mg_l: Array, width_mg_l: Array) -> Array:
    """Share of fish that a night kills: logistic in its least oxygen about a limit, without the tail of a thousandth (assumed).

    In the winter of Cooper & Washburn 1949 fish died where oxygen fell to 0.6 mg/L, and hardly any above.
    """
    share = (logistic((limit_mg_l - oxygen_mg_l) / width_mg_l) - KILLS_AT_LEAST) / (1.0 - KILLS_AT_LEAST)
    return np.maximum(0.0, share)


def killed(pond: Pond, of: Night) -> Array | None:
    """Share of the fish of each group that the night kills [member, group]; None where it kills none.

    Limits and widths by species are assumed, near those of Moss & Scott 1961 (from memory), Byrd 1950 and Klinger et al.
    1982; both rise with warmth, and are 0.2 mg/L higher in fish of a kilogram and more.
    """
    days = pond.by_day.oxygen
    assert days is not None
    harmed = of.dawn < days.harms_below[of.day]
    if not harmed.any():
        return None
    rise = days.limit_rise[of.day][:, None]
    limit = pond.of_groups(pond.parameters.oxygen_limit_mg_l * rise)
    limit += LARGE_NEED_MG_L * rise * logistic((pond.state.log_weight - LOG_OF_1000_G) / 0.2)
    width = pond.of_groups(pond.parameters.oxygen_limit_width_mg_l * rise)
    killed = share_killed(of.dawn[:, None], limit, width)
    return killed * (1.0 - of.refuge[:, None]) if isinstance(of.refuge, np.ndarray) else killed


def killer(pond: Pond, of: Night) -> NDArray[np.intp]:
    """What took or withheld most oxygen beyond an ordinary night, as a place in `KILLERS` [member]."""
    days = pond.by_day.oxygen
    assert days is not None
    fallen = of.bloom < 0.7
    missing = np.stack([
        of.plankton * np.maximum(0.0, 0.75 - days.response[of.day]),
        (of.before - of.start) * days.layer[of.day],
        np.where(fallen, 0.0, of.debris),
        np.where(fallen, of.plankton * (1.0 - of.bloom) + of.debris, 0.0),
        np.where(days.frozen[of.day], np.inf, 0.0),
    ])  # fmt: skip
    return missing.argmax(axis=0)


GROWS_AT_MG_L = np.array([(1.0, 0.0), (3.0, 0.77), (4.0, 0.91), (5.0, 0.99), (6.0, 1.0)]).T.copy()  # mg/L, and relative growth


def eats(of: Night) -> Array | None:
    """Intake relative to water rich in oxygen, never below a twentieth [member]; None where it is that.

    The growth of bass at a steady oxygen: 0.99, 0.91 and 0.77 at 5, 4 and 3 mg/L (EPA 1986 after Stewart et al. 1967, from
    memory), by straight lines and to none at 1 (assumed); read at the mean of the night, and taken for the intake of all
    species (assumed).
    """
    mean = 0.5 * (of.start + of.dawn)
    if mean.min() >= GROWS_AT_MG_L[0, -1]:
        return None
    return np.maximum(0.05, np.interp(mean, *GROWS_AT_MG_L))


# ---------------------------------------------------------------------- the budget


def moved(days: Days, nights: Sequence[Night], respires_today: Array) -> Array:
    """What changed the oxygen of the mixed water over some nights and days that follow one another, mg/L [MOVED, member].

    Their sum is the oxygen at the last dusk less that at the first; what air and water exchanged follows from the mean
    oxygen of each part of the day.
    """
    at = slice(nights[0].day, nights[-1].day + 1)
    nothing = np.zeros_like(nights[0].dawn)
    told = ("before", "start", "dawn", "dusk", "made", "plankton", "bottom", "fish", "debris", "night_fade", "day_fade")
    one = {name: np.array([getattr(night, name) for night in nights]) for name in told}
    one["added"] = np.array([night.added + nothing for night in nights])
    one["unaided"] = one["dawn"] - one["added"]
    layer, dark = days.layer[at], days.dark[at]
    out = np.zeros((len(MOVED), *one["dawn"].shape))
    row = {name: out[k] for k, name in enumerate(MOVED)}
    takers = {name: one[name] / layer for name in ("plankton", "bottom", "fish", "debris")}
    wished = sum(takers.values())
    row["turnover"] += one["start"] - one["before"]
    row["aerators"] += one["added"]
    parts = (
        ("start", "unaided", dark, "night_fade", days.night_stays[at], days.night_counts[at], 0.0),
        ("dawn", "dusk", 1.0 - dark, "day_fade", days.day_stays[at], days.day_counts[at], 1.0 - respires_today),
    )
    for first, last, share, fade, stays, counts, kept in parts:
        taken, made = wished * share * one[fade], one["made"] * kept / layer
        free = one[first] * stays + days.saturated[at] * (1.0 - stays) + (made - taken) * layer * counts
        short = np.maximum(0.0, -free)  # of what could not be taken
        row["air"] += free - one[first] - made + taken
        row["bubbles"] += np.minimum(0.0, one[last] - np.maximum(free, 0.0))
        less = share * one[fade] * (1.0 - short / np.maximum(taken, 1e-300))
        for name, taker in takers.items():
            row[name] -= taker * less
    row["made"] += one["made"] / layer
    row["plankton"] -= one["made"] * respires_today / layer
    return np.asarray(np.cumsum(out, axis=1)[:, -1])  # day by day, so that a member's bits do not depend on its block
