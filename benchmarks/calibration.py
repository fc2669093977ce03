"""Simulation-based calibration of `pondpop update`: are what it believes and what is true alike, as often as it says?

    python benchmarks/calibration.py [--ponds 200] [--bank 2600] [--full 0] [--members 96] [--seed 2026]

Truths are drawn from the prior, records are simulated from them with the update's own sampling model, the update is
made, and the place of the truth among the posterior is noted (Talts et al. 2018, from memory): places must be even.

Two forms. In the first, one bank of simulated ponds serves all truths: each truth is a member of the bank, and all are
weighed by their likelihood (no stages, no moves). Members of the bank are alike before the records are seen, so that
after them each is the true one with a chance in proportion to its likelihood: the weight below the truth's value, and
a random part of the truth's own weight, is then even exactly, however few members the weight rests on. (To rank the
truth among the others only, as this script did at first, is even only where many of them share the weight: with few,
the truth lies outside all of them too often.) `--full N` makes the whole update in stages for N of the truths as well,
which also tests the stages and the moves; there the places are even only as far as the members are enough.

Intervals and forecasts never use the truth; those of the bank are counted where its effective members are enough for an
update to conclude. Writes benchmarks/CALIBRATION.md and benchmarks/calibration.svg.

The stated test: chi-square of the places in ten bins (five under 100 ponds) for each quantity, Holm's adjustment over
the quantities; passed if the smallest adjusted p is 0.05 or more. The seed was fixed before the run.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy import stats
from scipy.special import ndtri

from pondpop.assess.size_and_condition import holm
from pondpop.observe import indices
from pondpop.scenario import resolve
from pondpop.update import LEAST_EFFECTIVE, LEAST_SHARE, prior_uniforms, up_to
from pondpop.update.likelihood import (
    Haul,
    Observation,
    Outing,
    doubts,
    growth_of,
    log_likelihood,
    summaries,
    view_of,
    wr_of,
)
from pondpop.update.simulate import Growing, Watched, watch_all
from pondpop.update.smc import Members, learn

HERE = Path(__file__).parent
POND = """
title = "calibration pond"
[pond]
area_acres = 2
fertility = "fertilized"
[run]
start = 2026-04-01
years = 3
surveys = ["04-15"]
[[stocking]]
name = "bluegill"
species = "bluegill"
resident = true
per_acre = 600
length_in = 4
[[stocking]]
name = "old_bass"
species = "bass"
resident = true
per_acre = 40
length_in = 10
[strategies.only]
title = "only"
"""
FIRST, LAST, AFTER = 197, 380, 745  # 15 October 2026, 16 April 2027, and a year later
SHARE, FEW = 0.8, 20
EFFORT_HOURS = 0.25  # little, so that a bank holds enough members that explain it


def observations() -> tuple[Observation, ...]:
    """The records of every simulated pond, their data still empty: a survey, Wr of ten bass, growth of eight tagged."""
    found: list[Observation] = []
    for species in ("bass", "bluegill"):
        outings = (Outing(LAST, EFFORT_HOURS, 18.0),)
        found.append(Haul(f"survey {species}", species, "electrofishing", outings, np.zeros(33)))
    found.append(wr_of(LAST, "bass", "electrofishing", 8, 12, np.nan, 10, "survey bass"))
    found.append(growth_of(0, LAST, "bass", "growth", np.nan, 8, "tags"))
    return tuple(found)


GROWN = (Growing("bass", FIRST, LAST, (250.0, 280.0, 310.0)),)
WATCHED, TO_LAST = Watched((FIRST, LAST, AFTER), GROWN), Watched((FIRST, LAST), GROWN)


def quantities(members: Members) -> dict[str, np.ndarray]:
    """What is believed about: growth, deaths, productivity, young, and the state on the day of the last record."""
    z = {name: ndtri(u[:, 0]) for name, u in members.uniforms.items()}
    number, biomass = members.seen["number"][:, 1], members.seen["biomass"][:, 1]
    return {
        "growth of bass": z["growth of bass"],
        "growth of bluegill": z["growth of bluegill"],
        "deaths of bass": z["natural deaths of bass"],
        "deaths of bluegill": z["natural deaths of bluegill"],
        "productivity": z["productivity"],
        "young bluegill": z["recruitment of bluegill"],
        "tag growth, mm a year": members.seen["growth"][:, 0],
        "survivors of old bass a year on": members.seen["group_survivors"][:, 0],
        "bass of 8 in and more": number[:, 0, 8:].sum(-1),
        "bluegill crop": biomass[:, 1].sum(-1),
    }


def forecasts(members: Members) -> dict[str, np.ndarray]:
    """What is forecast for a year after the last record."""
    number, biomass = members.seen["number"][:, 2], members.seen["biomass"][:, 2]
    return {
        "bass PSD": indices.psd(number, "bass"),
        "bluegill PSD": indices.psd(number, "bluegill"),
        "bass of 8 in and more": number[:, 0, 8:].sum(-1),
        "bass crop": biomass[:, 0].sum(-1),
        "bluegill crop": biomass[:, 1].sum(-1),
    }


def crps(values: np.ndarray, weight: np.ndarray, truth: float) -> float:
    """Continuous ranked probability score of a weighted ensemble (Gneiting & Raftery 2007, from memory)."""
    order = np.argsort(values)
    x, w = values[order], weight[order] / weight.sum()
    below = np.cumsum(w) - w
    spread = 2 * np.sum(w * x * (2 * below + w - 1))  # mean difference of two draws
    return float(np.sum(w * np.abs(x - truth)) - 0.5 * spread)


def quantile(values: np.ndarray, weight: np.ndarray, q: float) -> float:
    order = np.argsort(values)
    share = weight[order] / weight.sum()
    return float(np.interp(q, np.cumsum(share) - 0.5 * share, values[order]))


def below(values: np.ndarray, weight: np.ndarray, truth: float, own: float, rng: np.random.Generator) -> float:
    """Share of the weight below the truth, with a random part of the truth's own weight; even between 0 and 1."""
    return float((weight[values < truth].sum() + rng.random() * own) / (weight.sum() + own))


class Tally:
    """What is counted over the truths: the place of each, whether it lay inside the interval, scores of forecasts."""

    def __init__(self, believed: dict[str, np.ndarray], ahead: dict[str, np.ndarray]) -> None:
        self.places: dict[str, list[float]] = {name: [] for name in believed}
        self.inside: dict[str, list[bool]] = {name: [] for name in believed}
        self.covered: dict[str, list[bool]] = {name: [] for name in ahead}
        self.scores: dict[str, list[tuple[float, float]]] = {name: [] for name in ahead}
        self.effective: list[float] = []
        self.concluded: list[bool] = []

    def believe(self, name: str, values: np.ndarray, weight: np.ndarray, truth: float) -> None:
        if self.concluded[-1]:
            low, high = (quantile(values, weight, q) for q in ((1 - SHARE) / 2, (1 + SHARE) / 2))
            self.inside[name].append(low <= truth <= high)

    def forecast(self, name: str, prior: np.ndarray, values: np.ndarray, weight: np.ndarray, truth: float) -> None:
        prior, known = prior[np.isfinite(prior)], np.isfinite(values) & (weight > 0)
        if not (self.concluded[-1] and np.isfinite(truth) and known.any()):
            return
        values, weight = values[known], weight[known]
        self.scores[name].append((crps(prior, np.ones(prior.size), truth), crps(values, weight, truth)))
        low, high = (quantile(values, weight, q) for q in ((1 - SHARE) / 2, (1 + SHARE) / 2))
        self.covered[name].append(low <= truth <= high)

    def p(self) -> tuple[dict[str, float], dict[str, float]]:
        """p of even places by quantity, and adjusted for their number."""
        bins = self.bins
        counts = {name: np.histogram(u, bins, (0, 1))[0] for name, u in self.places.items()}
        p = {name: float(stats.chisquare(count).pvalue) for name, count in counts.items()}
        return p, dict(zip(p, holm(list(p.values())), strict=True))

    @property
    def bins(self) -> int:
        return 10 if len(self.effective) >= 100 else 5

    def lines(self, how: str) -> list[str]:
        count, sure = len(self.effective), int(np.sum(self.concluded))
        p, adjusted = self.p()
        passed = "too few to test" if count < FEW else "passed" if min(adjusted.values()) >= 0.05 else "NOT passed"
        low, high = stats.binom.ppf([0.025, 0.975], sure, SHARE) / max(sure, 1)
        out = [
            f"## {how}", "",
            f"{count} simulated truths. Effective members: median {np.median(self.effective):.0f}, least "
            f"{min(self.effective):.1f}; enough to conclude in {sure} of {count}.", "",
            f"**Places: {passed}** (chi-square in {self.bins} bins, Holm over quantities, "
            f"smallest adjusted p {min(adjusted.values()):.3f}).", "",
            f"| quantity | p of places | adjusted | truth inside the {SHARE:.0%} interval |", "|---|---|---|---|",
            *(f"| {n} | {p[n]:.3f} | {adjusted[n]:.3f} | {_share(self.inside[n])} |" for n in self.places), "",
            f"Of {sure} intervals that hold in {SHARE:.0%}, {low:.0%} to {high:.0%} would be inside by chance.", "",
            "| forecast for the year after | CRPS of the prior | of the posterior | better by | p (Wilcoxon) | "
            f"inside {SHARE:.0%} |",
            "|---|---|---|---|---|---|",
        ]  # fmt: skip
        for name, pairs in self.scores.items():
            if len(pairs) < 2:
                continue
            prior, after = np.array(pairs).T
            chance = stats.wilcoxon(prior, after, alternative="greater").pvalue
            better = 1 - after.mean() / prior.mean()
            out.append(
                f"| {name} | {prior.mean():.3g} | {after.mean():.3g} | {better:.0%} | {chance:.2g} | "
                f"{_share(self.covered[name])} |"
            )  # fmt: skip
        return [*out, ""]


def _share(some: list[bool]) -> str:
    return f"{np.mean(some):.0%}" if some else "–"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--ponds", type=int, default=200)
    asked.add_argument("--bank", type=int, default=2600)
    asked.add_argument("--full", type=int, default=0)
    asked.add_argument("--members", type=int, default=96)
    asked.add_argument("--seed", type=int, default=2026)
    given = asked.parse_args()
    scenario = resolve(tomllib.loads(POND))
    scenario = scenario._replace(ensemble=scenario.ensemble._replace(members=given.bank, seed=given.seed))
    day = scenario.run.start.fromordinal(scenario.run.start.toordinal() + AFTER)
    past = up_to(scenario, "only", day)
    empty = observations()
    uniforms = prior_uniforms(past, "only", day, doubts(empty))
    nothing = np.zeros((given.bank, 0))
    read = watch_all(past, "only", WATCHED, uniforms, done=_told)
    bank = Members(uniforms, read, np.zeros(given.bank), nothing, nothing)
    rng = np.random.default_rng(given.seed)
    expected = [o.expected(view_of(past, WATCHED, bank.seen, dict(uniforms))) for o in empty]
    believed, ahead = quantities(bank), forecasts(bank)
    by_weight, in_stages = Tally(believed, ahead), Tally(believed, ahead)
    for truth in range(given.ponds):
        data = [o.draw(mean[truth : truth + 1], rng)[0] for o, mean in zip(empty, expected, strict=True)]
        seen = tuple(replace(o, data=d) for o, d in zip(empty, data, strict=True))  # type: ignore[type-var]
        total = sum(o.log_likelihood(mean, o.data) for o, mean in zip(seen, expected, strict=True))
        weight = np.exp(total - total.max())
        others = np.where(np.arange(given.bank) == truth, 0.0, weight)
        by_weight.effective.append(float(others.sum() ** 2 / np.sum(others**2)))
        by_weight.concluded.append(by_weight.effective[-1] >= LEAST_EFFECTIVE)
        for name, values in believed.items():
            by_weight.places[name].append(below(values, others, values[truth], weight[truth], rng))
            by_weight.believe(name, values, others, values[truth])
        for name, values in ahead.items():
            by_weight.forecast(name, np.delete(values, truth), values, others, values[truth])
        if truth < given.full:
            own = np.random.default_rng((given.seed, truth))  # so that those by weight are the same with --full
            _in_stages(in_stages, bank, truth, seen, past, given, own, ahead, believed)
            print(f"{truth + 1} updates in stages", file=sys.stderr, flush=True)
            _write(given, by_weight, in_stages)
    _write(given, by_weight, in_stages)


def _in_stages(tally, bank, truth, seen, past, given, rng, ahead, believed) -> None:  # type: ignore[no-untyped-def]
    """The whole update of one truth, with members that the bank's others deal."""
    rows = rng.choice(np.delete(np.arange(given.bank), truth), given.members, replace=False)

    def look(u):  # type: ignore[no-untyped-def]
        read = watch_all(past, "only", TO_LAST, u)
        view = view_of(past, TO_LAST, read, dict(u))
        return Members(u, read, log_likelihood(seen, view), *summaries(seen, view, rng))

    observed = np.concatenate([one.summary(one.data) for one in seen])
    dealt = {name: u[rows] for name, u in bank.uniforms.items()}
    after, stages = learn(look(dealt), look, observed, given.seed + truth)
    least = max(LEAST_EFFECTIVE, LEAST_SHARE * given.members)
    tally.effective.append(stages[-1].independent)
    tally.concluded.append(stages[-1].power == 1.0 and stages[-1].independent >= least)
    after = replace(after, seen=watch_all(past, "only", WATCHED, after.uniforms))
    weight = np.full(given.members, 1.0)
    for name, values in quantities(after).items():
        tally.places[name].append(below(values, weight, believed[name][truth], 1.0, rng))
        tally.believe(name, values, weight, believed[name][truth])
    for name, values in forecasts(after).items():
        tally.forecast(name, np.delete(ahead[name], truth), values, weight, ahead[name][truth])


def _told(members: int) -> None:
    print(f"{members} ponds run", file=sys.stderr, flush=True)


def _write(given, by_weight: Tally, in_stages: Tally) -> None:  # type: ignore[no-untyped-def]
    how = f"--ponds {given.ponds} --bank {given.bank} --full {given.full} --members {given.members} --seed {given.seed}"
    lines = [
        "# Calibration of `pondpop update`", "",
        f"Made by `python benchmarks/calibration.py {how}` (see there).", "",
        *by_weight.lines(f"By weight, a bank of {given.bank:,} ponds"), "![places](calibration.svg)", "",
    ]  # fmt: skip
    if in_stages.effective:
        lines += in_stages.lines(f"Whole updates in stages of {given.members} members")
    (HERE / "CALIBRATION.md").write_text("\n".join(lines), "utf-8")
    if len(by_weight.effective) < given.ponds:
        return
    print("\n".join(lines))
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "pondpop"
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 5, figsize=(12, 4.2), sharey=True, layout="constrained")
    bins, count = by_weight.bins, len(by_weight.effective)
    low, high = stats.binom.ppf([0.025, 0.975], count, 1 / bins)
    for axis, (name, places) in zip(axes.ravel(), by_weight.places.items(), strict=True):
        axis.axhspan(low, high, color="0.9")
        heights = np.histogram(places, bins, (0, 1))[0]
        axis.bar((np.arange(bins) + 0.5) / bins, heights, color="#3b6ea5", width=0.9 / bins)
        axis.set_title(name, fontsize=9)
    axes[1, 0].set_xlabel("place of the truth")
    axes[0, 0].set_ylabel("ponds")
    figure.savefig(HERE / "calibration.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
