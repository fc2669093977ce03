"""Months for moving fish, squares of one strategy against another, and bars of what records told."""

import numpy as np
import pytest
from small import dataset, pond, readings

from pondpop.report import comparisons, posterior_charts
from pondpop.report.answer import answer
from pondpop.report.calendar import harvest_tables, moving_window
from pondpop.report.drawing import look
from pondpop.report.posterior_charts import lines
from pondpop.report.strategies import gather

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
    assert "A is better than B on bass above 5 lb (2.27 kg) in 7 of 10 futures" in words[-1]
    assert (axes.get_xlim(), axes.get_ylim()) == ((-0.5, 1.5), (1.5, -0.5))
    for square, (column, row) in zip(axes.collections, ((1, 0), (0, 1)), strict=True):
        low, high = square.get_paths()[0].vertices.min(axis=0), square.get_paths()[0].vertices.max(axis=0)
        np.testing.assert_allclose((low + high) / 2, (column, row), atol=1e-9)
        assert (high - low < 1.0).all()
        assert square.get_facecolor()[0][:3].max() <= 1.0


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


def test_lines_are_told_in_the_units_that_are_asked_for():
    told = {units: [(one.unit, one.observed) for one in lines(TABLE, units)] for units in ("us", "metric")}
    assert told["us"][0] == ("in", pytest.approx(10.0)) and told["metric"][0] == ("mm", 254.0)
    assert told["us"][-1][0] == "" and told["us"][2] == told["metric"][2]


def test_what_is_left_of_a_band():
    narrowed = {one.name: one.left for one in lines(TABLE, "us")}
    assert narrowed["growth of bass"] == pytest.approx(0.3 / 1.5)
    assert [one.used for one in lines(TABLE, "us")][:2] == [True, False]
