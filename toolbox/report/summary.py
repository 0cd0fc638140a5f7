"""Summary: one page of plain text that says what was found and how far to trust it."""

import re
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from toolbox.layers import Grid, Soundings, Table, Tin, Vectors
from toolbox.notes import Assumption, Caution, Note
from toolbox.report.columns import figure_and_band
from toolbox.report.customary import FEET, with_customary_values
from toolbox.report.finds import features_told, marks_told
from toolbox.report.plan import plan_told
from toolbox.report.text import one_line
from toolbox.volume.stage import Foot

__all__ = ["CAUTIONS", "write_summary"]

CAUTIONS = (
    "Not for navigation. Water levels and beds change; these depths are as old as the survey.",
    "Where nothing was sounded the depth is interpolated: unknown, not safe. "
    "See distance_to_sounding.tif.",
    "Whoever wades: banks shelve and drop off, mud is soft, water is cold. Wear a life jacket, and "
    "do not go alone. No depth says anything about ice.",
    "Whoever casts: keep well clear of overhead lines, as the line operator and local rules ask.",
    "Between waters: clean, drain and dry boat, net, line and sounder.",
    "Stocking, treatment and drawdown are matters of permit and licensed practice.",
)

_FILES = (
    ("report.html", "map, section, bed in 3D, water level, tables: one page, works offline"),
    (
        "lakebed.gpkg",
        "all layers: soundings (rejected ones too), bed, isobaths, zones, features, marks",
    ),
    ("depth.tif", "depth below the datum, m, positive down"),
    ("slope.tif", "slope of the bed"),
    ("aspect.tif", "direction in which the bed falls, degrees from grid north"),
    ("shaded_relief.tif", "the bed lit from one side, to look at"),
    ("profile_curvature.tif", "positive on the lip of a drop-off, negative at its foot, 1/m"),
    ("plan_curvature.tif", "positive along ridges, negative along gullies, 1/m"),
    ("relative_position.tif", "height above the bed around, m"),
    ("roughness.tif", "greatest difference of depth within three cells, m"),
    ("ruggedness_index.tif", "difference of depth to the cells around, m"),
    ("surface_area_ratio.tif", "surface area over plan area (rugosity)"),
    ("arc_chord_ratio.tif", "surface area over that of the plane through it"),
    ("vector_ruggedness.tif", "how far the bed faces all ways at once, 0 to 1"),
    ("landforms.tif", "codes of the ten landforms, from flat to pit"),
    ("features.csv", "what was found on the bed, also as the layer of that name"),
    ("marks.csv", "where to put a bait, also as the layer of that name"),
    ("boat_marks.csv", "where to put a bait, also as the layer of that name"),
    ("marks.png", "the marks as a picture, to print and take along"),
    ("cast_profiles.csv", "depth along the line of each cast"),
    ("distance_to_sounding.tif", "distance to the nearest sounding, m"),
    ("next_soundings.csv", "where to sound next, also as the layer of that name"),
    ("areas_and_volumes.xlsx", "areas and volumes for a report: title block, units, cautions"),
    ("areas_and_volumes.csv", "the same in columns, SI and US customary"),
    ("hypsography.csv", "area and volume by depth"),
    ("stage.csv", "area and storage by elevation"),
    ("methods.csv", "how far area and volume hang on the method"),
    ("crossings.csv", "what the crossings of lines say of the survey"),
    ("depth_sd.tif", "standard deviation of the depth, m"),
    ("support.tif", "how far soundings tell the bed: 0 not at all, to 1"),
    ("unsurveyed.tif", "1 where the bed is a guess: support below a half"),
    ("validation.csv", "what the bed would have said of lines left out"),
    ("bed_orders.csv", "share of the bed within each order of IHO S-44"),
    ("line_errors.csv", "level and place by which each line is off, as the fitted bed tells"),
    ("line_offsets.csv", "how far each line lies from the others"),
    ("orders.csv", "share of the soundings within each order of IHO S-44, by their own spread"),
    ("morphometry.csv", "figures of the water as a whole, with their formulas"),
    ("map.png", "the bed as a picture"),
    ("sheet.pdf", "the map true to scale, to print; with marks also their cards for the pocket"),
    ("figures", "folder: area and volume by depth, coverage and crossings as pictures"),
    ("habitat", "folder: water, light, plants, room of species and fish, as tables and rasters"),
    ("stocking", "folder: the stocking proposal as page, PDF, spreadsheet and tables"),
    ("exports", "folder: marks for a handheld, a map for a phone and for a globe viewer, and more"),
    ("metadata.xml", "what a catalogue asks, after ISO 19115-1; metadata.txt says the same"),
    ("lineage.json", "inputs, settings, versions, counts and assumptions"),
)

_WIDTH = 92
"""Share of the water from which on a guess is told first (common practice, no source)."""

_HAIR = 1e-6  # a band narrower than this share of its figure is none
_BARE, _LENGTHS, _PLACES = ("1", "%"), ("m", "ft"), ("easting", "northing")


def write_summary(
    path: Path,
    *,
    title: str,
    soundings: Soundings,
    morphometry: Table,
    checks: Table | None = None,
    distance: Grid | None,
    bed: Tin,
    why: str = "",
    orders: Table | None = None,
    features: Vectors | None = None,
    marks: Vectors | None = None,
    plan: Vectors | None = None,
    living: list[str] | None = None,
    notes: Mapping[str, list[str]],
    origin: dict[str, Any],
    datum: dict[str, Any],
    foot: Foot | None = None,
) -> None:
    """Write the page.

    Parameters
    ----------
    path : Path
        File to write; files that stand beside it are listed.
    title : str
        Name of the water.
    soundings : Soundings
        All of them.
    morphometry : Table
        Figures of the water.
    checks : Table or None
        What crossings of lines say: a name, then ``value`` and ``unit`` in each row.
    distance : Grid or None
        Distance to the nearest sounding, m.
    bed : Tin
        The lake bed.
    why : str
        Why it was made as it was.
    orders : Table or None
        Shares of a fitted bed within the orders of S-44.
    features : Vectors or None
        Found on the bed.
    marks : Vectors or None
        Where to put a bait.
    plan : Vectors or None
        Where to sound next.
    living : list of str, optional
        What lives in the water, a line each.
    notes : mapping of list of str
        What was assumed, mended or inferred, by kind, cautions first.
    origin, datum : dict
        As in the survey file.
    foot : str or None
        Of which feet, acres and acre-feet figures are told in, too, if they are.
    """
    files = [f"{name:26}{what}" for name, what in _FILES if (path.parent / name).exists()]
    if any(path.parent.glob("*.sld")):
        files.append("beside each raster: how it looks in a desktop GIS (.sld and .qml)")
    first = [*_first(morphometry), *map(one_line, notes.get(Caution.kind, ()))]
    sections = (
        (one_line(title), _provenance(origin, datum)),
        *([("Before you rely on it", first)] if first else []),
        ("Figures", _figures(morphometry)),
        *([] if foot is None else [("Figures in feet and acres", _customary(morphometry, foot))]),
        ("How far to trust it", _trust(soundings, checks, distance) + _of_bed(bed, why, orders)),
        *([] if features is None else [("On the bed", features_told(features))]),
        *([] if marks is None else [("Marks", marks_told(marks))]),
        *([] if plan is None else [("Where to sound next", plan_told(plan))]),
        *([("What lives in it", living)] if living else []),
        *_kept(notes, features, marks),
        ("Files", files),
        ("Cautions", list(CAUTIONS)),
    )
    path.write_text("\n".join(_section(*section) for section in sections), encoding="utf-8")


def _section(heading: str, lines: list[str]) -> str:
    return "\n".join([heading, "-" * min(len(heading), _WIDTH), *map(_paragraph, lines), ""])


def _paragraph(line: str) -> str:
    """Break a line, in a list of numbers or files so that the text keeps to its column."""
    beside = re.match(r" *\d+  |[\w.]+ {2,}", line)
    indent = " " * (len(beside[0]) + 2 if beside else 4)
    return textwrap.fill(f"  {line}", _WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def _provenance(origin: dict[str, Any], datum: dict[str, Any]) -> list[str]:
    level = "" if datum["elevation"] is None else f"elevation {datum['elevation']:.3f} m"
    told = {
        "surveyed by": origin["by"],
        "date": origin["date"],
        "datum water level": ", ".join(filter(None, [level, datum["name"]])),
        "remarks": origin["remarks"],
    }
    return [f"{what}: {one_line(text)}" for what, text in told.items() if text]


def _figures(table: Table) -> list[str]:
    """One line for each row of a table whose first column says what its value is."""
    names = table.frame.iloc[:, 0]
    rows = zip(names, table.frame["unit"], table.column("value"), _told(table), strict=True)
    return [
        f"{name:34}{figure:>14} {'' if unit == '1' else unit + ' ':7}{band}".rstrip()
        for name, unit, value, (figure, band) in rows
        if value == value
    ]


def _customary(table: Table, foot: Foot) -> list[str]:
    """Say the figures that have such a unit in feet, acres and acre-feet."""
    frame = with_customary_values(table, foot=foot).frame
    frame = frame[frame["us_unit"] != ""]
    told = frame.loc[:, [name for name in frame if str(name).startswith("us_")]]
    told = told.rename(columns=lambda name: name.removeprefix("us_"))
    told["unit"] = told["unit"].str.replace("_", "-")
    told.insert(0, "measure", frame.iloc[:, 0])
    return [*_figures(Table(told)), f"of {FEET[foot]}"]


def _first(morphometry: Table) -> list[str]:
    """Say what must be known before any figure is read."""
    out = [
        str(name)
        for name, (value, *ends) in zip(
            morphometry.frame["measure"], _parts(morphometry), strict=True
        )
        if ends and not _number(ends[0]) <= _number(value) <= _number(ends[1])
    ]
    if not out:
        return []
    return [
        f"outside their own bands: {', '.join(out)}; the most likely bed is "
        "smoother than those that are equally likely, and the band is nearer the truth"
    ]


def _told(table: Table) -> list[tuple[str, str]]:
    """Return figure and 90 % band of each row as they are printed, no band where it is a point."""
    return [
        (figure, f"90 %: {' to '.join(ends)}" if ends else "") for figure, *ends in _parts(table)
    ]


def _parts(table: Table) -> list[list[str]]:
    """Return the figure of each row and, where it has a band, its ends, to one common place."""
    columns = [
        table.column(name) if name in table.frame else np.full(len(table.frame), np.nan)
        for name in ("value", "low", "high")
    ]
    names, units = table.frame.iloc[:, 0].astype(str), table.frame["unit"]
    return [_row(*row) for row in zip(names, *columns, units, strict=True)]


def _row(name: str, value: float, low: float, high: float, unit: str) -> list[str]:
    if not high > low + _HAIR * abs(low):
        return [_rounded(value, unit)]
    if name.endswith(_PLACES):
        return [f"{part:,.0f}" for part in (value, low, high)]
    return figure_and_band(value, low, high, unit=unit)


def _number(told: str) -> float:
    return float(told.replace(",", ""))


def _rounded(value: float, unit: str) -> str:
    """Write a figure without a band: four figures as the page does, of mere numbers three."""
    bare = unit in _BARE
    if abs(value) >= (100 if bare else 1000) or value == round(value):
        return f"{value:,.0f}"
    return f"{value:.3g}" if bare else f"{round(value, 3) if unit in _LENGTHS else value:.4g}"


def _kept(notes: Mapping[str, list[str]], *told: Vectors | None) -> list[tuple[str, list[str]]]:
    """Return the notes that do not stand elsewhere already, by what they mean to the reader."""
    elsewhere = {note for layer in told if layer is not None for note in layer.notes}
    sections = {"Assumed of the input": Assumption.kind, "For the record": Note.kind}
    kept = {
        heading: [one_line(note) for note in notes.get(kind, ()) if note not in elsewhere]
        for heading, kind in sections.items()
    }
    return [(heading, lines or ["nothing"]) for heading, lines in kept.items()]


def _trust(soundings: Soundings, checks: Table | None, distance: Grid | None) -> list[str]:
    kept = int((~soundings.flag).sum())
    lines = [f"{len(soundings):,} soundings, {kept:,} kept, {len(soundings) - kept:,} rejected"]
    lines += [f"rejected: {count:,} {reason}" for reason, count in soundings.rejections().items()]
    if checks is not None:
        lines += [
            "where lines cross, the depths of one less those of the other:",
            *_figures(checks),
        ]
    if distance is not None:
        half, most = np.nanquantile(distance.values, [0.5, 0.95])
        lines.append(
            f"half of the water lies within {half:.0f} m of a sounding, 95 % within {most:.0f} m"
        )
    return lines


def _of_bed(bed: Tin, why: str, orders: Table | None) -> list[str]:
    """Say what the bed is, and what it knows of its own error."""
    if bed.sd is None:
        lines = [
            "the bed is linear between soundings: it misses what lies between lines, its volume "
            "tends to be low where hollows were not sounded, and it does not know its own error"
        ]
        return [*lines, f"chosen because {why}"] if why else lines
    half, most = np.quantile(bed.sd, [0.5, 0.95])
    lines = [
        "the bed is the most likely one, fitted to all soundings with what each may be off by; "
        f"its depth is good to {half:.2f} m (one standard deviation) at half of its nodes, to "
        f"{most:.2f} m at 95 % of them",
        "bands hold the true figure nine times in ten, if errors are as stated and the bed "
        "between the lines is like the bed beneath them",
    ]
    if why:
        lines.append(why)
    if orders is not None:
        lines += ["share of the bed whose depth is known as well as an order of S-44 asks:"]
        shares = zip(orders.frame["order"], orders.column("area_share"), strict=True)
        lines += [f"{'order ' + name:34}{share:>14.0%}" for name, share in shares]
    return lines
