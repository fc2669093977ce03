"""The report: one page made from stored projections alone; the only part that draws.

matplotlib is imported when the first picture is drawn.
"""

from pondpop.report.page import write_page

__all__ = ["write_page"]
