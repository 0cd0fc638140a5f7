"""Memory: a survey keeps within what it may use, or stops and says what would help."""

import os

from toolbox.bed.gridding import default_cell, grid_shape
from toolbox.blocks.memory import MEMORY, fits, in_gib, memory_allowed, raster_memory
from toolbox.errors import TooLargeError
from toolbox.layers import Tin
from toolbox.survey.settings import Settings
from toolbox.units import round_number

__all__ = ["Memory"]

_WORKING = 6
"""Rasters held for a while beside those that are kept: what derives and writes them takes."""


class Memory:
    """What a run may use: the survey's ``memory``, else ``LEADLINE_MEMORY``, else what is free.

    Parameters
    ----------
    settings : Settings
        Of the survey.
    """

    def __init__(self, settings: Settings) -> None:
        self._make = settings.make
        self._stated = _stated(settings.make.memory)
        self._allowed = memory_allowed(settings.make.memory)

    def check(self, stage: str) -> None:
        """Stop before a stage if more is in use than the survey or the environment allows.

        Raises
        ------
        TooLargeError
            With what would need less.
        """
        import psutil

        used = psutil.Process().memory_info().rss
        if self._stated and used > self._allowed:
            raise TooLargeError(
                f"{self._stated} is too little: {in_gib(used)} are in use before "
                f"{stage}; allow more, thin the soundings ([thinning] cell) or take wider cells"
            )

    def check_rasters(self, bed: Tin, kept: int) -> None:
        """Stop before gridding if the rasters would not fit.

        Parameters
        ----------
        bed : Tin
            What is gridded.
        kept : int
            How many rasters the survey makes.

        Raises
        ------
        TooLargeError
            With a cell width that would fit.
        """
        cell = default_cell(bed) if self._make.cell is None else float(self._make.cell)
        shape, layers = grid_shape(bed, cell), kept + _WORKING
        if fits(shape, self._allowed, layers=layers):
            return
        wider = round_number(cell * 1.1, up=True)
        while wider < max(shape) * cell and not fits(
            grid_shape(bed, wider), self._allowed, layers=layers
        ):
            wider = round_number(wider * 1.1, up=True)
        raise TooLargeError(
            f"cell = {cell:g} m makes {kept} rasters of {shape[0]:,} x {shape[1]:,} cells, which "
            f"need {in_gib(raster_memory(shape, layers=layers))} beside what is in use; "
            f"{in_gib(self._allowed)} may be used: take cell = {wider:g} m or allow more memory"
        )


def _stated(memory: str | None) -> str:
    """Return who says how much may be used, and how much; empty if nobody does."""
    if memory is not None:
        return f"memory = {memory}"
    told = os.environ.get(MEMORY)
    return f"{MEMORY} = {told}" if told else ""
