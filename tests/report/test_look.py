"""One look of all pictures: few sizes of letters and of lines, ranges behind lines, labels inside the paper; and their words."""

import re
from contextlib import contextmanager
from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import Collection
from matplotlib.text import Text
from small import dataset, pond, readings

from pondpop import __version__
from pondpop.report import (
    calendar,
    comparisons,
    document,
    drawing,
    figures,
    forage_supply,
    oxygen_chart,
    posterior_charts,
    time_series,
)
from pondpop.report.answer import answer
from pondpop.report.drawing import look, spread_apart
from pondpop.report.figures import _labelled
from pondpop.report.strategies import gather

DRAWN = (time_series, figures, forage_supply, oxygen_chart, comparisons, posterior_charts)
HARVEST = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 9\n'
UPDATE = """about,quantity,unit,observed,prior_p10,prior_p50,prior_p90,posterior_p10,posterior_p50,posterior_p90,note
record,2026-06-15 electrofishing bass: mean Wr 8_12in,%,95,80,90,100,85,92,97,
pond,bass_psd,%,,20,40,60,30,40,50,
model,growth of bass,,,0.5,1,2,0.8,1,1.1,
record,2026-06-15 electrofishing bass: caught,fish,4,1,4,9,1,2,3,
"""


def invented(members=5, years=2, change=None, extra=HARVEST):
    """Two strategies of which every number is drawn by chance, but for what `change` says."""
    scenario = pond(members=members, years=years, extra=extra)
    rng, read = np.random.default_rng(4), readings(scenario)
    for one in read.values():
        for array in one.values():
            array[:] = rng.lognormal(1.0, 0.6, array.shape)
        one["bass_above"][:] = rng.uniform(0.0, 0.9, one["bass_above"].shape)
        one["oxygen_kill"][:, 3:6] = 0.3
    if change:
        change(read)
    return dataset(scenario, read)


@contextmanager
def keeping():
    """Figures and words by key, in place of their text."""
    made = {}
    with pytest.MonkeyPatch.context() as patch, look():
        for module in DRAWN:
            patch.setattr(module, "picture", lambda figure, key, *words: made.setdefault(key, (figure, words)))
        yield made


@pytest.fixture
def kept():
    with keeping() as made:
        yield made


@pytest.fixture(scope="module")
def drawn():
    """Every picture of an invented pond."""
    with keeping() as made:
        every_picture(invented(), made)
        for figure, _ in made.values():
            FigureCanvasAgg(figure).draw()  # numbers beside marks are made then
        return made


def every_picture(made, kept, units="us"):
    material = gather([made], units)
    list(figures.draw_all(material.cases, units, "balanced"))
    oxygen_chart.draw(material.cases, "oxygen")
    forage_supply.draw(material.cases, units, "hunger")
    (verdict,) = answer(material).verdicts
    comparisons.squares(verdict, "squares")
    list(posterior_charts.draw_all(UPDATE, units, "update"))
    figures.length_frequency({"2026": np.arange(20)}, "bass", "counts", "Bass")
    return kept


def texts(figure):
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def test_every_picture_has_its_headings_its_unit_and_its_axes(drawn):
    assert list(drawn)[:12] == [
        "bass-psd", "bluegill-psd", "bass-wr-8-12in", "forage-carnivore-ratio", "pair", "crop", "length-bass", "length-bluegill",
        "weight", "survivors", "big", "harvest",
    ]  # fmt: skip
    said = {key: [{text.get_text() for text in axes.texts} for axes in figure.axes] for key, (figure, _) in drawn.items()}
    units = {
        "bass-psd": "bass PSD, %", "crop": "lb/acre", "weight": "lb", "survivors": "per acre", "big": "chances in 10",
        "harvest": "lb/acre", "oxygen": "% a year", "counts": "fish",
    }  # fmt: skip
    for key, unit in units.items():
        assert unit in said[key][0], key
    for key in ("bass-psd", "pair", "crop", "length-bass", "big", "oxygen", "hunger"):
        assert "A: few" in said[key][0] and "B: many" in said[key][1], key
    below = {key: [axes.get_xlabel() for axes in figure.axes] for key, (figure, _) in drawn.items()}
    assert below["pair"] == ["bluegill PSD, %"] * 2 and below["length-bass"] == ["length, in"] * 2
    assert below["counts"] == ["total length, in"] and not any(below["crop"])
    assert [axes.get_ylabel() for axes in drawn["pair"][0].axes] == ["bass PSD, %", ""]
    marks = {key: (list(figure.axes[0].get_xticks()), list(figure.axes[0].get_yticks())) for key, (figure, _) in drawn.items()}
    assert marks["pair"] == ([0, 20, 40, 60, 80, 100], [0, 25, 50, 75, 100]) and marks["oxygen"][0] == list(range(1, 13))
    years = [[text for text in axes.texts if text.get_text() in ("2026", "2027")] for axes in drawn["pair"][0].axes]
    assert all(years) and {abs(text.xyann[0]) for some in years for text in some} <= {3, 4.5}
    top = max(bar.get_y() + bar.get_height() for axes in drawn["oxygen"][0].axes for bar in axes.patches)
    assert [axes.get_ylim()[1] for axes in drawn["oxygen"][0].axes] == pytest.approx([1.1 * top] * 2)


def test_letters_are_of_few_sizes(drawn):
    for key, (figure, _) in drawn.items():
        some = {6.5, 7.0, 7.5} | ({8.0} if key == "squares" else set()) | ({5.8} if key.startswith("update") else set())
        assert {text.get_fontsize() for text in texts(figure)} <= some, key
    assert {mpl.rcParamsDefault["font.size"]} == {10.0}  # the user's own settings stay as they are


@pytest.mark.parametrize("key", ["crop", "weight", "survivors", "harvest", "oxygen", "counts"])
def test_an_upright_axis_has_at_most_five_numbers(drawn, key):
    for axes in drawn[key][0].axes:
        assert len(axes.yaxis.get_major_locator().tick_values(0, 5)) <= 5


def test_lines_are_of_few_widths_and_what_is_shaded_has_no_outline(drawn):
    for key, (figure, _) in drawn.items():
        for axes in figure.axes:
            widths = {line.get_linewidth() for line in axes.lines if line.get_linestyle() != "None"}
            assert widths <= {0.5, 0.6, 0.7, 1.0, 1.4, 2.6, 6.0}, key
            marks = {line.get_markersize() for line in axes.lines if line.get_marker() not in ("None", "")}
            assert marks <= ({3.1, 3.4, 6.5} if key.startswith("update") else {2.5, 2.6, 5.5}), key
            for fill in (c for c in axes.collections if isinstance(c, Collection) and c.get_linewidth().size):
                assert set(fill.get_linewidth()) <= {0.0, 0.8}, key
            assert {patch.get_linewidth() for patch in axes.patches} <= {0.0, 0.4, 0.5, 0.6, 1.0}, key


def test_ranges_and_marks_of_categories_lie_behind_what_is_told(drawn):
    for key in ("bass-psd", "bluegill-psd", "bass-wr-8-12in", "forage-carnivore-ratio"):
        for axes in drawn[key][0].axes:
            back = [patch for patch in axes.patches if patch.get_zorder() == 0]
            assert len(back) == 1 and max(line.get_zorder() for line in axes.lines) > 1
            assert sum(line.get_zorder() == 0.5 for line in axes.lines) == 2  # the ends of the range, above its shade
    for axes in drawn["length-bass"][0].axes:
        marks = [line for line in axes.lines if line.get_zorder() == 0]
        assert [line.get_xdata()[0] for line in marks] == [12, 15, 20] and list(axes.get_xticks()) == [8, 12, 15, 20, 25]
        rows = [patch.get_zorder() for patch in axes.patches]
        assert rows == sorted(rows) and min(rows) > 1
        assert not axes.spines["left"].get_visible()
    for axes in drawn["length-bluegill"][0].axes:  # trophies, 12 in, stand too near
        assert list(axes.get_xticks()) == [3, 6, 8, 10]


def test_labels_stand_on_the_paper(drawn):
    for key, (figure, _) in drawn.items():
        paper = FigureCanvasAgg(figure).get_renderer()
        wide, high = figure.bbox.width, figure.bbox.height
        slack = 0.02 * figure.dpi  # letters of another font are a little wider or narrower
        for text in (text for axes in figure.axes for text in axes.texts):
            box = text.get_window_extent(paper)
            assert -slack <= box.x0 and box.x1 <= wide + slack, (key, text.get_text())
            assert -slack <= box.y0 and box.y1 <= high + slack, (key, text.get_text())


def test_names_beside_a_panel_stand_near_it_one_below_another(drawn):
    beside = {key: [text for axes in figure.axes for text in texts(axes) if getattr(text, "xyann", (0, 0))[0] and text.xy[0] == 1]
              for key, (figure, _) in drawn.items() if key in ("crop", "big", "harvest", "oxygen")}  # fmt: skip
    for key, some in beside.items():
        assert {text.xyann[0] for text in some} == {3}, key
    for key in ("weight", "survivors"):  # letters of the strategies, at the ends of their lines
        letters = [text for axes in drawn[key][0].axes for text in texts(axes) if text.get_text() in ("A", "B")]
        assert len(letters) >= 2 and {text.xyann for text in letters} == {(4, 0)}
    for key in ("harvest", "oxygen"):
        assert [text.xyann[1] for text in beside[key]] == [-6 - 9 * k for k in range(len(beside[key]))]


def test_years_stand_below_the_last_panel_only(drawn):
    for key in ("bass-psd", "crop", "big", "harvest", "weight"):
        *others, last = drawn[key][0].axes
        years = [{"2026", "2027"} <= {text.get_text() for text in axes.texts} for axes in (*others, last)]
        assert years == [False] * len(others) + [True], key


# --- words


def flat(read):
    """100 fish of bass in 8–12 and 12 in, PSD 40; bluegill PSD 25; 20 and 80 kg/ha."""
    for one in read.values():
        for array in one.values():
            array[:] = 0.0
        one["number"][..., 0, 9], one["number"][..., 0, 13] = 60.0, 40.0
        one["number"][..., 1, 4], one["number"][..., 1, 7] = 75.0, 25.0
        one["biomass"][..., 0, 9], one["biomass"][..., 1, 4] = 20.0, 80.0
        one["relative_weight"][..., 0, 8:20] = 95.0


def test_what_pictures_show_is_told_to_those_who_cannot_see_them(kept):
    every_picture(invented(change=flat), kept, "metric")
    words = {key: said for key, (_, said) in kept.items()}
    title, caption, told = words["bass-psd"]
    assert title == "Size of bass: PSD" and told.endswith("A: from 40 in 2026 to 40 in 2027; B: from 40 in 2026 to 40 in 2027.")
    assert caption == (
        "Shaded: 40–70 (balanced range, Willis, Murphy & Guy 1993, from memory). Line: median; band: 8 of 10 possible futures; "
        "thin grey: the other strategies."
    )
    assert "A: from 4 in 2026 to 4 in 2027" in words["forage-carnivore-ratio"][2]
    assert "hardly any bass are left" not in words["forage-carnivore-ratio"][1]
    path = "A: bass 40 and bluegill 25 in 2026, bass 40 and bluegill 25 in 2027; B: "
    assert path in words["pair"][2] and "both in the balanced range" in words["pair"][1]
    assert "A, at the last survey: bass 20 and bluegill 80; B" in words["crop"][2]
    assert words["crop"][1].startswith("Standing crop of each species, kg/ha") and words["crop"][1].endswith("possible futures.")
    assert words["length-bass"][2].endswith("A: PSD 40 in 2027; B: PSD 40 in 2027.")
    assert "of 8 in and longer" in words["length-bass"][1] and words["length-bass"][1].endswith("Right: such fish per ha.")
    assert "so without a line: A above 5, 8 and 10 lb; B above 5, 8 and 10 lb." in words["big"][1]
    assert "A, at the end: 5 lb less than 1 of 10, 8 lb less than 1 of 10 and 10 lb less than" in words["big"][2]
    assert "harvest" not in words and "oxygen" not in words


def test_an_index_that_no_survey_has_is_told_as_not_defined(kept):
    def change(read):
        flat(read)
        read["many"]["number"][..., 0, :] = 0.0

    cases = gather([invented(change=change)], "us").cases
    time_series.balance(cases, time_series.balance_indices("balanced")[0], "bass-psd")
    figures.psd_pair(cases, "balanced", "pair")
    said = [{text.get_text() for text in axes.texts} for axes in kept["bass-psd"][0].axes]
    assert ["not defined: no fish of stock length" in some for some in said] == [False, True]
    assert kept["bass-psd"][1][2].endswith("B: not defined.") and "B: not defined." in kept["pair"][1][2]


def test_of_one_future_no_bands_are_drawn_or_told(kept):
    cases = gather([invented(members=1, change=flat)], "us").cases
    time_series.balance(cases, time_series.balance_indices("balanced")[0], "bass-psd")
    time_series.crop(cases, "crop")
    for key in ("bass-psd", "crop"):
        figure, words = kept[key]
        assert "band" not in words[1] and not any(axes.collections for axes in figure.axes)


def test_alone_a_strategy_has_no_others_in_grey(kept):
    (case, _) = gather([invented()], "us").cases
    time_series.balance([case], time_series.balance_indices("balanced")[0], "alone")
    assert kept["alone"][1][1].endswith("Line: median; band: 8 of 10 possible futures.")


def test_more_than_can_be_drawn_on_a_scale_of_powers_is_told(kept):
    def change(read):
        flat(read)
        read["few"]["biomass"][..., 0, 9] = 0.03  # 80 over 0.03 kg/ha of bass

    cases = gather([invented(change=change)], "us").cases
    time_series.balance(cases, time_series.balance_indices("balanced")[3], "forage-carnivore-ratio")
    caption = kept["forage-carnivore-ratio"][1][1]
    assert caption.count("Above 2,000 hardly any bass are left: not drawn.") == 1


def test_harvest_is_told_with_its_most_and_with_who_takes_nothing(kept):
    def change(read):
        flat(read)
        read["few"]["harvest_biomass"][:, 3, 0], read["few"]["harvest_biomass"][:, 4, 1] = 7.0, 5.0  # July and August

    made = invented(change=change)
    time_series.harvest(gather([made], "metric").cases, "harvest")
    figure, (_, caption, told) = kept["harvest"]
    assert len(figure.axes) == 1 and caption.endswith("median; thin line: 8 of 10 possible futures. Nothing under B.")
    assert told == "Weight harvested by year in kg/ha. A: up to 12 a year."
    assert {text.get_text() for text in figure.axes[0].texts} >= {"bass", "bluegill"}


def test_a_group_of_which_none_live_is_told_as_none(kept):
    def change(read):
        for one in read.values():
            one["group_weight"][:] = np.nan

    list(time_series.growth(gather([invented(change=change)], "us").cases, "us"))
    assert all("none alive at a survey" in {text.get_text() for text in axes.texts} for axes in kept["weight"][0].axes)
    assert kept["weight"][1][1].startswith("Bass that were stocked or lived there at the start, lb (1 lb = 454 g).")


def test_kills_are_told_with_their_months(drawn):
    _, caption, told = drawn["oxygen"][1]
    assert "A: " in told and "% a year, most in " in told and "Hardly any" not in caption
    figure = drawn["oxygen"][0]
    assert [axes.get_xlim() for axes in figure.axes] == [(0.4, 12.6)] * 2
    labels = [[text.get_text() for text in axes.get_xticklabels()] for axes in figure.axes]
    assert labels == [[""] * 12, list("JFMAMJJASOND")]
    solid = [patch for patch in figure.axes[0].patches if not patch.get_hatch()]
    assert solid and all(patch.get_facecolor()[:3] != (1.0, 1.0, 1.0) for patch in solid)
    assert all(patch.get_facecolor()[:3] == (1.0, 1.0, 1.0) for patch in figure.axes[0].patches if patch.get_hatch())


# --- places


@pytest.mark.parametrize(
    ("points", "sides"),
    [
        ([(50, 50)], {0: 1}), ([(80, 50)], {0: -1}), ([(20, 50)], {0: 1}), ([(76, 50)], {0: 1}), ([(76.5, 50)], {0: -1}),
        ([(50, 50), (62, 50)], {1: 1, 0: -1}), ([(50, 50), (62, 60)], {1: 1, 0: -1}), ([(50, 50), (62, 62)], {1: 1, 0: 1}),
        ([(50, 50), (50, 50.5)], {1: 1}),
        ([(10, 50), (70, 50)], {1: 1, 0: 1}), ([(28, 50), (44, 50)], {1: 1, 0: -1}),
    ],
)  # fmt: skip
def test_a_year_is_labelled_where_it_meets_no_mark_and_no_other_label(points, sides):
    x, y = np.array(points, float).T
    found = dict(_labelled(x, y, np.arange(len(points))))
    assert found.get(len(points) - 1) == sides[len(points) - 1]
    for place, side in found.items():
        middle = x[place] + 16 * side
        assert 12 <= middle <= 92
        for other in set(range(len(points))) - {place}:
            assert abs(x[other] - middle) > 12 or abs(y[other] - y[place]) > 5.5
            if other in found:
                assert abs(x[other] + 16 * found[other] - middle) > 24 or abs(y[other] - y[place]) > 11
    assert {k: v for k, v in found.items() if k in sides} == sides


def test_counts_of_a_survey_stand_in_their_inch_with_the_categories(kept):
    fish = np.zeros(32)
    fish[[8, 12]] = 4.0, 10.0
    figures.length_frequency({"April": fish, "May": np.zeros(32)}, "bass", "counts", "Bass of 2026")
    figure, (title, caption, told) = kept["counts"]
    first, second = figure.axes
    bars = {round(bar.get_x() + bar.get_width() / 2, 9): bar.get_height() for bar in first.patches if bar.get_height()}
    assert bars == {8.5: 4.0, 12.5: 10.0}
    assert all(bar.get_width() == pytest.approx(0.92) for bar in first.patches)
    assert first.get_xlim() == second.get_xlim() == (0.0, 16.0)  # to behind the preferred length
    assert first.get_ylim() == (0.0, pytest.approx(11.0)) and second.get_ylim() == (0.0, 1.0)
    assert [line.get_xdata()[0] for line in first.lines] == [8, 12, 15]
    assert told == "Bass of 2026. April: 14 fish, most of 12–13 in; May: 0 fish."
    assert (title, caption.endswith("Dashed: length categories 8, 12, 15, 20, 25 in.")) == ("Bass of 2026", True)
    assert second.get_yticks().tolist() == [0, 1] and first.get_yticks().tolist() == [0, 5, 10, 15]
    figures.length_frequency({"April": np.zeros(32)}, "shad", "empty", "Shad")
    assert kept["empty"][0].axes[0].get_xlim() == (0.0, 7.0)
    figures.length_frequency({"April": fish}, "shad", "others", "Shad")
    figures.length_frequency({}, "bass", "nothing", "None")
    assert kept["others"][0].axes[0].get_xlim() == (0.0, 13.0) and not kept["others"][0].axes[0].lines
    assert "no fish measured" in {text.get_text() for text in kept["nothing"][0].axes[0].texts}
    heights = [kept[key][0].axes[0].get_position().height * kept[key][0].get_figheight() for key in ("others", "counts")]
    assert heights == pytest.approx([1.1, 0.9])


def test_rows_of_an_update_stand_below_one_another_with_their_scales(kept):
    list(posterior_charts.draw_all(UPDATE, "us", "u"))
    assert {key: words[0] for key, (_, words) in kept.items()} == {
        "u-doubts": "What the records narrowed", "u-pond": "The pond at the last record: PSD and Wr",
        "u-mean-wr": "Mean relative weight: fitted against observed", "u-caught": "Fish caught: fitted against observed",
    }  # fmt: skip
    scales = {key: figure.axes[0].get_xscale() for key, (figure, _) in kept.items()}
    assert scales == {"u-doubts": "log", "u-pond": "linear", "u-mean-wr": "linear", "u-caught": "symlog"}
    for figure, _ in kept.values():
        assert figure.axes[0].get_ylim() == (pytest.approx(0.6), -0.6)
        assert figure.axes[0].yaxis.get_tick_params()["length"] == 0  # rows, not a scale
    assert "bass psd 40 before, 40 after." in kept["u-pond"][1][2]
    assert kept["u-mean-wr"][1][2].endswith("electrofished bass 8–12in 90 before, 92 after, 95 observed.")
    doubts = kept["u-doubts"][0].axes[0]
    assert [line.get_xdata()[0] for line in doubts.lines if line.get_zorder() == 0] == [1.0]
    assert doubts.get_xlabel() == "times that of ponds in general" and kept["u-pond"][0].axes[0].get_xlabel() == "%"
    widths = {line.get_linewidth() for line in doubts.lines if len(line.get_xdata()) == 2 and line.get_zorder()}
    assert widths == {6.0, 2.6}  # the band after lies within that before
    assert {label.get_fontsize() for label in doubts.get_yticklabels()} == {5.8}  # so that 44 letters find room
    assert set(doubts.get_xticks()) <= {0.1, 0.2, 0.5, 1, 2, 5, 10} and 1 in doubts.get_xticks()


def test_labels_that_need_no_room_stay():
    assert spread_apart([1.0, 2.0], 1.0) == [1.0, 2.0] and spread_apart([], 1.0) == []
    assert spread_apart([5.0, 5.0], 1.0) == pytest.approx([4.5, 5.5])


def test_dashes_are_told_twice_as_long():
    assert drawing.dashes_for_html((0, (1.2, 1.2))) == ' stroke-dasharray="2.4 2.4"'


def test_a_page_begins_with_what_a_browser_needs_to_know_first():
    cover = document.Cover("A <pond>", ["An invented one."], document.NOBODY)
    head = document.document(cover, document.Section("answer", "Answer", "<p>None.</p>"), "", [], []).partition("<style>")[0]
    assert head == (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>A &lt;pond&gt;</title>\n'
        f'{document.PAGE_MARK} {__version__}">\n<meta name="viewport" content="width=device-width, initial-scale=1">\n'
    )


def test_a_page_is_read_from_its_title_over_answer_notes_and_contents_to_cautions_words_and_sections():
    whom = document.For(client="Client", consultant="Consultant")
    cover = document.Cover("Title", ["First line", "Second line"], whom, ["A note"])
    parts = [document.Section("one", "Part one", "<p>One</p>"), document.Section("none", "Part none", "")]
    page = document.document(cover, document.Section("answer", "Answer", "<p>Rest</p>"), "<p>Lead</p>", parts, [("Law", "Ask")])
    body = re.sub(r"<dl>.*</dl>", "", page.partition("</head>")[2])
    assert [text.strip() for text in re.split(r"<[^>]*>", body) if text.strip()] == [
        "Skip to the answer", "Title", "First line", "Second line", "For Client. Prepared by Consultant",
        "Answer", "Lead", "A note", "Contents", "Part one", "Rest", "Cautions", "Law.", "Ask", "Words used", "Part one", "One",
    ]  # fmt: skip
    places = [body.index(words) for words in ("<header>", "Title", "Consultant", "</header><main>", "Lead", "One</p>", "</main>")]
    assert places == sorted(places)


# --- tables


def test_harvest_by_month_is_in_whole_fish_and_pounds_of_the_pond():
    def change(read):
        flat(read)
        read["few"]["harvest_number"][:, 3:5, 0], read["few"]["harvest_biomass"][:, 3:5, 0] = 10.0, 5.0

    made = invented(change=change)
    (table,) = calendar.harvest_tables(gather([made], "us"))
    area = 2 * 0.40468564224
    pounds = 5.0 * area / 0.45359237
    assert table.rows[0][0] == "Jul 2026" and table.rows[0][1] == ("8 fish", f"{pounds:.1f} lb")
    assert table.rows[-1][0] == "Together" and table.rows[-1][1][0] == "16 fish"
    assert table.rows[-1][1][1].endswith(f"{2 * pounds:.0f} lb")
    assert [row[4] for row in table.csv_rows] == ["2026-07", "2026-08"] and table.csv_rows[0][9] == pytest.approx(pounds)
    metric = calendar.harvest_tables(gather([made], "metric"))[0]
    assert metric.csv_rows[0][9] == pytest.approx(5.0 * area) and metric.rows[-1][1][1].endswith("8.1 kg")


def test_only_of_a_harvest_it_is_said_that_fish_by_month_stand_below():
    tables = calendar.calendar(gather([invented()], "us"))
    rows = [row for table in tables for row in table.rows]
    assert any("Harvest bass" in str(row[-1]) for row in rows)
    for row in rows:
        assert ("Whole fish by month: below." in str(row[-1])) == ("Harvest bass" in str(row[-1]))


def test_the_title_of_the_pond_stands_beside_goals_where_there_are_several():
    one = invented()
    alone = comparisons.goal_tables(answer(gather([one], "us")).verdicts)
    two = comparisons.goal_tables(answer(gather([one, one], "us")).verdicts)
    assert alone[0].caption == "The goals: the middle (median) and the range of 8 of 10 futures"
    assert two[0].caption == alone[0].caption + " (small pond)"


WITH_TITLES = (
    lambda cases: time_series.crop(cases, "k"), lambda cases: figures.psd_pair(cases, "balanced", "k"),
    lambda cases: figures.lengths(cases, "bass", "k"), lambda cases: forage_supply.draw(cases, "us", "k"),
    lambda cases: oxygen_chart.draw(cases, "k"),
)  # fmt: skip


@pytest.mark.parametrize("draw", WITH_TITLES)
def test_a_title_stands_above_a_panel_if_it_has_room_beside_the_unit(kept, draw):
    made = invented(extra="")
    shown = set()
    for length in (10, 15, 20, 25, 30, 40, 60):
        (one,) = gather([made], "us").projections
        titles = {name: told._replace(title="w" * length) for name, told in one.scenario.strategies.items()}
        titled = replace(one, scenario=one.scenario._replace(strategies=titles))
        draw([replace(case, projection=titled) for case in gather([made], "us").cases])
        figure, _ = kept.pop("k")
        for letter, axes in zip("AB", figure.axes, strict=True):
            (bold,) = (text for text in axes.texts if text.get_fontweight() == "bold")
            left, right = axes.get_window_extent().intervalx
            units = [text for text in axes.texts if text.get_ha() == "right" and text.xy == (1, 1)]
            panels = [other for other in figure.axes if other.get_window_extent().x0 > right]
            ends = min([other.get_window_extent().x0 for other in (*units, *panels)], default=100 * drawing.WIDTH_IN)
            assert left <= bold.get_window_extent().x0 + 1 and bold.get_window_extent().x1 <= ends
            shown.add((bold.get_text() == f"{letter}: {'w' * length}", bold.get_text() == letter))
    assert shown == {(True, False), (False, True)}  # whole or the letter alone, and each somewhere


@pytest.mark.parametrize(
    ("count", "of_time", "pair", "hunger"),
    [(1, 1.3, 2.2, 1.3), (2, 0.93, 1.5, 1.08), (3, 2.3 / 3 - 0.22, 1.0, 2.6 / 3 - 0.22), (4, 0.44, 1.0, 0.62)],
)
def test_panels_are_as_high_as_three_pictures_on_a_page_allow(kept, count, of_time, pair, hunger):
    cases = [*gather([invented()], "us").cases] * 2
    time_series.crop(cases[:count], "crop")
    figures.psd_pair(cases[:count], "balanced", "pair")
    forage_supply.draw(cases[:count], "us", "hunger")
    figures.length_frequency({str(k): np.arange(20) for k in range(count)}, "bass", "counts", "Bass")
    high = {key: figure.axes[0].get_position().height * figure.get_figheight() for key, (figure, _) in kept.items()}
    counts = {1: 1.1, 2: 0.9}.get(count, 0.56)
    assert high == pytest.approx({"crop": of_time, "pair": pair, "hunger": hunger, "counts": counts})


def test_the_unit_across_stands_below_the_last_panel_of_each_column(kept):
    cases = ([*gather([invented(members=1)], "us").cases] * 2)[:3]
    figures.psd_pair(cases, "balanced", "pair")
    figures.lengths(cases, "bass", "lengths")
    for key, unit in (("pair", "bluegill PSD, %"), ("lengths", "length, in")):
        assert [axes.get_xlabel() for axes in kept[key][0].axes] == ["", unit, unit]


def test_of_what_records_narrowed_the_fourteen_that_narrowed_most_are_drawn(kept):
    more = "".join(f"model,m{k},,,0.5,1,2,{1 - 0.02 * k},1,{1 + 0.02 * k},\n" for k in (9, *range(1, 9), *range(10, 16)))
    list(posterior_charts.draw_all(UPDATE.partition("\n")[0] + "\n" + more, "us", "u"))
    rows = [text.get_text() for text in kept["u-doubts"][0].axes[0].get_yticklabels()]
    assert rows == [f"m{k}" for k in range(1, 15)]


@pytest.mark.parametrize("letters", [44, 45])
def test_names_of_what_records_narrowed_have_up_to_44_letters(kept, letters):
    name = "growth of " + "b" * (letters - len("growth of "))
    list(posterior_charts.draw_all(UPDATE.replace("growth of bass", name), "us", "u"))
    (label,) = [text.get_text() for text in kept["u-doubts"][0].axes[0].get_yticklabels()]
    assert label == (name if letters == 44 else name[:43] + "…")


def test_each_row_of_what_records_narrowed_has_room_for_its_name(kept):
    high = []
    for count in (1, 3, 14):
        rows = [f"model,growth {k},,,0.5,1,2,{1 - 0.02 * k:g},1,{1 + 0.02 * k:g}," for k in range(1, 1 + count)]
        list(posterior_charts.draw_all("\n".join([UPDATE.splitlines()[0], *rows]) + "\n", "us", "u"))
        figure = kept.pop("u-doubts")[0]
        high.append(figure.axes[0].get_position().height * figure.get_figheight() * drawing.POINTS_PER_IN)
    row = (high[2] - high[0]) / 13
    assert 1.5 * 5.8 < row == pytest.approx((high[1] - high[0]) / 2)  # letters of 5.8 points
