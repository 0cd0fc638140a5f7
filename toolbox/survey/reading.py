"""Reading the bed: isobaths, zones and features, as one step of a survey."""

from dataclasses import dataclass
from typing import Any

from toolbox.errors import InputFileError
from toolbox.features.bed_features import bed_features
from toolbox.features.plant_beds import plant_beds
from toolbox.formats.vectors_file import read_vectors
from toolbox.isobaths.isobaths import isobaths
from toolbox.isobaths.labels import isobath_labels
from toolbox.isobaths.zones import depth_zones
from toolbox.layers import Tin, Vectors
from toolbox.survey.lineage import Lineage
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings
from toolbox.survey.wanted import Part

__all__ = ["Drawn", "draw", "read_plants"]

_SHOW: tuple[Part, ...] = ("layers", "pictures", "sheet", "page", "exports")
"""Parts of a folder that show what is drawn."""


@dataclass(frozen=True)
class Drawn:
    """What was drawn from a bed; one that nobody `read` has no more than its plants."""

    isobaths: Vectors
    labels: Vectors
    zones: Vectors
    features: Vectors
    plants: Vectors | None
    read: bool = True

    @property
    def layers(self) -> tuple[Vectors, ...]:
        """All that hold something, as they go into a file."""
        several = (self.zones, self.isobaths, self.labels, self.features, self.plants)
        return tuple(layer for layer in several if layer is not None and len(layer))


def draw(
    bed: Tin, plants: Vectors | None, settings: Settings, inputs: Inputs, lineage: Lineage
) -> Drawn:
    """Draw isobaths and zones, and find features and plants."""
    make = settings.make
    if not make.shows(*_SHOW) and settings.marks is None:
        return _unread(bed, _plants(plants, inputs, lineage))
    wanted: dict[str, Any] = {"interval": make.isobath_interval, "levels": make.isobath_levels}
    lines = isobaths(bed, **wanted, unit=settings.unit)
    zones = depth_zones(bed, **wanted, unit=settings.unit)
    lineage.step("isobaths", lines.notes, lines=len(lines), zones=len(zones))
    found = bed_features(bed)
    lineage.step("features", found.notes, features=int(found.frame["feature"].nunique()))
    return Drawn(lines, isobath_labels(lines), zones, found, _plants(plants, inputs, lineage))


def _unread(bed: Tin, plants: Vectors | None) -> Drawn:
    import geopandas

    empty = geopandas.GeoDataFrame(geometry=[], crs=bed.crs)
    lines, labels, zones, features = (
        Vectors(empty, name) for name in ("isobaths", "isobath_labels", "depth_zones", "features")
    )
    return Drawn(lines, labels, zones, features, plants, read=False)


def read_plants(settings: Settings, inputs: Inputs, lineage: Lineage) -> Vectors | None:
    """Read the layer of plants that a survey names."""
    wanted = settings.plants
    if wanted is None:
        return None
    plants = read_vectors(
        wanted.file,
        crs=wanted.crs,
        into=inputs.crs,
        layer=wanted.layer,
        where=wanted.where,
    )
    kinds = set(plants.frame.geom_type.dropna()) - {"Polygon", "MultiPolygon"}
    if kinds:
        raise InputFileError(f"{wanted.file} must hold polygons, got {', '.join(sorted(kinds))}")
    lineage.step("read plants", plants.notes, file=str(wanted.file), beds=len(plants))
    return plants


def _plants(plants: Vectors | None, inputs: Inputs, lineage: Lineage) -> Vectors | None:
    """Return the plants that were mapped, else those that soundings met."""
    if plants is not None:
        return Vectors(plants.frame, "plants", plants.notes)
    kept = inputs.soundings.kept.frame
    if "canopy" not in kept or kept["canopy"].isna().all():  # nobody looked for plants
        return None
    found = plant_beds(inputs.soundings, inputs.shoreline)
    lineage.step("plant beds", found.notes, beds=len(found))
    return found
