"""Who goes hungry, when and what helps: prey and need of each class of bass by hand."""

import pytest
from small import dataset, pond, readings

from pondpop.report import forage_supply
from pondpop.report.strategies import gather
from pondpop.units import NONE

SHORT, TIGHT = "short of prey of their size", "no class is likely to run short of prey of its size"


def fed(change=None, members=10, years=2, units="us"):
    """A case of which every class finds ten times its need, but for what `change` says [member, month, class]."""
    scenario = pond(members=members, years=years)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:] = 50.0, 5.0
        one["relative_weight"][:] = 95.0
        one["number"][..., 0, 8:26] = 10.0
        if change:
            change(one)
    return gather([dataset(scenario, read)], units).cases[0]


def test_where_all_find_enough_nothing_is_short_and_nothing_is_tight():
    told, helps = forage_supply.advice(fed(), "us")
    assert told == f"{TIGHT}." and helps == [forage_supply.WATCH]


@pytest.mark.parametrize(("lacking", "short"), [(5, True), (4, False)])
def test_a_class_is_short_in_months_in_which_half_of_the_members_find_less_than_they_need(lacking, short):
    """July and August of the last year: the sixteenth and seventeenth month of a run from April, and those of the first."""

    def change(one):
        one["edible_prey"][:lacking, [3, 4, 15, 16], 1] = 4.0

    case = fed(change)
    names = forage_supply.class_words(case, "us")
    told, helps = forage_supply.advice(case, "us")
    if short:
        assert told == f"{SHORT}: bass of {names[1]}, July–August (5 of 10)." and forage_supply.WATCH not in helps
    else:
        assert told.startswith(TIGHT) and helps == [forage_supply.WATCH]


@pytest.mark.parametrize(("lacking", "short"), [(5, True), (4, False)])
def test_the_table_names_a_class_that_is_short_in_half_of_the_members(lacking, short):
    scenario = pond(members=10)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:] = 50.0, 5.0
        one["edible_prey"][:lacking, ..., 1] = 4.0
    material = gather([dataset(scenario, read)], "us")
    (table,) = forage_supply.table(material, material.cases[0])
    assert {row[-1] for row in table.rows} == {forage_supply.class_words(material.cases[0], "us")[1] if short else NONE}


def test_less_than_three_months_need_is_tight():
    for prey, tight in ((14.9, True), (15.0, False)):
        told, _ = forage_supply.advice(fed(lambda one, prey=prey: one["edible_prey"].__setitem__((..., 0), prey)), "us")
        assert ("tightest: " in told) == tight and told.startswith(TIGHT)


def test_the_coming_years_are_the_first_of_the_run_and_the_usual_ones_the_last():
    def change(one):
        one["edible_prey"][:, :12, 1] = 1.0

    case = fed(change, years=4)
    assert forage_supply.advice(case, "us", coming=True)[0].startswith(SHORT)
    assert forage_supply.advice(case, "us")[0].startswith(TIGHT)


def test_where_there_are_hardly_any_bass_none_go_hungry():
    told, helps = forage_supply.advice(fed(lambda one: one["prey_need"].__setitem__(slice(None), 0.001)), "us")
    assert told == "too few bass to go hungry." and helps == []


@pytest.mark.parametrize(("lower", "wanted"), [
    ([2], ["YOUNG"]), ([8], ["CROWDED"]), ([12], ["CROWDED"]), ([15], ["LARGE"]), ([20], ["LARGE"]), ([2, 8], ["CROWDED"]),
    ([2, 20], ["YOUNG", "LARGE"]), ([12, 15], ["CROWDED", "LARGE"]),
])  # fmt: skip
def test_what_helps_depends_on_who_is_short(lower, wanted):
    classes = [int(inches) for inches in fed().projection.dataset["bass_class"].values]

    def change(one):
        one["edible_prey"][..., [classes.index(inches) for inches in lower]] = 1.0

    _, helps = forage_supply.advice(fed(change), "us")
    assert helps == [getattr(forage_supply, one) for one in wanted]


def test_thin_bass_are_told_where_prey_is_there():
    def change(one):
        one["relative_weight"][..., 0, 8:12] = 80.0

    told, helps = forage_supply.advice(fed(change), "us")
    assert told.endswith(
        " Yet bass of 8–12 in (Wr 80) are thin at the last survey: prey is there, but in cover, or too many bass share it."
    )
    assert helps == [forage_supply.CROWDED]
    metric, _ = forage_supply.advice(fed(change, units="metric"), "metric")
    assert "Yet bass of 203–305 mm (Wr 80) are thin" in metric
    assert "thin" not in forage_supply.advice(fed(change), "us", coming=True)[0]


@pytest.mark.parametrize(("wr", "thin"), [(89.9, True), (90.0, False)])
def test_bass_are_thin_below_a_wr_of_90(wr, thin):
    told, _ = forage_supply.advice(fed(lambda one: one["relative_weight"].__setitem__((..., 0, slice(8, 12)), wr)), "us")
    assert ("are thin at the last survey" in told) == thin


def test_the_table_tells_prey_and_need_of_each_month():
    def change(one):
        one["edible_prey"][..., 1] = 4.0
        one["prey_need"][..., -1] = 0.0

    scenario = pond(members=4, years=2)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:] = 50.0, 5.0
        change(one)
    material = gather([dataset(scenario, read)], "metric")
    (table,) = forage_supply.table(material, material.cases[0])
    names = forage_supply.class_words(material.cases[0], "metric")
    assert [row[0] for row in table.rows] == ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    assert all(row[1:] == [("50", "5"), ("4", "5"), *[("50", "5")] * (len(names) - 3), names[1]] for row in table.rows)
    assert table.caption.endswith(f"Too few bass of {names[-1]} to tell.")
    assert len(table.csv_rows) == 2 * 12 * len(names)
    first = table.csv_rows[0]
    assert first[2] == "01" and first[5:] == ["kg/ha", 50.0, 5.0, 0.0] and table.csv_rows[1][6:] == [4.0, 5.0, 1.0]


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize(("need", "there"), [(0.051, True), (0.049, False)])
def test_the_table_has_classes_of_which_a_twentieth_of_a_kilogram_a_hectare_is_needed_in_a_month(units, need, there):
    scenario = pond(members=2)
    read = readings(scenario)
    for one in read.values():
        one["edible_prey"][:], one["prey_need"][:] = 50.0, 5.0
        one["prey_need"][..., 0] = need
    material = gather([dataset(scenario, read)], units)
    (table,) = forage_supply.table(material, material.cases[0])
    assert ("Too few bass of" in table.caption) == (not there)
