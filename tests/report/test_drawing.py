"""What the pictures draw: panels that stand apart and within the figure, lines and bars that are the numbers of the tables."""

import datetime as dt
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.report import drawing, figures, forage_supply, oxygen_chart, time_series
from pondpop.report.drawing import WIDTH_IN, grid, heading, look, spread_apart, stacked, year_axis
from pondpop.report.forage_supply import Hunger, class_words
from pondpop.report.strategies import _letter, decimal_years, gather
from pondpop.report.tables import chunks
from pondpop.species import SPECIES
from pondpop.units import in_ten

# --- panels


def boxes(figure):
    """Left, bottom, width and height of each panel, in inches."""
    wide, high = figure.get_size_inches()
    return [tuple(np.array(axes.get_position().bounds) * (wide, high, wide, high)) for axes in figure.axes]


@pytest.mark.parametrize("count", [1, 2, 5])
def test_stacked_panels_have_the_room_that_was_asked_for(count):
    figure, panels = stacked(count, 0.9, gap_in=0.3, left_in=0.5, right_in=0.2, bottom_in=0.4, top_in=0.25)
    assert list(figure.axes) == panels and figure.get_size_inches()[0] == WIDTH_IN
    found = boxes(figure)
    np.testing.assert_allclose(found, [(0.5, found[k][1], WIDTH_IN - 0.7, 0.9) for k in range(count)])
    bottoms = [bottom for _, bottom, _, _ in found]
    np.testing.assert_allclose(bottoms, [0.4 + (count - 1 - k) * 1.2 for k in range(count)])
    assert figure.get_size_inches()[1] - bottoms[0] - 0.9 == pytest.approx(0.25)


@pytest.mark.parametrize("high", [0.7, 1.6])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_panels_of_a_grid_stand_two_in_a_row(count, high):
    figure, _ = grid(count, high, gap_in=0.3, left_in=0.4, right_in=0.1, bottom_in=0.5, top_in=0.2, between_in=0.25)
    found = boxes(figure)
    wide = WIDTH_IN - 0.5 if count == 1 else (WIDTH_IN - 0.75) / 2
    rows = (count + 1) // 2
    wanted = [(0.4 + (k % 2) * (wide + 0.25), 0.5 + (rows - 1 - k // 2) * (high + 0.3), wide, high) for k in range(count)]
    np.testing.assert_allclose(found, wanted)
    assert figure.get_size_inches()[1] - found[0][1] - high == pytest.approx(0.2)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_three_pictures_of_a_few_panels_fit_on_a_page(count):
    assert time_series.panel_height(count) <= 1.3 and count * (time_series.panel_height(count) + 0.22) <= 2.3 + 1e-9
    assert time_series.panel_height(count) == 1.3 or count * (time_series.panel_height(count) + 0.22) == pytest.approx(2.3)
    assert time_series.panel_height(30) == 0.44


@pytest.mark.parametrize("positions", [[5.0], [1.0, 9.0], [3.0, 3.0], [4.0, 3.9, 4.1, 4.05], [0.0, 8.0, 0.5]])
def test_labels_are_moved_apart_about_their_places(positions):
    placed = np.array(spread_apart(positions, 1.0))
    assert placed.mean() == pytest.approx(np.mean(positions))
    order = np.argsort(positions, kind="stable")
    assert (np.diff(placed[order]) >= 1.0 - 1e-6).all()
    for one, two in ((one, two) for one in order for two in order if positions[one] < positions[two]):
        assert placed[one] < placed[two]
    if np.diff(np.array(positions)[order]).min(initial=1.0) >= 1.0:
        assert placed.tolist() == positions


@pytest.mark.parametrize(
    ("top", "whole", "ticks"), [(24.2, False, [0, 10, 20]), (1.1, False, [0, 0.5, 1]), (1.1, True, [0, 1])]
)
def test_a_low_panel_has_at_most_four_steps(top, whole, ticks):
    _, (axes,) = stacked(1, 1.0)
    axes.set_ylim(0.0, top)
    drawing.few_ticks(axes, whole)
    assert [tick for tick in axes.get_yticks() if tick <= top] == pytest.approx(ticks)


@pytest.mark.parametrize("clear", [0.0, 0.4])
def test_words_beside_curves_need_a_line_each_and_stand_clear_of_the_lower_edge(clear):
    figure, (axes,) = stacked(1, 1.0, left_in=0.5, right_in=0.5)
    axes.set_ylim(-2.0, 98.0)
    line = 7.2 / 72 * 100.0  # of letters of 7 points, in a panel of an inch
    low, next_, high = drawing.places_beside(figure, axes, [-2.0, -2.0, 60.0], clear)
    assert low == pytest.approx(-2.0 + clear * line) and next_ - low == pytest.approx(line)
    assert high - 60.0 == pytest.approx(low - (-2.0 - line / 2))  # all are lifted alike
    assert drawing.places_beside(figure, axes, [40.0, 80.0], clear) == [40.0, 80.0]
    assert drawing.places_beside(figure, axes, []) == []


def test_heading_and_unit_stand_above_the_ends_of_a_panel():
    with look():
        _, (axes,) = stacked(1, 1.0)
        heading(axes, "A", "few", "lb")
        assert axes.set_xlabel("year").get_fontsize() == 7.5
    found = [(words.get_text(), words.xy, words.xyann, words.get_ha(), words.get_fontsize()) for words in axes.texts]
    assert found == [("lb", (1, 1), (0, 3), "right", 6.5), ("A: few", (0, 1), (0, 3), "left", 7.5)]


def test_words_beside_a_panel_stand_where_they_say_in_their_colour():
    _, (axes,) = stacked(1, 1.0)
    drawing.name_beside(axes, "shad", 5.0, "#123456")
    drawing.colour_key(axes, {"bass": "#111111", "bluegill": "#222222"})
    found = [(words.get_text(), words.xy, words.xyann, words.get_color(), words.get_fontsize()) for words in axes.texts]
    assert found == [
        ("shad", (1, 5.0), (3, 0), "#123456", 7.0), ("bass", (1, 1), (3, -6), "#111111", 7.0),
        ("bluegill", (1, 1), (3, -15), "#222222", 7.0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("first", "last", "ticks", "labels"),
    [
        (2026.25, 2029.25, [2027, 2028, 2029], {"2026": 2026.625, "2027": 2027.5, "2028": 2028.5}),
        (2026.0, 2028.0, [2027], {"2026": 2026.5, "2027": 2027.5}),
        (2026.65, 2028.35, [2027, 2028], {"2027": 2027.5}),
        (2026.0, 2036.0, list(range(2027, 2036)), {str(y): y + 0.5 for y in range(2026, 2036)}),
        (2026.0, 2037.0, list(range(2027, 2037)), {str(y): y + 0.5 for y in range(2026, 2037, 2)}),
    ],
)
def test_years_stand_in_the_middle_of_their_part_of_the_axis(first, last, ticks, labels):
    _, (axes,) = stacked(1, 1.0)
    year_axis(axes, first, last, labels=True)
    assert axes.get_xlim() == (first, last) and list(axes.lines[0].get_xdata()) == ticks
    assert {text.get_text(): text.xy[0] for text in axes.texts} == pytest.approx(labels)
    assert {(text.xyann, text.get_fontsize()) for text in axes.texts} == {((0, -4), 7.0)} and not axes.get_xticks().size
    _, (bare,) = stacked(1, 1.0)
    year_axis(bare, first, last, labels=False)
    assert not bare.texts and list(bare.lines[0].get_xdata()) == ticks


@pytest.mark.parametrize("unit", ["", "lb/acre"])
@pytest.mark.parametrize("glyph", ["i", "w", "W"])
def test_a_title_that_has_no_room_leaves_the_letter(glyph, unit):
    with look():
        figure, (axes,) = stacked(1, 1.0)
        figure.set_dpi(720)  # so that letters are about as wide as they are meant
        for length in range(100):
            heading(axes, "A", glyph * length, unit)
        titles, units = ([text for text in axes.texts if text.get_ha() == side] for side in ("left", "right"))
        whole = [text.get_text() == f"A: {glyph * length}" for length, text in enumerate(titles)]
        fits = sum(whole)
        assert whole == [k < fits for k in range(100)] and {text.get_text() for text in titles[fits:]} == {"A"}
        room = units[0].get_window_extent().x0 if unit else 720 * WIDTH_IN
        left = room - titles[fits - 1].get_window_extent().x1
        next_one = titles[2].get_window_extent().width - titles[1].get_window_extent().width
        assert -30 <= left - 37.5 <= next_one + 30  # half a letter is left clear; ten dots a point, three for rounded widths


@pytest.mark.parametrize("glyph", ["i", "W"])
def test_a_title_without_letter_is_broken_into_lines_that_have_room(glyph):
    with look():
        _, (axes,) = stacked(1, 1.0)
        heading(axes, "", f"{glyph * 4} " * 30)
        (text,) = axes.texts
        assert " ".join(text.get_text().split()) == " ".join([glyph * 4] * 30) and "\n" in text.get_text()
        room = 100 * WIDTH_IN - axes.get_window_extent().x0
        assert 0.75 * room < text.get_window_extent().width <= room


# --- what is drawn


@pytest.fixture(scope="module")
def cases():
    """Two strategies of an invented pond over two years, every number of it drawn by chance."""
    harvest = '[[strategies.{}.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 9\n'
    scenario = pond(members=7, years=2, extra=harvest.format("few") + harvest.format("many"))
    rng = np.random.default_rng(4)
    read = readings(scenario)
    for one in read.values():
        for array in one.values():
            array[:] = rng.lognormal(1.0, 0.6, array.shape)
        one["bass_above"][:] = rng.uniform(0.0, 0.9, one["bass_above"].shape)
    return gather([dataset(scenario, read)], "us").cases


@pytest.fixture
def kept(monkeypatch):
    """The figures that are drawn, in place of their text."""
    figures_ = []
    for module in (time_series, figures, forage_supply, oxygen_chart):
        monkeypatch.setattr(module, "picture", lambda figure, *words: figures_.append((figure, words)))
    with look():
        yield figures_


def lines(axes, case):
    """The lines over the surveys that a panel has."""
    return [np.asarray(line.get_ydata()) for line in axes.lines if np.array_equal(line.get_xdata(), case.projection.survey_years)]


def has(found, wanted):
    return any(one.shape == np.shape(wanted) and np.allclose(one, wanted, rtol=1e-12) for one in found)


def shaded(axes):
    """Least and largest value of each shaded band at each survey."""
    found = []
    for band in axes.collections:
        vertices = band.get_paths()[0].vertices
        x = np.unique(vertices[:, 0])
        heights = [vertices[vertices[:, 0] == one, 1] for one in x]
        found.append(np.array([(some.min(), some.max()) for some in heights]))
    return found


def test_an_index_over_time_is_the_band_of_the_tables(cases, kept):
    for index in time_series.balance_indices("balanced"):
        time_series.balance(cases, index, "k")
        figure, _ = kept[-1]
        for axes, case in zip(figure.axes, cases, strict=True):
            band = case.band(index.name)
            assert all(has(lines(axes, case), one.band(index.name)[:, 1]) for one in cases)
            assert has(shaded(axes), band[:, [0, 2]])
            low, high = axes.get_ylim()
            assert low <= np.nanmin(band) and np.nanmax(band) <= high and low <= min(index.wanted) and high >= max(index.wanted)
            assert all(low <= tick <= high for tick in axes.get_yticks())


@pytest.mark.parametrize(
    ("count", "least", "most", "limits", "ticks"),
    [
        (1, 80.0, 100.0, (70.0, 115.0), [70, 80, 90, 100, 110]),
        (3, 80.0, 100.0, (70.0, 115.0), [80, 100]),  # three panels are low
        (2, 62.7, 100.0, (60.7, 115.0), [70, 80, 90, 100, 110]),
        (2, 57.1, 100.0, (55.1, 115.0), [60, 70, 80, 90, 100, 110]),  # 59.9 points
        (2, 57.0, 100.0, (55.0, 115.0), [60, 80, 100]),
        (2, 80.0, 118.0, (70.0, 120.0), [70, 80, 90, 100, 110, 120]),
    ],
)
def test_a_scale_of_condition_is_wide_enough_and_has_round_ticks_within_it(count, least, most, limits, ticks):
    (index,) = (one for one in time_series.balance_indices("balanced") if one.name == "bass_wr_8_12in")
    band = SimpleNamespace(band=lambda name: np.array([[least, np.nan, most]]))
    low, high, at = time_series._scale([band] * count, index)
    assert (low, high) == pytest.approx(limits) and at == ticks


def test_standing_crop_is_that_of_the_tables(cases, kept):
    time_series.crop(cases, "k")
    figure, words = kept[-1]
    for axes, case in zip(figure.axes, cases, strict=True):
        bands = {species: case.band(f"{species}_standing_crop") for species in SPECIES}
        for species, band in bands.items():
            assert has(lines(axes, case), band[:, 1]) and has(shaded(axes), band[:, [0, 2]]), species
            (label,) = [text for text in axes.texts if text.get_text() == species]
            assert abs(label.xy[1] - band[-1, 1]) < 0.5 * axes.get_ylim()[1]
        assert axes.get_ylim()[0] == 0.0
    most = max(case.band(f"{species}_standing_crop")[:, 2].max() for case in cases for species in SPECIES)
    assert figure.axes[0].get_ylim()[1] == pytest.approx(1.05 * most)
    assert "A, at the last survey: bass" in words[-1]


def test_lines_below_a_fiftieth_of_the_scale_are_named_in_place_of_drawn(kept):
    for shad, drawn in ((2.2, True), (2.0, False)):
        scenario = pond(members=2, extra="[[stocking]]\nname='s'\nspecies='shad'\ndate=2026-05-01\nper_acre=9\nlength_in=3\n")
        read = readings(scenario)
        for one in read.values():
            one["biomass"][..., 0, 9], one["biomass"][..., SPECIES.index("shad"), 3] = 100.0, shad
        time_series.crop(gather([dataset(scenario, read)], "us").cases, "k")
        figure, words = kept[-1]
        labels = [text.get_text() for text in figure.axes[0].texts]
        assert (("shad" in labels), ("and shad at any survey" in words[2])) == (drawn, not drawn)


def test_stocked_groups_are_followed_in_weight_and_number(cases, kept):
    list(figure for figure in time_series.growth(cases, "us"))
    for (figure, _), measure in zip(kept, ("weight", "survivors"), strict=True):
        groups = ["old_bass", "young_bass"]
        for axes, group in zip(figure.axes, groups, strict=True):
            for case in cases:
                band = case.band(f"group_{measure}:{group}")
                assert has(lines(axes, case), band[:, 1]) and has(shaded(axes), band[:, [0, 2]])
            assert axes.get_ylim()[0] == 0.0 and {text.get_text() for text in axes.texts} >= {"A", "B", group.replace("_", " ")}


def test_chances_of_a_big_bass_are_means_over_members_in_tenths(cases, kept):
    time_series.big_fish(cases, "k")
    figure, words = kept[-1]
    for axes, case in zip(figure.axes, cases, strict=True):
        expected = case.of("bass_above") * case.projection.scenario.pond.area_ha
        chance = 10.0 * (1.0 - np.exp(-expected)).mean(axis=0)
        assert all(has(lines(axes, case), chance[:, k]) for k in range(3))
        assert {"5 lb", "8 lb", "10 lb"} <= {text.get_text() for text in axes.texts}
        assert axes.get_ylim()[0] < 0.0 < 10.0 < axes.get_ylim()[1]
    chance = 1.0 - np.exp(-cases[0].of("bass_above")[:, -1, 0] * cases[0].projection.scenario.pond.area_ha)
    assert f"A, at the end: 5 lb {in_ten(float(chance.mean()))}" in words[-1]


def test_harvest_stands_in_bars_within_its_year(cases, kept):
    time_series.harvest(cases, "k")
    figure, _ = kept[-1]
    for axes, case in zip(figure.axes, cases, strict=True):
        years = [year for year, _ in case.projection.yearly]
        at = [i for _, i in case.projection.yearly]
        bars = [(bar.get_x(), bar.get_x() + bar.get_width(), bar.get_height()) for bar in axes.patches]
        heights = [case.band(f"{species}_harvest_biomass_12_months")[i, 1] for species in SPECIES for i in at]
        np.testing.assert_allclose(sorted(height for *_, height in bars), sorted(heights))
        assert len(bars) == len(SPECIES) * len(years)
        for year in years:
            own = sorted(bar for bar in bars if year <= bar[0] and bar[1] <= year + 1)
            assert len(own) == len(SPECIES) and all(a[1] <= b[0] + 1e-6 for a, b in pairwise(own))
            assert own[0][0] - year == pytest.approx(year + 1 - own[-1][1], abs=1e-6)  # in the middle of the year
        ends = sorted(segment[:, 1].tolist() for lines_ in axes.collections for segment in lines_.get_segments())
        bands = [case.band(f"{species}_harvest_biomass_12_months")[i, [0, 2]].tolist() for species in SPECIES for i in at]
        np.testing.assert_allclose(ends, sorted(bands))
    heights = [text.xyann[1] for text in figure.axes[0].texts if text.get_text() in SPECIES]
    assert len(heights) == len(SPECIES) and all(a - b > 7 for a, b in pairwise(heights))  # below one another, in points
    tallest = max(case.band(f"{species}_harvest_biomass_12_months")[:, 2].max() for case in cases for species in SPECIES)
    assert figure.axes[0].get_ylim() == (0.0, pytest.approx(1.1 * tallest))


def test_a_panel_alone_has_few_marks_as_well(cases, kept):
    time_series.crop(cases[:1], "k")
    (axes,) = kept[-1][0].axes
    assert 3 <= len(axes.get_yticks()) <= 5


def test_the_path_of_both_psds_runs_through_the_last_surveys(cases, kept):
    figures.psd_pair(cases, "balanced", "k")
    figure, _ = kept[-1]
    for axes, case in zip(figure.axes, cases, strict=True):
        x, y = ([case.band(f"{species}_psd")[i, 1] for _, i in case.projection.yearly] for species in ("bluegill", "bass"))
        paths = [np.array(line.get_xydata()) for line in axes.lines]
        assert has(paths, np.column_stack([x, y])) and has(paths, [(x[-1], y[-1])])
        assert axes.get_xlim() == axes.get_ylim() == (0.0, 100.0)
        for ticks in (axes.get_xticks(), axes.get_yticks()):
            assert ticks.tolist() == pytest.approx(np.linspace(0.0, 100.0, ticks.size).tolist())  # in even steps


def test_lengths_are_shares_of_the_fish_of_stock_length(cases, kept):
    figures.lengths(cases, "bass", "k")
    figure, _ = kept[-1]
    for axes, case in zip(figure.axes, cases, strict=True):
        number = np.median(case.of("number", species="bass"), axis=0)
        stairs = [patch.get_data() for patch in axes.patches]
        assert len(stairs) == 2 * len(case.projection.yearly)
        for row, (_, i) in enumerate(case.projection.yearly):
            values, edges, base = stairs[2 * row]
            assert base == len(case.projection.yearly) - 1 - row and edges[0] == 8 and (np.diff(edges) == 1).all()
            fish = number[i, 8 : 8 + len(values)]
            np.testing.assert_allclose((values - base) / (values - base).max(), fish / fish.max())
        told = [text.get_text() for text in axes.texts]
        total = number[case.projection.yearly[0][1], 8 : int(edges[-1])].sum() * 0.40468564224
        assert f"{float(f'{total:.2g}'):.0f}" in told


@pytest.mark.parametrize(
    ("species", "ticks", "lines_"), [("bass", [8, 12, 15, 20, 25], [12, 15, 20]), ("bluegill", [3, 6, 8, 10], [6, 8, 10])]
)
def test_lengths_stand_on_the_categories_up_to_memorable_and_to_trophy_where_there_is_room(cases, kept, species, ticks, lines_):
    figures.lengths(cases[:1], species, "k")
    (axes,) = kept[-1][0].axes
    assert axes.get_xticks().tolist() == ticks and [line.get_xdata()[0] for line in axes.lines] == lines_


def test_lengths_of_a_year_reach_no_further_than_over_the_row_above(kept):
    scenario = pond(members=2, years=3)
    read = readings(scenario)
    for one in read.values():
        one["number"][..., 0, 9], one["number"][..., 0, 14] = 99.0, 1.0  # nearly all bass in one class
    figures.lengths(gather([dataset(scenario, read)], "us").cases, "bass", "k")
    for axes in kept[-1][0].axes:
        for values, _, base in (patch.get_data() for patch in axes.patches):
            assert 1.0 < (values - base).max() < 2.0


def test_years_of_a_longer_run_stand_within_the_panels_of_both(kept):
    shown = gather([dataset(one, readings(one, 1.0)) for one in (pond(members=2), pond(members=2, years=3))], "us").cases
    figures.lengths(shown, "bass", "k")
    for axes, case in zip(kept[-1][0].axes, shown, strict=True):
        low, high = sorted(axes.get_ylim())
        bases = [float(patch.get_data()[2]) for patch in axes.patches]
        assert low <= min(bases) and max(bases) + 1 <= high and len(set(bases)) == len(case.projection.yearly)


def test_names_of_species_that_are_hardly_left_stand_above_the_axis(kept):
    scenario = pond(members=2)
    read = readings(scenario)
    for one in read.values():
        one["biomass"][:, 0, :, 5] = 100.0  # a good deal of every species at first, nothing at the last survey
    time_series.crop(gather([dataset(scenario, read)], "us").cases, "k")
    for axes in kept[-1][0].axes:
        places = [text.xy[1] for text in axes.texts if text.get_text() in SPECIES]
        assert len(places) == len(SPECIES) and 0.0 <= min(places) < 0.05 * axes.get_ylim()[1]


def test_an_oxygen_chart_stacks_the_causes_of_each_month(kept):
    from pondpop.decide import oxygen_risk
    from pondpop.model.oxygen import KILLERS

    scenario = pond(members=10)
    read = readings(scenario)
    read["few"]["oxygen_kill"][0, 4] = 0.5  # August
    read["few"]["suffocated_biomass"][0, 4, 1, KILLERS.index("bloom")] = 300.0
    read["few"]["suffocated_biomass"][0, 4, 1, KILLERS.index("feed")] = 100.0
    made = dataset(scenario, read)
    oxygen_chart.draw(gather([made], "us").cases, "k")
    figure, words = kept[-1]
    (axes,) = figure.axes  # nothing dies under the other strategy
    chance = 100.0 * oxygen_risk.risks(made, scenario)[0].by_month[7]
    august = [(bar.get_y(), bar.get_height()) for bar in axes.patches if bar.get_height() > 0.0]
    assert sorted(august) == [(0.0, pytest.approx(0.25 * chance)), (pytest.approx(0.25 * chance), pytest.approx(0.75 * chance))]
    assert all(bar.get_x() < 8 < bar.get_x() + bar.get_width() for bar in axes.patches if bar.get_height() > 0.0)
    assert axes.get_ylim() == (0.0, pytest.approx(1.1 * chance)) and "Hardly any under B." in words[2]
    assert {"feed", "bloom"} < {text.get_text() for text in axes.texts}
    assert len(axes.get_yticks()) <= 5  # low panels have room for few


@pytest.mark.parametrize(("members", "drawn"), [(125, True), (126, False)])
def test_a_kill_in_five_hundred_years_is_drawn_and_one_in_more_is_not(kept, members, drawn):
    scenario = pond(members=members, years=4)
    read = readings(scenario)
    read["few"]["oxygen_kill"][0, 4] = 0.5
    oxygen_chart.draw(gather([dataset(scenario, read)], "us").cases, "k")
    assert len(kept) == drawn


@pytest.mark.parametrize(
    ("low", "high", "limits", "ticks"),
    [
        ((80, 90), (100, 110), (70, 115), [70, 80, 90, 100, 110]), ((60, 90), (90, 110), (58, 115), [60, 70, 80, 90, 100, 110]),
        ((60, 90), (90, 130), (58, 132), [60, 80, 100, 120]),
    ],
)  # fmt: skip
def test_a_scale_is_widened_for_bands_beyond_it(low, high, limits, ticks):
    class Fixed:
        def band(self, _):
            return np.array([low, high], dtype=float)

    index = time_series.Index("x", "", "", (70, 115), (95, 105), "")
    found = time_series._scale([Fixed(), Fixed()], index)
    assert found == (*limits, [float(tick) for tick in ticks])
    many = time_series._scale([Fixed()] * 3, index)[2]
    assert all(tick % 20 == 0 for tick in many)
    assert time_series._scale([Fixed()], time_series.Index("x", "", "", (0, 100), None, "")) == (0.0, 100.0, [0, 50, 100])


def test_scales_are_the_usual_ones_where_no_band_goes_beyond():
    class Fixed:
        def band(self, name):
            return np.array([[1.0, 2.0, 3.0]] if name == "forage_carnivore_ratio" else [[85.0, 90.0, 95.0]])

    scales = [time_series._scale([Fixed()], index)[:2] for index in time_series.balance_indices("balanced")]
    assert scales == [(0, 100), (0, 100), (70, 115), (0.3, 60)]


def test_a_scale_of_powers_ends_where_hardly_any_bass_are_left():
    class Fixed:
        def band(self, _):
            return np.array([[0.001, 5.0, 1e9]])

    low, high, ticks = time_series._scale([Fixed()], time_series.Index("x", "", "", (0.3, 60), None, "", log=True))
    assert (low, high) == (0.05, 2000.0) and ticks == [0.1, 0.5, 2, 10, 50, 250, 1250]


def test_days_as_decimal_years():
    assert time_series._decimal(dt.date(2027, 1, 1)) == 2027.0
    assert time_series._decimal(dt.date(2027, 12, 31)) == pytest.approx(2027 + 364 / 365)
    assert time_series._decimal(dt.date(2028, 12, 31)) == pytest.approx(2028 + 365 / 366)
    days = np.array(["2027-01-01", "2027-12-31", "2028-03-01"], dtype="datetime64[D]")
    np.testing.assert_allclose(decimal_years(days), [2027.0, 2027 + 364 / 365, 2028 + 60 / 366])


def test_years_are_told_by_their_last_survey():
    scenario = pond(members=1, years=2)
    (told,) = gather([dataset(scenario, readings(scenario))], "us").projections
    assert [int(str(told.survey_dates[k])[:4]) for _, k in told.yearly] == [year for year, _ in told.yearly] == [2026, 2027]
    assert told.yearly[-1][1] == len(told.survey_dates) - 1


def test_letters_go_on_after_z():
    assert [_letter(n) for n in (0, 25, 26, 51, 52)] == ["A", "Z", "A2", "Z2", "A3"]


@pytest.mark.parametrize(("count", "sizes"), [(1, [1]), (4, [4]), (5, [3, 2]), (8, [4, 4]), (9, [3, 3, 3]), (10, [4, 4, 2])])
def test_cases_are_told_in_as_few_parts_as_can_be(count, sizes):
    assert [len(part) for part in chunks(list(range(count)))] == sizes
    assert [one for part in chunks(list(range(count))) for one in part] == list(range(count))


def test_dashes_of_a_line_in_the_page():
    assert drawing.dashes_for_html("-") == "" and drawing.dashes_for_html((0, (5, 1.5))) == ' stroke-dasharray="10 3"'


# --- who goes hungry


def test_prey_is_short_where_half_of_the_members_have_less_than_a_months_need():
    need = np.array([[1.0], [1.0], [1.0], [0.04]])[:, None, :]  # the fourth has no such bass
    for prey, short, tight in (((0.9, 0.9, 4.0, 0.0), 2 / 3, 2 / 3), ((1.0, 2.9, 3.0, 0.0), 0.0, 2 / 3)):
        found = Hunger(None, np.array(prey)[:, None, None], need)
        assert found.share_short[0, 0] == pytest.approx(short) and found.share_tight[0, 0] == pytest.approx(tight)
    few = Hunger(None, np.zeros((4, 1, 1)), np.array([1.0, 0.0, 0.0, 0.0])[:, None, None])
    assert np.isnan(few.share_short[0, 0])
    half = Hunger(None, np.zeros((4, 1, 1)), np.array([1.0, 1.0, 0.05, 0.0])[:, None, None])
    assert half.share_short[0, 0] == 1.0


def test_runs_of_months():
    assert list(forage_supply._runs(np.array([1, 1, 0, 1, 0, 0, 1]) > 0)) == [(0, 2), (3, 4), (6, 7)]
    assert list(forage_supply._runs(np.zeros(3) > 0)) == []


def test_the_usual_year_is_that_of_the_last_two_and_the_coming_that_of_the_first(cases):
    months = cases[0].projection.months.astype(int)
    usual, coming = (forage_supply._places(cases[0], coming=soon) for soon in (False, True))
    assert sorted(k for some in usual.values() for k in some) == list(range(months.size))[-24:]
    assert sorted(k for some in coming.values() for k in some) == list(range(24))
    assert all(months[k] % 12 + 1 == month for some in (usual, coming) for month, places in some.items() for k in places)


def test_classes_of_bass_are_named_in_either_system(cases):
    lower = [int(inches) for inches in cases[0].projection.dataset["bass_class"].values]
    told = class_words(cases[0], "us")
    assert (told[0], told[-1]) == (f"{lower[0]}–{lower[1]} in", f"{lower[-1]} in and up") and len(told) == len(lower)
    assert class_words(cases[0], "metric")[1] == f"{round(25.4 * lower[1])}–{round(25.4 * lower[2])} mm"


def test_hungry_months_are_drawn_where_they_are(kept):
    scenario = pond(members=4, years=1)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:] = 50.0, 5.0
        one["prey_need"][:2, 3:5, 1] = 80.0  # July and August, second class, half of the members
    cases = gather([dataset(scenario, read)], "us").cases
    forage_supply.draw(cases, "us", "k")
    figure, _ = kept[-1]
    axes = figure.axes[0]
    assert axes.get_xlim()[1] == pytest.approx(2027 + (31 + 28 + 31) / 365, abs=0.004)  # the end of the last month
    assert axes.get_ylim() == (-0.5, len(axes.get_yticks()) - 0.5)  # a row for each class
    bars = []
    for bar in axes.collections:
        for path in bar.get_paths():
            low, high = path.vertices.min(axis=0), path.vertices.max(axis=0)
            bars.append((*low, *high))
    tall = [bar for bar in bars if bar[3] - bar[1] == pytest.approx(0.8)]
    (x0, y0, x1, y1) = tall[0]
    start = decimal_years(cases[0].projection.months)
    assert len(tall) == 1 and (y0 + y1) / 2 == pytest.approx(1.0)
    assert x0 == pytest.approx(start[3]) and x1 - x0 == pytest.approx(2 / 12)
    thin = [bar for bar in bars if bar[3] - bar[1] == pytest.approx(0.18)]
    assert len(thin) == len(cases[0].projection.dataset["bass_class"])
    assert all(bar[2] - bar[0] == pytest.approx(1.0) for bar in thin)
