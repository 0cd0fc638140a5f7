"""Readers: what is fuzzed, with a good file of each kind to begin from."""

import shutil
import sqlite3
import tempfile
import warnings
import zipfile
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from toolbox.errors import ToolboxError

__all__ = ["READERS", "Reader", "fault", "lay_out", "make_seeds"]

SAMPLES = Path(__file__).resolve().parents[2] / "sample_layers"
UTM = "EPSG:32633"


@dataclass(frozen=True)
class Reader:
    """One way to give bytes to the toolbox.

    Parameters
    ----------
    file : str
        Name of the file that holds the bytes.
    read : callable
        Reads it.
    beside : tuple of str
        Good files that it needs.
    """

    file: str
    read: Callable[[Path], Any]
    beside: tuple[str, ...] = field(default=())


def _soundings(path: Path) -> Any:
    from toolbox.formats.soundings_file import read_soundings

    return read_soundings(path, crs=UTM)


def _table(path: Path) -> Any:
    from toolbox.formats.doors import read_table

    return read_table(path)


def _levels(path: Path) -> Any:
    from toolbox.formats.levels_file import read_levels

    return read_levels(path)


def _part(name: str, path: Path) -> Any:
    """Give bytes as a part of a workbook."""
    from toolbox.formats.doors import read_table

    good = path.parent / "soundings.xlsx"
    with tempfile.TemporaryDirectory() as place:
        book = Path(place, "book.xlsx")
        with zipfile.ZipFile(good) as source, zipfile.ZipFile(book, "w") as target:
            for member in source.namelist():
                content = path.read_bytes() if member == name else source.read(member)
                target.writestr(member, content)
        return read_table(book)


def _xyz(path: Path) -> Any:
    from toolbox.formats.xyz import thin_xyz

    return thin_xyz(path, cell=2.0, crs=UTM, rows=1000)


def _nmea(path: Path) -> Any:
    from toolbox.formats.nmea import read_nmea

    return read_nmea(path, lenient_checksum=True)


def _casts(path: Path) -> Any:
    from toolbox.formats.casts_file import read_casts

    here = path.parent
    named: dict[str, Any] = {"pings": here / "pings.csv", "pegs": here / "pegs.csv", "crs": UTM}
    return read_casts(here / "casts.csv", **named)


def _places(path: Path) -> Any:
    from toolbox.formats.places import read_places

    return read_places(path, crs=UTM)


def _profiles(path: Path) -> Any:
    from toolbox.formats.profiles_file import read_profiles

    return read_profiles(path)


def _shoreline(path: Path) -> Any:
    from toolbox.formats.shoreline_file import read_shoreline

    return read_shoreline(path.with_suffix(".shp") if path.suffix in _PARTS else path, crs=UTM)


def _breaklines(path: Path) -> Any:
    from toolbox.formats.shoreline_file import read_breaklines

    return read_breaklines(path, crs=UTM)


def _centreline(path: Path) -> Any:
    from toolbox.formats.shoreline_file import read_centreline

    return read_centreline(path, crs=UTM)


def _vectors(path: Path) -> Any:
    from toolbox.formats.vectors_file import read_vectors

    return read_vectors(path, crs=UTM)


def _bed(path: Path) -> Any:
    from toolbox.formats.bed_file import read_bed

    return read_bed(path)


def _grid(path: Path) -> Any:
    from toolbox.formats.geotiff import read_grid

    return read_grid(path, crs=UTM)


def _grid_blocks(path: Path) -> Any:
    from toolbox.formats.geotiff import read_grid_blocks

    return sum(block.values.size for block in read_grid_blocks(path, crs=UTM))


def _points(path: Path) -> Any:
    from toolbox.formats.point_chunks import Choices, open_points

    return sum(len(part.place) for part in open_points(path, Choices(crs=UTM)).chunks(1000))


def _las(path: Path) -> Any:
    from toolbox.formats.las_file import las_places

    return las_places(path, crs=UTM)


def _species(path: Path) -> Any:
    from toolbox.formats.species_file import read_species

    return read_species(path)


def _stocking(path: Path) -> Any:
    from toolbox.formats.stocking_file import read_stocking

    return read_stocking(path)


def _survey(path: Path) -> Any:
    from toolbox.survey.settings import load_settings

    return load_settings(path)


def _words(call: str, path: Path) -> Any:
    """Give bytes as the text of a key or an option."""
    from toolbox.layers.crs import parse_crs
    from toolbox.units import parse_quantity

    text = path.read_bytes().decode("utf-8", "replace")
    return parse_crs(text) if call == "crs" else parse_quantity(text, "m")


_PARTS = (".dbf", ".shx", ".prj", ".cpg")
_SHAPEFILE = ("water.shp", "water.dbf", "water.shx", "water.prj", "water.cpg")
_BANK = ("casts.csv", "pings.csv", "pegs.csv")

_PARTS_OF_BOOK = {
    "sheet": "xl/worksheets/sheet1.xml",
    "strings": "xl/sharedStrings.xml",
    "styles": "xl/styles.xml",
    "workbook": "xl/workbook.xml",
    "relations": "xl/_rels/workbook.xml.rels",
    "types": "[Content_Types].xml",
}

READERS: dict[str, Reader] = {
    "soundings csv": Reader("soundings.csv", _soundings),
    "soundings blanks": Reader("soundings.txt", _soundings),
    "soundings gpkg": Reader("soundings.gpkg", _soundings),
    "soundings geojson": Reader("soundings.geojson", _soundings),
    "soundings gpx": Reader("soundings.gpx", _soundings),
    "soundings parquet": Reader("soundings.parquet", _soundings),
    "soundings xlsx": Reader("soundings.xlsx", _soundings),
    "levels xlsm": Reader("levels.xlsm", _levels),
    **{
        f"part {name}": Reader(f"{name}.xml", partial(_part, path), ("soundings.xlsx",))
        for name, path in _PARTS_OF_BOOK.items()
    },
    "xyz": Reader("soundings.xyz", _xyz),
    "nmea": Reader("track.nmea", _nmea),
    "casts": Reader("casts.csv", _casts, _BANK),
    "pings": Reader("pings.csv", _casts, _BANK),
    "pegs": Reader("pegs.csv", _casts, _BANK),
    "places geojson": Reader("pegs.geojson", _places),
    "profiles": Reader("profile.csv", _profiles),
    "table": Reader("table.csv", _table),
    "shoreline gpkg": Reader("water.gpkg", _shoreline),
    "shoreline geojson": Reader("water.geojson", _shoreline),
    "shoreline kml": Reader("water.kml", _shoreline),
    "shoreline fgb": Reader("water.fgb", _shoreline),
    "shoreline parquet": Reader("water.parquet", _shoreline),
    "shoreline shp": Reader("water.shp", _shoreline, _SHAPEFILE),
    "shoreline dbf": Reader("water.dbf", _shoreline, _SHAPEFILE),
    "shoreline shx": Reader("water.shx", _shoreline, _SHAPEFILE),
    "shoreline prj": Reader("water.prj", _shoreline, _SHAPEFILE),
    "breaklines": Reader("lines.geojson", _breaklines),
    "centreline": Reader("lines.fgb", _centreline),
    "vectors csv": Reader("vectors.csv", _vectors),
    "bed": Reader("bed.gpkg", _bed),
    "grid tif": Reader("depth.tif", _grid),
    "grid asc": Reader("depth.asc", _grid),
    "grid blocks": Reader("cog.tif", _grid_blocks),
    "points csv": Reader("points.csv", _points),
    "points parquet": Reader("points.parquet", _points),
    "points geoparquet": Reader("geo.parquet", _points),
    "points las": Reader("points.las", _points),
    "points laz": Reader("points.laz", _las),
    "species": Reader("species.toml", _species),
    "stocking": Reader("stocking.toml", _stocking),
    "survey": Reader("survey.toml", _survey),
    "crs": Reader("crs.txt", partial(_words, "crs")),
    "quantity": Reader("quantity.txt", partial(_words, "quantity")),
}


def fault(reader: Reader, content: bytes, folder: Path) -> BaseException | str | None:
    """Read some bytes and return what is wrong with how that went; None if nothing is.

    Parameters
    ----------
    reader : Reader
        What reads them.
    content : bytes
        What the file holds.
    folder : Path
        With the good files beside it, from :func:`lay_out`; nothing must be left in it.
    """
    path = folder / reader.file
    path.write_bytes(content)
    before = sorted(part.name for part in folder.iterdir())
    found: BaseException | str | None = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the libraries below, about what they make good
            reader.read(path)
    except ToolboxError as error:
        if len(str(error).splitlines()) != min(len(error.faults), 21):
            found = f"fault of several lines: {error!r}"
    except Exception as error:
        found = error
    if (left := sorted(part.name for part in folder.iterdir())) != before:
        found = found or f"left behind: {left}"
    if path.read_bytes() != content:
        found = found or "the file was changed"
    return found


def lay_out(reader: Reader, seeds: Path, folder: Path) -> None:
    """Copy the good files that a reader needs into a folder of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in reader.beside:
        shutil.copy(seeds / name, folder / name)


def make_seeds(folder: Path) -> Path:
    """Write a good file for every reader into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("species.toml", "stocking.toml", "survey.toml", "pegs.geojson", "profile.csv"):
        shutil.copy(SAMPLES / name, folder / name)
    track = (SAMPLES / "track.nmea").read_bytes().splitlines(keepends=True)
    (folder / "track.nmea").write_bytes(b"".join(track[:60]))
    for name, rows in (("casts.csv", 4), ("pings.csv", 40), ("pegs.csv", 20)):
        lines = (SAMPLES / name).read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / name).write_text("".join(lines[: rows + 1]), encoding="utf-8")
    (folder / "crs.txt").write_text("EPSG:32633", encoding="utf-8")
    (folder / "quantity.txt").write_text("1.5 ft", encoding="utf-8")
    _write_texts(folder)
    _write_books(folder)
    _write_layers(folder)
    _write_rasters(folder)
    _write_points(folder)
    return folder


def _write_texts(folder: Path) -> None:
    rows = [(500_020 + 7 * k, 5_200_020 + 5 * (k % 5), 1 + k / 4) for k in range(12)]
    text = "easting,northing,depth,line,time\n" + "".join(
        f"{east},{north},{depth},a{k % 2},2026-05-14T10:00:{k:02}Z\n"
        for k, (east, north, depth) in enumerate(rows)
    )
    bare = "# a remark\n" + "".join(f"{east} {north} {depth}\n" for east, north, depth in rows)
    for name in ("soundings.csv", "points.csv", "table.csv"):
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "soundings.txt").write_text("easting northing depth\n" + bare[11:], encoding="utf-8")
    (folder / "soundings.xyz").write_text(bare, encoding="utf-8")
    points = "".join(
        f'<trkpt lat="46.9{k}" lon="15.0{k}"><ele>-{k}</ele><time>2026-05-14T10:00:0{k}Z</time>'
        f"<extensions><d:depth>{k}.5</d:depth></extensions></trkpt>"
        for k in range(1, 6)
    )
    gpx = "http://www.topografix.com/GPX/1/1"
    (folder / "soundings.gpx").write_text(
        f'<?xml version="1.0"?><gpx version="1.1" creator="a" xmlns="{gpx}" xmlns:d="urn:d">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    (folder / "vectors.csv").write_text(
        'name,wkt\na,"POINT (500020 5200020)"\nb,"LINESTRING (500020 5200020, 500030 5200090)"\n'
        'c,"POLYGON ((500000 5200000, 500100 5200000, 500100 5200100, 500000 5200000))"\n',
        encoding="utf-8",
    )


def _write_books(folder: Path) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(folder / "soundings.xlsx") as book:
        day = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet = book.add_worksheet("depths")
        sheet.write_row(0, 0, ["easting", "northing", "depth", "line", "time"])
        for k in range(8):
            sheet.write_row(k + 1, 0, [500_020 + 7 * k, 5_200_020 + k, 1 + k / 4, f"a{k % 2}"])
            sheet.write_datetime(k + 1, 4, datetime(2026, 5, 14, 10, k), day)
        sheet.write_formula(9, 2, "=1+1", None, "#N/A")
    with xlsxwriter.Workbook(folder / "levels.xlsm") as book:
        sheet = book.add_worksheet("gauge")
        for k, row in enumerate([("time", "level_m"), ("2026-05-14", 410.2), ("2026-05-15", 1)]):
            sheet.write_row(k, 0, row)
    with zipfile.ZipFile(folder / "soundings.xlsx") as good:
        for name, path in _PARTS_OF_BOOK.items():
            (folder / f"{name}.xml").write_bytes(good.read(path))


def _write_layers(folder: Path) -> None:
    import geopandas
    import numpy as np
    from shapely.geometry import LineString, Point, Polygon, box

    from toolbox.bed.triangulation import triangulate
    from toolbox.formats.bed_file import write_bed
    from toolbox.formats.vector import write_features
    from toolbox.layers import Shoreline, Soundings

    hole = box(500_040, 5_200_040, 500_060, 5_200_060).exterior
    lake = Polygon(box(500_000, 5_200_000, 500_100, 5_200_100).exterior, [hole])
    water = geopandas.GeoDataFrame({"label": ["a"]}, geometry=[lake], crs=UTM)
    for suffix in ("gpkg", "geojson", "fgb", "parquet", "shp"):
        write_features(water, folder / f"water.{suffix}", layer="water")
    ring = " ".join(f"{x:.5f},{y:.5f}" for x, y in water.to_crs(4326).geometry[0].exterior.coords)
    (folder / "water.kml").write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>a</name><Polygon>'
        f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
        "</outerBoundaryIs></Polygon></Placemark></Document></kml>",
        encoding="utf-8",
    )
    lines = [LineString([(500_010, 5_200_010), (500_030, 5_200_090)])]
    frame = geopandas.GeoDataFrame({"depth": [2.0]}, geometry=lines, crs=UTM)
    for suffix in ("geojson", "fgb"):
        write_features(frame, folder / f"lines.{suffix}", layer="lines")
    east, north = np.meshgrid(
        np.linspace(500_010, 500_090, 4), np.linspace(5_200_010, 5_200_090, 4)
    )
    place = np.column_stack([east.ravel(), north.ravel()])
    deep = {"depth": np.arange(16) / 4 + 1, "line": ["a"] * 16}
    points = geopandas.GeoDataFrame(deep, geometry=[Point(*one) for one in place], crs=UTM)
    for name in ("soundings.gpkg", "soundings.geojson", "soundings.parquet", "geo.parquet"):
        write_features(points, folder / name, layer="soundings")
    shore = Shoreline.from_shapes(list(water.geometry), water.crs)
    soundings = Soundings.from_arrays(place, points["depth"].to_numpy(), crs=shore.crs)
    write_bed(triangulate(soundings, shore), folder / "bed.gpkg")
    for path in folder.glob("*.gpkg"):  # small pages: a mutation hits what matters
        with closing(sqlite3.connect(path)) as file:
            file.execute("PRAGMA page_size = 512")
            file.execute("VACUUM")


def _write_rasters(folder: Path) -> None:
    import numpy as np
    import rasterio
    from affine import Affine

    from toolbox.formats.geotiff import write_grid
    from toolbox.layers import Grid
    from toolbox.layers.crs import parse_crs

    place = Affine(10, 0, 500_000, 0, -10, 5_200_100)
    values = np.arange(80, dtype=np.float32).reshape(8, 10)
    write_grid(Grid(values, place, parse_crs(UTM), "depth", "m"), folder / "cog.tif")
    profile: dict[str, Any] = {"height": 8, "width": 10, "count": 1, "dtype": "float32"}
    profile |= {"transform": place, "crs": UTM, "nodata": -9999.0, "compress": "lzw"}
    with rasterio.open(folder / "depth.tif", "w", driver="GTiff", **profile) as file:
        file.write(values, 1)
    rows = "\n".join(" ".join(f"{value:g}" for value in row) for row in values)
    (folder / "depth.asc").write_text(
        "ncols 10\nnrows 8\nxllcorner 500000\nyllcorner 5200020\ncellsize 10\n"
        f"NODATA_value -9999\n{rows}\n",
        encoding="utf-8",
    )


def _write_points(folder: Path) -> None:
    import laspy
    import numpy as np
    import pandas as pd

    rows = np.arange(50.0)
    frame = pd.DataFrame({"easting": 500_000 + rows, "northing": 5_200_000 + rows, "depth": rows})
    frame.assign(line="a", flag=False).to_parquet(folder / "points.parquet")
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales = np.array([0.01, 0.01, 0.01])
    header.offsets = np.array([500_000.0, 5_200_000.0, 0.0])
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = (frame[name].to_numpy() for name in frame)
    cloud.write(folder / "points.las")
    cloud.write(folder / "points.laz")
