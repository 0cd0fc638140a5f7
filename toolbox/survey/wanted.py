"""Wanted: what a survey asks for beyond its bed, key by key."""

from collections.abc import Iterator
from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import Field, field_validator

from toolbox.blocks.memory import parse_memory
from toolbox.survey.keys import Crs, Degrees, Input, Length, Metres, Width
from toolbox.survey.sections import Rule, Section, keys_fit

__all__ = [
    "Export",
    "Make",
    "MarkKind",
    "Marks",
    "Part",
    "Plan",
    "Plants",
    "Report",
    "Sheet",
    "Stage",
    "Terrain",
]

Terrain = Literal[
    "slope",
    "aspect",
    "shaded_relief",
    "profile_curvature",
    "plan_curvature",
    "relative_position",
    "roughness",
    "ruggedness_index",
    "surface_area_ratio",
    "arc_chord_ratio",
    "vector_ruggedness",
    "landforms",
]

Export = Literal[
    "gpx", "kmz", "mbtiles", "dxf", "ply", "glb", "xyz", "geojson", "flatgeobuf", "geoparquet"
]

Part = Literal[
    "layers",
    "rasters",
    "tables",
    "workbook",
    "pictures",
    "sheet",
    "page",
    "habitat",
    "stocking",
    "exports",
    "metadata",
]


def _stocking_has_its_pictures(make: Any) -> Iterator[str]:
    if "stocking" in make.write and not {"pictures", "habitat"} <= set(make.write):
        yield "write: stocking shows what pictures and habitat hold: name them too"


class Make(Section):
    """What to make of the bed."""

    rules: ClassVar[tuple[Rule, ...]] = (_stocking_has_its_pictures,)

    cell: Width | None = Field(None, description="Cell width of the rasters, m.")
    step: Width | None = Field(None, description="Depth between rows of the table, m.")
    levels: tuple[Metres, ...] | None = Field(
        None, min_length=1, description="Depths of the table instead, m."
    )
    slope_unit: Literal["degree", "percent", "ratio"] = Field(
        "degree", description="Unit of slope."
    )
    terrain: tuple[Terrain, ...] = Field(
        (
            "slope",
            "aspect",
            "shaded_relief",
            "profile_curvature",
            "relative_position",
            "surface_area_ratio",
            "vector_ruggedness",
            "landforms",
        ),
        description="Rasters to derive from the depths; plan_curvature, roughness, "
        "ruggedness_index and arc_chord_ratio are made where they are named.",
    )
    isobath_interval: Width | None = Field(
        None, description="Depth between isobaths and between depth zones, m."
    )
    isobath_levels: tuple[Metres, ...] | None = Field(
        None, min_length=1, description="Depths of the isobaths instead, m."
    )
    foot: Literal["international", "survey"] = Field(
        "international", description="Which foot feet, acres and acre-feet are of."
    )
    exports: tuple[Export, ...] = Field(
        ("gpx", "kmz", "mbtiles"),
        description="Files for others: gpx (marks for a handheld), kmz (for a globe viewer), "
        "mbtiles (offline map for a phone), dxf (isobaths), ply and glb (the bed in three "
        "dimensions), xyz (depths as text), geojson, flatgeobuf and geoparquet (all layers).",
    )
    paper: Literal["A4", "Letter"] = Field("A4", description="Paper that tables are printed on.")
    write: tuple[Part, ...] = Field(
        get_args(Part),
        min_length=1,
        description="Parts of the folder to write; what no part shows is not computed. "
        "findings.txt and lineage.json are always written.",
    )
    memory: str | None = Field(
        None,
        description="Most that a run may use, such as 2 GiB (a bare number is in GiB); if left "
        "out, what LEADLINE_MEMORY in the environment says, else six tenths of what is free.",
        json_schema_extra={
            "anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string"}]
        },
    )

    @field_validator("memory", mode="before")
    @classmethod
    def _is_memory(cls, given: object) -> object:
        if given is None:
            return None
        text = f"{given:g} GiB" if isinstance(given, (int, float)) else str(given)
        parse_memory(text)
        return text

    def shows(self, *parts: Part) -> bool:
        """Tell whether one of these parts is to be written."""
        return any(part in self.write for part in parts)


class Report(Section):
    """How results are told."""

    units: Literal["metric", "us"] = Field(
        "metric",
        description="us: report.html opens in feet and acres, which its reader may change, and "
        "findings.txt tells figures in them, too; maps, figures and sheet tell depths in feet, "
        "and steps between depths that are left out (isobaths, zones, rows of tables) are round "
        "in feet.",
    )


class Sheet(Section):
    """A map on paper, true to scale."""

    paper: Literal["A4", "A3", "A2", "Letter", "Tabloid"] = Field("A4", description="Its size.")
    orientation: Literal["auto", "portrait", "landscape"] = Field(
        "auto", description="How it lies; auto is by the shape of the water."
    )
    scale: int | None = Field(
        None,
        ge=50,
        le=10_000_000,
        description="Such as 2000 for 1:2000; if left out, the largest round one that fits.",
    )


def _one_kind_of_pegs(wanted: Any) -> Iterator[str]:
    if wanted.pegs is not None and wanted.peg_spacing is not None:
        yield "give pegs or peg_spacing, not both"


_PLAN_KINDS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("casts", "reach", "pegs", "crs", "bearing_step", "peg_spacing"), ("casts",)),
    **dict.fromkeys(("track", "turn"), ("lines",)),
}


class Plan(Section):
    """Where to sound next; the bed must be fitted for that."""

    rules: ClassVar[tuple[Rule, ...]] = (*keys_fit(_PLAN_KINDS), _one_kind_of_pegs)

    kind: Literal["casts", "lines"] = Field(
        "casts", description="What to plan: casts from the bank, or straight lines of a boat."
    )
    casts: int = Field(10, ge=1, le=1000, description="casts: how many.")
    reach: Width = Field(60.0, description="casts: how far one flies, m.")
    pegs: Input | None = Field(
        None, description="casts: points to cast from; if left out, places along the shore."
    )
    crs: Crs | None = Field(None, description="casts: CRS of the pegs, if their file names none.")
    bearing_step: float = Field(
        10.0, ge=1, le=90, description="casts: degrees between the bearings that are tried."
    )
    peg_spacing: Width | None = Field(
        None, description="casts: between places along the shore, m; a third of the reach."
    )
    track: Width = Field(2000.0, description="lines: length of all, turns included, m.")
    turn: Length = Field(20.0, description="lines: what one costs beside its length, m.")


class Stage(Section):
    """Area and storage of a reservoir by elevation; datum.elevation must be known."""

    step: Width | None = Field(None, description="Elevation between rows, m.")
    bottom: Metres | None = Field(None, description="Elevation of the first row, m.")
    top: Metres | None = Field(None, description="Elevation of the last row, m.")
    dead: Metres | None = Field(
        None, description="Elevation of the lowest outlet, m: storage below it is dead."
    )
    full: Metres | None = Field(
        None, description="Elevation of the full reservoir, m: storage above it is surcharge."
    )


class Plants(Section):
    """Beds of plants that were mapped."""

    file: Input = Field(description="Polygons; a column height_m tells how high plants stand.")
    crs: Crs | None = Field(None, description="CRS of its coordinates, if the file names none.")
    layer: str | None = Field(None, description="Layer of a file that holds several.")
    where: str | None = Field(None, description="Condition on its features.")


Weight = Annotated[float, Field(ge=0, allow_inf_nan=False)]
MarkKind = Literal[
    "drop_off_foot",
    "drop_off_lip",
    "gully",
    "hump_top",
    "hump_side",
    "hole",
    "plateau_edge",
    "plant_edge",
    "bottom_change",
]


_MARK_KINDS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(
        ("pegs", "per_peg", "reach", "sector", "peg_spacing", "declination", "wrap_length"),
        ("casts",),
    ),
    "slip": ("boat",),
}


class Marks(Section):
    """Where to put a bait; what is left out is as for the tools of that name."""

    rules: ClassVar[tuple[Rule, ...]] = (*keys_fit(_MARK_KINDS), _one_kind_of_pegs)

    kind: Literal["casts", "boat"] = Field(
        "casts", description="Marks to cast at from the bank, or marks to visit by boat."
    )
    pegs: Input | None = Field(
        None, description="casts: points to cast from; if left out, places along the bank."
    )
    slip: Input | None = Field(None, description="boat: one point, where the tour starts and ends.")
    exclusions: Input | None = Field(
        None,
        description="Polygons where nobody may fish, and lines such as overhead lines to keep "
        "clear of.",
    )
    crs: Crs | None = Field(None, description="CRS of these files, if they name none.")
    count: int | None = Field(None, ge=1, le=200, description="How many marks.")
    per_peg: int | None = Field(None, ge=1, le=200, description="casts: most from one peg.")
    reach: Width | None = Field(None, description="casts: how far one flies, m.")
    sector: float | None = Field(
        None, gt=0, le=360, description="casts: degrees about the way that a peg faces."
    )
    peg_spacing: Width | None = Field(
        None, description="casts: between places along the bank, m; a third of the reach."
    )
    clearance: Length | None = Field(None, description="From excluded lines, m.")
    apart: Length | None = Field(None, description="Least distance between two marks, m.")
    shallowest: Metres | None = Field(None, description="Least depth of a mark, m.")
    deepest: Metres | None = Field(None, description="Greatest depth of a mark, m.")
    off_plants: Length | None = Field(None, description="Distance kept from plants, m.")
    declination: Degrees | None = Field(
        None, description="casts: east of true north, for magnetic bearings."
    )
    wrap_length: Width | None = Field(
        None, description="casts: line from one of two sticks to the other, m."
    )
    weights: dict[MarkKind, Weight] = Field(
        {},
        description="What each kind of mark is worth, 0 for not at all: drop_off_foot, "
        "drop_off_lip, gully, hump_top, hump_side, hole, plateau_edge, plant_edge, bottom_change.",
    )
