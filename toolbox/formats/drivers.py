"""Drivers: parts of the GDAL library, each for one format, that others may have switched off."""

import os
from pathlib import Path

from toolbox.errors import InputFileError, OutputError
from toolbox.surroundings import skipped_drivers

__all__ = ["need_driver"]


def need_driver(path: Path, driver: str, error: type[InputFileError] | type[OutputError]) -> None:
    """Raise an error if the environment switches off what a file is read or written by.

    Parameters
    ----------
    path : Path
        The file.
    driver : str
        As GDAL names it.
    error : type
        InputFileError if the file is to be read, OutputError if it is to be written.
    """
    variable = skipped_drivers(os.environ).get(driver.lower())
    if variable is not None:
        what = "read" if error is InputFileError else "written"
        raise error(
            f"{path.name} cannot be {what}: {variable}={os.environ[variable]!r} in the environment "
            f"switches off the driver {driver} of GDAL; unset it"
        )
