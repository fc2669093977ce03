"""What a page says of crowded bass, of the calendar with a quota, of figures and tables, with every value made by hand."""

import importlib
from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.assess.findings import Finding
from pondpop.decide.quota_phrases import TAKE_NONE
from pondpop.report import calendar, figures, forage_supply, pond_state, posterior_charts, strategies, time_series
from pondpop.report.drawing import look
from pondpop.report.strategies import gather
from pondpop.report.tables import Table
from pondpop.scenario import FERTILITIES

assessment_page = importlib.import_module("pondpop.report.assessment_page")  # the function has its name
CROWDED = SimpleNamespace(state="bass crowded", chance=0.9, sure=True)
LB_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha


# --- crowded bass beside a harvest


def said(advice, quota=None, caught_lb=0.0, fertility="fertilized"):
    """What is made of a harvest of the first of two strategies, of which anglers catch so much a year."""
    scenario = pond(members=3)
    changed = {name: one._replace(fertility=FERTILITIES[fertility]) for name, one in scenario.strategies.items()}
    scenario = scenario._replace(strategies=changed)
    read = readings(scenario)
    read["few"]["harvest_biomass"][:, 2, 0] = 2 * caught_lb * LB_PER_ACRE  # in one of the two calendar years
    told = SimpleNamespace(
        units="us", scenario=scenario, dataset=dataset(scenario, read),
        decision=SimpleNamespace(names=("few", "many"), followed=0),
    )
    return pond_state.crowding(SimpleNamespace(advice=lambda units: advice), told, quota)


@pytest.mark.parametrize("advice", [
    None, SimpleNamespace(state="balanced", chance=0.9, sure=True),
    SimpleNamespace(state="bass crowded", chance=0.49, sure=False),
])  # fmt: skip
def test_where_bass_are_not_crowded_nothing_is_said_against_a_small_harvest(advice):
    assert said(advice) == "" and said(advice, "") == ""


@pytest.mark.parametrize(("quota", "small"), [
    (None, "so its small amount or none should not"), ("", "so its “none” should not"), (TAKE_NONE, "so its “none” should not"),
    ("Take 12 bass.", "so a smaller amount of it should not"),
])  # fmt: skip
def test_crowded_bass_are_to_be_thinned_whatever_the_model_takes(quota, small):
    words = said(CROWDED, quota)
    assert words.startswith("The survey found bass crowded, and agencies advise to thin such bass: 25 to 35 lb an acre a year")
    assert small in words and "certified professional" in words
    likely = said(SimpleNamespace(state="bass crowded", chance=0.5, sure=False), quota)
    assert likely.startswith("The survey finds bass crowded most probably, if not surely, and agencies advise")


@pytest.mark.parametrize(("fertility", "enough"), [("fertilized", 25.0), ("unfertilized", 10.0)])
def test_a_harvest_as_large_as_agencies_advise_needs_no_word(fertility, enough):
    assert said(CROWDED, None, 1.001 * enough, fertility) == "" != said(CROWDED, None, 0.99 * enough, fertility)
    assert said(CROWDED, "", 1.001 * enough, fertility) != ""  # a search says what is to be taken, not the strategy
    assert f"as {'fertile' if fertility == 'fertilized' else 'infertile'} as this one" in said(CROWDED, None, 0.0, fertility)


# --- the calendar with a quota


def test_a_quota_stands_first_and_the_harvest_of_bass_that_was_compared_apart():
    rules = "".join(
        f'[[strategies.few.harvest]]\nname = "{kind}"\nspecies = "{kind}"\nlength_in = [5, 9]\nlb_per_acre = 9\n'
        for kind in ("bass", "bluegill")
    )
    scenario = pond(members=2, extra=rules)
    material = gather([dataset(scenario, readings(scenario))], "us")
    found = {table.caption: table for table in calendar.calendar(material, quota="Take 12 bass a year.")}
    soon = next(table for caption, table in found.items() if caption.startswith("The coming twelve months"))
    assert soon.rows[0] == ["each year", "quota", "Take 12 bass a year. Whole fish by month: with the quota."]
    assert soon.csv_rows[0] == ["", "each year", "quota", soon.rows[0][2]]
    compared = [row[-1] for row in found[calendar.COMPARED].rows]
    assert compared and all(what.startswith("Harvest bass") for what in compared)
    assert any(row[-1].startswith("Harvest bluegill") for row in soon.rows)
    assert not any(row[-1].startswith("Harvest bass") for row in soon.rows)
    without = calendar.calendar(material)
    assert calendar.COMPARED not in [table.caption for table in without]
    assert any(row[-1].startswith("Harvest bass") for row in without[0].rows)
    assert all(action[2] != "quota" for action in without[0].csv_rows)


# --- tables and figures


def test_a_table_as_csv_holds_its_heading_and_every_row_and_no_formula():
    table = Table("t", "c", ["a"], [], ["x", "y"], [["=1+1", 2.5], ["b", None]])
    head, first, second = table.to_csv().splitlines()
    assert head == "x,y" and not first.startswith("=") and "=1+1" in first and first.endswith("2.5") and second.startswith("b,")


def figure(quantity, species="bass", **more):
    return Finding(quantity, "x", 1.0, species=species, **more)


@pytest.mark.parametrize(("quantity", "words"), [
    ("bass_stock_caught_per_hour", "caught, of stock length, per hour"), ("bass_caught_per_haul", "caught per haul"),
    ("bass_growth_8_12in", "growth at 8–12 in"), ("bass_growth_0_8in", "growth at under 8 in"),
    ("bass_growth_25in_up", "growth at 25 in and more"), ("bass_growth_rate", "growth coefficient"),
    ("bass_some_thing", "some thing"),
])  # fmt: skip
def test_figures_are_called_by_what_they_are(quantity, words):
    assert assessment_page.figure_words(figure(quantity)) == words


def test_classes_of_condition_are_called_by_their_ends():
    called = [assessment_page._class(name) for name in ("0_8in", "8_12in", "25in_up")]
    assert called == ["under 8 in", "8–12 in", "25 in and more"]
    assert [assessment_page._number(x) for x in (None, float("inf"), 1234.0, 0.0)] == ["?", "no limit", "1,200", "0"]


def test_limits_of_figures_stand_beside_them_and_a_negative_one_is_no_range_of_dashes():
    some = [figure("a", low=-2.0, high=3.0), figure("b", low=2.0, high=float("inf"), count=1200), figure("c", low=None, high=4.0)]
    shown = assessment_page._figures("n", "caption", [*some, figure("d")], "metric")
    assert "-2 to 3" in shown.replace("−", "-") and "2–no limit" in shown and "?–4" in shown and "1,200" in shown


def test_lengths_are_pictured_where_fish_were_measured_and_first_those_of_which_sizes_are_judged(monkeypatch):
    monkeypatch.setattr("pondpop.report.figures.length_frequency", lambda counts, *words: (list(counts), *words))
    seine, boat = ("seine", "bass"), ("electrofishing", "bass")

    def survey(first, gears, findings=()):
        frequency = {pair: np.ones(32) for pair in gears}
        return SimpleNamespace(first=first, findings=findings, length_frequency=frequency)

    psd = Finding("bass_psd", "%", 50.0, gear="electrofishing", species="bass")
    found = SimpleNamespace(surveys=(survey("2023", [seine]), survey("2024", [seine, boat], (psd,)), survey("2025", [boat])))
    every = [(one, *pair) for one in found.surveys for pair in one.length_frequency]
    monkeypatch.setattr(assessment_page, "_groups", lambda found: iter(every))
    drawn = list(assessment_page._pictures(found))
    assert [(one[0], one[1], one[2]) for one in drawn] == [
        (["2024", "2025"], "bass", "lengths-electrofishing-bass"), (["2023", "2024"], "bass", "lengths-seine-bass")
    ]  # fmt: skip


# --- pictures


def luminance(colour):
    """Relative luminance of a colour on a screen (WCAG 2.1)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [x / 12.92 if x <= 0.03928 else ((x + 0.055) / 1.055) ** 2.4 for x in parts]
    return float(np.dot((0.2126, 0.7152, 0.0722), linear))


def test_no_two_strategies_look_alike_and_each_can_be_read_on_white():
    for part in zip(*strategies.LOOKS, strict=True):
        assert len(set(map(str, part))) == len(part) == 10
    assert all(1.05 / (luminance(colour) + 0.05) >= 4.5 for colour, _, _ in strategies.LOOKS)  # as WCAG asks of text


@pytest.mark.parametrize(("high", "ticks"), [(117.9, [70, 80, 90, 100, 110]), (118.0, [70, 80, 90, 100, 110, 120])])
def test_marks_of_a_scale_reach_its_end(high, ticks):
    case = SimpleNamespace(band=lambda _: np.array([80.0, high]))
    index = time_series.Index("x", "", "", (70, 115), (95, 105), "")
    assert time_series._scale([case], index) == (70, high + 2, ticks)
    assert time_series._range(index) == "95–105" and time_series._range(time_series.Index("x", "", "", (0, 9), None, "")) == "0–0"


def test_the_coming_and_the_usual_years_are_two_of_four():
    case = SimpleNamespace(projection=SimpleNamespace(months=np.arange("2026-04", "2030-04", dtype="datetime64[M]")))
    for coming, wanted in ((True, list(range(24))), (False, list(range(24, 48)))):
        places = forage_supply._places(case, coming)
        assert sorted(k for some in places.values() for k in some) == wanted and places[4] == wanted[::12]
    short = SimpleNamespace(projection=SimpleNamespace(months=np.arange("2026-04", "2026-10", dtype="datetime64[M]")))
    assert forage_supply._places(short, False) == {month: [month - 4] for month in range(4, 10)}


def test_thin_bass_are_thinned_also_where_only_young_ones_are_short():
    scenario = pond(members=10, years=2)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:], one["relative_weight"][:] = 50.0, 5.0, 95.0
        one["number"][..., 0, 8:26], one["relative_weight"][..., 0, 8:12] = 10.0, 80.0
        one["edible_prey"][..., 0] = 1.0  # the smallest class
    _, helps = forage_supply.advice(gather([dataset(scenario, read)], "us").cases[0], "us")
    assert helps == [forage_supply.YOUNG, forage_supply.CROWDED]


NARROWED = """about,quantity,unit,observed,prior_p10,prior_p50,prior_p90,posterior_p10,posterior_p50,posterior_p90,note
record,2026-06-15 electrofishing bass: share,,0.4,0.1,0.4,0.9,0.3,0.4,0.5,
model,growth of bass,,,0.5,1,2,0.8,1,1.1,
model,food of shad,,,0.5,1,2,0.9,1,1.1,
model,deaths of minnows,,,0.8,1,1.2,0.5,1,2,
"""


def test_only_doubts_of_the_model_that_became_less_were_narrowed_and_most_of_all_first(monkeypatch):
    drawn = []

    def kept(some, key, title, *words, **more):
        drawn.append((title, [one.name for one in some]))

    monkeypatch.setattr(posterior_charts, "_bars", kept)
    with look():
        list(posterior_charts.draw_all(NARROWED, "us", "k"))
    assert drawn[0] == ("What the records narrowed", ["food of shad", "growth of bass"])


@pytest.mark.parametrize(("species", "ends"), [("bass", (8, 26)), ("bluegill", (3, 12))])
def test_lengths_are_drawn_from_stock_to_trophy_and_of_large_fish_an_inch_beyond(monkeypatch, species, ends):
    kept = []
    monkeypatch.setattr(figures, "picture", lambda figure, *words: kept.append(figure))
    scenario = pond(members=2)
    with look():
        figures.lengths(gather([dataset(scenario, readings(scenario, 1.0))], "us").cases, species, "k")
        for axes in kept[0].axes:
            edges = [patch.get_data()[1] for patch in axes.patches]
            assert edges and all((one[0], one[-1]) == ends for one in edges)
