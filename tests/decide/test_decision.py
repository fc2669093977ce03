"""One decision: what wins, what is tied, and that terminal and page say the same of any Dataset."""

import re
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from small import EVENTS, dataset, pond, readings

from pondpop.decide import console
from pondpop.decide.comparison import judge, verdicts
from pondpop.decide.console import HIGH, WIDE, answer_text, balance_table, details_text, height
from pondpop.decide.details import _called, details
from pondpop.decide.goals import SURE, Cost, Score
from pondpop.decide.phrases import Teller, teller
from pondpop.ensemble import results
from pondpop.ensemble.results import VARIABLES
from pondpop.report.answer import answer
from pondpop.report.page import make_page
from pondpop.report.strategies import gather
from pondpop.scenario import Goal
from pondpop.scenario.unusual import Odd
from pondpop.units import shortened

ALL_GOALS = """
[[goals]]
kind = "balanced"
weight = 2
[[goals]]
kind = "pounds_harvested"
matters_lb_per_acre = 5
[[goals]]
kind = "bass_above"
above_lb = 5
[[goals]]
kind = "cost"
matters = 50
[costs]
per_bass = 2
per_bluegill = 1
per_hour = 15
per_kg_feed = 3
"""


def score(values, better=1, weight=1.0, matters=1.0):
    return Score(Goal("cost", weight, matters=matters), "test", "crop", better, np.array(values, dtype=float), ("number",))


def money(totals, members=1):
    return Cost("USD", {"fish": np.repeat(np.array(totals, dtype=float)[:, None], members, axis=1)}, ())


VALUES = arrays(float, st.tuples(st.integers(2, 5), st.integers(1, 12)), elements=st.floats(-9, 9, width=16))


# --- what wins


def test_a_difference_below_what_matters_is_a_tie():
    made = judge(["a", "b"], [score([[1.9, 5.0, 0.0, 2.0], [1.0, 1.0, 0.5, 1.0]])])
    pair = made.pair(0, 1)
    assert (pair.better, pair.worse) == (0.5, 0.0)  # 4 and exactly 1 matter, 0.9 and −0.5 do not
    assert made.chosen is None and set(made.equals) == {0, 1}
    assert judge(["a", "b"], [score([[0.5, 0.5], [0.5, 0.5]], matters=0.0)]).pair(0, 1).ties  # nor does nothing


def test_members_are_paired_so_that_shared_luck_makes_small_differences_sure():
    luck = np.random.default_rng(1).normal(scale=10.0, size=100)
    assert judge(["a", "b"], [score([luck + 1.01, luck])]).chosen == 0


@pytest.mark.parametrize(("wins", "chosen"), [(8, 0), (7, None)])
def test_a_choice_needs_a_win_that_matters_in_eight_of_ten(wins, chosen):
    made = judge(["a", "b"], [score([[2.0] * wins + [0.0] * (10 - wins), [0.0] * 10])])
    assert made.chosen == chosen
    assert made.equals == ((0,) if chosen == 0 else (0, 1))


def test_a_choice_beats_every_other():
    values = [[9.0] * 10, [5.0] * 10, [8.5] * 10]
    made = judge(["a", "b", "c"], [score(values)])
    assert made.chosen is None and made.equals == (0, 2) and made.tied
    assert judge(["a", "b", "c"], [score(values, matters=0.5)]).chosen == 0


def test_goals_speak_by_their_weight():
    one, other = score([[2.0] * 5, [0.0] * 5], weight=3.0), score([[2.0] * 5, [0.0] * 5], better=-1, weight=1.0)
    assert judge(["a", "b"], [one, other]).chosen == 0
    assert judge(["a", "b"], [score(one.values), other]).pair(0, 1).ties
    assert judge(["a", "b"], [score(one.values), score(np.zeros((2, 5)), weight=5.0)]).chosen == 0  # a tie says nothing


def test_members_without_a_value_are_ties():
    made = judge(["a", "b"], [score([[3.0, np.nan, 3.0], [0.0, 0.0, np.nan]])])
    assert made.pair(0, 1).better == pytest.approx(1 / 3)
    assert not judge(["a", "b"], [score(np.full((2, 3), np.nan))]).pair(0, 1).margins[0].compared


def test_of_equals_the_cheapest_is_followed():
    tie = [score(np.zeros((3, 1)))]
    assert judge(["a", "b", "c"], tie, money([300, 200, 250])).followed == 1
    assert judge(["a", "b", "c"], tie).followed == 0
    assert judge(["a", "b", "c"], tie, money([0, 0, 0])).cost is None


@given(VALUES, st.floats(0, 3))
def test_laws_of_a_decision(values, matters):
    names = [chr(97 + k) for k in range(len(values))]
    made = judge(names, [score(values, matters=matters)])
    turned = judge(names, [score(-values, better=-1, matters=matters)])
    assert (made.better == turned.better).all()
    assert (made.better + made.better.T <= 1.0 + 1e-12).all() and (np.diag(made.better) == 0).all()
    assert sorted(made.ranked) == list(range(len(names)))
    if made.chosen is not None:
        assert all(made.better[made.chosen, k] >= SURE - 1e-9 for k in range(len(names)) if k != made.chosen)
    else:
        assert len(made.equals) > 1
    assert all((verdicts(s, s.values[0] - s.values[1]) == -verdicts(s, s.values[1] - s.values[0])).all() for s in made.scores)
    least = judge(names, [score(values, matters=matters + 1.0)])
    assert (least.better <= made.better).all()  # the more is asked of a difference, the fewer wins


# --- terminal and page


@st.composite
def datasets(draw):
    """Projections of two to five strategies with invented numbers, some the same, some far apart, some empty."""
    count, members = draw(st.integers(1, 5)), draw(st.sampled_from([1, 2, 5, 12, 40]))
    extra = draw(st.sampled_from(["", ALL_GOALS, ALL_GOALS.replace("matters = 50", "matters = 0")]))
    more = "".join(
        f'[strategies.s{k}]\ntitle = "{draw(st.sampled_from(["short", "a title that goes on and on " * 4]))} {k}"\n'
        f"[[strategies.s{k}.stocking]]\nname = 'bass'\nspecies = 'bass'\ndate = 2026-05-01\nper_acre = {10 * k}\nlength_in = 6\n"
        for k in range(count)
    )
    scenario = pond(members=members, years=2, extra=extra + more)
    kept = {name: s for name, s in scenario.strategies.items() if name.startswith("s")}
    scenario = scenario._replace(strategies=kept)
    rng = np.random.default_rng(draw(st.integers(0, 99)))
    read = readings(scenario)
    luck = {name: rng.lognormal(size=array.shape) for name, array in read["s0"].items() if "group" not in name}
    for one in read.values():
        scale, own = draw(st.sampled_from([0.0, 1.0, 1.05, 3.0])), draw(st.sampled_from([0.0, 0.3]))
        for name, array in one.items():
            shared = luck.get(name, np.ones(array.shape))
            array[:] = scale * shared * rng.lognormal(sigma=own, size=array.shape) if own else scale * shared
        one["water_temperature"][:] = 20.0
    return dataset(scenario, read)


def named(words: str, names: list[str]) -> list[str]:
    """Which strategies a sentence names, by position."""
    return [k for k, name in enumerate(names) if name in words]


@settings(max_examples=60)
@given(datasets(), st.sampled_from(["us", "metric"]))
def test_terminal_and_page_say_the_same(made, units):
    told = teller(made, units)
    screen = " ".join(answer_text(told).split())
    ((*lead,),) = answer(gather([made], units)).lead
    letters = [chr(ord("A") + k) for k in range(made.sizes["strategy"])]
    (head, choice), points = lead[0], dict(lead)
    assert screen.startswith(f"{head}: ")
    titles = [s.title for s in told.scenario.strategies.values()]
    on_page = {k for k, letter in enumerate(letters) if f"{letter} ({titles[k]})" in choice}
    if len(letters) > 1:
        assert set(named(screen[: len(head) + 2 + len(told.choice())], told.full)) == on_page
    assert (head == "Choose") == (told.decision.chosen is not None)
    # the same sentences, but for what strategies are called
    plain = {"How sure": told.sureness(most=1), "Do next": told.next_steps(), "Cost": told.money(most=1)}
    for name, words in plain.items():
        for letter, title in zip(letters, told.short, strict=True):
            words = words.replace(title, letter)
        assert points.get(name, "").lower() == words.lower(), name
    # and no sentence beside them names another choice
    if told.decision.chosen is None:
        assert "Choose" not in screen and "would be the choice" not in points["How sure" if "How sure" in points else head]
    else:
        assert told.sureness().count(" is better than ") == min(3, len(letters) - 1)


@settings(max_examples=60)
@given(datasets(), st.sampled_from([None, 0]))
def test_the_answer_fits_a_terminal(made, against):
    told = teller(made, "us")
    text = answer_text(told, against, "Everything is in a_folder_of_some_name-result; seed 20260315, 100 futures; more.")
    lines = text.splitlines()
    assert len(lines) <= HIGH and max(map(len, lines)) <= WIDE, text
    assert "nan" not in text


def test_the_answer_is_told_against_the_strategy_one_names():
    luck = np.linspace(0.0, 1.0, 20)
    scenario = pond(members=20, extra=ALL_GOALS.replace('kind = "balanced"\nweight = 2', 'kind = "pounds_harvested"'))
    read = readings(scenario)
    read["few"]["harvest_biomass"][:, 0, 0] = 60 + luck
    told = teller(dataset(scenario, read), "us")
    assert told.decision.best == 0
    default, other = (" ".join(answer_text(told, against).split()) for against in (None, 1))
    assert "than “few”" in default.split("better; worse”")[1] and "than “many”" in other.split("better; worse”")[1]
    assert "“few” is better than “many” in more than 9 of 10 futures" in other


@pytest.mark.parametrize(("against", "rival"), [(None, "s1"), (0, "s1"), (1, "s1"), (2, "s2")])
def test_sureness_is_told_against_the_strategy_one_names_unless_it_is_the_best_itself(against, rival):
    scenario = pond(members=10, extra="[[goals]]\nkind='bass_above'\nabove_lb=5\n")
    few = scenario.strategies["few"]
    scenario = scenario._replace(strategies={f"s{k}": few._replace(name=f"s{k}", title=f"s{k}") for k in range(3)})
    read = readings(scenario)
    for one, fish in zip(read.values(), (9.0, 5.0, 1.0), strict=True):
        one["bass_above"][..., 0] = fish
    text = " ".join(answer_text(teller(dataset(scenario, read), "us"), against).split())
    assert re.findall("How sure: “s0” is better than “(s.)” in", text) == [rival]


def priced(difference: float, members: int = 10):
    """Two strategies: “many” costs USD 120 more for its bass, and holds so many more bass above 5 lb."""
    scenario = pond(members=members, extra="[[goals]]\nkind='bass_above'\nabove_lb=5\n[costs]\nper_bass=2\n")
    read = readings(scenario)
    read["few"]["bass_above"][..., 0] = 2.0
    read["many"]["bass_above"][..., 0] = 2.0 + difference / scenario.pond.area_ha
    return dataset(scenario, read)


def test_money_stands_beside_every_choice():
    told = teller(priced(3.0), "us")
    assert told.head == "Choose" and told.choice() == "“many”."
    said = "“many” USD 240 over 1 year; “many” costs USD 120 more than “few”, for 3 more bass above 5 lb (2.27 kg)."
    assert told.money() == said
    page = dict(answer(gather([priced(3.0)], "us")).lead[0])
    assert page["Cost"].endswith("B costs USD 120 more than A, for 3 more bass above 5 lb (2.27 kg).")


@pytest.mark.parametrize("goal", ["kind='balanced'", "kind='cost'"])
def test_what_a_strategy_costs_has_one_column_whether_it_is_a_goal_or_not(goal):
    scenario = pond(members=4, extra=f"[[goals]]\n{goal}\n[costs]\nper_bass=2\n")
    told = teller(dataset(scenario, readings(scenario)), "us")
    assert console._strategies(told, None, 20).count("cost, USD") == 1


def test_as_many_first_steps_are_told_as_are_asked_for_unless_half_of_the_screen_is_full(monkeypatch):
    told = teller(priced(3.0), "us")
    monkeypatch.setattr(Teller, "next_steps", lambda self, most: f"{most} steps.")
    before = len(console._said(told, None, None, 2)) - 1
    for high, steps in ((2 * before + 1, 2), (2 * before, 1)):
        monkeypatch.setattr(console, "HIGH", high)
        assert console._said(told, None, None, 2)[-1] == f"Next: {steps} steps."


def test_a_goal_whose_column_does_not_fit_a_screen_is_named_below():
    kinds = ("big_bass", "panfish", "pounds_harvested", "balanced")
    scenario = pond(extra="".join(f"[[goals]]\nkind='{kind}'\n" for kind in kinds))
    told = teller(dataset(scenario, readings(scenario, 1.0)), "us")
    text = answer_text(told)
    table = next(line for line in text.splitlines() if "better; worse  " in line)
    notes = " ".join(text.split()).rpartition("“better; worse”")[2]
    heads = [told.heading(score) for score in told.decision.scores]
    gone = [head for head in heads if head not in table]
    assert 0 < len(gone) < len(heads) and max(map(len, text.splitlines())) <= WIDE
    assert all((head in notes) == (head in gone) for head in heads) and "--details" in notes


@pytest.mark.parametrize(("per_ha", "more", "named"), [(1.0, 0, False), (2.0, 0, True), (1.0, 2, False)])
def test_the_strategy_that_is_followed_is_named_only_where_those_as_good_begin_otherwise(per_ha, more, named):
    scenario = pond(extra="[[goals]]\nkind='bass_above'\nabove_lb=5\n")
    few, many = scenario.strategies.values()
    (first,) = few.stocking[-1:]
    beside = tuple(first._replace(name=f"more_{k}") for k in range(more))
    few, many = (one._replace(stocking=(first, *beside)) for one in (few, many))
    many = many._replace(stocking=tuple(one._replace(per_ha=per_ha * one.per_ha) for one in many.stocking))
    altered = scenario._replace(strategies={"few": few, "many": many})
    told = teller(dataset(altered, readings(altered)), "us")
    assert told.decision.equals == (0, 1)
    steps = told.next_steps(1)
    assert ("(with “few”)" in steps) == named
    assert (f"; and {more} more at that time" in steps) == bool(more)


def test_equals_are_told_with_what_they_cost():
    told = teller(priced(0.4), "us")  # less than one such fish does not matter
    assert told.head == "As good as one another" and told.choice() == "“few” or “many”."
    assert "“few” USD 120 and “many” USD 240" in told.money()
    assert "120 less than “many”, with 0.4 fewer bass above 5 lb" in told.money()
    assert told.next_steps().endswith("(with “few”). Then follow the calendar.")
    assert "A difference under 1 fish does not matter" in told.sureness()


def test_one_event_has_one_chance_on_the_page():
    made = priced(3.0)
    made["bass_above"].values[..., 0] *= np.array([0.1, 0.5, 1.0])  # more at each survey
    text, _ = make_page(gather([made], "us"), "tables")
    said = re.findall(r"Chance of at least one of the bass above 5 lb[^:]*: A ([^,]*?) and B (.*?)\.", text)
    drawn = re.findall(r"([AB]), at the end: 5 lb (.*?) of 10", text)
    assert said and drawn
    assert [words.removesuffix(" of 10") for words in said[0]] == [words for _, words in drawn]


# --- what may befall the pond

LONG_EVENTS = EVENTS.replace("a cold winter", "a cold winter, the coldest in memory, with ice for weeks")


def befallen_pond(
    few: float, many: float, in_cold: tuple[float, float], in_kill: tuple[float, float], members: int = 10,
    events: str = LONG_EVENTS,
):
    """Bass above 5 lb in the pond under either strategy, without an event and with each."""
    scenario = pond(members=members, extra=events + "[[goals]]\nkind='bass_above'\nabove_lb=5\n[costs]\nper_bass=2\n")

    def read(*there):
        found = readings(scenario)
        for name, fish in zip(("few", "many"), there, strict=True):
            found[name]["bass_above"][..., 0] = fish / scenario.pond.area_ha
        return found

    plain = dataset(scenario, read(few, many))
    return results.with_events(plain, scenario, {"cold": read(*in_cold), "kill": read(*in_kill)})


def test_an_event_is_never_chosen_and_each_has_its_own_choice():
    told = teller(befallen_pond(5, 9, (9, 2), (4, 8)), "us")
    assert told.decision.names == ("few", "many") and told.choice() == "“many”."
    cold, kill = told.befalling.events
    assert (cold.decision.chosen, kill.decision.chosen) == (0, 1)
    words = told.what_if()
    assert "with ice for weeks”: choose “few”" in words and "If “a kill”: still “many”" in words
    assert "for “many”: 7 fewer" in words and "for “many”: 1 fewer" in words
    assert "Stands up best: none surely" in words  # “many” is better in two of three
    sure = teller(befallen_pond(5, 9, (3, 9), (4, 8)), "us")
    assert "Stands up best: “many”, better than “few” in more than 9 of 10 futures" in sure.what_if().replace("  ", " ")


def test_the_choice_with_each_event_stands_below_the_strategies():
    told = teller(befallen_pond(5, 9, (9, 2), (4, 8)), "us")
    choices = [line for line in console._events(told) if line.startswith("  choose")]
    assert [re.split("  +", line.strip()) for line in choices] == [["choose", "“many”", "“few”", "“many”"]]


def test_strategies_that_all_events_treat_alike_are_as_good_as_one_another():
    told = teller(befallen_pond(5, 5, (2, 2), (1, 1)), "us")
    assert "“few” and “many” are as good as one another" in told.stands_up()


def test_terminal_and_page_say_the_same_of_events():
    made = befallen_pond(5, 9, (9, 2), (4, 8))
    told = teller(made, "us")
    text = answer_text(told, None, "Everything is in a_folder-result; seed 20260315, 10 futures; --details tells the rest.")
    assert len(text.splitlines()) <= HIGH and max(map(len, text.splitlines())) <= WIDE, text
    assert "a kill" in text and " ".join(told.stands_up().split()) in " ".join(text.split())
    first, (page,) = answer(gather([made], "us")).lead[0], map(dict, answer(gather([made], "us")).more)
    lead = dict(first)["If something befalls it"]
    assert "With “a kill”: still B." in lead and lead.endswith(told.stands_up().replace("“few”", "A").replace("“many”", "B"))
    assert page["What if"] == told.what_if().replace("“few”", "A").replace("“many”", "B")
    html, sheets = make_page(gather([made], "us"), "tables")
    assert html.count("nothing befalls the pond") == 1 and "choose A" in html
    rows = next(sheet for sheet in sheets if sheet.name == "what_if").csv_rows
    assert [(row[0], row[3], row[8], row[11]) for row in rows] == [
        ("", "A", 5, 0), ("", "B", 9, 0), ("cold", "A", 9, 4), ("cold", "B", 2, -7), ("kill", "A", 4, -1), ("kill", "B", 8, -1)
    ]
    assert "What if" not in dict(answer(gather([priced(3.0)], "us")).more[0]) and told.what_if() in details_text(told)


@settings(max_examples=20)
@given(arrays(float, 6, elements=st.floats(0, 20, width=16)), st.sampled_from([1, 10]))
def test_the_answer_with_events_fits_a_terminal(fish, members):
    told = teller(befallen_pond(fish[0], fish[1], tuple(fish[2:4]), tuple(fish[4:]), members), "us")
    text = answer_text(told, None, "Everything is in a_folder_of_some_name-result; seed 20260315, 100 futures; more.")
    assert len(text.splitlines()) <= HIGH and max(map(len, text.splitlines())) <= WIDE, text
    assert "nan" not in text and "nan" not in told.what_if()


@pytest.mark.parametrize("letters", [20, 21])
def test_an_event_heads_its_column_with_up_to_twenty_letters(letters):
    title = "k" * letters
    made = befallen_pond(5, 9, (9, 2), (4, 8), events=LONG_EVENTS.replace("a kill", title))
    (heads,) = (line for line in answer_text(teller(made, "us")).splitlines() if line.strip().startswith("What if"))
    assert heads.split()[-1] == (title if letters <= 20 else f"{title[:19]}…") and len(heads) <= WIDE


@pytest.mark.parametrize("letters", [24, 25])
def test_a_table_calls_a_strategy_by_up_to_26_letters_with_its_marks(letters):
    scenario = pond(members=2, extra="[[goals]]\nkind='bass_above'\nabove_lb=5\n")  # a narrow column
    title = ("abcdefghi " * 3)[: letters - 1] + "z"
    scenario = scenario._replace(strategies=scenario.strategies | {"few": scenario.strategies["few"]._replace(title=title)})
    table = console._strategies(teller(dataset(scenario, readings(scenario)), "us"), None, 20)
    assert (f"  “{title}” " in table) == (letters == 24) and ("…" in table.partition("[")[0]) == (letters == 25)


@pytest.mark.parametrize(("titles", "shown"), [
    (("keep small bass all the year round", "keep small bass all the year but March"),
     ("“keep sma…round”", "“keep sma…but Mar…")),
    (("as before", "as before"), ("few", "many")),  # one title for both: they are called by their keys
])  # fmt: skip
def test_strategies_with_names_alike_are_told_apart(titles, shown):
    scenario = pond(members=2)
    pairs = zip(scenario.strategies.items(), titles, strict=True)
    scenario = scenario._replace(strategies={name: one._replace(title=title) for (name, one), title in pairs})
    rows = answer_text(teller(dataset(scenario, readings(scenario)), "us")).splitlines()
    assert all(sum(row.startswith(f"  {name} ") for row in rows) == 1 for name in shown), "\n".join(rows)


@pytest.mark.parametrize(("count", "more"), [(9, ""), (20, ""), (20, "Everything is in " + "a_long_name/" * 12)])
def test_a_screen_that_leaves_strategies_out_is_full_and_counts_them(count, more):
    scenario = pond(members=2)
    few = scenario.strategies["few"]
    scenario = scenario._replace(strategies={f"s{k}": few._replace(name=f"s{k}", title=f"way {k}") for k in range(count)})
    text = answer_text(teller(dataset(scenario, readings(scenario)), "us"), None, more)
    told, left = len(re.findall(r"^  “way \d+”", text, re.M)), re.search(r"… and (\d+) more strategies", text)
    assert left is not None or told == count
    assert left is None or (told + int(left[1]) == count and height(text) == 24)  # of a plain terminal


def test_what_is_unusual_and_a_long_path_stand_within_the_screen(monkeypatch):
    told = teller(befallen_pond(5, 9, (9, 2), (4, 8)), "us")
    path = "/home/" + "a_long_name/" * 9
    monkeypatch.setattr("pondpop.decide.phrases.unusual", lambda _: [Odd("so many bass, " * 40, "write so")] * 3)
    text = answer_text(told, None, f"Everything is in {path}; seed 20260315, 100 futures; --details tells the rest.")
    assert height(text) <= HIGH and f"\n{path};\n" in text  # the path in one piece
    odd = shortened("so many bass, " * 40, 220)  # letters where there is room
    assert f"Unusual (and 2 more, which check tells): {odd} Everything" in " ".join(text.split())
    assert "so many bass" in told.unusual() and "write so" not in told.unusual()  # a client writes no scenario
    monkeypatch.setattr("pondpop.decide.console.HIGH", height(text) - 1)
    text = answer_text(told, None, f"Everything is in {path}; seed 20260315, 100 futures; --details tells the rest.")
    assert f"tells): {shortened('so many bass, ' * 40, 60)} Everything" in " ".join(text.split())  # of little room 60 letters
    assert height("x\n" + "y" * 81 + "\n\n") == 4


def test_events_that_find_no_room_are_counted_but_the_first_stays(monkeypatch):
    told = teller(befallen_pond(5, 9, (9, 2), (4, 8)), "us")
    assert "more: --details" not in "\n".join(console._events(told))
    monkeypatch.setattr("pondpop.decide.console.WIDE", 20)
    lines = console._events(told)
    assert "1 more: --details" in " ".join(" ".join(lines).split())
    assert lines[0].endswith("  nothing  a cold winter, the…") and len(lines[1].split()) == 1 + 2


@pytest.mark.parametrize(("name", "shown"), [("x" * 16, "x" * 16), ("x" * 17, "x" * 15 + "…")])
def test_a_choice_is_told_in_sixteen_letters(name, shown):
    told, decision = SimpleNamespace(short=("A", name)), SimpleNamespace(chosen=1)
    assert console._choice(told, decision) == shown


@pytest.mark.parametrize(("lines", "whole"), [(HIGH, True), (HIGH + 1, False)])
def test_kills_for_want_of_oxygen_are_told_where_the_answer_with_them_just_fits_the_screen(monkeypatch, lines, whole):
    monkeypatch.setattr(console, "_events", lambda told: [])
    monkeypatch.setattr(console.oxygen_risk, "short_words", lambda told, lines: "Oxygen")
    monkeypatch.setattr(console, "_answer", lambda told, against, last, below: "\n".join([*below, *["x"] * (lines - len(below))]))
    assert ("Oxygen" in answer_text(SimpleNamespace(odd=lambda most: ""))) == whole


def test_what_is_to_be_minded_is_told_where_thirteen_lines_are_left(monkeypatch):
    told = teller(befallen_pond(5, 9, (9, 2), (4, 8)), "us")
    monkeypatch.setattr(Teller, "unthinned", lambda _: ["few are taken."])
    found = set()
    for high in range(16, 40):
        monkeypatch.setattr("pondpop.decide.console.HIGH", high)
        lines = console._answer(told, None, [], []).splitlines()
        room = high - lines.index("")  # less what is said
        assert ("Mind: few are taken." in lines) == (room > 12)
        found.add(room)
    assert {12, 13} <= found


def test_every_goal_is_told_of_where_nine_lines_are_left_and_one_where_seven_are(monkeypatch):
    scenario, rng = pond(members=10, extra=ALL_GOALS), np.random.default_rng(1)
    read = readings(scenario)
    for array in (array for one in read.values() for array in one.values()):
        array[:] = rng.lognormal(1.0, 0.6, array.shape)
    told = teller(dataset(scenario, read), "us")
    every, one = (console._said(told, None, goals, 2) for goals in (None, 1))
    assert len(every) > len(one)
    for high, said in ((len(every) + 9, every), (len(every) + 8, one), (len(one) + 7, one), (len(one) + 6, None)):
        monkeypatch.setattr("pondpop.decide.console.HIGH", high)
        text = console._answer(told, None, [], [])
        assert [lines for lines in (every, one) if "\n".join(lines) in text] == ([said] if said else [])


# --- details


def test_every_detail_names_variables_of_the_dataset():
    rule = '[[strategies.few.harvest]]\nname="t"\nspecies="bass"\nlength_in=[8, 12]\nlb_per_acre=9\n'
    scenario = pond(members=3, extra=ALL_GOALS + rule)
    made = dataset(scenario, readings(scenario, 1.0))
    found = details(teller(made, "us"))
    assert {one.topic for one in found} >= {"balanced", "cost", "bass_above", "big bass", "repair", "differences"}
    for one in found:
        assert one.made_of and set(one.made_of) <= set(VARIABLES), one.topic
        assert "nan" not in one.words.lower()
    assert details_text(teller(made, "us")) != details_text(teller(made, "metric"))
    assert "nan" not in balance_table(made, "us")


def young_bass(few, many) -> str:
    """What is said of young bass of such weights, in g."""
    scenario = pond(members=10)
    read = readings(scenario)
    k = [event.name for event in scenario.strategies["few"].stocking].index("young_bass")
    read["few"]["group_weight"][..., k], read["many"]["group_weight"][..., k] = few, many
    return next(one.words for one in details(teller(dataset(scenario, read), "us"), 0) if "“young_bass”" in one.words)


def test_a_difference_is_told_with_its_sign_and_band():
    luck = np.linspace(300.0, 900.0, 10)[:, None]
    words = young_bass(luck + 136.077711, luck)  # 0.3 lb
    assert "“many” instead of “few”: bass stocked 2026-04-10 (“young_bass”) 0.3 lb lighter" in words


def test_a_group_that_is_called_as_its_species_is_told_by_its_day():
    (group,) = [one for one in pond().strategies["few"].stocking if one.name == "young_bass"]
    assert _called(group._replace(name="bass")) == "bass stocked 2026-04-10"
    assert _called(group._replace(name="bass_2026-04-10")) == "bass stocked 2026-04-10"
    assert _called(group._replace(name="large", resident=True)) == "bass living there at the start (“large”)"


def test_a_difference_of_unclear_sign_is_not_claimed():
    assert "no clear difference" in young_bass(500.0, np.linspace(400.0, 590.0, 10)[:, None])


def test_a_stored_projection_leads_to_the_same_decision(tmp_path):
    made = dataset(scenario := pond(members=3, extra=ALL_GOALS), readings(scenario, 1.0))
    results.write(made, tmp_path / "p.nc")
    stored = results.read(tmp_path / "p.nc")
    assert answer_text(teller(stored, "us")) == answer_text(teller(made, "us"))
    assert details_text(teller(stored, "us")) == details_text(teller(made, "us"))


def test_few_members_give_no_certainty():
    for members, said in ((4, "9 of 10"), (200, "more than 9 of 10")):
        words = teller(priced(3.0, members), "us").sureness()
        assert f"better than “few” in {said} futures" in words
        assert ("Decide on 100 or more" in words) == (members == 4)
