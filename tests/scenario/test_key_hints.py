"""What is told about a key that a table does not know, and about numbers that are likely another's."""

import re

import pytest

from pondpop.checks import InputError
from pondpop.scenario import resolve
from pondpop.scenario.key_hints import _LISTS, _TABLES, remedy
from pondpop.scenario.read import KEYS
from pondpop.scenario.unusual import unusual


def raw_pond(area=5, **stocking):
    fish = {"species": "bass", "date": "2027-06-05", "per_acre": 50, "length_in": 2, **stocking}
    raw = {
        "title": "x", "pond": {"area_acres": area, "fertility": 1, "alkalinity_mg_l": 30},
        "run": {"start": "2027-03-15", "years": 2},
        "stocking": [{key: value for key, value in fish.items() if value is not None}], "strategies": {"one": {}},
    }  # fmt: skip
    return raw


def dated(raw):
    import datetime as dt

    raw["run"]["start"] = dt.date(2027, 3, 15)
    for event in raw["stocking"]:
        if "date" in event:
            event["date"] = dt.date(2027, 6, 5)
    return raw


@pytest.mark.parametrize(
    ("table", "key", "says"),
    [
        ("stocking", "number", "write per_acre, per_ha, or count"),  # not number_cv
        ("stocking", "lb", "fish are stocked by number"),
        ("stocking", "pounds", "fish are stocked by number"),
        ("stocking", "lb_per_acre", "fish are stocked by number"),
        ("stocking", "cost", "write cost_each"),  # not count
        ("stocking", "price", "write cost_each"),
        ("stocking", "season", "it stands in [[harvest]], [[feeding]], [[angling]] or [[aeration]]"),
        ("stocking", "hours_per_acre", "it stands in [[angling]]"),
        ("stocking", "per_acres", "write per_acre, count or per_ha"),
        ("stocking", "specie", 'did you mean "species"?'),
        ("pond", "climate", "it stands in [water]"),
        ("pond", "alkalinity", 'did you mean "alkalinity_mg_l"?'),
        ("run", "seed", "it stands in [ensemble]"),
        ("run", "stocking", "write it at the top of the file, under [[stocking]]"),
        ("run", "growth", "it stands in [ensemble.spread]"),
        ("", "members", "it stands in [ensemble]"),
        ("goals", "weight_lb", "write above_lb or above_kg"),
        ("liming", "lb_per_acre", "write tons_per_acre (of 2,000 lb) or tonnes_per_ha (of 1,000 kg)"),
        ("liming", "tons", "write tons_per_acre or tonnes_per_ha"),
        ("run", "arrival", "write it at the top of the file, under [[arrival]]"),
        ("stocking", "power_hp", "it stands in [[aeration]]"),
    ],
)  # fmt: skip
def test_a_key_that_is_not_known_is_led_to_its_place(table, key, says):
    raw = dated(raw_pond())
    raw["goals"], raw["liming"] = [{"kind": "bass_above"}], [{"date": raw["stocking"][0]["date"], "tons_per_acre": 1}]
    place = raw if not table else raw[table][0] if isinstance(raw[table], list) else raw[table]
    place[key] = 3
    with pytest.raises(InputError) as refused:
        resolve(raw)
    assert says in str(refused.value)


@pytest.mark.parametrize("word", ["min_in", "max_length", "Slot-limit", "bag_limit", "per_day"])
def test_a_limit_of_anglers_is_led_to_a_window_or_to_what_is_taken_in_a_year(word):
    wanted = "write lb_per_acre, kg_per_ha, per_acre, count or share, what is taken in a year: no bag limits are known here"
    assert remedy("harvest", word) == (wanted if word in ("bag_limit", "per_day") else "write length_in = [from, to]")


def test_a_strategy_without_bass_beside_others_is_told_as_a_name_that_may_be_wrong():
    raw = dated(raw_pond())
    raw["strategies"] = {"fwe": {"stocking": raw.pop("stocking")}, "few": {}, "none": {}}
    other = [{**raw["strategies"]["fwe"]["stocking"][0], "species": "bluegill"}]
    raw["strategies"]["few"]["stocking"] = raw["strategies"]["none"]["stocking"] = other
    told = [str(odd) for odd in unusual(resolve(raw))]
    assert [one for one in told if "no bass" in one] == [
        "few, none: no bass are stocked or live there, as in other strategies; is a name in [[strategies.NAME.…]] another "
        "than was meant?"
    ]
    raw["strategies"].pop("fwe")
    assert not [odd for odd in unusual(resolve(raw)) if "no bass" in str(odd)]  # a pond of bluegill is meant


def test_no_remedy_names_a_table_or_key_that_is_not_there():
    assert {*_LISTS, *_TABLES} == {one for one in KEYS[""] if one in KEYS} - {"strategies", "what_if"}
    words = {word for some in KEYS.values() for word in some}
    for kind in KEYS:
        for word in words - set(KEYS[kind]):
            told = remedy(kind, word)
            for double, head in re.findall(r"(\[?)\[([a-z_.]+)\]", told):
                if "=" in told:  # an example of a value
                    continue
                assert head in (_LISTS if double else (*_TABLES, "ensemble.spread")), told
                if told.startswith("it stands in"):
                    assert word in KEYS[head.rpartition(".")[2]], told
            if told.startswith("write ") and kind in KEYS:
                first = re.match("write ([a-z_]+)", told)[1]
                assert first == "it" or first in KEYS[kind], (kind, word, told)


@pytest.mark.parametrize(
    ("area", "stocking", "told"),
    [
        (5, {"per_acre": None, "count": 75}, "75 bass in the whole pond, 15 per acre"),
        (5, {"per_acre": None, "count": 1000, "species": "bluegill"}, "1,000 bluegill in the whole pond, 200 per acre"),
        (3, {"per_acre": None, "count": 50}, "50 bass in the whole pond, 16.7 per acre"),
        (3, {"per_acre": None, "count": 49}, ""),
        (2, {"per_acre": None, "count": 50}, ""),  # half of what is usual
        (5, {"per_acre": None, "count": 375}, ""),
        (9, {"per_acre": None, "count": 200}, "200 bass in the whole pond, 22.2 per acre, where 50 to 100 per acre are usual"),
        (9, {"per_acre": None, "count": 201}, ""),  # more than twice what an acre has
        (9, {"per_acre": None, "count": 2000, "species": "bluegill"}, "2,000 bluegill in the whole pond, 222 per acre"),
        (9, {"per_acre": None, "count": 2001, "species": "bluegill"}, ""),
        (1, {"per_acre": None, "count": 75}, ""),
        (5, {"per_acre": None, "count": 50, "length_in": None, "length_mm": 150}, "50 bass in the whole pond, 10 per acre"),
        (5, {"per_acre": None, "count": 50, "length_in": None, "length_mm": 150.1}, ""),  # grown fish are few
        (5, {"per_acre": None, "count": 50, "length_in": 14}, ""),
        (5, {"per_acre": None, "count": 60, "resident": True, "date": None}, ""),
    ],
)
def test_a_number_of_the_whole_pond_that_is_likely_meant_for_an_acre_is_told(area, stocking, told):
    lines = [str(odd) for odd in unusual(resolve(dated(raw_pond(area=area, **stocking)))) if "in the whole pond" in str(odd)]
    assert bool(lines) == bool(told)
    if told:
        number = stocking["count"]
        assert told in lines[0] and f"write per_acre = {number}" in lines[0]
