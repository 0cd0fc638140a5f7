"""The sheet: a map true to scale on paper, and cards for the pocket."""

from toolbox.report.sheet.writing import write_sheet

__all__ = ["write_sheet"]
