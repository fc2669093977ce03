"""Words of the page alone: what the terms mean, and text made safe for HTML."""

from __future__ import annotations

from html import escape

EXPLAINED = {
    "PSD": "proportional size distribution: of the fish of stock length and longer, the per cent that reach quality "
    "length (bass: 8 and 12 in; bluegill: 3 and 6 in)",
    "PSD-P": "the same with preferred length (bass 15 in, bluegill 8 in)",
    "PSD-M": "the same with memorable length (bass 20 in, bluegill 10 in)",
    "Wr": "relative weight: weight in per cent of the standard weight of a fish of that length",
    "F/C": "weight of all forage fish over weight of bass",
    "Y/C": "weight of forage that the average adult bass can swallow over weight of bass",
    "A_T": "per cent of the weight of all fish that is of harvestable size",
}


def html(text: object) -> str:
    """Text made safe for the page."""
    return escape(str(text), quote=True)
