"""About: the title block of a report, line by line."""

import re
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from typing import Any

import numpy as np

from toolbox.layers import Soundings, Table, Tin
from toolbox.report.columns import TEXT, quoted
from toolbox.report.customary import FEET, with_customary_values
from toolbox.report.document import cell_text
from toolbox.volume.stage import Foot

__all__ = ["DAY", "Line", "about_lines"]

DAY = "yyyy-mm-dd"
"""Format of a day."""

_CAUTIONS = (
    "Not for navigation. Water levels and beds change: these figures are as old as the survey.",
    "Where nothing was sounded the bed is interpolated: unknown, not safe.",
    "The edge of the water is that of the shoreline given. Above the highest row nothing is known.",
    "No figure here says where one may wade, or whether ice will bear.",
    "Drawdown, treatment and stocking are matters of permit, label and licensed practice.",
)
_COMMON = (
    "an error of the shoreline (the area at its level has no band for that reason), of the datum "
    "water level, or one that all soundings have in common"
)
_QUOTED = ("water area", "volume", "mean depth", "greatest depth")


@dataclass(frozen=True)
class Line:
    """One line of the title block.

    Parameters
    ----------
    label : str
        What it says.
    value : str, float, date or None
        None makes the label a heading.
    format : str
        Number format of a value that is no text.
    """

    label: str
    value: str | float | date | None = None
    format: str = TEXT

    @property
    def text(self) -> str:
        """What it says, as text; empty for a heading."""
        return "" if self.value in (None, "") else cell_text(self.value, self.format)


def about_lines(
    title: str,
    *,
    origin: dict[str, Any],
    datum: dict[str, Any],
    made: date,
    bed: Tin,
    soundings: Soundings | None,
    morphometry: Table,
    why: str,
    foot: Foot,
) -> list[Line]:
    """Tell what the tables are of, what they rest on and how far to trust them.

    Parameters
    ----------
    title : str
        Name of the water.
    origin : dict
        ``by``, ``date`` and ``remarks`` of the survey, each perhaps empty.
    datum : dict
        ``elevation`` of the datum water level, m, or None, and ``name``, what it refers to.
    made : date
        Day on which the tables were made.
    bed : Tin
        Of which they were made.
    soundings : Soundings or None
        Of which that was made.
    morphometry : Table
        Figures of the water.
    why : str
        Why the bed was made as it was.
    foot : str
        Of which feet, acres and acre-feet are made.

    Returns
    -------
    list of Line
        A line that has nothing to say is left out.
    """
    lines = [
        Line("Water", title),
        Line("Surveyed by", origin["by"]),
        *_days(origin["date"]),
        Line("Remarks", origin["remarks"]),
        Line("Main figures"),
        *_figures(morphometry, foot),
        Line("Reference"),
        *_datum_lines(datum, bed, foot),
        Line("Method"),
        *_method(bed, soundings, why),
        Line("Uncertainty"),
        *_uncertainty(bed, morphometry),
        Line("Made"),
        Line("Made on", made, DAY),
        Line("Made with", f"Leadline {version('leadline')}"),
        Line("Cautions"),
        *(Line("Caution", caution) for caution in _CAUTIONS),
    ]
    return [line for line in lines if line.value != ""]


def _days(text: str) -> list[Line]:
    """Return one day, or the first and the last, as days where the text is nothing else."""
    day = r"(\d{4}-\d{2}-\d{2})"
    found = re.fullmatch(rf"\s*{day}(?:\s*(?:to|/|-|\u2013)\s*{day})?\s*", text)
    try:
        days = [date.fromisoformat(part) for part in (found.groups() if found else ()) if part]
    except ValueError:
        days = []
    if not days:
        return [Line("Surveyed on", text)]
    labels = ("Surveyed on",) if len(days) == 1 else ("Surveyed from", "Surveyed to")
    return [Line(label, day, DAY) for label, day in zip(labels, days, strict=True)]


def _figures(morphometry: Table, foot: Foot) -> list[Line]:
    frame = with_customary_values(morphometry, foot=foot).frame
    frame = frame.set_index(frame.columns[0])
    lines = [
        Line(name.capitalize(), _figure(frame.loc[name])) for name in _QUOTED if name in frame.index
    ]
    if "low" in frame:
        lines.append(Line("In brackets", "90 % band, where there is one"))
    return lines


def _figure(row: Any) -> str:
    names = {"m2": "m\u00b2", "m3": "m\u00b3", "acre": "acres", "acre_ft": "acre-ft"}
    parts = []
    for system in ("", "us_"):
        unit = names.get(row[f"{system}unit"], row[f"{system}unit"])
        ends = [float(row[f"{system}{end}"]) for end in ("low", "high") if f"{system}{end}" in row]
        parts.append(quoted(float(row[f"{system}value"]), *ends, unit=unit))
    return " = ".join(parts)


def _datum_lines(datum: dict[str, Any], bed: Tin, foot: Foot) -> list[Line]:
    level, edge = datum["elevation"], bed.shore_depth
    told = [] if level is None else [Line("Datum elevation, m", float(level), "#,##0.000")]
    if edge:
        told.append(Line("Water's edge mapped at depth, m", float(edge), "#,##0.000"))
    return [
        Line("Datum water level", datum["name"] or ("not given" if level is None else "")),
        *told,
        Line("Depths", "below the datum water level, positive down"),
        Line("Coordinates", _crs(bed)),
        Line(
            "Units",
            "metres, m\u00b2 and m\u00b3, on the ground; feet, acres and acre-feet of "
            f"{FEET[foot]}",
        ),
    ]


def _crs(bed: Tin) -> str:
    if bed.crs is None:
        return "a plane in metres, no reference system given"
    code = bed.crs.to_authority()
    return bed.crs.name + (f" ({':'.join(code)})" if code else "")


def _method(bed: Tin, soundings: Soundings | None, why: str) -> list[Line]:
    lines = []
    if soundings is not None:
        used = ~soundings.flag
        kept, sources = int(used.sum()), soundings.frame["source"][used].value_counts()
        each = ", ".join(f"{count:,} by {name}" for name, count in sorted(sources.items()))
        lines = [
            Line("Soundings", f"{len(soundings):,} taken, {kept:,} used ({each})"),
            *(
                Line("Rejected", f"{count:,}: {reason}")
                for reason, count in soundings.rejections().items()
            ),
        ]
    if bed.sd is None:
        made = f"{len(bed.triangles):,} triangles, the depth linear between soundings"
    else:
        made = (
            f"most likely surface, fitted to all soundings by what each may be off, on "
            f"{len(bed.depth):,} nodes"
        )
    return [
        *lines,
        Line("Bed", made),
        Line("Bed chosen", why),
        Line("Areas and volumes", "exact for this bed: summed over its triangles"),
    ]


def _uncertainty(bed: Tin, morphometry: Table) -> list[Line]:
    if bed.sd is None:
        return [
            Line("Band", "none: a bed linear between soundings does not know its own error"),
            Line(
                "Bias",
                "the bed misses what lies between soundings; its volume tends to be low where "
                "hollows were not sounded",
            ),
            Line("Share unsurveyed", "not known for such a bed"),
        ]
    half, most = np.quantile(bed.sd, [0.5, 0.95])
    lines = [
        Line(
            "Depth",
            f"standard deviation at most {half:.2f} m at half of the bed's nodes, at most "
            f"{most:.2f} m at 95 % of them",
        )
    ]
    if bed.draws is not None:
        lines.append(
            Line(
                "Low and high",
                f"5 % and 95 % of {bed.draws.shape[1]} equally likely beds: they hold the true "
                "figure nine times in ten, if errors are as stated and the bed between soundings "
                "is like the bed beneath them",
            )
        )
    return [*lines, Line("In no band", _COMMON), *_unsurveyed(morphometry)]


def _unsurveyed(morphometry: Table) -> list[Line]:
    rows = dict(zip(morphometry.frame.iloc[:, 0], morphometry.column("value"), strict=True))
    sources = dict(zip(rows, morphometry.frame["source"], strict=True))
    found = [name for name in ("area", "volume") if f"unsupported {name} share" in rows]
    lines = [
        Line(f"Share of the {name} unsurveyed", float(rows[f"unsupported {name} share"]), "0.00%")
        for name in found
    ]
    if found:
        source = sources[f"unsupported {found[0]} share"]
        told = f"{source} (of 1, how far soundings tell the depth)"
        lines.append(Line("Counted as unsurveyed", told))
    return lines
