"""Marks: where to put a bait, as one step of a survey."""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolbox.formats.places import read_places
from toolbox.formats.vectors_file import read_vectors
from toolbox.layers import Places, Table, Tin, Vectors
from toolbox.marks.boat import boat_course, boat_marks, boat_start
from toolbox.marks.cast_profiles import cast_profile
from toolbox.marks.marks import marks
from toolbox.marks.pegs import Pegs
from toolbox.survey.lineage import Lineage
from toolbox.survey.reading import Drawn
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings

__all__ = ["Grounds", "Marked", "make_marks", "read_grounds"]

_FILES = {"kind", "pegs", "slip", "exclusions", "crs", "weights"}


@dataclass(frozen=True)
class Grounds:
    """Where marks are reached from, and what they keep clear of."""

    places: Places | None
    exclusions: Vectors | None
    pegs: Pegs | None = None


@dataclass(frozen=True)
class Marked:
    """Marks, and what leads to them."""

    marks: Vectors
    pegs: Vectors | None = None
    course: Vectors | None = None
    profiles: Table | None = None


def read_grounds(settings: Settings, inputs: Inputs, lineage: Lineage) -> Grounds | None:
    """Read pegs, slip and exclusions, before any bed is made; None if no marks are wanted."""
    wanted = settings.marks
    if wanted is None:
        return None
    start, kept_clear = wanted.pegs or wanted.slip, wanted.exclusions
    places = None if start is None else read_places(start, crs=wanted.crs, into=inputs.crs)
    exclusions = None
    if kept_clear is not None:
        exclusions = read_vectors(kept_clear, crs=wanted.crs, into=inputs.crs)
    files: list[Path] = [path for path in (start, kept_clear) if path is not None]
    lineage.step("read grounds", files=[str(path) for path in files])
    # what is wrong with pegs or a slip is told before the bed is made
    if wanted.kind == "boat":
        boat_start(places, inputs.shoreline)
        return Grounds(places, exclusions)
    pegs = None if places is None else Pegs.of(places, inputs.shoreline, reach=1.0, sector=360.0)
    return Grounds(places, exclusions, pegs)


def make_marks(
    grounds: Grounds | None,
    bed: Tin,
    drawn: Drawn,
    settings: Settings,
    inputs: Inputs,
    lineage: Lineage,
) -> Marked | None:
    """Rank marks for the bank or a boat; None if none are wanted."""
    wanted = settings.marks
    if wanted is None or grounds is None:
        return None
    options: dict[str, Any] = wanted.model_dump(exclude=_FILES, exclude_none=True)
    options |= {f"weight_{kind}": weight for kind, weight in wanted.weights.items()}
    layers = (grounds.places, drawn.features, grounds.exclusions, drawn.plants)
    if wanted.kind == "boat":
        made = boat_marks(bed, inputs.shoreline, *layers, **options)
        course = boat_course(made, bed, inputs.shoreline, grounds.places) if len(made) else None
        marked = Marked(made, course=course)
    else:
        made = marks(bed, inputs.shoreline, *layers, **options)
        profiles = cast_profile(bed, made, drawn.plants) if len(made) else None
        marked = Marked(made, _pegs(made, grounds.pegs), profiles=profiles)
    lineage.step("marks", made.notes, marks=len(made))
    return marked


def _pegs(made: Vectors, given: Pegs | None) -> Vectors:
    """Return the pegs that were given, else those along the bank that marks are cast at from."""
    import geopandas

    if given is None:
        used = made.frame.drop_duplicates("peg")
        names = used["peg"].tolist()
        places = used[["peg_easting_m", "peg_northing_m"]].to_numpy(float)
    else:
        names, places = given.names, given.places
    stands = made.frame[["peg_easting_m", "peg_northing_m"]].to_numpy(float)
    counts = Counter(map(tuple, stands.tolist()))
    frame = geopandas.GeoDataFrame(
        {"peg": names, "marks": [counts[easting, northing] for easting, northing in places]},
        geometry=geopandas.points_from_xy(*places.T),
        crs=made.crs,
    )
    return Vectors(frame, "pegs")
