"""Batch file: a survey file for many waters, which stand in a layer."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError

from toolbox.errors import SettingsError
from toolbox.faults import Fault, every_fault, in_order
from toolbox.survey.keys import Crs, Input, Metres, WorkCrs
from toolbox.survey.sections import Section
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
        At keys that are unknown, missing or wrong; all of them are told, one line each.
    """
    context = {"folder": path.parent}
    faults: list[Fault] = []
    if "water" in given:
        faults.append((("water",), "give [waters], a layer of them, or [water], not both"))
    waters = _waters(given.get("waters", {}), context, faults)
    common = _common(given, waters, context, faults)
    if waters is None or common is None or faults:
        raise SettingsError(*(f"{path}: {fault}" for fault in in_order(faults, given)))
    return BatchFile(waters, common)


def _waters(told: Any, context: dict[str, Path], faults: list[Fault]) -> Waters | None:
    try:
        return Waters.model_validate(told, context=context)
    except ValidationError as error:
        found = every_fault(error, Waters)
        faults += [(("waters", *key), f"waters: {text}") for key, text in found]
        return None


def _common(
    given: Mapping[str, Any], waters: Waters | None, context: dict[str, Path], faults: list[Fault]
) -> Settings | None:
    """Check what holds for every water, each of which stands in for the one of a survey file."""
    rest = {key: value for key, value in given.items() if key != "waters"}
    rest["water"] = {"name": "any", "shoreline": "any"}
    if waters is not None:
        told = waters.model_dump(include={"shoreline_level", "crs"})
        rest["water"] |= {"shoreline": waters.file.absolute(), **told}
    try:
        common = Settings.model_validate(rest, context=context)
    except ValidationError as error:
        faults += every_fault(error, Settings)
        return None
    for place, source in enumerate(common.soundings):
        if source.kind != "points":
            fault = f"kind must be 'points' to be split by water, got {source.kind!r}"
            faults.append((("soundings", place), f"soundings {place + 1}: {fault}"))
    return common
