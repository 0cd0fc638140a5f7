"""Habitat: water, light, plants, suitable room and fish, as one step of a survey."""

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from toolbox.errors import LayerError
from toolbox.fish.depth_of_fish import depth_of_fish
from toolbox.fish.fish_abundance import fish_abundance
from toolbox.habitat.plant_depths import expected_plant_depth
from toolbox.habitat.plant_edges import plant_edges
from toolbox.habitat.plant_grids import plant_cover_grid, plant_height_grid, plant_volume_grid
from toolbox.habitat.plant_readings import plant_readings
from toolbox.habitat.plant_table import plant_table
from toolbox.habitat.species import Species, species_table
from toolbox.habitat.squeeze import habitat_squeeze, suitable_periods
from toolbox.habitat.suitable_bed import suitable_bed
from toolbox.habitat.suitable_bed_grid import suitable_bed_areas, suitable_bed_grid
from toolbox.habitat.suitable_water import suitable_water
from toolbox.habitat.water_column import ColumnSeries
from toolbox.layers import Grid, Profiles, Table, Tin, Vectors
from toolbox.survey.lineage import Lineage
from toolbox.survey.living import Living
from toolbox.survey.reading import Drawn
from toolbox.survey.reduce import Inputs
from toolbox.survey.settings import Settings
from toolbox.survey.wanted_habitat import Echoes
from toolbox.water.anoxia import anoxic_water
from toolbox.water.anoxic_factor import anoxic_factor
from toolbox.water.attenuation import SECCHI_FACTOR, attenuation, depth_of_light
from toolbox.water.light import light
from toolbox.water.lit_bed import light_at_bed_grid, lit_bed
from toolbox.water.means import profile_means
from toolbox.water.stratification import stratification
from toolbox.words import counted

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Habitat", "make_habitat"]

_LIT = 0.01  # of the light at the surface


@dataclass(frozen=True)
class Habitat:
    """What was found of it.

    Parameters
    ----------
    tables : dict of Table
        By the names of their files.
    grids : tuple of Grid
        Rasters.
    layers : tuple of Vectors
        Lines and polygons.
    lit_depth : float or None
        Depth that 1 % of the light reaches, m.
    """

    tables: dict[str, Table] = field(default_factory=dict)
    grids: tuple[Grid, ...] = ()
    layers: tuple[Vectors, ...] = ()
    lit_depth: float | None = None

    def joined(self, other: "Habitat") -> "Habitat":
        """Return what both found."""
        return Habitat(
            self.tables | other.tables,
            (*self.grids, *other.grids),
            (*self.layers, *other.layers),
            self.lit_depth if other.lit_depth is None else other.lit_depth,
        )


def make_habitat(
    living: Living,
    bed: Tin,
    depth: Grid,
    drawn: Drawn,
    settings: Settings,
    inputs: Inputs,
    lineage: Lineage,
) -> Habitat:
    """Measure what the survey asks for of the life in its water."""
    found = _plants(bed, depth, drawn, settings, inputs, lineage)
    cover = next((grid for grid in found.grids if grid.name == "plant_cover"), None)
    loss = _loss(living, settings, lineage)
    if loss is not None:
        found = found.joined(_lit(bed, depth, loss, settings, lineage))
    if living.profiles is not None:
        found = found.joined(_water(bed, living.profiles, settings, lineage))
        if living.species is not None:
            room = _room(bed, living, loss, settings, lineage)
            times = _times(room.tables["suitable_water"])
            ground = _ground(depth, living, loss, cover, times, settings, lineage)
            found = found.joined(room).joined(ground)
    if settings.echoes is not None:
        found = found.joined(_fish(bed, living, settings.echoes, lineage))
    return found


def _plants(
    bed: Tin, depth: Grid, drawn: Drawn, settings: Settings, inputs: Inputs, lineage: Lineage
) -> Habitat:
    """Grid and tabulate plants that were mapped with their cover and height, or sounded."""
    mapped = drawn.plants
    if mapped is None or not len(mapped):
        return Habitat()
    edges = plant_edges(bed, mapped)
    if {"cover_percent", "height_m"} <= set(mapped.frame):
        plants = mapped
    elif "canopy" in inputs.soundings.kept.frame:
        plants = plant_readings(inputs.soundings)
    else:
        lineage.step("plants", ("plants carry no cover and height: no figures of them",))
        return Habitat(layers=(edges,))
    makers = (plant_height_grid, plant_cover_grid, plant_volume_grid)
    grids = tuple(maker(bed, plants, cell=depth.cell) for maker in makers)
    table = plant_table(bed, plants, cell=depth.cell, unit=settings.unit)
    lineage.step("plants", table.notes, zones=len(table.frame), edges=len(edges))
    return Habitat({"plants_by_depth": table}, grids, (edges,))


def _loss(living: Living, settings: Settings, lineage: Lineage) -> float | None:
    """Return the attenuation of light, 1/m: given, or the median of what the profiles tell."""
    wanted = settings.light
    if wanted is None:
        return None
    if wanted.attenuation is not None:
        return wanted.attenuation
    if wanted.secchi is not None:
        return SECCHI_FACTOR / wanted.secchi
    assert living.profiles is not None  # as its reader has seen to
    fits = attenuation(living.profiles)
    each = fits.column("attenuation_per_m")
    each = each[np.isfinite(each)]
    if not len(each):
        raise LayerError(
            "light needs secchi or attenuation: the light of no profile falls with depth as light "
            f"does ({fits.frame['reason'].iloc[0]})"
        )
    loss = float(np.median(each))
    told = (
        f"attenuation of light {loss:.3g} per m: the median of {counted(len(each), 'profile')}, "
        f"which run from {each.min():.3g} to {each.max():.3g}"
    )
    lineage.step("attenuation", (*fits.notes, told), visits=len(each))
    return loss


def _lit(bed: Tin, depth: Grid, loss: float, settings: Settings, lineage: Lineage) -> Habitat:
    wanted = settings.light
    assert wanted is not None
    if wanted.secchi is not None:
        table = light(bed, secchi=wanted.secchi, fixed_depth=wanted.fixed_depth)
    else:
        table = light(bed, attenuation=loss, fixed_depth=wanted.fixed_depth)
    if wanted.secchi is None and wanted.attenuation is None:
        fitted = table.frame["measure"] == "attenuation"
        source = table.frame["source"].mask(fitted, "median of the profiles of light")
        table = Table(table.frame.assign(source=source), table.title, table.notes)
    tables = {"light": table}
    if wanted.secchi is not None:
        tables["expected_plants"] = expected_plant_depth(bed, secchi=wanted.secchi)
    lineage.step("light", table.notes, attenuation_per_m=loss)
    grid, lit = light_at_bed_grid(depth, attenuation=loss), lit_bed(bed, attenuation=loss)
    return Habitat(tables, (grid,), (lit,), float(depth_of_light(loss, _LIT)))


def _water(bed: Tin, profiles: Profiles, settings: Settings, lineage: Lineage) -> Habitat:
    assert settings.profiles is not None
    tables = {}
    if profiles.frame["temperature_c"].notna().any():
        tables["stratification"] = stratification(bed, profiles)
    tables["profile_means"] = profile_means(bed, profiles)
    if profiles.frame["oxygen_mg_l"].notna().any():
        limit = settings.profiles.oxygen
        tables["anoxic_water"] = anoxic_water(bed, profiles, oxygen=limit)
        tables["anoxic_factor"] = anoxic_factor(bed, profiles, oxygen=limit)
    for name, table in tables.items():
        lineage.step(name.replace("_", " "), table.notes, rows=len(table.frame))
    return Habitat(tables)


def _room(
    bed: Tin, living: Living, loss: float | None, settings: Settings, lineage: Lineage
) -> Habitat:
    """Measure the water and the bed that suit each species through the season."""
    wanted, profiles, species = settings.species, living.profiles, living.species
    assert wanted is not None
    assert profiles is not None
    assert species is not None
    assert settings.profiles is not None
    down = settings.profiles.carry_down
    suitable = suitable_water(
        bed,
        profiles,
        species,
        step_days=wanted.step_days,
        attenuation=loss,
        carry_down=down,
    )
    squeeze = habitat_squeeze(suitable, least_thickness=wanted.least_thickness)
    tables = {
        "species": species_table(species),
        "suitable_water": suitable,
        "squeeze": squeeze,
        "suitable_periods": suitable_periods(suitable, least_thickness=wanted.least_thickness),
    }
    date = _warmest(profiles)
    ground = suitable_bed(bed, species, profiles, date=date, attenuation=loss, carry_down=down)
    told = (*suitable.notes, *ground.notes, f"suitable bed is that of {date}, the warmest visit")
    lineage.step("suitable water", told, species=len(species.species), rows=len(suitable.frame))
    return Habitat(tables, layers=(ground,))


def _ground(
    depth: Grid,
    living: Living,
    loss: float | None,
    cover: Grid | None,
    times: "pd.DatetimeIndex",
    settings: Settings,
    lineage: Lineage,
) -> Habitat:
    """Mark the bed that suits each species on the warmest day, its limits on the bed included."""
    profiles, species = living.profiles, living.species
    assert profiles is not None
    assert species is not None
    assert settings.profiles is not None
    grids, skipped, areas = [], list[str](), []
    columns = ColumnSeries.of(profiles, carry_down=settings.profiles.carry_down)
    for number, one in enumerate(species.species, start=1):
        lacking = {"plants": cover is None, "light": loss is None}
        if any(lacking.get(measure, False) for measure in one.measures):
            skipped.append(one.name)
            continue
        grid = suitable_bed_grid(
            depth,
            species,
            profiles,
            cover,
            species_name=one.name,
            date=_warmest(profiles),
            attenuation=loss,
            carry_down=settings.profiles.carry_down,
        )
        grids.append(replace(grid, name=f"suitable_bed_{number}_{_file_part(one.name)}"))
        if {"plants", "slope_deg"} & set(one.measures):
            areas.append(_bed_areas(depth, one, columns, times, cover, loss))
    told = f"no raster of suitable bed: plants or light are not known: {', '.join(skipped)}"
    lineage.step("suitable bed", (told,) if skipped else (), rasters=len(grids))
    return Habitat(_joined(areas), grids=tuple(grids))


def _bed_areas(
    depth: Grid,
    one: Species,
    columns: ColumnSeries,
    times: "pd.DatetimeIndex",
    cover: Grid | None,
    loss: float | None,
) -> "pd.DataFrame":
    """Tabulate the bed that suits a species through the season, its limits on the bed included."""
    import pandas as pd

    areas = suitable_bed_areas(depth, one, columns, times, cover, light=loss)
    note = f"limits on plants and slope kept, by cells of {depth.cell:g} m, no band"
    told = {"species": one.name, "time": times, "bed_area_m2": areas, "bed_note": note}
    return pd.DataFrame(told)


def _joined(areas: "list[pd.DataFrame]") -> dict[str, Table]:
    import pandas as pd

    if not areas:
        return {}
    return {"suitable_bed_area": Table(pd.concat(areas, ignore_index=True), "Suitable bed")}


def _times(suitable: Table) -> "pd.DatetimeIndex":
    import pandas as pd

    return pd.DatetimeIndex(suitable.frame["time"].unique())


def _file_part(name: str) -> str:
    """Return a name that may stand in the name of a file anywhere."""
    return re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:40] or "species"


def _warmest(profiles: Profiles) -> str:
    """Return the day of the visit that found the warmest water, or the first one's."""
    frame = profiles.frame
    row = int(frame["temperature_c"].fillna(-99.0).to_numpy(float).argmax())
    return f"{frame['time'].iloc[row]:%Y-%m-%dT%H:%M:%SZ}"


def _fish(bed: Tin, living: Living, wanted: Echoes, lineage: Lineage) -> Habitat:
    assert living.echoes is not None
    assert living.pings is not None
    gear: dict[str, Any] = {
        "beam_angle": wanted.beam_angle,
        "frequency": wanted.frequency,
        "draft": wanted.draft,
        "step": wanted.step,
    }
    count = fish_abundance(
        bed,
        living.echoes,
        living.pings,
        counting=wanted.counting,
        calibrated=wanted.calibrated,
        period=wanted.period,
        least_ts=wanted.least_ts,
        **gear,
    )
    tables = {"fish": count}
    if "period" in living.pings.frame:
        tables["depth_of_fish"] = depth_of_fish(living.echoes, living.pings, **gear)
    lineage.step("fish", count.notes, echoes=len(living.echoes.frame))
    return Habitat(tables)
