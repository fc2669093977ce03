"""What a survey advises: the state of the pond in the trade's words, how sure that is and why, and what to take out.

Amounts by the acre are those of extension services and agencies, told with their origin; the pond's fertility is not in
the records, so both amounts stand unless a scenario tells it. A state that is not sure enough is said to be so, and
then nothing is advised but another survey.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from pondpop.assess.findings import Finding
from pondpop.assess.size_and_condition import PairDoubt
from pondpop.observe import indices
from pondpop.species.catalogue import standards
from pondpop.units import HA_PER_ACRE, KG_PER_HA_IN_LB_PER_ACRE, MM_PER_IN, Units

SURE, LIKELY = 0.8, 0.5
"""Chances of a state from which it is acted on, and from which it is called likely (choices of ours)."""

_STATE_OF = {
    ("low", "high"): "bass crowded", ("low", "middle"): "bass small", ("high", "low"): "bluegill crowded",
    ("middle", "low"): "bluegill crowded", ("middle", "middle"): "balanced", ("low", "low"): "both small",
    ("middle", "high"): "few young", ("high", "middle"): "few young", ("high", "high"): "few young",
}  # fmt: skip
_BY_CONDITION = {"thin": "bass crowded", "well fed": "bass fished hard"}
"""What bass that are small while bluegill are in range are, by the Wr of those of 8–12 in."""
_WORDS = {
    "bass crowded": "bass are crowded: many small bass, short of food",
    "bass fished hard": "bass are taken out too hard: the small ones are well fed, and few grow old",
    "bass small": "bass are small: crowded, or taken out too hard",
    "bluegill crowded": "bluegill are crowded: too few bass thin them",
    "balanced": "the pond is in balance",
    "both small": "bass and bluegill are both small",
    "few young": "few young fish come on",
}
BASS_LB = {"fertile": (25, 35), "infertile": (10, 10)}
BLUEGILL_LB = {"fertile": 200, "infertile": 100}
EXTENSION, AGENCIES = "Alabama Extension ANR-577", "advice of state agencies"
MONTHS = "From April to October, most of it in spring while bass are in shallow water (common practice, no source)."
_NOT = {"bass crowded": "thin bass are crowded, not overfished", "bass fished hard": "well-fed bass are overfished, not crowded"}
"""What the condition of bass rules out, of what their PSD alone leaves open."""
LEAST_SAID = 0.05
"""Chance of a reading of the two PSD values from which it is worth a word (a choice of ours)."""
_WR_WANTED = standards()["relative_weight"]["target"]
_FITS = {
    ("thin", "bass crowded"): ", as crowded bass are", ("well fed", "bass crowded"): ", which does not fit crowded bass",
    ("thin", "bluegill crowded"): ", which does not fit crowded bluegill",
    ("thin", "few young"): ", as where little forage is left", ("well fed", "bass fished hard"): ", as where bass are few",
}  # fmt: skip


@dataclass(frozen=True)
class Advice:
    """The state that a survey shows most probably, its chance, what speaks for it, and what to do about it."""

    survey: dt.date
    gear: str
    state: str
    words: str
    chance: float
    why: tuple[str, ...]
    steps: tuple[str, ...]
    joined: str = ""
    """What the condition of bass adds to their PSD where the chance rests on both; empty where it does not."""

    @property
    def sure(self) -> bool:
        return self.chance >= SURE


def advise(
    first: dt.date, pair: PairDoubt, findings: tuple[Finding, ...], units: Units = "us", pond: str | None = None
) -> Advice:
    """The advice of one survey from which both PSD values can be read, for a "fertile" or "infertile" pond if that is known."""
    mine = {f.quantity: f for f in findings if f.gear == pair.gear}
    condition = _condition(mine)
    chance = dict.fromkeys(_WORDS, 0.0)
    open_ = 0.0  # the chance of readings that only the condition tells apart
    few_bluegill = 0.0  # the chance that those of 3–6 in, of stock but not of quality length, are few among the larger ones
    for levels, words in indices.PAIR_READINGS.items():
        state = _STATE_OF[levels]
        open_ += pair.chances[words] * (state == "bass small")
        few_bluegill += pair.chances[words] * (levels[1] == "high")
        chance[_BY_CONDITION.get(condition, state) if state == "bass small" else state] += pair.chances[words]
    state = max(chance, key=lambda name: chance[name])
    why = (*_sizes(mine), _weights(mine, condition, state))
    sure = chance[state] >= SURE
    steps = tuple(_steps(state, units, pond, few_bluegill >= LIKELY)) if sure else _not_sure(state, chance[state], units, pond)
    joined = _NOT[state] if _BY_CONDITION.get(condition) == state and open_ >= LEAST_SAID else ""
    return Advice(first, pair.gear, state, _WORDS[state], chance[state], why, steps, joined)


def _sizes(mine: dict[str, Finding]) -> Iterator[str]:
    for species in ("bass", "bluegill"):
        psd, wanted = mine[f"{species}_psd"], indices.target_range("balanced", species, "psd")
        assert wanted is not None and psd.low is not None and psd.high is not None
        where = "below" if psd.value < wanted[0] else "above" if psd.value > wanted[1] else "in"
        clearly = "clearly " if psd.high < wanted[0] or psd.low > wanted[1] else ""
        yield (
            f"{species} PSD {psd.value:.0f} ({psd.low:.0f}–{psd.high:.0f}) is {clearly}{where} the range of balanced ponds, "
            f"{wanted[0]:.0f}–{wanted[1]:.0f} (Willis, Murphy & Guy 1993)"
        )


def _condition(mine: dict[str, Finding]) -> str:
    """Whether bass of 8–12 in are thin or well fed, as far as that is sure; "" if it is not."""
    wr = mine.get("bass_wr_8_12in")
    if wr is None or wr.low is None or wr.high is None:
        return ""
    return "thin" if wr.high < _WR_WANTED[0] else "well fed" if wr.low > _WR_WANTED[0] else ""


def _weights(mine: dict[str, Finding], condition: str, state: str) -> str:
    """What the relative weight of small bass says for or against a state."""
    wr = mine.get("bass_wr_8_12in")
    if wr is None or wr.low is None or wr.high is None:
        return "bass of 8–12 in were not weighed: their condition would tell crowding from too much harvest"
    low, high = _WR_WANTED
    told = f"Wr of bass of 8–12 in is {wr.value:.0f} ({wr.low:.0f}–{wr.high:.0f}; wanted {low:.0f}–{high:.0f}, Anderson 1980)"
    return f"{told}: {condition or 'neither clearly thin nor well fed'}{_FITS.get((condition, state), '')}"


# ---- amounts in words ------------------------------------------------------------------------------------------------


def _range(low: float, high: float) -> str:
    a, b = f"{low:.0f}", f"{high:.0f}"
    return a if a == b else f"{a} to {b}"


def _crop(low: float, high: float, units: Units) -> str:
    factor, unit = (1.0, "lb an acre") if units == "us" else (KG_PER_HA_IN_LB_PER_ACRE, "kg a hectare")
    return f"{_range(low * factor, high * factor)} {unit}"


def _fish(low: float, high: float, units: Units) -> str:
    factor, unit = (1.0, "an acre") if units == "us" else (1 / HA_PER_ACRE, "a hectare")
    return f"{_range(low * factor, high * factor)} {unit}"


def _inches(low: float, high: float, units: Units) -> str:
    factor, unit = (1.0, "in") if units == "us" else (MM_PER_IN / 10, "cm")
    return f"{_range(low * factor, high * factor)} {unit}"


def bass_amount(units: Units, pond: str | None = None) -> str:
    """What may be taken out of bass a year, of a pond that is "fertile" or "infertile"; where that is not known, of both."""
    return _amount({kind: _crop(*BASS_LB[kind], units) for kind in BASS_LB}, pond)


def _bluegill(units: Units, pond: str | None) -> str:
    return "at most " + _amount({kind: _crop(most, most, units) for kind, most in BLUEGILL_LB.items()}, pond)


def _amount(of: dict[str, str], pond: str | None) -> str:
    if pond is not None:
        return f"{of[pond]} a year from a pond as {pond} as this one ({EXTENSION})"
    return f"{of['fertile']} a year from a fertile pond, {of['infertile']} from an infertile one ({EXTENSION})"


# ---- what to do ------------------------------------------------------------------------------------------------------


def _steps(state: str, units: Units, pond: str | None, few_bluegill: bool) -> Iterator[str]:
    quality = _inches(12, 12, units)
    slot = f"Put back bass of {_inches(12, 15, units)}, the usual protected slot ({EXTENSION})."
    if state == "bass crowded":
        yield f"Take out bass under {quality} ({AGENCIES}, the lower of their limits): {bass_amount(units, pond)}."
        yield f"A crowded pond may need {_fish(50, 100, units)} under {quality} taken out (advice from Oklahoma)."
        yield MONTHS
        yield slot
        if few_bluegill:
            small, added = _inches(3, 6, units), _inches(3, 5, units)
            yield f"Bluegill of {small} were few (PSD): add some of {added}, {_fish(200, 200, units)} ({AGENCIES})."
        yield "Expect years, not months: after four years of thinning in Kansas growth was little better (Gabelhouse 1987)."
    elif state == "bass fished hard":
        longer = _inches(12, 15, units)
        yield f"Put back all bass for two years or more, those of {longer} above all (common practice, no source)."
        yield "Then survey again."
    elif state == "bass small":
        usual = _inches(8, 12, units)
        yield f"Weigh 30 bass of {usual} or more: Wr clearly below 95 is crowding, clearly above it harvest (our reading)."
        yield f"Until then take out no more bass than from a pond in balance: {bass_amount(units, pond)}."
    elif state == "bluegill crowded":
        yield f"Take out no bass, and put in bass of {quality} and more, {_fish(20, 30, units)} ({AGENCIES})."
        yield f"Take out bluegill, the small ones above all (our reading): {_bluegill(units, pond)}."
        yield "Seine between June and September: whether bass spawn decides what comes next (common practice, no source)."
    elif state == "balanced":
        yield f"Hold it there: take out bass under {quality}, {bass_amount(units, pond)}."
        yield MONTHS
        yield slot
        yield f"Bluegill: {_bluegill(units, pond)}."
    elif state == "both small":
        yield (
            "Find out why before fish are taken out: other fish that compete, weeds, little food, or harvest (common "
            "practice, no source)."
        )
        yield f"Until then take out no more bass than from a pond in balance: {bass_amount(units, pond)}."
    else:
        yield "Seine between June and September for young bass and bluegill before anything else (common practice, no source)."
        yield f"Until then take out no more bass than from a pond in balance: {bass_amount(units, pond)}."


def _not_sure(state: str, chance: float, units: Units, pond: str | None) -> tuple[str, ...]:
    likely = "It is the likeliest state, but not sure enough to act on" if chance >= LIKELY else "No state is likely enough"
    none = "Until then take out no bass."
    some = f"Until then take out no more bass than from a pond in balance: {bass_amount(units, pond)}."
    return (
        f"{likely}: survey again on other days before fish are taken out or put in.",
        none if state in ("bluegill crowded", "bass fished hard") else some,
    )
