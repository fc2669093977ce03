"""The report: one page made from stored projections alone; the only part that draws.

matplotlib is imported when the first picture is drawn.
"""

import os

from pondpop.checks import InputError
from pondpop.report.assessment_page import assessment_page
from pondpop.report.document import For
from pondpop.report.page import write_report
from pondpop.report.ponds_page import ponds_page

__all__ = ["For", "assessment_page", "can_draw", "ponds_page", "write_report"]


def can_draw() -> None:
    """Refuse settings with which matplotlib does not start, before there is any work to lose. Raises InputError."""
    try:
        import matplotlib  # noqa: F401
    except ValueError:
        remedy = "take it away: the pictures need no window"
        raise InputError("MPLBACKEND", os.environ.get("MPLBACKEND", ""), "a backend that matplotlib knows", remedy) from None
