"""Containers: files that hold others, or sheets; most are not read but explained."""

from pathlib import Path

from toolbox.errors import InputFileError

__all__ = ["ARCHIVES", "READ_WORKBOOKS", "WORKBOOKS", "is_read_workbook", "refuse_container"]

ARCHIVES = (
    *(".zip", ".kmz", ".7z", ".rar", ".tar", ".tgz"),
    *(".gz", ".bz2", ".xz", ".zst"),
)
READ_WORKBOOKS = (".xlsx", ".xlsm")
"""Those whose tables are read."""

WORKBOOKS = (*READ_WORKBOOKS, ".xls", ".xlsb", ".ods", ".numbers")


def is_read_workbook(path: Path) -> bool:
    """Tell by its ending whether a file is a workbook whose tables are read."""
    return path.suffix.lower() in READ_WORKBOOKS


def refuse_container(path: Path) -> None:
    """Raise InputFileError if a file is an archive or a workbook by its ending."""
    suffix = path.suffix.lower()
    if suffix in ARCHIVES:
        raise InputFileError(f"{path} is an archive: unpack it, and name the file in it")
    if suffix in WORKBOOKS:
        raise InputFileError(f"{path} is a workbook: save its sheet as CSV, and name that file")
