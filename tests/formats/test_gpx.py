"""GPX files: depths wherever a program put them, and nothing from outside the file."""

import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from toolbox.errors import InputFileError, ParameterError
from toolbox.formats.gpx import read_gpx
from toolbox.layers import Soundings

GPX_11 = 'version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"'
GPX_10 = 'version="1.0" creator="test" xmlns="http://www.topografix.com/GPX/1/0"'
OWN = 'xmlns:own="urn:example:own"'


def put(folder: Path, body: str, *, root: str = GPX_11, head: str = "") -> Path:
    path = folder / "log.gpx"
    text = f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<gpx {root} {OWN}>{body}</gpx>\n'
    path.write_text(text, encoding="utf-8")
    return path


def point(inside: str, *, kind: str = "wpt", lon: object = -34.6, lat: object = 46.2) -> str:
    return f'<{kind} lat="{lat}" lon="{lon}">{inside}</{kind}>'


def depth(value: object, name: str = "own:depth") -> str:
    return f"<extensions><{name}>{value}</{name}></extensions>"


def track(*segments: list[str]) -> str:
    parts = "".join(f"<trkseg>{''.join(points)}</trkseg>" for points in segments)
    return f"<trk><name>evening</name>{parts}</trk>"


def trkpt(value: object, **where: object) -> str:
    return point(depth(value), kind="trkpt", **where)  # type: ignore[arg-type]


def depths_of(soundings: Soundings) -> list[float]:
    return soundings.depth.tolist()


# ---- where depths are ----


@pytest.mark.parametrize(
    "inside",
    [
        "<extensions><own:depth>3.2</own:depth></extensions>",
        "<extensions><own:Depth> 3.2\n</own:Depth></extensions>",
        "<extensions><depth>3.2</depth></extensions>",
        "<extensions><own:waterDepth>3.2</own:waterDepth></extensions>",
        "<extensions><own:PointExtension><own:depth>3.2</own:depth></own:PointExtension></extensions>",
        "<extensions><d:depth xmlns:d='urn:x'>3.2</d:depth></extensions>",
        "<extensions><own:depth>3<!-- . -->.2</own:depth></extensions>",
        "<extensions><own:depth><![CDATA[3.2]]></own:depth></extensions>",
        "<extensions><own:maxdepth>9</own:maxdepth><own:depth>3.2</own:depth></extensions>",
        "<extensions><own:depth>3.2</own:depth><own:depth>9</own:depth></extensions>",
        "<extensions><own:depthunit>m</own:depthunit><own:depth>3.2</own:depth></extensions>",
        "<ele>150</ele><extensions><own:depth>3.2</own:depth></extensions>",
    ],
    ids=["usual", "capital", "no prefix", "ending", "nested", "other prefix", "remark", "cdata",
         "preferred", "first", "unit", "elevation"],
)  # fmt: skip
def test_depth_in_any_extension(inside: str, tmp_path: Path) -> None:
    assert depths_of(read_gpx(put(tmp_path, point(inside)))) == [3.2]


def test_depth_in_gpx_1_0_stands_beside_the_other_elements(tmp_path: Path) -> None:
    body = track([point("<ele>1</ele><own:depth>3.2</own:depth>", kind="trkpt")])
    assert depths_of(read_gpx(put(tmp_path, body, root=GPX_10))) == [3.2]


def test_file_without_a_namespace_is_read(tmp_path: Path) -> None:
    assert depths_of(read_gpx(put(tmp_path, point(depth(3.2)), root=""))) == [3.2]


def test_depth_of_something_else_is_none(tmp_path: Path) -> None:
    metadata = f"<metadata>{depth(99)}</metadata>"
    body = metadata + f"<trk>{depth(98)}<trkseg>{trkpt(3.2)}{depth(97)}</trkseg></trk>"
    assert depths_of(read_gpx(put(tmp_path, body))) == [3.2]


def test_places_are_projected(tmp_path: Path) -> None:
    found = read_gpx(put(tmp_path, point(depth(3.2), lon=-34.604957, lat=46.196175)))
    # an independent library: pyproj
    move = pyproj.Transformer.from_crs(4326, 32625, always_xy=True)
    assert found.crs is not None
    assert found.crs.to_epsg() == 32625
    assert found.coordinates[0] == pytest.approx(move.transform(-34.604957, 46.196175), abs=1e-6)


def test_tracks_routes_and_waypoints_in_their_order(tmp_path: Path) -> None:
    route = f"<rte>{point(depth(2), kind='rtept')}{point(depth(3), kind='rtept')}</rte>"
    body = point(depth(1)) + route + track([trkpt(4), trkpt(5)], [trkpt(6)]) + track([trkpt(7)])
    found = read_gpx(put(tmp_path, body))
    assert depths_of(found) == [1, 2, 3, 4, 5, 6, 7]
    assert found.frame["line"].tolist() == ["", "1", "1", "2", "2", "3", "4"]
    assert found.frame["source"].tolist() == ["point"] * 3 + ["track"] * 4


def test_times_are_utc(tmp_path: Path) -> None:
    texts = ["2026-05-12T11:00:00Z", "2026-05-12T13:00:00.5+02:00", "2026-05-12T11:00:01", "noon"]
    body = "".join(point(f"<time>{text}</time>{depth(2)}") for text in texts) + point(depth(2))
    found = read_gpx(put(tmp_path, body))
    start = pd.Timestamp("2026-05-12T11:00:00Z")
    wanted = [start, start + pd.Timedelta("0.5s"), start + pd.Timedelta("1s")]
    assert found.frame["time"].tolist()[:3] == wanted
    assert found.frame["time"].isna().tolist() == [False] * 3 + [True] * 2
    assert found.notes == ("1 times are not ISO 8601 and were left empty",)


def test_unit_is_converted(tmp_path: Path) -> None:
    path = put(tmp_path, point(depth(10)))
    # 1 ft = 0.3048 m, exact (check-values 10.6)
    assert depths_of(read_gpx(path, unit="ft")) == [pytest.approx(3.048)]
    with pytest.raises(ParameterError, match="unit must be one of 'm', 'cm', 'ft'"):
        read_gpx(path, unit="furlong")  # type: ignore[arg-type]


def test_elevation_is_a_depth_only_on_request(tmp_path: Path) -> None:
    body = point("<ele>-3.2</ele>") + point(f"<ele>150</ele>{depth(4)}") + point("<ele>0.5</ele>")
    path = put(tmp_path, body)
    assert depths_of(read_gpx(path)) == [4]
    assert depths_of(read_gpx(path, depth_from_elevation=True)) == [3.2, 4, -0.5]


# ---- nothing is lost in silence ----


@pytest.mark.parametrize("text", ["", "deep", "3,2", "inf", "-inf", "1e999", "nan", "3.2 m"])
def test_depth_that_is_no_number_is_flagged(text: str, tmp_path: Path) -> None:
    found = read_gpx(put(tmp_path, point(depth(text)) + point(depth(3.2))))
    assert found.frame["reason"].tolist() == ["no depth", ""]
    told = [note for note in found.notes if "are no numbers" in note]
    assert bool(told) == (text not in ("", "nan"))


@pytest.mark.parametrize(
    "where",
    [{"lat": 91}, {"lon": 181}, {"lat": "north"}, {"lon": ""}, {"lat": "nan"}],
    ids=str,
)
def test_point_that_is_nowhere_is_flagged(where: dict[str, object], tmp_path: Path) -> None:
    found = read_gpx(put(tmp_path, point(depth(2), **where) + point(depth(3.2))))  # type: ignore[arg-type]
    assert found.frame["reason"].tolist() == ["no position", ""]


def test_points_without_a_depth_are_counted(tmp_path: Path) -> None:
    found = read_gpx(put(tmp_path, point("<name>ramp</name>") * 2 + point(depth(3.2))))
    assert depths_of(found) == [3.2]
    assert found.notes == ("2 points tell no depth and were left out",)


@settings(
    max_examples=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    points=st.lists(
        st.tuples(
            st.sampled_from(["wpt", "trkpt", "rtept"]),
            st.none() | st.sampled_from(["", "x"]) | st.floats(0, 99).map(repr),
            st.sampled_from([-34.6, 34.6, 500.0]),
        ),
        max_size=20,
    )
)
def test_every_depth_comes_out_kept_or_flagged(
    points: list[tuple[str, str | None, float]], tmp_path: Path
) -> None:
    wrap = {"wpt": "{}", "trkpt": "<trk><trkseg>{}</trkseg></trk>", "rtept": "<rte>{}</rte>"}
    body = "".join(
        wrap[kind].format(point("" if text is None else depth(text), kind=kind, lon=lon))
        for kind, text, lon in points
    )
    found = read_gpx(put(tmp_path, body + point(depth(1), lon=34.6)))
    told = [(text, lon) for _, text, lon in points if text is not None]
    assert len(found) == len(told) + 1
    assert len(found.kept) + sum(found.rejections().values()) == len(found)
    good = [float(text) for text, lon in told if text not in ("", "x") and lon != 500]
    assert found.kept.depth.tolist() == [*good, 1.0]


# ---- files that are not what they should be ----


def test_entities_are_refused(tmp_path: Path) -> None:
    laughs = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<!DOCTYPE gpx [<!ENTITY l0 "3">{laughs}]>'
    path = put(tmp_path, point(depth("&l9;")), head=bomb)
    with pytest.raises(InputFileError, match="declares the entity 'l0': entities are refused"):
        read_gpx(path)


def test_files_outside_are_not_read(tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("7", encoding="utf-8")
    outside = f'<!DOCTYPE gpx [<!ENTITY secret SYSTEM "{(tmp_path / "secret.txt").as_uri()}">]>'
    path = put(tmp_path, point(depth("&secret;")), head=outside)
    with pytest.raises(InputFileError, match="declares the entity 'secret'"):
        read_gpx(path)


def test_document_type_without_entities_does_no_harm(tmp_path: Path) -> None:
    path = put(tmp_path, point(depth(3.2)), head='<!DOCTYPE gpx SYSTEM "nowhere.dtd">')
    assert depths_of(read_gpx(path)) == [3.2]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("<gpx><wpt lat='1' lon='2'>", "no whole GPX file: no element found: line 1"),
        ("<gpx></wpt>", "no whole GPX file: mismatched tag: line 1, column 7"),
        ("depth,lat,lon\n1,2,3\n", "no whole GPX file: .*line 1"),
        ("<kml><Point/></kml>", "no GPX file: its first element is 'kml'"),
        ("<gpx/>", "has 0 points, none of them with a depth"),
        ("<gpx><wpt lat='1' lon='2'/></gpx>", "has 1 points, none of them with a depth"),
        ("<gpx><wpt><depth>3</depth></wpt></gpx>", "holds no coordinates"),
        ("<?xml version='1.0' encoding='klingon'?><gpx/>", "no whole GPX file: unknown encoding"),
        ("<?xml version='1.0' encoding='utf-7'?><gpx/>", "no whole GPX file: multi-byte encodings"),
    ],
    ids=["cut", "crossed", "text", "other", "empty", "silent", "nowhere", "encoding", "bytes"],
)
def test_file_that_is_no_gpx_is_refused(text: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "log.gpx"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=message):
        read_gpx(path)


def test_file_that_is_not_there_or_binary_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match="does not exist"):
        read_gpx(tmp_path / "none.gpx")
    path = tmp_path / "log.gpx"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(InputFileError, match="no whole GPX file"):
        read_gpx(path)


@pytest.mark.parametrize("encoding", ["utf-16", "iso-8859-1"])
def test_encoding_is_that_of_the_declaration(encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "log.gpx"
    text = f"<gpx {OWN}>{point('<name>Größe</name>' + depth(3))}</gpx>"
    path.write_bytes(f"<?xml version='1.0' encoding='{encoding}'?>{text}".encode(encoding))
    assert depths_of(read_gpx(path)) == [3]


def test_memory_holds_no_more_than_the_depths(tmp_path: Path) -> None:
    silent = point("<ele>12.5</ele><time>2026-05-12T11:00:00Z</time><name>on the way</name>")
    peaks = []
    for times in (6_000, 18_000):
        path = put(
            tmp_path,
            point(depth(1)) + silent * times + point("<name>" + "x" * 3_000_000 + "</name>"),
        )
        tracemalloc.start()
        assert len(read_gpx(path)) == 1
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.1 * peaks[0] + 1e5


def test_times_are_read_in_portions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("toolbox.formats.gpx._PORTION", 3)
    start = pd.Timestamp("2026-05-12T11:00:00Z")
    times = [start + pd.Timedelta(seconds=n) for n in range(8)]
    body = "".join(
        point(f"<time>{time.isoformat()}</time>{depth(n)}") for n, time in enumerate(times)
    )
    found = read_gpx(put(tmp_path, body))
    assert found.frame["time"].tolist() == times
    np.testing.assert_array_equal(found.depth, np.arange(8))
