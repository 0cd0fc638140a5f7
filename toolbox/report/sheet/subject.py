"""Subject: all that a sheet tells of a water."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from importlib.metadata import version
from typing import Any, Literal

import numpy as np

from toolbox.layers import Grid, Shoreline, Soundings, Table, Tin, Vectors
from toolbox.report.about import Line, about_lines
from toolbox.report.document import cell_text
from toolbox.volume.stage import Foot

__all__ = ["Subject"]


@dataclass(frozen=True, eq=False)
class Subject:
    """A water as a survey leaves it; for what each part is see :func:`write_sheet`."""

    title: str
    depth: Grid
    shoreline: Shoreline
    soundings: Soundings
    isobaths: Vectors
    hypsography: Table
    morphometry: Table
    bed: Tin
    unsurveyed: Grid | None
    features: Vectors | None
    plants: Vectors | None
    marks: Vectors | None
    pegs: Vectors | None
    course: Vectors | None
    exclusions: Vectors | None
    cast_profiles: Table | None
    origin: dict[str, Any]
    datum: dict[str, Any]
    declination: float | None
    made: date
    why: str
    foot: Foot
    unit: Literal["m", "ft"] = "m"

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the water and of the pegs beside it, m."""
        ends = [self.shoreline.polygons.bounds]
        if self.pegs is not None and len(self.pegs):
            ends.append(tuple(self.pegs.frame.total_bounds))
        found = np.array(ends)
        low, high = found[:, :2].min(axis=0), found[:, 2:].max(axis=0)
        return (*map(float, low), *map(float, high))  # type: ignore[return-value]

    @cached_property
    def sources(self) -> dict[str, int]:
        """Soundings that were used, by how they were taken."""
        used = self.soundings.frame["source"][~self.soundings.flag].astype(str)
        return {str(name): int(count) for name, count in sorted(used.value_counts().items())}

    @cached_property
    def depths(self) -> tuple[float, float]:
        """Shallowest and greatest depth that is shown, m."""
        least = min(0.0, float(np.nanmin(self.depth.values)))
        return least, max(float(np.nanmax(self.depth.values)), least + 0.01)

    @cached_property
    def has_guesses(self) -> bool:
        """Whether somewhere the bed is a guess."""
        return self.unsurveyed is not None and bool((self.unsurveyed.values > 0.5).any())

    @cached_property
    def spread(self) -> tuple[float, float] | None:
        """Standard deviation that half and 95 % of the nodes keep below, m, where known."""
        if self.bed.sd is None:
            return None
        half, most = np.quantile(self.bed.sd, [0.5, 0.95])
        return float(half), float(most)

    @cached_property
    def made_by(self) -> str:
        """Day and program of its making."""
        return f"{self.made.isoformat()} with Leadline {version('leadline')}"

    @property
    def has_marks(self) -> bool:
        """Whether there is a bait to be placed."""
        return self.marks is not None and len(self.marks) > 0

    @cached_property
    def about(self) -> list[Line]:
        """What a title block says."""
        return about_lines(
            self.title,
            origin=self.origin,
            datum=self.datum,
            made=self.made,
            bed=self.bed,
            soundings=self.soundings,
            morphometry=self.morphometry,
            why=self.why,
            foot=self.foot,
        )

    def told(self, *labels: str) -> list[tuple[str, str]]:
        """Return what the title block says under labels, in their order, as text."""
        found = {}
        for line in self.about:
            if line.value is not None and line.label not in found:
                found[line.label] = cell_text(line.value, line.format)
        return [(label, found[label]) for label in labels if label in found]
