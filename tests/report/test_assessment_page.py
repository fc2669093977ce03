"""The page of an assessment: what stands on it, that it is whole, safe and the same each time."""

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from pondpop.assess import assess_records
from pondpop.cli import main
from pondpop.records import read_records
from pondpop.report import For, assessment_page
from pondpop.report.assessment_page import _wr_picture, assessment_part
from pondpop.report.pond_state import kind_of, too_early

SHIPPED = Path(__file__).parents[2] / "scenarios" / "records"
HEAD = "date,gear,species,length_in,weight_lb\n"


@pytest.fixture(scope="module")
def found():
    return assess_records(read_records(SHIPPED))


@pytest.fixture(scope="module")
def page(found):
    return assessment_page(found, "us", For("Invented <Pond> & Sons", "A. Client", 'B. "Consultant"'))


def test_the_answer_stands_first_with_cautions_beside_it(found, page):
    advice = found.advice()
    first = page.index("</section>", page.index('<h2 id="answer">'))
    for line in advice.steps:
        assert page.index(line.replace("&", "&amp;")) < first
    assert page.index("Cautions</h2>") < page.index('<h2 id="sizes">')
    for words in ("state agency", "certified", "Electrofishing is for trained crews", "consumption advisories"):
        assert words in page
    assert "This model" not in page  # nothing was projected


def test_every_figure_of_psd_and_condition_stands_on_it_with_its_limits(found, page):
    for survey in found.surveys:
        for f in survey.findings:
            if f.quantity.endswith("_psd") or ("_wr_" in f.quantity and "left_out" not in f.quantity):
                assert f'<td>{f.value:.0f}</td><td class="range">{f.low:.0f}–{f.high:.0f}</td>' in page, f.quantity
    assert page.count("<svg") >= 5 and "Lengths of bass, electrofishing" in page and "Relative weight, 2025-04-16" in page
    for key in ("sizes", "condition", "catch", "growth", "anglers", "changes", "read"):
        assert f'<h2 id="{key}">' in page, key
    assert "bass growth" not in page and "share that lives through a year" in page


def test_names_are_made_safe_and_nothing_comes_from_outside(page):
    assert "Invented &lt;Pond&gt; &amp; Sons" in page and "B. &quot;Consultant&quot;" in page and "<Pond>" not in page
    assert "http" not in re.sub(r'xmlns(:\w+)?="[^"]*"', "", page) and "<script" not in page and "src=" not in page
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    for label in re.findall(r'aria-labelledby="([^"]+)"', page):
        assert set(label.split()) <= set(ids)


def test_the_same_records_give_the_same_bytes_and_metric_has_no_pounds(found, page):
    assert page == assessment_page(found, "us", For("Invented <Pond> & Sons", "A. Client", 'B. "Consultant"'))
    metric = assessment_page(found, "metric")
    assert "kg a hectare" in metric and " lb an acre" not in metric and "Assessment of a pond" in metric


@pytest.mark.parametrize("rows", ["", "2026-05-06,EF,LMB,12,\n", "2026-05-06,EF,TFS,4,\n2026-05-06,EF,crappie,9,\n"])
def test_poor_records_get_a_page_that_says_so(tmp_path, rows):
    (tmp_path / "survey.csv").write_text(HEAD + rows, "utf-8")
    page = assessment_page(assess_records(read_records(tmp_path)))
    assert "The state of the pond cannot be told from these records" in page and '<h2 id="gaps">' in page
    if rows:
        assert "Read as: " in page
    assert ("crappie" in page) == ("crappie" in rows)


def test_the_command_writes_the_page_beside_text_and_table(tmp_path, capsys):
    (tmp_path / "records").mkdir()
    (tmp_path / "records" / "survey.csv").write_text(HEAD + "2026-05-06,EF,LMB,12,\n", "utf-8")
    command = ["assess", str(tmp_path / "records"), "--out", str(tmp_path / "out")]
    assert main([*command, "--pond", "Invented Pond"]) == 0
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"assessment.html", "assessment.txt", "assessment.csv"}
    assert "Assessment of Invented Pond" in (tmp_path / "out" / "assessment.html").read_text("utf-8")
    capsys.readouterr()
    assert main([*command, "--client", "bad\nname"]) == 2
    assert "--client: got" in capsys.readouterr().err


def test_a_page_with_a_scenario_tells_the_amount_for_the_fertility_that_its_strategies_share(found):
    fertile, poor = (SimpleNamespace(fertility=f, fertilization=()) for f in (1.0, 0.35))
    changed = SimpleNamespace(fertility=0.35, fertilization=("a rule",))
    assert [kind_of(s) for s in ([fertile, fertile], [poor], [poor, fertile], [poor, changed], [])] == [
        "fertile", "infertile", None, None, None,
    ]  # fmt: skip
    part = assessment_part(found, "us", "infertile")
    assert "10 lb an acre a year from a pond as infertile as this one" in part and "from a fertile pond" not in part
    assert "from a fertile pond" in assessment_part(found, "us")


@pytest.mark.parametrize(("start", "stocked", "wild", "says"), [
    ("2027-02-20", "2027-06-05", (), "of 16 April 2027, but this scenario stocks its first on 5 June 2027"),
    ("2027-04-16", "2027-06-05", (), "of 16 April 2027, but"), ("2027-04-17", "2027-06-05", (), "of 30 May 2027, but"),
    ("2027-02-20", "2027-04-16", (), ""), ("2027-02-20", "2027-06-05", ("bass",), ""), ("2027-02-20", None, (), ""),
])  # fmt: skip
def test_fish_that_no_strategy_has_yet_are_told_to_be_of_another_pond(start, stocked, wild, says):
    """What is there when the run starts is stocked that day; fish of species that nobody stocks may have come by themselves."""
    seen = (dt.date(2027, 5, 30), dt.date(2027, 4, 16), dt.date(2020, 4, 1))
    some = [SimpleNamespace(species="bass", date=date) for date in seen]
    dates = (dt.date(2029, 1, 1), dt.date.fromisoformat(stocked)) if stocked else ()
    put_in = [SimpleNamespace(species="bass", date=date) for date in dates]
    strategy = SimpleNamespace(stocking=put_in, arrivals=[SimpleNamespace(species=one, date=None) for one in wild])
    scenario = SimpleNamespace(run=SimpleNamespace(start=dt.date.fromisoformat(start)), strategies={"a": strategy})
    told = too_early(SimpleNamespace(records=SimpleNamespace(fish=some)), scenario)
    assert (says in told) if says else told == ""


def test_a_bar_of_relative_weight_reaches_from_limit_to_limit(found, monkeypatch):
    drawn = []
    monkeypatch.setattr("pondpop.report.drawing.picture", lambda figure, *words: drawn.append(figure))
    last = next(s for s in reversed(found.surveys) if any("_wr_" in f.quantity and f.high is not None for f in s.findings))
    limits = {f.quantity: (f.value, f.low, f.high) for f in last.findings if "_wr_" in f.quantity and f.high is not None}
    one, other, *_ = limits
    changed = {one: {"low": 0.0}, other: {"low": None, "high": None}}  # a limit of nothing is one, none is none
    findings = tuple(replace(f, **changed.get(f.quantity, {})) for f in last.findings)
    list(_wr_picture(replace(found, surveys=(replace(last, findings=findings),))))
    bars = [sorted(map(float, line.get_ydata())) for axes in drawn[0].axes for line in axes.lines if len(line.get_ydata()) == 2]
    wanted = {**limits, one: (limits[one][0], 0.0, limits[one][2]), other: (limits[other][0],) * 3}
    assert bars == [[pytest.approx(low), pytest.approx(high)] for _, low, high in wanted.values()]
    assert {line.get_markersize() for axes in drawn[0].axes for line in axes.lines if len(line.get_ydata()) == 1} == {4.0}
    assert [axes.get_xlim() for axes in drawn[0].axes] == [(-0.6, len(axes.get_xticks()) - 0.4) for axes in drawn[0].axes]


def test_fish_that_were_left_out_make_no_bar_of_relative_weight_and_none_are_needed_for_one(found, monkeypatch):
    drawn = []
    monkeypatch.setattr("pondpop.report.drawing.picture", lambda figure, *words: drawn.append(figure))
    last = next(s for s in reversed(found.surveys) if any("_wr_" in f.quantity for f in s.findings))
    for kept in (lambda quantity: not quantity.endswith("wr_left_out"), lambda quantity: quantity.endswith("wr_left_out")):
        findings = tuple(f for f in last.findings if kept(f.quantity))
        list(_wr_picture(replace(found, surveys=(replace(last, findings=findings),))))
        assert len(drawn) == 1


def test_lengths_of_the_last_three_surveys_are_drawn(tmp_path):
    days = [f"{year}-04-15" for year in range(2021, 2026)]
    rows = [f"{day},electrofishing,bass,{length},\n" for day in days for length in range(8, 20)]
    (tmp_path / "survey.csv").write_text(HEAD + "".join(rows))
    page = assessment_page(assess_records(read_records(tmp_path)), "us", For("Invented pond", "", ""))
    assert [day for day in days if f">{day}: 12 fish<" in page] == days[2:]
