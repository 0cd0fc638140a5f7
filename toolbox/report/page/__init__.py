"""The page: a water and all that is known of it in one file that works offline."""

from toolbox.report.page.layers import MapLayers, PageTables
from toolbox.report.page.writing import page_html, write_page

__all__ = ["MapLayers", "PageTables", "page_html", "write_page"]
