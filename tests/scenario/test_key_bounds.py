"""What the page of keys tells holds: a number just beyond its bounds is refused with them, one at them is not; a key that is
left out means what the page says.
"""

import copy
import datetime as dt
import math
import re
import tomllib

import pytest
from small import raw

from pondpop.checks import InputError
from pondpop.scenario import describe, dump, resolve
from pondpop.scenario.keys import key_tables
from pondpop.scenario.read import MOST_EVENTS
from pondpop.units import brief

DAY = dt.date(2026, 8, 1)
ENTRIES = {  # an entry of each table, whole, and where it stands in a scenario (a list of tables, or a table)
    "pond": ("pond", None),
    "run": ("run", None),
    "ensemble": ("ensemble", None),
    "spread": ("ensemble.spread", {}),
    "costs": ("costs", {}),
    "stocking": ("stocking", [{"name": "s", "species": "bass", "date": DAY, "per_acre": 30, "length_in": 6}]),
    "harvest": ("strategies.few.harvest", [{"species": "bass", "length_in": [8, 12], "share": 0.2}]),
    "when": ("strategies.few.harvest.0.when", {"any": [{"quantity": "bass_psd", "below": 40}]}),
    "conditions": ("strategies.few.harvest.0.when.any", [{"quantity": "bass_psd", "below": 40}]),
    "removal": ("strategies.few.removal", [{"species": "bass", "date": DAY, "share": 0.2}]),
    "feeding": ("strategies.few.feeding", [{"lb_per_acre_day": 2}]),
    "angling": ("strategies.few.angling", [{"hours_per_acre": 20}]),
    "aeration": ("strategies.few.aeration", [{"kind": "diffused", "power_hp": 1}]),
    "fertilization": ("strategies.few.fertilization", [{"level": 1, "from": DAY, "to": dt.date(2026, 9, 1)}]),
    "liming": ("strategies.few.liming", [{"date": DAY, "tons_per_acre": 1}]),
    "plants": ("strategies.few.plants", [{"date": DAY, "share": 0.2}]),
    "drawdown": ("strategies.few.drawdown", [{"from": DAY, "to": dt.date(2026, 9, 1), "area_share": 0.6}]),
    "grass_carp": ("strategies.few.grass_carp", [{"date": DAY, "per_acre": 5}]),
    "strategies": ("strategies.few", None),
    "spell": ("water.spell", [{"from": DAY, "to": dt.date(2026, 8, 9), "at_most_c": 20}]),
    "die_off": ("what_if.kill.die_off", [{"species": "bass", "date": DAY, "share": 0.2}]),
    "fertility_loss": ("pond.fertility_loss", [{"from": DAY, "to": dt.date(2026, 9, 1), "share": 0.2}]),
    "arrival": ("arrival", [{"species": "bluegill", "per_acre": 5, "length_in": 3, "chance": 0.2}]),
    "local_knowledge": (
        "local_knowledge", [{"species": "bass", "process": "growth", "multiplier": 1.1, "reason": "invented"}]
    ),
    "goals": ("goals", [{"kind": "bass_above", "above_lb": 5}]),
    "oxygen": ("oxygen", {}),
    "report": ("report", {}),
    "start_from_survey": ("start_from_survey", {
        "gear": "electrofishing", "hours": 1.5, "water_c": 18, "catch": [{"species": "bass", "length_in": [9, 10], "count": 40}],
    }),
}  # fmt: skip
BESIDE = {  # what else must stand with a key
    "from_water_c": {"haul_hours": 2.0}, "sexing_error": {"female_share": 1.0}, "hauls": {"gear": "seine"},
    "matters": {"kind": "cost"}, "matters_kg_per_ha": {"kind": "pounds_harvested"},
    "matters_lb_per_acre": {"kind": "pounds_harvested"},
    "otherwise_lb_per_acre": {"lb_per_acre": 5, "when": {"any": [{"quantity": "bass_psd", "below": 40}]}},
}  # fmt: skip
NOT_WITH = {
    "kg_per_ha": ("share",), "hauls": ("hours",), "hours": ("hauls",), "matters": ("above_lb",),
    "matters_kg_per_ha": ("above_lb",), "matters_lb_per_acre": ("above_lb",), "otherwise_lb_per_acre": ("share",),
}  # fmt: skip
UNITS = {
    "ha": "_ha", "m": "_m", "mm": "_mm", "°C": "_c", "kg/ha": "kg_per_ha", "/ha": "per_ha", "kW": "_kw", "t/ha": "per_ha",
    "g": "_g",
}  # fmt: skip


def told():
    """Table, key (in the unit of the page), its siblings in other units, lowest and highest of every number of the page."""
    for name, table in key_tables().items():
        for row in table.rows:
            for part, keys in ((row.allowed, row.keys),) if ", " not in row.allowed else ():
                found = re.fullmatch(r"(?:share )?([\d.,]+)–([\d.,]+)(?: ?(\S.*))?", part)
                if not found or name not in ENTRIES:
                    continue
                low, high = (float(bound.replace(",", "")) for bound in found.groups()[:2])
                ending = UNITS.get(found[3] or "", "")
                own = [key for key in keys if (key == "share" if part.startswith("share") else key.endswith(ending))]
                own = [key for key in own if not (ending == "per_ha" and key.startswith("kg_"))]
                own = own or [key for key in keys if key.endswith(f"{ending}_day")]
                for key in own if not ending or name == "spell" else own[:1]:
                    yield name, key, tuple(k for k in keys if k != key), low, high


PAIRS = {("harvest", "length_mm"), ("aeration", "hours"), ("when", "any"), ("when", "all")}  # lists
TOLD_OTHERWISE = {("ensemble", "seed"), ("costs", "per_lb_feed")}  # a power; a bound that is that of a kilogram
EVERY = [one for one in told() if one[:2] not in PAIRS | TOLD_OTHERWISE]


def written(table, key, siblings, value):
    """A scenario in which a key has a value, or none (None), and nothing stands beside it that must not."""
    said = raw(only="few")
    path, entry = ENTRIES[table]
    entry = copy.deepcopy(entry)
    if table in ("when", "conditions"):
        said["strategies"]["few"]["harvest"] = copy.deepcopy(ENTRIES["harvest"][1])
    if table == "liming":
        said["pond"]["alkalinity_mg_l"] = 9
    if path.startswith("what_if"):
        said["what_if"] = {"kill": {}}
    if key == "at_least_c":
        entry[0].pop("at_most_c")
    *folders, last = path.split(".")
    node = said
    for folder in folders:
        if isinstance(node, list):
            node = node[int(folder)]
        else:
            node = node.setdefault(folder, {"any": [{"quantity": "bass_psd", "below": 40}]} if folder == "when" else {})
    if entry is not None:
        node[last] = entry
    place = node[last][0] if isinstance(node[last], list) else node[last]
    for other in (*siblings, *NOT_WITH.get(key, ())):
        if other in place and other not in ("weather_day", "per_hour"):
            place.pop(other)
    place |= BESIDE.get(key, {}) | {key: value}
    if value is None:
        del place[key]
    return said


def refused(table, key, siblings, value):
    try:
        resolve(written(table, key, siblings, value))
    except InputError as error:
        return error
    return None


WHOLE = ("years", "members", "fish_sampled")


@pytest.mark.parametrize(("table", "key", "siblings", "low", "high"), EVERY, ids=[f"{one[0]}.{one[1]}" for one in EVERY])
def test_a_number_beyond_its_bounds_is_refused_with_those_of_the_page(table, key, siblings, low, high):
    kind = int if key in WHOLE else float
    bounds = f"from {brief(low)} to {brief(high)}" if kind is float else f"from {int(low):,} to {int(high):,}"
    beyond = (int(low) - 1, int(high) + 1) if kind is int else (math.nextafter(low, -math.inf), math.nextafter(high, math.inf))
    for value in beyond:
        error = refused(table, key, siblings, value)
        assert error is not None and error.path.endswith(key) and bounds in error.allowed, (value, str(error))
    for value in (kind(low), kind(high)):
        error = refused(table, key, siblings, value)
        assert error is None or not (error.path.endswith(key) and bounds in error.allowed), (value, str(error))


def test_every_range_of_the_page_is_tried():
    tried = {(name, key) for name, key, siblings, *_ in EVERY for key in (key, *siblings)} | PAIRS | TOLD_OTHERWISE
    lone = re.compile(r"(?:share )?[\d.,]+–[\d.,]+(?: ?\S+)?")
    for name, table in key_tables().items():
        for row in table.rows:
            if lone.fullmatch(row.allowed) and name in ENTRIES:
                assert {(name, key) for key in row.keys} & tried, (name, row.keys)


@pytest.mark.parametrize("table", ["stocking", "harvest", "removal"])
def test_no_more_than_a_million_fish_a_hectare(table):
    for number, allowed in ((1e6, True), (math.nextafter(1e6, math.inf), False)):
        error = refused(table, "per_ha", ("per_acre", "share", "kg_per_ha"), number)
        assert (error is None or "1,000,000" not in error.allowed) == allowed


def test_most_numbers_of_the_page_are_tried():
    ranges = [row for table in key_tables().values() for row in table.rows if re.search(r"\d–\d", row.allowed)]
    assert len({(table, key) for table, key, *_ in EVERY}) > 0.75 * len(ranges)


LOW = {"from": DAY, "to": dt.date(2026, 9, 1), "area_share": 0.6}
DEAD = {"species": "bass", "date": DAY, "share": 0.2}
BEFALLS = {  # a list of a strategy, one of what may befall a pond that comes to it, and their entries
    "drought": ("drawdown", lambda k: LOW | {"name": f"low_{k}"}),
    "die_off": ("removal", lambda k: DEAD | {"name": f"dead_{k}"}),
    "plants": ("plants", lambda k: {"date": DAY + dt.timedelta(k), "share": 0.2}),
}


@pytest.mark.parametrize("kind", BEFALLS)
@pytest.mark.parametrize("most", ["few", "many"])
@pytest.mark.parametrize("more", [5, 6])
def test_what_befalls_a_pond_needs_room_in_the_lists_of_the_strategy_that_has_most(kind, most, more):
    there, entry = BEFALLS[kind]
    said = raw()
    said["strategies"][most][there] = [entry(k) for k in range(MOST_EVENTS - 5)]
    said["what_if"] = {"dry": {kind: [entry(k) for k in range(-more, 0)]}}
    if more == 5:
        assert len(resolve(said).what_if) == 1
    else:
        with pytest.raises(InputError, match=f"what_if.dry: got {MOST_EVENTS + 1} events of one kind"):
            resolve(said)


WORDS_LEFT_OUT = {  # as a file would write what the page says
    "true": True, "false": False, "10 lb/acre (assumed)": 10, "15 May (assumed)": "05-15", "0": 0,
    "15 April, 15 October": ["04-15", "10-15"], "March–October": ["03-01", "10-31"],
}  # fmt: skip
KEPT_OPEN = {("stocking", key) for key in ("strain", "female_share", "tempered", "salted")}  # so that what a file said is told
ANOTHER = {"some": "much", "removal": "die_off", "us": "metric", "USD": "EUR", "05-15": "05-16"}


def left_out():
    """Table, key and what the page says of it if it is left out, where that is a value which a file may write."""
    for name, table in key_tables().items():
        for row in table.rows:
            key, said = row.keys[0], row.if_left_out
            number, word = re.fullmatch(r"([\d.]+)(?: \(assumed\))?", said), re.fullmatch(r'"?(removal|some|us|USD)"?', said)
            value = WORDS_LEFT_OUT.get(said, float(number[1]) if number else word[1] if word else None)
            if value is not None and (name, key) not in KEPT_OPEN:
                yield name, key, int(value) if key in WHOLE else value
    for name in ("feeding", "angling", "aeration"):  # "as in harvest"
        yield name, "season", ["03-01", "10-31"]


LEFT_OUT = list(left_out())


@pytest.mark.parametrize(("table", "key", "value"), LEFT_OUT, ids=[f"{one[0]}.{one[1]}" for one in LEFT_OUT])
def test_a_key_left_out_means_what_the_page_says(table, key, value):
    """To the bit; and another value means something else, or cannot stand there."""
    if isinstance(value, bool):
        another = not value
    elif isinstance(value, list):
        another = [value[0], "10-30"]
    else:
        another = ANOTHER[value] if isinstance(value, str) else value + 1 if key in WHOLE else value + 0.5
    silent, said = (resolve(written(table, key, (), one)) for one in (None, value))
    assert silent == said
    assert refused(table, key, (), another) or resolve(written(table, key, (), another)) != said


def test_all_that_the_page_says_of_keys_left_out_is_tried():
    assert len(LEFT_OUT) >= 21


TOLD = [one for one in EVERY if one[1] not in ("hours", "hauls") or one[0] == "aeration"]  # of a survey its fish are told


@pytest.mark.parametrize(("table", "key", "siblings", "low", "high"), TOLD, ids=[f"{one[0]}.{one[1]}" for one in TOLD])
def test_every_number_is_told_and_survives_being_written(table, key, siblings, low, high):
    """Two ponds that differ in one number of their files are not told alike, nor written alike."""
    seen = {}
    for share in (0.02, 0.03, 0.2, 0.3, 0.6, 0.8, 0.9):
        value = low + share * (high - low)
        try:
            scenario = resolve(written(table, key, siblings, round(value) if key in WHOLE else value))
        except InputError:
            continue
        written_out = dump(scenario)
        assert resolve(tomllib.loads(written_out)) == scenario
        seen[written_out] = describe(scenario)
    assert len(set(seen.values())) == len(seen) >= 2


@pytest.mark.parametrize("price", ["per_lb_feed", "per_kg_feed", "per_hour", "per_kwh", "per_bass", "per_minnow"])
def test_every_price_is_told_and_survives_being_written(price):
    scenario, other = (resolve(written("costs", price, (), value)) for value in (0.75, 0.5))
    assert resolve(tomllib.loads(dump(scenario))) == scenario != other
    assert describe(scenario) != describe(other) and "0.75 a" in describe(scenario).partition("Costs in USD: ")[2]


def test_a_seed_is_any_number_of_63_bits():
    said = raw(only="few")
    said["ensemble"]["seed"] = 2**63 - 1
    assert resolve(said).ensemble.seed == 9_223_372_036_854_775_807
    said["ensemble"]["seed"] += 1
    with pytest.raises(InputError, match=r"ensemble.seed: got 9,?223.*from 0 to 9,223,372,036,854,775,807"):
        resolve(said)
