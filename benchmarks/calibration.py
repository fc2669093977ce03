"""Simulation-based calibration of `pondpop update`: are what it believes and what is true alike, as often as it says?

    python benchmarks/calibration.py [--ponds 100] [--bank 1500] [--full 0] [--members 256]

Truths are drawn from the prior, records are simulated from them with the update's own sampling model, the update is
made, and the rank of the truth among draws of the posterior is noted (Talts et al. 2018, from memory): ranks must be
even. Because members are independent draws of the prior, one bank of simulated ponds serves all truths: each truth is a
member of the bank, the others are weighed by their likelihood (no stages, no moves). `--full N` makes the whole update
in stages for N truths instead. Writes benchmarks/CALIBRATION.md and benchmarks/calibration.svg.

The stated test: chi-square of the ranks in ten bins for each quantity, Holm's adjustment over the quantities; passed if
the smallest adjusted p is 0.05 or more.
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

from pondpop import indices
from pondpop.assess.sizes import holm
from pondpop.scenario import resolve
from pondpop.update import prior_uniforms, up_to
from pondpop.update.seen import Haul, Observation, growth_of, log_likelihood, view_of, wr_of
from pondpop.update.stages import Members, learn
from pondpop.update.watch import Growing, Watched, watch_all

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
DRAWS, SHARE = 9, 0.8
EFFORT_HOURS = 0.25  # little, so that a bank holds enough members that explain it


def observations() -> tuple[Observation, ...]:
    """The records of every simulated pond, their data still empty: a survey, Wr of ten bass, growth of eight tagged."""
    found: list[Observation] = []
    for k, species in enumerate(("bass", "bluegill")):
        found.append(Haul(f"survey {species}", k, "electrofishing", LAST, EFFORT_HOURS, 18.0, np.zeros(33)))
    found.append(wr_of(LAST, "bass", "electrofishing", 8, 12, np.nan, 10, "survey bass"))
    found.append(growth_of(0, "growth", np.nan, 8, "tags"))
    return tuple(found)


WATCHED = Watched((FIRST, LAST, AFTER), (Growing(0, FIRST, LAST, (250.0, 280.0, 310.0)),))


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
        "survivors of old bass": members.seen["group_survivors"][:, 0],
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
    return float(np.interp(q, np.cumsum(weight[order]) - 0.5 * weight[order], values[order]))


def _told(members: int) -> None:
    print(f"{members} ponds run", file=sys.stderr, flush=True)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--ponds", type=int, default=100)
    asked.add_argument("--bank", type=int, default=1500)
    asked.add_argument("--full", type=int, default=0)
    asked.add_argument("--members", type=int, default=256)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    scenario = resolve(tomllib.loads(POND))
    scenario = replace(scenario, ensemble=replace(scenario.ensemble, members=given.bank, seed=given.seed))
    day = scenario.run.start.fromordinal(scenario.run.start.toordinal() + AFTER)
    past = up_to(scenario, "only", day)
    caught = ("catchability electrofishing bass", "catchability electrofishing bluegill")
    uniforms = prior_uniforms(past, "only", day, caught)
    bank = Members(uniforms, watch_all(past, "only", WATCHED, uniforms, done=_told), np.zeros(given.bank))
    rng = np.random.default_rng(given.seed)
    empty = observations()
    expected = [o.expected(view_of(past, WATCHED, bank.seen, dict(uniforms))) for o in empty]
    believed, ahead = quantities(bank), forecasts(bank)
    ranks: dict[str, list[int]] = {name: [] for name in believed}
    inside: dict[str, list[bool]] = {name: [] for name in believed}
    scores: dict[str, list[tuple[float, float]]] = {name: [] for name in ahead}
    effective, refused = [], 0
    for truth in range(given.full or given.ponds):
        data = [o.draw(mean[truth : truth + 1], rng)[0] for o, mean in zip(empty, expected, strict=True)]
        seen = tuple(replace(o, data=d) for o, d in zip(empty, data, strict=True))  # type: ignore[type-var]
        others = np.arange(given.bank) != truth
        if given.full:
            rows = rng.choice(np.flatnonzero(others), given.members, replace=False)

            def look(u, seen=seen):  # type: ignore[no-untyped-def]
                read = watch_all(past, "only", WATCHED, u)
                return Members(u, read, log_likelihood(seen, view_of(past, WATCHED, read, dict(u))))

            start = bank.drawn(rows)
            view = view_of(past, WATCHED, start.seen, dict(start.uniforms))
            after, stages = learn(replace(start, log_likelihood=log_likelihood(seen, view)), look, given.seed + truth)
            effective.append(stages[-1].different)
            weight = np.full(given.members, 1 / given.members)
            now, then = quantities(after), forecasts(after)
        else:
            total = sum(o.log_likelihood(mean, o.data) for o, mean in zip(seen, expected, strict=True))
            weight = np.where(others, np.exp(total - total[others].max()), 0.0)
            weight /= weight.sum()
            effective.append(1 / np.sum(weight**2))
            now, then = believed, ahead
        refused += effective[-1] < 20
        drawn = rng.choice(weight.size, DRAWS, p=weight)
        for name, values in now.items():
            value = believed[name][truth]
            ranks[name].append(int((values[drawn] < value).sum()))
            low, high = (quantile(values, weight, q) for q in ((1 - SHARE) / 2, (1 + SHARE) / 2))
            inside[name].append(low <= value <= high)
        for name, values in then.items():
            value, known = ahead[name][truth], np.isfinite(values)
            before = np.isfinite(ahead[name]) & others
            if np.isfinite(value):
                prior = crps(ahead[name][before], np.ones(before.sum()), value)
                scores[name].append((prior, crps(values[known], weight[known], value)))
    _write(given, ranks, inside, scores, np.array(effective), refused)


def _write(given, ranks, inside, scores, effective, refused) -> None:  # type: ignore[no-untyped-def]
    count = len(effective)
    p = {name: float(stats.chisquare(np.bincount(r, minlength=DRAWS + 1)).pvalue) for name, r in ranks.items()}
    adjusted = dict(zip(p, holm(list(p.values())), strict=True))
    passed = min(adjusted.values()) >= 0.05
    how = f"whole updates in stages of {given.members} members" if given.full else f"a bank of {given.bank} ponds"
    bounds = stats.binom.ppf([0.025, 0.975], count, SHARE) / count
    lines = [
        "# Calibration of `pondpop update`",
        "",
        f"Made by `python benchmarks/calibration.py` (see there): {count} simulated truths, {how}, seed {given.seed}.",
        f"Effective members: median {np.median(effective):.0f}, least {effective.min():.1f}; below 20 in {refused} of "
        f"{count} (`update` would conclude nothing there; they are counted all the same).",
        "",
        f"**Ranks: {'passed' if passed else 'NOT passed'}** (chi-square in {DRAWS + 1} bins, Holm over quantities, "
        f"smallest adjusted p {min(adjusted.values()):.3f}).",
        "",
        f"| quantity | p of ranks | adjusted | truth inside the {SHARE:.0%} interval |",
        "|---|---|---|---|",
        *(f"| {n} | {p[n]:.3f} | {adjusted[n]:.3f} | {np.mean(inside[n]):.0%} |" for n in ranks),
        "",
        f"Of {count} intervals that hold in {SHARE:.0%}, {bounds[0]:.0%} to {bounds[1]:.0%} would be inside by chance.",
        "",
        "| forecast for the year after | CRPS of the prior | of the posterior | better by | p (Wilcoxon) |",
        "|---|---|---|---|---|",
    ]
    for name, pairs in scores.items():
        prior, after = np.array(pairs).T
        chance = stats.wilcoxon(prior, after, alternative="greater").pvalue
        better = 1 - after.mean() / prior.mean()
        lines.append(f"| {name} | {prior.mean():.3g} | {after.mean():.3g} | {better:.0%} | {chance:.2g} |")
    lines += ["", "![ranks](calibration.svg)", ""]
    (HERE / "CALIBRATION.md").write_text("\n".join(lines), "utf-8")
    print("\n".join(lines))
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "pondpop"
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 5, figsize=(12, 4.2), sharey=True, layout="constrained")
    low, high = stats.binom.ppf([0.025, 0.975], count, 1 / (DRAWS + 1))
    for axis, (name, r) in zip(axes.ravel(), ranks.items(), strict=True):
        axis.axhspan(low, high, color="0.9")
        axis.bar(np.arange(DRAWS + 1), np.bincount(r, minlength=DRAWS + 1), color="#3b6ea5", width=0.9)
        axis.set_title(name, fontsize=9)
    axes[1, 0].set_xlabel("rank of the truth")
    axes[0, 0].set_ylabel("ponds")
    figure.savefig(HERE / "calibration.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
