"""Books that are said to hold every kept fish, tags that anglers hand in, and marks of several years: what they are held
against, and whom they bring under suspicion."""

import datetime as dt

import numpy as np
import pytest
from scipy.stats import nbinom
from small import pond

from pondpop.checks import InputError
from pondpop.ensemble.run import Variant, compare, project_all
from pondpop.observe.gears import gear
from pondpop.records import read_records
from pondpop.records.told import how_read
from pondpop.species import SPECIES
from pondpop.update import prior_uniforms, simulate, up_to
from pondpop.update.from_records import evidence
from pondpop.update.likelihood import (
    ANGLERS_OFF,
    KEPT_ERROR,
    REPORTED,
    REPORTING,
    STRAYS,
    Haul,
    KeptInBooks,
    Outing,
    View,
    doubts,
)
from pondpop.update.shares import HANDED_IN, HANDED_IN_OFF, Recaptured, Returned
from pondpop.update.simulate import Keeping, Marked, Watched, watch_all
from pondpop.update.verify import (
    HARVEST,
    NOT_IN_BOOKS,
    REPORTED_FEWER,
    Estimate,
    Verification,
    estimates,
    of_books,
    verify,
)
from pondpop.update.verify_text import suspicion

BASS = SPECIES.index("bass")
RULE = '[[strategies.few.harvest]]\nname = "large"\nspecies = "bass"\nlength_in = [11, 32]\nper_acre = 5\n'


# --- what is read off a pond


@pytest.fixture(scope="module")
def watched():
    """A pond of old bass alone of which some are kept, as it is watched and as it is projected."""
    scenario = pond(members=3, only="few", extra=RULE)
    few = scenario.strategies["few"]
    few = few._replace(stocking=tuple(event for event in few.stocking if event.name != "young_bass"))
    scenario = scenario._replace(strategies={"few": few})
    last = dt.date(2026, 11, 1)
    past = up_to(scenario, "few", last)
    days = [(dt.date(2026, month, 1) - scenario.run.start).days for month in (4, 6, 8, 11)]
    asked = Watched(
        (days[-1],),
        kept=(Keeping("bass", days[0], days[-1]), Keeping("bass", days[1], days[2]), Keeping("bluegill", days[0], days[-1])),
        returned=(Marked("bass", 1, days[-1], (330.2,) * 4), Marked("bass", 1, days[-1], (203.2,))),
    )
    read = watch_all(past, "few", asked, prior_uniforms(past, "few", last, ()))
    return read, next(project_all([Variant(scenario, "few")]))


def test_fish_kept_between_days_are_those_of_the_projection(watched):
    read, projected = watched
    months = projected["harvest_number"][:, :, BASS]
    assert (months[:, :7].sum(axis=1) > 1.0).all()
    assert read["kept"][:, 0] == pytest.approx(months[:, :7].sum(axis=1), rel=1e-9)  # April to October
    assert read["kept"][:, 1] == pytest.approx(months[:, 2:4].sum(axis=1), rel=1e-9)
    assert (read["kept"][:, 2] == 0.0).all()  # nobody keeps bluegill


def test_marked_fish_are_kept_as_all_fish_of_their_length_are(watched):
    read, projected = watched
    share = projected["harvest_number"][:, :7, BASS].sum(axis=1) / projected["stocked_number"][:, 0, BASS]
    assert read["marked_kept"][:, 0] == pytest.approx(4.0 * share, rel=0.05)
    assert (read["marked_kept"][:, 1] < 0.2 * read["marked_kept"][:, 0] / 4.0).all()  # too short, but for those that grow


def test_a_rule_takes_of_an_inch_class_the_share_between_its_lengths_and_of_the_last_all_that_are_longer():
    share = simulate._inside(8.5 * 25.4, 10.25 * 25.4)
    assert share[[7, 8, 9, 10, 11]] == pytest.approx([0.0, 0.5, 1.0, 0.25, 0.0])
    for longest, last in ((31.0, 0.0), (31.01, 1.0), (99.0, 1.0)):
        assert simulate._inside(15 * 25.4, longest * 25.4)[-1] == last


# --- what books and tags tell


def view(members, reporting=0.0, handed_in=0.0, **seen):
    """Of ponds of 2 ha."""
    z = {REPORTING: np.full(members, reporting), "offset tags handed in bass": np.full(members, handed_in),
         "offset marks bass": np.zeros(members)}  # fmt: skip
    return View({name: np.asarray(values, float) for name, values in seen.items()}, (7,), 2.0, np.full(9, 20.0), z)


def test_books_hold_the_fish_kept_but_for_what_they_miss():
    one = KeptInBooks("2026 books bass", "bass", 7, 0, np.zeros(1))
    kept = np.array([[10.0], [30.0]])
    mean = one.expected(view(2, kept=kept))
    assert mean == pytest.approx(2.0 * kept * np.exp(-0.5 * REPORTED**2) + STRAYS)
    half = one.expected(view(2, -np.log(2.0) / REPORTED, kept=kept))
    assert half - STRAYS == pytest.approx(0.5 * (mean - STRAYS))
    drawn = np.stack([one.draw(mean, np.random.default_rng(k))[:, 0] for k in range(4000)])
    assert drawn.mean(axis=0) == pytest.approx(mean[:, 0], rel=0.02)
    assert drawn.var(axis=0) == pytest.approx(mean[:, 0] + (KEPT_ERROR * mean[:, 0]) ** 2, rel=0.1)
    chance = np.exp([one.log_likelihood(mean, np.array([float(n)])) for n in range(300)])
    assert chance.sum(axis=0) == pytest.approx(np.ones(2))
    n = KEPT_ERROR**-2
    assert chance[20, 0] == pytest.approx(nbinom.pmf(20, n, n / (n + mean[0, 0])))


def test_tags_handed_in_are_a_part_of_those_of_kept_fish():
    one = Returned("2026-04-20 tags bass", "bass", 7, 0, 20, np.zeros(1))
    share = one.expected(view(3, marked_kept=[[4.0], [8.0], [0.0]]))
    centre = HANDED_IN * np.exp(-0.5 * HANDED_IN_OFF**2)
    assert share[:2, 0] == pytest.approx(centre * np.array([0.2, 0.4])) and 0.0 < share[2, 0] < 0.01
    every = np.exp([one.log_likelihood(share, np.array([float(n)])) for n in range(21)])
    assert every.sum(axis=0) == pytest.approx(np.ones(3))
    drawn = np.stack([one.draw(share, np.random.default_rng(k))[:, 0] for k in range(4000)])
    assert drawn.mean(axis=0)[:2] == pytest.approx(20 * share[:2, 0], rel=0.05)
    assert (drawn[:, 0] == 3).mean() == pytest.approx(every[3, 0], abs=0.03)


def test_when_fish_were_marked_tells_how_many_died_and_not_how_many_there_are():
    one = Recaptured("a", "old tags", "bass", "electrofishing", 7, (0, 1), 8, None, 30, np.array([2.0, 6.0]))
    number, marked = np.zeros((3, 1, len(SPECIES), 32)), np.zeros((3, 2, 32))
    number[:, 0, BASS, 12] = 50.0, 100.0, 50.0
    marked[:, :, 12] = (8.0, 16.0), (8.0, 16.0), (12.0, 12.0)  # of the last many of the older ones live on
    share = one.expected(view(3, number=number, marked=marked))
    assert share[0] == pytest.approx(2.0 * share[1]) and share[0].sum() == pytest.approx(share[2].sum())
    assert share[:, 1] / share[:, 0] == pytest.approx([2.0, 2.0, 1.0], rel=1e-3)
    both = [np.array([float(a), float(b)]) for a in range(31) for b in range(31 - a)]
    chance = np.exp([one.log_likelihood(share, data) for data in both])
    assert chance.sum(axis=0) == pytest.approx(np.ones(3))
    drawn = np.stack([one.draw(share, np.random.default_rng(k)) for k in range(3000)])
    assert drawn.mean(axis=0) == pytest.approx(30.0 * share, rel=0.08)
    two_six = [tuple(data) for data in both].index((2.0, 6.0))
    assert (drawn[:, 1] == [2, 6]).all(axis=1).mean() == pytest.approx(chance[two_six, 1], abs=0.02)
    of_all = one.figures(one.data)["old tags 8in_up"][1]
    assert of_all == pytest.approx(100 * 8 / 30)
    assert gear("electrofishing").independent_fish == pytest.approx(one._strengths(share)[0].sum())


# --- records

CATCHES = "date,trip,hours,species,shortest_in,longest_in,kept,released\n"
TRIPS = (
    "2026-05-01,1,2,bass,10,14,3,0",
    "2026-05-01,1,2,bluegill,,,0,4",
    "2027-03-01,1,2,bass,10,14,2,1",
    "2026-04-02,1,1,,,,0,0",
)
WORD = "[books]\ncomplete_from = 2026-04-20\ncomplete_until = 2027-03-20\n"


def folder(path, words="", trips=TRIPS, **files):
    path.mkdir(exist_ok=True)
    (path / "catches.csv").write_text(CATCHES + "\n".join(trips) + "\n")
    if words:
        (path / "columns.toml").write_text(words)
    for name, text in files.items():
        (path / f"{name}.csv").write_text(text)
    return read_records(path, today=dt.date(2028, 1, 1))


def test_kept_fish_count_by_calendar_year_where_the_books_are_said_to_be_complete(tmp_path):
    scenario = pond(years=2, only="few", extra=RULE)
    seen = evidence(folder(tmp_path, WORD), scenario)
    found = [one for one in seen.observations if isinstance(one, KeptInBooks)]
    told = [(one.title, one.data.tolist(), one.k) for one in found]
    assert told == [("2026 books bass", [3.0], 0), ("2027 books bass", [2.0], 1)]
    assert seen.watched.kept == (Keeping("bass", 19, 275), Keeping("bass", 275, 354))
    assert {one.day for one in found} == {275, 354} <= set(seen.watched.days)
    unkept = evidence(folder(tmp_path, WORD), pond(years=2, only="few"))
    assert sum(isinstance(one, KeptInBooks) for one in unkept.observations) == 2  # the forecast has none: seen all the same


def test_books_that_end_on_the_last_of_december_say_nothing_of_the_next_year(tmp_path):
    seen = evidence(folder(tmp_path, WORD.replace("2027-03-20", "2026-12-31")), pond(years=2, only="few", extra=RULE))
    assert [one.title for one in seen.observations if isinstance(one, KeptInBooks)] == ["2026 books bass"]
    assert seen.watched.kept == (Keeping("bass", 19, 275),)


def test_without_the_word_books_are_a_part_of_the_trips(tmp_path):
    records = folder(tmp_path)
    seen = evidence(records, pond(years=2, only="few", extra=RULE))
    assert records.books is None and not seen.watched.kept
    assert not any(isinstance(one, KeptInBooks) for one in seen.observations)
    assert REPORTING not in doubts(seen.observations) and any("angling" in one.title for one in seen.observations)
    off = view(4, kept=np.ones((4, 1)))
    nothing = View(off.seen, off.days, 2.0, off.water_c, {})
    assert of_books(nothing, nothing, 1.0) == {} and set(of_books(off, off, 1.0)) == {REPORTED_FEWER, NOT_IN_BOOKS}


def test_trips_of_a_month_are_as_many_outings_about_the_day_in_their_middle(tmp_path):
    trips = ("2026-05-02,1,1,bass,10,14,1,0", "2026-05-10,1,3,bass,10,14,2,4", "2026-07-05,1,2,,,,0,0")
    seen = evidence(folder(tmp_path, trips=trips), pond(years=2, only="few"))
    (bass,) = (one for one in seen.observations if one.title == "2026 angling bass")
    assert bass.outings == (Outing(37, 4.0, None, 2), Outing(95, 2.0, None, 1)) and bass.times == 3
    assert {37, 95} <= set(seen.watched.days) and bass.data.sum() == 7.0


def test_more_trips_scatter_less_but_for_what_is_wrong_on_all_of_a_year():
    used = gear("angling")

    def haul(times):
        return Haul("2026 angling bass", "bass", "angling", (Outing(7, 4.0, 20.0, times),), np.zeros(33))

    number = np.zeros((1, 1, len(SPECIES), 32))
    number[:, 0, BASS, 12] = 1000.0
    seen = {"number": number, "catch_while_wary": np.ones((1, 1, len(SPECIES)))}
    z = dict.fromkeys(haul(1).doubts, np.zeros(1))
    mean = haul(1).expected(View(seen, (7,), 2.0, np.full(9, 20.0), z))
    more = haul(1).expected(View(seen, (7,), 2.0, np.full(9, 20.0), z | {haul(1).doubts[1]: np.ones(1)}))
    assert more.sum() / mean.sum() == pytest.approx(np.exp(ANGLERS_OFF), rel=0.02)  # but for strays
    assert haul(20).expected(View(seen, (7,), 2.0, np.full(9, 20.0), z)) == pytest.approx(mean)
    for times in (1, 20):
        drawn = haul(times).draw(np.repeat(mean, 20_000, axis=0), np.random.default_rng(1)).sum(axis=1)
        assert drawn.var() == pytest.approx(mean.sum() + (used.catch_cv * mean.sum()) ** 2 / times, rel=0.1)
        lengths = haul(times).draw(np.full((4_000, 33), 30.0), np.random.default_rng(2))[:, :-1]
        share = lengths[:, :16].sum(axis=1) / lengths.sum(axis=1)
        assert share.var() == pytest.approx(0.25 / (used.independent_fish + 1), rel=0.15)  # those of one outing all the same
    close = [np.exp(haul(times).log_likelihood(mean, np.round(mean[0])))[0] for times in (1, 20)]
    assert close[1] > close[0]


def test_a_row_left_out_leaves_unknown_how_many_were_kept(tmp_path):
    trips = (*TRIPS, "2026-06-01,1,2,bass,10,14,x,0", "2027-03-02,1,2,bluegill,,,x,0")
    seen = evidence(folder(tmp_path, WORD, trips), pond(years=2, only="few", extra=RULE))
    assert [one.title for one in seen.observations if isinstance(one, KeptInBooks)] == ["2027 books bass"]
    assert sum("how many were kept is not known" in line for line in seen.unused) == 1


def test_the_word_is_told_and_what_is_odd_about_it(tmp_path):
    records = folder(tmp_path, WORD)
    said = "Said to hold every trip and every kept fish: the catches of 2026-04-20 to 2027-03-20."
    assert ("", said) in list(how_read(records))
    assert not records.notes
    a_day = WORD.replace("2027-03-20", "2026-04-20")
    assert folder(tmp_path / "a_day", a_day).books == (dt.date(2026, 4, 20), dt.date(2026, 4, 20))
    odd = folder(tmp_path / "odd", "[books]\ncomplete_from = 2027-05-01\ncomplete_until = 2029-01-01\n").notes
    assert any("until 2029-01-01, a day after today" in line for line in odd) and any("hold none" in line for line in odd)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("books = true\n", "books: got true, needs a table; write [books]"),
        ("[books]\ncomplete_from = 2026-04-20\n", "books.complete_until: got nothing, needs a date"),
        (WORD.replace("2027-03-20", '"2027-03-20"'), 'books.complete_until: got "2027-03-20", needs a date'),
        (WORD.replace("2027-03-20", "2027-03-20T00:00:00"), "books.complete_until: got 2027-03-20T00:00:00, needs a date"),
        (WORD.replace("2027-03-20", "2026-04-19"), "got 2026-04-19, needs a day from complete_from, 2026-04-20, on"),
        (WORD + "complete = true\n", "books.complete: got"),
    ],
)  # fmt: skip
def test_words_on_books_that_cannot_be_are_refused(tmp_path, words, said):
    with pytest.raises(InputError) as refused:
        folder(tmp_path, words)
    assert said in str(refused.value) and "columns.toml" in str(refused.value) and "\n" not in str(refused.value)


def test_books_without_catches_are_refused(tmp_path):
    (tmp_path / "survey.csv").write_text("date,gear,species,length_in\n2026-05-01,electrofishing,bass,12\n")
    (tmp_path / "columns.toml").write_text(WORD)
    with pytest.raises(InputError, match=r"needs a catches\.csv; add it, or take \[books\] out"):
        read_records(tmp_path)


def test_tags_are_handed_in_within_a_year_of_the_survey(tmp_path):
    fish = "date,gear,species,length_in,tag\n" + "".join(f"2026-05-01,electrofishing,bass,{9 + k},T{k}\n" for k in range(4))
    fish += "2027-03-10,electrofishing,bass,12,T0\n"
    tags = "tag,date,species,event,length_in\n" + "".join(f"T{k},2026-05-01,bass,tagged,{9 + k}\n" for k in range(4))
    scenario = pond(years=2, only="few", extra=RULE)
    none = evidence(folder(tmp_path / "none", survey=fish, tags=tags), scenario)
    assert not none.watched.returned  # perhaps nobody asked for tags
    tags += "T1,2026-07-01,bass,kept,\nT0,2027-03-10,bass,kept,\n"  # the other one by the survey
    seen = evidence(folder(tmp_path / "some", survey=fish, tags=tags), scenario)
    (one,) = (o for o in seen.observations if isinstance(o, Returned))
    assert (one.title, one.tagged, one.data.tolist()) == ("2026-05-01 tags bass", 4, [1.0])
    (asked,) = seen.watched.returned
    assert (asked.first, asked.last) == (30, 344) and len(asked.lengths_mm) == 4  # the records end on 10 March
    tags += "T2,2027-05-01,bass,kept,\n"  # a year on
    later = evidence(folder(tmp_path / "later", survey=fish, tags=tags), scenario)
    (one,) = (o for o in later.observations if isinstance(o, Returned))
    assert one.data.tolist() == [1.0] and later.watched.returned[0].last == 30 + 365


def test_tags_of_a_survey_on_the_last_day_are_not_asked_for(tmp_path):
    days = ("2026-05-01", "2027-03-30", "2027-03-31")
    rows = [(f"T{k}", day) for k, day in enumerate(days)]
    fish = "date,gear,species,length_in,tag\n" + "".join(f"{day},electrofishing,bass,12,{tag}\n" for tag, day in rows)
    tags = "tag,date,species,event,length_in\n" + "".join(f"{tag},{day},bass,tagged,12\n" for tag, day in rows)
    seen = evidence(
        folder(tmp_path, survey=fish, tags=tags + "T0,2026-07-01,bass,kept,\n"), pond(years=1, only="few", extra=RULE)
    )
    assert [(asked.first, asked.last) for asked in seen.watched.returned] == [(30, 364)]


def test_a_projection_is_held_against_complete_books(tmp_path):
    projection = compare(pond(members=20, only="few", extra=RULE))
    trips = [f"2026-06-{day:02},1,2,bass,11,20,2,0" for day in range(1, 11)]
    word = "[books]\ncomplete_from = 2026-04-01\ncomplete_until = 2026-09-01\n"
    found = verify(projection, folder(tmp_path, word, trips))
    (kept,) = (one for one in found.figures if one.name == "kept")
    assert (kept.title, kept.species, kept.seen, kept.unit) == ("books bass", "bass", 20.0, "fish")
    assert 0.0 < kept.band[0] < kept.band[2] < 20.0
    assert {REPORTED_FEWER, NOT_IN_BOOKS, HARVEST} <= {one.assumption for one in found.estimates}


def test_old_tags_are_told_by_the_survey_in_which_they_were_put_on(tmp_path):
    rows = [("2026-05-01", "A0"), ("2026-05-01", "A1"), ("2026-10-01", "B0"), ("2026-10-01", "A0"), ("2027-03-10", "A0"),
            ("2027-03-10", "B0"), ("2027-03-10", "A1")]  # fmt: skip
    fish = "date,gear,species,length_in,tag\n" + "".join(f"{day},electrofishing,bass,13,{tag}\n" for day, tag in rows)
    tags = "tag,date,species,event\nA0,2026-05-01,bass,tagged\nA1,2026-05-01,bass,tagged\nB0,2026-10-01,bass,tagged\n"
    seen = evidence(folder(tmp_path, survey=fish, tags=tags), pond(years=2, only="few"))
    found = [(o.day, o.data.tolist(), o.marked) for o in seen.observations if isinstance(o, Recaptured)]
    assert found == [(183, [1.0], (0,)), (343, [2.0, 1.0], (1, 2))]
    asked = [(one.first, one.last, len(one.lengths_mm)) for one in seen.watched.marked]
    assert asked == [(30, 183, 2), (30, 343, 2), (183, 343, 1)]


# --- suspicion


def _ponds(seed, in_books=1.0, taken=1.0, deaths=0.0, members=120):
    """Three years of books, tags handed in, and the old bass there are, of ponds that differ in harvest and in deaths; those of
    one pond with so large a share of its kept fish in the books, so many times the harvest, and so many more deaths."""
    dealt = np.random.default_rng(seed)
    z, d = 0.25 * dealt.normal(size=members), 0.15 * dealt.normal(size=members)

    def shown(harvest=0.0, died=0.0, count=members):
        kept = 20.0 * np.exp(z[:count] + harvest)
        left = 200.0 - kept - 60.0 * np.exp(d[:count] + died)
        z_of = {REPORTING: reporting[:count], "offset tags handed in bass": handed[:count]}
        seen = {"kept": np.stack([kept] * 3, 1), "marked_kept": np.stack([kept * 1.5] * 3, 1), "left": np.maximum(left, 1.0)}
        return View(seen, (7,), 2.0, np.full(9, 20.0), z_of)

    reporting, handed = dealt.normal(size=(2, members))
    here = shown()
    off = {
        HARVEST: {way: shown(0.75 * way, 0.0, 32) for way in (-1, 1)},
        "natural deaths of bass": {way: shown(0.0, 0.45 * way, 32) for way in (-1, 1)},
    }
    off |= of_books(here, off[HARVEST][1], 0.75)
    kept = 20.0 * taken * np.exp(0.25 * dealt.normal())
    left = 200.0 - kept - 60.0 * np.exp(0.15 * dealt.normal() + deaths)
    written = in_books * np.exp(REPORTED * dealt.normal())
    handed_in = HANDED_IN * np.exp(HANDED_IN_OFF * dealt.normal())
    some = [KeptInBooks(f"{k} books bass", "bass", 7, k, dealt.poisson([2.0 * kept * written]).astype(float)) for k in range(3)]
    some += [
        Returned(f"{k} tags bass", "bass", 7, k, 60, dealt.binomial(60, [min(handed_in * 1.5 * kept / 60, 1.0)]).astype(float))
        for k in range(3)
    ]
    return [*some, Left(dealt.normal(np.log(max(left, 1.0)), 0.1, size=3))], here, off


class Left:
    """The old bass there are, seen three times."""

    doubts = ()

    def __init__(self, data):
        self.data = data

    def expected(self, of):
        return np.log(of.seen["left"])[:, None] * np.ones(3)

    def typical(self, expected):
        return expected

    def draw(self, expected, rng):
        return expected + 0.1 * rng.normal(size=expected.shape)

    def figures(self, data):
        return {f"{k}": ("log", data[..., k]) for k in range(3)}


def named(how_many=30, **pond_like):
    return [{one.assumption for one in estimates(*_ponds(seed, **pond_like)) if one.suspected} for seed in range(how_many)]


def test_books_that_are_complete_are_seldom_suspected():
    every = named(60)
    assert np.mean([bool(some) for some in every]) < 0.2
    assert np.mean([bool(some & {REPORTED_FEWER, NOT_IN_BOOKS}) for some in every]) < 0.1


def test_half_the_kept_fish_missing_from_the_books_are_not_taken_for_deaths():
    every = named(in_books=0.5)
    assert np.mean([REPORTED_FEWER in some for some in every]) >= 0.7
    assert np.mean(["natural deaths of bass" in some for some in every]) < 0.1


def test_fish_kept_beside_the_books_are_told_from_deaths_by_tags():
    every = named(in_books=1.0 / 3.0, taken=3.0)
    assert np.mean([NOT_IN_BOOKS in some for some in every]) >= 0.7
    assert np.mean(["natural deaths of bass" in some for some in every]) <= 0.25
    more = named(deaths=0.8)
    assert np.mean(["natural deaths of bass" in some for some in more]) >= 0.7
    assert np.mean([bool(some & {REPORTED_FEWER, NOT_IN_BOOKS}) for some in more]) < 0.2


def test_what_is_suspected_of_books_is_said_with_what_to_do():
    def said(*some):
        return suspicion(Verification(pond(), "few", dt.date(2026, 4, 1), 40, (), some, ()))

    told = said(Estimate(REPORTED_FEWER, False, 4.0, True))
    assert "ask for less reporting of kept fish (4.0 standard deviations)" in told and "not in the books" in told
    told = said(Estimate(NOT_IN_BOOKS, True, 4.0, True))
    assert "more unreported harvest" in told and "look who else fishes" in told
