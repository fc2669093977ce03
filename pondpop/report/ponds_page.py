"""The page that leads to the reports of several ponds: what to choose at each, how surely, and what next."""

from __future__ import annotations

from collections.abc import Mapping

from pondpop import __version__
from pondpop.decide.phrases import Teller
from pondpop.ensemble.store import PAGE_MARK
from pondpop.report.document import CAUTIONS, MODEL_CAUTION
from pondpop.report.format import html
from pondpop.report.style import CSS
from pondpop.report.tables import Table


def ponds_page(ponds: Mapping[str, Teller]) -> str:
    """The text of the page. ponds: by the folder in which the report of each lies beside the page."""
    title = f"{len(ponds)} ponds"
    rows = []
    for told in ponds.values():
        members = told.decision.members
        rows.append([told.scenario.title, f"{told.head}: {told.choice()}", told.next_steps(1), f"{members}"])
    table = Table("ponds", "Each pond by itself; its own report has the rest",
                  ("Pond", "What to choose", "Next", "Futures"), rows, (), look="texts")  # fmt: skip
    links = "".join(
        f'<li><a href="{html(name)}/report.html">{html(told.scenario.title)}</a> ({html(name)})</li>'
        for name, told in ponds.items()
    )
    cautions = "".join(f"<li><b>{html(head)}.</b> {html(text)}</li>" for head, text in (*CAUTIONS, MODEL_CAUTION))
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{html(title)}</title>\n'
        f'{PAGE_MARK} {__version__}">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n<style>{CSS}</style></head>\n'
        f"<body><header><h1>{html(title)}</h1></header>\n<main>\n{table.to_html()}\n"
        f'<section aria-labelledby="reports"><h2 id="reports">Reports</h2><ul>{links}</ul></section>\n'
        f'<section class="warn" aria-labelledby="cautions"><h2 id="cautions">Cautions</h2><ul>{cautions}</ul></section>\n'
        "</main></body></html>\n"
    )
