"""Settings: the survey file, checked key by key."""

from pathlib import Path
from typing import Any, ClassVar, Literal

from pydantic import Field, ValidationError

from toolbox.errors import InputFileError, SettingsError
from toolbox.faults import every_fault, in_order
from toolbox.features.canopies import EmptyCanopy
from toolbox.formats.toml_text import read_toml
from toolbox.survey.keys import Crs, Day, Degrees, Input, Metres, Name, Width, WorkCrs, Zone
from toolbox.survey.rules import BED, SOURCE, SURVEY
from toolbox.survey.sections import Rule, Section
from toolbox.survey.wanted import Make, Marks, Plan, Plants, Report, Sheet, Stage
from toolbox.survey.wanted_habitat import Echoes, Light, ProfileSource, SpeciesSource, Stocking
from toolbox.units import MetreOrFoot, Unit

__all__ = ["Settings", "load_settings", "read_keys"]


class Water(Section):
    """The water and its edge."""

    name: Name = Field(description="Name of the water.")
    shoreline: Input = Field(
        description="Polygons of the water, islands as holes or stacked rings."
    )
    layer: str | None = Field(None, description="Layer of the shoreline file, if it holds several.")
    where: str | None = Field(None, description="Condition on its features.")
    shoreline_crs: Crs | None = Field(
        None, description="CRS of the shoreline, if the file has none."
    )
    shoreline_level: Metres | None = Field(
        None, description="Elevation of the water when its edge was mapped; if left out, the datum."
    )
    open_edges: Input | None = Field(
        None, description="Lines or polygons that mark where the edge is not a shore."
    )
    open_within: Width = Field(5.0, description="How near to those marks the edge is open, m.")
    crs: WorkCrs | None = Field(None, description="Projected CRS in metres to work in.")


class Datum(Section):
    """The water level that depths refer to."""

    elevation: Metres | None = Field(None, description="Elevation of the datum water level, m.")
    name: str = Field("", max_length=300, description="What elevations refer to.")
    record: Input | None = Field(
        None,
        description="Water levels over time, for logs and by_record: a table of time (or date and "
        "time) and level, in the unit its name tells.",
    )
    timezone: Zone | None = Field(
        None, description="Zone of the record's times that name no offset; if left out, UTC."
    )
    date_format: str | None = Field(
        None, description="How the record's dates are written, if not as ISO 8601: %d.%m.%Y."
    )
    gauge_zero: Metres = Field(
        0.0, description="Elevation of the gauge's zero, where the record is read from there, m."
    )


class _Depths(Section):
    file: Input = Field(description="The file, as seen from the survey file.")
    crs: Crs | None = Field(None, description="CRS of its coordinates, if the file names none.")
    layer: str | None = Field(
        None, description="Layer of a file that holds several, or sheet of a workbook."
    )
    where: str | None = Field(None, description="Condition on the features of a vector file.")
    depth: str | None = Field(None, description="Column of depths, if its name does not tell.")
    elevation: str | None = Field(None, description="Column of bed elevations instead.")
    unit: Unit | None = Field(None, description="Unit of depths or elevations.")
    positive: Literal["down", "up"] = Field("down", description="Direction in which depths grow.")


class Source(_Depths):
    """One file of soundings, and what its depths need to become depths below the datum."""

    rules: ClassVar[tuple[Rule, ...]] = SOURCE

    kind: Literal["points", "casts", "nmea", "xyz"] = Field(
        "points",
        description="What the file holds: points, a cast log, an NMEA 0183 log, or more text of x, "
        "y, z than fits into memory, thinned while it is read.",
    )
    source: Literal["point", "track", "plummet", "cast"] = Field(
        "point", description="How the depths of points were taken."
    )
    easting: str | None = Field(None, description="Column of eastings or longitudes.")
    northing: str | None = Field(None, description="Column of northings or latitudes.")
    delimiter: str | None = Field(None, description="Between columns of text.")
    decimal: Literal[".", ","] | None = Field(None, description="Decimal mark of text.")
    encoding: str = Field("utf-8-sig", description="Encoding of text.")
    pegs: Input | None = Field(
        None, description="Named points, for casts and for readings by peg, bearing and distance."
    )
    declination: Degrees | None = Field(
        None, description="East of true north, if bearings are magnetic."
    )
    pings: Input | None = Field(None, description="casts: the readings of the casts.")
    wrap: Width | None = Field(None, description="casts: line on one wrap, if they count wraps.")
    longest: Width | None = Field(None, description="casts: the line that the tackle holds.")
    date: Day | None = Field(None, description="nmea: the date of a log without one.")
    lenient_checksum: bool = Field(False, description="nmea: take sentences without checksum.")
    latency: float = Field(
        0.0, ge=-60, le=60, description="nmea: seconds by which depths lag behind positions."
    )
    max_gap: float = Field(
        10.0, gt=0, description="nmea: seconds between fixes beyond which nothing is placed."
    )
    draft: Metres = Field(0.0, description="Depth of the transducer below the surface.")
    speed_set: float | None = Field(
        None, gt=0, description="Speed of sound the instrument was set to, m/s."
    )
    temperature: float | None = Field(
        None, ge=-0.5, le=95, description="Temperature of the water, degrees Celsius."
    )
    profile: Input | None = Field(
        None, description="Table of depth_m and temperature_c, instead of one temperature."
    )
    bar_check: Input | None = Field(
        None, description="Table of bar_m and reading_m, instead of draft and speed of sound."
    )
    water_level: Metres | None = Field(
        None,
        description="Elevation of the water the depths were read on; if left out, points are at "
        "the datum, casts on the level noted with them, and logs on that of the record.",
    )
    by_record: bool = Field(
        False,
        description="points: whether they were read on the water that the record tells for their "
        "times, instead of at the datum.",
    )
    timezone: Zone | None = Field(
        None,
        description="points, casts: zone of times that name no offset, where the level is looked "
        "up for them; if left out, UTC.",
    )
    empty_canopy: EmptyCanopy | None = Field(
        None,
        description="points, casts: what an empty canopy means: unknown, nobody looked for plants; "
        "or bare bed. If left out, bare where the file notes plants and hardly ever bare bed.",
    )


class BreaklineSource(_Depths):
    """One file of lines of known depth, or of the depth bands of an older map."""

    bands: bool = Field(
        False, description="Whether polygons are bands; their depth is their shallower limit."
    )


class Cleaning(Section):
    """What is taken for a false reading; nothing is ever deleted."""

    on: bool = Field(True, description="Whether to look for false readings.")
    min_depth: Metres | None = Field(None, description="Least depth that is possible, m.")
    max_depth: Metres | None = Field(None, description="Greatest depth that is possible, m.")
    overrides: Input | None = Field(
        None, description="Table of readings that a person keeps or rejects all the same."
    )


class Thinning(Section):
    """Whether many soundings of one place become one before the bed is made."""

    cell: Width | None = Field(None, description="Width of the cells, m; if left out, none.")
    by: Literal["mean", "median", "shoalest", "deepest"] = Field(
        "mean", description="What the soundings of a cell become."
    )


class Bed(Section):
    """How the bed is made."""

    rules: ClassVar[tuple[Rule, ...]] = BED

    method: Literal["triangulated", "fitted", "auto"] = Field(
        "auto",
        description="How the bed is made: fitted, which knows its own error; triangulated, quick "
        "and straight between soundings; or auto, the one nearer to lines left out, but the "
        "triangulated one where a fit would take minutes.",
    )
    spacing: Width | None = Field(
        None, description="fitted: distance between nodes along the lines, m."
    )
    draws: int = Field(
        100, ge=2, le=1000, description="fitted: equally likely beds, from which all bands come."
    )
    seed: int = Field(0, ge=0, description="fitted: seed of these.")
    centreline: Input | None = Field(
        None, description="fitted: lines along which a river or an arm runs."
    )
    duplicates: Literal["mean", "shoalest", "deepest"] = Field(
        "mean", description="triangulated: what soundings at one place become."
    )
    cure_flats: bool = Field(
        True, description="triangulated: whether to infer depths in flat bays and necks."
    )
    breaklines: BreaklineSource | None = Field(
        None, description="Lines the bed must follow; it is then triangulated."
    )


class Origin(Section):
    """Who made the survey, and when."""

    by: str = Field("", max_length=300, description="Who made it.")
    date: Day = Field("", max_length=300, description="When the soundings were taken.")
    remarks: str = Field("", max_length=3000, description="What a reader should know.")


class Settings(Section):
    """Everything a survey file says."""

    rules: ClassVar[tuple[Rule, ...]] = SURVEY

    water: Water
    datum: Datum = Datum()
    soundings: tuple[Source, ...] = Field(min_length=1)
    cleaning: Cleaning = Cleaning()
    thinning: Thinning = Thinning()
    bed: Bed = Bed()
    make: Make = Make()
    report: Report = Report()
    sheet: Sheet = Sheet()
    stage: Stage | None = None
    plants: Plants | None = None
    profiles: ProfileSource | None = None
    light: Light | None = None
    species: SpeciesSource | None = None
    echoes: Echoes | None = None
    stocking: Stocking | None = None
    marks: Marks | None = None
    plan: Plan | None = None
    origin: Origin = Origin()

    @property
    def unit(self) -> MetreOrFoot:
        """Unit in which depths are told, and in which steps between them are round."""
        if self.report.units == "metric":
            return "m"
        return "ft" if self.make.foot == "international" else "survey_foot"

    @property
    def shore_depth(self) -> float:
        """Depth of the mapped water's edge below the datum, m."""
        if self.water.shoreline_level is None or self.datum.elevation is None:
            return 0.0
        return self.datum.elevation - self.water.shoreline_level

    @property
    def inputs(self) -> tuple[Path, ...]:
        """All files that the survey reads."""
        found = [self.water.shoreline, self.water.open_edges, self.datum.record]
        for source in self.soundings:
            found += [source.file, source.pings, source.pegs, source.profile, source.bar_check]
        lines = self.bed.breaklines
        found += [self.cleaning.overrides, lines.file if lines else None, self.bed.centreline]
        found += [self.plan.pegs if self.plan else None, self.plants.file if self.plants else None]
        for section in (self.profiles, self.species, self.stocking):
            found.append(section.file if section else None)
        found += [self.echoes.file, self.echoes.pings] if self.echoes else []
        if self.marks:
            found += [self.marks.pegs, self.marks.slip, self.marks.exclusions]
        return tuple(dict.fromkeys(path for path in found if path))


def load_settings(path: Path) -> Settings:
    """Read and check a survey file.

    Parameters
    ----------
    path : Path
        A TOML file; paths in it are as seen from its folder.

    Returns
    -------
    Settings
        All checked, defaults filled in.

    Raises
    ------
    SettingsError
        At keys that are unknown, missing or wrong; all of them are told, one line each.
    """
    given = read_keys(path)
    try:
        return Settings.model_validate(given, context={"folder": path.parent})
    except ValidationError as error:
        told = in_order(every_fault(error, Settings), given)
        raise SettingsError(*(f"{path}: {fault}" for fault in told)) from error


def read_keys(path: Path) -> dict[str, Any]:
    """Read the keys of a survey file as they stand, or raise SettingsError."""
    try:
        return read_toml(path)
    except InputFileError as error:
        raise SettingsError(str(error)) from error
