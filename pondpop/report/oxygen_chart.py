"""The chance of a kill for want of oxygen by calendar month and cause, a panel for each strategy."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pondpop.decide import oxygen_risk
from pondpop.report.drawing import Picture, colour_key, few_ticks, heading, picture, stacked
from pondpop.report.strategies import Case
from pondpop.report.time_series import panel_height
from pondpop.units import months_in_words

COLOURS = {"cloud": "#5b5b5b", "turnover": "#14418b", "feed": "#b5461a", "bloom": "#4a7a2c", "ice": "#2b6f99"}
HATCHES = {"cloud": "....", "turnover": "////", "feed": "", "bloom": "\\\\\\\\", "ice": "xxxx"}
LEAST = 0.002  # chance of a year below which nothing is drawn


def draw(cases: Sequence[Case], key: str) -> Picture | None:
    """None where no strategy has a chance of a year to speak of."""
    risks = {}
    for case in cases:
        every = oxygen_risk.risks(case.projection.dataset, case.projection.scenario)
        if every:
            risks[case.letter] = every[list(case.projection.scenario.strategies).index(case.strategy.name)]
    shown = [case for case in cases if case.letter in risks and risks[case.letter].partial >= LEAST]
    if not shown:
        return None
    figure, panels = stacked(len(shown), panel_height(len(shown)), right_in=0.6)
    top = 110.0 * max(max(risks[case.letter].by_month) for case in shown)
    said = []
    for n, (axes, case) in enumerate(zip(panels, shown, strict=True)):
        risk = risks[case.letter]
        heading(axes, case.letter, case.title, "" if n else "% a year")
        axes.set(xlim=(0.4, 12.6), ylim=(0.0, top))
        few_ticks(axes)
        axes.set_xticks(range(1, 13), labels=list("JFMAMJJASOND") if case is shown[-1] else [""] * 12)
        below = np.zeros(12)
        for cause, colour in COLOURS.items():
            share = 100.0 * np.array(risk.by_month_and_cause[cause])
            hatch = HATCHES[cause]
            axes.bar(range(1, 13), share, 0.75, bottom=below, facecolor="white" if hatch else colour, edgecolor=colour,
                     hatch=hatch, linewidth=0.6)  # fmt: skip
            below += share
        said.append(f"{case.letter}: {100.0 * risk.partial:.1f} % a year, most in {months_in_words(risk.months)}")
    causes = [c for c in COLOURS if any(any(risks[case.letter].by_month_and_cause[c]) for case in shown)]
    colour_key(panels[0], {cause: COLOURS[cause] for cause in causes})
    rest = [case.letter for case in cases if case.letter in risks and case not in shown]
    nothing = f" Hardly any under {', '.join(rest)}." if rest else ""
    return picture(
        figure, key, "When fish die for want of oxygen, and by what",
        "Chance of a year that over a tenth of the weight of fish dies in a month, by what the deaths of that month are put "
        f"down to (frequencies assumed).{nothing}",
        "Chance of a kill for want of oxygen by calendar month and cause. " + "; ".join(said) + ".",
    )  # fmt: skip
