"""Hypothesis strategies for the files that people write: scenarios and records, valid, broken and hostile.

A scenario is drawn as what a TOML file says (a dict), within the stated bounds and often at them; `toml` writes it.
Breaking happens on the dict (a value of another type, range or unit) or on the bytes (cut, doubled, encoded otherwise).
"""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import json
from typing import Any

from hypothesis import strategies as st

SPECIES = ("bass", "bluegill", "shad", "minnow", "redear")
LONGEST_IN = {"bass": 30.0, "bluegill": 13.0, "shad": 9.0, "minnow": 4.5, "redear": 15.0}
CONDITIONS = ("bass_psd", "bass_psd_p", "bluegill_psd", "bass_wr_8_12in", "bass_wr_12_15in", "bass_wr_15_20in")
SPREAD_MOST = {
    "productivity": 1.0, "growth": 0.5, "recruitment": 2.0, "natural_mortality": 1.0, "stocking_survival": 1.0,
    "truck": 1.5, "angler_success": 1.0, "weather_year": 5.0, "weather_day": 5.0, "parameters": 3.0,
}  # fmt: skip
HOSTILE = (
    "<script>alert(1)</script>", "</title><img src=x onerror=alert(1)>", "=HYPERLINK(\"http://example.org\")", "+1+1",
    "-2+3", "@SUM(A1)", "\tx", "a\r\nb", "\x00", "\x1b[31mred", "\u202egnirts", "é" * 50, "x" * 5000, "%s%n{0}",
    "../../etc/passwd", "/etc/passwd", "$(id)", "__import__('os').system('id')", "NaN", "1e999", "\ud7ff\ue000",
    "&amp;&lt;", "'; DROP TABLE fish;--", " ", "", "\u2028", "𝔹𝕒𝕤𝕤", "ﬁsh", "١٢",
)  # fmt: skip


# ---------------------------------------------------------------------- valid scenarios


def _number(low: float, high: float) -> st.SearchStrategy[float]:
    """Between the bounds, often at them, without numbers too small to mean anything."""
    inside = st.floats(low, high, allow_nan=False, allow_subnormal=False).map(lambda x: float(f"{x:.6g}"))
    return st.one_of(inside.filter(lambda x: low <= x <= high), st.sampled_from([low, high, (low + high) / 2]))


def _titles() -> st.SearchStrategy[str]:
    hostile = st.sampled_from([text for text in HOSTILE if text.strip() and text.isprintable() and len(text) <= 100])
    return st.one_of(st.just("A pond"), hostile)


@st.composite
def _days(draw: Any, start: dt.date, days: int) -> dt.date:
    return start + dt.timedelta(days=draw(st.one_of(st.integers(0, days - 1), st.sampled_from([0, 1, days - 1]))))


@st.composite
def _stocking(draw: Any, start: dt.date, days: int) -> dict[str, Any]:
    species = draw(st.sampled_from(SPECIES))
    table: dict[str, Any] = {"species": species}
    if draw(st.booleans()):
        table["resident"] = True
    else:
        table["date"] = draw(_days(start, days))
    usual = draw(st.integers(0, 9))
    key, most = draw(st.sampled_from([("per_acre", 4000.0), ("per_ha", 10_000.0), ("count", 5000.0)]))
    # a count is of the whole pond, so that many fish in a tiny one would be refused
    table[key] = (
        draw(_number(0.0, most)) if usual else draw(st.sampled_from([0, 1e-9, most if key == "count" else 1e5]))
    )
    table["length_in"] = draw(_number(0.8, LONGEST_IN[species])) if usual > 1 else draw(_number(0.2, 35.0))
    if draw(st.booleans()):
        table["length_cv"] = draw(_number(0.0, 0.5))
    if draw(st.booleans()):
        table["weight_g"] = float(f"{(table['length_in'] * 25.4) ** 3 * draw(_number(5e-6, 4.5e-5)):.6g}")
        if not 0.001 <= table["weight_g"] <= 15_000:
            del table["weight_g"]
    if draw(st.booleans()):
        table["age_years"] = draw(_number(0.0, 15.0))
    if draw(st.booleans()):
        table["female_share"] = draw(_number(0.0, 1.0))
    if "date" in table and draw(st.booleans()):
        table |= {"haul_hours": draw(_number(0.0, 72.0)), "salted": draw(st.booleans())}
        if draw(st.booleans()):
            table |= {"from_water_c": draw(_number(0.0, 40.0)), "tempered": draw(st.booleans())}
    return table


def _window(draw: Any) -> list[float]:
    low, high = sorted(draw(st.tuples(_number(0.0, 35.0), _number(0.0, 35.0))))
    return [low, high] if low < high and high > 0.2 else [0.0, 35.0]  # a window below 5 mm is refused


def _amount(draw: Any, most_share: float) -> dict[str, float]:
    units = [("share", most_share), ("lb_per_acre", 100.0), ("kg_per_ha", 2000.0), ("per_acre", 500.0)]
    key, most = draw(st.sampled_from(units))
    return {key: draw(_number(0.0, most))}


@st.composite
def _harvest(draw: Any) -> dict[str, Any]:
    amount = _amount(draw, 0.99)
    table: dict[str, Any] = {"species": draw(st.sampled_from(SPECIES)), "length_in": _window(draw), **amount}
    if draw(st.booleans()):
        table["season"] = draw(st.sampled_from([["01-01", "12-31"], ["06-01", "06-01"], ["04-15", "09-30"]]))
    if draw(st.booleans()):
        condition = st.fixed_dictionaries({"quantity": st.sampled_from(CONDITIONS), "below": _number(0.0, 200.0)})
        conditions = draw(st.lists(condition, min_size=1, max_size=3))
        when: dict[str, Any] = {draw(st.sampled_from(["any", "all"])): conditions}
        when["fish_sampled"] = draw(st.integers(0, 1000))
        table["when"] = when
        key, value = next(iter(amount.items()))
        table[f"otherwise_{key}"] = value / 2
    return table


@st.composite
def _removal(draw: Any, start: dt.date, days: int) -> dict[str, Any]:
    reason = draw(st.sampled_from(["removal", "die_off"]))
    where = {"species": draw(st.sampled_from(SPECIES)), "date": draw(_days(start, days)), "length_in": _window(draw)}
    return {**where, **_amount(draw, 1.0), "reason": reason}


@st.composite
def _arrival(draw: Any, start: dt.date, days: int) -> dict[str, Any]:
    species = draw(st.sampled_from(SPECIES))
    when = {"date": draw(_days(start, days))} if draw(st.booleans()) else {"chance": draw(_number(0.0, 1.0))}
    size = draw(_number(0.8, LONGEST_IN[species]))
    return {"species": species, "per_acre": draw(_number(0.0, 500.0)), "length_in": size, **when}


@st.composite
def _strategy(draw: Any, start: dt.date, days: int) -> dict[str, Any]:
    table: dict[str, Any] = {"title": draw(_titles())}
    table["stocking"] = draw(st.lists(_stocking(start, days), min_size=1, max_size=5))
    table["harvest"] = draw(st.lists(_harvest(), max_size=3))
    table["removal"] = draw(st.lists(_removal(start, days), max_size=2))
    if draw(st.booleans()):
        table["feeding"] = [{"lb_per_acre_day": draw(_number(0.0, 40.0))}]
    if draw(st.booleans()):
        when = draw(st.sampled_from([{}, {"hours": [22, 7]}, {"hours": [0, 24]}, {"when_below_mg_l": 6}]))
        kind = draw(st.sampled_from(["paddlewheel", "propeller_aspirator", "vertical_pump", "pump_sprayer", "diffused"]))
        table["aeration"] = [{"kind": kind, "power_kw": draw(_number(0.01, 500.0)), **when}]
    if draw(st.booleans()):
        hours, deaths = draw(_number(0.0, 4000.0)), draw(_number(0.0, 1.0))
        table["angling"] = [{"hours_per_acre": hours, "death_after_release": deaths}]
    if draw(st.booleans()):
        table["fertility"] = draw(_number(0.1, 2.0))
    if draw(st.booleans()):
        table["arrival"] = [draw(_arrival(start, days))]
    return table


@st.composite
def scenarios(draw: Any, years: int = 2, members: int = 2, strategies: int = 2) -> dict[str, Any]:
    """What a valid scenario file says: one to `years` years, `members` members and `strategies` strategies at most."""
    start = draw(st.dates(dt.date(1950, 1, 1), dt.date(2100, 12, 31)))
    run_years = draw(st.integers(1, years))
    days = 365 * run_years
    raw: dict[str, Any] = {
        "title": draw(_titles()),
        "pond": {
            draw(st.sampled_from(["area_acres", "area_ha"])): draw(_number(0.5, 20.0) | st.sampled_from([0.03, 199.0])),
            "fertility": draw(st.one_of(st.sampled_from(["unfertilized", "fertilized"]), _number(0.1, 2.0))),
            "cover": draw(st.one_of(st.sampled_from(["bare", "some", "much"]), _number(0.0, 3.0))),
        },
        "run": {"start": start, "years": run_years},
        "strategies": {
            name: draw(_strategy(start, days))
            for name in ("light", "heavy-2", "none_3")[: draw(st.integers(1, strategies))]
        },
        "ensemble": {"members": draw(st.integers(1, members)), "seed": draw(st.integers(0, 2**63 - 1))},
    }
    raw["run"]["surveys"] = draw(st.sampled_from([["04-15", "10-15"], ["01-01"], ["12-31", "06-30"], [start]]))
    water = draw(st.integers(0, 3))
    if water == 1:
        raw["water"] = {"climate": draw(st.sampled_from(["deep_south", "upper_south", "southern_plains"]))}
    elif water == 2:
        raw["water"] = {"monthly_c": draw(st.lists(_number(0.0, 40.0), min_size=12, max_size=12))}
    if draw(st.booleans()):
        chosen = draw(st.lists(st.sampled_from(sorted(SPREAD_MOST)), unique=True, max_size=4))
        raw["ensemble"]["spread"] = {name: draw(_number(0.0, SPREAD_MOST[name])) for name in chosen}
    if draw(st.booleans()):
        species, process = draw(st.sampled_from(SPECIES)), draw(st.sampled_from(["growth", "survival", "spawning"]))
        known = {
            "species": species,
            "process": process,
            "multiplier": draw(_number(0.2, 5.0)),
            "reason": draw(_titles()),
        }
        raw["local_knowledge"] = [known]
    return raw


# ---------------------------------------------------------------------- broken scenarios

JUNK: st.SearchStrategy[Any] = st.one_of(
    st.sampled_from([float("nan"), float("inf"), float("-inf"), 0, -1, 10**400, 1e308, -1e-320, 2**63, True, False]),
    st.sampled_from(HOSTILE),
    st.text(max_size=30),
    st.floats(),
    st.integers(),
    st.sampled_from([[], {}, [[]], [{}], {"a": {}}, [1, 2, 3], ["04-31", "x"], [0.0] * 500]),
    st.sampled_from([dt.date(1, 1, 1), dt.date(9999, 12, 31), dt.datetime(2026, 1, 1), dt.time(1, 2)]),
)


def places(value: Any) -> list[tuple[Any, ...]]:
    """Every place in a raw scenario, as paths of keys and numbers."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path for key, inner in items for path in [(key,), *((key, *rest) for rest in places(inner))]]


@st.composite
def broken_scenarios(draw: Any) -> dict[str, Any]:
    """A scenario of which one to three places hold something else, nothing, or an unknown key beside them."""
    raw = copy.deepcopy(draw(scenarios()))
    for _ in range(draw(st.integers(1, 3))):
        every = places(raw)
        if not every:
            break
        *folders, last = draw(st.sampled_from(every))
        place = raw
        for key in folders:
            place = place[key]
        what = draw(st.integers(0, 5))
        if what == 0:
            del place[last]
        elif what == 1 and isinstance(place, dict):
            place[draw(st.one_of(st.sampled_from(HOSTILE), st.text(max_size=12), st.just(f"{last}_in")))] = place[last]
        elif what == 2 and isinstance(place, list):
            place.extend([place[last]] * draw(st.sampled_from([1, 30, 250])))
        else:
            place[last] = copy.deepcopy(draw(JUNK))  # the next round may change it in place
    return raw


def _cut(draw: Any, data: bytes) -> bytes:
    return data[: draw(st.integers(0, len(data)))]


def _doubled_line(draw: Any, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    at = draw(st.integers(0, len(lines) - 1))
    return b"".join([*lines[: at + 1], lines[at], *lines[at + 1 :]])


def _inserted(draw: Any, data: bytes) -> bytes:
    at = draw(st.integers(0, len(data)))
    return data[:at] + draw(st.one_of(st.binary(max_size=20), st.sampled_from(HOSTILE).map(str.encode))) + data[at:]


def _recoded(draw: Any, data: bytes) -> bytes:
    name = draw(st.sampled_from(["utf-16", "utf-32", "utf-8-sig", "latin-1", "utf-7"]))
    return ("# ° é\n" + data.decode("utf-8")).encode(name, "replace")


def _nested(draw: Any, data: bytes) -> bytes:
    depth = draw(st.sampled_from([30, 500, 20_000]))
    kind = draw(st.integers(0, 3))
    lists, tables = b"[" * depth + b"]" * depth, b"{a=" * depth + b"1" + b"}" * depth
    deep = (lists, tables, b"[" * depth, b'"' + b"x" * depth + b'"')[kind]
    dotted = b".".join([b"a"] * min(depth, 2000))
    key = draw(st.sampled_from([b"title", b"pond", b"x" * depth, dotted, b"strategies.s"]))
    return draw(st.sampled_from([b"", data])) + b"\n" + key + b" = " + deep + b"\n"


def _lengthened(draw: Any, data: bytes) -> bytes:
    piece, times = (
        draw(st.sampled_from([b"# ", b"x = ", b'y = "', b"\n"])),
        draw(st.sampled_from([10, 10_000, 400_000])),
    )
    return data + piece * times


def _long_number(draw: Any, data: bytes) -> bytes:
    digits = draw(st.sampled_from([b"9" * 5000, b"0x" + b"f" * 5000, b"1e" + b"9" * 400, b"-nan", b"+inf", b"1_0"]))
    return data.replace(b"years = ", b"years = " + digits + b" # ", 1)


@st.composite
def scenario_bytes(draw: Any) -> bytes:
    """The bytes of a scenario file after one or two accidents, or something else altogether."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.one_of(st.binary(max_size=300), st.text(max_size=300).map(str.encode)))
    data = toml(draw(scenarios())).encode()
    accidents = (_cut, _doubled_line, _inserted, _nested, _lengthened, _long_number)
    for accident in draw(st.lists(st.sampled_from(accidents), min_size=1, max_size=2)):
        data = accident(draw, data) if data else data
    if draw(st.integers(0, 7)) == 0:
        with contextlib.suppress(UnicodeDecodeError):
            data = _recoded(draw, data)
    return data


# ---------------------------------------------------------------------- records

HEADERS = {
    "survey.csv": "date,gear,species,length_in,weight_lb,count,tag,sex",
    "effort.csv": "date,gear,hours,hauls,water_f,species_sought",
    "catches.csv": "date,trip,hours,species,shortest_in,longest_in,kept,released",
    "tags.csv": "tag,date,species,event,length_in,weight_lb",
}
_DATES = st.sampled_from([f"{y}-{m:02}-{d:02}" for y in (2024, 2025) for m in (4, 6, 10) for d in (10, 11)])
_TAGS = st.sampled_from(["", "", "B1", "B2", "B3"])
_LENGTHS = st.floats(2, 24).map(lambda x: f"{x:.1f}")
_COUNTS = st.integers(0, 20).map(str)


def _valid_rows(name: str) -> st.SearchStrategy[list[str]]:
    fish = st.sampled_from(["bass", "bass", "bluegill"])
    cells = {
        "survey.csv": (_DATES, st.sampled_from(["electrofishing", "angling"]), fish, _LENGTHS,
                       st.sampled_from(["", "0.5", "1.2"]), st.sampled_from(["", "1", "3"]), _TAGS,
                       st.sampled_from(["", "female", "male"])),
        "effort.csv": (_DATES, st.sampled_from(["electrofishing", "angling", "seine"]), st.sampled_from(["", "1.5"]),
                       st.sampled_from(["", "4"]), st.sampled_from(["", "68"]), st.sampled_from(["", "bass bluegill"])),
        "catches.csv": (_DATES, st.sampled_from(["1", "2"]), st.just("3"), fish, st.sampled_from(["", "8"]),
                        st.sampled_from(["", "12"]), _COUNTS, _COUNTS),
        "tags.csv": (_TAGS, _DATES, st.just("bass"), st.sampled_from(["tagged", "recaptured", "kept"]), _LENGTHS,
                     st.just("")),
    }  # fmt: skip
    return st.tuples(*cells[name]).map(list)


_JUNK_CELLS = st.one_of(
    st.sampled_from(
        ["nan", "inf", "-1", "1e5", "1,5", "0x10", "١٢", "=1+1", "@x", "\x00", '"', "2024-02-30", " bass "]
    ),
    st.sampled_from(HOSTILE),
    st.text(max_size=10),
)


@st.composite
def records(draw: Any, broken: bool = False) -> dict[str, bytes]:
    """The files of a record folder; rows may contradict one another, and with `broken` cells and bytes are damaged."""
    files: dict[str, bytes] = {}
    for name in draw(st.lists(st.sampled_from(sorted(HEADERS)), min_size=1, max_size=4, unique=True)):
        rows = draw(st.lists(_valid_rows(name), max_size=12))
        if broken and rows:
            for _ in range(draw(st.integers(0, 3))):
                row = draw(st.sampled_from(rows))
                row[draw(st.integers(0, len(row) - 1))] = draw(_JUNK_CELLS)
        header = HEADERS[name]
        if broken and draw(st.integers(0, 9)) == 0:
            others = [header.replace(",", ";"), header + "," + header, header.upper(), "", "=x," + header]
            header = draw(st.sampled_from(others))
        text = "\n".join([header, *(",".join(row) for row in rows)]) + "\n"
        data = text.encode("utf-8", "replace")
        if broken and draw(st.integers(0, 4)) == 0:
            accident = draw(st.sampled_from([_cut, _inserted, _doubled_line, _lengthened]))
            data = accident(draw, data) if data else data
        files[name] = data
    if broken and draw(st.integers(0, 30)) == 0:
        files[draw(st.sampled_from(["surveys.csv", "Survey.CSV", "other.csv"]))] = b"x\n"
    return files


# ---------------------------------------------------------------------- writing


def toml(raw: dict[str, Any]) -> str:
    """A raw scenario as TOML text, with nested tables inline; anything that JSON-like values can hold."""
    return "".join(f"{_key(key)} = {_toml(value)}\n" for key, value in raw.items())


def _key(key: object) -> str:
    return _text(str(key))


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    if isinstance(value, float):
        return repr(value)
    return _whole(value)


def _whole(value: int) -> str:
    return repr(value) if abs(value) < 10**4000 else hex(value)
