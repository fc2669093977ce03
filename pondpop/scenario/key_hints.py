"""What to do about a key that a table does not know: what the word usually means there, or which table it stands in.

Standard library only.
"""

from collections.abc import Mapping

from pondpop.checks import alternatives
from pondpop.scenario.read import KEYS

_LISTS = ("stocking", "harvest", "removal", "feeding", "angling", "aeration", "fertilization", "liming", "plants", "drawdown",
          "grass_carp", "arrival", "goals", "local_knowledge")  # fmt: skip
_TABLES = ("pond", "oxygen", "water", "run", "start_from_survey", "ensemble", "costs", "report")

_HOW_MANY = dict.fromkeys(
    ("number", "numbers", "quantity", "amount", "fish", "total", "how_many", "n"),
    "write per_acre, per_ha, or count for all of them",
)
_HOW_MUCH = dict.fromkeys(
    ("number", "quantity", "amount", "quota", "total", "fish", "pounds", "lb", "lbs", "kg", "weight_lb", "weight_kg"),
    "write lb_per_acre, kg_per_ha, per_acre, count or share",
)
_BY_NUMBER = dict.fromkeys(
    ("lb", "lbs", "pounds", "kg", "lb_per_acre", "lbs_per_acre", "kg_per_ha", "pounds_per_acre"),
    "fish are stocked by number: write per_acre or count (their pounds over the weight of one), and weight_lb for the mean "
    "weight of one fish",
)
_PRICE = dict.fromkeys(("price", "cost", "each", "price_each", "cost_per_fish"), "write cost_each, the price of one fish")
_SIZE = dict.fromkeys(("size", "size_in", "inches", "length_inches"), "write length_in or length_mm")
_WINDOW = dict.fromkeys(
    ("size", "size_in", "slot", "slot_in", "min_length_in", "max_length_in", "minimum_in", "maximum_in", "from_in", "to_in",
     "min_in", "max_in", "min_mm", "max_mm", "min_length", "max_length", "slot_limit"),
    "write length_in = [from, to]",
)  # fmt: skip
_BAG = dict.fromkeys(
    ("bag", "bag_limit", "creel_limit", "daily_limit", "limit", "per_day"),
    "write lb_per_acre, kg_per_ha, per_acre, count or share, what is taken in a year: no bag limits are known here",
)
_DAY = dict.fromkeys(("day", "when", "on", "stocked"), "write date = 2027-06-05")
_MEANT: Mapping[str, Mapping[str, str]] = {
    "stocking": {**_HOW_MANY, **_BY_NUMBER, **_PRICE, **_SIZE, **_DAY, "age": "write age_years"},
    "grass_carp": {**_HOW_MANY, **_DAY, "price": "write cost, the price of all"},
    "harvest": {
        **_HOW_MUCH, **_WINDOW, **_BAG, "months": 'write season = ["03-01", "10-31"]', "cost": "prices stand in [costs], per_hour"
    },
    "removal": {**_HOW_MUCH, **_WINDOW, **_DAY, "price": "write cost, the price of the whole removal"},
    "die_off": {**_HOW_MUCH, **_WINDOW, **_DAY},
    "feeding": dict.fromkeys(("lb", "lb_per_day", "pounds", "lb_per_acre", "amount"), "write lb_per_acre_day or kg_per_ha_day"),
    "liming": dict.fromkeys(
        ("lb", "lbs", "pounds", "lb_per_acre", "lbs_per_acre", "pounds_per_acre", "kg", "kg_per_ha", "amount", "rate"),
        "write tons_per_acre (of 2,000 lb) or tonnes_per_ha (of 1,000 kg)",
    ),
    "angling": dict.fromkeys(("hours", "effort", "trips"), "write hours_per_acre or hours_per_ha, a year"),
    "run": dict.fromkeys(("end", "end_date", "until", "stop", "length", "duration"), "write years = 6; the run begins at start"),
    "pond": dict.fromkeys(("size", "acre", "acreage", "surface"), "write area_acres or area_ha"),
    "goals": {
        **dict.fromkeys(("goal", "type", "name", "want"), 'write kind = "balanced"'),
        **dict.fromkeys(("weight_lb", "weight_kg", "lb", "pounds", "kg", "size_lb"), "write above_lb or above_kg"),
    },
}


def remedy(kind: str, key: str) -> str:
    """A remedy for a key that the tables of a kind do not know; empty where none is known but what is alike."""
    word = key.strip().lower().replace("-", "_")
    here = any(known.startswith(f"{word}_") for known in KEYS[kind])  # it lacks its unit
    return _MEANT.get(kind, {}).get(word) or ("" if here else _stands_in(word, kind))


def _stands_in(word: str, kind: str) -> str:
    """In which tables of a scenario a key stands; only where it stands in few, and not everywhere, as a name does."""
    heads = [f"[[{one}]]" for one in _LISTS if word in KEYS[one]] + [f"[{one}]" for one in _TABLES if word in KEYS[one]]
    if word in KEYS["spread"]:
        heads.append("[ensemble.spread]")
    if word in KEYS[""]:
        head = f"[[{word}]]" if word in _LISTS else f"[{word}]" if word in _TABLES else ""
        return f"write it at the top of the file, under {head}" if head else ""
    return f"it stands in {alternatives(heads)}" if 0 < len(heads) <= 4 else ""
