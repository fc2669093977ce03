"""What a page says of crowded bass, of the calendar with a quota, of figures and tables, with every value made by hand."""

import datetime as dt
import importlib
from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.assess.advice import Advice
from pondpop.assess.findings import Finding
from pondpop.decide.quota_phrases import TAKE_NONE
from pondpop.report import (
    calendar,
    drawing,
    figures,
    forage_supply,
    page,
    pond_state,
    posterior_charts,
    strategies,
    tables,
    time_series,
)
from pondpop.report.document import as_tree
from pondpop.report.drawing import look
from pondpop.report.strategies import gather
from pondpop.report.tables import Table
from pondpop.scenario import FERTILITIES, SPECIES

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


@pytest.mark.parametrize(("rows", "broken"), [(12, False), (13, True)])
def test_a_table_of_a_dozen_rows_stays_on_one_page(rows, broken):
    classes = Table("t", "c", ["a"], [["x"]] * rows, ["x"]).to_html().partition(">")[0]
    assert (" long" in classes) == broken


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


def test_readings_as_probable_as_one_in_twenty_are_told(monkeypatch):
    monkeypatch.setattr(assessment_page, "_pair_chances", lambda _: [("most", 0.901), ("some", 0.05), ("hardly", 0.049)])
    advice = Advice(dt.date(2028, 4, 18), "electrofishing", "both small", "bass are small", 0.9, (), ())
    _, more = assessment_page._answer(SimpleNamespace(advice=lambda *_: advice), "us")
    assert ">most<" in more and ">some<" in more and ">hardly<" not in more


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


# --- what a page says of records

SEINED = dt.date(2026, 6, 15)


def survey(findings=(), **more):
    made = {"first": SEINED, "disagreements": (), "seining": None, "changes": (), "length_frequency": {}, "compared_with": {}}
    return SimpleNamespace(findings=findings, **(made | more))


def caught(species, value, what="caught_per_haul", gear="seine", **more):
    return Finding(f"{species}_{what}", "per haul", value, gear=gear, species=species, date=SEINED, **more)


def test_species_that_were_sought_and_not_caught_are_named_together_and_have_no_row():
    first = survey((
        caught("bass", 3.0, low=1.0, high=9.0), caught("bluegill", 0.0), caught("shad", 0.0), caught("redear", 0.0, gear="trap"),
        caught("bass", 0.0, "stock_caught_per_haul"), caught("bass", 40.0, "psd"), caught("bass", 90.0, "wr_8_12in"),
        caught("bass", 0.0, "young_share"),
    ), disagreements=("outings differ",), seining=SimpleNamespace(words="many young"))  # fmt: skip
    found = SimpleNamespace(surveys=(first, survey(first=dt.date(2027, 6, 1))))
    shown = assessment_page._rates(found, "us")
    assert "None caught: 2026-06-15, seine: bluegill and shad; 2026-06-15, trap: redear." in shown
    assert shown.count("<tr>") == 3  # the heading, three bass a haul, and a share of nought, which is no catch
    assert "caught per haul" in shown and "young share" in shown and "psd" not in shown and "of stock length" not in shown
    assert "<li>outings differ.</li>" in shown and "<li>2026-06-15: many young (seine).</li>" in shown
    assert "None caught" not in assessment_page._rates(SimpleNamespace(surveys=(survey((caught("bass", 3.0),)),)), "us")


def test_a_change_is_one_where_chance_makes_it_in_fewer_than_one_of_twenty():
    def change(p):
        return SimpleNamespace(gear="boat", quantity="bass_psd", p_all=p, counts=(30, 41), before=40.2, now=54.6, unit="%")

    one = survey(changes=(change(0.0499), change(0.05)), compared_with={"boat": "2025-06-01"})
    shown = assessment_page._changes(SimpleNamespace(surveys=(one,)))
    told = "2025-06-01 to 2026-06-15, boat", "bass psd", "40 to 55 %", "30 and 41"
    assert all(words in shown for words in told) and shown.index("a change") < shown.index("may be chance")
    assert shown.count("<td>a change") == shown.count("<td>may be chance") == 1


def test_sizes_and_condition_stand_with_how_many_fish_they_rest_on():
    some = (
        caught("bass", 52.4, "psd", count=1234, low=48.2, high=56.6), caught("bass", 7.6, "psd_floor"),
        caught("bass", 11.0, "psd_p"), caught("bass", 88.6, "wr_8_12in", count=4), caught("bass", 95.0, "wr_12_15in", count=5),
        caught("bass", 2.0, "wr_left_out"), caught("bluegill", 30.0, "psd", count=7),
    )  # fmt: skip
    found = SimpleNamespace(surveys=(survey(some),))
    sizes = assessment_page._sizes(found)
    assert "<td>1,234</td><td>52</td>" in sizes and "48–57" in sizes and "<td>±8</td>" in sizes
    assert sizes.count("<td>–</td>") >= 3  # PSD-M of bass, and of bluegill both parts and the floor
    condition = assessment_page._condition(found)
    assert "<td>4 (few)</td><td>89</td>" in condition and "<td>5</td><td>95</td>" in condition and "left" not in condition


def test_what_was_seen_is_counted_by_fish_by_trip_and_by_tag():
    trips = [(1, "a"), (1, "a"), (1, "b"), (2, "a")]
    records = SimpleNamespace(
        fish=[SimpleNamespace(count=600), SimpleNamespace(count=634)],
        catches=[SimpleNamespace(date=date, trip=trip) for date, trip in trips],
        tags=[SimpleNamespace(tag=tag) for tag in "xyx"],
    )
    assert assessment_page._seen(SimpleNamespace(records=records)) == "1,234 survey fish, 3 angling trips, 2 tagged fish"


def test_readings_of_less_than_one_in_twenty_are_not_told(monkeypatch):
    chances = {"balanced": 0.6, "bass crowded": 0.05, "bluegill crowded": 0.049}
    older = survey(pair=SimpleNamespace(chances={"both small": 1.0}))
    found = SimpleNamespace(
        surveys=(older, survey(pair=SimpleNamespace(chances=chances)), survey(pair=None)),
        advice=lambda units, pond: SimpleNamespace(steps=("Wait",), why=("PSD 52",)),
    )
    monkeypatch.setattr(assessment_page, "state_words", lambda advice: "Balanced")
    lead, more = assessment_page._answer(found, "us")
    assert "balanced" in more and "bass crowded" in more and "bluegill crowded" not in more and "both small" not in more
    assert "<li>PSD 52.</li>" in more and "<li>Wait</li>" in lead and "<p>Balanced.</p>" in lead


# --- lines of a page


def projected(years=1, members=1, units="us", **changes):
    scenario = pond(members=max(members, 2), years=years)._replace(**changes)
    return SimpleNamespace(scenario=scenario, units=units, members=members)


@pytest.mark.parametrize(("made", "several", "said"), [
    (projected(), False, "Pond of 2 acres (0.809 ha), 1 April 2026 to 1 April 2027, 1 year, one future, no doubt shown."),
    (projected(2, 1500, "metric"), True,
     "small pond: Pond of 0.809 ha (2 acres), 1 April 2026 to 1 April 2028, 2 years, 1,500 possible futures."),
    (projected(2, 2), False, "Pond of 2 acres (0.809 ha), 1 April 2026 to 1 April 2028, 2 years, 2 possible futures."),
])  # fmt: skip
def test_a_pond_is_told_with_its_size_its_years_and_its_futures(made, several, said):
    assert page._pond(made, several) == said


def test_a_cover_names_each_title_note_and_author_once_and_the_pond_unless_the_title_has_it():
    def cover(*some, **names):
        return page._cover(SimpleNamespace(projections=some), page.For(**names))

    one, other = projected(note="n", consultant="C"), projected(title="b", note="n", consultant="D")
    both = cover(one, one, other, client="X")
    assert both.title == "small pond / b" and both.notes == ["n"] and both.whom == page.For("", "X", "C and D")
    assert [line.partition(":")[0] for line in both.lines] == ["small pond", "small pond", "b"]
    alone = cover(projected(title="Small Pond"), pond="SMALL pond", consultant="Y")
    assert alone.title == "Small Pond" and alone.whom.consultant == "Y" and not alone.lines[0].startswith("Small")
    assert cover(one, pond="Mill").title == "Mill: small pond"


def test_strategies_without_a_picture_are_named():
    cases = [SimpleNamespace(letter=letter) for letter in "ABCDE"]
    assert page._left_out(SimpleNamespace(cases=cases), cases) == ""
    said = page._left_out(SimpleNamespace(cases=cases), cases[1:4])
    assert said.startswith("<p>Pictures show the 3 strategies") and "; A and E stand in the tables" in said


def test_of_several_ponds_each_is_told_by_its_name_and_only_of_one_whether_it_is_balanced():
    points = [("Choose", "a."), ("How sure", "b."), ("Do next", "Stock.")]
    one = page._lead(SimpleNamespace(projections=[projected()]), SimpleNamespace(lead=[points]), "many.", "Yes.", "Mind it.")
    assert "<h3>" not in one and "<p><b>Choose:</b> a.</p><p><b>Is it balanced?</b> Yes.</p>" in one
    assert "<p><b>How many bass to take:</b> many. Mind it.</p><p><b>How sure:</b> b.</p>" in one
    assert f"<p><b>Do next:</b> {page.FIRST_SETTLE} By the model: stock.</p>" in one
    plain = page._lead(SimpleNamespace(projections=[projected()]), SimpleNamespace(lead=[points]), "", "", "")
    assert "<b>Do next:</b> Stock." in plain and "balanced" not in plain and "How many" not in plain
    two = page._lead(SimpleNamespace(projections=[projected(), projected()]), SimpleNamespace(lead=[points] * 2), "many.", "Yes.")
    assert two.count("<h3>small pond</h3>") == 2 and "balanced" not in two and "many." not in two


def test_what_else_is_told_of_several_ponds_stands_under_their_names(monkeypatch):
    monkeypatch.setattr(page, "_key", lambda material: "KEY")
    goals = [SimpleNamespace(to_html=lambda: "TABLE")]

    def more(count):
        made = SimpleNamespace(projections=[projected()] * count)
        return page._more(made, SimpleNamespace(more=[[("Mind", "a < b.")]] * count), goals)

    assert more(1) == "KEYTABLE<p><b>Mind:</b> a &lt; b.</p>"
    assert more(2) == "KEYTABLE" + "<h3>small pond</h3><p><b>Mind:</b> a &lt; b.</p>" * 2


@pytest.mark.parametrize(("harvest", "assessed", "said"), [
    (None, False, ""), (None, True, "A takes 9 lb; B takes none; none of them is surely better; the amounts with the records"),
    ("", False, "No harvest of bass keeps all that the goals ask for, so the search advises no amount. A takes 9 lb;"),
    ("Take 12.", False, "Take 12. That is the quota, searched for this pond; the harvests of the strategies were only compared "
     "with one another."),
    ("Take 12.", True, "with one another and the amounts with the records are what agencies advise"),
])  # fmt: skip
def test_it_is_said_which_of_several_harvests_is_advised(harvest, assessed, said):
    taken = {0: [SimpleNamespace(species="bass", taken="9 lb")] * 2 + [SimpleNamespace(species="shad", taken="x")], 1: []}
    cases = [SimpleNamespace(letter=letter) for letter in "AB"]
    verdict = SimpleNamespace(cases=cases, told=SimpleNamespace(actions_of=taken.__getitem__))
    searches = [] if harvest is None else [SimpleNamespace(name=page.FILES["quota.json"], harvest=harvest)]
    told = page._how_many(SimpleNamespace(equals=cases, verdicts=[verdict]), searches, SimpleNamespace() if assessed else None)
    assert said in told and (told == "") == (said == "")
    alone = page._how_many(SimpleNamespace(equals=cases[:1], verdicts=[verdict]), [], SimpleNamespace())
    assert alone.startswith("A takes 9 lb; the amounts with the records")


# --- sizes in pictures


def shown(count, years=2, members=2, **readings_):
    """Cases of one pond, as many as are asked for, of which every reading is 1 but for those given."""
    scenario = pond(members=members, years=years)
    read = readings(scenario, 1.0)
    for one in read.values():
        for name, value in readings_.items():
            one[name][:] = value
    return gather([dataset(scenario, read)] * (-(-count // 2)), "us").cases[:count]


@pytest.fixture
def drawn(monkeypatch):
    """The figures that are drawn, in place of their text."""
    kept = []
    for module in (figures, time_series, forage_supply):
        monkeypatch.setattr(module, "picture", lambda figure, *words: kept.append((figure, words)))
    with look():
        yield kept


def heights(figure):
    """Of each panel, in inches."""
    return [float(axes.get_position().height) * figure.get_figheight() for axes in figure.axes]


@pytest.mark.parametrize(("count", "pair", "lengths", "counts", "hunger"), [
    (1, 2.2, 0.2 + 2 * 0.17, 1.1, 1.3), (2, 1.5, 0.2 + 2 * 0.17, 0.9, 1.08), (3, 1.0, 0.2 + 2 * 0.085, 0.56, 2.6 / 3 - 0.22),
    (4, 1.0, 0.2 + 2 * 0.085, 0.56, 0.62),
])  # fmt: skip
def test_the_more_there_is_to_draw_the_lower_its_panels(drawn, count, pair, lengths, counts, hunger):
    cases = shown(count)
    figures.psd_pair(cases, "balanced", "k")
    figures.lengths(cases, "bass", "k")
    figures.length_frequency({f"{k}": np.ones(20) for k in range(count)}, "bass", "k", "t")
    forage_supply.draw(cases, "us", "k")
    for (figure, _), wanted in zip(drawn, (pair, lengths, counts, hunger), strict=True):
        assert heights(figure) == pytest.approx([wanted] * count)
    for figure, _ in drawn[:2]:  # what the axes are is told below the lowest panel of each column
        assert [bool(axes.get_xlabel()) for axes in figure.axes] == [k >= count - 2 for k in range(count)]
    assert [bool(axes.get_ylabel()) for axes in drawn[0][0].axes] == [k % 2 == 0 for k in range(count)]


def test_a_year_stands_beside_its_mark_on_the_side_that_has_room(drawn):
    figures.psd_pair(shown(1), "balanced", "k")
    for text in (text for text in drawn[0][0].axes[0].texts if text.get_text() in ("2026", "2027")):
        assert text.get_ha() == ("left" if text.xyann[0] > 0 else "right")
        assert abs(text.xyann[0]) == (4.5 if text.get_text() == "2027" else 3)  # the last mark is larger
    (path,) = [line for line in drawn[0][0].axes[0].lines if line.get_color() == "#a89f80"]
    assert set(zip(*map(list, path.get_data()), strict=True)) == {(20, 40), (60, 40), (60, 70), (20, 70)}


@pytest.mark.parametrize(("short", "height"), [(3, None), (2, 0.8), (1, 0.5)])
def test_a_month_is_dark_where_half_of_the_futures_are_short_and_ochre_where_prey_is_tight_in_half(drawn, short, height):
    """In July, in four futures: a tenth of the need, twice the need, and ten times it."""
    prey = np.full((4, 12, 1), 50.0)
    prey[:, 3] = np.array({3: [50, 50, 50, 10], 2: [0.5, 0.5, 50, 50], 1: [0.5, 10, 50, 50]}[short])[:, None]
    forage_supply.draw(shown(1, 1, 4, edible_prey=prey, prey_need=5.0), "us", "k")
    (axes,) = drawn[0][0].axes
    spans = [path.get_extents() for bars in axes.collections for path in bars.get_paths()]
    dark = sorted(round(float(one.height), 6) for one in spans if 0.05 < one.width < 0.12)
    count = len(axes.get_yticks())
    assert dark == sorted([0.5] * count * (height is not None) + [0.8] * count * (height == 0.8))
    assert axes.get_xlim() == pytest.approx((2026 + 90 / 365, 2027 + 90 / 365), abs=0.01)


def test_runs_that_begin_a_year_apart_stand_on_one_axis_of_both(drawn):
    scenario = pond(members=2)
    made = dataset(scenario, readings(scenario, 1.0))
    month = made["month"].values
    later = made.assign_coords(month=(month.astype("datetime64[M]") + 12).astype(month.dtype))
    forage_supply.draw(gather([later, made], "us").cases, "us", "k")
    for axes in drawn[0][0].axes:
        assert axes.get_xlim() == pytest.approx((2026 + 90 / 365, 2028 + 91 / 366), abs=0.01)


def test_names_of_lines_that_end_alike_stand_one_above_the_other_and_clear_of_the_axis(drawn):
    """7.2 points from one to the next: of species, of chances of a big bass, and of strategies in a group."""
    cases = shown(2, bass_above=1.0, biomass=10.0)
    time_series.crop(cases, "k")
    time_series.big_fish(cases, "k")
    list(time_series.growth(cases, "us"))
    names = [set(SPECIES), {"5 lb", "8 lb", "10 lb"}, {"A", "B"}, {"A", "B"}]
    for (figure, _), some in zip(drawn, names, strict=True):
        for axes in figure.axes:
            low, high = axes.get_ylim()
            inches = axes.get_position().height * figure.get_figheight()
            places = sorted((text.xy[1] - low) / (high - low) * inches * 72 for text in axes.texts if text.get_text() in some)
            assert len(places) == len(some) and np.diff(places) == pytest.approx([7.2] * (len(some) - 1), rel=1e-3)


def test_letters_of_groups_that_are_gone_stand_clear_of_the_axis(drawn):
    """The lowest 0.4 of 7.2 points above it."""
    list(time_series.growth(shown(1, group_weight=np.arange(5.0, -1.0, -1.0)[:, None]), "us"))
    axes = drawn[0][0].axes[0]
    (place,) = [text.xy[1] for text in axes.texts if text.get_text() == "A"]
    inches = axes.get_position().height * drawn[0][0].get_figheight()
    assert place / axes.get_ylim()[1] * inches * 72 == pytest.approx(0.4 * 7.2)


def test_pictures_have_no_frame_and_words_are_drawn_as_they_are_written():
    with look():
        figure, (axes,) = drawing.stacked(1, 1.0)
        assert [axes.spines[side].get_visible() for side in ("top", "right", "left", "bottom")] == [False, False, True, True]
        drawing.heading(axes, "", "bass for $2 or $x_1$")
        assert "bass for $2 or $x_1$" in drawing.picture(figure, "k", "t", "c", "w").svg


@pytest.mark.parametrize(("chance", "lines"), [(0.0195, 0), (0.0205, 3)])
def test_a_chance_of_a_big_bass_is_drawn_from_one_in_fifty_on(drawn, chance, lines):
    cases = shown(1)
    time_series.big_fish(shown(1, bass_above=-np.log(1 - chance) / cases[0].projection.scenario.pond.area_ha), "k")
    (axes,) = drawn[0][0].axes
    assert list(axes.get_yticks()) == [0, 5, 10]
    assert len([line for line in axes.lines if line.get_marker() in ("o", "s", "^")]) == lines
    assert ("A above 5, 8 and 10 lb" in drawn[0][1][2]) == (lines == 0)


def test_bars_of_a_harvest_take_nine_tenths_of_their_share_of_four_fifths_of_a_year(drawn):
    time_series.harvest(shown(1, harvest_biomass=1.0), "k")
    (axes,) = drawn[0][0].axes
    assert [bar.get_width() for bar in axes.patches] == pytest.approx([0.9 * 0.8 / len(SPECIES)] * len(axes.patches))
    for bar in axes.patches:
        assert (bar.get_facecolor()[:3] == (1.0, 1.0, 1.0)) == bool(bar.get_hatch())


# --- tables


def test_crops_are_told_in_both_systems_and_what_has_one_unit_only_once():
    (table,) = [one for one in tables.outcomes(gather([dataset(pond(), flat())], "us"))]
    cells = {row[0]: row[1] for row in table.rows}
    assert cells["Bass, lb/acre"] == ("20", "22 kg/ha") and cells["Bluegill, lb/acre"] == ("80", "90 kg/ha")
    assert cells["Bass PSD, %"] == ("40", "") and cells["F/C"] == ("4", "")
    (metric,) = tables.outcomes(gather([dataset(pond(), flat())], "metric"))
    cells = {row[0]: row[1] for row in metric.rows}
    assert cells["Bass, kg/ha"] == ("22", "20 lb/acre") and not any(name.startswith("Shad") for name in cells)


def flat():
    """20 lb/acre of bass of PSD 40, 80 of bluegill."""
    read = readings(pond())
    for one in read.values():
        one["number"][..., 0, 9], one["number"][..., 0, 13] = 60.0, 40.0
        one["biomass"][..., 0, 9], one["biomass"][..., 1, 4] = 20.0 * LB_PER_ACRE, 80.0 * LB_PER_ACRE
    return read


def test_harvests_of_more_than_four_kinds_stand_in_tables_of_four():
    kinds = SPECIES[:5]
    rules = "".join(f'[[strategies.few.harvest]]\nname="{s}"\nspecies="{s}"\nlength_in=[1, 9]\nlb_per_acre=9\n' for s in kinds)
    scenario = pond(members=2, extra=rules)
    read = readings(scenario)
    for k in range(len(kinds)):
        read["few"]["harvest_biomass"][:, 2 + k, k] = read["few"]["harvest_number"][:, 2 + k, k] = 10.0
    first, second = calendar.harvest_tables(gather([dataset(scenario, read)], "us"))
    assert [len(first.header), len(second.header)] == [5, 2] and [row[0] for row in second.rows] == ["Oct 2026", "Together"]
    assert [row[1][0] if row[1] != "–" else "–" for row in first.rows] == ["8 fish", "–", "–", "–", "8 fish"]
    assert [row[2:5] for row in first.csv_rows][:1] == [["bass", "1-9 in (25.4-229 mm)", "2026-06"]] and len(first.csv_rows) == 5


def test_what_belongs_to_a_line_of_the_assumptions_stands_under_it():
    told = as_tree(["Pond: 2 acres", "  mean depth 5 ft", "Strategy few: <few>", "  no harvest", "  fed", "Goal: balance"])
    assert told == (
        "<ul><li>Pond: 2 acres<ul><li>mean depth 5 ft</li></ul></li>"
        "<li>Strategy few: &lt;few&gt;<ul><li>no harvest</li><li>fed</li></ul></li><li>Goal: balance</li></ul>"
    )
    scenario = pond(members=2)
    (projection,) = gather([dataset(scenario, readings(scenario))], "us").projections
    shown = page._assumptions(projection)
    assert "<li>In every strategy:<ul><li>fertility" in shown and "<li>  " not in shown


def test_a_year_is_told_by_the_last_survey_in_it():
    """Of three surveys in each of two years."""
    scenario = pond(members=2, years=2)
    (projection,) = gather([dataset(scenario, readings(scenario))], "us").projections
    latest = {}
    for day in sorted(scenario.run.survey_dates):
        latest[day.year] = day
    assert len(latest) == 2 and [year for year, _ in projection.yearly] == [*latest]
    assert [projection.survey_dates[i].astype(object) for _, i in projection.yearly] == [*latest.values()]
