"""A commented scenario for each common question, to be made one's own. Standard library only.

The texts are written once, in US units: `<per_acre = 75>` becomes a line of the file and `<75 per_acre>` words, either in
the units asked for, converted and rounded to two digits; `YEAR` and `YEAR+1` are years counted from the first.
All ponds and figures are invented, but for stocking rates that southern states commonly advise for fertilised ponds.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import NamedTuple

from pondpop.units import (
    AREA,
    CROP,
    DENSITY,
    FEED,
    FEED_PRICE,
    LENGTH,
    TEMPERATURE,
    WEIGHT,
    Family,
    Unit,
    Units,
)

_COMMENTS_AT = 36  # column at which comments stand
_FAMILIES: tuple[Family, ...] = (FEED, CROP, FEED_PRICE, DENSITY, AREA, LENGTH, TEMPERATURE, WEIGHT)
_METRIC = {"lb": "kg"}  # else the first of the family


class Question(NamedTuple):
    """What is asked, and what stands in its scenario between the pond and the end."""

    asks: str
    years: int
    fish_and_strategies: str
    start: str = "YEAR-03-15"


_HEAD = """\
# ASKS
#
# An invented pond with invented figures. Put yours in place of them where a line says "yours", then
#     pondpop check FILE      tells what was understood
#     pondpop compare FILE    projects every strategy and writes a report
# The unit is part of the key and may differ from line to line. `pondpop keys` tells what else may stand here.

title = "ASKS"  # yours

[pond]
<area_acres = 5>  # yours: water surface
fertility = "fertilized"  # yours: or "unfertilized", or a number (fertilized = 1)
cover = "some"  # yours: weeds and brush, "bare", "some" or "much"

[water]
climate = "deep_south"  # yours: or "upper_south", "southern_plains"
# Better, in place of the climate, twelve monthly means of your own:
# <monthly_f = [48, 52, 59, 68, 77, 83, 86, 85, 81, 71, 61, 52]>

[run]
start = START  # yours: the first day; all dates below lie within the run
years = YEARS

"""

_TAIL = """
[report]
units = "UNITS"
# consultant = "Your name, for the page"
# note = "What your client should know besides"
"""

_NEW_FORAGE = """\
# Forage first, so that it has spawned before the bass arrive (yours: dates, numbers, lengths).
[[stocking]]
species = "minnow"
date = YEAR-03-20
<per_acre = 1000>
<length_in = 2>

[[stocking]]
species = "bluegill"
date = YEAR-03-20
<per_acre = 1000>
<length_in = 2>

"""

_RESIDENTS = """\
# The fish that live there at the start (yours: as far as anyone knows). Where a survey stands in records/survey.csv and its
# effort in records/effort.csv, start the run on its day and write, in place of these five entries:
#     [start_from_survey]
#     records = "records"
# If it looked for bass only, write species_sought = bass into effort.csv and keep the entries of other fish.
[[stocking]]
name = "small_bass"
species = "bass"
resident = true
<per_acre = 50>
<length_in = 9>

[[stocking]]
name = "middle_bass"
species = "bass"
resident = true
<per_acre = 15>
<length_in = 13>

[[stocking]]
name = "large_bass"
species = "bass"
resident = true
<per_acre = 4>
<length_in = 17>

[[stocking]]
name = "small_bluegill"
species = "bluegill"
resident = true
<per_acre = 800>
<length_in = 3>

[[stocking]]
name = "middle_bluegill"
species = "bluegill"
resident = true
<per_acre = 250>
<length_in = 5.5>

"""

_CROWDED = """\
# The fish that live there at the start: many thin small bass (yours: as far as anyone knows). Where a survey stands in
# records/survey.csv and its effort in records/effort.csv, start the run on its day and write, in place of these entries:
#     [start_from_survey]
#     records = "records"
# If it looked for bass only, write species_sought = bass into effort.csv and keep the entries of other fish.
[[stocking]]
name = "bass_small"
species = "bass"
resident = true
<per_acre = 60>
<length_in = 9>
<weight_lb = 0.29>  # thin; leave it out for ordinary condition

[[stocking]]
name = "bass_middle"
species = "bass"
resident = true
<per_acre = 60>
<length_in = 11>
<weight_lb = 0.55>

[[stocking]]
name = "bass_large"
species = "bass"
resident = true
<per_acre = 4>
<length_in = 15>

[[stocking]]
name = "bluegill_small"
species = "bluegill"
resident = true
<per_acre = 300>
<length_in = 3>

[[stocking]]
name = "bluegill_large"
species = "bluegill"
resident = true
<per_acre = 120>
<length_in = 7>

"""

_BALANCED = """\
# What you want, each with its weight.
[[goals]]
kind = "balanced"  # or "big_bass", "panfish", "pounds_harvested", "bass_above", "cost"
"""

_BIG_BASS = """
[[goals]]
kind = "bass_above"
<above_lb = 5>
"""

_COST = """
[[goals]]
kind = "cost"
weight = 0.5

[costs]  # yours: prices, in US dollars; these are invented
per_bluegill = 0.6
per_minnow = 0.1
"""


def _stocking(strategy: str, title: str, date: str, *more: str, name: str = "bass") -> str:
    """A strategy with one stocking of bass; more: the lines of it that follow its date."""
    return "\n".join([
        f"[strategies.{strategy}]", f'title = "{title}"', "",
        f"[[strategies.{strategy}.stocking]]", f'name = "{name}"', 'species = "bass"', f"date = {date}", *more, "", "",
    ])  # fmt: skip


def _adults(strategy: str, title: str, date: str) -> str:
    return _stocking(strategy, title, date, "<per_acre = 10>", "<length_in = 14>", name="adults")


def _strain(strategy: str, title: str, strain: str, price: float) -> str:
    kind, cost = f'strain = "{strain}"', f"cost_each = {price}  # yours: an invented price"
    return _stocking(strategy, title, "YEAR+1-06-05", kind, "<per_acre = 75>", "<length_in = 2>", cost)


def _size(strategy: str, title: str, date: str, length: float, price: float) -> str:
    many = "<per_acre = 75>  # yours: fewer of larger ones, if fewer are to be had"
    cost = f"cost_each = {price}  # yours: an invented price"
    return _stocking(strategy, title, date, many, f"<length_in = {length:g}>", cost)


QUESTIONS = {
    "predators": Question(
        "How many bass to stock, fewer or more?",
        6,
        f"""{_NEW_FORAGE}\
# What differs: one table for each strategy. Everything above is common to all.
[strategies.few]
title = "<75 per_acre>"

[[strategies.few.stocking]]
name = "bass"
species = "bass"
date = YEAR+1-06-05
<per_acre = 75>
<length_in = 2>

[strategies.many]
title = "<100 per_acre>"

[[strategies.many.stocking]]
name = "bass"
species = "bass"
date = YEAR+1-06-05
<per_acre = 100>
<length_in = 2>

{_BALANCED}""",
    ),
    "adults": Question(
        "When to add adult bass to fingerlings?",
        6,
        f"""{_NEW_FORAGE}\
[[stocking]]
name = "fingerlings"
species = "bass"
date = YEAR+1-06-05
<per_acre = 75>
<length_in = 2>

# What differs: one table for each strategy. Large bass eat small fingerlings, so the date matters.
{_adults("same_day", "with the fingerlings", "YEAR+1-06-05")}\
{_adults("months_6", "6 months later", "YEAR+1-12-05")}\
{_adults("months_12", "12 months later", "YEAR+2-06-05")}\
{_BALANCED}{_BIG_BASS}""",
    ),
    "harvest": Question(
        "How many bass to take a year?",
        6,
        f"""{_RESIDENTS}\
# What differs: one table for each strategy. Harvest is by calendar year; `pondpop quota` searches for the amount.
[strategies.none]
title = "no harvest"

[strategies.moderate]
title = "<15 lb_per_acre> a year, bass of <8 length_in> to <12 length_in>"

[[strategies.moderate.harvest]]
name = "small_bass"
species = "bass"
<length_in = [8, 12]>
<lb_per_acre = 15>
season = ["03-01", "10-31"]

[strategies.heavy]
title = "80 % of all bass from <10 length_in> up, every year"

[[strategies.heavy.harvest]]
name = "all_keepers"
species = "bass"
<length_in = [10, 30]>
share = 0.8

{_BALANCED}{_BIG_BASS}""",
    ),
    "repair": Question(
        "Is a crowded pond worth repairing?",
        6,
        f"""{_CROWDED}\
# What differs: one table for each strategy.
[strategies.leave]
title = "leave it alone"

[strategies.thin]
title = "take small bass, add bluegill"

[[strategies.thin.removal]]
name = "thin_small_bass"
species = "bass"
date = YEAR-04-01
<length_in = [7, 13]>
share = 0.6
cost = 1200  # yours: price of the whole removal

[[strategies.thin.stocking]]
name = "added_bluegill"
species = "bluegill"
date = YEAR-04-15
<per_acre = 200>
<length_in = 4>

[[strategies.thin.harvest]]
name = "keep_thinning"
species = "bass"
<length_in = [8, 13]>
<lb_per_acre = 20>
from_year = 2  # year 1 is the calendar year of the start

[strategies.start_again]
title = "drain and restock"

[[strategies.start_again.removal]]
name = "drain_bass"
species = "bass"
date = YEAR-10-01
share = 1
cost = 6000  # yours

[[strategies.start_again.removal]]
name = "drain_bluegill"
species = "bluegill"
date = YEAR-10-01
share = 1
cost = 0  # with the bass

[[strategies.start_again.stocking]]
name = "new_bluegill"
species = "bluegill"
date = YEAR+1-02-15
<per_acre = 1000>
<length_in = 2>

[[strategies.start_again.stocking]]
name = "new_bass"
species = "bass"
date = YEAR+2-06-01
<per_acre = 75>
<length_in = 2>

{_BALANCED}
[[goals]]
kind = "cost"
weight = 0.5

[costs]  # yours: prices, in US dollars
per_bass = 1.5
per_bluegill = 0.6
per_hour = 15  # an hour of fishing for the harvest
""",
        start="YEAR-02-01",
    ),
    "feeding": Question(
        "Does feeding the bluegill pay?",
        6,
        f"""{_RESIDENTS}\
# What differs: one table for each strategy.
[strategies.unfed]
title = "no feed"

[strategies.fed]
title = "<3 lb_per_acre_day>, March to October"

[[strategies.fed.feeding]]
<lb_per_acre_day = 3>
season = ["03-01", "10-31"]

{_BALANCED}
[[goals]]
kind = "cost"
weight = 0.5

[costs]  # yours: prices, in US dollars
<per_lb_feed = 0.7>
""",
    ),
    "strain": Question(
        "Northern bass, Florida bass, or their first cross?",
        9,
        f"""{_NEW_FORAGE}\
# What differs: one table for each strategy. Which strains may be stocked is for your state agency to say: Florida bass and
# crosses are forbidden in some states, since their young mix with wild bass. Cold water kills them sooner.
{_strain("northern", "northern bass", "northern", 1.2)}\
{_strain("first_cross", "first cross", "first_cross", 1.8)}\
{_strain("florida", "Florida bass", "florida", 1.6)}\
{_BALANCED}{_BIG_BASS}{_COST}""",
    ),
    "size": Question(
        "Bass of which size to stock: small and early, or larger and later?",
        6,
        f"""{_NEW_FORAGE}\
# What differs: one table for each strategy. Larger bass cost more and come later, when the forage has spawned more often.
{_size("small", "<2 length_in>, June", "YEAR+1-06-05", 2, 1.2)}\
{_size("middle", "<4 length_in>, September", "YEAR+1-09-15", 4, 2.5)}\
{_size("large", "<8 length_in>, March", "YEAR+2-03-15", 8, 7)}\
{_BALANCED}{_BIG_BASS}{_COST}""",
    ),
}


def question_text(question: str, units: Units, first_year: int, file: str) -> str:
    """The scenario of a question in the units asked for, to be written to `file`."""
    asked = QUESTIONS[question]
    head = _HEAD.replace("YEARS", str(asked.years)).replace("START", asked.start).replace("ASKS", asked.asks)
    text = f"{head.replace('FILE', file)}{asked.fish_and_strategies}{_TAIL.replace('UNITS', units)}"
    text = re.sub(r"YEAR(?:\+(\d))?", lambda found: str(first_year + int(found[1] or 0)), text)
    text = re.sub(r"<(\w+) = ([^>]+)>", lambda found: _assigned(found[1], found[2], units), text)
    text = re.sub(r"<(\S+) (\w+)>", lambda found: _in_words(found[1], found[2], units), text)
    return "\n".join(_aligned(line) for line in text.split("\n"))


def first_year(question: str, today: dt.date) -> int:
    """The year in which a scenario written today begins: its start is still to come."""
    start = dt.date.fromisoformat(QUESTIONS[question].start.replace("YEAR", str(today.year)))
    return today.year + (start < today)


def _converted(key: str, units: Units) -> tuple[str, Unit, Unit]:
    """The key in the units asked for, its unit and the one in which the texts are written."""
    family, suffix = max(
        ((family, suffix) for family in _FAMILIES for suffix in family if key == suffix or key.endswith(f"_{suffix}")),
        key=lambda found: len(found[1]),
    )
    asked = suffix if units == "us" else _METRIC.get(suffix, next(iter(family)))
    return key.removesuffix(suffix) + asked, family[asked], family[suffix]


def _number(text: str, asked: Unit, written: Unit) -> str:
    return text if asked == written else f"{float(f'{asked.from_si(written.to_si(float(text))):.2g}'):g}"


def _assigned(key: str, value: str, units: Units) -> str:
    name, asked, written = _converted(key, units)
    return f"{name} = {re.sub(r'[0-9.]+', lambda found: _number(found[0], asked, written), value)}"


def _in_words(value: str, key: str, units: Units) -> str:
    _, asked, written = _converted(key, units)
    return f"{_number(value, asked, written)} {asked.words}"


def _aligned(line: str) -> str:
    before, mark, comment = line.partition("  # ")
    return f"{before.rstrip():{_COMMENTS_AT - 2}}  # {comment}" if mark and not line.startswith("#") else line
