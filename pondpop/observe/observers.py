"""What is read off a simulated pond: its fish at surveys, its flows month by month.

`project` runs one block of members of one strategy and returns plain arrays with the member axis first; `VARIABLES` and
`AXES` tell what they are, and `results` makes a Dataset of them. Lengths are read from the continuous spread within each
group, never from whole groups.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pondpop.arrays import Array, Axis, Variable, names_axis, whole_axis
from pondpop.model import bioenergetics, grid, harvest, lengths, oxygen, predation
from pondpop.model.budget import AXES as AXES_OF_FLOWS
from pondpop.model.budget import FLOWS, Flows
from pondpop.model.day import Engine, run
from pondpop.model.harvest import STOCK_LENGTH_MM
from pondpop.model.inputs import Inputs
from pondpop.observe import harvest_control
from pondpop.species import MEASURED, SPECIES, of_species, place_of
from pondpop.units import G_PER_LB, MM_PER_IN

LENGTH_CLASSES_IN = np.arange(32)  # lower bounds of one-inch classes; the last is open above
SEXES = ("female", "male")
AGES = tuple(range(13))  # years, by calendar year; the last is open above
BASS_CLASSES_IN = (2, 5, 8, 12, 15, 20)  # lower bounds of broad classes of bass; the last is open above
BIG_BASS_LB = (5.0, 8.0, 10.0)
BASS_WEIGHTS_G = np.geomspace(100.0, 15_000.0, 53)  # steps of a tenth, over all that a goal may name
CATCH_SIZES_IN = (8, 15)
_LOG_EDGES = np.log(LENGTH_CLASSES_IN[1:] * MM_PER_IN)
NO_FISH = 1e-9  # fish/ha below which a class of length or age holds none, for the tail of a normal never ends (assumed)
ENOUGH_CONDITION = 0.95  # condition that the food a bass "needs" would hold (Wr 95, the lower target of Anderson 1980)

OPEN = "the last one is open above"
AXES: dict[str, Axis] = AXES_OF_FLOWS | {
    "length_class": whole_axis(LENGTH_CLASSES_IN, "inch", f"lower bound of one-inch classes of total length; {OPEN}"),
    "sex": names_axis(SEXES, "sex; fish of unsexed groups are shared out"),
    "age": whole_axis(AGES, "year", f"calendar year less that of hatching; {OPEN}"),
    "bass_class": whole_axis(BASS_CLASSES_IN, "inch", f"lower bound of broad classes of total length of bass; {OPEN}"),
    "big_weight": Axis(np.array(BIG_BASS_LB) * G_PER_LB, "g", "weight above which bass are counted"),
    "bass_weight": Axis(
        BASS_WEIGHTS_G, "g", "weight above which bass are counted, from the lightest to the heaviest of a goal"
    ),
    "catch_size": whole_axis(CATCH_SIZES_IN, "inch", "total length above which caught bass are counted"),
    "oxygen_flow": names_axis(oxygen.MOVED, "what moves oxygen"),
}
"""What readings are told apart by, beside the days, months and stocked groups of a run."""

BY_CLASS, BY_AGE = ("survey_date", "species", "length_class"), ("survey_date", "species", "sex", "age")
OF_GROUPS = ("survey_date", "stocked_group")
# Fish are counted, so that their unit is ha-1
SURVEYED: dict[str, Variable] = {
    "number": Variable(BY_CLASS, "ha-1", "fish by length class"),
    "biomass": Variable(BY_CLASS, "kg ha-1", "standing crop by length class"),
    "relative_weight": Variable(BY_CLASS, "percent", "mean relative weight (Wr)"),
    "number_at_age": Variable(BY_AGE, "ha-1", "fish by sex and age"),
    "length_at_age": Variable(BY_AGE, "mm", "mean total length by sex and age"),
    "age0_number": Variable(("survey_date", "species"), "ha-1", "young of the year"),
    "other_blood": Variable(("survey_date", "species"), "1", "share of blood of other strains than the own, mean over weight"),
    "bass_above": Variable(("survey_date", "big_weight"), "ha-1", "bass heavier than a weight"),
    "bass_heavier": Variable(("survey_date", "bass_weight"), "ha-1", "bass heavier than each of many weights"),
    "largest_weight": Variable(("survey_date", "species"), "g", "weight that one expected fish of the pond exceeds"),
    "group_survivors": Variable(OF_GROUPS, "ha-1", "survivors of a stocked group"),
    "group_length": Variable(OF_GROUPS, "mm", "mean length of a stocked group"),
    "group_weight": Variable(OF_GROUPS, "g", "mean weight of a stocked group"),
    "group_largest_weight": Variable(OF_GROUPS, "g", "weight that one expected fish of the group exceeds"),
    "plankton": Variable(("survey_date",), "kg ha-1", "plankton available to fish"),
    "benthos": Variable(("survey_date",), "kg ha-1", "bottom food available to fish"),
}
MID_MONTH: dict[str, Variable] = {
    "edible_prey": Variable(("month", "bass_class"), "kg ha-1", "prey of a size that bass of the class eat, mid-month"),
    "prey_need": Variable(("month", "bass_class"), "kg ha-1", "food in the month that would hold bass of the class at Wr 95"),
    "catch_rate": Variable(("month", "catch_size"), "h-1", "bass caught per angler hour, longer than a size"),
}
# The oxygen of the water that mixes: that of the month before + all that moved in the month = that at the end
WATER: dict[str, Variable] = {
    "dawn_oxygen": Variable(("month",), "mg l-1", "lowest oxygen at dawn in the month"),
    "oxygen_at_end": Variable(("month",), "mg l-1", "oxygen at dusk of the month's last day"),
    "oxygen_moved": Variable(("month", "oxygen_flow"), "mg l-1", "oxygen made, taken, or exchanged in the month"),
    "oxygen_kill": Variable(("month",), "1", "share of the weight of fish that want of oxygen killed in the month"),
    "water_temperature": Variable(("month",), "degC", "mean water temperature of the month"),
}
# With the flows of the calendar year (what of it lies in the run), its budget: start + stocked + born − deaths of all
# causes = end, and of weight start + stocked + born + growth − spawning − deaths = end
STANDING: dict[str, Variable] = {
    "start_number": Variable(("year", "species"), "ha-1", "fish at the start of the year or run"),
    "start_biomass": Variable(("year", "species"), "kg ha-1", "standing crop at the start of the year or run"),
    "end_number": Variable(("year", "species"), "ha-1", "fish at the end of the year or run"),
    "end_biomass": Variable(("year", "species"), "kg ha-1", "standing crop at the end of the year or run"),
}
VARIABLES: dict[str, Variable] = SURVEYED | FLOWS | MID_MONTH | WATER | STANDING
"""All that `project` reads."""


def _of_flows(every: str) -> list[str]:
    """The flows that are summed over each month, or year."""
    return [name for name, told in FLOWS.items() if told.dims[0] == every]


def of_variant(read: dict[str, Array], rows: slice, stocked_groups: int) -> dict[str, Array]:
    """What `project` read of some members of a block in which variants stand side by side: those of one, and its own groups."""
    own = {}
    for name, values in read.items():
        dims = ("stocked_group",) if name == "survivors_counted" else VARIABLES[name].dims
        place = (rows, *(slice(stocked_groups) if dim == "stocked_group" else slice(None) for dim in dims))
        own[name] = values[place]
    return own


def project(inputs: Inputs, survey_days: Sequence[int], count_day: int | None = None) -> dict[str, Array]:
    """Run a block to its end and return what was read: arrays [member, survey or month, …].

    survey_days count from the start; a survey is read before that day's events. On count_day only the survivors of
    stocked groups are read, `survivors_counted` [member, stocked_group] in fish/ha; no rule learns of that day.
    """
    also = () if count_day is None else (count_day,)
    surveys, months = Surveys(survey_days, also), Months(inputs)
    years = Years(inputs, months)
    run(inputs, [surveys, months, years], flows_from=months.first_days)
    read = surveys.stacked(survey_days) | months.stacked() | years.stacked()
    return read if count_day is None else read | {"survivors_counted": surveys.read[count_day]["group_survivors"]}


class Surveys:
    """Reads the fish on some days. Harvest rules that react learn of `survey_days`; `also` are days for the reader alone."""

    def __init__(self, survey_days: Sequence[int], also: Sequence[int] = ()) -> None:
        self.survey_days, self.days = tuple(survey_days), {*survey_days, *also}
        self.read: dict[int, dict[str, Array]] = {}

    def __call__(self, engine: Engine) -> None:
        if engine.day not in self.days:
            return
        survey = self.read[engine.day] = read_survey(engine)
        if engine.day in self.survey_days:
            number = sum(day < engine.day for day in self.survey_days)
            harvest_control.inform(engine, number, survey["number"], survey["relative_weight"])

    def stacked(self, days: Sequence[int]) -> dict[str, Array]:
        """What was read on some days: arrays [member, day, …] named as in the Dataset."""
        surveys = [self.read[day] for day in days]
        return {name: np.stack([one[name] for one in surveys], axis=1) for name in surveys[0]} if surveys else {}


class Months:
    """Reads what moved in each calendar month of the run, the water, and the forage in the middle of the month.

    The flows of the run are to begin on `first_days`.
    """

    def __init__(self, inputs: Inputs) -> None:
        self.month = _month_numbers(inputs)
        months = int(self.month[-1]) + 1
        self.flows: list[Flows] = []
        of_month = [np.flatnonzero(self.month == k) for k in range(months)]
        self.first_days = [int(days[0]) for days in of_month]
        self.middle = {int(days[days.size // 2]): days.size for days in of_month}
        self.read: list[dict[str, Array]] = []
        self.water_c: list[Array] = []
        self.water = Water(inputs, self.month)

    def __call__(self, engine: Engine) -> None:
        if engine.day and (engine.day == self.month.size or engine.day in self.first_days):
            self.flows.append(engine.flows)
        self.water(engine)
        if engine.day in self.middle:
            self.read.append(read_month(engine, self.middle[engine.day]))
        if engine.day == self.month.size:
            water_c = np.broadcast_to(engine.water_c, (engine.inputs.members, self.month.size))
            # contiguous rows, so that a member's sum has the same bits whoever shares its block
            of_month = (np.ascontiguousarray(water_c[:, self.month == k]) for k in range(len(self.first_days)))
            self.water_c = [water.mean(axis=1) for water in of_month]

    def stacked(self) -> dict[str, Array]:
        """Arrays [member, month, …] named as in the Dataset."""
        out = {name: np.stack([one[name] for one in self.read], axis=1) for name in self.read[0]}
        for name in _of_flows("month"):
            out[name] = np.stack([getattr(one, name) for one in self.flows], axis=1)
        out["water_temperature"] = np.stack(self.water_c, axis=1)
        return out | self.water.stacked()


class Water:
    """Reads the oxygen of each calendar month: lowest dawn, what moved, what it ended with, the share of fish killed."""

    def __init__(self, inputs: Inputs, month: NDArray[np.intp]) -> None:
        members, months = inputs.members, int(month[-1]) + 1
        self.month = month
        self.nights: list[oxygen.Night] = []
        self.lowest = np.full((members, months), np.nan)
        self.at_end = np.full((members, months), np.nan)
        self.moved = np.zeros((members, months, len(oxygen.MOVED)))
        self.alive = np.ones((members, months))

    def __call__(self, engine: Engine) -> None:
        if engine.night is None or engine.day == 0:
            return
        month = self.month[engine.day - 1]
        self.nights.append(engine.night)
        if engine.killed_share is not None:
            self.alive[:, month] *= 1.0 - engine.killed_share
        if engine.day == self.month.size or self.month[engine.day] != month:
            days = engine.by_day.oxygen
            assert days is not None
            self.lowest[:, month] = np.min([night.dawn for night in self.nights], axis=0)
            self.at_end[:, month] = self.nights[-1].dusk
            self.moved[:, month] = oxygen.moved(days, self.nights, engine.parameters.bloom_respires_today).T
            self.nights = []

    def stacked(self) -> dict[str, Array]:
        """Arrays [member, month, …] named as in the Dataset; NaN where oxygen is left out."""
        return {
            "dawn_oxygen": self.lowest,
            "oxygen_at_end": self.at_end,
            "oxygen_moved": self.moved,
            "oxygen_kill": 1.0 - self.alive,
        }


class Years:
    """Reads the fish budget of each calendar year of the run: what there was, what came and went, what is left.

    months: the reader of the same run that adds up what moved; it must stand before this one.
    """

    def __init__(self, inputs: Inputs, months: Months) -> None:
        self.year, self.months = inputs.year, months
        self.number: list[Array] = []
        self.biomass: list[Array] = []

    def __call__(self, engine: Engine) -> None:
        day = engine.day
        if day == 0 or day == self.year.size or self.year[day] != self.year[day - 1]:
            s = engine.state
            for there, read in ((s.number, self.number), (s.biomass(), self.biomass)):
                read.append(np.stack([_sum(there[:, groups]) for groups in engine.slices], axis=1))

    def stacked(self) -> dict[str, Array]:
        """Arrays [member, year, …] named as in the Dataset."""
        years = range(len(self.number) - 1)
        out = {}
        for name, read in (("number", self.number), ("biomass", self.biomass)):
            out[f"start_{name}"], out[f"end_{name}"] = np.stack(read[:-1], axis=1), np.stack(read[1:], axis=1)
        moved = [Flows.zero(self.number[0].shape[0]) for _ in years]
        for flows, day in zip(self.months.flows, self.months.first_days, strict=True):
            moved[self.year[day]].include(flows)
        for name in _of_flows("year"):
            out[name] = np.stack([getattr(one, name) for one in moved], axis=1)
        return out


def _month_numbers(inputs: Inputs) -> NDArray[np.intp]:
    dates = [inputs.date(day) for day in range(inputs.days)]
    first = dates[0]
    return np.array([(d.year - first.year) * 12 + d.month - first.month for d in dates], dtype=np.intp)


def read_survey(engine: Engine) -> dict[str, Array]:
    """The state of the ponds as a perfect survey would find it: arrays [member, …] named as in the Dataset."""
    s = engine.state
    weight = s.weight()
    biomass = s.biomass()
    condition = np.exp(engine.log_condition())
    members, classes = s.members, LENGTH_CLASSES_IN.size
    number = np.zeros((members, len(SPECIES), classes))
    kilograms, relative_weight = np.zeros_like(number), np.full_like(number, np.nan)
    for species, groups in enumerate(engine.slices):
        if groups.start == groups.stop:
            continue
        fish = by_length(engine, groups)
        spread = lengths.Shape(*(part[:, :, None] for part in engine.lengths(groups)))
        heavier = lengths.share_longer(spread, _LOG_EDGES, engine.group.ws_slope[:, groups, None])
        number[:, species] = fish.sum(axis=1)
        share = -np.diff(heavier, axis=2, prepend=1.0, append=0.0)
        kilograms[:, species] = (biomass[:, groups, None] * share).sum(axis=1)
        if SPECIES[species] in MEASURED:
            with np.errstate(invalid="ignore", divide="ignore"):
                mean = 100.0 * (fish * condition[:, groups, None]).sum(axis=1) / number[:, species]
            relative_weight[:, species] = np.where(number[:, species] > NO_FISH, mean, np.nan)
    nobody = number <= NO_FISH
    number[nobody], kilograms[nobody] = 0.0, 0.0
    out = {"number": number, "biomass": kilograms, "relative_weight": relative_weight}
    out |= _by_age(engine)
    out["age0_number"] = _age0(engine)
    blood = np.stack([_sum(biomass[:, groups] * s.columns.blood[:, groups]) for groups in engine.slices], axis=1)
    there = np.stack([_sum(biomass[:, groups]) for groups in engine.slices], axis=1)
    out["other_blood"] = np.divide(blood, there, out=np.zeros_like(blood), where=there > 0.0)
    bass = engine.slices[place_of("bass")]
    heavy = [_sum(s.number[:, bass] * _heavier(engine, bass, np.log(lb * G_PER_LB))) for lb in BIG_BASS_LB]
    out["bass_above"] = np.stack(heavy, axis=1)
    out["bass_heavier"] = _bass_heavier(engine, bass)
    largest = [largest_weight(engine, s.number[:, groups], groups) for groups in engine.slices]
    out["largest_weight"] = np.stack(largest, axis=1)
    out |= _stocked_groups(engine, weight)
    out["plankton"], out["benthos"] = s.plankton.copy(), s.benthos.copy()
    return out


def by_length(engine: Engine, groups: slice) -> Array:
    """Fish/ha of some groups by length class [member, group, length_class]."""
    spread = lengths.Shape(*(part[:, :, None] for part in engine.lengths(groups)))
    longer = lengths.share_longer(spread, _LOG_EDGES)
    fish: Array = engine.state.number[:, groups, None] * -np.diff(longer, axis=2, prepend=1.0, append=0.0)
    return fish


def years_of_hatching(engine: Engine) -> NDArray[np.int64]:
    """Calendar year in which each group hatched; of the shape of `born`."""
    hatched = np.datetime64(engine.inputs.start) + np.floor(engine.state.columns.born).astype(np.int64)
    return 1970 + hatched.astype("datetime64[Y]").astype(np.int64)


def year_classes(engine: Engine, species: str, first_year: int, classes: int) -> Array:
    """Fish/ha by length class and by year of hatching [member, length_class, year_class]: those from before `first_year`, of
    that year, and so on; the last class is open."""
    groups = engine.slices[place_of(species)]
    found = np.zeros((engine.state.members, LENGTH_CLASSES_IN.size, classes))
    if groups.start == groups.stop:
        return found
    fish = by_length(engine, groups)
    year = np.clip(years_of_hatching(engine)[:, groups] - first_year + 1, 0, classes - 1)
    for k in np.unique(year):
        found[:, :, k] = np.where(year[:, :, None] == k, fish, 0.0).sum(axis=1)
    return found


def _sum(amount: Array) -> Array:
    """Sum over groups [member], in group order whatever their number."""
    return np.cumsum(amount, axis=1)[:, -1] if amount.shape[1] else np.zeros(amount.shape[0])


def _by_age(engine: Engine) -> dict[str, Array]:
    """Fish/ha and mean length in mm by sex and age [member, species, sex, age]; a length is NaN where there are none.

    Age is the calendar year less that of hatching, so that all fish are a year older on 1 January.
    """
    s = engine.state
    age = engine.inputs.date(engine.day).year - years_of_hatching(engine)
    age = np.broadcast_to(np.clip(age, 0, AGES[-1]), s.number.shape)
    length = np.exp(s.log_length)
    number = np.zeros((s.members, len(SPECIES), len(SEXES), len(AGES)))
    sums = np.zeros_like(number)
    for species, groups in enumerate(engine.slices):
        for k, share in enumerate((s.columns.female_share, 1.0 - s.columns.female_share)):
            fish = s.number[:, groups] * share[:, groups]
            for a in np.unique(age[:, groups]):
                there = np.where(age[:, groups] == a, fish, 0.0)
                number[:, species, k, a] = _sum(there)
                sums[:, species, k, a] = _sum(there * length[:, groups])
    some = number > NO_FISH
    mean = np.divide(sums, number, out=np.full(number.shape, np.nan), where=some)
    return {"number_at_age": number, "length_at_age": mean}


def _age0(engine: Engine) -> Array:
    """Fish born in the pond since 1 January, fish/ha [member, species]."""
    s, inputs = engine.state, engine.inputs
    day = min(engine.day, inputs.days - 1)
    young = (s.columns.origin < 0) & (s.columns.born >= engine.day - inputs.year_day[day] - 30)
    return np.stack([_sum(s.number[:, groups] * young[:, groups]) for groups in engine.slices], axis=1)


def _heavier(engine: Engine, groups: slice | NDArray[np.intp], log_weight: float | Array) -> Array:
    """Share of the fish of some groups that are heavier than e^log_weight g [member, group]."""
    spread, slope = engine.lengths(groups), engine.group.ws_slope[:, groups]
    length = lengths.log_length_of_weight(spread, engine.state.log_weight[:, groups], log_weight, slope)
    return lengths.share_longer(spread, length)


def _bass_heavier(engine: Engine, bass: slice) -> Array:
    """Bass/ha heavier than each of BASS_WEIGHTS_G [member, weight]."""
    s = engine.state
    if bass.start == bass.stop:
        return np.zeros((s.members, BASS_WEIGHTS_G.size))
    spread = lengths.Shape(*(part[:, :, None] for part in engine.lengths(bass)))
    slope = engine.group.ws_slope[:, bass, None]
    length = lengths.log_length_of_weight(spread, s.log_weight[:, bass, None], np.log(BASS_WEIGHTS_G), slope)
    return _sum(s.number[:, bass, None] * lengths.share_longer(spread, length))


def largest_weight(engine: Engine, number: Array, columns: slice | NDArray[np.intp]) -> Array:
    """Weight in g that one expected fish of the whole pond exceeds [member]; NaN where less than one fish is left.

    number is the fish/ha that count in some columns of a species [member, those columns].
    """
    s = engine.state
    fish = number * engine.inputs.area_ha
    if not fish.any():
        return np.full(s.members, np.nan)
    low, high = np.full(s.members, np.log(1e-2)), np.full(s.members, np.log(2e4))
    spread, log_weight, slope = engine.lengths(columns), s.log_weight[:, columns], engine.group.ws_slope[:, columns]
    for _ in range(40):
        middle = 0.5 * (low + high)
        length = lengths.log_length_of_weight(spread, log_weight, middle[:, None], slope)
        above = _sum(fish * lengths.share_longer(spread, length)) >= 1.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.where(_sum(fish) > 1.0, np.exp(low), np.nan)


def _stocked_groups(engine: Engine, weight: Array) -> dict[str, Array]:
    """Survivors, mean length and weight, and largest fish of each stocking event [member, stocked_group]."""
    s, bought = engine.state, [event for event in engine.inputs.stockings if not event.uninvited]
    events = 1 + max((event.origin for event in bought), default=-1)
    names = ("group_survivors", "group_length", "group_weight", "group_largest_weight")
    out = {name: np.full((s.members, events), np.nan) for name in names}
    for event in bought:
        if event.day >= engine.day:
            continue
        k, its = event.origin, slice(None) if event.of is None else event.of
        stocked = s.columns.origin == k
        columns = np.flatnonzero(stocked.any(axis=0))
        fish = np.where(stocked[:, columns], s.number[:, columns], 0.0)
        left = _sum(fish)
        some = np.where(left > 0.0, left, np.nan)
        read = (
            left,
            _sum(fish * np.exp(s.log_length[:, columns])) / some,
            _sum(fish * weight[:, columns]) / some,
            largest_weight(engine, fish, columns),
        )
        for name, values in zip(names, read, strict=True):
            out[name][its, k] = values[its]
    return out


def read_month(engine: Engine, days: int) -> dict[str, Array]:
    """What bass of each class could eat and need, and what anglers would catch, in the middle of a month.

    edible_prey [member, bass_class] kg/ha of fish small enough and large enough for them;
    prey_need [member, bass_class] kg/ha that they would eat in the month at the ration that holds a Wr of 95.
    """
    s, p = engine.state, engine.parameters
    bass = engine.slices[place_of("bass")]
    biomass = s.biomass()
    place = grid.place_on_grid(s.log_length, engine.first_points, len(engine.community))
    there = grid.lay(place, biomass)
    lower = np.array(BASS_CLASSES_IN, dtype=float) * MM_PER_IN
    upper = np.append(lower[1:], lower[-1] * 1.2)
    position = (np.log(np.sqrt(lower * upper)) - grid.LOG_GRID_START) / grid.LOG_GRID_STEP
    floor = position.astype(np.intp)
    at = engine.community.kinds.index("bass") * grid.GRID_POINTS  # among the lengths of predators
    kernel, above = engine.tables.prey_size[:, at : at + grid.GRID_POINTS], (position - floor)[:, None]
    at_class = kernel[:, floor] * (1.0 - above) + kernel[:, floor + 1] * above
    edible = predation.prey_within_reach(there, at_class)
    ration = bioenergetics.ration_of_condition(p, ENOUGH_CONDITION)
    wanted = biomass[:, bass] * bioenergetics.max_intake(engine)[:, bass] * ration[:, None] * days
    longer = [engine.longer(bass, edge) for edge in lower]
    inside = [a - b for a, b in zip(longer, [*longer[1:], np.zeros_like(longer[0])], strict=True)]
    need = np.stack([_sum(wanted * share) for share in inside], axis=1)
    catchable = _sum(s.number[:, bass] * engine.longer(bass, STOCK_LENGTH_MM))
    wary = p.wariness_per_catch * of_species(s.wariness, "bass", axis=-1)
    rate = harvest.catch_per_hour(catchable, p.catch_per_hour_at_100_per_ha, p.catch_density_exponent, wary)
    share = [
        _sum(s.number[:, bass] * engine.longer(bass, inches * MM_PER_IN)) / np.maximum(catchable, 1e-12)
        for inches in CATCH_SIZES_IN
    ]
    return {"edible_prey": edible, "prey_need": need, "catch_rate": np.stack([rate * part for part in share], axis=1)}
