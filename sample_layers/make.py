"""Write every data file of this folder anew.

``python sample_layers/make.py [FOLDER]`` writes what `survey.py` and `fish.py` find in the water of
`lake.py` in the formats people use, into this folder or another. Two runs give the same bytes.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).resolve().parents[1]))

from sample_layers import fish, lake, survey

HERE = Path(__file__).resolve().parent
FEET, FATHOMS, KNOTS = 0.3048, 1.8288, 1852 / 3600
TIME = "%Y-%m-%dT%H:%M:%SZ"


def make(folder: Path) -> None:
    """Write all data files of the survey into a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    _write_shoreline(folder / "shoreline.gpkg")
    _write_plants(folder / "plants.gpkg")
    boat = survey.simulated_boat()
    _write_boat_points(folder / "boat_points.csv", boat)
    _write_track(folder / "track.nmea", boat)
    _write_casts(folder)
    _write_pegs(folder)
    _write_plummet(folder / "plummet.csv")
    _write_water_level(folder / "water_level.csv")
    _write_table(folder / "profile.csv", survey.profile().map(_plain))
    _write_table(folder / "secchi.csv", survey.secchi().map(_plain))
    _write_table(folder / "echoes.csv", fish.echoes())
    pings = fish.echo_pings()
    _write_table(folder / "echo_pings.csv", pings.assign(time=pings.time.dt.strftime(TIME)))


# ---- maps ---------------------------------------------------------------------------------------


def _write_shoreline(path: Path) -> None:
    row = {"name": lake.NAME, "level_m": lake.DATUM, "origin": "invented"}
    _write_layer(path, gpd.GeoDataFrame([row], geometry=[lake.shoreline()], crs=lake.CRS))


def _write_plants(path: Path) -> None:
    beds = lake.plant_beds()
    rows = [
        {
            "species_group": bed.group,
            "cover_percent": 5.0 * round(20 * lake.plant_cover(bed)),
            "height_m": round(lake.plant_stand(bed), 1),
        }
        for bed in beds
    ]
    outlines = [bed.outline for bed in beds]
    _write_layer(path, gpd.GeoDataFrame(rows, geometry=outlines, crs=lake.CRS))


def _write_layer(path: Path, layer: gpd.GeoDataFrame) -> None:
    """Write a GeoPackage with one layer named like the file."""
    path.unlink(missing_ok=True)
    with _fixed_file_date():
        layer.to_file(path, layer=path.stem, driver="GPKG", engine="pyogrio")


@contextmanager
def _fixed_file_date() -> Iterator[None]:
    """Stamp GeoPackages with a fixed date: the date of writing would change their bytes."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2026-05-23T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _write_pegs(folder: Path) -> None:
    """Write the pegs as a table in the projected CRS and as GeoJSON in longitude, latitude."""
    pegs = survey.pegs()
    longitude, latitude = _geographic(pegs.easting, pegs.northing)
    features = [
        {
            "type": "Feature",
            "properties": {"peg": peg, "note": note},
            "geometry": {"type": "Point", "coordinates": [round(east, 7), round(north, 7)]},
        }
        for peg, note, east, north in zip(pegs.peg, pegs.note, longitude, latitude, strict=True)
    ]
    collection = {"type": "FeatureCollection", "features": features}
    (folder / "pegs.geojson").write_bytes(json.dumps(collection, indent=1).encode() + b"\n")
    _write_table(folder / "pegs.csv", _formatted(pegs, easting="{:.1f}", northing="{:.1f}"))


# ---- tables -------------------------------------------------------------------------------------


def _write_boat_points(path: Path, boat: pd.DataFrame) -> None:
    """Write every second ping as a cleaned export at the datum level; lost bottoms stay empty."""
    level = survey.water_level(pd.DatetimeIndex(boat.time))
    points = boat.assign(depth=boat.reading + survey.DRAFT + lake.DATUM - level)[boat.exported]
    longitude, latitude = _geographic(points.easting, points.northing)
    points = points.assign(id=np.arange(1, len(points) + 1), longitude=longitude, latitude=latitude)
    points = points[["id", "longitude", "latitude", "depth", "line", "time"]]
    degrees = {"longitude": "{:.7f}", "latitude": "{:.7f}"}
    _write_table(path, _formatted(points, depth="{:.2f}", **degrees))


def _write_casts(folder: Path) -> None:
    casts, pings = survey.simulated_casts()
    casts = casts[
        ["cast", "peg", "bearing_deg_true", "line_out_m", "rod_tip_height_m",
         "retrieve_speed_m_s", "start_time", "water_level_m"]
    ]  # fmt: skip
    pings = pings[["cast", "seconds", "depth_m", "canopy_m"]]
    places = {"line_out_m": "{:.1f}", "rod_tip_height_m": "{:.1f}"}
    numbers = {"retrieve_speed_m_s": "{:.2f}", "water_level_m": "{:.2f}"}
    _write_table(folder / "casts.csv", _formatted(casts, **places, **numbers))
    readings = {"seconds": "{:.1f}", "depth_m": "{:.2f}", "canopy_m": "{:.2f}"}
    _write_table(folder / "pings.csv", _formatted(pings, **readings))


def _write_plummet(path: Path) -> None:
    """Write the lead-line readings as a spreadsheet with a decimal comma would."""
    readings = survey.simulated_plummet()[["easting", "northing", "depth", "note"]]
    table = _formatted(readings, easting="{:.1f}", northing="{:.1f}", depth="{:.2f}")
    numbers = ["easting", "northing", "depth"]
    table[numbers] = table[numbers].map(lambda text: text.replace(".", ","))
    _write_table(path, table, separator=";")


def _write_water_level(path: Path) -> None:
    record = survey.WATER_LEVEL.rename_axis("time").rename("level_m").reset_index()
    _write_table(path, _formatted(record, level_m="{:.2f}"))


def _formatted(table: pd.DataFrame, **formats: str) -> pd.DataFrame:
    """Return a table of text: numbers as the formats say, times in ISO 8601, empty for missing."""
    text = table.copy()
    for column, pattern in formats.items():
        text[column] = ["" if pd.isna(value) else pattern.format(value) for value in table[column]]
    for name in table.select_dtypes("datetimetz"):
        text[name] = table[name].dt.strftime(TIME)
    return text


def _plain(value: object) -> object:
    return f"{value:.1f}" if isinstance(value, float) else value


def _write_table(path: Path, table: pd.DataFrame, *, separator: str = ",") -> None:
    table.to_csv(path, sep=separator, index=False, lineterminator="\n", encoding="utf-8")


# ---- the log of the boat ------------------------------------------------------------------------


def _write_track(path: Path, boat: pd.DataFrame) -> None:
    """Write the raw NMEA 0183 log; a few sentences are damaged after their checksum was made."""
    epochs = _epochs(boat)
    rng = np.random.default_rng(183)
    for number, row in enumerate(sorted(rng.choice(len(epochs), survey.GARBLED, replace=False))):
        sentence = 1 + number % 2  # the RMC and the DBT in turn
        epochs[row][sentence] = _garbled(epochs[row][sentence])
    lines = [line for epoch in epochs for line in epoch]
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("ascii"))


def _epochs(boat: pd.DataFrame) -> list[list[str]]:
    """Return the sentences of each second: GGA, RMC, DBT, MTW."""
    rng = np.random.default_rng(1830)
    longitude, latitude = _geographic(boat.easting, boat.northing)
    altitude = survey.water_level(pd.DatetimeIndex(boat.time)) + 1.5 + rng.normal(0, 0.8, len(boat))
    temperature = 13.2 + 0.9 * np.exp(-boat.reading.fillna(2.0) / 1.5)
    rows = zip(boat.time, latitude, longitude, altitude, boat.course, strict=True)
    return [
        [_gga(time, north, east, up), _rmc(time, north, east, course), _dbt(reading), _mtw(warm)]
        for (time, north, east, up, course), reading, warm in zip(
            rows, boat.reading, temperature, strict=True
        )
    ]


def _gga(time: pd.Timestamp, latitude: float, longitude: float, altitude: float) -> str:
    place = f"{_angle(latitude, 2)},N,{_angle(-longitude, 3)},W"
    return _sentence(f"GPGGA,{time:%H%M%S}.00,{place},1,09,0.9,{altitude:.1f},M,56.0,M,,")


def _rmc(time: pd.Timestamp, latitude: float, longitude: float, course: float) -> str:
    place = f"{_angle(latitude, 2)},N,{_angle(-longitude, 3)},W"
    speed = survey.BOAT_SPEED / KNOTS
    return _sentence(
        f"GPRMC,{time:%H%M%S}.00,A,{place},{speed:.1f},{course % 360:.1f},{time:%d%m%y},,,A"
    )


def _dbt(metres: float) -> str:
    if np.isnan(metres):
        return _sentence("SDDBT,,f,,M,,F")
    return _sentence(f"SDDBT,{metres / FEET:.2f},f,{metres:.2f},M,{metres / FATHOMS:.2f},F")


def _mtw(temperature: float) -> str:
    return _sentence(f"YXMTW,{temperature:.1f},C")


def _angle(degrees: float, width: int) -> str:
    """Return degrees and minutes as ddmm.mmmmm, with so many digits for the degrees."""
    whole, minutes = divmod(round(degrees * 60 * 1e5), 60 * 10**5)
    return f"{whole:0{width}d}{minutes / 1e5:08.5f}"


def _sentence(body: str) -> str:
    checksum = 0
    for byte in body.encode("ascii"):
        checksum ^= byte
    return f"${body}*{checksum:02X}"


def _garbled(sentence: str) -> str:
    """Return a sentence with one digit of its fourth field (latitude or metres) changed."""
    fields = sentence.split(",")
    digit = int(fields[3][0])
    fields[3] = f"{(digit + 4) % 10}{fields[3][1:]}"
    return ",".join(fields)


def _geographic(
    easting: pd.Series, northing: pd.Series
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude on WGS 84."""
    transformer = pyproj.Transformer.from_crs(lake.CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = transformer.transform(easting.to_numpy(), northing.to_numpy())
    return np.asarray(longitude), np.asarray(latitude)


def main() -> None:
    """Write the files into the folder given on the command line, or into this one."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    make(folder)
    sys.stdout.write(f"{lake.NAME}: written to {folder}\n")


if __name__ == "__main__":
    main()
