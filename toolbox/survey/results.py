"""Results: what the steps of a survey hand on, and what goes into its folder."""

from dataclasses import dataclass

from toolbox.layers import Grid, Table, Vectors
from toolbox.report.stocking_document import StockingStudy
from toolbox.survey.bed import MadeBed
from toolbox.survey.habitat import Habitat
from toolbox.survey.marks import Marked
from toolbox.survey.reading import Drawn
from toolbox.survey.reduce import Inputs

__all__ = ["Checks", "Results"]


@dataclass(frozen=True)
class Checks:
    """What the lines of a survey say of each other."""

    crossings: Table
    statistics: Table
    offsets: Table
    orders: Table


@dataclass(frozen=True)
class Results:
    """All that a survey comes to."""

    inputs: Inputs
    checks: Checks | None
    made: MadeBed
    plan: Vectors | None
    grids: tuple[Grid, ...]
    drawn: Drawn
    exclusions: Vectors | None
    marked: Marked | None
    hypsography: Table
    morphometry: Table
    methods: Table
    stage: Table | None
    habitat: Habitat
    stocking: StockingStudy | None

    def grid(self, name: str) -> Grid | None:
        """Return the raster of a name, if there is one."""
        return next((grid for grid in self.grids if grid.name == name), None)

    @property
    def layers(self) -> tuple[Vectors, ...]:
        """Points, lines and polygons beside shoreline, soundings and bed."""
        several = [*self.drawn.layers, *self.habitat.layers, self.plan]
        if self.marked is not None:
            several += [self.marked.marks, self.marked.pegs, self.marked.course]
        return tuple(layer for layer in several if layer is not None and len(layer))

    @property
    def tables(self) -> dict[str, Table]:
        """All tables, by the names of their files."""
        found = {
            "hypsography": self.hypsography,
            "morphometry": self.morphometry,
            "methods": self.methods,
        }
        found |= self.made.tables
        if self.checks is not None:
            found |= {
                "crossings": self.checks.statistics,
                "line_offsets": self.checks.offsets,
                "orders": self.checks.orders,
            }
        if self.stage is not None:
            found["stage"] = self.stage
        if self.marked is not None and self.marked.profiles is not None:
            found["cast_profiles"] = self.marked.profiles
        return found
