"""Containers: files that hold others, or sheets, and are not read but explained."""

from pathlib import Path

from toolbox.errors import InputFileError

__all__ = ["ARCHIVES", "WORKBOOKS", "refuse_container"]

ARCHIVES = (
    *(".zip", ".kmz", ".7z", ".rar", ".tar", ".tgz"),
    *(".gz", ".bz2", ".xz", ".zst"),
)
WORKBOOKS = (".xlsx", ".xls", ".xlsm", ".xlsb", ".ods", ".numbers")


def refuse_container(path: Path) -> None:
    """Raise InputFileError if a file is an archive or a workbook by its ending."""
    suffix = path.suffix.lower()
    if suffix in ARCHIVES:
        raise InputFileError(f"{path} is an archive: unpack it, and name the file in it")
    if suffix in WORKBOOKS:
        raise InputFileError(f"{path} is a workbook: save its sheet as CSV, and name that file")
