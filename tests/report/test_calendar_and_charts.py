"""Months for moving fish, squares of one strategy against another, bars of what records told, and tables beside their CSV."""

from types import SimpleNamespace

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.decide import oxygen_risk
from pondpop.model.budget import CAUSES
from pondpop.report import comparisons, forage_supply, page, posterior_charts, tables
from pondpop.report.answer import answer
from pondpop.report.calendar import harvest_tables, moving_window, signs
from pondpop.report.drawing import look
from pondpop.report.posterior_charts import lines
from pondpop.report.strategies import gather
from pondpop.report.tables import plain
from pondpop.species import MEASURED, SPECIES, STRAINS
from pondpop.species.catalogue import entries
from pondpop.units import NONE, figure_of, unit_of, with_band

SHAD = "[[stocking]]\nname = 's'\nspecies = 'shad'\ndate = 2026-05-01\nper_acre = 9\nlength_in = 3\n"
BY_MONTH = (5.0, 6.9, 7.0, 18.0, 18.1, 27.0, 27.1, 29.0, 25.0, 12.0, 9.0, 8.9)  # °C, January first


def moved(extra="", units="us"):
    """What is said of moving fish in a pond of such water."""
    scenario = pond(members=2, extra=extra)
    read = readings(scenario)
    for one in read.values():
        for k in range(one["water_temperature"].shape[1]):
            one["water_temperature"][:, k] = BY_MONTH[(3 + k) % 12]  # from April on
    material = gather([dataset(scenario, read)], units)
    return moving_window(material.projections[0], material.cases[0])


def test_fish_are_moved_in_months_of_cool_water():
    said = moved()
    assert "water of 45–64 °F (7–18 °C; common practice, no source): here in March–April and October–December." in said
    assert "In July–August the water is above 81 °F (27 °C): move only what must be moved" in said and "threadfin" not in said
    assert "water of 7–18 °C (45–64 °F;" in moved(units="metric")
    assert "In December–March it is below 48 °F (9 °C)" in moved(SHAD)


def test_fish_and_weight_of_the_months_add_up_member_by_member():
    rule = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 9\n'
    scenario = pond(members=5, extra=rule)
    read = readings(scenario)
    luck = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    for month, times in ((1, luck), (3, luck[::-1])):  # May and July: six of each member's together
        read["few"]["harvest_number"][:, month, 0] = 10.0 * times / scenario.pond.area_ha
        read["few"]["harvest_biomass"][:, month, 0] = 0.45359237 * times / scenario.pond.area_ha
    (table,) = harvest_tables(gather([dataset(scenario, read)], "us"))
    assert table.header[1] == "A: bass, 8–12 in (203–305 mm)"
    assert [row[0] for row in table.rows] == ["May 2026", "Jul 2026", "Together"]
    assert table.rows[0][1] == ("30 fish", "14–46; 3 lb") and table.rows[-1][1] == ("60 fish", "6 lb")
    (metric,) = harvest_tables(gather([dataset(scenario, read)], "metric"))
    assert metric.rows[-1][1] == ("60 fish", "2.7 kg")


def test_a_harvest_that_begins_later_is_told_for_its_first_year():
    rule = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 9\n'
    scenario = pond(members=2, years=3, extra=rule)
    read = readings(scenario)
    for name in ("harvest_number", "harvest_biomass"):
        read["few"][name][:, 14:32, 0] = 5.0
    (table,) = harvest_tables(gather([dataset(scenario, read)], "us"))
    months = [row[0] for row in table.rows]
    assert (months[0], months[-2], len(months)) == ("Jun 2027", "May 2028", 13)


def test_a_harvest_of_the_coming_twelve_months_is_told_up_to_their_end():
    """From April 2026: in July, in March 2027 and in April 2027, within a year of the first fish but not in the coming one."""
    rule = '[[strategies.few.harvest]]\nname = "t"\nspecies = "bass"\nlength_in = [8, 12]\nlb_per_acre = 9\n'
    scenario = pond(members=2, years=3, extra=rule)
    read = readings(scenario)
    for name in ("harvest_number", "harvest_biomass"):
        read["few"][name][:, [3, 11, 12], 0] = 5.0
    (table,) = harvest_tables(gather([dataset(scenario, read)], "us"))
    assert [row[0] for row in table.rows] == ["Jul 2026", "Mar 2027", "Together"]
    now = dataset(scenario, read).assign_attrs(today="2026-07-31")  # fish of July may be taken until its last day
    (table,) = harvest_tables(gather([now], "us"))
    assert [row[0] for row in table.rows] == ["Jul 2026", "Mar 2027", "Apr 2027", "Together"]
    later = dataset(scenario, read).assign_attrs(today="2026-08-01")  # what is past is not to be taken any more
    (table,) = harvest_tables(gather([later], "us"))
    assert [row[0] for row in table.rows] == ["Mar 2027", "Apr 2027", "Together"]


@pytest.mark.parametrize(("words", "told"), [(["May", "May"], ["May"]), (["May", "June"], ["north: May", "south: June"])])
def test_when_to_move_fish_is_told_once_where_it_is_the_same_for_all_ponds(monkeypatch, words, told):
    ponds = [SimpleNamespace(scenario=SimpleNamespace(title=title)) for title in ("north", "south")]
    material = SimpleNamespace(projections=ponds, cases_of=lambda projection: [None])
    said = dict(zip(map(id, ponds), words, strict=True))
    monkeypatch.setattr(page.calendar, "moving_window", lambda projection, case: said[id(projection)])
    assert page._moving(material) == told


@pytest.fixture
def kept(monkeypatch):
    """The figures that are drawn, in place of their text."""
    figures = []
    for module in (comparisons, posterior_charts):
        monkeypatch.setattr(module, "picture", lambda figure, *words: figures.append((figure, words)))
    with look():
        yield figures


def test_squares_tell_in_how_many_futures_the_row_is_better(kept):
    scenario = pond(members=10, extra="[[goals]]\nkind = 'bass_above'\nabove_lb = 5\n")
    read = readings(scenario)
    read["few"]["bass_above"][:7, :, 0] = 9.0 / scenario.pond.area_ha
    read["many"]["bass_above"][8:, :, 0] = 9.0 / scenario.pond.area_ha
    (verdict,) = answer(gather([dataset(scenario, read)], "us")).verdicts
    comparisons.squares(verdict, "k")
    (axes,), words = kept[-1][0].axes, kept[-1][1]
    told = {text.get_position(): (text.get_text(), text.get_fontweight()) for text in axes.texts[1:]}
    assert told == {(1, 0): ("7", "bold"), (0, 1): ("2", "normal")}  # column and row; the first is the heading
    assert {text.get_fontsize() for text in axes.texts[1:]} == {8.0}
    assert axes.texts[0].xyann == (0, 12)  # above the letters of the columns
    assert "A is better than B on bass above 5 lb (2.27 kg) in 7 of 10 futures" in words[-1]
    assert (axes.get_xlim(), axes.get_ylim()) == ((-0.5, 1.5), (1.5, -0.5))
    for axis in (axes.xaxis, axes.yaxis):
        assert [(place, text.get_text()) for place, text in zip(axis.get_ticklocs(), axis.get_ticklabels(), strict=True)] == [
            (0, "A"), (1, "B"),
        ]  # fmt: skip
    for square, (column, row) in zip(axes.collections, ((1, 0), (0, 1)), strict=True):
        low, high = square.get_paths()[0].vertices.min(axis=0), square.get_paths()[0].vertices.max(axis=0)
        np.testing.assert_allclose((low + high) / 2, (column, row), atol=1e-9)
        assert (high - low < 1.0).all()
        assert square.get_facecolor()[0][:3].max() <= 1.0


@pytest.mark.parametrize(("strategies", "members", "squares"), [(1, 3, 0), (2, 1, 0), (2, 2, 2), (3, 2, 6)])
def test_there_is_a_square_for_every_two_strategies_of_several_futures(kept, strategies, members, squares):
    names = ["many", "few", "none"][:strategies]
    scenario = pond(members=members, extra="[strategies.none]\n[[goals]]\nkind = 'balanced'\n")
    scenario = scenario._replace(strategies={name: scenario.strategies[name] for name in names})
    (verdict,) = answer(gather([dataset(scenario, readings(scenario))], "us")).verdicts
    comparisons.squares(verdict, "k")
    assert [len(figure.axes[0].collections) for figure, _ in kept] == [squares] * bool(squares)


@pytest.mark.parametrize("goals", [1, 2])
def test_what_squares_are_of_is_broken_where_their_panel_ends(kept, monkeypatch, goals):
    scenario = pond(members=3, extra="[[goals]]\nkind = 'bass_above'\nabove_lb = 5\n[[goals]]\nkind = 'balanced'\n")
    scenario = scenario._replace(goals=scenario.goals[:goals])
    (verdict,) = answer(gather([dataset(scenario, readings(scenario))], "us")).verdicts
    monkeypatch.setattr(type(verdict.told), "goal", lambda *_: "some " * 40)
    comparisons.squares(verdict, "k")
    axes = kept[-1][0].axes[0]
    panel, words = axes.get_window_extent(), axes.texts[0].get_window_extent()
    ends = kept[-1][0].axes[1].get_window_extent().x0 if goals == 2 else 360
    assert ends - 0.25 * panel.width < words.x1 <= ends and "\n" in axes.texts[0].get_text()


TABLE = """about,quantity,unit,observed,prior_p10,prior_p50,prior_p90,posterior_p10,posterior_p50,posterior_p90,note
record,2026-06-15 electrofishing bass: mean length,mm,254,203.2,254,304.8,228.6,254,279.4,
record,2026-06-16 electrofishing bass: mean length,mm,127,203.2,254,304.8,228.6,254,279.4,not used: no member explains it
record,2026-06-15 electrofishing bass: caught,fish,0.4,0.1,0.4,0.9,0.1,0.2,0.3,
record,2026-06-15 electrofishing bluegill: caught,fish,0.2,0.1,0.6,0.9,0.1,0.2,0.3,
model,growth of bass,,,0.5,1,2,0.8,1,1.1,
"""


def test_bars_of_an_update_hold_the_band_before_and_after(kept):
    list(posterior_charts.draw_all(TABLE, "us", "k"))
    titles = [words[1] for _, words in kept]
    assert titles == [
        "What the records narrowed", "Fish caught: fitted against observed", "Mean length of the catch: fitted against observed"
    ]  # fmt: skip
    axes = kept[-1][0].axes[0]
    drawn = [(line.get_xdata().__array__().tolist() if hasattr(line.get_xdata(), "__array__") else list(line.get_xdata()),
              list(line.get_ydata())) for line in axes.lines]  # fmt: skip
    for row in (0, 1):
        for ends in ([8.0, 12.0], [9.0, 11.0]):
            assert any(np.allclose(x, ends) and y == [row, row] for x, y in drawn if len(x) == 2)
        assert sum(len(x) == 1 and np.isclose(x[0], 10.0) and y == [row] for x, y in drawn) == (3 if row == 0 else 2)
    assert any(len(x) == 1 and np.isclose(x[0], 5.0) and y == [1] for x, y in drawn)
    hollow = [line.get_markerfacecolor() for line in axes.lines if line.get_marker() == "D"]
    assert hollow == ["#c2571a", "white"]
    caught = kept[1][0].axes[0]
    assert len(caught.get_yticks()) == 1 and "bluegill" in kept[1][1][-1] and "bass" not in kept[1][1][-1].partition(". ")[2]
    times = kept[0][0].axes[0]
    low, high = times.get_xlim()
    assert low < 0.5 < 2.0 < high
    assert list(times.get_xticks()) == [x for x in (0.1, 0.2, 0.5, 1, 2, 5, 10) if low <= x <= high]


def test_lines_are_told_in_the_units_that_are_asked_for():
    told = {units: [(one.unit, one.observed) for one in lines(TABLE, units)] for units in ("us", "metric")}
    assert told["us"][0] == ("in", pytest.approx(10.0)) and told["metric"][0] == ("mm", 254.0)
    assert told["us"][-1][0] == "" and told["us"][2] == told["metric"][2]


def test_what_is_left_of_a_band():
    narrowed = {one.name: one.left for one in lines(TABLE, "us")}
    assert narrowed["growth of bass"] == pytest.approx(0.3 / 1.5)
    assert [one.used for one in lines(TABLE, "us")][:2] == [True, False]


# --- tables beside their CSV

TENTHS = (0.1, 0.5, 0.9)
LB_PER_ACRE = 0.45359237 / 0.40468564224  # kg/ha


@pytest.fixture(scope="module")
def material():
    """Two strategies of an invented pond over two years, every number drawn by chance; one of them has oxygen to tell of."""
    scenario = pond(members=7, years=2)
    rng, read = np.random.default_rng(6), readings(scenario)
    for one in read.values():
        for name, array in one.items():
            share = name in ("other_blood", "oxygen_kill")
            array[:] = rng.uniform(0.05, 0.95, array.shape) if share else rng.lognormal(1, 0.6, array.shape)
        one["number"][..., 25:] = 0.0
        one["oxygen_kill"] *= rng.random(one["oxygen_kill"].shape) < 0.03
    read["few"]["harvest_biomass"][:] = 0.0  # one strategy takes nothing, and neither has a bass above 10 lb
    for one in read.values():
        one["bass_above"][..., 2] = 0.0
    return gather([dataset(scenario, read)], "us")


def every_table(material):
    found = [*tables.by_year(material, material.cases), *tables.strains(material), *tables.moves(material)]
    found += [*tables.outcomes(material), *forage_supply.table(material, material.cases[1])]
    return [*found, tables.groups(material), tables.length_classes(material), tables.oxygen(material), signs(material.cases)]


def test_what_a_table_shows_stands_in_its_csv_and_every_row_is_as_wide_as_its_heading(material):
    for table in every_table(material):
        assert table.csv_rows and all(len(row) == len(table.csv_header) for row in table.csv_rows), table.name
        assert all(len(row) == len(table.header) for row in table.rows), table.name


def test_strains_are_told_with_what_cold_killed(material):
    *found, figures = tables.strains(material)
    mixed = [species for species in SPECIES if STRAINS[species]]
    assert len(found) == len(material.cases) * len(mixed) and mixed[:1] == ["bass"]
    table, case = found[0], material.cases[0]
    blood = 100 * case.of("other_blood", species="bass")
    cold = case.of("deaths_biomass", species="bass", cause="cold") / LB_PER_ACRE
    for k, (year, i) in enumerate(case.projection.yearly):
        share, (usual, hard) = np.quantile(blood[:, i], TENTHS), np.quantile(cold[:, k], (0.5, 0.9))
        assert table.csv_rows[k][:4] == [case.letter, case.title, "", year]
        assert [float(x) for x in (*table.csv_rows[k][4:7], *table.csv_rows[k][8:])] == pytest.approx([*share, usual, hard])
        assert table.rows[k] == [str(year), with_band(share, "percent"), figure_of(usual, "crop"), figure_of(hard, "crop")]
    assert "8 of 10 futures" in table.caption and figures.name == "strain_figures"


def test_every_figure_of_a_strain_stands_in_the_csv_with_its_origin(material):
    for table in (table for table in tables.strains(material) if table.name == "strain_figures"):
        told = {(row[0], row[1]): row[2:] for row in table.csv_rows}
        shown = [cell for row in table.rows for cell in row[1:] if cell != NONE]
        assert len(told) == len(table.csv_rows) == len(shown) > 5
        assert sorted(shown) == sorted((f"{value:g}", f"{low:g}–{high:g}") for value, low, high, *_ in told.values())
        for (kind, name), rest in told.items():
            one = entries()[kind][name]
            assert rest == [one.value, one.low, one.high, one.unit, one.kind, one.source]


def test_fish_that_died_of_their_move_are_those_of_the_pond(material):
    for table, case in zip(tables.moves(material), material.cases, strict=True):
        area = case.projection.scenario.pond.area_ha
        rows = {(str(row[2]), row[3]): row[4:] for row in table.csv_rows if row[0] == case.letter}
        for year, species, put_in, died in table.rows:
            k = list(case.projection.dataset["year"].values).index(int(year))
            fish = area * case.of("deaths_number", species=species)[:, k, CAUSES.index("hauling")]
            stocked = float(np.median(area * case.of("stocked_number", species=species)[:, k]))
            assert [float(x) for x in rows[year, species]] == pytest.approx([stocked, *np.quantile(fish, TENTHS)])
            assert (put_in, died) == (figure_of(stocked, "fish"), with_band(np.quantile(fish, TENTHS), "fish"))
        assert len(rows) == len(table.rows) == 3 * len(SPECIES)  # April to March twice: three calendar years


def test_fish_by_inch_class_are_those_of_every_survey_and_empty_classes_are_left_out(material):
    rows = {tuple(row[:1] + row[2:5]): row[5:] for row in tables.length_classes(material).csv_rows}
    case = material.cases[1]
    assert len(rows) == 2 * len(case.projection.survey_dates) * len(MEASURED) * 25
    for i, date in enumerate(case.projection.survey_dates):
        for species in MEASURED:
            unit, *band = rows[case.letter, str(date), species, 9]
            fish = case.of("number", species=species)[:, i, 9] * 0.40468564224
            assert unit == "per acre" and band == pytest.approx(list(np.quantile(fish, TENTHS)))


def test_the_table_of_oxygen_holds_every_strategys_risk(material):
    table, (projection,) = tables.oxygen(material), material.projections
    risks = oxygen_risk.risks(projection.dataset, projection.scenario)
    assert len(table.rows) == len(table.csv_rows) == len(risks) == 2
    for case, risk, row, csv_row in zip(material.cases, risks, table.rows, table.csv_rows, strict=True):
        assert csv_row == [case.letter, case.title, risk.partial, risk.severe, *risk.by_month, risk.lowest, risk.kwh]
        assert row[:3] == [f"{case.letter}: {case.title}", f"{100 * risk.partial:.1f} %", f"{100 * risk.severe:.1f} %"]
        assert row[5] == f"{risk.lowest:.1f}"
        assert risk.causes and row[4] == oxygen_risk.put_down_to(risk.causes)


@pytest.mark.parametrize("stocked", ["", SHAD])
def test_shad_in_winter_are_looked_for_only_where_shad_are_stocked(stocked):
    scenario = pond(members=2, extra=stocked)
    table = signs(gather([dataset(scenario, readings(scenario))], "us").cases)
    assert any("threadfin" in row[1] for row in table.rows) == bool(stocked)
    assert [[plain(cell) for cell in row] for row in table.rows] == table.csv_rows


def test_the_last_survey_is_told_for_every_strategy_in_both_systems(material):
    (table,) = tables.outcomes(material)
    last = {(row[0], row[3]): row for row in table.csv_rows}
    shown = {row[0]: row[1:] for row in table.rows}
    for name, words in tables.OUTCOMES:
        kind = material.cases[0].projection.quantities[name].kind
        unit, second = (unit_of(kind, units) for units in ("us", "metric"))
        cells = []
        for case in material.cases:
            band = case.band(name)[-1]
            row = last[case.letter, name]
            assert row[2] == str(case.projection.survey_dates[-1])
            assert [float(x) for x in row[6:]] == pytest.approx(band, nan_ok=True)
            cells.append((with_band(band, kind)[0], unit != second))
        told = shown.get(f"{words}, {unit}" if unit not in ("", "%", "fish") else words)
        assert (told is None) == all(middle in (NONE, "0") for middle, _ in cells), name
        for (middle, both), cell in zip(cells, told or [], strict=bool(told)):
            assert cell[0] == middle
            assert not both or (second in cell[1]) == (middle not in (NONE, "0"))


def test_prey_and_need_are_medians_of_the_months_that_are_told(material):
    (table,) = forage_supply.table(material, material.cases[1])
    told = {(row[0], row[2], row[3]): row[6:8] for row in table.csv_rows}
    assert len(told) == len(table.csv_rows) == 2 * 12 * len(material.cases[0].projection.dataset["bass_class"])
    for case in material.cases:
        months = case.projection.months.astype(int) % 12 + 1
        for c, low in enumerate(case.projection.dataset["bass_class"].values):
            mine = np.flatnonzero(months == 7)
            wanted = [float(np.median(case.of(name)[:, mine, c])) / LB_PER_ACRE for name in ("edible_prey", "prey_need")]
            assert [float(x) for x in told[case.letter, "07", int(low)]] == pytest.approx(wanted)


def test_all_goals_together_are_told_only_where_there_is_another_strategy():
    for only, told in ((None, True), ("few", False)):
        scenario = pond(members=10, extra="[[goals]]\nkind = 'bass_above'\nabove_lb = 5\n", only=only)
        table = comparisons.goal_tables(answer(gather([dataset(scenario, readings(scenario))], "us")).verdicts)[0]
        assert any(row[0].startswith("All goals, against") for row in table.rows) == told
