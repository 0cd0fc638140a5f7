"""Batch file: a survey file for many waters, which stand in a layer."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from toolbox.errors import SettingsError
from toolbox.faults import first_fault
from toolbox.survey.keys import Crs, Input, Metres, Section, WorkCrs
from toolbox.survey.settings import Settings

__all__ = ["BatchFile", "Waters", "load_batch_file"]


class Waters(Section):
    """The waters: a layer of polygons, and how they are told apart."""

    file: Input = Field(description="Polygons, one row a water; islands as holes.")
    layer: str | None = Field(None, description="Layer of a file that holds several.")
    where: str | None = Field(None, description="Condition on its features.")
    name: str | None = Field(
        None, description="Column of names; if left out, the one called name, or that of id."
    )
    id: str | None = Field(
        None, description="Column that names the folders, where several waters share a name."
    )
    shoreline_crs: Crs | None = Field(
        None, description="CRS of the polygons, if the file has none."
    )
    shoreline_level: Metres | None = Field(
        None, description="Elevation of the waters when their edges were mapped."
    )
    crs: WorkCrs | None = Field(None, description="Projected CRS in metres to work in.")


@dataclass(frozen=True)
class BatchFile:
    """Waters in a layer, their soundings in others, and what holds for all of them.

    Parameters
    ----------
    waters : Waters
        The layer of polygons.
    common : Settings
        All else, as for one water.
    """

    waters: Waters
    common: Settings


def load_batch_file(given: Mapping[str, Any], path: Path) -> BatchFile:
    """Check what a batch file says.

    Parameters
    ----------
    given : mapping
        A survey file with ``[waters]`` in place of ``[water]``.
    path : Path
        Where it stands: its paths are as seen from its folder.

    Returns
    -------
    BatchFile
        All checked, defaults filled in.

    Raises
    ------
    SettingsError
        At the first key that is unknown, missing or wrong.
    """
    context = {"folder": path.parent}
    rest = {key: value for key, value in given.items() if key != "waters"}
    if "water" in rest:
        raise SettingsError(f"{path}: give [waters], a layer of them, or [water], not both")
    try:
        waters = Waters.model_validate(given.get("waters", {}), context=context)
    except ValidationError as error:
        raise SettingsError(f"{path}: waters: {first_fault(error, Waters)}") from error
    told = waters.model_dump(include={"shoreline_level", "crs"})
    rest["water"] = {"name": "any", "shoreline": waters.file.absolute(), **told}
    try:
        common = Settings.model_validate(rest, context=context)
    except ValidationError as error:
        raise SettingsError(f"{path}: {first_fault(error, Settings)}") from error
    for number, source in enumerate(common.soundings, start=1):
        if source.kind != "points":
            raise SettingsError(
                f"{path}: soundings {number}: kind must be 'points' to be split by water, "
                f"got {source.kind!r}"
            )
    return BatchFile(waters, common)
