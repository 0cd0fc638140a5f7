"""Stocking file: a proposal as an officer writes it, in TOML."""

from pathlib import Path

from pydantic import ValidationError

from toolbox.errors import InputFileError
from toolbox.faults import first_fault
from toolbox.formats.toml_text import read_toml
from toolbox.stocking.proposal import StockingProposal
from toolbox.tool import checked

__all__ = ["read_stocking"]


@checked
def read_stocking(path: Path) -> StockingProposal:
    """Read and check a stocking file.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    StockingProposal
        All checked; quantities are text with units in the file and SI inside.

    Raises
    ------
    InputFileError
        At the first key that is unknown, missing or wrong: a rate without unit or source, a basis
        that does not fit, a survival above 1.
    """
    given = read_toml(path)
    try:
        return StockingProposal.model_validate(given)
    except ValidationError as error:
        raise InputFileError(f"{path}: {_told(error)}") from error


def _told(error: ValidationError) -> str:
    told = first_fault(error, StockingProposal, unsaid=(dict, list))
    why = ": every figure names where it comes from"
    return told + why if told.endswith("source' is missing") else told
