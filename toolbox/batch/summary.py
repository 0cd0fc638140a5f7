"""Summary: all waters of a batch as one layer, one table, and a list of what failed."""

import tempfile
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from toolbox.batch.gathering import INPUTS
from toolbox.batch.inputs import OUTLINES
from toolbox.batch.storage import joined, put_file, read_bytes, remove_file
from toolbox.batch.waters import FIGURES, Record
from toolbox.formats.delimited import write_delimited
from toolbox.formats.vector import write_features
from toolbox.volume.contoured import ground_area

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["FAILURES", "LAYER", "TABLE", "summary_frame", "without_soundings", "write_summary"]

LAYER, TABLE, FAILURES = "waters.gpkg", "waters.csv", "failures.txt"


def summary_frame(records: Sequence[Record]) -> "GeoDataFrame":
    """Return one row a water, with its polygon in degrees on WGS 84."""
    import geopandas
    import shapely

    counts = ("soundings", "soundings_given")
    columns = {
        "folder": [record.folder for record in records],
        "name": [record.name for record in records],
        "status": [record.status for record in records],
    }
    columns |= {
        name: [record.figures.get(name) for record in records] for name in (*FIGURES, *counts)
    }
    columns |= {
        "seconds": [record.seconds for record in records],
        "error": [record.error for record in records],
        "digest": [record.digest for record in records],
    }
    shapes = [shapely.from_wkb(record.outline) if record.outline else None for record in records]
    frame = geopandas.GeoDataFrame(columns, geometry=shapes, crs=4326)
    return frame.astype(dict.fromkeys(FIGURES, float) | dict.fromkeys(counts, "Int64"))


def write_summary(records: Sequence[Record], out: str) -> None:
    """Write the layer, the table and the list of failures of a batch.

    Parameters
    ----------
    records : sequence of Record
        Of all waters.
    out : str
        Folder of the batch, path or URL.
    """
    frame = summary_frame(records)
    bad = [record for record in records if record.status == "failed"]
    with tempfile.TemporaryDirectory(prefix="leadline-") as name:
        folder = Path(name)
        write_features(frame, folder / LAYER, layer="waters")
        write_delimited(frame.drop(columns="geometry"), folder / TABLE)
        lines = [f"{record.folder}: {record.error}\n" for record in bad]
        (folder / FAILURES).write_text("".join(lines), encoding="utf-8")
        for file in (LAYER, TABLE, *([FAILURES] if bad else [])):
            put_file(folder / file, joined(out, file))
    if not bad:
        remove_file(joined(out, FAILURES))


def without_soundings(out: str) -> list[Record]:
    """Return records of the waters of a split layer in which no sounding lies."""
    import geopandas
    import shapely

    told = read_bytes(joined(out, INPUTS, OUTLINES))
    if told is None:
        return []
    frame = geopandas.read_parquet(BytesIO(told))
    empty = frame[frame["soundings"] == 0]
    shapes = empty.geometry.to_crs(4326).to_numpy()
    return [
        Record(
            folder,
            "no soundings",
            name,
            figures={} if own is None else {"area_m2": ground_area(own, empty.crs)},
            outline="" if shape is None else str(shapely.to_wkb(shape, hex=True)),
        )
        for folder, name, own, shape in zip(
            empty["folder"], empty["name"], empty.geometry, shapes, strict=True
        )
    ]
