"""The answer of the page: the decision of each projection, told with the letters of its strategies."""

from __future__ import annotations

from dataclasses import dataclass

from pondpop.decide import oxygen_risk
from pondpop.decide.comparison import Decision
from pondpop.decide.details import Detail, details
from pondpop.decide.phrases import Teller, teller
from pondpop.report.strategies import Case, Material, Projection


@dataclass(frozen=True, eq=False)
class Verdict:
    """The decision of one projection, its strategies being cases of the page."""

    projection: Projection
    cases: list[Case]
    told: Teller

    @property
    def decision(self) -> Decision:
        return self.told.decision

    @property
    def best(self) -> Case:
        return self.cases[self.decision.best]

    @property
    def chosen(self) -> Case | None:
        return None if self.decision.chosen is None else self.cases[self.decision.chosen]

    @property
    def ranked(self) -> list[Case]:
        return [self.cases[k] for k in self.decision.ranked]

    def details_on(self, *topics: str) -> list[str]:
        found: list[Detail] = details(self.told)
        return [one.words for one in found if one.topic in topics]


@dataclass(frozen=True)
class Answer:
    """What the page says first (`lead`) and then, for each projection in order; `best` is what is shown where one must be."""

    best: Case
    option: str
    verdicts: list[Verdict]
    lead: list[list[tuple[str, str]]]
    more: list[list[tuple[str, str]]]

    @property
    def equals(self) -> list[Case]:
        """The cases that are chosen, or as good as one another, of the first projection."""
        first = self.verdicts[0]
        return [first.cases[k] for k in first.decision.equals]

    def shown(self, most: int) -> list[Case]:
        """The cases that are drawn where there is no room for all: the best of each projection in turn, by letter."""
        longest = max(len(v.cases) for v in self.verdicts)
        in_turn = [v.ranked[k] for k in range(longest) for v in self.verdicts if k < len(v.cases)]
        letters = {case.letter for case in in_turn[:most]}
        return [case for v in self.verdicts for case in v.cases if case.letter in letters]


def answer(material: Material) -> Answer:
    """The answer of every projection in words: a heading word and a sentence or two for each point."""
    verdicts = []
    for projection in material.projections:
        cases = material.cases_of(projection)
        told = teller(
            projection.dataset,
            projection.units,
            [case.letter for case in cases],
            [f"{case.letter} ({case.title})" for case in cases],
        )
        verdicts.append(Verdict(projection, cases, told))
    lead, more = ([_points(some(verdict.told)) for verdict in verdicts] for some in (_lead, _more))
    return Answer(verdicts[0].best, verdicts[0].told.option, verdicts, lead, more)


def _points(some: list[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(head, text[0].upper() + text[1:]) for head, text in some if text]


def _lead(told: Teller) -> list[tuple[str, str]]:
    return [
        (told.head, told.choice()),
        ("How sure", told.sureness(most=1)),
        ("Do next", told.next_steps()),
        ("Want of oxygen", oxygen_risk.lead_words(told)),
        ("If something befalls it", told.if_something_befalls()),
        ("Cost", told.money(most=1)),
        ("Cost of each", told.each()),
    ]


def _more(told: Teller) -> list[tuple[str, str]]:
    others = told.sureness() if len(told.decision.names) > 2 else ""
    return [
        ("Against each of the others", others),
        ("What if", told.what_if()),
        ("What to expect", told.expected()),
        ("Oxygen", oxygen_risk.words(told)),
        ("Mind", told.mind()),
        ("Unusual", told.unusual()),
        ("When in range", told.repair()),
        ("What would change this", told.change()),
    ]
