"""The report: numbers as in yearly.csv, safe and self-contained HTML, the same bytes, and any outcome can be told.

The ponds here are invented arrays, not runs of the model, so that no test depends on what the model says.
"""

import csv
import io
import re
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from small import SIZES

from pondpop.assess import assess_records
from pondpop.checks import InputError
from pondpop.cli import main
from pondpop.decide import phrases
from pondpop.decide.actions import actions, today, water_c
from pondpop.decide.passages import Passage, to_json
from pondpop.decide.phrases import teller
from pondpop.decide.quota_phrases import TAKE_NONE
from pondpop.ensemble import results
from pondpop.ensemble.quantities import yearly_csv
from pondpop.observe.observers import LENGTH_CLASSES_IN
from pondpop.report import figures, forage_supply, tables, write_report
from pondpop.report.answer import answer
from pondpop.report.calendar import calendar, harvest_tables
from pondpop.report.document import CAUTIONS, GEAR_CAUTION, MODEL_CAUTION, For
from pondpop.report.drawing import INK, grid, look, picture
from pondpop.report.figures import LABEL_HIGH, LABEL_WIDE, _labelled, length_frequency
from pondpop.report.forage_supply import advice
from pondpop.report.page import _how_many, make_page
from pondpop.report.searches_page import Search, searches_page, write_searches
from pondpop.report.strategies import LOOKS, gather
from pondpop.report.style import CSS
from pondpop.report.tables import harmless
from pondpop.report.time_series import _time_panels, crop, harvest
from pondpop.scenario import resolve
from pondpop.species import SPECIES
from pondpop.units import NONE, figure_of, in_ten, months_in_words, with_band

RECORDS = Path(__file__).parents[2] / "scenarios" / "records"
HOSTILE = '<script>alert("x")</script> & $x^2$ {b}'


def raw_scenario(**more):
    stocking = [
        {"name": "forage", "species": "bluegill", "date": "2026-03-20", "per_acre": 1500, "length_in": 2},
        {"name": "bass", "species": "bass", "date": "2027-06-05", "per_acre": 75, "length_in": 2},
    ]
    harvest = [{"name": "small", "species": "bass", "length_in": [8, 12], "from_year": 2, "lb_per_acre": 20}]
    return {
        "title": "An invented pond",
        "pond": {"area_acres": 4, "fertility": "fertilized"},
        "water": {"climate": "deep_south"},
        "run": {"start": "2026-03-15", "years": 3},
        "stocking": stocking,
        "strategies": {"light": {"title": "leave them"}, "hard": {"title": "take small ones", "harvest": harvest}},
        "goals": [{"kind": "balanced"}, {"kind": "pounds_harvested"}],
        **more,
    }


def dataset_of(raw, members=5, seed=1, change=None) -> xr.Dataset:
    """A Dataset of invented numbers: members differ, strategies share most of the luck."""
    import datetime as dt

    def dated(value):
        if isinstance(value, dict):
            return {k: dt.date.fromisoformat(v) if k in ("date", "start") else dated(v) for k, v in value.items()}
        return [dated(v) for v in value] if isinstance(value, list) else value

    scenario = resolve(dated(raw))
    rng = np.random.default_rng(seed)
    start, last = scenario.run.start, scenario.run.end - dt.timedelta(days=1)
    months = (last.year - start.year) * 12 + last.month - start.month + 1
    sizes = SIZES | {"survey_date": len(scenario.run.survey_dates), "month": months, "year": scenario.run.last_year}
    projected = {}
    for s, (name, strategy) in enumerate(scenario.strategies.items()):
        arrays = {}
        for variable, (dims, _, _) in results.VARIABLES.items():
            shape = (members, *(len(strategy.stocking) if d == "stocked_group" else sizes[d] for d in dims))
            arrays[variable] = 10.0 * rng.lognormal(0.0, 0.4, shape) * (1 + 0.2 * s)
        arrays["number"] = arrays["number"] * np.exp(-0.2 * LENGTH_CLASSES_IN)
        arrays["relative_weight"] = 90 + arrays["relative_weight"] / 5
        phase = (start.month - 1 + np.arange(months)) % 12
        arrays["water_temperature"] = np.broadcast_to(
            18 - 11 * np.cos(2 * np.pi * phase / 12), (members, months)
        ).copy()
        if not strategy.harvest:
            arrays["harvest_number"] *= 0
            arrays["harvest_biomass"] *= 0
        projected[name] = arrays
    dataset = results.to_dataset(scenario, projected, {"pondpop": "0", "numpy": "0"})
    if change is not None:
        change(dataset)
    return results.derive(dataset)


@pytest.fixture(scope="module")
def dataset():
    return dataset_of(raw_scenario())


@pytest.fixture(scope="module")
def folder(dataset, tmp_path_factory):
    path = tmp_path_factory.mktemp("report")
    write_report([dataset], path / "report.html")
    return path


@pytest.fixture(scope="module")
def page(folder):
    return (folder / "report.html").read_text(encoding="utf-8")


class Outline(HTMLParser):
    """What a page is made of; refuses tags that do not close in order."""

    VOID = ("meta", "br", "img", "link", "hr", "input")

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.open, self.tags, self.ids, self.attributes, self.headings = [], [], [], [], []
        self.tables, self.texts = [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.append((tag, attrs))
        self.attributes += [(tag, k, v) for k, v in attrs.items()]
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if tag in ("h1", "h2", "h3", "h4"):
            self.headings.append(int(tag[1]))
        if tag == "table":
            self.tables.append([])
        if tag == "tr" and self.tables:
            self.tables[-1].append([])
        if tag in ("td", "th"):
            self.tables[-1][-1].append("")
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, tag

    def handle_data(self, data):
        if self.open and self.open[-1] in ("td", "th"):
            self.tables[-1][-1][-1] += data
        if "style" not in self.open:
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def outline(page):
    return Outline(page)


def read_csv(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))


# ------------------------------------------------------------------ numbers


def test_every_number_of_the_tables_is_that_of_yearly_csv(dataset, folder):
    wanted = {
        (row["strategy"], row["date"], row["quantity"]): (row["p10"], row["p50"], row["p90"], row["unit"])
        for row in csv.DictReader(io.StringIO(yearly_csv(dataset, "us")))
    }
    letters = {"A": "light", "B": "hard"}
    checked = 0
    for name in ("outcomes", "by_year"):
        for row in read_csv(folder / "report_tables" / f"{name}.csv"):
            found = (row["p10"], row["p50"], row["p90"], row["unit"])
            assert found == wanted[letters[row["strategy"]], row["date"], row["quantity"]]
            checked += 1
    assert checked > 60


def test_shown_cells_are_the_rounded_csv(outline, folder):
    table = next(t for t in outline.tables if any(row[0].startswith("Bass PSD") for row in t))
    rows = {
        row["quantity"]: row for row in read_csv(folder / "report_tables" / "outcomes.csv") if row["strategy"] == "A"
    }
    shown = next(row for row in table if row[0].startswith("Bass PSD,"))[1].strip()
    assert shown == figure_of(float(rows["bass_psd"]["p50"]), "percent")
    crop = next(row for row in table if row[0].startswith("Bass, lb/acre"))[1].strip()
    assert crop == figure_of(float(rows["bass_standing_crop"]["p50"]), "crop")


def test_a_range_by_years_is_never_broken_and_its_table_slides_on_a_phone(page):
    assert ".years td{white-space:nowrap}" in CSS.partition("@media")[0]
    assert page.count('<div class="wide"><table class="years"') == page.count('class="years"') > 0


def test_however_many_harvests_there_are_each_stands_in_one_table_by_month(dataset):
    heads = [head for table in harvest_tables(gather([dataset] * 6, "us")) for head in table.header[1:]]
    taken = (np.median(dataset["harvest_biomass"].values, axis=1) > 0.0).any(axis=1)  # [strategy, species]
    assert len(heads) == len(set(heads)) == 6 * taken.sum() > 4


def test_harvest_is_told_in_whole_fish_of_this_pond(dataset):
    material = gather([dataset], "us")
    table = harvest_tables(material)[0]
    first = np.datetime64(table.csv_rows[0][4], "M")
    at = int(np.flatnonzero(dataset["month"].values.astype("datetime64[M]") == first)[0])
    fish = np.median(dataset["harvest_number"].values[1, :, at, 0]) * dataset.attrs["area_ha"]
    assert table.csv_rows[0][0] == "B" and table.csv_rows[0][6] == pytest.approx(fish, rel=1e-12)
    assert table.rows[0][1][0] == f"{fish:.0f} fish"
    assert table.caption.startswith(
        "Harvest in whole fish of this pond by month with the range of 8 of 10 futures; weight:"
    )
    months = {str(row[4]) for row in table.csv_rows}
    assert max(months) < "2027-03"  # the coming twelve months
    total = np.median(dataset["harvest_number"].values[1, :, :12, 0].sum(axis=1)) * dataset.attrs["area_ha"]
    assert table.rows[-1][0] == "Together" and table.rows[-1][1][0] == f"{total:.0f} fish"


def test_calendar_counts_whole_fish_in_date_order(dataset):
    table, *_ = calendar(gather([dataset], "us"))
    dates = [row[0] for row in table.csv_rows]
    assert dates == sorted(dates)
    told = [str(row[3]) for row in table.csv_rows]
    assert any("Stock 300 bass of 2 in (51 mm): 75 per acre (190 per ha)" in text for text in told)
    assert any("Stock 6,000 bluegill" in text for text in told)
    assert sum(text == "Survey." for text in told) == 6  # two a year
    assert sum(row[2] == "Survey." for row in table.rows) == 2  # in the coming year
    stock = next(row for row in table.csv_rows if "Stock 300" in str(row[3]))
    assert stock[2] == "all"
    harvest = next(row for row in table.csv_rows if "Harvest bass" in str(row[3]))
    assert harvest[2] == "B" and "8-12 in (203-305 mm)" in harvest[3]


def test_a_season_that_was_over_at_the_start_is_not_announced():
    raw = raw_scenario()
    raw["run"]["start"] = "2026-11-01"
    for event in raw["stocking"]:
        event["date"] = "2026-12-01"
    harvest = {"species": "bass", "length_in": [8, 12], "lb_per_acre": 20}
    raw["strategies"]["hard"]["harvest"] = [
        {**harvest, "name": "from_now", "from_year": 1}, {**harvest, "name": "last_year", "from_year": 1, "to_year": 1}
    ]  # fmt: skip
    rows = [row for row in calendar(gather([dataset_of(raw)], "us"))[0].csv_rows if "Harvest bass" in str(row[3])]
    assert [row[:2] for row in rows] == [["2027-03-01", "1 March to 31 October, 2027-2029"]]


def shown_from(today):
    tables = calendar(gather([dataset_of(raw_scenario()).assign_attrs(today=today)], "us"))
    return {table.caption.partition(",")[0].partition(".")[0]: [row[2] for row in table.rows] for table in tables}


def test_the_calendar_starts_today():
    start, later = shown_from("2026-03-15"), shown_from("2027-04-10")
    soon = "The coming twelve months"
    assert any("Stock 6,000 bluegill" in text for text in start[soon])
    assert any("Stock 300 bass" in text for text in start["After that; surveys"])
    assert not any("bluegill" in text and "Stock" in text for texts in later.values() for text in texts)  # past
    assert any("Stock 300 bass" in text for text in later[soon])
    assert any("oxygen" in text for text in later[soon]) and any("Fertilize" in text for text in later[soon])
    told = teller(dataset_of(raw_scenario()).assign_attrs(today="2028-07-01"), "us")
    assert told.next_steps().startswith("nothing but to survey") or "1 March to 31 October, 2028" in told.next_steps()


def test_the_day_of_the_last_record_is_today_unless_another_is_given():
    made = dataset_of(raw_scenario())
    scenario = resolve(tomllib.loads(made.attrs["scenario"]))
    assert today(made, scenario) == scenario.run.start
    assert str(today(made.assign_attrs(last_record="2027-05-01"), scenario)) == "2027-05-01"
    assert str(today(made.assign_attrs(last_record="2027-05-01", today="2027-06-02"), scenario)) == "2027-06-02"
    for outside in ("2020-01-01", "2060-01-01"):
        assert today(made.assign_attrs(last_record=outside), scenario) == scenario.run.start


def test_the_calendar_asks_for_no_survey_right_after_one():
    def surveys(made):
        scenario = resolve(tomllib.loads(made.attrs["scenario"]))
        return [str(one.date) for one in actions(made, scenario, next(iter(scenario.strategies))) if one.deed == "survey"]

    made = dataset_of(raw_scenario())
    assert surveys(made)[:2] == ["2026-04-15", "2026-10-15"]
    assert surveys(made.assign_attrs(last_record="2026-04-14"))[0] == "2026-10-15"
    assert surveys(made.assign_attrs(last_record="2026-03-15"))[0] == "2026-04-15"  # 31 days: another survey
    scenario = resolve(tomllib.loads(made.attrs["scenario"]))
    start = scenario.run.start.replace(month=4, day=1)
    strategies = {
        name: one._replace(stocking=tuple(event._replace(resident=True, number_cv=0.5, date=start) for event in one.stocking))
        for name, one in scenario.strategies.items()
    }
    begun = scenario._replace(strategies=strategies, run=scenario.run._replace(start=start))
    every = actions(made, begun, next(iter(begun.strategies)))
    assert next(str(one.date) for one in every if one.deed == "survey") == "2026-10-15"


def test_the_calendar_asks_for_nothing_of_an_amount_of_0():
    def asked(per_acre):
        raw = raw_scenario()
        raw["grass_carp"] = [{"date": "2026-04-01", "per_acre": per_acre}]
        made = dataset_of(raw)
        scenario = resolve(tomllib.loads(made.attrs["scenario"]))
        return [one.what for one in actions(made, scenario, next(iter(scenario.strategies))) if "grass carp" in one.what]

    assert len(asked(5)) == 1
    assert asked(0) == []


def test_figures_in_the_words_of_a_picture_are_not_cut():
    with look():
        figure, (axes,) = grid(1, 1.0)
        axes.text(0.5, 0.51234, "5 lb (2.27 kg)")
        drawn = picture(figure, "one", "one", "", "")
    assert "5 lb (2.27 kg)" in drawn.svg
    assert not re.search(r"\d\.\d\d", " ".join(re.findall("<[^>]+>", drawn.svg)))


def test_warm_water_at_stocking_is_named(dataset):
    material = gather([dataset], "us")
    june = water_c(dataset, "light", np.datetime64("2027-06-05").astype(object))
    assert june == pytest.approx(18 - 11 * np.cos(2 * np.pi * 5 / 12))
    assert any("move at dawn" in str(row[3]) for row in calendar(material)[0].csv_rows) == (june > 27)


def test_hunger_is_found_where_prey_is_less_than_need():
    def hungry(ds):
        ds["edible_prey"].values[:] = 50.0
        ds["prey_need"].values[:] = 5.0
        july = ds["month"].values.astype("datetime64[M]").astype(int) % 12 == 6
        ds["prey_need"].values[0][:, july, 2] = 80.0  # bass of 8–12 in of the first strategy

    material = gather([dataset_of(raw_scenario(), change=hungry)], "us")
    (seen, helps), (others, _) = (advice(case, "us") for case in material.cases)
    assert seen == "short of prey of their size: bass of 8–12 in, July (9 of 10)."
    assert len(helps) == 1 and "take out bass under 12 in" in helps[0]
    assert others == "no class is likely to run short of prey of its size."


def test_thin_bass_are_told_though_prey_of_their_size_is_there():
    def thin(ds):
        ds["edible_prey"].values[:], ds["prey_need"].values[:] = 50.0, 5.0
        ds["relative_weight"].values[:, :, :, 0] = 95.0
        ds["relative_weight"].values[0, :, -1, 0, 12:15] = 78.0

    material = gather([dataset_of(raw_scenario(), change=thin)], "us")
    (seen, helps), (others, watch) = (advice(case, "us") for case in material.cases)
    assert "Yet bass of 12–15 in (Wr 78) are thin at the last survey" in seen
    assert "take out bass under 12 in" in helps[0] and "beyond watching Wr" in watch[0]
    assert "thin" not in others
    assert "thin" not in advice(material.cases[0], "us", coming=True)[0]


@pytest.mark.parametrize(("inches", "helps"), [((8,), ["crowded"]), ((15,), ["shad"]), ((8, 15), ["crowded", "shad"])])
def test_thin_large_bass_are_no_mark_of_a_crowd(inches, helps):
    def thin(ds):
        ds["edible_prey"].values[:], ds["prey_need"].values[:] = 50.0, 5.0
        ds["relative_weight"].values[:, :, :, 0] = 95.0
        for inch in inches:
            ds["relative_weight"].values[0, :, -1, 0, inch : inch + 4] = 78.0

    (case, _) = gather([dataset_of(raw_scenario(), change=thin)], "us").cases
    told = advice(case, "us")[1]
    assert [[word for word in ("crowded", "shad") if word in one] for one in told] == [[word] for word in helps]


def expectation(raw, change) -> str:
    """What the page expects of the best strategy."""
    (more,) = answer(gather([dataset_of(raw, change=change)], "us")).more
    return dict(more)["What to expect"]


def test_harvest_is_blamed_only_where_there_is_one():
    def small_bass(ds):
        ds["number"].values[:, :, :, 0, 12:] = 1e-3
        ds["number"].values[:, :, :, 1] = 0.0
        ds["number"].values[:, :, :, 1, 4], ds["number"].values[:, :, :, 1, 7] = 60.0, 40.0

    raw = raw_scenario()
    raw["strategies"] = {"light": raw["strategies"]["light"]}
    assert "bass many" in expectation(raw, small_bass) and "harvest" not in expectation(raw, small_bass)
    raw["strategies"] = {"hard": raw_scenario()["strategies"]["hard"]}
    assert "harvested too hard" in expectation(raw, small_bass)


def test_few_futures_are_said_to_be_few():
    for members, said in ((5, True), (30, False)):
        (lead,) = answer(gather([dataset_of(raw_scenario(), members)], "us")).lead
        assert ("Decide on 100 or more" in dict(lead)["How sure"]) == said


def test_a_harvest_that_is_not_caught_is_minded():
    def caught(kilograms):
        def change(ds):
            ds["harvest_biomass"].values[:] = 0.0
            ds["harvest_biomass"].values[1, :, 16::12, 0] = kilograms  # July of strategy B, which asks for 20 lb/acre

        material = gather([dataset_of(raw_scenario(), change=change)], "us")
        (more,) = answer(material).more
        rows = [str(row[3]) for row in calendar(material)[0].csv_rows if "Harvest bass" in str(row[3]) and "20 lb" in str(row[3])]
        return dict(more).get("Mind", ""), " ".join(rows)

    mind, calendar_says = caught(8.0)
    assert "B asks for 20 lb/acre of bass a year in 2027–2028, and 7.1 are caught" in mind
    assert "20 lb/acre (22 kg/ha) a year, of which about 36 % is caught" in calendar_says
    mind, calendar_says = caught(25.0)
    assert "asks for" not in mind and "is caught" not in calendar_says and "20 lb/acre" in calendar_says


# ------------------------------------------------------------------ the page


def test_same_input_same_bytes(dataset, folder, tmp_path):
    results.write(dataset, tmp_path / "projection.nc")
    (tmp_path / "again").mkdir()
    write_report([results.read(tmp_path / "projection.nc")], tmp_path / "again" / "report.html")
    first = (folder / "report.html").read_bytes()
    assert (tmp_path / "again" / "report.html").read_bytes() == first
    for file in sorted((folder / "report_tables").iterdir()):
        assert (tmp_path / "again" / "report_tables" / file.name).read_bytes() == file.read_bytes()


def test_nothing_half_written_is_left(folder):
    assert not list(folder.rglob("*.partial"))
    assert {file.suffix for file in folder.rglob("*.*")} == {".html", ".csv"}


def test_self_contained(page, outline):
    tags = {tag for tag, _ in outline.tags}
    assert not tags & {"script", "link", "img", "iframe", "object", "embed", "form", "base", "image", "foreignObject"}
    for _tag, name, value in outline.attributes:
        assert not name.startswith("on") and name not in ("src", "srcset", "action", "xlink:href")
        if name == "href":
            assert value.startswith("#")
    assert re.findall(r"url\((?!#)", page) == [] and "@import" not in page
    assert "http" not in re.sub(r"<li>[^<]*</li>", "", page).replace("http-equiv", "")


def test_valid_structure(outline):
    assert len(outline.ids) == len(set(outline.ids))
    known = set(outline.ids)
    for _tag, name, value in outline.attributes:
        wanted = value.split() if name == "aria-labelledby" else [value[1:]] if name == "href" else []
        wanted += re.findall(r"url\(#([^)]+)\)", value or "")
        assert set(wanted) <= known
    for landmark in ("header", "nav", "main", "h1", "title"):
        assert [tag for tag, _ in outline.tags].count(landmark) == 1 + (
            sum(tag == "svg" and attrs.get("role") == "img" for tag, attrs in outline.tags)
            if landmark == "title"
            else 0
        )
    assert outline.headings[0] == 1
    assert all(b - a <= 1 for a, b in zip(outline.headings, outline.headings[1:], strict=False))
    assert dict(outline.tags)["html"]["lang"] == "en"


def test_tables_have_captions_and_scoped_headers(page):
    tables = re.findall(r"<table.*?</table>", page, flags=re.S)
    assert len(tables) >= 6
    for table in tables:
        assert "<caption>" in table
        heads = re.findall(r"<th(?: [^>]*)?>", table)
        assert heads and all('scope="col"' in head or 'scope="row"' in head for head in heads)


def test_every_picture_has_a_text_alternative_and_a_caption(page):
    pictures = re.findall(r"<figure>.*?</figure>", page, flags=re.S)
    assert len(pictures) >= 12
    for one in pictures:
        assert re.search(
            r"<svg[^>]*role=\"img\"[^>]*><title id=\"[^\"]+\">[^<]+</title><desc id=\"[^\"]+\">[^<]{20,}", one
        )
        assert "<figcaption>" in one and "<h3>" in one
        assert "nan" not in one.lower().replace("alternan", "")


def test_order_of_the_page(page):
    order = ["answer", "cautions", "actions", "years", "hunger", "limits", "sources", "appendix", "assumptions", "again"]
    places = [page.index(f'id="{key}"') for key in order]
    assert places == sorted(places)


TAKE = "Take 17 lb/acre a year of bass of 8–12 in."
SEARCH = [
    Passage("Quota for <light>.\nTake each year:", [["bass of", "2027"], ["8–12 in", "17.5 [12–20]"]], "Fish of the pond."),
    Passage("The scan (8 futures):", [["", "caught"], ["6 + 0", "5.9 [5–7]"]], detail=True),
]


@pytest.fixture(scope="module")
def client(dataset, tmp_path_factory):
    """A comparison, a quota and records on one page."""
    path = tmp_path_factory.mktemp("client")
    carrying = dataset.assign_attrs(update="bass.growth 1.395e+04", update_table=LEARNED)
    results.write(carrying, path / "projection.nc")
    (path / "quota").mkdir()
    (path / "quota" / "quota.json").write_text(to_json("An invented pond", SEARCH, TAKE), "utf-8")
    (path / "verified").mkdir()
    (path / "verified" / "verify.json").write_text(to_json("An invented pond", [Passage("The pond <follows> it.")]), "utf-8")
    names = ["--pond", "Hill <pond>", "--client", "A. Client", "--consultant", "B. Consultant"]
    parts = [str(path), str(path / "quota"), str(path / "verified"), str(RECORDS)]
    assert main(["report", *parts, "--out", str(path / "plan.html"), *names]) == 0
    return path


def test_one_document_joins_comparison_search_and_records(client):
    text = (client / "plan.html").read_text("utf-8")
    outline = Outline(text)
    assert len(outline.ids) == len(set(outline.ids))
    assert "Hill <pond>: An invented pond" in outline.text and "For A. Client. Prepared by B. Consultant" in outline.text
    order = ["answer", "cautions", "records", "sizes", "search-0", "search-1", "actions", "limits", "sources", "appendix"]
    places = [text.index(f'id="{key}"') for key in order]
    assert places == sorted(places)
    contents = text[text.index("<nav") : text.index("</nav>")]
    for key in ("records", "search-0", "actions", "appendix"):
        assert f'href="#{key}"' in contents
    assert "How many bass to take" in contents and "Quota for <light>." in outline.text
    assert ["8–12 in", "17.5", "12–20"] in [row for table in outline.tables for row in table]
    for words in [words for _, words in (*CAUTIONS, MODEL_CAUTION, GEAR_CAUTION)]:
        assert outline.text.count(words) == 1  # said once
    assert text.count('id="sources"') == 1 and "<p>The pond &lt;follows&gt; it.</p>" in text
    assert "The scan" not in text.partition('id="appendix"')[0]  # of interest to who checks the search


def test_a_page_with_several_harvests_says_which_is_the_advice(client, page):
    text = Outline((client / "plan.html").read_text("utf-8")).text
    lead = text.partition("Contents")[0]
    assert f"How many bass to take: {TAKE} That is the quota, searched for this pond" in lead
    assert "the amounts with the records are what agencies advise for such ponds in general" in lead
    assert "How many bass to take" not in Outline(page).text.partition("Contents")[0]  # one harvest only
    actions = text[text.index("The coming twelve months") :]
    assert TAKE in actions.partition("Harvest of bass as the strategies had it when they were compared")[0]


def test_without_a_quota_the_harvests_of_the_strategies_are_told_beside_what_is_advised_in_general(dataset):
    said = answer(gather([dataset], "us"))
    told = _how_many(said, [], assessment=True)
    for case in said.equals:
        assert f"{case.letter} takes " in told
    assert told.endswith("the amounts with the records are what agencies advise for such ponds in general.")
    assert ("none of them is surely better" in told) == (len(said.equals) > 1)
    none = _how_many(said, [Search("How many bass to take", "", "", [])], None)
    assert none.startswith("No harvest of bass keeps all that the goals ask for") and "takes" in none
    assert _how_many(said, [], None) == ""


def test_what_a_strategy_takes_does_not_hang_on_how_the_calendar_words_it(dataset, monkeypatch):
    said = answer(gather([dataset], "us"))
    told = _how_many(said, [], assessment=True)
    plain = phrases.actions
    monkeypatch.setattr(phrases, "actions", lambda *a: [replace(one, what=f"Now: {one.what}") for one in plain(*a)])
    assert _how_many(said, [], assessment=True) == told and " lb/acre" in told


def survey(folder, bass_in, bluegill_in):
    """Records of one day of electrofishing: 60 fish of each length, none weighed."""
    fish = [*(("bass", inches) for inches in bass_in), *(("bluegill", inches) for inches in bluegill_in)]
    rows = [f"2025-04-10,electrofishing,{species},{inches},,60" for species, inches in fish]
    folder.mkdir()
    (folder / "survey.csv").write_text("\n".join(["date,gear,species,length_in,weight_lb,count", *rows]) + "\n", "utf-8")
    (folder / "effort.csv").write_text("date,gear,hours,hauls\n2025-04-10,electrofishing,2,\n", "utf-8")
    return assess_records(folder)


@pytest.fixture
def unpictured(monkeypatch):
    """Pages without pictures, which take most of the time of a page, where only its words are read."""
    monkeypatch.setattr("pondpop.report.figures.draw_all", lambda *_: iter(()))
    monkeypatch.setattr("pondpop.report.comparisons.squares", lambda *_: None)


CROWDED, BALANCED = ((9, 10, 11, 11.5), (4, 7, 7.5, 8.2)), ((9, 11, 13, 16), (4, 5, 7))


@pytest.mark.parametrize("quota", ["", TAKE_NONE])
@pytest.mark.parametrize("fertility, amount", [("fertilized", "25 to 35 lb an acre"), ("unfertilized", "10 lb an acre")])
def test_where_bass_are_crowded_an_answer_of_none_does_not_overrule_thinning(tmp_path, fertility, amount, quota, unpictured):
    found = survey(tmp_path / "records", *CROWDED)
    pond = raw_scenario(pond={"area_acres": 3, "fertility": fertility})
    lead = Outline(
        make_page(gather([dataset_of(pond)], "us"), "t", found, [Search("How many bass to take", "", quota, [])])[0]
    ).text.partition("Contents")[0]
    assert "Is it balanced? No: bass are crowded" in lead
    assert f"The survey found bass crowded, and agencies advise to thin such bass: {amount} a year" in lead
    assert "so its “none” should not overrule that: decide with a certified professional." in lead
    assert "Do next: Settle with a certified professional whether to thin" in lead


def test_bass_that_are_not_crowded_leave_the_answer_as_it_is(tmp_path, unpictured):
    made = gather([dataset_of(raw_scenario())], "us")
    page = make_page(made, "t", survey(tmp_path / "records", *BALANCED), [Search("How many bass to take", "", "", [])])[0]
    head = re.match(r'<!doctype html>\n<html lang="en"><head>.+</title>\n<meta [^>]+>\n<meta ', page)
    assert head, page[:300]
    lead = Outline(page).text.partition("Contents")[0]
    assert "Is it balanced? Yes: the pond is in balance" in lead and "overrule" not in lead and "Settle" not in lead
    assert "Is it balanced" not in Outline(make_page(made, "t")[0]).text


@pytest.mark.parametrize("many", [3, 10, 30])
def test_a_wide_table_of_a_search_is_told_in_parts_that_fit_on_paper(many):
    head = ["", *(f"effect {k}" for k in range(many))]
    rows = [[name, *(f"{k} [{k - 1}–{k + 1}]" if k % 3 else f"{k}" for k in range(many))] for name in ("quota", "half")]
    page = searches_page([Search("A search", "t", "", [Passage("Said."), Passage("What it does:", [head, *rows])])])
    parts = [table for table in Outline(page).tables if table[0][-1].startswith("effect")]
    assert [cell for table in parts for cell in table[0][1:]] == head[1:]
    assert all(len(table[1]) - 1 <= 12 and [row[0] for row in table[1:]] == ["quota", "half"] for table in parts)
    assert page.count("<caption>What it does.") == 1 and page.count("<caption>The same, continued.") == len(parts) - 1
    assert (len(parts) == 1) == (many == 3) and ("swipe the table sideways" in page) == (many == 30)


@pytest.mark.parametrize(("wide", "swiped"), [(9, False), (10, True)])
def test_a_table_of_ten_columns_may_be_wider_than_a_phone(wide, swiped):
    rows = [["", *(f"effect {k}" for k in range(wide))], ["quota", *map(str, range(wide))]]
    page = searches_page([Search("A search", "t", "", [Passage("What it does:", rows)])])
    assert ("swipe the table sideways" in page) == swiped


def test_searches_alone_make_a_page_without_a_run(client, tmp_path, capsys):
    out = tmp_path / "page.html"
    parts = [str(client / "verified"), str(client / "quota" / "quota.json"), "--out", str(out), "--client", "A. Client"]
    assert main(["report", *parts]) == 0
    text = out.read_text("utf-8")
    outline = Outline(text)
    assert len(outline.ids) == len(set(outline.ids)) and "For A. Client" in outline.text
    assert text.index('id="answer"') < text.index('id="search-0"') < text.index('id="search-1"') < text.index('id="searched"')
    assert ["8–12 in", "17.5", "12–20"] in [row for table in outline.tables for row in table]
    assert outline.text.count("The pond <follows> it.") == 2 and "The scan" in text.partition('id="searched"')[2]
    assert "The scan" not in text.partition('id="searched"')[0]
    assert {path.name for path in tmp_path.iterdir()} == {"page.html"}
    assert main(["report", *parts]) == 0 and out.read_text("utf-8") == text
    assert main(["report", *parts, "--units", "us"]) == 2
    assert "--units: got a page without a comparison" in capsys.readouterr().err
    out.write_text("A page of another hand", "utf-8")
    with pytest.raises(InputError, match="which pondpop did not write"):
        write_searches([client / "quota" / "quota.json"], out)
    assert main(["report", *parts]) == 2 and out.read_text("utf-8") == "A page of another hand"


def test_the_words_of_developers_stand_in_the_appendix_alone(client):
    text = (client / "plan.html").read_text("utf-8")
    body, _, appendix = text[text.index("<main>") :].partition('id="appendix"')
    seen = re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", body, flags=re.S))
    for pattern in (r"\d(\.\d+)?e[+-]?\d", r"\b(bass|bluegill|shad|minnow|pond)\.[a-z]+", r"\bseed\b", r"projection\.nc"):
        assert not re.search(pattern, seen), pattern
    for words in ("1.395e+04", "seed", "The scan", "plan_tables/goals.csv"):
        assert words in appendix


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        (["quota", "records"], "got no comparison, needs at least one projection.nc"),
        (["projection.nc", "empty"], "empty: got a folder with nothing of the kind, needs a result of compare, quota"),
        (["projection.nc", "records", "records"], "got 2 folders of records, needs those of one pond"),
        (["projection.nc", "damaged"], "quota.json: the file is damaged, or pondpop did not write it; make it again"),
        (["projection.nc", "--out", "plan.pdf"], "open it in a browser and print it"),
        (["projection.nc", "--client", "bad\nname"], "--client: got"),
    ],
)
def test_what_cannot_be_joined_is_refused(client, parts, says, monkeypatch, capsys):
    monkeypatch.chdir(client)
    for name in ("empty", "damaged", "records"):
        (client / name).mkdir(exist_ok=True)
    (client / "records" / "survey.csv").write_text("date,gear,species,length_in\n", "utf-8")
    (client / "damaged" / "quota.json").write_text(to_json("t", SEARCH).replace('"bass of"', "7"), "utf-8")
    before = sorted(client.rglob("*"))
    assert main(["report", *parts]) == (1 if "damaged" in parts else 2)
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1) and says in err, err
    assert sorted(client.rglob("*")) == before


def test_cautions_are_in_every_report(outline):
    for _, words in (*CAUTIONS, MODEL_CAUTION):
        assert words in outline.text
    for word in ("state agency", "certified fisheries professional", "advisories", "Electrofishing", "Ice"):
        assert word in outline.text


def test_scenario_text_is_escaped_and_shown():
    raw = raw_scenario(report={"consultant": HOSTILE, "note": f"one\n{HOSTILE}"})
    raw["title"] = f"=1+1 {HOSTILE}"
    raw["strategies"]["light"]["title"] = f"=cmd {HOSTILE}"
    raw["strategies"]["hard"]["title"] = "for $5 or $6"
    carrying = dataset_of(raw, 3).assign_attrs(assessment=f"Bass PSD 40 (31–50) {HOSTILE}")
    material = gather([carrying], "metric")
    text, sheets = make_page(material, "tables")
    outline = Outline(text)
    assert "<script" not in text
    assert "Pond of 1.62 ha (4 acres)" in outline.text
    assert f"What was learned from the records Assessment Bass PSD 40 (31–50) {HOSTILE}" in outline.text
    assert f"Prepared by {HOSTILE}" in outline.text and f"one {HOSTILE}" in outline.text
    assert f"A: =cmd {HOSTILE[:20]}" in outline.text
    assert ">B: for $5 or $6</text>" in text  # above the panels of the pictures, dollars and all
    for sheet in sheets:
        for row in csv.reader(io.StringIO(sheet.to_csv())):
            assert not any(cell.startswith(("=", "+", "@")) for cell in row)
            assert not any(cell.startswith("-") and not re.fullmatch(r"-?[\d.e+-]+", cell) for cell in row)


LEARNED = """about,quantity,unit,observed,prior_p10,prior_p50,prior_p90,posterior_p10,posterior_p50,posterior_p90,note
model,productivity,,,0.5,1,2,0.8,0.9,1.0,
model,growth of bass,,,0.9,1,1.1,0.8,1,1.2,
pond,bass_psd,%,,20,40,60,30,35,40,
record,2030-04-01 electrofishing bass: caught,fish,50,10,30,90,40,52,60,
record,2030-04-01 seine bass: caught,fish,0,0,0.1,0.2,0,0.1,0.2,
record,2030-04-01 electrofishing bass: mean length,mm,254,200,250,300,240,250,260,not used: no member explains it
"""


def test_an_update_is_shown_before_and_after(dataset, unpictured):
    carrying = dataset.assign_attrs(update="learned", update_table=LEARNED)
    text, _ = make_page(gather([carrying], "us"), "tables")
    seen = Outline(text).text
    for title in ("What the records narrowed", "The pond at the last record", "Fish caught", "Mean length of the catch"):
        assert title in seen
    assert "productivity 1 before, 0.9 after" in text and "growth of bass 1 before" not in text  # it did not narrow
    assert "electrofished bass 9.84 before, 9.84 after, 10 observed" in text  # inches
    assert "2030-04-01 seine" not in text  # nothing there before, nothing seen
    assert "What the records narrowed" not in Outline(make_page(gather([dataset], "us"), "tables")[0]).text
    metric, _ = make_page(gather([carrying], "metric"), "tables")
    assert "electrofished bass 250 before, 250 after, 254 observed" in metric


def test_units_of_the_page(dataset):
    told = [str(row[3]) for row in calendar(gather([dataset], "metric"))[0].csv_rows]
    assert any("of 51 mm (2 in): 190 per ha (75 per acre)" in text for text in told)
    us = read_csv_of(dataset, "us", "bass_psd")
    assert read_csv_of(dataset, "metric", "bass_psd") == us  # units never change a PSD
    crop = [float(read_csv_of(dataset, units, "bass_standing_crop")[0][7]) for units in ("us", "metric")]
    assert crop[1] / crop[0] == pytest.approx(1.1208511, rel=1e-6)


def read_csv_of(dataset, units, quantity):
    return [row for row in tables.outcomes(gather([dataset], units))[0].csv_rows if row[3] == quantity]


def empty(ds):
    for name in ds.data_vars:
        if name != "water_temperature":
            undefined = name in ("relative_weight", "largest_weight", "group_length", "group_weight")
            ds[name].values[:] = np.nan if undefined else 0.0


def all_goals(raw):
    raw["goals"] = [{"kind": "big_bass"}, {"kind": "bass_above", "above_lb": 8}, {"kind": "cost", "by_year": 2}]
    raw["costs"] = {"per_bass": 1.5, "per_hour": 12}


def everything(raw):
    raw["run"]["years"] = 1
    common = raw["strategies"]["hard"]
    common["removal"] = [{"name": "out", "species": "bass", "date": "2026-10-01", "share": 1, "cost": 100}]
    common["feeding"] = [{"name": "pellets", "lb_per_acre_day": 2, "season": ["04-01", "09-30"]}]
    common["angling"] = [{"name": "friends", "hours_per_acre": 20, "death_after_release": 0.1}]
    raw["stocking"] = [
        {"name": "old", "species": "bass", "resident": True, "per_acre": 5, "length_in": 12},
        {"name": "shad", "species": "shad", "date": "2027-01-10", "per_acre": 500, "length_in": 3},
    ]


def lonely(raw):
    """One strategy, and no goals."""
    del raw["strategies"]["light"], raw["goals"]


@pytest.mark.parametrize(
    ("edit", "members", "change"),
    [(None, 1, None), (None, 4, empty), (lonely, 4, None), (all_goals, 4, None), (everything, 1, empty)],
)
def test_any_outcome_can_be_told(edit, members, change, tmp_path):
    raw = raw_scenario()
    raw["run"]["years"] = 2
    if edit is not None:
        edit(raw)
    write_report([dataset_of(raw, members, change=change)], tmp_path / "r.html")
    outline = Outline((tmp_path / "r.html").read_text(encoding="utf-8"))
    assert not re.search(r"\b(nan|inf|None(?! is likely))\b", outline.text)
    if members == 1:
        text = (tmp_path / "r.html").read_text(encoding="utf-8")
        assert " of 10" not in text[text.index('id="answer"') : text.index('id="actions"')]


def test_a_shad_stocking_in_cold_water_is_warned_of():
    raw = raw_scenario()
    everything(raw)
    told = [str(row[3]) for row in calendar(gather([dataset_of(raw)], "us"))[0].csv_rows]
    assert any("too cold for threadfin" in text for text in told)


AERATOR = {"kind": "paddlewheel", "power_hp": 2, "season": ["05-01", "09-30"], "from_year": 3}


def test_an_aerator_that_comes_later_stands_in_the_calendar():
    raw = raw_scenario(aeration=[AERATOR])
    _, later, *_ = calendar(gather([dataset_of(raw)], "us"))
    (words,) = [str(row[-1]) for row in later.rows if "aerator" in str(row[-1])]
    assert words.startswith("Run the paddlewheel aerator (2 hp, 1.49 kW) at night while oxygen is below 3 mg/l")
    assert "licensed electrician" in words


@pytest.mark.parametrize("coldest", [1.5, 7.0])
def test_the_calendar_asks_for_oxygen_under_ice_where_there_may_be_ice(coldest):
    def cold(ds):
        ds["water_temperature"].values[:] = np.maximum(ds["water_temperature"].values - 7.0 + coldest, 1.0)

    told = [str(row[3]) for row in calendar(gather([dataset_of(raw_scenario(), change=cold)], "us"))[0].csv_rows]
    assert any("under the ice" in text for text in told) == (coldest < 3.0)
    assert any(text.startswith("Check oxygen at dawn") for text in told)


def test_several_files_side_by_side(dataset, tmp_path):
    other = raw_scenario()
    other["title"] = "Another pond"
    write_report([dataset, dataset_of(other, seed=2)], tmp_path / "r.html")
    outline = Outline((tmp_path / "r.html").read_text(encoding="utf-8"))
    assert "An invented pond / Another pond" in outline.text
    assert len(outline.ids) == len(set(outline.ids))
    rows = read_csv(tmp_path / "r_tables" / "outcomes.csv")
    assert {row["strategy"] for row in rows} == {"A", "B", "C", "D"}


def test_the_command_makes_the_page_from_files_alone(dataset, tmp_path):
    for name in ("one", "two"):
        results.write(dataset, tmp_path / f"{name}.nc")
    assert main(["report", str(tmp_path / "one.nc"), str(tmp_path / "two.nc"), "--units", "metric"]) == 0
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Pond of 1.62 ha (4 acres)" in text and "D: take small ones" in text


def test_the_command_tells_the_calendar_from_a_day(dataset, tmp_path, capsys):
    results.write(dataset, tmp_path / "one.nc")
    assert main(["report", str(tmp_path / "one.nc"), "--today", "2027-04-10"]) == 0
    assert "The coming twelve months, from 10 April 2027" in (tmp_path / "report.html").read_text(encoding="utf-8")
    assert main(["report", str(tmp_path / "one.nc"), "--today", "2040-04-10"]) == 2
    assert "--today: got 2040-04-10, needs a date from 2026-03-15 to 2029-03-14" in capsys.readouterr().err


def test_length_frequency_of_survey_counts():
    counts = np.zeros(32)
    counts[[8, 9, 12]] = 10, 20, 3
    one = length_frequency({"2026-10-15": counts, "2027-04-15": np.zeros(32)}, "bass", "lf", "Lengths of bass measured")
    assert one.svg.startswith("<svg") and "33 fish, most of 9–10 in" in one.words
    assert one == length_frequency({"2026-10-15": counts, "2027-04-15": np.zeros(32)}, "bass", "lf", one.title)


def test_panels_over_time_share_the_time_of_the_runs(dataset):
    cases = gather([dataset], "us").cases
    with look():
        _, panels = _time_panels(cases, "lb")
    run = cases[0].projection.scenario.run
    wanted = [day.year + (int(f"{day:%j}") - 1) / (365 + (day.year % 4 == 0)) for day in (run.start, run.end)]
    assert len(panels) == 2
    for axes in panels:
        assert axes.get_xlim() == pytest.approx(wanted, abs=1e-9)


def test_every_bar_of_lengths_stands_within_its_panel(monkeypatch):
    kept = []
    stacked = figures.stacked
    monkeypatch.setattr(figures, "stacked", lambda *given, **more: kept.append(stacked(*given, **more)) or kept[-1])
    length_frequency({"a": np.arange(32.0), "b": np.eye(32)[20]}, "bluegill", "lf", "Lengths")
    ((_, panels),) = kept
    for axes, tallest in zip(panels, (31.0, 1.0), strict=True):
        assert max(bar.get_height() for bar in axes.patches) == tallest < axes.get_ylim()[1] < 1.2 * tallest
        assert all(bar.get_x() + bar.get_width() <= axes.get_xlim()[1] for bar in axes.patches if bar.get_height())


# ------------------------------------------------------------------ words and looks


def test_chances_are_told_in_tenths_and_never_as_certain():
    assert in_ten(0.8) == "8 of 10" and in_ten(0.5) == "5 of 10"
    assert in_ten(1.0) == "more than 9 of 10" and in_ten(0.0) == "less than 1 of 10"
    assert in_ten(1.0, members=4) == "9 of 10"
    assert in_ten(float("nan")) == "not known"


@pytest.mark.parametrize(
    ("value", "kind", "shown"),
    [(52.4, "percent", "52"), (-0.2, "percent", "0"), (116.2, "crop", "120"), (0.034, "fish", "<0.1"),
     (0.0, "fish", "0"), (50.8, "length", "51"), (10.64, "length", "10.6"), (float("nan"), "crop", "–"),
     (1234.0, "density", "1,200")],
)  # fmt: skip
def test_no_more_digits_than_a_number_deserves(value, kind, shown):
    assert figure_of(value, kind) == shown


def test_bands_that_say_nothing_are_not_shown():
    assert with_band([1.0, 2.0, 3.0], "ratio") == ("2", "1–3")
    assert with_band([51.6, 52.0, 52.3], "percent") == ("52", "")
    assert with_band([float("nan")] * 3, "percent") == ("–", "")
    assert with_band([0.0, 0.0, 0.02], "fish") == ("0", "")


def test_months_in_words():
    assert months_in_words([11, 12, 1, 2]) == "November–February"
    assert months_in_words([4, 6, 7]) == "April and June–July"
    assert months_in_words(range(1, 13)) == "every month" and months_in_words([]) == ""


def test_cells_that_a_spreadsheet_would_run_are_made_harmless():
    assert harmless("=1+1") == "'=1+1" and harmless(" @x") == "' @x" and harmless("\tx") == "'\tx"
    assert harmless("75 per acre") == "75 per acre"
    assert harmless(-3.5) == "-3.5" and harmless(float("nan")) == ""


def luminance(colour):
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_no_title_of_a_panel_is_cut():
    raw = raw_scenario()
    raw["strategies"]["light"]["title"] = "leave them all alone until the last of the small ones has grown up"
    raw["goals"] = [{"kind": "bass_above", "above_lb": 5, "by_year": 2}, {"kind": "balanced"}]
    text, _ = make_page(gather([dataset_of(raw)], "us"), "tables")
    drawn = re.findall(r"<text[^>]*>([^<]*)</text>", text)
    assert drawn and not any("…" in words for words in drawn)
    assert "A" in drawn and "B: take small ones" in drawn and "2027" in drawn


@pytest.mark.parametrize("seed", range(20))
def test_labels_of_years_meet_no_mark_no_other_label_and_no_edge(seed):
    random = np.random.default_rng(seed)
    x, y = random.uniform(0, 100, 9), np.minimum(100, random.uniform(20, 160, 9))  # many at the ceiling, as bass PSD is
    chosen = _labelled(x, y, np.arange(9))
    assert chosen
    boxes = [(x[i] + side * (LABEL_WIDE / 2 + 4), y[i]) for i, side in chosen]
    for n, (a, b) in enumerate(boxes):
        assert a - LABEL_WIDE / 2 >= 0
        assert all(abs(a - c) > LABEL_WIDE or abs(b - d) > LABEL_HIGH for c, d in boxes[:n])
        assert not any(abs(x[j] - a) < LABEL_WIDE / 2 and abs(y[j] - b) < LABEL_HIGH / 2 for j in range(9) if j != chosen[n][0])


def test_a_year_is_drawn_no_larger_than_the_room_that_is_kept_for_it(monkeypatch):
    kept = []
    monkeypatch.setattr(figures, "picture", lambda figure, *_: kept.append(figure))
    cases = gather([dataset_of(raw_scenario(), seed=k) for k in range(2)], "us").cases
    assert len(cases) > 2  # the smallest panels
    with look():
        figures.psd_pair(cases, "balanced", "pair")
        renderer = FigureCanvasAgg(kept[0]).get_renderer()
        years = [(axes, text) for axes in kept[0].axes for text in axes.texts if text.get_text().isdigit()]
        assert years
        for axes, text in years:
            box = axes.transData.inverted().transform(text.get_window_extent(renderer))
            wide, high = np.diff(box, axis=0)[0]
            assert wide <= LABEL_WIDE < 2.0 * wide and high <= LABEL_HIGH < 2.0 * high


def test_the_last_year_is_labelled_where_there_is_room():
    x = np.array([20.0, 40.0, 60.0])
    assert _labelled(x, np.array([10.0, 90.0, 95.0]), np.arange(3))[0][0] == 2


def test_the_classes_of_a_survey_are_no_groups_to_follow():
    raw = raw_scenario()
    raw["stocking"].append({"name": "bass_9_0_10_0in", "species": "bass", "resident": True, "per_acre": 9, "length_in": 9.5,
                            "share_cv": 0.5})  # fmt: skip
    text, _ = make_page(gather([dataset_of(raw)], "us"), "tables")
    seen = text[: text.index('id="appendix"')]
    assert "bass_9_0_10_0in" not in seen and "bass 9 0 10 0in" not in seen


def test_the_name_of_the_pond_stands_once_in_the_title(unpictured):
    for title, told in (("Hill Pond: how many?", "Hill Pond: how many?"), ("How many?", "Hill pond: How many?")):
        text, _ = make_page(gather([dataset_of(raw_scenario() | {"title": title})], "us"), "tables", whom=For("Hill pond"))
        assert f"<h1>{told}</h1>" in text


def test_a_strategy_without_harvest_has_no_empty_panel():
    cases = gather([dataset_of(raw_scenario(), change=lambda ds: ds["harvest_biomass"].values[0].fill(0.0))], "us").cases
    with look():
        one = harvest(cases, "harvest")
    assert "Nothing under A." in one.caption and ">B: take small ones<" in one.svg and ">A" not in one.svg


def test_prey_and_need_stand_in_columns_of_numbers(dataset):
    material = gather([dataset], "us")
    found = forage_supply.table(material, material.cases[0])[0]
    assert found.header[0] == "Month" and found.header[-1] == "Short" and len(found.rows) == 12
    for row in found.rows:
        assert len(row) == len(found.header)
        assert all(cell == NONE or re.fullmatch("<?[0-9.,]+", part) for cell in row[1:-1] for part in cell)
    columns = [[row[k] for row in found.rows] for k in range(1, len(found.header) - 1)]
    assert columns and not any(set(column) == {NONE} for column in columns)
    assert all(isinstance(row[3], int) for row in found.csv_rows)


def test_csv_headings_are_ascii_and_numbers_have_the_digits_that_are_meant(folder):
    sheets = sorted((folder / "report_tables").glob("*.csv"))
    numbers = 0
    for sheet in sheets:
        head, *rows = csv.reader(io.StringIO(sheet.read_text("utf-8")))
        assert all(re.fullmatch("[a-z0-9_]+", name) for name in head), sheet
        for cell in (cell for row in rows for cell in row):
            assert "–" not in cell, (sheet, cell)
            if re.fullmatch(r"-?[0-9]+\.[0-9]+(e.*)?", cell):
                numbers += 1
                assert len(cell.replace(".", "").lstrip("-0")) <= 4 and "e" not in cell, (sheet, cell)
    assert numbers > 100 and len(sheets) >= 9


def test_long_tables_may_be_broken_between_pages_and_short_ones_not():
    rows = [["a", "1"]] * 13
    assert 'class="texts long"' in tables.Table("x", "", ["", ""], rows, [], look="texts").to_html()
    assert 'class="texts"' in tables.Table("x", "", ["", ""], rows[:12], [], look="texts").to_html()
    assert "table:not(.long){break-inside:avoid}" in CSS


def test_lines_that_lie_at_nothing_are_left_out_and_named():
    def no_shad(ds):
        ds["biomass"].values[:, :, :, [SPECIES.index("shad"), SPECIES.index("redear")]] = 0.0

    raw = raw_scenario()
    raw["stocking"].append({"species": "shad", "date": "2026-04-20", "per_acre": 400, "length_in": 3})
    with look():
        one = crop(gather([dataset_of(raw, change=no_shad)], "us").cases, "crop")
    assert "Hardly any shad at" in one.caption and ">shad<" not in one.svg and ">bass<" in one.svg  # redear never lived there


def test_ponds_side_by_side_do_not_share_colours():
    material = gather([dataset_of(raw_scenario(), seed=k) for k in range(5)], "us")
    assert len({case.look[0] for case in material.cases}) == len(material.cases) == 10


def test_text_has_contrast_and_lines_differ_without_colour(page):
    named = dict(re.findall(r"--(\w+):(#[0-9a-f]{6})", CSS))
    for text in ("ink", "soft", "deep", "warn"):
        for ground in ("paper", "wash"):
            assert contrast(named[text], named[ground]) >= 4.5
    drawn = set(re.findall(r"<text style=\"[^\"]*fill: (#[0-9a-f]{6})", page))
    assert INK in drawn and len(drawn) > 3
    for colour in drawn:
        assert contrast(colour, named["paper"]) >= 4.5, colour
    dashes, markers = [str(look[1]) for look in LOOKS], [look[2] for look in LOOKS]
    assert len(set(dashes)) == len(set(markers)) == len(LOOKS)


def test_words_without_a_range_take_the_column_of_ranges_too():
    rows = [["Wr", ("94", "91–101"), "90"], ["won", ("in 3 of 10; lost in 2 of 10", ""), "80"]]
    wide, narrow = (tables.Table("x", "", ["", "A", "B"], rows, [], look=look).to_html() for look in ("bands", "numbers"))
    assert '<td>94</td><td class="range">91–101</td><td>90</td>' in wide
    assert "<td colspan=2>in 3 of 10; lost in 2 of 10</td><td>80</td>" in wide
    assert '<td>in 3 of 10; lost in 2 of 10</td><td class="range"></td><td>80</td>' in narrow


@pytest.mark.parametrize("third", [{}, {"none": {"title": "no bass of any length"}}])
def test_an_answer_among_more_than_two_is_told_against_each_of_the_others(third, unpictured):
    content = raw_scenario()
    content["strategies"] |= third
    page = make_page(gather([dataset_of(content)], "us"), "t")[0]
    assert ("Against each of the others" in Outline(page).text) == bool(third)
