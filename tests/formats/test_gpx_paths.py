"""GPX paths: tracks and routes as lines, whatever their points carry."""

from pathlib import Path

import pytest
import shapely

from toolbox.errors import InputFileError
from toolbox.formats.gpx_paths import depths_in_gpx, read_gpx_paths


def put(folder: Path, body: str) -> Path:
    path = folder / "a.gpx"
    start = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
    path.write_text(f"{start}{body}</gpx>", encoding="utf-8")
    return path


def points(kind: str, *places: tuple[float, float], more: str = "") -> str:
    return "".join(f'<{kind} lat="{b}" lon="{a}">{more}</{kind}>' for a, b in places)


def test_the_segments_of_a_track_are_one_line(tmp_path: Path) -> None:
    first, second = points("trkpt", (1, 50), (2, 50)), points("trkpt", (2, 51), (1, 51))
    route = points("rtept", (5, 5), (6, 5), (6, 6))
    path = put(
        tmp_path,
        f"<trk><trkseg>{first}</trkseg><trkseg>{second}</trkseg></trk><rte>{route}</rte>",
    )
    found = read_gpx_paths(path)
    assert shapely.get_coordinates(found.geometry.array[0]).tolist() == [
        [1, 50],
        [2, 50],
        [2, 51],
        [1, 51],
    ]
    assert len(found) == 2
    assert found.crs.to_epsg() == 4326
    assert depths_in_gpx(path) == (False, 7)


def test_places_off_the_earth_are_left_out_and_waypoints_are_no_path(tmp_path: Path) -> None:
    track = points("trkpt", (1, 50), (999, 50), (2, 50), (2, 51))
    path = put(tmp_path, points("wpt", (3, 3)) + f"<trk><trkseg>{track}</trkseg></trk>")
    assert len(shapely.get_coordinates(read_gpx_paths(path).geometry.array[0])) == 3
    with pytest.raises(InputFileError, match=r"holds no track or route of 3 places or more$"):
        read_gpx_paths(put(tmp_path, points("wpt", (3, 3), (4, 4), (5, 5))))


def test_depths_are_seen_wherever_a_program_put_them(tmp_path: Path) -> None:
    deep = points("trkpt", (1, 50), more="<extensions><WaterDepth>2</WaterDepth></extensions>")
    assert depths_in_gpx(put(tmp_path, f"<trk><trkseg>{deep}</trkseg></trk>")) == (True, 1)


def test_what_is_cut_short_is_refused(tmp_path: Path) -> None:
    path = put(tmp_path, "")
    path.write_text(path.read_text(encoding="utf-8")[:40], encoding="utf-8")
    with pytest.raises(InputFileError, match="is no whole GPX file"):
        read_gpx_paths(path)
