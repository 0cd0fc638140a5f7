"""Telling: what stands around the map, as texts and tables for the template."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.layers import Soundings, Table, Tin, Vectors
from toolbox.report.columns import quoted
from toolbox.report.page.layers import MapLayers, PageTables
from toolbox.report.page.rasters import MOST_CELLS
from toolbox.report.page.tables import table_view
from toolbox.report.text import short
from toolbox.units import convert
from toolbox.volume.stage import CUSTOMARY, Foot

__all__ = [
    "counts",
    "facts",
    "figures",
    "height_for_width",
    "left_out",
    "lineage_view",
    "plan_view",
    "rejection",
    "trust",
    "views",
]

_LONGEST = 300
_PLAN = ("order", "line", "peg", "bearing_deg", "distance_m", "total_m", "mean_sd_m")
_STOCKING = (
    "alternative",
    "lots",
    "number",
    "number_low",
    "number_high",
    "weight_kg",
    "weight_lb",
    "recruits",
    "loads",
    "cost",
    "warnings",
)
_FACTS = {"by": "Surveyed by", "date": "Surveyed on", "remarks": "Remarks"}
_FIGURES = {
    "water area": "Water area",
    "volume": "Volume",
    "mean depth": "Mean depth",
    "greatest depth": "Greatest depth",
}


def height_for_width(layers: MapLayers) -> str:
    """Return how high the water is for its width, by which the map is given its height."""
    west, south, east, north = layers.shoreline.polygons.bounds
    return f"{(north - south) / (east - west):.3f}"


def facts(origin: dict[str, Any], datum: dict[str, Any]) -> list[tuple[str, str]]:
    """Tell who surveyed the water, when, and to which datum; what is empty is left out."""
    elevation = datum.get("elevation")
    level = [f"elevation {elevation:g} m" if elevation is not None else "", datum.get("name") or ""]
    facts = [(label, origin.get(name)) for name, label in _FACTS.items()]
    facts.insert(2, ("Datum water level", ", ".join(part for part in level if part)))
    return [(label, short(str(says), _LONGEST)) for label, says in facts if says]


def figures(morphometry: Table, foot: Foot) -> list[tuple[str, str, str]]:
    """Quote the figures that everybody asks for, in SI and in US customary units."""
    rows = {row["measure"]: row for row in morphometry.frame.to_dict("records")}
    told = []
    for name, label in _FIGURES.items():
        if (row := rows.get(name)) is None:
            continue
        ends = [float(row.get(end, np.nan)) for end in ("value", "low", "high")]
        unit = str(row["unit"])
        metric = {"m": "m", "m2": "m^2", "m3": "m^3"}[unit]
        theirs = [float(convert(end, metric, CUSTOMARY[foot][unit])) for end in ends]
        printed = {"m": ("m", "ft"), "m2": ("m\u00b2", "acres"), "m3": ("m\u00b3", "acre-ft")}[unit]
        told.append((label, quoted(*ends, unit=printed[0]), quoted(*theirs, unit=printed[1])))
    return told


def views(tables: PageTables, foot: Foot) -> list[dict[str, Any]]:
    """Arrange the tables of the water, and the stocking alternatives last."""
    stocking = (
        None
        if tables.stocking is None
        else table_view(tables.stocking, "Stocking alternatives", foot=foot, columns=_STOCKING)
    )
    wanted = {
        "figures": (tables.morphometry, "Figures of the water"),
        "levels": (tables.hypsography, "Area and volume by depth"),
        "stage": (tables.stage, "Area and storage by elevation"),
    }
    views = [
        table_view(table, name, foot=foot) | {"id": key}
        for key, (table, name) in wanted.items()
        if table is not None
    ]
    return [*views, *([stocking | {"id": "stocking"}] if stocking else [])]


def plan_view(plan: Vectors | None, foot: Foot) -> dict[str, Any] | None:
    """Arrange the table of where to sound next, the best first."""
    if plan is None or not len(plan):
        return None
    frame = plan.frame.drop(columns=plan.frame.geometry.name)
    return table_view(Table(frame, "", plan.notes), "Where to sound next", foot=foot, columns=_PLAN)


def trust(bed: Tin) -> str:
    """Say whether the bed knows its own error."""
    if bed.sd is None:
        return (
            "The bed runs straight between soundings. It misses what lies between them and does "
            "not know its own error: its figures have no band, and are less sure than their "
            "digits look."
        )
    return (
        "The bed was fitted to all soundings and knows its own error. Bands hold the true figure "
        "nine times in ten, if what the soundings may be off by was stated rightly."
    )


def rejection(row: Mapping[str, Any]) -> tuple[str, str, str]:
    """Tell the file, the reason and how many soundings were rejected for it."""
    name = short(Path(str(row.get("file", ""))).name, 80)
    return name, short(str(row.get("reason", "")), _LONGEST), f"{int(row['soundings']):,}"


def left_out(layers: MapLayers, data: dict[str, Any]) -> list[str]:
    """Say what of the layers the page does not hold."""
    told, soundings = [], data["soundings"]
    if layers.depth.values.size > MOST_CELLS:
        cell = data["grids"]["depth"]["cell"]
        told.append(
            f"The map holds means over cells of {cell:g} m; "
            f"the depth raster of the survey has cells of {layers.depth.cell:g} m."
        )
    if soundings and soundings["shown"] != soundings["placed"]:
        told.append(
            f"The map shows {soundings['shown'][0]:,} of {soundings['placed'][0]:,} soundings kept "
            f"and {soundings['shown'][1]:,} of {soundings['placed'][1]:,} rejected ones, "
            "evenly chosen."
        )
    if soundings and (lost := sum(soundings["all"]) - sum(soundings["placed"])):
        are = "has no position and is" if lost == 1 else "have no position and are"
        told.append(f"{lost:,} rejected sounding{'s' * (lost != 1)} {are} not on the map.")
    return told


def counts(soundings: Soundings | None) -> dict[str, int] | None:
    """Count the soundings kept and rejected, and the rejected ones that have a place."""
    if soundings is None or not len(soundings):
        return None
    flag, placed = soundings.flag, np.isfinite(soundings.coordinates).all(axis=1)
    numbers = {"kept": ~flag, "rejected": flag, "crosses": flag & placed}
    return {name: int(which.sum()) for name, which in numbers.items()}


def lineage_view(told: dict[str, Any]) -> dict[str, Any]:
    """Arrange what a run read, did and was made with; of paths only the names."""
    return {
        "inputs": [
            (
                short(Path(str(row["file"])).name, 80),
                f"{int(row['bytes']):,}",
                short(str(row["sha256"]), 80),
            )
            for row in told.get("inputs", ())
        ],
        "steps": [_step(dict(step)) for step in told.get("steps", ())],
        "made_with": [
            (short(str(name), 40), short(str(says), 40))
            for name, says in dict(told.get("made_with", {})).items()
        ],
    }


def _step(step: dict[str, Any]) -> dict[str, Any]:
    name, notes = step.pop("step", ""), step.pop("notes", ())
    said = [f"{key.replace('_', ' ')}: {_said(value)}" for key, value in step.items()]
    return {
        "name": short(str(name), 80),
        "counts": short("; ".join(said), _LONGEST),
        "notes": [short(str(note), _LONGEST) for note in notes],
    }


def _said(value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(_said(part) for part in value)
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return Path(text).name if "/" in text or "\\" in text else text
