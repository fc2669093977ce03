"""The species files and their reader."""

import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import pondpop
from pondpop.checks import InputError
from pondpop.model.community import FOODS
from pondpop.scenario.schema import AERATORS
from pondpop.species import KINDS, SPECIES, TRAITS, catalogue, load_parameters, parameters, registry
from pondpop.species.gears import selectivity, warmth
from pondpop.species.parameters import NAMES, SHARED
from pondpop.species.registry import STRAIN_PARAMETERS

GOOD = {
    "name": '"growth"', "value": "0.5", "unit": '"1/d"', "low": "0.1", "high": "1", "kind": '"published"',
    "source": '"Rice et al. 1983"', "note": '""',
}  # fmt: skip


def entry_text(**changed):
    rows = {**GOOD, **changed}
    return "[growth]\n" + "".join(f"{key} = {value}\n" for key, value in rows.items() if value is not None)


def refusal(text):
    with pytest.raises(InputError) as refused:
        catalogue.read_entries(text, "bass.toml", catalogue.works())
    message = str(refused.value)
    assert message.startswith("bass.toml: ") and "\n" not in message
    return message


def test_a_good_entry_is_read():
    entry = catalogue.read_entries(entry_text(), "bass.toml", catalogue.works())["growth"]
    assert (entry.value, entry.low, entry.high, entry.unit, entry.published) == (0.5, 0.1, 1, "1/d", None)


def test_the_parameters_in_which_members_differ_are_listed_with_their_spread():
    spreads = catalogue.uncertain()
    text = catalogue.sources_text(width=10_000)
    assert text.count("members differ by some") == len(spreads) >= 5
    for path, spread in spreads.items():
        key = path.partition(".")[2]
        assert any(
            line.startswith(f"{key} = ") and f"differ by some {100 * spread:g} % (assumed)" in line
            for line in text.splitlines()
        )


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"value": "1.5"}, "growth.value: got 1.5, needs a number from low = 0.1 to high = 1"),
        ({"value": "0.05"}, "growth.value: got 0.05"),
        ({"low": "2"}, "growth.low: got 2, needs at most high = 1"),
        ({"value": "nan"}, "growth.value: got nan, needs a finite number"),
        ({"value": '"0.5"'}, 'growth.value: got "0.5", needs a finite number'),
        ({"value": "true"}, "growth.value: got true, needs a finite number"),
        ({"high": "inf"}, "growth.high: got inf, needs a finite number"),
        ({"published": "inf"}, "growth.published: got inf, needs a finite number"),
        ({"spread": "0"}, "growth.spread: got 0, needs a number above 0, of a parameter above 0"),
        ({"spread": "0.02", "low": "-1"}, "growth.spread: got 0.02, needs a number above 0, of a parameter above 0"),
        ({"unit": '""'}, 'growth.unit: got "", needs text; a pure number has the unit "1"'),
        ({"unit": "1"}, "growth.unit: got 1, needs text"),
        ({"unit": None}, "growth.unit: got nothing, needs an entry; add unit = ..."),
        ({"name": '" "'}, "growth.name"),
        ({"kind": '"asumed"'}, 'did you mean "assumed"?'),
        ({"source": '"Rice 1983"'}, 'needs a work of sources.toml; did you mean "Rice et al. 1983"?'),
        ({"source": '""'}, "growth.note: got \"\", needs the reason why it is published"),
        ({"source": '""', "note": '"seen"'}, "growth.source"),
        ({"source": '""', "kind": '"calibrated"'}, "needs the reason why it is calibrated"),
        ({"source": '""', "kind": '"assumed"', "published": "0.4"}, "growth.source"),
        ({"vlaue": "1"}, 'growth.vlaue: got "vlaue", needs a known key; did you mean "value"?'),
    ],
)  # fmt: skip
def test_a_bad_entry_is_refused_with_its_place(changed, says):
    assert says in refusal(entry_text(**changed))


def test_text_that_is_no_toml_or_no_table_is_refused():
    assert "a TOML file" in refusal("[growth\n")
    assert "a table of its own" in refusal("growth = 3\n")


def test_parameters_have_one_column_a_species_and_nan_where_there_is_none():
    p = load_parameters()
    assert p.members == 1
    for name in NAMES:
        array = getattr(p, name)
        assert array.shape == ((1,) if name in SHARED else (1, len(KINDS)))
        assert not array.flags.writeable
    for path in catalogue.paths():
        assert p.value(path) == catalogue.find(path).value
    assert np.isnan(p.search_area_at_100_g[0]).tolist() == [KINDS[name].species != "bass" for name in KINDS]
    own = p.of_kinds(SPECIES)
    missing = sum(np.isnan(getattr(own, name)).sum() for name in NAMES)
    held = sum(getattr(own, name).size for name in NAMES)
    assert held - missing == sum(path.partition(".")[0] in (*SPECIES, "pond") for path in catalogue.paths())


def refused(monkeypatch, name, old, new):
    """The refusal of a species file with one piece of text in place of another."""
    text = registry.text_of(name)
    assert text.count(old) == 1
    changed = text.replace(old, new)
    monkeypatch.setattr(catalogue, "_text", lambda file: changed if file == f"{name}.toml" else _read(file))
    with pytest.raises(InputError) as error:
        catalogue.entries.__wrapped__()
    assert "\n" not in str(error.value)
    return str(error.value)


_read = catalogue._text


def test_a_file_that_lacks_a_parameter_is_refused_with_file_and_key(monkeypatch):
    says = refused(monkeypatch, "minnow", "[recruits_cap_per_ha]", "[traits.x]")
    assert says.startswith("minnow.toml: recruits_cap_per_ha: got nothing, needs an entry")


def test_a_strain_differs_only_in_what_strains_can_differ_in(monkeypatch):
    other = next(key for key in catalogue.entries()["bass"] if key not in STRAIN_PARAMETERS)
    own = next(iter(catalogue.entries()["florida"]))
    says = refused(monkeypatch, "florida", f"[{own}]", f"[{other}]")
    assert says.startswith(f"florida.toml: {other}: ") and "one in which strains can differ" in says


def test_a_parameter_that_no_trait_asks_for_is_refused_with_the_trait(monkeypatch):
    says = refused(monkeypatch, "minnow", "[recruits_cap_per_ha]", "[respiration_per_c]")
    assert says.startswith("minnow.toml: respiration_per_c: ") and 'respiration = "exponential"' in says


@pytest.mark.parametrize(("always", "pond", "says"), [
    ((*registry.ALWAYS, "haul_hour"), {}, 'registry: haul_hour: got "haul_hour", needs the name of a parameter; did you mean'),
    ((*registry.ALWAYS, SHARED[0]), {SHARED[0]: None}, f"registry: {SHARED[0]}: "),
    (registry.ALWAYS, {"haul_hour": 1}, 'pond.toml: haul_hour: got "haul_hour", needs the name of a parameter'),
    (registry.ALWAYS, {SHARED[0]: None}, f"pond.toml: {SHARED[0]}: got nothing, needs an entry; add [{SHARED[0]}]"),
    (registry.ALWAYS[:-1], {}, f"registry: {registry.ALWAYS[-1]}: got nothing, needs a trait that asks for it; name it in"),
])  # fmt: skip
def test_parameters_stand_in_the_files_as_in_the_code(monkeypatch, always, pond, says):
    """always: the parameters of every species; pond: what is added to pond.toml, or taken from it (None)."""
    tables = dict(catalogue.entries())
    tables["pond"] = {key: entry for key, entry in (tables["pond"] | pond).items() if entry is not None}
    monkeypatch.setattr(parameters, "entries", lambda: tables)
    monkeypatch.setattr(parameters, "ALWAYS", always)
    with pytest.raises(InputError) as error:
        load_parameters()
    assert str(error.value).startswith(says) and "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('role = "prey"', 'role = "hunter"', 'minnow.toml: traits.role: got "hunter", needs one of predator, prey'),
        ('role = "prey"\n', "", "minnow.toml: traits.role: got nothing, needs an entry; add role = ..."),
        ("growth_types = 1", "growth_types = 2", "minnow.toml: traits.growth_types: got 2, needs one of 1, 3"),
        ('sexes = "together"', 'sexes = "apart"', "traits.growth_types: got 1, needs 3 where the sexes are apart"),
        ('"spawns until a day"', '"spawns til a day"', 'did you mean "spawns until a day"?'),
        ('plural = "minnows"', 'plurals = "minnows"', 'did you mean "plural"?'),
        ("dashes = [", "dots = [", "traits.look: got a table of 3 keys, needs { colour"),
        ("[traits]", "[features]", "minnow.toml: traits: got nothing, needs a table; write [traits] before all others"),
    ],
)
def test_wrong_traits_are_refused_with_their_place(old, new, says):
    text = registry.text_of("minnow")
    assert old in text
    with pytest.raises(InputError) as error:
        registry.read_species("minnow", text.replace(old, new))
    assert says in str(error.value) and "\n" not in str(error.value)


def test_species_stand_predators_first_and_traits_ask_for_what_the_files_hold():
    roles = [TRAITS[name].role for name in SPECIES]
    assert roles == sorted(roles, key=lambda role: role != "predator") and roles[0] == "predator"
    for name, one in TRAITS.items():
        assert set(one.needs) == set(catalogue.entries()[name])


def test_replace_changes_one_value_and_nothing_else():
    p = load_parameters()
    q = p.replace("bluegill.max_intake_at_1_g", [0.1, 0.2, 0.3]).replace("pond.length_cv", 0.07)
    assert q.members == 3 and p.members == 1
    assert q.value("bluegill.max_intake_at_1_g").tolist() == [0.1, 0.2, 0.3]
    assert q.length_cv.tolist() == [0.07]
    for path in catalogue.paths():
        if path not in ("bluegill.max_intake_at_1_g", "pond.length_cv"):
            assert (q.value(path) == p.value(path)).all()
    assert p.replace("bass.max_intake_at_1_g", 0.4).max_intake_at_1_g.shape == (1, len(KINDS))
    assert q.replace("bluegill.max_intake_at_1_g", 0.4).max_intake_at_1_g[:, 1].tolist() == [0.4] * 3


def test_a_replaced_array_is_a_copy_that_cannot_be_written():
    mine = np.array([0.05, 0.06])
    for path, name in (("pond.length_cv", "length_cv"), ("bass.max_intake_at_1_g", "max_intake_at_1_g")):
        array = getattr(load_parameters().replace(path, mine), name)
        assert not array.flags.writeable
        assert mine.flags.writeable and not np.shares_memory(array, mine)


def test_take_keeps_the_members_asked_for():
    q = (
        load_parameters()
        .replace("bass.max_intake_at_1_g", [0.1, 0.2, 0.3])
        .replace("pond.length_cv", [0.05, 0.06, 0.07])
    )
    assert q.take(slice(1, 3)).value("bass.max_intake_at_1_g").tolist() == [0.2, 0.3]
    assert q.take([2]).length_cv.tolist() == [0.07]
    assert q.take([2]).cover_share.tolist() == q.cover_share.tolist()


@pytest.mark.parametrize(
    ("path", "values", "says"),
    [
        ("bass.max_intake_at_1g", 1, 'did you mean "bass.max_intake_at_1_g"?'),
        ("length_cv", 1, 'did you mean "pond.length_cv"?'),
        ("bluegill.search_area_at_100_g", 1, 'did you mean "bass.search_area_at_100_g"?'),
        ("x", 1, "`pondpop sources` lists them"),
        ("pond.length_cv", np.nan, "a finite number"),
        ("pond.length_cv", [[1.0]], "a finite number"),
        ("pond.length_cv", [1, 2, 3], "one value or 2, one per member"),
    ],
)
def test_replace_refuses_in_one_line(path, values, says):
    p = load_parameters().replace("bass.max_intake_at_1_g", [0.3, 0.4])
    with pytest.raises(InputError) as refused:
        p.replace(path, values)
    assert says in str(refused.value) and "\n" not in str(refused.value)


def test_every_work_is_used_and_every_part_is_cited():
    text = "".join(str(entry) for table in catalogue.entries().values() for entry in table.values())
    text += str(catalogue.standards())
    in_code = "".join(path.read_text("utf-8") for path in Path(pondpop.__file__).parent.rglob("*.py"))
    for key, work in catalogue.works().items():
        assert key in text or key in in_code, f"{key} stands in sources.toml but nothing names it"
        assert work.reference in catalogue.works_cited(work.part)
    assert len(catalogue.works_cited()) == sum(len(catalogue.works_cited(part)) for part in catalogue.PARTS)
    sources = [entry.source for table in catalogue.entries().values() for entry in table.values() if entry.source]
    assert {catalogue.works()[source].part for source in sources} == {"model"}
    with pytest.raises(InputError, match='did you mean "methods"'):
        catalogue.works_cited("method")


def test_every_parameter_is_read_by_the_model():
    folder = Path(pondpop.__file__).parent
    code = "".join(path.read_text("utf-8") for path in folder.rglob("*.py") if path.parent.name != "species")
    of_foods = [f"{food}_{what}" for what in re.findall(r'of_foods\(p, "(\w+)"\)', code) for food in FOODS]
    of_aerators = [f"aerator_{kind}_kg_per_kwh" for kind in AERATORS] if "aerator_{one.kind}_kg_per_kwh" in code else []
    code += " ".join([*of_foods, *of_aerators])
    idle = [name for name in NAMES if name not in code]
    assert not idle, "in the species files but read nowhere: " + ", ".join(idle)


def test_the_sources_tell_every_parameter_with_unit_range_and_works():
    text = catalogue.sources_text()
    for path in catalogue.paths():
        entry = catalogue.find(path)
        assert f"{path.partition('.')[2]} = {entry.value:g} [{entry.low:g} to {entry.high:g}]" in text
    for key in catalogue.works():
        assert f"\n{key} (" in text
    assert "bass: 8 / 12 / 15 / 20 / 25" in text
    assert "(there 32)" in text
    assert max(map(len, text.splitlines())) <= 110
    assert {len(line) - len(line.lstrip()) for line in text.splitlines()} == {0, 4, 8}  # what belongs to a line stands under it


def test_the_sources_need_the_standard_library_only():
    code = (
        "import sys, pondpop.species as s; s.sources_text(); s.works_cited();"
        "sys.exit(any(m.split('.')[0] in ('numpy', 'scipy', 'xarray', 'matplotlib') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=Path(pondpop.__file__).parents[1]).returncode == 0


def test_a_strain_follows_its_species_in_all_but_what_it_says_itself():
    p, (florida, bass) = load_parameters(), (list(KINDS).index(name) for name in ("florida", "bass"))
    own = catalogue.entries()["florida"]
    for key in ("max_intake_at_1_g", "mature_length_mm", *own):
        changed = getattr(p.replace(f"bass.{key}", 7.25), key)[0]
        assert changed[bass] == 7.25
        assert changed[florida] == (own[key].value if key in own else 7.25), key
    assert len(own) > 2


def test_the_sources_tell_every_yardstick_of_surveys():
    lines = catalogue.sources_text(width=10_000).splitlines()

    def told(words, *numbers):
        alone = [rf"(?<![\d.]){re.escape(str(number))}(?!\d)" for number in numbers]
        return any(words in line and all(re.search(number, line) for number in alone) for line in lines)

    known = catalogue.standards()
    for species, row in known["categories"].items():
        assert not isinstance(row, dict) or told(f"    {species.replace('_', ' ')}: ", *row["inches"])
    for species, row in known["standard_weight"].items():
        assert told(f"    {species.replace('_', ' ')}: ", row["intercept"], row["slope"], row["shortest_mm"])
    for name in ("targets", "balance"):
        for option, row in known[name].items():
            if isinstance(row, dict):
                ranges = [row["balanced"], row["best"]] if name == "balance" else [r for of in row.values() for r in of.values()]
                assert told(f"    {option.replace('_', ' ')}: ", *(n for low_high in ranges for n in low_high))
    assert told("relative weight wanted", *known["relative_weight"]["target"])
    assert sum(line.startswith("ranges of PSD by management option") for line in lines) == 1


def test_a_work_of_no_known_part_is_refused_with_the_nearest(monkeypatch):
    text = '["A 1999"]\nreference = "A"\nread = "seen"\nuse = "u"\npart = "{}"\n'
    monkeypatch.setattr(catalogue, "_text", lambda file: text.format("method"))
    with pytest.raises(InputError, match=r'sources.toml: A 1999.part: got "method".*did you mean "methods"'):
        catalogue.works.__wrapped__()
    monkeypatch.setattr(catalogue, "_text", lambda file: text.format("methods"))
    assert catalogue.works.__wrapped__()["A 1999"].use == "u"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("blood", "blod", 'did you mean "blood"'), ("blood = 1.0", "", "traits.blood: got nothing"),
        ('title = "x"', "", "traits.title: got nothing"), ('"bass"', '"bas"', 'traits.kind_of: got "bas"'),
        ("1.0", "0", "a share above 0"), ("1.0", "1.01", "a share above 0"), ("1.0", "true", "a share above 0"),
        ("1.0", '"1"', "a share above 0"), ("[traits]", "[other]", "write .traits. before all others"),
    ],
)  # fmt: skip
def test_a_wrong_head_of_a_strain_is_refused_with_its_place(old, new, says):
    text = '[traits]\ntitle = "x"\nkind_of = "bass"\nblood = 1.0\n[haul_hours]\nvalue = 3\n'
    assert registry.read_kind("y", text, ["bass", "shad"]) == registry.Kind("y", "x", "bass", 1.0)
    with pytest.raises(InputError, match=f"^y.toml: .*{says}"):
        registry.read_kind("y", text.replace(old, new), ["bass", "shad"])


def test_the_sources_tell_every_name_and_note_in_full():
    told = " ".join(catalogue.sources_text().split())
    for table in catalogue.entries().values():
        for entry in table.values():
            assert " ".join(f"{entry.name}; {entry.note}".split() if entry.note else entry.name.split()) in told
    assert "Works to cite -------------" in told


def step(z):
    return 1.0 / (1.0 + math.exp(-z))


@pytest.mark.parametrize("length_mm", [60.0, 150.0, 200.0, 420.0])
def test_a_gear_takes_fish_from_a_length_on_but_for_a_share_of_the_largest(length_mm):
    known = step((length_mm - 150.0) / 20.0) * (1.0 - 0.6 * step((length_mm - 400.0) / 30.0))
    assert selectivity(length_mm, (150.0, 20.0), (400.0, 30.0), 0.6) == pytest.approx(known, rel=1e-12)


@pytest.mark.parametrize("water_c", [2.0, 10.0, 19.0, 26.0, 33.0])
def test_catch_by_temperature_is_a_step_up_and_a_step_down_over_what_both_leave_half_way(water_c):
    known = step((water_c - 10.0) / 3.0) * step((28.0 - water_c) / 3.0) / step(9.0 / 3.0) ** 2
    assert warmth(water_c, 10.0, 28.0, 3.0) == pytest.approx(known, rel=1e-12)


def test_each_published_yardstick_stands_below_what_it_is():
    lines = catalogue._standards_lines(1000)
    heads = [k for k, line in enumerate(lines) if not line.startswith(" ")]
    below = {lines[k].partition(",")[0]: lines[k + 1 : end] for k, end in zip(heads, [*heads[1:], len(lines)], strict=True)}
    categories, weights = below["length categories"], below["standard weight"]
    assert len(categories) >= len(weights) > 1
    assert all(" / " in line for line in categories) and all("log10 mm" in line for line in weights)
